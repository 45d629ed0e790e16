package api

import (
	"cmp"
	"context"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"

	"lidwright/api/chart"
	"lidwright/api/pages"
	"lidwright/api/usecase"
	"lidwright/api/web"
	"lidwright/api/wire"
	"lidwright/kiln/message"
	"lidwright/tiles"
	"lidwright/tiles/shrinkage"
)

// measureBack is the address of the page of many bars that a form came from; false if it came from another.
func measureBack(form url.Values) (back string, ok bool) {
	back = form.Get("back")
	if back == "" && form.Get("load") != "" {
		back = "/load/" + url.PathEscape(form.Get("load"))
	}
	return back, ourPath(back) && (strings.HasPrefix(back, "/load/") || strings.HasPrefix(back,
		"/bars/measure?"))
}

// withQuery is an address with one of its members set.
func withQuery(address, name, value string) string {
	u, err := url.Parse(address)
	if err != nil {
		return address
	}
	q := u.Query()
	q.Set(name, value)
	u.RawQuery = q.Encode()
	return u.String()
}

// again says that a form is shown again with what was wrong in it: the status is written, and the problem is
// given. It is not ok where the fault is no one's who filled the form in.
func (s *Server) again(w http.ResponseWriter, r *http.Request, err error) (*pages.Problem, bool) {
	p := s.refused(r.Context(), err)
	if p.Status < 400 || p.Status >= 500 {
		return nil, false
	}
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.WriteHeader(p.Status)
	return onPage(p), true
}

// measureRowPage takes one length of each of a row of bars: of new ones their wet marks.
func (s measureRoutes) measureRowPage(w http.ResponseWriter, r *http.Request) error {
	q := r.URL.Query()
	data, err := s.measureRow(r.Context(), q)
	if err != nil {
		return err
	}
	return s.show(w, s.atHand(r.Context(), data, q))
}

// measureRow is the page of a row of bars.
func (s measureRoutes) measureRow(ctx context.Context, q url.Values) (pages.MeasurePage, error) {
	stage := tiles.Stage(cmp.Or(q.Get("stage"), string(tiles.Wet)))
	if !slices.Contains(tiles.Stages(), stage) {
		return pages.MeasurePage{}, usecase.UnknownWord("stage", string(stage), stageWords()...)
	}
	pair, err := pairOf(q)
	if err != nil {
		return pages.MeasurePage{}, err
	}
	codes := codesIn(q.Get("codes"))
	if len(codes) > mostInARow {
		return pages.MeasurePage{}, web.NewProblem("out-of-range", message.New("At most 50 bars in a row."),
			wire.Field{Name: "codes", Says: message.New("at most 50")})
	}
	data := pages.MeasurePage{Frame: s.page(ctx, "bars").Frame, Stage: string(stage),
		Cautions: barCautions()[:1],
		Back: "/bars/measure?" + url.Values{"codes": {strings.Join(codes, " ")},
			"stage": {string(stage)}}.Encode()}
	data.WithPair(pair)
	for _, code := range codes {
		bar, err := s.Bars().Bar(ctx, wire.BarPath{Bar: code})
		if err != nil {
			return data, err
		}
		s.toMeasure(ctx, &data, bar, stage, "")
	}
	return data, nil
}

const mostInARow = 50

// pairOf is which pair of lines is measured: 1 unless the address says another.
func pairOf(q url.Values) (int, error) {
	rd := newReader(url.Values{"mark": q["mark"]}, tiles.MM)
	pair, ok := rd.whole("mark", 1, tiles.MostMarks)
	if !ok {
		pair = 1
	}
	return pair, rd.err()
}

// toMeasure adds a bar to a page; one that was flagged before it was measured stands aside.
func (s measureRoutes) toMeasure(ctx context.Context, d *pages.MeasurePage, b tiles.Bar, stage tiles.Stage,
	shelf string) {
	j := s.Bars().Settled(ctx, b)
	d.Pairs = max(d.Pairs, b.Marks)
	if b.Marks < d.Pair {
		return
	}
	one := pages.BarToMeasure{Code: j.Bar, Stage: string(stage), Clay: j.Clay, Batch: j.Batch, Shelf: shelf,
		Flags: j.Flags, NewID: s.MakeID()}
	for i, rd := range b.Readings {
		if rd.Struck != nil || rd.Mass != nil {
			continue
		}
		switch {
		case max(rd.Mark, 1) != d.Pair:
		case rd.Stage == stage:
			one.Reading = &j.Readings[i]
		case rd.Stage.Before(stage):
			one.Before = &j.Readings[i]
		}
	}
	if one.Reading == nil && len(one.Flags) > 0 {
		d.Aside = append(d.Aside, one)
		return
	}
	if e, ok := shrinkage.Plausible(b, tiles.Reading{Bar: b.Code, Stage: stage, Mark: d.Pair,
		Instrument: "calliper", At: s.Now().Wall}, s.Bars().LastFit()); ok {
		one.Expected, one.Low, one.High = usecase.LengthMM(e.Length), usecase.LengthMM(e.Low),
			usecase.LengthMM(e.High)
	}
	d.Bars = append(d.Bars, one)
}

