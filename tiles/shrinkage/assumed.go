package shrinkage

import (
	"maps"
	"math"

	"lidwright/kiln"
	"lidwright/kiln/message"
	"lidwright/tiles"
)

// enoughKnown is how many bars of a clay with a length of known heat make one of assumed heat step back
// (own).
const enoughKnown = 3

// knownHeat counts the bars of a clay that have a bisque and a fired length of known heat.
type knownHeat struct{ bisque, fired int }

// of is the count of a stage; the fired one for any but bisque.
func (k *knownHeat) of(s tiles.Stage) *int {
	if s == tiles.Biscuit {
		return &k.bisque
	}
	return &k.fired
}

// add adds n for each of the stages at which b has a length of known heat that may enter a fit.
func (k *knownHeat) add(b tiles.Bar, n int) {
	if !b.InFit() {
		return
	}
	for _, s := range []tiles.Stage{tiles.Biscuit, tiles.Fired} {
		for _, r := range b.Readings {
			if r.Stage != s || !r.Counts() {
				continue
			}
			if h, ok := b.Hottest(r); ok && h.Work.Known() {
				*k.of(s) += n
				break
			}
		}
	}
}

// countKnown counts the bars of known heat of every clay.
func (f *equations) countKnown() {
	f.known = map[tiles.ClayID]knownHeat{}
	for i := range f.studio.Bars {
		f.countBar(f.studio.Bars[i], 1)
	}
}

// countBar counts a bar n times; -1 takes it out again.
func (f *equations) countBar(b tiles.Bar, n int) {
	k := f.known[b.Clay]
	k.add(b, n)
	f.known[b.Clay] = k
}

// recountKnown counts a bar that was something else before. The fit that f was made from keeps its own
// counts.
func (f *equations) recountKnown(was, is tiles.Bar) {
	f.known = maps.Clone(f.known)
	f.countBar(was, -1)
	f.countBar(is, 1)
}

// assume fills in what is assumed of the heat of b.
func (f *equations) assume(b *tiles.Bar) {
	known := f.known[b.Clay]
	b.Assumed = f.studio.Assumed[b.Clay]
	b.Assumed.Bisque.Enough = known.bisque >= enoughKnown
	b.Assumed.Fired.Enough = known.fired >= enoughKnown
}

// Assume is b with what f assumes of its heat, for bars of which f has heard nothing yet too. f may be nil.
func (f *Fit) Assume(b tiles.Bar) tiles.Bar {
	if f != nil {
		f.assume(&b)
	}
	return b
}

// assumedSteps reports whether, since before, bars of a clay that count at an assumed heat must step back, or
// come in again.
func (f *equations) assumedSteps(before *Fit, clay tiles.ClayID) bool {
	for _, s := range []tiles.Stage{tiles.Biscuit, tiles.Fired} {
		now, was := f.known[clay], before.known[clay]
		if (*now.of(s) >= enoughKnown) == (*was.of(s) >= enoughKnown) ||
			!f.studio.Assumed[clay].Of(s).Known() {
			continue
		}
		for i := range f.studio.Bars {
			b := &f.studio.Bars[i]
			if b.Clay != clay || !b.InFit() {
				continue
			}
			for _, r := range b.Readings {
				if r.Stage == s && r.Counts() && b.AssumesHeat(r) {
					return true
				}
			}
		}
	}
	return false
}

// noHeat is why the length r has no heat.
func noHeat(b *tiles.Bar, r tiles.Reading) message.Message {
	if b.WhyNot(r) == tiles.HeatAssumed {
		return message.New("its heat is not known, and other bars of known heat are there")
	}
	return message.New("its firing has no heat work")
}

// anyAssumed reports whether a fired bar of the clay counts at an assumed heat.
func anyAssumed(batches map[tiles.BatchRef]*batchSeen, clay tiles.ClayID) bool {
	for ref, b := range batches {
		if ref.Clay == clay && b.assumed > 0 {
			return true
		}
	}
	return false
}

// standingAssumed is the standing of a rate that rests on bars of assumed heat alone: few bars at best, and
// only near the heat that is assumed.
func standingAssumed(seen *stageSeen, a tiles.Assumption, hot kiln.Celsius, out Standing) Standing {
	switch {
	case hot.Known() && math.Abs(float64(hot-a.Work)) > max(a.SD, testedWithin):
		out.Untested = true
		out.Trust, out.Why = OutsideTestedHeat,
			message.New("no bar of known heat near {1}; heat assumed: {2}", hot, a.Says)
	case seen.assumed == 0:
		out.Trust, out.Why = NoBars, message.New(
			"no fired bar of this bag yet: rates of the clay's other bags; heat assumed: {1}", a.Says)
	default:
		out.Trust, out.Why = FewBars, message.New("{1}, heat assumed: {2}", bars(seen.assumed), a.Says)
	}
	return out
}
