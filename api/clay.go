package api

import (
	"cmp"
	"context"
	"maps"
	"math"
	"net/http"
	"net/url"
	"slices"
	"strings"

	"lidwright/api/caution"
	"lidwright/api/chart"
	"lidwright/api/pages"
	"lidwright/api/usecase"
	"lidwright/api/web"
	"lidwright/api/wire"
	"lidwright/kiln"
	"lidwright/kiln/message"
	"lidwright/tiles"
	"lidwright/tiles/shrinkage"
)

func (s clayRoutes) getClays(ctx context.Context, _ *struct{}) (*body[wire.List[wire.ClayJSON]], error) {
	return answers(s.Clays().List(ctx))
}

func (s clayRoutes) getClay(ctx context.Context, in *wire.ClayPath) (*thing[wire.ClayJSON], error) {
	j, err := s.Clays().OneClay(ctx, tiles.ClayID(in.Clay))
	if err != nil {
		return nil, err
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
		return nil, err
	}
	j, err := s.Clays().OneClay(ctx, tiles.ClayID(in.Clay))
	if err != nil {
		return nil, err
	}
	return &edited[wire.ClayJSON]{status(k), revision(j.Revision), j}, nil
}

type putBatchInput struct {
	wire.ClayPath
	Batch string `path:"batch"`
	Body  wire.BatchBody
}

