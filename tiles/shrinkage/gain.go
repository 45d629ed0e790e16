package shrinkage

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"slices"
	"time"

	"lidwright/kiln"
	"lidwright/kiln/message"
	"lidwright/tiles"
	"lidwright/tiles/mixedmodel"
)

// TellingLid is the lid that gains and differences are told on.
const TellingLid tiles.Millimetre = 150

// onLid is that lid in words.
var onLid = tiles.Measured{Length: TellingLid, Unit: tiles.MM, Places: -1}

// Gain is what more bars would bring.
type Gain struct {
	Batch  tiles.BatchRef   // whose rate is sharpened
	Bar    tiles.Code       // one at hand, measured wet and not fired yet; empty: bars still to be made
	Shelf  string           // where it is best packed; empty where no shelf is known
	Bars   int              // how many more
	Loads  int              // in how many loads
	Stages []tiles.Stage    // at which they are read
	Before tiles.LogPercent // sd of the rate now
	After  tiles.LogPercent // sd of the rate afterwards
	Gain   tiles.Millimetre // how much nearer a lid of 150 mm comes, one sd
}

// Says is g in words.
func (g Gain) Says() message.Message {
	what := message.New("one bar, read wet and fired")
	switch {
	case g.Shelf != "":
		what = message.New("{1} on the shelf {2}, then read fired", g.Bar, g.Shelf)
	case g.Bar != "":
		what = message.New("{1} in the next load, then read fired", g.Bar)
	case g.Bars == 1 && g.Stages[len(g.Stages)-1] == tiles.Dry:
		what = message.New("one bar, read wet and dry alone")
	case g.Bars > 1 && g.Loads == 1:
		what = message.New("{1} bars in one load", g.Bars)
	case g.Bars > 1:
		what = message.New("{1} bars, one in each of the next {2} loads", g.Bars, g.Loads)
	}
	return message.New("{1}: a lid of {2} comes {3} nearer", what, onLid, tiles.Fine(g.Gain))
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
	}{{1, 1, []tiles.Stage{tiles.Wet, tiles.Fired}}, {1, 1, []tiles.Stage{tiles.Wet, tiles.Dry}},
		{2, 1, []tiles.Stage{tiles.Wet, tiles.Fired}}, {2, 2, []tiles.Stage{tiles.Wet, tiles.Fired}}} {
		g := f
		// as if they had been read just as expected, one after the other
		for i := range try.bars {
			if g, err = g.with(g.imagined(a, l.ref, i, i%try.loads, try.stages)); err != nil {
				return nil, fmt.Errorf("next bar: %w", err)
			}
		}
		// at the sds of now: more bars sharpen those too, which is not told
		after := math.Sqrt(g.rateVariance(a))
		now := math.Sqrt(f.rateVariance(a))
		out = append(out, gained(Gain{Batch: l.ref, Bars: try.bars, Loads: try.loads, Stages: try.stages},
			before, after/now))
	}
	slices.SortStableFunc(out, func(x, y Gain) int {
		return cmp.Or(cmp.Compare(x.Bars, y.Bars), cmp.Compare(y.Gain, x.Gain))
	})
	return out, nil
}

// gained completes g: before is the sd of the rate in log-percent, left the share of it that stays.
func gained(g Gain, before, left float64) Gain {
	g.Before, g.After = tiles.LogPercent(before), tiles.LogPercent(before*left)
	g.Gain = TellingLid * tiles.Millimetre(before*(1-left)/100)
	return g
}

const (
	mostPlanned  = 3  // bars at hand that are named
	mostWeighed  = 24 // bars at hand that are tried
	worthAnother = 1e-9
)

// PlannedBars tells which of the bars at hand of the batch that a asks about, measured wet and not fired yet,
// would sharpen its rate most and on which shelf, the best first, at most three: each is tried on every shelf
// at the heat that the kiln's bars say of it. With no shelf told, shelves are left out. No reading is needed:
// only where and when decides how sure one is.
func (f *Fit) PlannedBars(a Ask, shelves []ShelfHeat) ([]Gain, error) {
	l, err := f.leg(a, tiles.Fired)
	if err != nil {
		return nil, err
	}
	if len(shelves) == 0 {
		shelves = []ShelfHeat{{}}
	}
	before, _, _ := f.likely(l, false)
	now := math.Sqrt(f.rateVariance(a))
	var out []Gain
	codes := unfired(f, l.ref)
	for _, b := range f.studio.Bars {
		if !slices.Contains(codes[:min(len(codes), mostWeighed)], b.Code) {
			continue
		}
		// the shelf that tells most; the first of equals
		best := Gain{Gain: -1}
		// each shelf, as if the bar had been fired and read there
		for _, shelf := range shelves {
			g, err := f.with(f.packed(a, b, shelf))
			if errors.Is(err, mixedmodel.ErrAnew) { // it cannot be tried without a whole fit
				continue
			}
			if err != nil {
				return nil, fmt.Errorf("bar %s on shelf %q: %w", b.Code, shelf.Shelf, err)
			}
			one := gained(Gain{Batch: l.ref, Bar: b.Code, Shelf: shelf.Shelf, Bars: 1, Loads: 1,
				Stages: []tiles.Stage{tiles.Fired}}, before, math.Sqrt(g.rateVariance(a))/now)
			if one.Gain > best.Gain+worthAnother {
				best = one
			}
		}
		if best.Bar != "" {
			out = append(out, best)
		}
	}
	slices.SortFunc(out, func(x, y Gain) int {
		return cmp.Or(cmp.Compare(y.Gain, x.Gain),
			cmp.Compare(x.Bar, y.Bar))
	})
	return out[:min(len(out), mostPlanned)], nil
}

