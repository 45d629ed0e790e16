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
