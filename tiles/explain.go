package tiles

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"time"

	"lidwright/kiln"
)

// Lids that gains and differences are told on, and what is worth telling.
const (
	tellingLid  Millimetre = 150
	worthMoving            = 0.05 // log-percent
	mostCauses             = 3
)

// Move says that a rate moved between two fits, and because of what.
type Move struct {
	Batch   BatchRef
	Was     Ratio
	Now     Ratio
	Because []string // "bar BQ4", "load Load-14"; empty: the site's scatter was estimated anew
}

// Moved compares the total (from a's stage to fired) with that of an earlier fit of the same
// site. It is false where it moved by less than 0.05 log-percent or cannot be compared. Each
// bar that changed is put back in turn to see what it did, and the largest are named; bars of
// one load that moved it alike are named by their load.
func (f *Fit) Moved(before *Fit, a Ask) (Move, bool) {
	was, err := before.leg(a, Fired)
	if err != nil {
		return Move{}, false
	}
	now, err := f.leg(a, Fired)
	if err != nil || math.Abs(now.mean-was.mean) < worthMoving {
		return Move{}, false
	}
	out := Move{Batch: now.ref, Was: LogPercent(was.mean).ratio(), Now: LogPercent(now.mean).ratio()}
	type cause struct {
		name string
		by   float64
	}
	loads := map[string][]Bar{}
	var names []string
	for _, b := range f.changedSince(before) {
		name := "bar " + string(b.now.Code)
		if load := b.load(); load != "" {
			name = "load " + load
		}
		if loads[name] == nil {
			names = append(names, name)
		}
		loads[name] = append(loads[name], b.was)
	}
	var causes []cause
	for _, name := range names {
		g := f
		for _, b := range loads[name] {
			if g, err = g.With(b); err != nil {
				break
			}
		}
		if err != nil {
			continue
		}
		l, err := g.leg(a, Fired)
		if err != nil {
			continue
		}
		if len(loads[name]) == 1 {
			name = "bar " + string(loads[name][0].Code)
		}
		causes = append(causes, cause{name, now.mean - l.mean})
	}
	slices.SortStableFunc(causes, func(x, y cause) int { return cmp.Compare(math.Abs(y.by), math.Abs(x.by)) })
	rest := now.mean - was.mean
	for _, c := range causes {
		if len(out.Because) == mostCauses || math.Abs(rest) < worthMoving/2 || c.by*(now.mean-was.mean) <= 0 || math.Abs(c.by) < worthMoving/5 {
			break
		}
		out.Because = append(out.Because, c.name)
		rest -= c.by
	}
	return out, true
}

// changed is a bar as it is and as it was; was has no reading if it is new.
type changed struct{ now, was Bar }

// load is the last load of a bar that changed, by which bars are taken together.
func (c changed) load() string {
	if n := len(c.now.Firings); n > 0 {
		return c.now.Firings[n-1].loadName()
	}
	return ""
}

// changedSince lists the bars whose say differs from that in an earlier fit.
func (f *Fit) changedSince(before *Fit) []changed {
	old := map[string]*sheet{}
	for _, s := range before.sheets {
		old[s.bar.ID+"/"+string(s.bar.Code)] = s
	}
	var out []changed
	seen := map[string]bool{}
	for _, s := range f.sheets {
		id := s.bar.ID + "/" + string(s.bar.Code)
		seen[id] = true
		o := old[id]
		switch {
		case o == nil:
			was := *s.bar
			was.Readings = nil
			out = append(out, changed{*s.bar, was})
		case !s.says(o):
			out = append(out, changed{*s.bar, *o.bar})
		}
	}
	for _, o := range before.sheets {
		if !seen[o.bar.ID+"/"+string(o.bar.Code)] {
			out = append(out, changed{*o.bar, *o.bar})
		}
	}
	return out
}

// says reports whether two sheets of a bar say the same.
func (s *sheet) says(o *sheet) bool {
	if s.key != o.key || len(s.lines) != len(o.lines) {
		return false
	}
	for i := range s.lines {
		if s.lines[i].reading.Length != o.lines[i].reading.Length || s.slipped(i) != o.slipped(i) {
			return false
		}
	}
	return true
}

// Gain is what more bars would bring.
type Gain struct {
	Batch  BatchRef
	Bars   int
	Loads  int
	Stages []Stage
	Before LogPercent // sd of the rate now
	After  LogPercent
	Gain   Millimetre // how much nearer a lid of 150 mm comes, one sd
}

