package analysis

import (
	"time"

	"lidwright/kiln"
)

// VentOff is a stretch of a firing in which the contact on its vent said off.
type VentOff struct {
	After time.Duration // from the first rise
	For   time.Duration // two minutes at least
}

// ventSettles is how long a vent is off before it is told: a contact bounces, and somebody walks to it (own).
const ventSettles = 2 * time.Minute

// VentOffs are the stretches of at least two minutes in which a vent was off, from the lowest and highest of
// each step of its contact, 1 on and 0 off. A step in which it was on at all is on; one of which nothing is
// known ends a stretch.
func VentOffs(contact kiln.Envelope) (all []VentOff) {
	var open VentOff
	done := func() {
		if open.For >= ventSettles {
			all = append(all, open)
		}
		open = VentOff{}
	}
	for i, after := range contact.After {
		switch off := contact.High[i] < ventOn; {
		case off && open.For > 0 && after == open.After+open.For:
			open.For += contact.Step
		case off:
			done()
			open = VentOff{After: after, For: contact.Step}
		default:
			done()
		}
	}
	done()
	return all
}

// ventOn is from where a contact says on; half way between its two states.
const ventOn kiln.Celsius = 0.5