// atHand finds the bar that is measured now, and what was measured just before: the one that is asked for,
// else the first after that one that waits.
func (s measureRoutes) atHand(ctx context.Context, d pages.MeasurePage, q url.Values) pages.MeasurePage {
	find := func(code string) int {
		return slices.IndexFunc(d.Bars, func(b pages.BarToMeasure) bool {
			return b.Code == code && code != ""
		})
	}
	d.At, d.Last = find(q.Get("bar")), find(q.Get("saved"))
	d.Instrument, d.Step = cmp.Or(d.Instrument, q.Get("instrument")), cmp.Or(d.Step, q.Get("step_mm"))
	if d.Last >= 0 && d.Bars[d.Last].Reading == nil {
		d.Last = -1
	}
	if d.Last >= 0 {
		if bar, err := s.Bars().Bar(ctx, wire.BarPath{Bar: d.Bars[d.Last].Code}); err == nil {
			for _, r := range bar.Readings {
				if r.ID == d.Bars[d.Last].Reading.ID {
					d.Earlier = s.Bars().Doubted(bar, r)
				}
			}
		}
	}
	for i := range d.Bars {
		next := (d.Last + 1 + i) % len(d.Bars)
		if d.At < 0 && d.Bars[next].Reading == nil {
			d.At = next
		}
	}
	d.Phone, d.Desk = s.strips(ctx, d)
	return d
}

// strips draw the lengths of the sisters of the bar at hand for each width.
func (s measureRoutes) strips(ctx context.Context, d pages.MeasurePage) (phone, desk pages.Drawn) {
	l := s.pages.Locale(d.Frame.Speak)
	of := d.At
	if of < 0 {
		of = d.Last
	}
	if of < 0 {
		return "", ""
	}
	hand := d.Bars[of]
	per := map[string]float64{"cm": 10, "in": 25.4, "32nds": 25.4}[l.Unit]
	if per == 0 {
		per = 1
	}
	c := chart.Strip{Expected: l.T("expected"), Figure: l.Decimal}
	said := []string{}
	for _, b := range d.Bars {
		if b.Reading != nil && b.Stage == hand.Stage && b.Clay == hand.Clay && b.Reading.LengthMM != nil {
			c.Dots = append(c.Dots, chart.StripDot{Name: b.Code, At: *b.Reading.LengthMM / per})
			said = append(said, b.Code+" "+l.Bare(*b.Reading.LengthMM))
		}
	}
	if hand.Low != nil {
		c.Low, c.High = *hand.Low/per, *hand.High/per
	}
	if len(said) == 0 {
		said = append(said, l.T("none yet"))
	}
	c.Title = l.T("Lengths of its sisters: {1}", strings.Join(said, ", "))
	if hand.Expected != nil {
		c.Title += ". " + l.T("{1} is expected", l.Length(*hand.Expected))
	}
	if d.Ask != nil && d.Ask.LengthMM != nil {
		c.Typed = &chart.StripDot{Name: hand.Code + " " + d.Ask.AsTyped, At: *d.Ask.LengthMM / per}
	}
	c.Width = 358
	phone = pages.Drawn(c.SVG())
	c.Width = 560
	return phone, pages.Drawn(c.SVG())
}

// askMeasured shows the page of many bars again with what was typed: asked about, or no length at all.
func (s measureRoutes) askMeasured(w http.ResponseWriter, r *http.Request, back string, form url.Values,
	asked *wire.Reading, wrong error) error {
	u, err := url.Parse(back)
	if err != nil {
		return err
	}
	var data pages.MeasurePage
	if id, ok := strings.CutPrefix(u.Path, "/load/"); ok {
		l, err := s.Archive.Load(r.Context(), id)
		if err != nil {
			return err
		}
		data, err = loadRoutes(s).measureLoad(r.Context(), l, message.Message{}, u.Query())
		if err != nil {
			return err
		}
	} else if data, err = s.measureRow(r.Context(), u.Query()); err != nil {
		return err
	}
	data.Ask = asked
	data.Typed = pages.Lengths{Length: form.Get("length"), Parts: form.Get("parts")}
	data.Instrument, data.Step = form.Get("instrument"), form.Get("step_mm")
	if wrong != nil {
		p, ok := s.again(w, r, wrong)
		if !ok {
			return wrong
		}
		data.Wrong = p.Detail
		if len(p.Fields) > 0 {
			data.Wrong = p.Fields[0].Says
		}
	}
	data = s.atHand(r.Context(), data, url.Values{"bar": {r.PathValue("bar")}})
	if data.At >= 0 {
		data.Bars[data.At].NewID = form.Get("id") // an entry sent twice is kept once
	}
	return s.show(w, data)
}

