package mixedmodel

import (
	"context"
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"
)

// Skewed is the doubt of theta where it reaches further to one side than to the other: theta - mode is L x
// with L the Cholesky factor of its covariance by curvature, and each x half a normal to either side of 0,
// of its own sd. A variance that the readings can hardly tell from none may be much smaller than its mode,
// but not much larger.
type Skewed struct {
	axes      [][]float64 // columns of L
	low, high []float64   // sds of x to either side
}

// Skew looks how fast the objective rises to either side of theta along each x, at the square root of two
// sds (as Rue, Martino and Chopin, J. R. Stat. Soc. B 71, 2009, 319-392, look at a posterior of
// hyperparameters along its axes; the place from memory). cov is the covariance of theta by its curvature
// there. No side is taken as more than twice or less than half as wide as the curvature says; they are
// rounded to 0.001, above the rounding of the objective.
func (m *Model) Skew(ctx context.Context, theta []float64, objective float64, cov *mat.SymDense) (Skewed,
	error) {
	var chol mat.Cholesky
	if !chol.Factorize(cov) {
		return Skewed{}, fmt.Errorf("skewness: the covariance of the sds is not positive")
	}
	var l mat.TriDense
	chol.LTo(&l)
	var out Skewed
	for k := range theta {
		axis := mat.Col(nil, k, &l)
		var sides [2]float64
		for i, way := range []float64{-1, 1} {
			at := make([]float64, len(theta))
			for j := range at {
				at[j] = theta[j] + way*math.Sqrt2*axis[j]
			}
			s, err := m.factor(ctx, at)
			if err != nil {
				return Skewed{}, fmt.Errorf("skewness: %w", err)
			}
			rise := s.Objective - objective // 2 for a normal
			m.release(s)
			sides[i] = math.Round(1e3*min(max(math.Sqrt(2/max(rise, 1e-9)), 0.5), 2)) / 1e3
		}
		out.axes, out.low, out.high = append(out.axes, axis), append(out.low, sides[0]), append(out.high,
			sides[1])
	}
	m.spare = nil
	return out, nil
}

// Cov is the covariance of theta.
func (s Skewed) Cov() *mat.SymDense {
	out := mat.NewSymDense(len(s.axes), nil)
	for k, axis := range s.axes {
		apart := s.high[k] - s.low[k]
		out.SymRankOne(out, (1-2/math.Pi)*apart*apart+s.high[k]*s.low[k], mat.NewVecDense(len(axis), axis))
	}
	return out
}

// Growth is the mean of the square of the sd of parameter i over that at the mode.
func (s Skewed) Growth(i int) float64 {
	all := 1.0
	for k, axis := range s.axes {
		a, b, t := s.low[k], s.high[k], 2*axis[i]
		// over half a normal
		half := func(x float64) float64 { return math.Exp(x*x/2) * math.Erfc(-x/math.Sqrt2) }
		all *= (a*half(-t*a) + b*half(t*b)) / (a + b)
	}
	return all
}
