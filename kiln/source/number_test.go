package source

import (
	"errors"
	"math"
	"testing"
)

// A number is read with the unit behind it, which must be that of the settings; words for an open couple, and
// 9.91E37 (SCPI-1999 volume 1, 7.2), are told from what makes no sense.
func TestNumbersOfALine(t *testing.T) {
	nan := math.NaN()
	for _, c := range []struct {
		text, unit string
		comma      bool
		want       float64
		err        error
	}{
		{"1222.5", "c", false, 1222.5, nil}, {" \"1222.5\" ", "c", false, 1222.5, nil}, {"+1222.5", "c",
			false, 1222.5, nil},
		{"-5", "c", false, -5, nil}, {"3e2", "", false, 300, nil}, {"3E-2", "", false, 0.03, nil}, {"3e100",
			"", false, nan, errNumber},
		{"1222.5 °C", "c", false, 1222.5, nil}, {"1222.5\xb0C", "c", false, 1222.5, nil}, {"1222.5 degC",
			"c", false, 1222.5, nil},
		{"1222.5C", "", false, 1222.5, nil}, {"2232 F", "f", false, 2232, nil}, {"2232F", "c", false, 2232,
			errUnit},
		{"1495.6 K", "k", false, 1495.6, nil}, {"49.6 mV", "mv", false, 49.6, nil}, {"49.6 mV", "c", false,
			49.6, errUnit},
		{"1222,5", "c", true, 1222.5, nil}, {"1222,5", "c", false, nan, errNumber}, {"1.222,5", "c", true,
			nan, errNumber},
		{"123456789", "c", false, 123456789, nil}, {"1234567890", "c", false, nan, errNumber},
		{"0.123456789", "c", false, 0.123456789, nil}, {"0.1234567890", "c", false, nan, errNumber},
		{"5.", "c", false, nan, errNumber}, {".5", "c", false, 0.5, nil}, {"1.2.3", "c", false, nan,
			errNumber},
		{"0x1p-2", "", false, nan, errNumber}, {"1_0", "", false, nan, errNumber}, {"--5", "", false, nan,
			errNumber},
		{"9.91E37", "", false, nan, errBreak}, {"-9.9E37", "", false, nan, errBreak}, {"9.8E36", "", false,
			9.8e36, nil},
		{"", "", false, nan, errBreak}, {"OPEN", "c", false, nan, errBreak}, {"---", "c", false, nan,
			errBreak},
		{"**", "c", false, nan, errBreak}, {"??", "c", false, nan, errBreak}, {"-", "c", false, nan,
			errNumber}, {"-*", "c", false, nan, errNumber},
	} {
		got, err := parseNumber(c.text, c.unit, c.comma)
		if !errors.Is(err, c.err) || math.IsNaN(got) != math.IsNaN(c.want) || !math.IsNaN(got) &&
			got != c.want {
			t.Errorf("%q in %q, comma %v: %v, %v; want %v, %v", c.text, c.unit, c.comma, got, err, c.want,
				c.err)
		}
	}
}

// What a kiln can read is believed of an unknown line: -50 to 1850 °C in each unit, where none is said up to
// what that is in °F, and -10 to 80 mV; a word for an open couple stands for a number.
func TestBelievablePlaces(t *testing.T) {
	for text, want := range map[string]bool{"3362": true, "3362.1": false, "-50": true, "-50.1": false,
		"3362 F": true, "3363 F": false,
		"223.15 K": true, "223.1 K": false, "2123.15 K": true, "2123.2 K": false,
		"80 mV": true, "80.1 mV": false,
		"-10 mV": true, "-10.1 mV": false, "OPEN": true} {
		if p, ok := placeOf("2", text, false); !ok || p.Believable != want || p.From != "2" {
			t.Errorf("%s: %v, %+v", text, ok, p)
		}
	}
	for _, text := range []string{"", "  ", "top", "1.2.3"} {
		if p, ok := placeOf("2", text, false); ok {
			t.Errorf("%q is a place: %+v", text, p)
		}
	}
}
