package shrinkage

import (
	"math"
	"testing"

	"lidwright/tiles"
)

// By hand, in fractions: a body of variance 0.5 shares 0.4 with the lid (0.3 of it in the rate, 0.1 in the
// batch) and was seen to lose 0.6 more than expected, true to a sd of 0.5477 (variance 0.3). Of 0.6 the lid
// takes 0.4/0.8, and its variance of 0.6 falls by 0.4²/0.8.
func TestSeen(t *testing.T) {
	p := Pair{R: [2]tiles.LogPercent{13, 13.2}, Rate: Spread2{{0.3, 0.3}, {0.3, 0.35}},
		Batch: Spread2{{0.1, 0.1}, {0.1, 0.1}},
		Load:  Spread2{{0.05, 0}, {0, 0.08}}, Piece: Spread2{{0.05, 0}, {0, 0.07}}, Nu: 8}
	q := p.Seen(0, 13.6, tiles.LogPercent(math.Sqrt(0.3)))
	if math.Abs(float64(q.R[1])-13.5) > 1e-12 || q.R[0] != 0 {
		t.Errorf("shrinks %.4f", q.R)
	}
	var sum float64
	for _, s := range []Spread2{q.Rate, q.Batch, q.Load, q.Position, q.Piece, q.Gone} {
		sum += s[1][1]
		if s[0] != ([2]float64{}) || s[1][0] != 0 {
			t.Errorf("the body that was seen is still in doubt: %v", s)
		}
	}
	if math.Abs(sum-0.4) > 1e-12 || q.Load[1][1] != 0.08 || q.Piece[1][1] != 0.07 ||
		math.Abs(q.Rate[1][1]-0.2) > 1e-12 {
		t.Errorf("variance %.4f: %+v", sum, q)
	}
	lost, sd := ShrinkOf([]tiles.Millimetre{104, 106}, []tiles.Millimetre{92.4}, 0.3, 0.05)
	if math.Abs(float64(lost)-100*math.Log(105/92.4)) > 1e-12 ||
		math.Abs(float64(sd)-math.Hypot(100*0.3/105/math.Sqrt2, 100*0.05/92.4)) > 1e-12 {
		t.Errorf("lost %.3f ± %.3f", lost, sd)
	}
}
