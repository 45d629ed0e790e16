package store

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
const envelopeStep = time.Minute

func writeEnvelope(channels []kiln.Envelope) []byte {
	e := &coder{}
	e.uint(uint64(len(channels)))
	for _, c := range channels {
		e.text(string(c.Channel))
		e.uint(uint64(len(c.After)))
		last := int64(-1)
		for _, after := range c.After {
			minute := int64(after / envelopeStep)
			e.uint(uint64(minute - last))
			last = minute
		}
		low, high := counts(c.Low), counts(c.High)
		unit := unitOf(append(low[:len(low):len(low)], high...))
		e.uint(uint64(unit))
		last = 0
		for _, n := range low {
			e.int((n - last) / units[unit])
			last = n
		}
		for i, n := range high {
			e.uint(uint64(n-low[i]) / uint64(units[unit]))
		}
	}
	body := deflated(e.b, flate.HuffmanOnly)
	if z := deflated(e.b, searching); len(z) < len(body) {
		body = z
	}
	return wrap(body, bodyDeflated)
}

func counts(temperatures []kiln.Celsius) []int64 {
	out := make([]int64, len(temperatures))
	for i, t := range temperatures {
		out[i] = countOf(t)
	}
	return out
}

func readEnvelope(data []byte) ([]kiln.Envelope, error) {
	body, err := unwrap(data)
	if err != nil {
		return nil, err
	}
	d := &decoder{b: body}
	channels := make([]kiln.Envelope, d.count(mostChannels))
	for i := range channels {
		c := &channels[i]
		c.Channel, c.Step = kiln.ChannelID(d.text()), envelopeStep
		n := d.count(len(d.b))
		c.After, c.Low, c.High = make([]time.Duration, n), make([]kiln.Celsius, n), make([]kiln.Celsius, n)
		last := int64(-1)
		for i := range c.After {
			last += int64(d.uint())
			c.After[i] = time.Duration(last) * envelopeStep
		}
		unit := units[d.count(len(units)-1)]
		low := make([]int64, n)
		last = 0
		for i := range low {
			last += d.int()
			low[i] = last
			c.Low[i] = celsiusOf(last * unit)
		}
		for i := range c.High {
			c.High[i] = celsiusOf((low[i] + int64(d.uint())) * unit)
		}
	}
	if d.bad || len(d.b) > 0 {
		return nil, fmt.Errorf("%w: an envelope does not end where it should", errCoded)
	}
	return channels, nil
}
