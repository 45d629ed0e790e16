package codec

import (
	"cmp"
	"fmt"
	"maps"
	"slices"
	"time"

	"lidwright/kiln"
)

// WriteSummary writes a summary: a kiln.Firing without its number, its status and what people said of it,
// in a fixed order. Times are ns, temperatures °C as floats.
func WriteSummary(f kiln.Firing) []byte {
	e := &coder{b: make([]byte, 0, 512)}
	for _, text := range []string{string(f.ID), string(f.Kiln), string(f.Kind), f.KindFrom,
		string(f.Atmosphere), f.Source, f.Load, f.Note} {
		e.text(text)
	}
	e.stamp(f.Began)
	e.stamp(f.Over)
	e.float(float64(f.Peak))
	e.span(f.PeakAfter)
	e.span(f.ToTop)
	e.span(f.Length)
	e.uint(uint64(len(f.Dips)))
	for _, d := range f.Dips {
		e.span(d.From)
		e.span(d.To)
		e.float(float64(d.Lowest))
	}
	putGaps(e, f.Gaps)
	e.uint(uint64(f.Good))
	e.uint(uint64(len(f.Faulty)))
	for _, fault := range slices.Sorted(maps.Keys(f.Faulty)) {
		e.text(string(fault))
		e.uint(uint64(f.Faulty[fault]))
	}
	e.flag(f.AtLeast)
	e.flag(f.Provisional)
	e.uint(uint64(len(f.HeatWork)))
	for _, c := range slices.Sorted(maps.Keys(f.HeatWork)) {
		e.text(string(c))
		putWork(e, f.HeatWork[c])
	}
	e.uint(uint64(len(f.Corrected)))
	for _, p := range slices.SortedFunc(maps.Keys(f.Corrected), func(a, b kiln.Place) int {
		return cmp.Or(cmp.Compare(a.Channel, b.Channel), cmp.Compare(a.Shelf, b.Shelf))
	}) {
		e.text(string(p.Channel))
		e.text(p.Shelf)
		putWork(e, f.Corrected[p])
	}
	for _, text := range []string{f.Told.Sitter, string(f.Told.SitterSeries),
		writeTime(f.Told.Dropped), f.Told.Intended} {
		e.text(text)
	}
	if f.StandIn.Probe != "" { // most firings have none, and those of an older version end here
		e.text(string(f.StandIn.Probe))
		e.text(string(f.StandIn.For))
		e.span(f.StandIn.After)
	}
	return Wrap(e.b, BodyPlain)
}

// ReadSummary reads what WriteSummary wrote; what is damaged is refused.
func ReadSummary(data []byte) (kiln.Firing, error) {
	body, err := unwrap(data)
	if err != nil {
		return kiln.Firing{}, fmt.Errorf("read a firing's summary: %w", err)
	}
	d := &decoder{b: body, whole: string(body)} // a dozen texts in one
	f := kiln.Firing{ID: kiln.FiringID(d.text()), Kiln: kiln.KilnID(d.text()), Kind: kiln.Kind(d.text()),
		KindFrom:   d.text(),
		Atmosphere: kiln.Atmosphere(d.text()), Source: d.text(), Load: d.text(), Note: d.text()}
	f.Began, f.Over = d.stamp(), d.stamp()
	f.Peak, f.PeakAfter, f.ToTop, f.Length = kiln.Celsius(d.float()), d.span(), d.span(), d.span()
	for range d.count(len(d.b)) {
		f.Dips = append(f.Dips, kiln.Dip{From: d.span(), To: d.span(), Lowest: kiln.Celsius(d.float())})
	}
	f.Gaps = takeGaps(d)
	f.Good = int(d.uint())
	f.Faulty = map[kiln.Fault]int{}
	for range d.count(len(d.b)) {
		fault := kiln.Fault(d.text())
		f.Faulty[fault] = int(d.uint())
	}
	f.AtLeast, f.Provisional = d.flag(), d.flag()
	f.HeatWork = map[kiln.ChannelID]kiln.HeatWork{}
	for range d.count(len(d.b)) {
		c := kiln.ChannelID(d.text())
		f.HeatWork[c] = takeWork(d)
	}
	for range d.count(len(d.b)) {
		if f.Corrected == nil {
			f.Corrected = map[kiln.Place]kiln.HeatWork{}
		}
		p := kiln.Place{Channel: kiln.ChannelID(d.text()), Shelf: d.text()}
		f.Corrected[p] = takeWork(d)
	}
	f.Told.Sitter, f.Told.SitterSeries = d.text(), kiln.Series(d.text())
	f.Told.Dropped, f.Told.Intended = readTime(d.text()), d.text()
	if len(d.b) > 0 {
		f.StandIn = kiln.StandIn{Probe: kiln.ChannelID(d.text()),
			For: kiln.ChannelID(d.text()), After: d.span()}
	}
	if d.bad {
		return kiln.Firing{}, fmt.Errorf("read a firing's summary: %w: it ends early", ErrCoded)
	}
	return f, nil
}

func putWork(e *coder, w kiln.HeatWork) {
	for _, v := range []float64{float64(w.C), float64(w.Low), float64(w.High), w.Position, w.OwnSD,
		float64(w.Bias), float64(w.BiasSD)} {
		e.float(v)
	}
	e.flag(w.Estimate)
	for _, text := range []string{w.From, w.Model, w.Since} {
		e.text(text)
	}
}

func takeWork(d *decoder) kiln.HeatWork {
	w := kiln.HeatWork{C: kiln.Celsius(d.float()), Low: kiln.Celsius(d.float()),
		High:     kiln.Celsius(d.float()),
		Position: d.float(), OwnSD: d.float(),
		Bias: kiln.Celsius(d.float()), BiasSD: kiln.Celsius(d.float())}
	w.Estimate, w.From, w.Model, w.Since = d.flag(), d.text(), d.text(), d.text()
	return w
}

// writeTime writes a time that may not be told.
func writeTime(t time.Time) string {
	if t.IsZero() {
		return ""
	}
	return t.UTC().Format(time.RFC3339Nano)
}

func readTime(text string) time.Time {
	if text == "" {
		return time.Time{}
	}
	t, err := time.Parse(time.RFC3339Nano, text)
	if err != nil {
		return time.Time{}
	}
	return t.UTC()
}

func putGaps(e *coder, gaps []kiln.Gap) {
	e.uint(uint64(len(gaps)))
	for _, g := range gaps {
		e.span(g.After)
		e.span(g.For)
		e.flag(g.Known)
		e.text(g.Why)
	}
}

func takeGaps(d *decoder) (gaps []kiln.Gap) {
	for range d.count(len(d.b)) {
		gaps = append(gaps, kiln.Gap{After: d.span(), For: d.span(), Known: d.flag(), Why: d.text()})
	}
	return gaps
}

// ModelOf is the number of the model that worked out a firing's heat work, the oldest where
// channels differ, "" if none did: what people state and what cones show has no model.
func ModelOf(works map[kiln.ChannelID]kiln.HeatWork) string {
	model := ""
	for _, w := range works {
		if w.From == kiln.FromCurve && (model == "" || w.Model < model) {
			model = w.Model
		}
	}
	return model
}

// TimesOf are the columns of a firing's times: over is nil while it runs.
func TimesOf(f kiln.Firing) (began int64, over any, trusted bool) {
	if f.Over.Wall != (time.Time{}) {
		over = f.Over.Wall.UnixMilli()
	}
	return f.Began.Wall.UnixMilli(), over, f.Began.Trusted && (over == nil || f.Over.Trusted)
}
