package shrinkage

import (
	"fmt"
	"math"
	"slices"
	"time"

	"lidwright/kiln"
	"lidwright/tiles"
	"lidwright/tiles/mixedmodel"
)

// Rules of trust (own; 15 and 60 were not tuned).
const (
	testedWithin  = 15 // °C of heat work
	testedBetween = 60 // or on both sides, no farther apart
	staleAfter    = 365 * 24 * time.Hour
	thinLoads     = 2
	thinBars      = 2
)

// batchSeen is what was seen of one batch: its fired bars that have a say.
type batchSeen struct {
	bars     int
	loads    []string
	formings []tiles.Forming
	probes   []string
	last     time.Time // last fired reading
	struck   int       // struck readings of any stage
}

// claySeen is where a clay was tested.
type claySeen struct {
	tested  []float64 // heat works of fired readings that did not slip, rising
	bloated float64   // heat at which a bar bloated; +Inf: none did
}

// conclude counts what was seen, after the last screening.
func (f *Fit) conclude() {
	f.batches = map[tiles.BatchRef]*batchSeen{}
	f.slopes = &slopes{kept: map[string]mixedmodel.Slopes{}}
	f.left = slices.DeleteFunc(f.left, func(l LeftOut) bool { return l.Slip })
	for i := range f.studio.Bars {
		b := &f.studio.Bars[i]
		for _, r := range b.Readings {
			if r.At.After(f.newest) {
				f.newest = r.At
			}
			if r.Struck != nil {
				f.seen(b.BatchRef).struck++
			}
		}
	}
	for _, s := range f.sheets {
		fired := false
		seen := f.seen(s.bar.BatchRef)
		for i, l := range s.lines {
			if s.slipped(i) {
				f.left = append(f.left, f.slipped(s, i)...)
				continue
			}
			if l.stage != tiles.Fired {
				continue
			}
			fired = true
			seen.loads = include(seen.loads, loadName(l.heat))
			if l.heat.Probe != "" {
				seen.probes = include(seen.probes, l.heat.Probe)
			}
			if at := l.last(); at.After(seen.last) {
				seen.last = at
			}
		}
		if fired {
			seen.bars++
			seen.formings = include(seen.formings, forming(s.bar.Forming))
		}
	}
	f.tested = map[tiles.ClayID]claySeen{}
	for _, k := range f.clays {
		f.tested[k.id] = f.claySeen(k.id)
	}
}

// slipped tells how far the distrusted readings of a line are off.
func (f *Fit) slipped(s *sheet, i int) (out []LeftOut) {
	mean, _, ok := f.expectLine(s, i)
	for _, r := range s.lines[i].repeats {
		l := LeftOut{Reading: r.ID, Bar: s.bar.Code, Stage: s.lines[i].stage, Slip: true, Why: "far from what the other readings say"}
		if ok {
			l.Off = r.Length - tiles.Millimetre(math.Exp(-mean/100))
		}
		out = append(out, l)
	}
	return out
}

func include[T comparable](list []T, v T) []T {
	if slices.Contains(list, v) {
		return list
	}
	return append(list, v)
}

func (f *Fit) seen(ref tiles.BatchRef) *batchSeen {
	s := f.batches[ref]
	if s == nil {
		s = &batchSeen{}
		f.batches[ref] = s
	}
	return s
}

func (s *sheet) slipped(i int) bool { return s.weight != nil && s.weight[i] < 1 }

// claySeen gathers where a clay was tested.
func (f *Fit) claySeen(id tiles.ClayID) claySeen {
	out := claySeen{bloated: math.Inf(1)}
	for _, s := range f.sheets {
		for i, l := range s.lines {
			if s.bar.Clay == id && l.stage == tiles.Fired && !s.slipped(i) {
				out.tested = append(out.tested, float64(l.heat.Work))
			}
		}
	}
	slices.Sort(out.tested)
	for i := range f.studio.Bars {
		b := &f.studio.Bars[i]
		if b.Clay != id || !slices.Contains(b.Flags, tiles.Bloated) || b.Practice {
			continue
		}
		for _, h := range b.Firings {
			if h.Work.Known() && tiles.Measures(h.Kind) == tiles.Fired {
				out.bloated = min(out.bloated, float64(h.Work))
			}
		}
	}
	return out
}

