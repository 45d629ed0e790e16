package daemon

import (
	"fmt"
	"strings"

	"lidwright/api"
	"lidwright/api/usecase"
	"lidwright/config"
	"lidwright/kiln"
	"lidwright/kiln/message"
)

// wiredOf is what the page of the settings shows of the kilns.
func wiredOf(cfg config.Config) []usecase.Wired {
	var out []usecase.Wired
	for _, k := range cfg.Kilns {
		w := usecase.Wired{Kiln: k.ID, Speaks: speaks(k), Shelves: api.ShelvesInWords(k.Kiln())}
		for _, c := range k.Channels {
			one := usecase.WiredChannel{Channel: c.ID, Role: c.Role, From: message.Plain(string(c.From)),
				Unit: unitWords[c.Unit]}
			if k.Reply == "columns" || k.Reply == "replay" {
				one.From = message.New("column {1}", c.From)
			}
			if k.Reply == "modbus" {
				number := c.Type
				if strings.HasSuffix(c.Type, "32") {
					number += " " + c.Order
				}
				one.From = message.New("unit {1}, function {2}, register {3}, {4}", c.UnitID,
					fmt.Sprintf("%02d", c.Function),
					c.Register, number)
			}
			if p, ok := k.Probe(c.ID); ok {
				one.Couple = &usecase.Couple{Type: p.Type.String(), Class: int(p.Class),
					Fitted: p.FittedOn.String(), Linearised: p.Linearised,
					Tolerance: toleranceOf(p, kiln.Celsius(k.LimitC))}
			}
			w.Channels = append(w.Channels, one)
		}
		out = append(out, w)
	}
	return out
}

var unitWords = map[string]string{"c": "°C", "f": "°F", "k": "K", "mv": "mV"}

// toleranceOf says how far a new couple may be off at the kiln's limit, by IEC 60584 as
// thermocouple.Type.Tolerance has it, and whether its class reaches so far.
func toleranceOf(p config.Probe, at kiln.Celsius) message.Message {
	off, inClass := p.Type.Tolerance(p.Class, at)
	switch {
	case !off.Known():
		return message.Message{}
	case !inClass:
		return message.New("new, about ±{1} at {2}, where its class no longer reaches", difference(off), at)
	}
	return message.New("new, ±{1} at {2}", difference(off), at)
}

func difference(off kiln.Celsius) kiln.Difference {
	return kiln.Difference{By: float64(off), Places: 1}
}

// speaks says how the kiln's controller is listened to.
func speaks(k config.Kiln) message.Message {
	switch {
	case k.Port == "":
		return message.New("No line: kept by hand.")
	case k.Reply == "replay":
		return message.New("A recorded line played from {1}.", k.Port)
	}
	form := map[string]message.Message{"columns": message.New("Columns"),
		"keyvalue": message.New("Keys and values"),
		"json":     message.New("JSON lines"), "pattern": message.New("Lines by a pattern"),
		"modbus": message.New("Modbus registers")}[k.Reply]
	says := message.Key("{1} on {2}, {3} baud {4}, expected every {5}.")
	if k.Reply == "modbus" || len(k.PollBytes) > 0 {
		says = "{1} on {2}, {3} baud {4}, asked for every {5}."
	}
	return message.New(says, form, k.Port, k.Speed, k.Framing, k.Every.String())
}
