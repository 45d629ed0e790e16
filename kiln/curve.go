package kiln

import (
	"slices"
	"time"
)

// Curve is what the channels of one kiln said over one firing, column by column. Ages
// count from the firing's first point and never fall.
type Curve struct {
	Channels []ChannelID     // in the order of the columns of T
	After    []time.Duration // age of each row
	T        [][]Celsius     // one column a channel, as long as After; NaN where it said nothing good
	Gaps     []Gap           // in order; no row lies inside one
}

// Gap is a time in which nothing good was heard. It is drawn as a gap and never as a line.
type Gap struct {
	After time.Duration // age at which it begins
	For   time.Duration // how long it is; meaningless unless Known
	Known bool          // false across a restart of the machine without a trusted clock
	Why   string        // "unplugged", "quiet", "restart", "" if not known
}

// Column is the curve of one channel, nil if the firing has none of it.
func (c Curve) Column(channel ChannelID) []Celsius {
	for i, id := range c.Channels {
		if id == channel {
			return c.T[i]
		}
	}
	return nil
}

// Envelope is the curve of one channel thinned to a step: the lowest and the highest of
// each step, which is what a drawing needs. No mean and no smoothing.
type Envelope struct {
	Channel ChannelID
	Step    time.Duration   // length of a step; 0: each reading is a step by itself
	After   []time.Duration // start of each step that holds a value
	Low     []Celsius       // lowest good reading of each step, as long as After
	High    []Celsius       // highest one, as long as After
}

// Put takes the next reading in; ages never fall.
func (e *Envelope) Put(age time.Duration, t Celsius) {
	e.putIn(age.Truncate(e.Step), t) // of no step: the age itself
}

// putIn is Put for who knows at which age the step begins.
func (e *Envelope) putIn(at time.Duration, t Celsius) {
	n := len(e.After) - 1
	if n < 0 || e.After[n] != at {
		e.After, e.Low, e.High = append(e.After, at), append(e.Low, t), append(e.High, t)
		return
	}
	e.Low[n], e.High[n] = min(e.Low[n], t), max(e.High[n], t)
}

// Clone is a copy that shares no memory with e: readers hold it while the recorder goes on putting into
// e.
func (e Envelope) Clone() Envelope {
	e.After, e.Low, e.High = slices.Clone(e.After), slices.Clone(e.Low), slices.Clone(e.High)
	return e
}

// ProbeHot is over what a probe ages: the hours that it spent above are told beside it. Common practice
// in pottery is to count a couple's life in firings; the temperature is our own choice.
const ProbeHot Celsius = 1000

// Over is how long the channel was above t: the steps whose middle lies over it.
func (e Envelope) Over(t Celsius) time.Duration {
	n := 0
	for i := range e.Low {
		if (e.Low[i]+e.High[i])/2 > t {
			n++
		}
	}
	return time.Duration(n) * e.Step
}

// Reached is the age at which the curve first reached t from below, between two steps by the
// line that joins them; ok is false if it never did.
func (e Envelope) Reached(t Celsius) (age time.Duration, ok bool) {
	for i, high := range e.High {
		// the first step whose highest reading is not below t; NaN is never below
		if high < t {
			continue
		}
		if i == 0 {
			return e.After[0], true
		}
		// the step before stayed below t, so that the line between both crosses it once
		before := e.High[i-1]
		share := float64((t - before) / (high - before))
		return e.After[i-1] + time.Duration(share*float64(e.After[i]-e.After[i-1])), true
	}
	return 0, false
}