// measureLoad is the page of the bars of a load.
func (s loadRoutes) measureLoad(ctx context.Context, l tiles.KeptLoad, asked message.Message,
	q url.Values) (pages.MeasurePage, error) {
	pair, err := pairOf(q)
	if err != nil {
		return pages.MeasurePage{}, err
	}
	data := pages.MeasurePage{Frame: s.page(ctx, "bars").Frame, Stage: string(tiles.Measures(l.Kind)),
		Back: "/load/" + url.PathEscape(l.ID), Cautions: barCautions()}
	data.WithPair(pair)
	view, err := s.loadView(ctx, l, asked)
	if err != nil {
		return data, err
	}
	data.Load = &view
	bars, err := s.Archive.Bars(ctx, tiles.BarFilter{Load: l.ID}, s.Channel)
	if err != nil {
		return data, err
	}
	by := map[tiles.Code]tiles.Bar{}
	for _, b := range bars {
		by[b.Code] = b.Bar
	}
	for _, p := range l.Bars {
		if b, ok := by[p.Bar]; ok {
			measureRoutes(s).toMeasure(ctx, &data, b, tiles.Measures(l.Kind), p.Shelf)
		}
	}
	return data, nil
}

// loadView is a load as its pages show it, with a question about it where there is one.
func (s loadRoutes) loadView(ctx context.Context, l tiles.KeptLoad, asked message.Message) (v pages.LoadView,
	err error) {
	v = pages.LoadView{Load: s.Loads().LoadJSON(l), TickID: s.MakeID(), Asked: asked, Seen: loadMark(l.Load)}
	v.Open = l.State() == tiles.LoadPacking || l.State() == tiles.LoadPacked
	v.In = l.State() == tiles.LoadFiring || l.State() == tiles.LoadFired
	if v.Had, v.May, err = s.loadFirings(ctx, l); err != nil {
		return v, err
	}
	open, err := s.Archive.Loads(ctx, tiles.LoadFilter{Open: true, Limit: 20})
	if err != nil {
		return v, err
	}
	for _, o := range open {
		if o.ID != l.ID {
			v.Others = append(v.Others, pages.Named{ID: o.ID, Name: strconv.Itoa(o.Number)})
		}
	}
	v.Check, err = s.Firings().CheckList(ctx, cmp.Or(string(l.Firing), l.ID))
	return v, err
}

// showLoad shows a load, with a question about it where there is one.
func (s loadRoutes) showLoad(w http.ResponseWriter, r *http.Request, asked message.Message,
	moved pages.Form) error {
	l, err := s.Archive.Load(r.Context(), r.PathValue("load"))
	if err != nil {
		return err
	}
	q := r.URL.Query()
	waits := !slices.Contains([]tiles.LoadState{tiles.LoadFired, tiles.LoadUnpacked, tiles.LoadDone},
		l.State())
	if waits && !l.Stated.Known() && q.Get("measure") == "" && q.Get("bar") == "" && q.Get("saved") == "" {
		return s.showPacked(w, r, l, asked, moved)
	}
	data, err := s.measureLoad(r.Context(), l, asked, q)
	if err != nil {
		return err
	}
	data.Load.Form = moved
	return s.show(w, measureRoutes(s).atHand(r.Context(), data, q))
}

// showPacked shows a load before its fire.
func (s loadRoutes) showPacked(w http.ResponseWriter, r *http.Request, l tiles.KeptLoad,
	asked message.Message, moved pages.Form) error {
	view, err := s.loadView(r.Context(), l, asked)
	if err != nil {
		return err
	}
	view.Form = moved
	data := pages.PackedPage{Frame: s.page(r.Context(), "bars").Frame, Load: view, Cautions: barCautions()}
	for _, p := range l.Bars {
		at := slices.IndexFunc(data.Shelves, func(o pages.PackedShelf) bool { return o.Shelf == p.Shelf })
		if at < 0 {
			at = len(data.Shelves)
			data.Shelves = append(data.Shelves, pages.PackedShelf{Shelf: p.Shelf})
		}
		data.Shelves[at].Codes = append(data.Shelves[at].Codes, string(p.Bar))
	}
	return s.show(w, data)
}
