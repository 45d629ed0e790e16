package api

import (
	"cmp"
	"context"
	"html/template"
	"lidwright/api/pages"
	"math"
	"net/http"
	"net/url"
	"slices"

	"lidwright/api/chart"
	"lidwright/api/usecase"
	"lidwright/api/web"
	"lidwright/api/wire"
	"lidwright/kiln/message"
	"lidwright/tiles"
	"lidwright/tiles/shrinkage"
)

// kept is what a PUT answers: 201 when it was kept now, 200 when the very same was said before.
type kept[T any] struct {
	Status int
	Body   T
}

func status(k tiles.PutResult) int {
	if k.New {
		return 201
	}
	return 200
}

func (s clayRoutes) getClays(ctx context.Context, _ *struct{}) (*body[wire.List[wire.ClayJSON]], error) {
	all, err := s.Clays().List(ctx)
	if err != nil {
		return nil, s.troubles.Problem(ctx, err)
	}
	return &body[wire.List[wire.ClayJSON]]{wire.List[wire.ClayJSON]{Items: all}}, nil
}

func (s clayRoutes) getClay(ctx context.Context, in *wire.ClayPath) (*thing[wire.ClayJSON], error) {
	j, err := s.Clays().OneClay(ctx, tiles.ClayID(in.Clay))
	if err != nil {
		return nil, s.troubles.Problem(ctx, err)
	}
	return &thing[wire.ClayJSON]{revision(j.Revision), j}, nil
}

type putClayInput struct {
	wire.ClayPath
	Body wire.ClayBody
}

// putClay keeps a clay. A new one gets a first batch, A, so that bars can be made of it at once.
func (s clayRoutes) putClay(ctx context.Context, in *putClayInput) (*edited[wire.ClayJSON], error) {
	k, err := s.Clays().KeepClay(ctx, in.Clay, in.Body)
	if err != nil {
		return nil, s.troubles.Problem(ctx, err)
	}
	j, err := s.Clays().OneClay(ctx, tiles.ClayID(in.Clay))
	if err != nil {
		return nil, s.troubles.Problem(ctx, err)
	}
	return &edited[wire.ClayJSON]{status(k), revision(j.Revision), j}, nil
}

type putBatchInput struct {
	wire.ClayPath
	Batch string `path:"batch" maxLength:"16"`
	Body  wire.BatchBody
}

func (s clayRoutes) putBatch(ctx context.Context, in *putBatchInput) (*edited[wire.ClayJSON], error) {
	b := tiles.Batch{BatchRef: tiles.BatchRef{Clay: tiles.ClayID(in.Clay), Batch: tiles.BatchID(in.Batch)},
		Kind:  tiles.BatchKind(in.Body.Kind),
		Stamp: in.Body.Stamp, Arrived: in.Body.Arrived, Open: in.Body.Open, Note: in.Body.Note}
	var err error
	if b.Parents, b.Shares, err = tiles.ParseParents("parents", in.Body.Parents); err != nil {
		return nil, s.troubles.Problem(ctx, err)
	}
	k, err := s.Clays().KeepBatch(ctx, b, usecase.PreconditionOf(ctx))
	if err != nil {
		return nil, s.troubles.Problem(ctx, err)
	}
	j, err := s.Clays().OneClay(ctx, b.Clay)
	if err != nil {
		return nil, s.troubles.Problem(ctx, err)
	}
	return &edited[wire.ClayJSON]{status(k), revision(j.Revision), j}, nil
}

// RateQuery is what is asked of the rate of a clay, whatever is told of it.
type RateQuery struct {
	Query
	Clay       string `path:"clay" pattern:"^[a-z0-9-]{1,32}$"`
	Batch      string `query:"batch" doc:"Newest open batch if not named"`
	Kind       string `query:"kind" enum:"bisque,glaze,once,other" doc:"glaze if not said"`
	Atmosphere string `query:"atmosphere" enum:"oxidation,reduction,unknown"`
	HeatWorkC  string `query:"heat_work_c" doc:"°C, 550 to 1400; the usual firing if not said"`
	Cone       string `query:"cone" doc:"022 to 14, tenths allowed: 6+0.1"`
	Kiln       string `query:"kiln"`
	From       string `query:"from" doc:"Stage; wet if not said"`
	Forming    string `query:"forming" doc:"thrown_ring if not said"`
}

type shrinkageInput struct {
	RateQuery
	To string `query:"to" doc:"A later stage; fired if not said"`
}

type body[T any] struct{ Body T }