// covers reports whether heat work h is tested: a fired reading near it, or on both sides of
// it and not far apart, and no bar that bloated at h or below.
func (c claySeen) covers(h float64) bool {
	if h >= c.bloated {
		return false
	}
	at, _ := slices.BinarySearch(c.tested, h)
	below, above := math.Inf(-1), math.Inf(1)
	if at > 0 {
		below = c.tested[at-1]
	}
	if at < len(c.tested) {
		above = c.tested[at]
	}
	return h-below <= testedWithin || above-h <= testedWithin || above-below <= testedBetween
}

// nearest is the tested heat nearest to h; NaN if there is none.
func (c claySeen) nearest(h float64) float64 {
	best := math.NaN()
	for _, t := range c.tested {
		if t < c.bloated && !(math.Abs(t-h) >= math.Abs(best-h)) {
			best = t
		}
	}
	return best
}

// Standing is how far the rate that a asks about can be trusted, by the rules above; the
// first that applies.
func (f *Fit) Standing(a Ask) Standing {
	ref := a.BatchRef
	if ref.Batch == "" {
		ref.Batch = f.newestOpen(ref.Clay)
	}
	clay := f.tested[ref.Clay]
	hot, _ := hottest(a)
	out := Standing{NearestTested: kiln.NoTemperature(), NoOwnFired: len(clay.tested) == 0}
	batch := f.batches[ref]
	if batch == nil {
		batch = &batchSeen{}
	}
	if !out.NoOwnFired && hot.Known() && !clay.covers(float64(hot)) {
		out.Untested, out.NearestTested = true, kiln.Celsius(clay.nearest(float64(hot)))
		out.Trust, out.Why = Stretched, fmt.Sprintf("no fired bar near %.0f °C", float64(hot))
		switch {
		case float64(hot) >= clay.bloated:
			out.Why = fmt.Sprintf("a bar bloated at %.0f °C", clay.bloated)
		case out.NearestTested.Known():
			out.Why += fmt.Sprintf("; the nearest was at %.0f °C", float64(out.NearestTested))
		}
		return out
	}
	on := a.On
	if on.IsZero() {
		on = f.studio.Now
	}
	if on.IsZero() {
		on = f.newest
	}
	ago := on.Sub(batch.last)
	rests := fmt.Sprintf("%s in %s, last %s", count(batch.bars, "bar"), count(len(batch.loads), "load"), since(ago))
	switch {
	case out.NoOwnFired:
		out.Trust, out.Why = Borrowed, "no fired bar of this clay yet: "+f.source(ref.Clay)
	case batch.bars == 0:
		out.Trust, out.Why = Borrowed, "no fired bar of this batch yet: rates of the clay's other batches"
	case !slices.Contains(batch.formings, forming(a.Forming)):
		out.Trust, out.Why = Unlike, fmt.Sprintf("%s, none of them %s", count(batch.bars, "bar"), formingWords(a.Forming))
	case a.Probe != "" && len(batch.probes) > 0 && !slices.Contains(batch.probes, a.Probe):
		out.Trust, out.Why = Unlike, "all bars were fired under another probe"
	case ago > staleAfter:
		out.Trust, out.Why = Stale, rests
	case len(batch.loads) < thinLoads || batch.bars < thinBars:
		out.Trust, out.Why = Thin, rests
	default:
		out.Trust, out.Why = Sound, rests
	}
	return out
}

// source is where the rate of a clay without a fired bar comes from.
func (f *Fit) source(id tiles.ClayID) string {
	for _, c := range f.studio.Clays {
		if c.ID == id && c.Stated > 0 {
			return "the supplier's figure"
		}
	}
	return "handbook figures"
}

func formingWords(v tiles.Forming) string {
	switch v {
	case "", tiles.ThrownRing:
		return "a thrown ring"
	case tiles.CutWall:
		return "a cut wall"
	}
	return string(v)
}

func count(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}

func since(d time.Duration) string {
	days := int(d / (24 * time.Hour))
	switch {
	case days <= 0:
		return "today"
	case days < 60:
		return count(days, "day") + " ago"
	}
	return count(days/30, "month") + " ago"
}
