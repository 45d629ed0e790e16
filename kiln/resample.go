package kiln

import (
	"slices"
	"time"
)

// Resample lays the samples of one firing, in order, along one axis of ages that begins with the
// first: one column for each of channels, and a gap wherever none of these said anything good
// for longer than gapAfter (see Kiln.GapAfter). Samples that are not later than the one before
// are left out, and rows without any good reading. Across a restart of the machine the wall
// clocks tell the length of the gap where they were trusted; otherwise it counts as a second.
func Resample(samples []Sample, channels []ChannelID, gapAfter time.Duration) Curve {
	samples = slices.Clone(samples)
	SettleClock(samples)
	l := NewResampler(append([]ChannelID{}, channels...), gapAfter)
	l.Add(samples)
	return l.Curve()
}

// Resampler lays samples as Resample does, a part at a time, so that the whole firing need not be in memory
// twice. The clocks of what it is given are already put right.
type Resampler struct {
	curve    Curve
	gapAfter time.Duration
	every    bool // channel that speaks
	axis     Ages
	severed  bool
}

// NewResampler begins a curve of these channels; of every channel that is met, in that order, if
// channels is nil.
func NewResampler(channels []ChannelID, gapAfter time.Duration) *Resampler {
	return &Resampler{curve: Curve{Channels: channels, T: make([][]Celsius, len(channels))},
		gapAfter: gapAfter,
		every:    channels == nil}
}

// Add lays the next samples down.
func (l *Resampler) Add(samples []Sample) {
	for _, s := range samples {
		if l.every {
			for _, v := range s.Values {
				l.Place(v.Channel)
			}
		}
		row := l.Row()
		rowOf(s, l.curve.Channels, row)
		l.AddRow(s.At, row)
	}
}

// Place is where a channel stands in a row, -1 if the curve is to have none of it.
func (l *Resampler) Place(channel ChannelID) int {
	at := slices.Index(l.curve.Channels, channel)
	if at >= 0 || !l.every {
		return at
	}
	// what it would have said in the rows so far is not known
	l.curve.Channels, l.curve.T = append(l.curve.Channels, channel),
		append(l.curve.T, silent(len(l.curve.After)))
	return len(l.curve.Channels) - 1
}

// Row is a row in which no channel said anything.
func (l *Resampler) Row() []Celsius { return silent(len(l.curve.Channels)) }

// silent is a row or column of n values that nobody said.
func silent(n int) []Celsius {
	row := make([]Celsius, n)
	for i := range row {
		row[i] = NoTemperature()
	}
	return row
}

// AddRow lays down what the channels said at one moment, NaN where that was nothing good.
func (l *Resampler) AddRow(at Stamp, row []Celsius) {
	c := &l.curve
	j, ok := l.axis.Next(at)
	if !ok {
		return
	}
	// kept until a row with a good reading comes: the gap lies between two of those
	l.severed = l.severed || !j.Known
	if !slices.ContainsFunc(row, Celsius.Known) {
		return
	}
	// a silence of unknown length is a gap always, a known one when longer than gapAfter
	if n := len(c.After); n > 0 {
		if since := j.Age - c.After[n-1]; l.severed {
			c.Gaps = append(c.Gaps, Gap{After: c.After[n-1], Why: "restart"})
		} else if since > l.gapAfter {
			c.Gaps = append(c.Gaps, Gap{After: c.After[n-1], For: since, Known: true})
		}
	}
	l.severed = false
	c.After = append(c.After, j.Age)
	for i, t := range row {
		c.T[i] = append(c.T[i], t)
	}
}

// Curve is what was laid so far. It is not to be added to after.
func (l *Resampler) Curve() Curve { return l.curve }

// rowOf puts what each channel said well into row, which holds nothing yet.
func rowOf(s Sample, channels []ChannelID, row []Celsius) {
	for i, id := range channels {
		if v, ok := s.Value(id); ok && v.Fault == Good && v.T.Known() {
			row[i] = v.T
		}
	}
}

// Top is the highest reading of one channel and the age at which it first came within 3 °C of it;
// NaN and 0 where it said nothing.
func (c Curve) Top(channel ChannelID) (peak Celsius, after time.Duration) {
	peak = NoTemperature()
	column := c.Column(channel)
	// !(t <= peak) holds for the first known reading too, while peak is NaN
	for _, t := range column {
		if t.Known() && !(t <= peak) {
			peak = t
		}
	}
	for i, t := range column {
		if t >= peak-3 {
			return peak, c.After[i]
		}
	}
	return peak, 0
}

// Thin is the curve of one channel in steps of at least step: the lowest and highest of each.
// A step that holds no reading is left out, and a line is not to be drawn across Gaps. A step
// of zero gives each reading by itself.
func (c Curve) Thin(channel ChannelID, step time.Duration) Envelope {
	e := Envelope{Channel: channel, Step: step}
	for i, t := range c.Column(channel) {
		if t.Known() {
			e.Put(c.After[i], t)
		}
	}
	return e
}

// Merge joins whole steps of e into longer ones, n at a time. n below 2 changes nothing.
func (e Envelope) Merge(n int) Envelope {
	if n < 2 {
		return e
	}
	out := Envelope{Channel: e.Channel, Step: e.Step * time.Duration(n)}
	// the lowest and the highest each go in, so that the longer step spans both
	for i, at := range e.After {
		at = at.Truncate(out.Step)
		out.putIn(at, e.Low[i])
		out.putIn(at, e.High[i])
	}
	return out
}

// Points merges whole steps of e until there are at most n, so that a drawing of that width
// misses no peak. n below 1 is taken as 1.
func (e Envelope) Points(n int) Envelope {
	if n = max(n, 1); len(e.After) <= n || e.Step <= 0 {
		return e
	}
	// empty steps count too: they take room in the drawing
	span := int(e.After[len(e.After)-1]/e.Step) + 1
	return e.Merge((span + n - 1) / n)
}

// Parts cuts e at the gaps: a line may be drawn through each part, and not from one to the
// next. A step in which a gap begins or ends belongs to the side that it has readings of.
func (e Envelope) Parts(gaps []Gap) []Envelope {
	var parts []Envelope
	from := 0
	for _, g := range gaps {
		// the first step that begins after the gap does
		to, _ := slices.BinarySearchFunc(e.After[from:], g.After, func(at, gap time.Duration) int {
			if at <= gap {
				return -1
			}
			return 1
		})
		if to > 0 {
			parts = append(parts, e.slice(from, from+to))
		}
		from += to
	}
	if from < len(e.After) {
		parts = append(parts, e.slice(from, len(e.After)))
	}
	return parts
}

// slice is the steps from one index up to another, sharing the memory of e.
func (e Envelope) slice(from, to int) Envelope {
	e.After, e.Low, e.High = e.After[from:to], e.Low[from:to], e.High[from:to]
	return e
}
