package mixedmodel

import (
	"slices"
	"testing"
)

// The objective falls against the slope: at the lower wall a slope above 0 pushes out of the box, at the
// upper one a slope below 0. All else is free to move.
func TestSlopesAgainstTheWallsAreDropped(t *testing.T) {
	m := &Model{Params: make([]Param, 2)}
	for i := range m.Params {
		m.Params[i].Low, m.Params[i].High = -1, 1
	}
	for name, c := range map[string]struct{ x, g, want []float64 }{
		"inside":          {[]float64{0, 0.5}, []float64{2, -3}, []float64{2, -3}},
		"out at the low":  {[]float64{-1, 0}, []float64{2, 2}, []float64{0, 2}},
		"in from the low": {[]float64{-1, 0}, []float64{-2, 2}, []float64{-2, 2}},
		"out at the high": {[]float64{0, 1}, []float64{-2, -2}, []float64{-2, 0}},
		"in from high":    {[]float64{0, 1}, []float64{-2, 2}, []float64{-2, 2}},
		"beyond":          {[]float64{-1.5, 1.5}, []float64{2, -2}, []float64{0, 0}},
	} {
		if got := m.free(c.x, c.g); !slices.Equal(got, c.want) {
			t.Errorf("%s: %v, want %v", name, got, c.want)
		}
	}
}
