package tiles

import (
	"slices"

	"lidwright/kiln"
)

// NotCounted is why a length is no term of a fit; empty where it is one.
type NotCounted string

// The reasons, as answers name them.
const (
	WaitsForNextStage NotCounted = "waits_for_next_stage" // a first wet mark: nothing to mend
	CheckOnly         NotCounted = "check_only"           // soft and leather-hard: for the check on the way
	// no firing of its sort passed its peak before it was measured
	NoFiring         NotCounted = "no_firing"
	FiringIncomplete NotCounted = "firing_incomplete"
	// its heat is not known, and bars of known heat took its place
	HeatAssumed  NotCounted = "heat_assumed"
	NoHeatWork   NotCounted = "no_heat_work" // neither curve nor cone, or the record still goes on
	Replaced     NotCounted = "replaced"     // by a corrected reading
	CrossedOut   NotCounted = "crossed_out"
	LooksWrong   NotCounted = "looks_wrong" // far from what the others say: the fit leaves it out
	Flagged      NotCounted = "flagged"     // the bar is bent, broken ...
	LearnersBar  NotCounted = "practice"
	NoWetLength  NotCounted = "no_wet_length" // the only length between its marks
	NotConfirmed NotCounted = "not_confirmed"
)

// WhyNot is why the facts of b keep the length r of it out of every fit; empty where they let it in, and
// for masses, which enter none. What a fit itself leaves out is not among them.
func (b Bar) WhyNot(r Reading) NotCounted {
	if why := b.whyAlone(r); why != "" || r.Mass != nil {
		return why
	}
	// another length between the same marks, of any stage, makes a shrink of it
	for _, o := range b.Readings {
		if o.ID != r.ID && o.Mass == nil && max(o.Mark, 1) == max(r.Mark, 1) && b.whyAlone(o) == "" {
			return ""
		}
	}
	if r.Stage == Wet {
		return WaitsForNextStage
	}
	return NoWetLength
}

// whyAlone is WhyNot without a look at the other readings of b, apart from those that take its place.
func (b Bar) whyAlone(r Reading) NotCounted {
	switch {
	case r.Mass != nil:
		return ""
	case r.Struck != nil:
		if slices.ContainsFunc(b.Readings, func(o Reading) bool { return o.Supersedes == r.ID }) {
			return Replaced
		}
		return CrossedOut
	case b.Practice:
		return LearnersBar
	case len(b.Flags) > 0:
		return Flagged
	case !r.Counts():
		return NotConfirmed
	case r.Stage == Soft || r.Stage == Leather:
		return CheckOnly
	case r.Stage == Biscuit || r.Stage == Fired:
		if _, ok := b.HeatFor(r); !ok {
			return b.whyUnheated(r)
		}
	}
	return ""
}

// whyUnheated is why no heat work is known that a bisque or fired length could count at.
func (b Bar) whyUnheated(r Reading) NotCounted {
	why := NoFiring
	if a := b.Assumed.Of(r.Stage); a.Known() && a.Enough && b.AssumesHeat(r) {
		return HeatAssumed
	}
	for _, h := range b.Firings {
		if !b.mayBeOf(h, r) {
			continue
		}
		switch at := h.Passed(); {
		case h.Status == kiln.Incomplete:
			why = FiringIncomplete
		case h.Status == kiln.Running, !at.IsZero() && !at.After(r.At) && !h.Work.Known():
			why = NoHeatWork
		}
	}
	return why
}
