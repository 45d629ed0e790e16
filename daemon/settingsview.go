package daemon

import (
	"fmt"
	"strings"

	"lidwright/api"
	"lidwright/api/usecase"
	"lidwright/config"
	"lidwright/kiln"
)

// wiredOf is what the page of the settings shows of the kilns.
func wiredOf(cfg config.Config) []usecase.Wired {
	var out []usecase.Wired
	for _, k := range cfg.Kilns {
		w := usecase.Wired{Kiln: k.ID, Speaks: speaks(k), Shelves: api.ShelvesInWords(k.Kiln())}
		for _, c := range k.Channels {
			one := usecase.WiredChannel{Channel: c.ID, Role: c.Role, From: string(c.From),
				Unit: unitWords[c.Unit]}
			if k.Reply == "columns" || k.Reply == "replay" {
				one.From = "column " + string(c.From)
			}
			if k.Reply == "modbus" {
				one.From = fmt.Sprintf("unit %d, function %02d, register %d, %s", c.UnitID, c.Function,
					c.Register, c.Type)
				if strings.HasSuffix(c.Type, "32") {
					one.From += " " + c.Order
				}
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
func toleranceOf(p config.Probe, at kiln.Celsius) string {
	off, inClass := p.Type.Tolerance(p.Class, at)
	switch {
	case !off.Known():
		return ""
	case !inClass:
		return fmt.Sprintf("new, about ±%.1f °C at %.0f °C, where its class no longer reaches", off, at)
	}
	return fmt.Sprintf("new, ±%.1f °C at %.0f °C", off, at)
}

func speaks(k config.Kiln) string {
	switch {
	case k.Port == "":
		return "No line: kept by hand."
	case k.Reply == "replay":
		return "A recorded line played from " + k.Port + "."
	}
	form := map[string]string{"columns": "Columns", "keyvalue": "Keys and values", "json": "JSON lines", "pattern": "Lines by a pattern", "modbus": "Modbus registers"}[k.Reply]
	how := "expected"
	if k.Reply == "modbus" || len(k.PollBytes) > 0 {
		how = "asked for"
	}
	return fmt.Sprintf("%s on %s, %d baud %s, %s every %v.", form, k.Port, k.Speed, k.Framing, how, k.Every)
}
