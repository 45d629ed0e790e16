package mixedmodel

import (
	"math"
	"testing"
)

// The mean of a variance that five readings can hardly tell from none, by summing the posterior over a grid:
// half a normal to either side comes within 6 %, one normal as wide as the curvature says is 20 % and more
// too large.
func TestSkewByGrid(t *testing.T) {
	c := math.Log(0.2)
	m := &Model{Params: []Param{{Start: c, Low: c - 4, High: c + 4, Centre: c, Spread: 0.9}}}
	for _, y := range []float64{0.25, -0.15, 0.1, -0.3, 0.05} {
		m.Blocks = append(m.Blocks, &Block{N: 1, Y: []float64{y},
			Noise: []Noise{{Param: 0, Diag: []float64{0.04}}, {Param: 1, Diag: []float64{1}}}})
	}
	best, err := m.Minimise(t.Context(), nil, nil)
	if err != nil {
		t.Fatal(err)
	}
	mode := best.Theta[0]
	h, err := m.Curvature(t.Context(), best.Theta, 0.15)
	if err != nil {
		t.Fatal(err)
	}
	cov, err := Floor(h, 1/(0.9*0.9))
	if err != nil {
		t.Fatal(err)
	}
	s, err := m.Skew(t.Context(), best.Theta, best.Objective, cov)
	if err != nil {
		t.Fatal(err)
	}
	var sum, mean, grown, square float64
	for x := -6.0; x < 4; x += 0.01 {
		at, err := m.At(t.Context(), []float64{mode + x})
		if err != nil {
			t.Fatal(err)
		}
		w := math.Exp((best.Objective - at.Objective) / 2)
		sum, mean, square, grown = sum+w, mean+w*x, square+w*x*x, grown+w*math.Exp(2*x)
	}
	mean, square, grown = mean/sum, square/sum, grown/sum
	plain := math.Exp(2 * cov.At(0, 0))
	sd, exact := math.Sqrt(s.Cov().At(0, 0)), math.Sqrt(square-mean*mean)
	t.Logf("grows %.3f, summed %.3f, one normal %.3f; sd %.3f, summed %.3f", s.Growth(0), grown, plain, sd,
		exact)
	if math.Abs(s.Growth(0)/grown-1) > 0.06 || plain/grown < 1.2 {
		t.Errorf("grows %.3f, summed %.3f, one normal %.3f", s.Growth(0), grown, plain)
	}
	if math.Abs(sd/exact-1) > 0.1 {
		t.Errorf("sd %.3f, summed %.3f", sd, exact)
	}
}