// packed is b after a firing still to come on a shelf, read as expected.
func (f *Fit) packed(a Ask, b tiles.Bar, shelf ShelfHeat) tiles.Bar {
	one := f.imagined(a, b.BatchRef, 0, 0, []tiles.Stage{tiles.Wet, tiles.Fired})
	heat := one.Firings[0]
	heat.Shelf, heat.Work = shelf.Shelf, heat.Work+kiln.Celsius(shelf.More)
	b.Firings = append(slices.Clone(b.Firings), heat)
	b.Readings = slices.Clone(b.Readings)
	was := one.Readings[0]
	for _, r := range b.Readings {
		if r.Stage == tiles.Wet && r.Counts() {
			was = r
		}
	}
	fired := one.Readings[1]
	fired.Bar, fired.Mark, fired.Length = b.Code, was.Mark, fired.Length*was.Length/one.Readings[0].Length
	if was.Step > 0 {
		fired.Step = was.Step // the instrument at hand
	}
	b.Readings = append(b.Readings, fired)
	return b
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
	b := tiles.Bar{ID: fmt.Sprint("imagined ", n), Code: tiles.Code(fmt.Sprint("imagined ", n)),
		BatchRef: ref, Forming: a.Forming, MarkLength: tiles.UsualMarkLength, Marks: 1,
		Firings: []tiles.Heat{{Load: fmt.Sprint("imagined load ", load), Kind: kiln.Glaze, Work: work,
			Probe: a.Probe, At: at}}}
	from := a
	from.Stage, from.Gone = tiles.Wet, SoFar{}
	for i, s := range stages {
		length := tiles.UsualMarkLength
		if l, err := f.leg(from, s); err == nil {
			length *= tiles.Millimetre(math.Exp(-l.mean / 100))
		}
		b.Readings = append(b.Readings, tiles.Reading{ID: fmt.Sprint(b.ID, " ", i), Bar: b.Code, Mark: 1,
			Stage: s, Length: length,
			Step: 0.1, At: at.Add(time.Minute)})
	}
	return b
}

// Difference is one batch against another.
type Difference struct {
	Than   tiles.LogPercent // by how much the first shrinks more than the second, wet to fired
	SD     tiles.LogPercent // of Than
	Low    tiles.LogPercent // a 90 % range
	High   tiles.LogPercent // the other end
	OnLid  tiles.Millimetre // the same on a lid of 150 mm
	Differ bool             // the range does not hold zero
	Shared int              // loads that bars of both were fired in
	// what one shared load would tell; nil where the two differ already, or it would tell little more
	Pack *PackTogether
}

// PackTogether says which bars of two batches to fire in one load.
type PackTogether struct {
	Bars [2][]tiles.Code  // at hand, measured wet and not fired yet: two at most of each batch
	Half tiles.LogPercent // half the 90 % range of the difference afterwards
}

// Says is p in words, for batches of these names.
func (p PackTogether) Says(first, second tiles.BatchID) message.Message {
	bars := func(codes []tiles.Code, of tiles.BatchID) message.Message {
		switch len(codes) {
		case 0:
			return message.New("two new bars of {1}", of)
		case 1:
			return message.New("bar {1} and a new one of {2}", codes[0], of)
		}
		return message.New("bars {1} and {2} of {3}", codes[0], codes[1], of)
	}
	return message.New("No load held bars of both, so that a hotter fire looks like another clay. "+
		"One shared load would tell: pack {1} with {2}; the difference would then be known to about {3} on {4}.",
		bars(p.Bars[0], first), bars(p.Bars[1], second),
		tiles.Measured{Length: TellingLid * tiles.Millimetre(p.Half) / 100, Unit: tiles.MM, Places: 1}, onLid)
}

// worthPacking is the share of the range that may be left for a shared load to be advised (own).
const worthPacking = 0.9

