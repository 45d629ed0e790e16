package mixedmodel

import (
	"context"
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"
)

const (
	mostRounds   = 200
	mostPolish   = 40
	mostHalvings = 12
	fallLost     = 1e-10 // of the objective
)

// Minimum is where the objective is least.
type Minimum struct {
	*Solution
	// how often the model was solved on the way
	Evaluations int
}

// Minimise searches from start (nil: the Start of each parameter) inside the box, by BFGS
// with the exact gradient, until the next step promises a fall that would drown in the
// rounding of the objective. Polish goes on from there. h is a guess of the inverse Hessian
// (nil: from the priors).
func (m *Model) Minimise(ctx context.Context, start []float64, h *mat.SymDense) (Minimum, error) {
	n := len(m.Params)
	x := make([]float64, n)
	for i, p := range m.Params {
		x[i] = p.Start
		if start != nil {
			x[i] = start[i]
		}
		x[i] = min(max(x[i], p.Low), p.High)
	}
	s, err := m.At(ctx, x)
	if err != nil {
		return Minimum{}, err
	}
	plain := h == nil
	if plain {
		h = m.firstInverse()
	} else {
		h = mat.NewSymDense(n, append([]float64(nil), h.RawSymmetric().Data...))
	}
	out := Minimum{s, 1}
	g, err := s.Gradient(ctx)
	if err != nil {
		return Minimum{}, err
	}
	for round := 0; n > 0 && round < mostRounds; round++ {
		// a quasi-Newton step, and what it promises at first order
		step := m.direction(x, g, h)
		fall := 0.0
		for i := range g {
			fall -= g[i] * step[i]
		}
		if !(fall > fallLost*(1+math.Abs(out.Objective))) {
			break
		}
		next, evals, err := m.search(ctx, out.Solution, x, step, fall)
		if err != nil {
			return Minimum{}, err
		}
		out.Evaluations += evals
		// no fall along it: once more along the plain gradient
		if next == nil {
			if plain {
				break // even the plain gradient leads nowhere
			}
			h, plain = m.firstInverse(), true
			continue
		}
		gNew, err := next.Gradient(ctx)
		if err != nil {
			return Minimum{}, err
		}
		// what the step tells of the curvature
		if update(h, x, next.Theta, g, gNew) {
			plain = false
		}
		m.release(out.Solution)
		x, g, out.Solution = next.Theta, gNew, next
	}
	return out, nil
}

// Polish takes quasi-Newton steps from a point near the minimum, beginning with an inverse
// Hessian, until a step is shorter than tol. The gradient alone judges, so it comes closer
// than the rounding of the objective would allow.
func (m *Model) Polish(ctx context.Context, from Minimum, inverse *mat.SymDense,
	tol float64) (Minimum, error) {
	n := len(m.Params)
	if n == 0 {
		return from, nil
	}
	h := mat.NewSymDense(n, append([]float64(nil), inverse.RawSymmetric().Data...))
	g, err := from.Gradient(ctx)
	if err != nil {
		return Minimum{}, err
	}
	out := from
	shortest := math.Inf(1)
	for round := 0; round < mostPolish; round++ {
		step := m.direction(out.Theta, g, h)
		length := norm(step)
		if length < tol || length > 10*shortest {
			break
		}
		shortest = min(shortest, length)
		s, err := m.At(ctx, m.within(out.Theta, step, 1))
		if err != nil {
			return Minimum{}, err
		}
		gNew, err := s.Gradient(ctx)
		if err != nil {
			return Minimum{}, err
		}
		update(h, out.Theta, s.Theta, g, gNew)
		m.release(out.Solution)
		g, out = gNew, Minimum{s, out.Evaluations + 1}
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

// free is the gradient g at x without what pushes against the walls of the box.
func (m *Model) free(x, g []float64) []float64 {
	out := make([]float64, len(g))
	for i, p := range m.Params {
		if !(x[i] <= p.Low && g[i] > 0 || x[i] >= p.High && g[i] < 0) {
			out[i] = g[i]
		}
	}
	return out
}

// direction is -H g, held at the walls of the box and to at most 1 in any direction.
func (m *Model) direction(x, g []float64, h *mat.SymDense) []float64 {
	g = m.free(x, g)
	d := make([]float64, len(x))
	longest := 0.0
	for i := range d {
		if g[i] == 0 {
			continue
		}
		for j := range d {
			d[i] -= h.At(i, j) * g[j]
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

// search halves the step until the objective falls enough (Armijo); fall is what the whole
// step promises at first order. It is nil if it never does.
func (m *Model) search(ctx context.Context, from *Solution, x, step []float64, fall float64) (*Solution,
	int, error) {
	for try, f := 1, 1.0; try <= mostHalvings; try, f = try+1, f/2 {
		s, err := m.factor(ctx, m.within(x, step, f))
		if ctx.Err() != nil {
			return nil, try, context.Cause(ctx)
		}
		if err == nil && s.Objective <= from.Objective-1e-4*f*fall {
			s.invert()
			return s, try, nil
		}
		m.release(s)
	}
	return nil, mostHalvings, nil
}

// within is x + f step, kept in the box.
func (m *Model) within(x, step []float64, f float64) []float64 {
	at := make([]float64, len(x))
	for i, p := range m.Params {
		at[i] = min(max(x[i]+f*step[i], p.Low), p.High)
	}
	return at
}

// update is the BFGS update of the inverse Hessian (Nocedal and Wright, Numerical
// Optimization, 2nd ed., eq. 6.17). It is false where the step shows no curvature.
func update(h *mat.SymDense, x0, x1, g0, g1 []float64) bool {
	n := len(x0)
	s, y := make([]float64, n), make([]float64, n)
	sy := 0.0
	for i := range s {
		s[i], y[i] = x1[i]-x0[i], g1[i]-g0[i]
		sy += s[i] * y[i]
	}
	if !(sy > 1e-14*norm(s)*norm(y)) {
		return false
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
	return true
}

// norm is the length of v.
func norm(v []float64) float64 {
	sum := 0.0
	for _, x := range v {
		sum += x * x
	}
	return math.Sqrt(sum)
}

// Curvature is half the Hessian of the objective at theta, from central differences of the
// gradient: the inverse covariance of theta.
func (m *Model) Curvature(ctx context.Context, theta []float64, step float64) (*mat.SymDense, error) {
	n := len(theta)
	h := mat.NewDense(n, n, nil)
	for i := range theta {
		var g [2][]float64
		for side, d := range []float64{step, -step} {
			at := append([]float64(nil), theta...)
			at[i] += d
			s, err := m.At(ctx, at)
			if err != nil {
				return nil, fmt.Errorf("curvature: %w", err)
			}
			if g[side], err = s.Gradient(ctx); err != nil {
				return nil, err
			}
			m.release(s)
		}
		for j := range theta {
			h.Set(i, j, (g[0][j]-g[1][j])/(4*step))
		}
	}
	m.spare = nil
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
