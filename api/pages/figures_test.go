package pages

import (
	"math"
	"strconv"
	"testing"
)

// A shown figure has a minus sign and never "−0"; what stands in a field reads back to the same length.
func TestFigures(t *testing.T) {
	set := loaded(t)
	l, de := set.Locale(Speak{Tongue: "en", Unit: "in", Fahrenheit: true}), set.Locale(Speak{Tongue: "de",
		Unit: "mm"})
	for _, c := range [][2]string{{l.Decimal(-0.04, 1), "0.0"}, {l.Decimal(-1.26, 1), "−1.3"},
		{de.Decimal(-1.26, 1), "−1,3"},
		{l.Change(-10.0), "−18 °F"}, {l.Change(0.2), "+0 °F"}, {de.Change(-0.2), "+0 °C"},
		{l.Heat(-40.0), "−40 °F"},
		{de.Field(87.655), "87,655"}, {de.Field(100), "100,0"}, {l.Field(101.6), "4.0"}} {
		if c[0] != c[1] {
			t.Errorf("%q, want %q", c[0], c[1])
		}
	}
	for mm := 1.0; mm < 400; mm += 0.37 {
		if back, err := strconv.ParseFloat(l.Field(mm), 64); err != nil || math.Abs(back*25.4-mm) > 1e-8 {
			t.Errorf("%g mm stands in a field as %s in", mm, l.Field(mm))
		}
	}
}
