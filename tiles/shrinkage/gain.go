package shrinkage

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"time"

	"lidwright/kiln"
	"lidwright/tiles"
)

// TellingLid is the lid that gains and differences are told on.
const TellingLid tiles.Millimetre = 150

// Gain is what more bars would bring.
type Gain struct {
	Batch  tiles.BatchRef
	Bars   int
	Loads  int
	Stages []tiles.Stage
	Before tiles.LogPercent // sd of the rate now
	After  tiles.LogPercent
	Gain   tiles.Millimetre // how much nearer a lid of 150 mm comes, one sd
}

// Says is g in words.
func (g Gain) Says() string {
	what := "one bar, read wet and fired"
	switch {
	case g.Bars == 1 && g.Stages[len(g.Stages)-1] == tiles.Dry:
		what = "one bar, read wet and dry alone"
	case g.Bars > 1 && g.Loads == 1:
		what = fmt.Sprintf("%d bars in one load", g.Bars)
	case g.Bars > 1:
		what = fmt.Sprintf("%d bars, one in each of the next %d loads", g.Bars, g.Loads)
	}
	return fmt.Sprintf("%s: a lid of %.0f mm comes %.2f mm nearer", what, float64(TellingLid), float64(g.Gain))
}

// NextBar tells what the next bars of the batch that a asks about would bring, the greatest
// gain for one bar first: wet and fired; wet and dry alone; two in one load; one in each of
// two loads. It needs no reading: only where and when, not what, decides how sure one is.
func (f *Fit) NextBar(a Ask) ([]Gain, error) {
	l, err := f.leg(a, tiles.Fired)
	if err != nil {
		return nil, err
	}
	before, _, _ := f.likely(l, false)
	var out []Gain
	for _, try := range []struct {
		bars, loads int
		stages      []tiles.Stage
	}{{1, 1, []tiles.Stage{tiles.Wet, tiles.Fired}}, {1, 1, []tiles.Stage{tiles.Wet, tiles.Dry}}, {2, 1, []tiles.Stage{tiles.Wet, tiles.Fired}}, {2, 2, []tiles.Stage{tiles.Wet, tiles.Fired}}} {
		g := f
		for i := range try.bars {
			if g, err = g.with(g.imagined(a, l.ref, i, i%try.loads, try.stages)); err != nil {
				return nil, fmt.Errorf("next bar: %w", err)
			}
		}
		after := math.Sqrt(g.rateVariance(a))
		now := math.Sqrt(f.rateVariance(a))
		out = append(out, Gain{l.ref, try.bars, try.loads, try.stages, tiles.LogPercent(before), tiles.LogPercent(before * after / now),
			TellingLid * tiles.Millimetre(before*(1-after/now)/100)})
	}
	slices.SortStableFunc(out, func(x, y Gain) int {
		return cmp.Or(cmp.Compare(x.Bars, y.Bars), cmp.Compare(y.Gain, x.Gain))
	})
	return out, nil
}

// rateVariance is that of the rate itself at fixed sds.
func (f *Fit) rateVariance(a Ask) float64 {
	l, err := f.leg(a, tiles.Fired)
	if err != nil {
		return math.NaN()
	}
	p := f.parts(l, l, Apart)
	return p.rate[0][0] + p.forming[0][0] + p.of[thetaBatchDrying][0][0] + p.of[thetaBatchFiring][0][0]
}

// imagined is a bar still to be made, whose readings come as expected.
func (f *Fit) imagined(a Ask, ref tiles.BatchRef, n, load int, stages []tiles.Stage) tiles.Bar {
	at := f.newest.Add(time.Hour)
	work, _ := hottest(a)
	b := tiles.Bar{ID: fmt.Sprint("imagined ", n), Code: tiles.Code(fmt.Sprint("imagined ", n)), BatchRef: ref, Forming: a.Forming, MarkLength: tiles.UsualMarkLength, Marks: 1,
		Firings: []tiles.Heat{{Load: fmt.Sprint("imagined load ", load), Kind: kiln.Glaze, Work: work, Probe: a.Probe, At: at}}}
	from := a
	from.Stage, from.Gone = tiles.Wet, SoFar{}
	for i, s := range stages {
		length := tiles.UsualMarkLength
		if l, err := f.leg(from, s); err == nil {
			length *= tiles.Millimetre(math.Exp(-l.mean / 100))
		}
		b.Readings = append(b.Readings, tiles.Reading{ID: fmt.Sprint(b.ID, " ", i), Bar: b.Code, Mark: 1, Stage: s, Length: length,
			Step: 0.1, At: at.Add(time.Minute)})
	}
	return b
}

// Difference is one batch against another.
type Difference struct {
	Than   tiles.LogPercent // by how much the first shrinks more than the second, wet to fired
	SD     tiles.LogPercent
	Low    tiles.LogPercent // a 90 % range
	High   tiles.LogPercent
	OnLid  tiles.Millimetre // the same on a lid of 150 mm
	Differ bool             // the range does not hold zero
}

// Compare tells how much more the batch of a shrinks than that of b, both from wet to fired
// at their heats. What they share (curve, loads) cancels.
func (f *Fit) Compare(a, b Ask) (Difference, error) {
	x, err := f.leg(a, tiles.Fired)
	if err != nil {
		return Difference{}, err
	}
	y, err := f.leg(b, tiles.Fired)
	if err != nil {
		return Difference{}, err
	}
	p := f.parts(x, y, Apart)
	p.of[thetaPiece], p.of[thetaLoad], p.of[thetaPosition], p.work, p.probe = Spread2{}, Spread2{}, Spread2{}, Spread2{}, Spread2{}
	c := [2]float64{1, -1}
	nu := f.freedom(x, y, p, c)
	sd := math.Sqrt(max(0, p.whole().along(c)) * math.Exp(1/nu))
	half := sd * quantile(nu, (1+tiles.LikelyLevel)/2)
	d := x.mean - y.mean
	return Difference{tiles.LogPercent(d), tiles.LogPercent(sd), tiles.LogPercent(d - half), tiles.LogPercent(d + half), TellingLid * tiles.Millimetre(d/100), math.Abs(d) > half}, nil
}

// Fired lists the batches of a clay that have fired bars with a say, by name.
func (f *Fit) Fired(clay tiles.ClayID) []tiles.BatchRef {
	var out []tiles.BatchRef
	for ref, seen := range f.batches {
		if ref.Clay == clay && seen.bars > 0 {
			out = append(out, ref)
		}
	}
	slices.SortFunc(out, func(a, b tiles.BatchRef) int { return cmp.Compare(a.Batch, b.Batch) })
	return out
}

// LeftOf lists the readings of a clay's bars that have no say, by bar.
func (f *Fit) LeftOf(clay tiles.ClayID) []LeftOut {
	own := map[tiles.Code]bool{}
	for i := range f.studio.Bars {
		if b := &f.studio.Bars[i]; b.Clay == clay {
			own[b.Code] = true
		}
	}
	out := slices.DeleteFunc(f.Left(), func(l LeftOut) bool { return !own[l.Bar] })
	slices.SortStableFunc(out, func(a, b LeftOut) int { return cmp.Or(cmp.Compare(a.Bar, b.Bar), cmp.Compare(a.Reading, b.Reading)) })
	return out
}
