package practice

import (
	"math/rand/v2"
	"time"

	"lidwright/kiln"
)

// FaultKind is a way to go wrong, on order.
type FaultKind string

const (
	Garbled FaultKind = "garbled" // Share of the lines have bytes flipped, lost or doubled
	Quiet   FaultKind = "quiet"   // nothing is said
	Unplug  FaultKind = "unplug"  // the device goes, and comes back under another number
	Open    FaultKind = "open"    // the couple is open: Text in place of the number
	Spiked  FaultKind = "spiked"  // Share of the readings are By too high
	Stuck   FaultKind = "stuck"   // the reading of the moment it began, to the last digit
	// the couple is on the wrong way round: falls below the room as the kiln rises
	Inverted FaultKind = "inverted"
	Drifting FaultKind = "drifting" // By more, or less, with every hour
	InF      FaultKind = "in-f"     // the controller was switched to °F and tells 1.8 times and 32
)

// Fault is a fault on order: what, from when to when, in ages of the kiln.
type Fault struct {
	What     FaultKind     // which way to go wrong
	From, To time.Duration // ages; To is the first at which it is over
	Channel  int           // which curve it strikes, from 0; of no meaning for garbled, quiet and unplug
	Share    float64       // garbled, spiked: how many, 0 to 1
	By       kiln.Celsius  // spiked, drifting
	Text     string        // open: what the controller says, "OPEN" if ""
}

// on reports whether the fault is at work at an age.
func (f Fault) on(after time.Duration) bool { return after >= f.From && after < f.To }

// faulty gives what the controller tells of one channel: a number, or a text in its place.
func (k *Kiln) faulty(channel int, after time.Duration) (t kiln.Celsius, text string) {
	curve := k.Curves[channel]
	t = curve.Reading(after)
	for i, f := range k.Faults {
		if f.Channel != channel || !f.on(after) {
			continue
		}
		switch f.What {
		case Open:
			if text = f.Text; text == "" {
				text = "OPEN"
			}
		case Spiked:
			if k.dice(i, after).Float64() < f.Share {
				t += f.By
			}
		case Stuck:
			t = curve.Reading(f.From)
		case Inverted:
			t = 2*Room - t
		case Drifting:
			t += f.By * kiln.Celsius((after - f.From).Hours())
		case InF:
			t = t*1.8 + 32
		}
	}
	return t, text
}

// is reports whether a fault of that kind, which strikes the whole line, is on.
func (k *Kiln) is(what FaultKind, after time.Duration) bool {
	for _, f := range k.Faults {
		if f.What == what && f.on(after) {
			return true
		}
	}
	return false
}

// garble damages a line where a fault asks for it: one to three bytes are flipped, lost or doubled.
func (k *Kiln) garble(line []byte, after time.Duration) []byte {
	for i, f := range k.Faults {
		if f.What != Garbled || !f.on(after) {
			continue
		}
		if dice := k.dice(i, after); dice.Float64() < f.Share {
			line = Damage(line, dice)
		}
	}
	return line
}

// Damage gives a copy of line with one to three bytes flipped in one bit, lost, or doubled.
func Damage(line []byte, dice *rand.Rand) []byte {
	out := append([]byte(nil), line...)
	for range 1 + dice.IntN(3) {
		if len(out) == 0 {
			break
		}
		at := dice.IntN(len(out))
		switch dice.IntN(3) {
		case 0:
			out[at] ^= 1 << dice.IntN(8)
		case 1:
			out = append(out[:at], out[at+1:]...)
		case 2:
			out = append(out[:at+1], out[at:]...)
		}
	}
	return out
}

// dice are those of one fault at one age: the same, in whatever order ages are asked.
func (k *Kiln) dice(fault int, after time.Duration) *rand.Rand {
	return rand.New(rand.NewPCG(k.Seed+uint64(fault)<<32, uint64(after)))
}
