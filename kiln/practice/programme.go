// Package practice is a kiln that is not there: a programme of ramps, holds and natural cooling,
// played as a controller would tell it, on a pseudo terminal of its own making, with faults on
// order. It keeps the true temperatures, so that a test can ask afterwards what should have been
// seen. Clock and seed are handed in; the same seed gives the same readings.
//
// It does not stand for any real kiln or controller, and nothing of it is needed to record one.
package practice

import (
	"math"
	"time"

	"lidwright/kiln"
)

// Room is the temperature of the room that a practice kiln cools towards, in °C.
const Room kiln.Celsius = 20

// coolingHours is how long a practice kiln that is switched off takes to lose 63 % of what it is
// hotter than the room. Own choice.
const coolingHours = 5

// offUntil is where "off" without a time ends, in °C.
const offUntil kiln.Celsius = 30

// Programme is what the chamber does, from age 0 on. The zero Programme stays in a room for no
// time at all. Parse makes one from its notation.
type Programme struct {
	steps    []step
	marks    []Mark
	silences []Silence
}

// Mark is something that a person does at that age.
type Mark struct {
	// age
	After time.Duration
	// Unpack or Button
	What What
}

// What a person does to a practice kiln.
type What string

const (
	Unpack What = "U"
	Button What = "B" // the new firing button
)

// Silence is a time in which the controller says nothing, though the programme goes on.
// ages; To is the first at which it is over
type Silence struct{ From, To time.Duration }

// step is one part of a programme: after begin it goes from a to b in the time that it lasts.
type step struct {
	begin, lasts time.Duration
	shape        shape
	a, b         kiln.Celsius
	hours        float64 // time constant of Newton cooling, or the period of the sun
}

// shape is how a step goes from a to b.
type shape int

const (
	ramp   shape = iota // a straight line from a to b
	newton              // a fall from a towards the room
	sun                 // a daily swing between a and b, beginning at a
)

// at is the temperature at an age of the programme, °C.
func (s step) at(after time.Duration) kiln.Celsius {
	x := after - s.begin
	switch s.shape {
	case newton:
		return Room + (s.a-Room)*kiln.Celsius(math.Exp(-x.Hours()/s.hours))
	case sun:
		return s.a + (s.b-s.a)*kiln.Celsius((1-math.Cos(2*math.Pi*x.Hours()/s.hours))/2)
	}
	if s.lasts == 0 {
		return s.b
	}
	return s.a + (s.b-s.a)*kiln.Celsius(float64(x)/float64(s.lasts))
}

// T is the true temperature of the chamber at an age, in °C. Before the start it is that of the
// start and after the end that of the end.
func (p Programme) T(after time.Duration) kiln.Celsius {
	if len(p.steps) == 0 {
		return Room
	}
	if after < 0 {
		after = 0
	}
	for _, s := range p.steps {
		if after < s.begin+s.lasts {
			return s.at(after)
		}
	}
	last := p.steps[len(p.steps)-1]
	return last.at(last.begin + last.lasts)
}

// Length is the age at which the last step ends.
func (p Programme) Length() time.Duration {
	if len(p.steps) == 0 {
		return 0
	}
	last := p.steps[len(p.steps)-1]
	return last.begin + last.lasts
}

// Marks are the things that a person does, in order of age.
func (p Programme) Marks() []Mark { return append([]Mark(nil), p.marks...) }

// Silences are the times in which the controller says nothing, in order of their begin.
func (p Programme) Silences() []Silence { return append([]Silence(nil), p.silences...) }

// Silent reports whether the controller says nothing at that age.
func (p Programme) Silent(after time.Duration) bool {
	for _, s := range p.silences {
		if after >= s.From && after < s.To {
			return true
		}
	}
	return false
}