func (s clayRoutes) getShrinkage(ctx context.Context, in *shrinkageInput) (*body[wire.Shrinkage], error) {
	j, _, err := s.askShrinkage(ctx, tiles.ClayID(in.Clay), in.values)
	if err != nil {
		return nil, s.troubles.Problem(ctx, err)
	}
	return &body[wire.Shrinkage]{j}, nil
}

// askShrinkage answers the question of a rate, for the API and for the Clay page.
func (s clayRoutes) askShrinkage(ctx context.Context, id tiles.ClayID, values url.Values) (wire.Shrinkage,
	shrinkage.Rate, error) {
	fit, asOf, err := s.Shrink.Fit(ctx)
	if err != nil {
		return wire.Shrinkage{}, shrinkage.Rate{}, err
	}
	q, err := readRate(id, values, s.Unit())
	if err != nil {
		return wire.Shrinkage{}, shrinkage.Rate{}, err
	}
	return s.Clays().ShrinkageOf(ctx, fit, asOf, q)
}

// readRate reads the question of a rate.
func readRate(id tiles.ClayID, values url.Values, unit tiles.LengthUnit) (usecase.RateQuestion, error) {
	r := newReader(values, unit)
	batch, _ := r.text("batch")
	q := usecase.UsualRate(tiles.BatchRef{Clay: id, Batch: tiles.BatchID(batch)})
	q.Firing = r.firing()
	q.From = cmp.Or(tiles.Stage(r.word("from", stageWords()...)), q.From)
	q.To = cmp.Or(tiles.Stage(r.word("to", stageWords()...)), q.To)
	var words []string
	for _, f := range tiles.Formings() {
		words = append(words, string(f))
	}
	q.Forming = cmp.Or(tiles.Forming(r.word("forming", words...)), q.Forming)
	return q, r.err()
}

func (s clayRoutes) getMoves(ctx context.Context, in *RateQuery) (*body[wire.Why], error) {
	fit, asOf, err := s.Shrink.Fit(ctx)
	if err != nil {
		return nil, s.troubles.Problem(ctx, err)
	}
	q, err := readRate(tiles.ClayID(in.Clay), in.values, s.Unit())
	if err != nil {
		return nil, s.troubles.Problem(ctx, err)
	}
	a, err := s.Clays().AskRate(ctx, q)
	if err != nil {
		return nil, s.troubles.Problem(ctx, err)
	}
	j, err := s.Clays().Why(ctx, fit, a)
	if err != nil {
		return nil, s.troubles.Problem(ctx, err)
	}
	j.AsOf = s.Moment(asOf)
	return &body[wire.Why]{j}, nil
}

// curveOf draws the shrink that was asked about over heat work.
func (s clayRoutes) curveOf(fit *shrinkage.Fit, a usecase.RateAsked) (chart.Shrinkage, error) {
	d := chart.Shrinkage{Clay: string(a.Clay), From: a.Stage, To: a.To, Asked: a.Work}
	if a.To == tiles.Biscuit {
		d.Asked = a.BisqueWork
	}
	low, high := fit.Span(a.Clay, d.Asked)
	var err error
	d.Points, d.Dots, err = fit.Curve(a.Ask, a.To, low, high, curvePoints)
	return d, err
}

const curvePoints = 61

// clayPage shows the rate of a clay, for any pair of stages, heat and batch, with its curve and
// what it rests on.
func (s clayRoutes) clayPage(w http.ResponseWriter, r *http.Request) error {
	id := tiles.ClayID(r.PathValue("clay"))
	c, err := s.Clays().OneClay(r.Context(), id)
	if err != nil {
		return err
	}
	bars, err := s.Archive.Bars(r.Context(), tiles.BarFilter{Clay: id}, s.Channel)
	if err != nil {
		return err
	}
	data := clayPageData{page: s.page(r.Context(), "clays"), Clay: c, Asked: r.URL.Query(),
		Query: template.URL(r.URL.RawQuery), Stages: stageWords()}
	for _, f := range tiles.Formings() {
		data.Formings = append(data.Formings, string(f))
	}
	data.Kinds = append(data.Kinds, "bisque", "glaze", "once", "other")
	if err := s.explain(r.Context(), id, &data); err != nil {
		data.Wrong = s.troubles.Problem(r.Context(), err).Detail
	}
	for _, b := range bars {
		data.Bars = append(data.Bars, s.Bars().BarJSON(b.Bar))
	}
	data.NotCounted = usecase.NotCounted(data.Bars)
	return s.render(w, "clay", data)
}

type clayPageData struct {
	page
	Clay                    wire.ClayJSON
	Asked                   url.Values
	Query                   template.URL
	Stages, Kinds, Formings []string
	Rate                    *wire.Shrinkage
	Why                     *wire.Why
	Curve                   string
	Rows                    []curveRow
	Wrong                   message.Message
	Bars                    []wire.BarJSON
	NotCounted              []usecase.NotCountedGroup
}

