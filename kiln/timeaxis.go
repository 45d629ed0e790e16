package kiln

import "time"

// Ages lays the stamps of one kiln along one axis that never falls, across restarts of
// the machine too.
type Ages struct {
	Begun bool          // a stamp was taken
	Last  Stamp         // the stamp that was taken last
	Age   time.Duration // of last
}

// AxisStep is how a stamp follows the one before it.
type AxisStep struct {
	Age   time.Duration // on the axis
	step  time.Duration // since the stamp before
	Known bool          // false across a restart of the machine without a trusted clock
}

// unknownStep stands on the axis for a gap of unknown length: long enough for two points to
// lie apart, too short to be mistaken for time.
const unknownStep = time.Second

// Next takes a stamp onto the axis. It is refused (ok false) if it is not later than the one
// before; the first one has age 0.
func (a *Ages) Next(at Stamp) (j AxisStep, ok bool) {
	if j, ok = a.Peek(at); !ok {
		return j, false
	}
	a.Begun, a.Last, a.Age = true, at, j.Age
	return j, true
}

// later is Next for a stamp by the same clock as the last one.
func (a *Ages) later(since time.Duration) bool {
	step := since - a.Last.Since
	if step <= 0 {
		return false
	}
	a.Last.Since, a.Last.Wall, a.Age = since, a.Last.Wall.Add(step), a.Age+step
	return true
}

// Peek is Next without taking.
func (a *Ages) Peek(at Stamp) (j AxisStep, ok bool) {
	if !a.Begun {
		return AxisStep{Known: true}, true
	}
	// across a restart wall clocks that are not trusted, or that went back, tell nothing
	step, known := at.Sub(a.Last)
	if at.Boot != a.Last.Boot && (!known || step <= 0) {
		step, known = unknownStep, false
	}
	if step <= 0 {
		return AxisStep{}, false
	}
	return AxisStep{Age: a.Age + step, step: step, Known: known}, true
}

// SettleClock puts the wall times of samples right, in place: within one boot a stamp that was
// not trusted takes the offset (wall less time since boot) of the nearest trusted one. A boot
// without any trusted stamp stays as it is.
func SettleClock(samples []Sample) {
	for from := 0; from < len(samples); {
		to := from + 1
		for to < len(samples) && samples[to].At.Boot == samples[from].At.Boot {
			to++
		}
		settleBoot(samples[from:to])
		from = to
	}
}

// settleBoot is SettleClock for the samples of one boot.
func settleBoot(samples []Sample) {
	before := -1 // nearest trusted one behind us
	for i := range samples {
		// each trusted stamp settles those since the trusted one before it, by whichever is nearer
		if !samples[i].At.Trusted {
			continue
		}
		for j := before + 1; j < i; j++ {
			near, at := i, samples[j].At.Since
			if before >= 0 && at-samples[before].At.Since <= samples[i].At.Since-at {
				near = before
			}
			samples[j].At = samples[j].At.Settled(samples[near].At)
		}
		before = i
	}
	// those after the last trusted one go by that
	if before >= 0 {
		for j := before + 1; j < len(samples); j++ {
			samples[j].At = samples[j].At.Settled(samples[before].At)
		}
	}
}

// Settled is s with its wall time reckoned from a trusted stamp of the same boot.
func (s Stamp) Settled(trusted Stamp) Stamp {
	s.Wall, s.Trusted = trusted.Wall.Add(s.Since-trusted.Since), true
	return s
}
