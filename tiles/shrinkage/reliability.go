package shrinkage

import (
	"math"
	"slices"
	"strings"
	"time"

	"lidwright/kiln"
	"lidwright/kiln/message"
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

// batchSeen is what was seen of one batch: its bars that have a say, by the stage they were read at.
type batchSeen struct {
	stageSeen                            // fired
	early     map[tiles.Stage]*stageSeen // dry and bisque
	struck    int                        // struck readings of any stage
}

// stageSeen is what was seen of one batch at one stage.
type stageSeen struct {
	bars     int
	loads    []string
	formings []tiles.Forming
	probes   []string
	last     time.Time // last reading
	assumed  int       // bars that count at an assumed heat, beside these
}

// at is what was seen at a stage; the fired one for any that has none of its own.
func (b *batchSeen) at(stage tiles.Stage) *stageSeen {
	if stage != tiles.Dry && stage != tiles.Biscuit {
		return &b.stageSeen
	}
	if b.early == nil {
		b.early = map[tiles.Stage]*stageSeen{}
	}
	if b.early[stage] == nil {
		b.early[stage] = &stageSeen{}
	}
	return b.early[stage]
}

// claySeen is where a clay was tested.
type claySeen struct {
	lowest  float64   // heat work of a bar read after a bisque or its last firing; +Inf: none
	tested  []float64 // heat works of fired readings that did not slip, rising
	bloated float64   // heat at which a bar bloated; +Inf: none did
}

// conclude counts what was seen, after the last screening.
func (f *Fit) conclude() {
	f.batches = map[tiles.BatchRef]*batchSeen{}
	f.slopes = &slopes{kept: map[string]mixedmodel.Slopes{}}
	f.left = slices.DeleteFunc(f.left, func(l LeftOut) bool { return l.Slip })
	// the newest reading of the site, and what was struck of each batch
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
	// which bars of each batch have a say at each stage, in which loads, under which probes
	for _, s := range f.sheets {
		read, assumed := map[tiles.Stage]bool{}, map[tiles.Stage]bool{}
		batch := f.seen(s.bar.BatchRef)
		for i, l := range s.lines {
			if s.slipped(i) {
				f.left = append(f.left, f.slipped(s, i)...)
				continue
			}
			if l.stage == tiles.Wet {
				continue
			}
			seen := batch.at(l.stage)
			if l.heat != nil && l.heat.Assumed {
				assumed[l.stage] = true
				continue
			}
			read[l.stage] = true
			if l.heat != nil {
				seen.loads = include(seen.loads, loadName(l.heat))
				if l.heat.Probe != "" {
					seen.probes = include(seen.probes, l.heat.Probe)
				}
			}
			if at := l.last(); at.After(seen.last) {
				seen.last = at
			}
		}
		for stage := range read {
			seen := batch.at(stage)
			seen.bars++
			seen.formings = include(seen.formings, forming(s.bar.Forming))
		}
		for stage := range assumed {
			if !read[stage] {
				batch.at(stage).assumed++
			}
		}
	}
	f.tested = map[tiles.ClayID]claySeen{}
	for _, k := range f.clays {
		f.tested[k.id] = f.claySeen(k.id)
	}
	f.part = map[tiles.Stage]partDried{tiles.Soft: driedBy(f, tiles.Soft),
		tiles.Leather: driedBy(f, tiles.Leather)}
}

// slipped tells how far the distrusted readings of a line are off.
func (f *equations) slipped(s *sheet, i int) (out []LeftOut) {
	mean, _, ok := f.expectLine(s, i)
	for _, r := range s.lines[i].repeats {
		l := LeftOut{Reading: r.ID, Bar: s.bar.Code, Stage: s.lines[i].stage, Slip: true,
			Why: message.New("far from what the other readings say")}
		if ok {
			l.Off = r.Length - tiles.Millimetre(math.Exp(-mean/100))
		}
		out = append(out, l)
	}
	return out
}

// include is list with v, once.
func include[T comparable](list []T, v T) []T {
	if slices.Contains(list, v) {
		return list
	}
	return append(list, v)
}

// seen is what was seen of a batch, empty at first.
func (f *equations) seen(ref tiles.BatchRef) *batchSeen {
	s := f.batches[ref]
	if s == nil {
		s = &batchSeen{}
		f.batches[ref] = s
	}
	return s
}

// slipped reports whether the fit distrusts a line.
func (s *sheet) slipped(i int) bool { return s.weight != nil && s.weight[i] < 1 }

// claySeen gathers where a clay was tested.
func (f *equations) claySeen(id tiles.ClayID) claySeen {
	out := claySeen{bloated: math.Inf(1), lowest: math.Inf(1)}
	for _, s := range f.sheets {
		for i, l := range s.lines {
			if s.bar.Clay != id || l.heat == nil || l.heat.Assumed || s.slipped(i) {
				continue
			}
			out.lowest = min(out.lowest, float64(l.heat.Work))
			if l.stage == tiles.Fired {
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

// What is said of heats that no curve tells of: of low-fire and raku bodies no published points were found
// that may be used here, so that below the last knot of a clay's curve and below its own bars nothing is
// known but that it shrinks little.
const (
	curveReach  = 150.0 // °C below the maturing point where the curve has its last knot
	untoldShare = 0.03  // the range of a rate there is at least so much to either side, of the length (own)
)

// untold reports whether no curve tells of the heat that a asks about.
func (c claySeen) untold(k *clayCurve, a Ask) bool {
	hot, _ := hottest(a)
	return hot.Known() && float64(hot) < min(c.lowest-testedWithin, k.matures-curveReach)
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

// Standing is how far the rate that a asks about can be trusted, by the rules above; the first that applies.
// That to dry and to bisque goes by the bars that were read dry and bisque. A drying has no heat, so that
// one load is as good as two.
func (f *Fit) Standing(a Ask, to tiles.Stage) Standing {
	ref := a.BatchRef
	if ref.Batch == "" {
		ref.Batch = f.newestOpen(ref.Clay)
	}
	// where it was tested, and what is known of this batch
	clay := f.tested[ref.Clay]
	hot, _ := hottest(a)
	out := Standing{NearestTested: kiln.NoTemperature(), NoOwnFired: len(clay.tested) == 0}
	batch := f.batches[ref]
	if batch == nil {
		batch = &batchSeen{}
	}
	if to != tiles.Fired {
		return standingEarly(f, a, ref, to, out)
	}
	if k := f.clay(ref.Clay); k != nil && f.tested[k.id].untold(k, a) {
		out.Untested, out.NearestTested = true, kiln.Celsius(clay.nearest(float64(hot)))
		out.Trust, out.Why = OutsideTestedHeat, message.New("nothing is known of this clay below {1}",
			kiln.Celsius(min(clay.lowest, k.matures-curveReach)))
		return out
	}
	if !out.NoOwnFired && hot.Known() && !clay.covers(float64(hot)) {
		out.Untested, out.NearestTested = true, kiln.Celsius(clay.nearest(float64(hot)))
		out.Trust, out.Why = OutsideTestedHeat, message.New("no fired bar near {1}", hot)
		switch {
		case float64(hot) >= clay.bloated:
			out.Why = message.New("a bar bloated at {1}", kiln.Celsius(clay.bloated))
		case out.NearestTested.Known():
			out.Why = message.New("no fired bar near {1}; the nearest was at {2}", hot, out.NearestTested)
		}
		return out
	}
	// the rules in order, the first that applies
	ago := dayOf(f, a).Sub(batch.last)
	rests := message.New("{1} in {2}, last {3}", bars(batch.bars), loads(len(batch.loads)), since(ago))
	if batch.assumed > 0 {
		rests = message.New("{1}; {2} more of assumed heat", rests, batch.assumed)
	}
	if batch.bars == 0 && batch.assumed > 0 || out.NoOwnFired && anyAssumed(f.batches, ref.Clay) {
		return standingAssumed(&batch.stageSeen, f.studio.Assumed[ref.Clay].Fired, hot, out)
	}
	switch mix := unknownMix(f, ref); {
	case mix != nil:
		out.Trust, out.Why = NoBars, noBarOfMix(mix)
	case out.NoOwnFired:
		out.Trust, out.Why = NoBars, message.New("no fired bar of this clay yet: {1}",
			sourceWords(f, ref.Clay))
	case batch.bars == 0:
		out.Trust, out.Why = NoBars, message.New("no fired bar of this bag yet: rates of the clay's other bags")
	case !slices.Contains(batch.formings, forming(a.Forming)):
		out.Trust, out.Why = MadeOrFiredDifferently, message.New("{1}, none of them {2}",
			bars(batch.bars), formingWords(a.Forming))
	case batch.anotherProbe(a.Probe):
		out.Trust, out.Why = MadeOrFiredDifferently, message.New("all bars were fired under another probe")
	case ago > staleAfter:
		out.Trust, out.Why = Old, rests
	case len(batch.loads) < thinLoads || batch.bars < thinBars:
		out.Trust, out.Why = FewBars, rests
	default:
		out.Trust, out.Why = WellTested, rests
	}
	return out
}

// dayOf is the day that a question is asked on.
func dayOf(f *Fit, a Ask) time.Time {
	for _, on := range []time.Time{a.On, f.studio.Now} {
		if !on.IsZero() {
			return on
		}
	}
	return f.newest
}

// anotherProbe reports whether bars of the batch were fired in that probe's own kiln, and none of them by it.
// Bars of another kiln say nothing against a probe: what that leaves in doubt is in the range.
func (s *stageSeen) anotherProbe(probe string) bool {
	if probe == "" || slices.Contains(s.probes, probe) {
		return false
	}
	home, _, _ := strings.Cut(probe, "/")
	return slices.ContainsFunc(s.probes, func(p string) bool {
		k, _, _ := strings.Cut(p, "/")
		return k == home
	})
}

// standingEarly is the standing of a rate that ends before the last fire.
func standingEarly(f *Fit, a Ask, ref tiles.BatchRef, to tiles.Stage, out Standing) Standing {
	at := to
	if to == tiles.Soft || to == tiles.Leather { // no fixed state: shares of the drying
		at = tiles.Dry
	}
	seen, ofClay := &stageSeen{}, false
	for r, b := range f.batches {
		if r.Clay != ref.Clay {
			continue
		}
		ofClay = ofClay || b.has(at) || b.early[at] != nil && b.early[at].assumed > 0
		if r == ref && b.early[at] != nil {
			seen = b.early[at]
		}
	}
	if seen.bars == 0 && seen.assumed > 0 {
		return standingAssumed(seen, f.studio.Assumed[ref.Clay].Of(at), a.BisqueWork, out)
	}
	ago := dayOf(f, a).Sub(seen.last)
	word := stageWords[at]
	rests := message.New("{1} read {2}, last {3}", bars(seen.bars), word, since(ago))
	thin := seen.bars < thinBars
	if at == tiles.Biscuit {
		rests = message.New("{1} read {2} in {3}, last {4}", bars(seen.bars), word, loads(len(seen.loads)),
			since(ago))
		thin = thin || len(seen.loads) < thinLoads
	}
	switch mix := unknownMix(f, ref); {
	case mix != nil:
		out.Trust, out.Why = NoBars, noBarOfMix(mix)
	case !ofClay:
		out.Trust, out.Why = NoBars, message.New("no {1} bar of this clay yet: handbook figures", word)
	case seen.bars == 0:
		out.Trust, out.Why = NoBars, message.New("no {1} bar of this bag yet: rates of the clay's other bags",
			word)
	case !slices.Contains(seen.formings, forming(a.Forming)):
		out.Trust, out.Why = MadeOrFiredDifferently, message.New("{1}, none of them {2}",
			bars(seen.bars), formingWords(a.Forming))
	case ago > staleAfter:
		out.Trust, out.Why = Old, rests
	case thin:
		out.Trust, out.Why = FewBars, rests
	default:
		out.Trust, out.Why = WellTested, rests
	}
	return out
}

// stageWords are how bars of a stage are called.
var stageWords = map[tiles.Stage]message.Word{tiles.Dry: "dry", tiles.Biscuit: "bisque"}

// has reports whether a bar was read at a stage before the last fire.
func (b *batchSeen) has(stage tiles.Stage) bool {
	return b.early[stage] != nil && b.early[stage].bars > 0
}

// noBarOfMix says that nothing is known of a mix but of what it was mixed from: tern/A and wren/A.
func noBarOfMix(mix *tiles.Batch) message.Message {
	names := make([]message.Message, len(mix.Parents))
	for i, r := range mix.Parents {
		names[i] = message.Plain(r.String())
	}
	mean := message.Join(", ", names...)
	if n := len(names); n > 1 {
		mean = message.New("{1} and {2}", message.Join(", ", names[:n-1]...), names[n-1])
	}
	return message.New("no bar of this mix yet: the mean of {1}, no surer than a new bag", mean)
}

// sourceWords is where the rate of a clay without a fired bar comes from, in words.
func sourceWords(f *Fit, id tiles.ClayID) message.Message {
	switch SourceOf(f, id) {
	case FromOthers:
		return f.studio.Pools[id].says()
	case FromSupplier:
		return message.New("the supplier's figure")
	}
	return message.New("handbook figures")
}

// formingWords is a forming as an argument of a message.
func formingWords(v tiles.Forming) message.Word {
	switch v {
	case "", tiles.ThrownRing:
		return "a thrown ring"
	case tiles.CutWall:
		return "a cut wall"
	}
	return message.Word(v)
}

// bars is so many bars in words.
func bars(n int) message.Message { return message.Count(n, "1 bar", "{1} bars") }

// loads is so many loads in words.
func loads(n int) message.Message { return message.Count(n, "1 load", "{1} loads") }

// since is how long ago in words, to the day and from 60 days on to the month of 30.
func since(d time.Duration) message.Message {
	days := int(d / (24 * time.Hour))
	switch {
	case days <= 0:
		return message.New("today")
	case days < 60:
		return message.Count(days, "1 day ago", "{1} days ago")
	}
	return message.Count(days/30, "1 month ago", "{1} months ago")
}
