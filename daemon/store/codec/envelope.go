package codec

import (
	"compress/flate"
	"fmt"
	"time"

	"lidwright/kiln"
)

// The envelope of a firing holds for each channel the lowest and highest reading of each minute:
// the minutes as the distance from the one before, then the lows as differences, then how far the
// highs lie above them, all in the channel's unit. It is made when the firing is over, because the
// ages of a running one can still move where the clock comes to be trusted later.
const EnvelopeStep = time.Minute

// WriteEnvelope writes the lowest and highest of each minute of several channels.
func WriteEnvelope(channels []kiln.Envelope) []byte {
	e := &coder{}
	e.uint(uint64(len(channels)))
	for _, c := range channels {
		e.text(string(c.Channel))
		e.uint(uint64(len(c.After)))
		last := int64(-1)
		for _, after := range c.After {
			minute := int64(after / EnvelopeStep)
			e.uint(uint64(minute - last))
			last = minute
		}
		low, high := counts(c.Low), counts(c.High)
		unit := UnitOf(append(low[:len(low):len(low)], high...))
		e.uint(uint64(unit))
		last = 0
		for _, n := range low {
			e.int((n - last) / Units[unit])
			last = n
		}
		for i, n := range high {
			e.uint(uint64(n-low[i]) / uint64(Units[unit]))
		}
	}
	body := Deflated(e.b, flate.HuffmanOnly)
	if z := Deflated(e.b, Searching); len(z) < len(body) {
		body = z
	}
	return Wrap(body, BodyDeflated)
}

func counts(temperatures []kiln.Celsius) []int64 {
	out := make([]int64, len(temperatures))
	for i, t := range temperatures {
		out[i] = CountOf(t)
	}
	return out
}

// ReadEnvelope reads what WriteEnvelope wrote; the error is ErrCoded.
func ReadEnvelope(data []byte) ([]kiln.Envelope, error) {
	body, err := unwrap(data)
	if err != nil {
		return nil, err
	}
	d := &decoder{b: body}
	channels := make([]kiln.Envelope, d.count(mostChannels))
	for i := range channels {
		c := &channels[i]
		c.Channel, c.Step = kiln.ChannelID(d.text()), EnvelopeStep
		n := d.count(len(d.b))
		c.After, c.Low, c.High = make([]time.Duration, n), make([]kiln.Celsius, n), make([]kiln.Celsius, n)
		last := int64(-1)
		for i := range c.After {
			last += int64(d.uint())
			c.After[i] = time.Duration(last) * EnvelopeStep
		}
		unit := Units[d.count(len(Units)-1)]
		low := make([]int64, n)
		last = 0
		for i := range low {
			last += d.int()
			low[i] = last
			c.Low[i] = CelsiusOf(last * unit)
		}
		for i := range c.High {
			c.High[i] = CelsiusOf((low[i] + int64(d.uint())) * unit)
		}
	}
	if d.bad || len(d.b) > 0 {
		return nil, fmt.Errorf("%w: an envelope does not end where it should", ErrCoded)
	}
	return channels, nil
}
