package source

import (
	"errors"
	"math"
	"strings"
	"time"

	"lidwright/kiln"
	"lidwright/kiln/thermocouple"
)

// Limits of a cold junction, own choice.
const (
	junctionLasts              = time.Minute // how long the last one heard is good for
	junctionJump  kiln.Celsius = 5           // one sample further off the last than this is not used
)

// raw is what one channel gave, before its unit is looked at.
type raw struct {
	number float64
	fault  kiln.Fault
	there  bool // the channel was on the line at all
}

// rawText reads the text of one channel. An error says that the line makes no sense.
func rawText(c Channel, text string, comma bool) (raw, error) {
	if c.Role == kiln.RoleVent {
		if on, ok := contact(text); ok {
			return raw{number: on, there: true}, nil
		}
	}
	v, err := parseNumber(text, c.Unit, comma)
	switch {
	case errors.Is(err, errBreak):
		return raw{number: v, fault: kiln.Break, there: true}, nil
	case errors.Is(err, errUnit):
		return raw{number: v, fault: kiln.UnitChanged, there: true}, nil
	case err != nil:
		return raw{}, err
	}
	r := raw{number: v, there: true}
	if t := inCelsius(c, v*c.Scale+c.Offset); c.Unit != "mv" && !(t >= leastBelief && t <= mostBelief) &&
		fullScale(text) {
		r = raw{number: math.NaN(), fault: kiln.Break, there: true}
	}
	return r, nil
}

// contact reads the words of a contact on the vent.
func contact(text string) (float64, bool) {
	switch strings.ToLower(strings.TrimSpace(text)) {
	case "on", "true", "open", "yes":
		return 1, true
	case "off", "false", "closed", "no":
		return 0, true
	}
	return 0, false
}

// inCelsius turns a finished temperature in the unit of the channel into °C.
func inCelsius(c Channel, v float64) kiln.Celsius {
	switch c.Unit {
	case "f":
		return kiln.Celsius((v - 32) / 1.8)
	case "k":
		return kiln.Celsius(v - 273.15)
	}
	return kiln.Celsius(v)
}

// junction is what is known of one cold junction.
type junction struct {
	last   kiln.Celsius // of the last sample that told it, NaN before the first
	at     kiln.Stamp
	jumped bool // that sample was far off the one before: not to be used
}

// converter turns what the channels of one kiln said into temperatures. It remembers the cold
// junctions, which are slow.
type converter struct {
	channels  []Channel
	junctions map[kiln.ChannelID]*junction // one for each channel that is a cold junction
}

// newConverter knows which channels are cold junctions, and nothing of their temperature yet.
func newConverter(k Kiln) *converter {
	c := &converter{channels: k.Channels, junctions: map[kiln.ChannelID]*junction{}}
	for _, channel := range k.Channels {
		if channel.ColdJunction != "" {
			c.junctions[channel.ColdJunction] = &junction{last: kiln.NoTemperature()}
		}
	}
	return c
}

// values gives a value for every channel that was there, in the order of the settings.
func (c *converter) values(at kiln.Stamp, raws []raw) []kiln.Value {
	c.hear(at, raws)
	var out []kiln.Value
	for i, channel := range c.channels {
		if !raws[i].there {
			continue
		}
		t, fault := c.convert(at, channel, raws[i])
		out = append(out, kiln.Value{Channel: channel.ID, T: t, Fault: fault})
	}
	return out
}

// hear notes what a sample says of the cold junctions.
func (c *converter) hear(at kiln.Stamp, raws []raw) {
	for i, channel := range c.channels {
		j, ok := c.junctions[channel.ID]
		if !ok || !raws[i].there || raws[i].fault != kiln.Good {
			continue
		}
		t := inCelsius(channel, raws[i].number*channel.Scale+channel.Offset)
		j.jumped = math.Abs(float64(t-j.last)) > float64(junctionJump) // false for the first: NaN
		j.last, j.at = t, at
	}
}

// cold is the temperature of a cold junction now, NaN where it is not known, too old or just jumped.
func (c *converter) cold(at kiln.Stamp, id kiln.ChannelID) kiln.Celsius {
	j, ok := c.junctions[id]
	if !ok || j.jumped {
		return kiln.NoTemperature()
	}
	if old, known := at.Sub(j.at); !known || old > junctionLasts {
		return kiln.NoTemperature()
	}
	return j.last
}

// convert is the temperature that a channel's number stands for. Millivolts and fixed-slope front ends
// need the cold junction; where that is not known they are NotConverted and no guess.
func (c *converter) convert(at kiln.Stamp, channel Channel, r raw) (kiln.Celsius, kiln.Fault) {
	if r.fault == kiln.Break {
		return kiln.NoTemperature(), kiln.Break
	}
	// scale and offset come before the unit
	v := r.number*channel.Scale + channel.Offset
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return kiln.NoTemperature(), kiln.Break
	}
	// a front end that took the couple for a straight line gives a wrong temperature, which is turned
	// back
	undo := channel.Unit != "mv" && !channel.Linearised && channel.Type == thermocouple.K
	if channel.Unit != "mv" && !undo {
		return inCelsius(channel, v), r.fault
	}
	cold := c.cold(at, channel.ColdJunction)
	var t kiln.Celsius
	var fault kiln.Fault
	if undo {
		t, fault = thermocouple.Linearise(inCelsius(channel, v), cold)
	} else {
		t, fault = channel.Type.Celsius(thermocouple.Millivolt(v), cold)
	}
	if fault == kiln.Good {
		fault = r.fault
	}
	return t, fault
}
