package kiln

import (
	"slices"
	"time"
)

// Thinner lays samples as Layer does and keeps of each channel no more than the lowest and highest
// of each step, which is what Thin gives of the whole curve.
type Thinner struct {
	step  time.Duration
	every bool // channel that speaks
	axis  ages
	lines []Envelope
}

// NewThinner begins envelopes of these channels; of every channel that is met, in that order, if
// channels is nil. A step of zero gives each reading by itself.
func NewThinner(channels []ChannelID, step time.Duration) *Thinner {
	t := &Thinner{step: step, every: channels == nil}
	for _, c := range channels {
		t.lines = append(t.lines, Envelope{Channel: c, Step: step})
	}
	return t
}

// Place is where a channel stands in a row, -1 if there is to be none of it.
func (t *Thinner) Place(channel ChannelID) int {
	at := slices.IndexFunc(t.lines, func(e Envelope) bool { return e.Channel == channel })
	if at >= 0 || !t.every {
		return at
	}
	t.lines = append(t.lines, Envelope{Channel: channel, Step: t.step})
	return len(t.lines) - 1
}

// Row is a row in which no channel said anything.
func (t *Thinner) Row() []Celsius { return silent(len(t.lines)) }

func silent(n int) []Celsius {
	row := make([]Celsius, n)
	for i := range row {
		row[i] = NoTemperature()
	}
	return row
}

// AddRow lays down what the channels said at one moment, NaN where that was nothing good.
func (t *Thinner) AddRow(at Stamp, row []Celsius) {
	j, ok := t.axis.next(at)
	if !ok {
		return
	}
	begun := j.age
	if t.step > 0 {
		begun -= j.age % t.step
	}
	for i, c := range row {
		if c.Known() {
			t.lines[i].putIn(begun, c)
		}
	}
}

// Envelopes is what was laid so far.
func (t *Thinner) Envelopes() []Envelope { return t.lines }