func (s clayRoutes) putBatch(ctx context.Context, in *putBatchInput) (*edited[wire.ClayJSON], error) {
	b := tiles.Batch{BatchRef: tiles.BatchRef{Clay: tiles.ClayID(in.Clay), Batch: tiles.BatchID(in.Batch)},
		Kind:  tiles.BatchKind(in.Body.Kind),
		Stamp: in.Body.Stamp, Arrived: in.Body.Arrived, Open: in.Body.Open, Note: in.Body.Note}
	var err error
	if b.Parents, b.Shares, err = tiles.ParseParents("parents", in.Body.Parents); err != nil {
		return nil, err
	}
	k, err := s.Clays().KeepBatch(ctx, b, usecase.PreconditionOf(ctx))
	if err != nil {
		return nil, err
	}
	j, err := s.Clays().OneClay(ctx, b.Clay)
	if err != nil {
		return nil, err
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

func (s clayRoutes) getShrinkage(ctx context.Context, in *shrinkageInput) (*body[wire.Shrinkage], error) {
	j, _, err := s.askShrinkage(ctx, tiles.ClayID(in.Clay), in.values)
	if err != nil {
		return nil, err
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
		return nil, err
	}
	q, err := readRate(tiles.ClayID(in.Clay), in.values, s.Unit())
	if err != nil {
		return nil, err
	}
	a, err := s.Clays().AskRate(ctx, q)
	if err != nil {
		return nil, err
	}
	j, err := s.Clays().Why(ctx, fit, a)
	if err != nil {
		return nil, err
	}
	j.AsOf = s.Moment(asOf)
	return &body[wire.Why]{j}, nil
}

// curvePoints are the heats at which a curve is sampled.
const curvePoints = 61

// clayPage shows the rate of a clay, for any pair of stages, heat and bag, with its curve and what it rests
// on.
func (s clayRoutes) clayPage(w http.ResponseWriter, r *http.Request) error {
	return s.showClay(w, r, r.URL.Query(), pages.Form{})
}

// showClay is the page of a clay: what was asked of its rate, and the form of new bars as it was typed.
func (s clayRoutes) showClay(w http.ResponseWriter, r *http.Request, asked url.Values,
	form pages.Form) error {
	ctx := r.Context()
	id := tiles.ClayID(r.PathValue("clay"))
	c, err := s.Clays().OneClay(ctx, id)
	if err != nil {
		return err
	}
	bars, err := s.Archive.Bars(ctx, tiles.BarFilter{Clay: id}, s.Channel)
	if err != nil {
		return err
	}
	data := pages.ClayPage{Frame: s.page(ctx, "clays").Frame, Clay: c, Asked: pages.Form{Values: asked},
		Stages: stageWords(), Kinds: []string{"bisque", "glaze", "once", "other"},
		NewBars: form, Make: asked.Get("make") != "",
		Cautions: pages.Cautions(caution.Texts(caution.Mixing))}
	for _, f := range tiles.Formings() {
		data.Formings = append(data.Formings, string(f))
	}
	if data.Sold, err = s.soldAs(ctx, id); err != nil {
		return err
	}
	asked.Del("make")
	data.Query = asked.Encode()
	told, err := s.explain(ctx, id, asked)
	if err != nil {
		p := s.troubles.Problem(ctx, err)
		data.Wrong = p.Detail
		if len(p.Fields) > 0 { // the usual rate in place of what was asked about
			data.Asked.Problem = onPage(p)
			told, err = s.explain(ctx, id, nil)
		}
	}
	if err == nil {
		data.Rate, data.Why = &told.rate, &told.why
		if asked.Get("batch") == "" {
			data.Query = withValue(asked, "batch", told.rate.Batch)
		}
		s.drawClay(&data, told)
	}
	var all []wire.BarJSON
	for _, b := range bars {
		j := s.Bars().BarJSON(b.Bar)
		all = append(all, j)
		if data.Rate != nil && j.Batch != data.Rate.Batch {
			data.Others++
			continue
		}
		data.Bars = append(data.Bars, j)
	}
	for _, g := range usecase.NotCounted(all) {
		data.NotCounted = append(data.NotCounted, pages.NotCounted{WhyNot: g.WhyNot, Readings: g.Readings})
	}
	return s.show(w, data)
}

// withValue is a query with one of its members set.
func withValue(q url.Values, name, value string) string {
	all := maps.Clone(q)
	all.Set(name, value)
	return all.Encode()
}

// clayTold is the rate that was asked about, its curve and the reasons.
type clayTold struct {
	fit    *shrinkage.Fit
	asked  usecase.RateAsked
	rate   wire.Shrinkage
	why    wire.Why
	points []shrinkage.CurvePoint // none: the stage asked about has no heat
	dots   []shrinkage.CurveDot
}

func (s clayRoutes) explain(ctx context.Context, id tiles.ClayID, asked url.Values) (told clayTold,
	err error) {
	fit, asOf, err := s.Shrink.Fit(ctx)
	if err != nil {
		return told, err
	}
	told.fit = fit
	q, err := readRate(id, asked, s.Unit())
	if err != nil {
		return told, err
	}
	if told.rate, _, err = s.Clays().ShrinkageOf(ctx, fit, asOf, q); err != nil {
		return told, err
	}
	if told.asked, err = s.Clays().AskRate(ctx, q); err != nil {
		return told, err
	}
	if a := told.asked; a.To == tiles.Biscuit || a.To == tiles.Fired {
		low, high := fit.Span(a.Clay, workOf(a))
		if told.points, told.dots, err = fit.Curve(a.Ask, a.To, low, high, curvePoints); err != nil {
			return told, err
		}
	}
	told.why, err = s.Clays().Why(ctx, fit, told.asked)
	return told, err
}

// workOf is the heat work that a question is about.
func workOf(a usecase.RateAsked) kiln.Celsius {
	if a.To == tiles.Biscuit {
		return a.BisqueWork
	}
	return a.Work
}

// drawClay draws the curve of a clay and what its bags end at, for each width, and the same in figures.
func (s clayRoutes) drawClay(data *pages.ClayPage, told clayTold) {
	l := s.pages.Locale(data.Frame.Speak)
	if len(told.points) > 0 {
		first, last := told.points[0], told.points[len(told.points)-1]
		d := chart.Shrinkage{Points: told.points, Dots: told.dots, Asked: workOf(told.asked),
			Fahrenheit: l.Fahrenheit,
			LeftOut:    l.T("left out"), HeatSays: l.T("heat work, {1}", l.Degree()), ConeSays: l.T("cone"),
			Title: l.T("Shrink of {1} against heat work: {2} % at {3}, {4} % at {5}. The same in figures stands below.",
				data.Clay.Name, l.Percent(usecase.Ratio4(first.Total)), l.Heat(usecase.Celsius(first.Work)),
				l.Percent(usecase.Ratio4(last.Total)), l.Heat(usecase.Celsius(last.Work)))}
		if n := counted(told.dots); n == 1 {
			d.DotsSay = l.T("1 bar")
		} else if n > 1 {
			d.DotsSay = l.T("{1} bars", n)
		}
		if at := told.rate.At; at.From == "usual" && at.Kiln != nil {
			d.AskedSays = []string{l.T("your usual {1}", l.Say(at.Kind)),
				*at.Kiln + ", " + l.Heat(at.HeatWorkC)}
		} else if at.HeatWorkC != nil {
			d.AskedSays = []string{l.T("the heat asked about"), l.Heat(at.HeatWorkC)}
		}
		data.Phone, data.Desk = bothWidths(func(w, h float64) string {
			d.Width, d.Height = w,
				h
			return d.SVG()
		})
		for i := 0; i < len(told.points); i += curvePoints / 10 {
			p := told.points[i]
			data.Rows = append(data.Rows, pages.ShrinkRow{WorkC: usecase.Celsius(p.Work),
				Total: usecase.Ratio4(p.Total),
				Low:   usecase.Ratio4(p.Likely.Low), High: usecase.Ratio4(p.Likely.High), Tested: p.Tested})
		}
	}
	s.drawBags(data, told, l)
}

// bothWidths draws for a phone and for a desk.
func bothWidths(draw func(width, height float64) string) (phone, desk pages.Drawn) {
	return pages.Drawn(draw(358, 300)), pages.Drawn(draw(560, 400))
}

// counted is how many bars the dots are of that are not left out.
func counted(dots []shrinkage.CurveDot) int {
	bars := map[tiles.Code]bool{}
	for _, d := range dots {
		if d.Weight == 1 {
			bars[d.Bar] = true
		}
	}
	return len(bars)
}

// drawBags sets beside one another what each fired bag of the clay ends at, where there are two of them.
func (s clayRoutes) drawBags(data *pages.ClayPage, told clayTold, l pages.Locale) {
	if told.asked.Stage != tiles.Wet || told.asked.To != tiles.Fired {
		return
	}
	per := 100.0 // of the wet length
	if l.Unit == "in" || l.Unit == "32nds" {
		per = 10
	}
	d := chart.Ranges{Figure: l.Decimal}
	var said []string
	for _, ref := range told.fit.Fired(told.asked.Clay) {
		a := told.asked.Ask
		a.BatchRef = ref
		rate, err := told.fit.Rate(a, tiles.Fired)
		if err != nil || math.IsNaN(float64(rate.Total)) {
			continue
		}
		left := func(r tiles.Ratio) float64 { return per * (1 - float64(r)) }
		d.Rows = append(d.Rows, chart.RangeRow{Name: l.T("bag {1}", ref.Batch), At: left(rate.Total),
			Low: left(rate.Likely.High), High: left(rate.Likely.Low),
			Here: string(ref.Batch) == told.rate.Batch})
		said = append(said, l.T("bag {1} {2}, likely {3} to {4}", ref.Batch, l.Decimal(left(rate.Total), 2),
			l.Decimal(left(rate.Likely.High), 2), l.Decimal(left(rate.Likely.Low), 2)))
	}
	if len(d.Rows) < 2 {
		return
	}
	d.Title = strings.Join(said, "; ")
	data.BagsPhone, data.BagsDesk = bothWidths(func(w, _ float64) string { d.Width = w; return d.SVG() })
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
		Next: usecase.NextBatch(c.Batches), Form: form, Seen: markOf(bagsInUse(c))}
	if told, err := s.explain(r.Context(), tiles.ClayID(c.Clay), nil); err == nil {
		for _, d := range told.why.Batches {
			if d.MoreMM != nil {
				data.DifferedMM = max(data.DifferedMM, math.Abs(*d.MoreMM)*100/told.why.OnLidMM)
				data.Compared++
			}
		}
	}
	return s.show(w, data)
}

// bagsInUse are the bags of a clay that are used now.
func bagsInUse(c wire.ClayJSON) string {
	var open []string
	for _, b := range c.Batches {
		if b.Open {
			open = append(open, b.Batch)
		}
	}
	return strings.Join(open, ", ")
}

// bagUnchanged refuses a new bag that is to be used from now on where another one was taken into use since
// its form was made.
func (s clayRoutes) bagUnchanged(ctx context.Context, clay string, form url.Values) error {
	return unchanged(s.Server, ctx, form, func() (stale, error) {
		c, err := s.Clays().OneClay(ctx, tiles.ClayID(clay))
		now := stale{mark: markOf(bagsInUse(c)), page: "/clay/" + url.PathEscape(clay) + "/bag"}
		if form.Get("open") == "" {
			now.mark = form.Get("revision") // it changes nothing about the others
		}
		now.both = []pages.Both{{Name: message.New("bag in use"), Now: message.Plain(bagsInUse(c)),
			Yours: message.Plain(form.Get("batch"))}}
		return now, err
	})
}

// postBag keeps a new bag, and hands out codes of bars for it where some are wanted.
func (s clayRoutes) postBag(w http.ResponseWriter, r *http.Request) error {
	form, err := web.Form(r)
	if err != nil {
		return err
	}
	if err := s.bagUnchanged(r.Context(), r.PathValue("clay"), form); err != nil {
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
