package kiln_test

import (
	"testing"
	"time"

	"lidwright/kiln"
	"lidwright/kiln/message"
)

// Quantities in either unit. BIPM, The International System of Units, 9th edition, 2.3.1, and the definition
// of the degree Fahrenheit: t/°F = 1.8 t/°C + 32; a difference or a rate has no 32. The others are worked by
// hand.
func TestQuantities(t *testing.T) {
	none := kiln.NoTemperature()
	for _, c := range []struct {
		q                   message.Arg
		celsius, fahrenheit string
	}{
		{kiln.Celsius(1222), "1222 °C", "2232 °F"},
		{kiln.Celsius(0), "0 °C", "32 °F"},
		{none, "–", "–"},
		{kiln.Tenth(100.04), "100.0 °C", "212.1 °F"},
		{kiln.Tenth(none), "–", "–"},
		{kiln.Warmer(10), "10 °C", "18 °F"},
		{kiln.Difference{By: -2.5, Places: 1}, "-2.5 °C", "-4.5 °F"},
		{kiln.Difference{By: 2.5, Places: 1, Bare: true, Sign: true}, "+2.5", "+4.5"},
		{kiln.CelsiusPerHour(60), "60 °C/h", "108 °F/h"},
		{kiln.CelsiusPerHour(-100), "-100 °C/h", "-180 °F/h"},
		{kiln.Figure(1222), "1222", "2232"},
		{kiln.RateFigure(60), "60", "108"},
		{kiln.Span(0), "0 min", "0 min"},
		{kiln.Span(59*time.Minute + 29*time.Second), "59 min", "59 min"},
		{kiln.Span(59*time.Minute + 30*time.Second), "1 h", "1 h"},
		{kiln.Span(61 * time.Minute), "1 h 1 min", "1 h 1 min"},
		{kiln.Span(120 * time.Minute), "2 h", "2 h"},
		{kiln.Span(26*time.Hour + 5*time.Minute), "26 h 5 min", "26 h 5 min"},
	} {
		if got := c.q.Render(message.Reader{}); got != c.celsius {
			t.Errorf("%#v is %q, want %q", c.q, got, c.celsius)
		}
		if got := c.q.Render(message.Reader{Fahrenheit: true}); got != c.fahrenheit {
			t.Errorf("%#v is %q to who reads °F, want %q", c.q, got, c.fahrenheit)
		}
	}
}
