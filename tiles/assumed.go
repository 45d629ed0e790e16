package tiles

import (
	"fmt"

	"lidwright/kiln"
	"lidwright/kiln/message"
)

// Assumption is the heat work that a bisque or fired length counts at where nothing tells which firing it
// came out of.
type Assumption struct {
	Work   kiln.Celsius    // NaN or 0: nothing may be assumed
	SD     float64         // °C, one sd
	Says   message.Message // what it rests on: "cone 6 on the bag"
	Enough bool            // enough bars of known heat are there, so that it has no say any more
}

// Known reports whether there is anything to assume.
func (a Assumption) Known() bool { return a.Work.Known() && a.Work > 0 }

// Assumed is what is assumed of the two firings of a clay.
// of bisque lengths; Fired of those after the last firing
type Assumed struct{ Bisque, Fired Assumption }

// Of is the assumption for a stage; nothing may be assumed of any but bisque and fired.
func (a Assumed) Of(s Stage) Assumption {
	switch s {
	case Biscuit:
		return a.Bisque
	case Fired:
		return a.Fired
	}
	return Assumption{}
}

// HeatFor is the heat work that the length r counts at: the hottest that is known of, else the one that is
// assumed, else none.
func (b Bar) HeatFor(r Reading) (h Heat, ok bool) {
	if h, ok = b.Hottest(r); ok {
		return h, h.Work.Known()
	}
	a := b.Assumed.Of(r.Stage)
	if !a.Known() || a.Enough || !b.AssumesHeat(r) {
		return h, false
	}
	h = Heat{Load: fmt.Sprintf("assumed/%s/%s", b.Clay, r.Stage), Kind: kiln.Glaze, Work: a.Work,
		ExtraSD: a.SD, At: r.At, Assumed: true}
	if r.Stage == Biscuit {
		h.Kind = kiln.Bisque
	}
	return h, true
}

// AssumesHeat reports whether the heat of the length r must be assumed: it is a bisque or fired length, and
// no record and nobody tells of a firing that it can have come out of. One that goes on, broke off or has no
// heat work is such a firing, and is looked at first.
func (b Bar) AssumesHeat(r Reading) bool {
	if r.Stage != Biscuit && r.Stage != Fired {
		return false
	}
	if _, ok := b.Hottest(r); ok {
		return false
	}
	for _, h := range b.Firings {
		if b.mayBeOf(h, r) {
			return false
		}
	}
	return true
}

// mayBeOf reports whether r can have come out of the firing h: it is of its sort, and had begun when r was
// measured.
func (b Bar) mayBeOf(h Heat, r Reading) bool {
	if sort := Measures(h.Kind); sort != r.Stage && h.Kind != kiln.Other || h.Unfired() {
		return false
	}
	return h.Began.IsZero() || !h.Began.After(r.At)
}
