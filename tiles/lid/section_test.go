package lid

import (
	"testing"

	"lidwright/tiles"
)

// A cross-section in words has every width, as measured or made and as fired.
func TestSectionSays(t *testing.T) {
	for _, c := range []struct {
		q    Question
		says string
	}{
		{Question{Collar: []tiles.Millimetre{104.5}, Opening: 92.5},
			"Gallery, wall to wall 104.5 mm wet, 91.54 mm fired; lid 102.5 mm wet, 89.79 mm fired; ledge opening 92.5 mm wet, 81.03 mm fired; play 1.75 mm fired, across; bearing 3.5 mm when pushed to one side."},
		{Question{Lid: 103}, "Gallery, wall to wall 105.0 mm wet, 91.98 mm fired; lid 103.0 mm wet, 90.23 mm fired; ledge opening 86.29 mm; play 1.75 mm fired, across."},
	} {
		if got := asked(t, c.q).SectionSays(tiles.MM).String(); got != "Cross-section, widths to scale as fired. "+c.says {
			t.Error(got)
		}
	}
}
