package analysis

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"time"

	"lidwright/kiln"
	"lidwright/kiln/message"
)

// MostCompared is how many firings can be laid over one another and still be told apart.
const MostCompared = 4

// The reasons why firings cannot be compared.
var (
	ErrHowMany      = errors.New("one to four firings can be compared")
	ErrNeverReached = errors.New("never reached that temperature")
)

// NeverReached is ErrNeverReached of one firing.
type NeverReached struct {
	// name of the firing, such as "big-blue 143"
	Firing string
	// the temperature that was asked for
	At kiln.Celsius
}

// Error is Says in English.
func (e NeverReached) Error() string { return e.Says().String() }

// Unwrap lets errors.Is find ErrNeverReached.
func (e NeverReached) Unwrap() error { return ErrNeverReached }

// Says is which firing did not reach it.
func (e NeverReached) Says() message.Message {
	return message.New("{1} never reached {2}", e.Firing, e.At)
}

// Compared is one firing of a comparison, with the curve of its control channel.
type Compared struct {
	Firing kiln.Firing   // its figures, without its curve
	Curve  kiln.Envelope // of the control channel, thinned; ages count from the first rise
	Shift  time.Duration // to be taken from its ages so that the firings lie over one another
}

// heatWork is that of the curve's channel, NaN if it has none.
func (c Compared) heatWork() kiln.Celsius {
	if w, ok := c.Firing.Work(c.Curve.Channel); ok {
		return w.C
	}
	return kiln.NoTemperature()
}

// Align lays up to four firings over one another: at their first rise if at is not known,
// else at the moment when each first reached that temperature. One that never did is an error.
func Align(firings []Compared, at kiln.Celsius) ([]Compared, error) {
	if n := len(firings); n < 1 || n > MostCompared {
		return nil, fmt.Errorf("compare %d firings: %w", n, ErrHowMany)
	}
	out := slices.Clone(firings)
	for i := range out {
		out[i].Shift = 0
		if !at.Known() {
			continue
		}
		shift, ok := out[i].Curve.Reached(at)
		if !ok {
			return nil, NeverReached{out[i].Firing.Name(), at}
		}
		out[i].Shift = shift
	}
	return out, nil
}

// Difference says in one sentence how a differs from b, as in "25 min slower above 1000 °C,
// 9 °C less heat work than big-blue 141; gap 48 min". With nothing to tell it is "as big-blue 141".
func Difference(a, b Compared) message.Message {
	said := []message.Message{pace(a, b)}
	work := a.heatWork() - b.heatWork()
	if work.Known() && math.Abs(float64(work)) >= usualHeat {
		said = append(said, moreHeat(work))
	}
	peak := a.Firing.Peak - b.Firing.Peak
	if peak.Known() && math.Abs(float64(peak)) >= usualPeak {
		said = append(said, message.New(oneOf(peak > 0, "peak {1} higher", "peak {1} lower"), warmer(peak)))
	}
	differs := message.Join(", ", said...)
	if differs.IsZero() {
		return message.Join("; ", message.New("as {1}", b.Firing.Name()), gapsOf(a.Firing))
	}
	return message.Join("; ", message.New("{1} than {2}", differs, b.Firing.Name()), gapsOf(a.Firing))
}

// moreHeat says how much more heat work a firing has, or less.
func moreHeat(more kiln.Celsius) message.Message {
	return message.New(oneOf(more > 0, "{1} more heat work", "{1} less heat work"), warmer(more))
}

// warmer is the size of a difference.
func warmer(by kiln.Celsius) kiln.Warmer { return kiln.Warmer(math.Abs(float64(by))) }

// gapsOf says for how long nothing was heard in a firing; nothing where it was heard throughout.
func gapsOf(f kiln.Firing) message.Message {
	for _, g := range f.Gaps {
		if !g.Known {
			return message.New("gap of unknown length")
		}
	}
	if gap := gapTime(f); gap >= time.Minute {
		return message.New("gap {1}", minutes(gap))
	}
	return message.Message{}
}

// What makes a difference; less is usual. Own choice.
const (
	usualHeat  = 8.0 // °C
	usualPeak  = 5.0 // °C
	usualHours = 0.10
)

// pace says where the climb differs most: of the bands below 600, 600 to 1000 and above 1000 °C
// the one with the largest difference, if the whole climb differs by a tenth.
func pace(a, b Compared) message.Message {
	// told only where the climbs differ by a tenth, and both have a top
	whole := a.Firing.ToTop - b.Firing.ToTop
	if a.Firing.ToTop <= 0 || b.Firing.ToTop <= 0 ||
		math.Abs(float64(whole)) < usualHours*float64(b.Firing.ToTop) {
		return message.Message{}
	}
	// three bands up to 3 °C below the lower of the two peaks
	top := min(a.Firing.Peak, b.Firing.Peak) - 3
	edges := []kiln.Celsius{100, 600, 1000, top}
	most, where := time.Duration(0), -1
	for i := range edges[1:] {
		low, high := edges[i], min(edges[i+1], top)
		if high <= low {
			continue
		}
		d := climb(a.Curve, low, high) - climb(b.Curve, low, high)
		if d.Abs() > most.Abs() {
			most, where = d, i
		}
	}
	// no single band makes up two thirds of it: the climb as a whole differs
	if where < 0 || most.Abs() < whole.Abs()*2/3 || (most < 0) != (whole < 0) {
		return message.New(oneOf(whole > 0, "{1} slower to the top", "{1} quicker to the top"),
			minutes(whole.Abs()))
	}
	slower := whole > 0
	switch d := minutes(most.Abs()); where {
	case 0:
		return message.New(oneOf(slower, "{1} slower below {2}", "{1} quicker below {2}"), d, edges[1])
	case 1:
		return message.New(oneOf(slower, "{1} slower between {2} and {3}", "{1} quicker between {2} and {3}"),
			d, kiln.Figure(edges[1]), edges[2])
	default:
		return message.New(oneOf(slower, "{1} slower above {2}", "{1} quicker above {2}"), d, edges[2])
	}
}

// climb is how long the curve took from low to high, 0 if it did not go through both.
func climb(e kiln.Envelope, low, high kiln.Celsius) time.Duration {
	from, ok := e.Reached(low)
	to, too := e.Reached(high)
	if !ok || !too {
		return 0
	}
	return to - from
}

// gapTime is how long the firing was not heard, of the gaps whose length is known.
func gapTime(f kiln.Firing) time.Duration {
	var sum time.Duration
	for _, g := range f.Gaps {
		if g.Known {
			sum += g.For
		}
	}
	return sum
}

// minutes is a length of time to the minute, as "48 min" below two hours and "2 h 05" from there.
func minutes(d time.Duration) string {
	d = d.Round(time.Minute)
	if d < 2*time.Hour {
		return fmt.Sprintf("%d min", int(d.Minutes()))
	}
	return fmt.Sprintf("%d h %02d", int(d.Hours()), int(d.Minutes())%60)
}

// oneOf is a or, where first is false, b.
func oneOf(first bool, a, b message.Key) message.Key {
	if first {
		return a
	}
	return b
}