// Compare tells how much more the batch of a shrinks than that of b, both from wet to fired
// at their heats. What they share (curve, loads) cancels. Where no load held bars of both, it says what one
// would tell.
func (f *Fit) Compare(a, b Ask) (Difference, error) {
	x, err := f.leg(a, tiles.Fired)
	if err != nil {
		return Difference{}, err
	}
	y, err := f.leg(b, tiles.Fired)
	if err != nil {
		return Difference{}, err
	}
	d := x.mean - y.mean
	sd, half := apart(f, x, y)
	out := Difference{Than: tiles.LogPercent(d), SD: tiles.LogPercent(sd), Low: tiles.LogPercent(d - half),
		High:  tiles.LogPercent(d + half),
		OnLid: TellingLid * tiles.Millimetre(d/100), Differ: math.Abs(d) > half, Shared: sharedLoads(f, x.ref,
			y.ref)}
	both := barsOf(f, x.ref) > 0 && barsOf(f, y.ref) > 0
	if both && x.ref != y.ref && out.Shared == 0 && !out.Differ {
		out.Pack, err = packTogether(f, a, b, x.ref, y.ref, half)
	}
	return out, err
}

// apart is the sd of the difference of two rates, and half its 90 % range.
func apart(f *Fit, x, y leg) (sd, half float64) {
	p := f.parts(x, y, Apart)
	p.of[thetaPiece], p.of[thetaLoad], p.of[thetaPosition], p.work, p.probe =
		Spread2{}, Spread2{}, Spread2{}, Spread2{}, Spread2{}
	c := [2]float64{1, -1}
	nu := f.freedom(x, y, p, c)
	sd = math.Sqrt(max(0, f.widened(x, y, p).whole().along(c)))
	return sd, sd * quantile(nu, (1+tiles.LikelyLevel)/2)
}

// barsOf counts the fired bars of a batch that have a say.
func barsOf(f *Fit, ref tiles.BatchRef) int {
	if seen := f.batches[ref]; seen != nil {
		return seen.bars
	}
	return 0
}

// sharedLoads counts the loads in which bars of both batches were fired.
func sharedLoads(f *Fit, a, b tiles.BatchRef) (n int) {
	x, y := f.batches[a], f.batches[b]
	if x == nil || y == nil {
		return 0
	}
	for _, load := range x.loads {
		if slices.Contains(y.loads, load) {
			n++
		}
	}
	return n
}

// packTogether is what two bars of each in one load would tell, at the sds of now; nil where the range would
// stay about as it is.
func packTogether(f *Fit, a, b Ask, first, second tiles.BatchRef, half float64) (*PackTogether, error) {
	now, err := differenceVariance(f, a, b)
	if err != nil {
		return nil, err
	}
	g, out := f, &PackTogether{}
	for i, one := range []struct {
		ask Ask
		ref tiles.BatchRef
	}{{a, first}, {b, second}} {
		out.Bars[i] = unfired(f, one.ref)
		out.Bars[i] = out.Bars[i][:min(len(out.Bars[i]), 2)]
		for n := range 2 {
			bar := g.imagined(one.ask, one.ref, 2*i+n, 0, []tiles.Stage{tiles.Wet, tiles.Fired})
			if g, err = g.With(bar); err != nil {
				return nil, fmt.Errorf("shared load: %w", err)
			}
		}
	}
	then, err := differenceVariance(g, a, b)
	if err != nil || !(then < worthPacking*worthPacking*now) {
		return nil, err
	}
	out.Half = tiles.LogPercent(half * math.Sqrt(then/now))
	return out, nil
}

// differenceVariance is that of the difference of two rates at fixed sds.
func differenceVariance(f *Fit, a, b Ask) (float64, error) {
	x, err := f.leg(a, tiles.Fired)
	if err != nil {
		return 0, err
	}
	y, err := f.leg(b, tiles.Fired)
	if err != nil {
		return 0, err
	}
	p := f.parts(x, y, Apart)
	return p.rate.plus(p.of[thetaBatchDrying]).plus(p.of[thetaBatchFiring]).along([2]float64{1, -1}), nil
}

// unfired are the bars of a batch that were measured wet and not fired yet, by their codes.
func unfired(f *Fit, ref tiles.BatchRef) (codes []tiles.Code) {
	for i := range f.studio.Bars {
		b := &f.studio.Bars[i]
		wet := slices.ContainsFunc(b.Readings, func(r tiles.Reading) bool {
			return r.Stage == tiles.Wet && r.Counts()
		})
		if b.BatchRef == ref && b.InFit() && wet && len(b.Firings) == 0 {
			codes = append(codes, b.Code)
		}
	}
	slices.Sort(codes)
	return codes
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
	slices.SortStableFunc(out, func(a, b LeftOut) int {
		return cmp.Or(cmp.Compare(a.Bar, b.Bar), cmp.Compare(a.Reading, b.Reading))
	})
	return out
}
