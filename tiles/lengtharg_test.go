package tiles

import (
	"testing"

	"lidwright/kiln/message"
)

// TestMeasuredIsAsFineAsItIsKnown: a length of so many places says no more of them in another unit than it
// has; 1 in is 25.4 mm exactly (international yard and pound agreement, 1959).
func TestMeasuredIsAsFineAsItIsKnown(t *testing.T) {
	for _, c := range []struct {
		arg  Measured
		unit LengthUnit
		want string
	}{
		{Measured{Length: 150, Unit: MM, Places: -1}, Inch, "5.9 in"}, // 5.9055
		{Measured{Length: 150, Unit: MM, Places: -1}, MM, "150 mm"},
		{Measured{Length: 0.257, Unit: MM, Places: 1}, Inch, "0.010 in"}, // 0.0101
		{Measured{Length: 0.257, Unit: MM, Places: 1}, MM, "0.3 mm"},
		{Measured{Length: 94.35, Unit: MM}, Inch, "3.7146 in"}, // as it was measured
		{Measured{Length: 94.35, Unit: MM}, "", "94.35 mm"},
		{Measured{Length: 94.35, Unit: MM, Bare: true}, "", "94.35"},
		{Measured{Length: 94.35, Unit: MM, Bare: true}, CM, "9.435"},
		{Measured{Length: 94.45625, Unit: MM, Bare: true}, Inch32nd, "3 23/32"},
	} {
		if got := c.arg.Render(message.Reader{Unit: string(c.unit)}); got != c.want {
			t.Errorf("%+v in %s is %q, want %q", c.arg, c.unit, got, c.want)
		}
	}
}
