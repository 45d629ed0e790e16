package fit

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"
)

const (
	hessianStep = 0.15 // of log sds: wide enough to smooth the criterion
	mostRounds  = 200
)

// Minimum is where the objective is least.
type Minimum struct {
	*Solution
	Evaluations int
}

// Minimise searches from start (nil: the Start of each parameter) inside the box, by BFGS
// with the exact gradient until no step of it would be over tol.
func (m *Model) Minimise(start []float64, tol float64) (Minimum, error) {
	n := len(m.Params)
	x := make([]float64, n)
	for i, p := range m.Params {
		x[i] = p.Start
		if start != nil {
			x[i] = start[i]
		}
		x[i] = min(max(x[i], p.Low), p.High)
	}
	s, err := m.At(x)
	if err != nil {
		return Minimum{}, err
	}
	out := Minimum{s, 1}
	g := s.Gradient()
	h := m.firstInverse()
	for round := 0; n > 0 && round < mostRounds; round++ {
		step := m.direction(x, g, h)
		if norm(step) < tol {
			break
		}
		next, evals := m.search(out.Solution, x, step, g)
		out.Evaluations += evals
		if next == nil {
			if round > 0 && isFirst(h, m.firstInverse()) {
				break // even the plain gradient leads nowhere: at the bottom, to rounding
			}
			h = m.firstInverse()
			if round == 0 {
				break
			}
			continue
		}
		gNew := next.Gradient()
		update(h, x, next.Theta, g, gNew)
		moved := 0.0
		for i := range x {
			moved = max(moved, math.Abs(next.Theta[i]-x[i]))
		}
		x, g, out.Solution = next.Theta, gNew, next
		if moved < tol {
			break
		}
	}
	return out, nil
}

// firstInverse is a guess of the inverse Hessian: that of the priors where there are any.
func (m *Model) firstInverse() *mat.SymDense {
	h := mat.NewSymDense(max(len(m.Params), 1), nil)
	for i, p := range m.Params {
		h.SetSym(i, i, 0.05)
		if p.Spread > 0 {
			h.SetSym(i, i, p.Spread*p.Spread/8)
		}
	}
	return h
}

func isFirst(a, b *mat.SymDense) bool { return mat.Equal(a, b) }

// direction is -H g, held at the walls of the box and to at most 1 in any direction.
func (m *Model) direction(x, g []float64, h *mat.SymDense) []float64 {
	n := len(x)
	held := make([]bool, n)
	for i, p := range m.Params {
		held[i] = x[i] <= p.Low && g[i] > 0 || x[i] >= p.High && g[i] < 0
	}
	d := make([]float64, n)
	longest := 0.0
	for i := range d {
		if held[i] {
			continue
		}
		for j := range d {
			if !held[j] {
				d[i] -= h.At(i, j) * g[j]
			}
		}
		longest = max(longest, math.Abs(d[i]))
	}
	if longest > 1 {
		for i := range d {
			d[i] /= longest
		}
	}
	return d
}

// search halves the step until the objective falls enough (Armijo). It is nil if it never
// does.
func (m *Model) search(from *Solution, x, step, g []float64) (*Solution, int) {
	slope := 0.0
	for i := range g {
		slope += g[i] * step[i]
	}
	if !(slope < 0) {
		return nil, 0
	}
	for try, f := 1, 1.0; try <= 30; try, f = try+1, f/2 {
		at := make([]float64, len(x))
		for i, p := range m.Params {
			at[i] = min(max(x[i]+f*step[i], p.Low), p.High)
		}
		s, err := m.factor(at)
		if err == nil && s.Objective <= from.Objective+1e-4*f*slope+1e-13*math.Abs(from.Objective) {
			s.invert()
			return s, try
		}
	}
	return nil, 30
}

// update is the BFGS update of the inverse Hessian (Nocedal and Wright, Numerical
// Optimization, 2nd ed., eq. 6.17).
func update(h *mat.SymDense, x0, x1, g0, g1 []float64) {
	n := len(x0)
	s, y := make([]float64, n), make([]float64, n)
	sy := 0.0
	for i := range s {
		s[i], y[i] = x1[i]-x0[i], g1[i]-g0[i]
		sy += s[i] * y[i]
	}
	if !(sy > 1e-14*norm(s)*norm(y)) {
		return
	}
	hy := make([]float64, n)
	yhy := 0.0
	for i := range hy {
		for j := range y {
			hy[i] += h.At(i, j) * y[j]
		}
		yhy += y[i] * hy[i]
	}
	for i := 0; i < n; i++ {
		for j := i; j < n; j++ {
			h.SetSym(i, j, h.At(i, j)+(1+yhy/sy)*s[i]*s[j]/sy-(hy[i]*s[j]+s[i]*hy[j])/sy)
		}
	}
}

func norm(v []float64) float64 {
	sum := 0.0
	for _, x := range v {
		sum += x * x
	}
	return math.Sqrt(sum)
}

// Curvature is half the Hessian of the objective at theta, from central differences of the
// gradient: the inverse covariance of theta.
func (m *Model) Curvature(theta []float64, step float64) (*mat.SymDense, error) {
	n := len(theta)
	h := mat.NewDense(n, n, nil)
	for i := range theta {
		var g [2][]float64
		for side, d := range []float64{step, -step} {
			at := append([]float64(nil), theta...)
			at[i] += d
			s, err := m.At(at)
			if err != nil {
				return nil, fmt.Errorf("curvature: %w", err)
			}
			g[side] = s.Gradient()
		}
		for j := range theta {
			h.Set(i, j, (g[0][j]-g[1][j])/(4*step))
		}
	}
	out := mat.NewSymDense(n, nil)
	for i := 0; i < n; i++ {
		for j := i; j < n; j++ {
			out.SetSym(i, j, (h.At(i, j)+h.At(j, i))/2)
		}
	}
	return out, nil
}

// Floor lifts the eigenvalues of h to at least low and gives the inverse.
func Floor(h *mat.SymDense, low float64) (*mat.SymDense, error) {
	n := h.SymmetricDim()
	var e mat.EigenSym
	if !e.Factorize(h, true) {
		return nil, fmt.Errorf("the curvature has no eigenvalues: it is not finite")
	}
	var v mat.Dense
	e.VectorsTo(&v)
	out := mat.NewSymDense(n, nil)
	for k, l := range e.Values(nil) {
		out.SymRankOne(out, 1/max(l, low), v.ColView(k))
	}
	return out, nil
}
