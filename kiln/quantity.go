package kiln

import (
	"fmt"
	"strings"
	"time"

	"lidwright/kiln/message"
)

// Render is t in whole degrees of the reader's unit, as an argument of a message; a dash where it is not
// known.
func (t Celsius) Render(r message.Reader) string { return t.render(r, 32) }

func (t Celsius) render(r message.Reader, zero float64) string {
	switch {
	case !t.Known():
		return "–"
	case r.Fahrenheit:
		return r.Decimal(1.8*float64(t)+zero, 0) + " °F"
	}
	return r.Decimal(float64(t), 0) + " °C"
}

// Tenth is a temperature to a tenth of a degree.
type Tenth Celsius

// Render is t in tenths of the reader's degrees; a dash where it is not known.
func (t Tenth) Render(r message.Reader) string {
	switch {
	case !Celsius(t).Known():
		return "–"
	case r.Fahrenheit:
		return r.Decimal(1.8*float64(t)+32, 1) + " °F"
	}
	return r.Decimal(float64(t), 1) + " °C"
}

// Warmer is a difference of temperatures: 10 °C are 18 °F.
type Warmer Celsius

// Render is d in whole degrees of the reader's unit.
func (d Warmer) Render(r message.Reader) string { return Difference{By: float64(d)}.Render(r) }

// Difference is a difference of temperatures in °C, with some places, without its unit where another names
// it.
type Difference struct {
	By     float64 // °C, above 0 warmer
	Places int     // digits behind the decimal sign
	Bare   bool    // the unit is left out: another number beside it names it
	Sign   bool    // a plus stands before what is not below 0
}

// Render is d in the reader's unit.
func (d Difference) Render(r message.Reader) string {
	by, unit := d.By, " °C"
	if r.Fahrenheit {
		by, unit = 1.8*by, " °F"
	}
	if d.Bare {
		unit = ""
	}
	return message.Number{Value: by, Places: d.Places, Sign: d.Sign}.Render(r) + unit
}

// Render is a rate in whole degrees of the reader's unit an hour.
func (v CelsiusPerHour) Render(r message.Reader) string { return Celsius(v).render(r, 0) + "/h" }

// Span is a length of time to the minute, as 45 min, 2 h, 2 h 5 min.
type Span time.Duration

// Render is s in hours and minutes, whose signs are the same in every language here.
func (s Span) Render(message.Reader) string {
	m := int(time.Duration(s).Round(time.Minute).Minutes())
	switch {
	case m < 60:
		return fmt.Sprintf("%d min", m)
	case m%60 == 0:
		return fmt.Sprintf("%d h", m/60)
	}
	return fmt.Sprintf("%d h %d min", m/60, m%60)
}

// Figure is a temperature without its unit, the first of two of which the other names it.
type Figure Celsius

// Render is t in whole degrees of the reader's unit.
func (t Figure) Render(r message.Reader) string {
	text, _, _ := strings.Cut(Celsius(t).Render(r), " ")
	return text
}

// RateFigure is a rate without its unit.
type RateFigure CelsiusPerHour

// Render is v in whole degrees of the reader's unit an hour.
func (v RateFigure) Render(r message.Reader) string {
	text, _, _ := strings.Cut(CelsiusPerHour(v).Render(r), " ")
	return text
}