// curveRow is one line of the table behind the curve.
type curveRow struct {
	WorkC            *float64
	Total, Low, High *float64
	Tested           bool
}

// explain fills in the rate, its curve and the reasons, as far as they can be had.
func (s clayRoutes) explain(ctx context.Context, id tiles.ClayID, data *clayPageData) error {
	fit, asOf, err := s.Shrink.Fit(ctx)
	if err != nil {
		return err
	}
	q, err := readRate(id, data.Asked, s.Unit())
	if err != nil {
		return err
	}
	j, _, err := s.Clays().ShrinkageOf(ctx, fit, asOf, q)
	if err != nil {
		return err
	}
	data.Rate = &j
	a, err := s.Clays().AskRate(ctx, q)
	if err != nil {
		return err
	}
	if a.To == tiles.Biscuit || a.To == tiles.Fired {
		d, err := s.curveOf(fit, a)
		if err != nil {
			return err
		}
		data.Curve = d.SVG()
		for i := 0; i < len(d.Points); i += curvePoints / 10 {
			p := d.Points[i]
			data.Rows = append(data.Rows, curveRow{usecase.Celsius(p.Work), usecase.Ratio4(p.Total),
				usecase.Ratio4(p.Likely.Low), usecase.Ratio4(p.Likely.High), p.Tested})
		}
	}
	why, err := s.Clays().Why(ctx, fit, a)
	if err != nil {
		return err
	}
	data.Why = &why
	return nil
}

func (s clayRoutes) bagPage(w http.ResponseWriter, r *http.Request) error {
	return s.showBag(w, r, pages.Form{})
}

// showBag is the page of a new bag of a clay; form is what was sent and refused, if anything was.
func (s clayRoutes) showBag(w http.ResponseWriter, r *http.Request, form pages.Form) error {
	c, err := s.Clays().OneClay(r.Context(), tiles.ClayID(r.PathValue("clay")))
	if err != nil {
		return err
	}
	data := pages.BagPage{Frame: s.page(r.Context(), "clays").Frame, Clay: c,
		Next: usecase.NextBatch(c.Batches), Form: form}
	var told clayPageData
	if err := s.explain(r.Context(), tiles.ClayID(c.Clay), &told); err == nil && told.Why != nil {
		for _, d := range told.Why.Batches {
			if d.MoreMM != nil {
				data.DifferedMM = max(data.DifferedMM, math.Abs(*d.MoreMM)*100/told.Why.OnLidMM)
				data.Compared++
			}
		}
	}
	return s.show(w, data)
}

// postBag keeps a new bag, and hands out codes of bars for it where some are wanted.
func (s clayRoutes) postBag(w http.ResponseWriter, r *http.Request) error {
	form, err := web.Form(r)
	if err != nil {
		return err
	}
	rd := newReader(form, s.Unit())
	bars := 0.0
	if form.Get("bars") != "" {
		bars, _ = rd.number("bars", 0, 50)
	}
	b := tiles.Batch{BatchRef: tiles.BatchRef{Clay: tiles.ClayID(r.PathValue("clay")),
		Batch: tiles.BatchID(form.Get("batch"))},
		Kind: tiles.Bought, Stamp: form.Get("stamp"), Arrived: form.Get("arrived_on"),
		Open: form.Get("open") != ""}
	c, err := s.Clays().OneClay(r.Context(), b.Clay)
	if err != nil {
		return err
	}
	if slices.ContainsFunc(c.Batches, func(have wire.Batch) bool { return have.Batch == string(b.Batch) }) {
		rd.fault("batch", tiles.GivenTwice, "{1} has a bag of that name already", c.Name)
	}
	rd.refuse(b.Validate()) // all that is wrong is said at once
	if len(rd.wrong) > 0 {
		err = rd.wrong
	} else {
		_, err = s.Clays().KeepBatch(r.Context(), b, usecase.Precondition{New: true})
	}
	if err != nil {
		p, ok := s.again(w, r, err)
		if !ok {
			return err
		}
		return s.showBag(w, r, pages.Form{Values: form, Problem: p})
	}
	if bars == 0 {
		http.Redirect(w, r, "/clay/"+url.PathEscape(string(b.Clay)), http.StatusSeeOther)
		return nil
	}
	return newBars(s.Server, w, r, int(bars), wire.BarBody{Clay: string(b.Clay),
		Batch: string(b.Batch), Forming: string(tiles.ThrownRing)})
}
