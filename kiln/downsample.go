package kiln

import (
	"slices"
	"time"
)

// Downsampler lays samples as Resampler does and keeps of each channel no more than the lowest and highest
// of each step, which is what Curve.Thin gives of the whole curve.
type Downsampler struct {
	step  time.Duration
	every bool // channel that speaks
	axis  Ages
	lines []Envelope
}

// NewDownsampler begins envelopes of these channels; of every channel that is met, in that order, if
// channels is nil. A step of zero gives each reading by itself.
func NewDownsampler(channels []ChannelID, step time.Duration) *Downsampler {
	t := &Downsampler{step: step, every: channels == nil}
	for _, c := range channels {
		t.lines = append(t.lines, Envelope{Channel: c, Step: step})
	}
	return t
}

// Place is where a channel stands in a row, -1 if there is to be none of it.
func (t *Downsampler) Place(channel ChannelID) int {
	at := slices.IndexFunc(t.lines, func(e Envelope) bool { return e.Channel == channel })
	if at >= 0 || !t.every {
		return at
	}
	// a channel that speaks for the first time gets a line of its own, empty until now
	t.lines = append(t.lines, Envelope{Channel: channel, Step: t.step})
	return len(t.lines) - 1
}

// Moment takes a stamp onto the axis of ages and gives the step that it lies in; ok is false if it is
// not later than the one before, and then nothing is to be put there.
func (t *Downsampler) Moment(at Stamp) (step time.Duration, ok bool) {
	j, ok := t.axis.Next(at)
	return t.stepOf(j.Age), ok
}

// Later is Moment for a stamp by the same clock as the one before, which was Moment's.
func (t *Downsampler) Later(since time.Duration) (step time.Duration, ok bool) {
	ok = t.axis.later(since)
	return t.stepOf(t.axis.Age), ok
}

// stepOf is the beginning of the step that an age lies in; the age itself where there are no steps.
func (t *Downsampler) stepOf(age time.Duration) time.Duration {
	// the age at which the step begins, counted from the first stamp
	if t.step > 0 {
		age -= age % t.step
	}
	return age
}

// Put puts what the channel at a place said well into a step, which is none before that of what it said last.
func (t *Downsampler) Put(place int, step time.Duration, c Celsius) { t.lines[place].putIn(step, c) }

// Envelopes is what was laid so far.
func (t *Downsampler) Envelopes() []Envelope { return t.lines }