// NextBar tells what the next bars of the batch that a asks about would bring, the greatest
// gain for one bar first: wet and fired; wet and dry alone; two in one load; one in each of
// two loads. It needs no reading: only where and when, not what, decides how sure one is.
func (f *Fit) NextBar(a Ask) ([]Gain, error) {
	l, err := f.leg(a, Fired)
	if err != nil {
		return nil, err
	}
	before, _, _ := f.likely(l, false)
	var out []Gain
	for _, try := range []struct {
		bars, loads int
		stages      []Stage
	}{{1, 1, []Stage{Wet, Fired}}, {1, 1, []Stage{Wet, Dry}}, {2, 1, []Stage{Wet, Fired}}, {2, 2, []Stage{Wet, Fired}}} {
		g := f
		for i := range try.bars {
			if g, err = g.With(g.imagined(a, l.ref, i, i%try.loads, try.stages)); err != nil {
				return nil, fmt.Errorf("next bar: %w", err)
			}
		}
		after := math.Sqrt(g.rateVariance(a))
		now := math.Sqrt(f.rateVariance(a))
		out = append(out, Gain{l.ref, try.bars, try.loads, try.stages, LogPercent(before), LogPercent(before * after / now),
			tellingLid * Millimetre(before*(1-after/now)/100)})
	}
	slices.SortStableFunc(out, func(x, y Gain) int {
		return cmp.Or(cmp.Compare(x.Bars, y.Bars), cmp.Compare(y.Gain, x.Gain))
	})
	return out, nil
}

// rateVariance is that of the rate itself at fixed sds.
func (f *Fit) rateVariance(a Ask) float64 {
	l, err := f.leg(a, Fired)
	if err != nil {
		return math.NaN()
	}
	p := f.parts(l, l, Apart)
	return p.rate[0][0] + p.forming[0][0] + p.of[thetaBatchDrying][0][0] + p.of[thetaBatchFiring][0][0]
}

// imagined is a bar still to be made, whose readings come as expected.
func (f *Fit) imagined(a Ask, ref BatchRef, n, load int, stages []Stage) Bar {
	at := f.newest.Add(time.Hour)
	work, _ := hottest(a)
	b := Bar{ID: fmt.Sprint("imagined ", n), Code: Code(fmt.Sprint("imagined ", n)), BatchRef: ref, Forming: a.Forming, MarkLength: usualMarkLength, Marks: 1,
		Firings: []Heat{{Load: fmt.Sprint("imagined load ", load), Kind: kiln.Glaze, Work: work, Probe: a.Probe, At: at}}}
	from := a
	from.Stage, from.Gone = Wet, Gone{}
	for i, s := range stages {
		length := usualMarkLength
		if l, err := f.leg(from, s); err == nil {
			length *= Millimetre(math.Exp(-l.mean / 100))
		}
		b.Readings = append(b.Readings, Reading{ID: fmt.Sprint(b.ID, " ", i), Bar: b.Code, Mark: 1, Stage: s, Length: length,
			Step: 0.1, At: at.Add(time.Minute)})
	}
	return b
}

// Difference is one batch against another.
type Difference struct {
	Than   LogPercent // by how much the first shrinks more than the second, wet to fired
	SD     LogPercent
	Low    LogPercent // a 90 % range
	High   LogPercent
	OnLid  Millimetre // the same on a lid of 150 mm
	Differ bool       // the range does not hold zero
}

// Compare tells how much more the batch of a shrinks than that of b, both from wet to fired
// at their heats. What they share (curve, loads) cancels.
func (f *Fit) Compare(a, b Ask) (Difference, error) {
	x, err := f.leg(a, Fired)
	if err != nil {
		return Difference{}, err
	}
	y, err := f.leg(b, Fired)
	if err != nil {
		return Difference{}, err
	}
	p := f.parts(x, y, Apart)
	p.of[thetaPiece], p.of[thetaLoad], p.of[thetaPosition], p.work, p.probe = Spread2{}, Spread2{}, Spread2{}, Spread2{}, Spread2{}
	c := [2]float64{1, -1}
	nu := f.freedom(x, y, p, c)
	sd := math.Sqrt(max(0, p.whole().along(c)) * math.Exp(1/nu))
	half := sd * quantile(nu, (1+LikelyLevel)/2)
	d := x.mean - y.mean
	return Difference{LogPercent(d), LogPercent(sd), LogPercent(d - half), LogPercent(d + half), tellingLid * Millimetre(d/100), math.Abs(d) > half}, nil
}
