package lid

import (
	"math"
	"testing"

	"lidwright/tiles"
)

// Of every seat the three chances add to 1, the middle one is the chance of the answer, and a wider lid is
// tighter inside a gallery and looser over a neck. With normal errors the chance of too tight is the normal
// distribution function (Abramowitz and Stegun 26.2.29: Φ(−1) = 0.158655) at the sds to the least play.
func TestChances(t *testing.T) {
	for name, q := range map[string]Question{
		"inset":   {Collar: []tiles.Millimetre{104.5}, Opening: 92.5},
		"flange":  {Seat: Flange, Collar: []tiles.Millimetre{105}},
		"cap":     {Seat: Cap, Collar: []tiles.Millimetre{80}},
		"over":    {Seat: Over, Collar: []tiles.Millimetre{80}, Opening: 68},
		"gallery": {Lid: 103},
	} {
		a := asked(t, q)
		near(t, name+": all", a.Chances.TooTight+a.Chances.Fits+a.Chances.Rattles, 1, 1e-6)
		near(t, name+": fits", a.Chances.Fits, a.FitChance, 1e-9)
		if a.WhatIf != nil {
			t.Errorf("%s: nothing was tried", name)
		}
		q.Try = a.Set + 2
		wider := asked(t, q)
		tighter := wider.WhatIf.TooTight > a.Chances.TooTight
		if inner := q.Seat != Cap && q.Seat != Over && q.Lid == 0; tighter != inner || wider.Set != a.Set {
			t.Errorf("%s: of a width 2 mm more %+v, of the one to set %+v", name, *wider.WhatIf, a.Chances)
		}
		near(t, name+": play", math.Abs(float64(wider.WhatIf.Play-a.Fired.Play)), 2*tern100(a), 0.05)
	}
	a := asked(t, Question{Collar: []tiles.Millimetre{104.5}, Opening: 92.5})
	sd := float64(a.Fired.PlaySD)
	at := float64(a.Set) + (float64(a.Fired.Play-a.LeastPlay)+sd)/tern100(a) // one sd beyond the least play
	near(t, "one sd tight", 1-asked(t, Question{Collar: []tiles.Millimetre{104.5}, Opening: 92.5,
		Try: tiles.Millimetre(at)}).WhatIf.TooTight, 0.158655, 0.01)
	if a := asked(t, Question{Collar: []tiles.Millimetre{104.5}, Opening: 92.5,
		Lid: 102}); a.Chances.Fits == 0 {
		t.Error("a lid at hand has no chances")
	}
}

// tern100 is the length left of a lid's length of 1.
func tern100(a Answer) float64 { return float64(a.Fired.Lid) / lidSet(a) }

func lidSet(a Answer) float64 {
	if a.Question == AskGallery {
		return float64(a.Asked.Lid)
	}
	return float64(a.Set)
}
