package record

import (
	"time"

	"lidwright/kiln"
)

// heldUp is how many samples of one second are told apart at most: a line that was held up for a
// minute, as on a machine that is busy, brings as many at once.
const heldUp = 60

// wholeSecond puts a kiln's samples on the ticks of the record, which are whole seconds of a boot: one
// sample a tick, and every good reading is kept while there are ticks. Where several come in one second,
// of a source with jitter or held up on its way, the last takes the tick of its second, and those before
// it empty ticks before that, a period of the source apart while there are so many: closer together a kiln
// would seem to climb faster than one can. Where none is empty the last takes the tick after, which is the
// most that a stamp lies ahead. No sample is given out before its tick has come. Of a source that is faster
// than the ticks the last good reading of a channel stands for the second.
type wholeSecond struct {
	every time.Duration // period of the source; below a second it counts as one
	boot  kiln.BootID
	heard time.Duration // second in which the newest sample came
	given time.Duration // newest tick that was given out in this boot; below zero: none
	open  []kiln.Sample // of the second heard, in order
	out   []kiln.Sample // of add and flush, lent until the next call
}

// add takes a sample and gives those of the second before it, when that is over.
func (w *wholeSecond) add(s kiln.Sample) (whole []kiln.Sample) {
	second := s.At.Since.Truncate(time.Second)
	switch n := len(w.open); {
	case w.boot != s.At.Boot:
		whole = w.flush()
		w.boot, w.heard, w.given = s.At.Boot, second, -1
	case second > w.heard:
		whole = w.flush()
		w.heard = second
	case n == 0 && w.given > w.heard:
		return nil // its second is over, and the tick after it too is taken
	case n > 0 && (n == heldUp || !bothGood(w.open[n-1], s)):
		merge(&w.open[n-1], s)
		return nil
	}
	// a copy: who sent it may use its own again
	values := make([]kiln.Value, len(s.Values))
	copy(values, s.Values)
	s.Values = values
	w.open = append(w.open, s)
	return whole
}

// bothGood reports whether a channel has a good reading in both samples.
func bothGood(a, b kiln.Sample) bool {
	for _, v := range b.Values {
		if have, ok := a.Value(v.Channel); ok && have.Fault == kiln.Good && v.Fault == kiln.Good {
			return true
		}
	}
	return false
}

// merge takes a sample of the same tick in: what is good replaces what was before it.
func merge(into *kiln.Sample, s kiln.Sample) {
	for _, v := range s.Values {
		found := false
		for i, have := range into.Values {
			if have.Channel != v.Channel {
				continue
			}
			found = true
			if v.Fault == kiln.Good || have.Fault != kiln.Good {
				into.Values[i] = v
			}
		}
		if !found {
			into.Values = append(into.Values, v)
		}
	}
	if s.Raw != "" {
		into.Raw = s.Raw
	}
}

// before reports whether the second of the open samples is over at now.
func (w *wholeSecond) before(now kiln.Stamp) bool {
	return len(w.open) > 0 && (now.Boot != w.boot || now.Since >= w.heard+time.Second)
}

// flush gives the open samples on their ticks.
func (w *wholeSecond) flush() (whole []kiln.Sample) {
	if len(w.open) == 0 {
		return nil
	}
	// how many ticks are free up to that of this second; one more ahead where they are too few
	last := w.heard
	empty := int((last - w.given) / time.Second) // ticks up to that of the second
	if w.given < 0 {
		empty = 1 // what was before the first is not known
	}
	if empty < len(w.open) {
		last += time.Second
		empty++
	}
	// ticks between two: the source's period, or less where there is no room
	apart := max(1, min(int(w.every/time.Second), empty/len(w.open))) // ticks
	whole = w.out[:0]
	for i, s := range w.open {
		if more := len(w.open) - empty; i < more {
			merge(&s, w.open[i+1]) // no tick is left for it
			w.open[i+1] = s
			continue
		}
		tick := last - time.Duration((len(w.open)-1-i)*apart)*time.Second
		s.At.Wall = s.At.Wall.Add(tick - s.At.Since)
		s.At.Since = tick
		whole = append(whole, s)
	}
	w.out, w.open, w.given = whole, w.open[:0], last
	return whole
}
