package mixedmodel

import (
	"context"
	"errors"
	"math"

	"gonum.org/v1/gonum/blas"
	"gonum.org/v1/gonum/blas/blas64"
	"gonum.org/v1/gonum/lapack/lapack64"
)

// ErrFlat: the readings leave a flat column, or a combination of flat columns, without any
// hold, so that it has no estimate.
var ErrFlat = errors.New("a column without a prior cannot be told from the others")

// Solution is a Model solved at one theta. It is not changed once made.
type Solution struct {
	Theta     []float64 // at which it was solved; not to be changed
	Criterion float64   // -2 ln restricted likelihood, without (n - p) ln 2 pi
	Objective float64   // Criterion and the penalty of the priors on theta

	model  *Model
	scale  *scale
	rows   []swept
	memory []float64 // that rows lie in
	q      int
	c      []float64 // C of the dense part, q x q, full; A^-1 there
	v      []float64 // unit coefficients of the dense part
	alone  []single
}

// single is a lone column's row of A: diagonal d, the rest in a, its right side in rhs.
type single struct {
	d, rhs, v float64
	a         []float64 // over layout.lone[i].with
}

// At solves m at theta. When ctx ends it gives the cause within the work of one block and of one
// factorisation of the dense part.
func (m *Model) At(ctx context.Context, theta []float64) (*Solution, error) {
	s, err := m.factor(ctx, theta)
	if err != nil {
		return nil, err
	}
	s.invert()
	return s, nil
}

// factor goes as far as the objective needs; invert does the rest.
func (m *Model) factor(ctx context.Context, theta []float64) (*Solution, error) {
	if err := m.prepare(); err != nil {
		return nil, err
	}
	s := m.room()
	q := s.q
	s.Theta, s.scale = theta, newScale(m.Columns, theta)
	sum, err := s.accumulate(ctx)
	if err != nil {
		return nil, err
	}
	// the lone columns first: each takes its part off the dense ones that it meets
	for i := range s.alone {
		e := &s.alone[i]
		if !(e.d > 0) {
			return nil, ErrFlat
		}
		sum += math.Log(e.d) - e.rhs*e.rhs/e.d
		with := m.lay.lone[i].with
		for x, p := range with {
			f := e.a[x] / e.d
			if f == 0 {
				continue
			}
			for y := x; y < len(with); y++ {
				s.c[p*q+with[y]] -= f * e.a[y]
			}
			s.v[p] -= f * e.rhs
		}
	}
	// then the dense part by Cholesky
	if q > 0 {
		if _, ok := lapack64.Potrf(s.symmetric()); !ok {
			return nil, ErrFlat
		}
		u := s.triangle()
		for i := 0; i < q; i++ {
			sum += 2 * math.Log(s.c[i*q+i])
		}
		blas64.Trsv(blas.Trans, u, blas64.Vector{N: q, Inc: 1, Data: s.v})
		for _, x := range s.v {
			sum -= x * x
		}
	}
	if !finite(sum) {
		return nil, ErrFlat
	}
	s.Criterion = sum
	penalty, _ := m.penalty(theta)
	s.Objective = sum + penalty
	return s, nil
}

// symmetric is the dense part of A, upper half.
func (s *Solution) symmetric() blas64.Symmetric {
	return blas64.Symmetric{N: s.q, Stride: s.q, Data: s.c, Uplo: blas.Upper}
}

// triangle is its Cholesky factor, once factorised.
func (s *Solution) triangle() blas64.Triangular {
	return blas64.Triangular{N: s.q, Stride: s.q, Data: s.c, Uplo: blas.Upper, Diag: blas.NonUnit}
}

// accumulate fills A (dense part in c, upper half; lone rows in alone) and the right side,
// and gives the part of the criterion that does not need A.
func (s *Solution) accumulate(ctx context.Context) (sum float64, err error) {
	m, q := s.model, s.q
	for p, col := range m.lay.dense {
		if !m.Columns[col].Flat {
			s.c[p*q+p] = 1
		}
	}
	s.alone = make([]single, len(m.lay.lone))
	for i, w := range m.lay.lone {
		s.alone[i].a = make([]float64, len(w.with))
		if !m.Columns[w.col].Flat {
			s.alone[i].d = 1
		}
	}
	var t scratch
	for i, b := range m.Blocks {
		if ctx.Err() != nil {
			return 0, context.Cause(ctx)
		}
		o := &s.rows[i]
		if err := b.sweep(s.Theta, s.scale, &t, o); err != nil {
			return 0, err
		}
		sum += b.N*o.logDet + s.add(b, o, 1) + b.repeated(s.Theta)
	}
	return sum, nil
}

// add puts sign times the worth of a block into A and the right side, and gives its y'Py.
func (s *Solution) add(b *Block, o *swept, sign float64) (yPy float64) {
	k, n, q := len(b.Y), len(b.Cols), s.q
	w := sign * b.N
	for i := 0; i < k; i++ {
		for j := 0; j < k; j++ {
			yPy += w * b.Y[i] * o.p[i*k+j] * b.Y[j]
			if b.Scatter != nil {
				yPy += sign * o.p[i*k+j] * b.Scatter[i*k+j]
			}
		}
		zs, pz := o.zs[i*n:(i+1)*n], o.pz[i*n:(i+1)*n]
		for x, p := range b.at {
			f := w * zs[x]
			rhs := w * pz[x] * b.Y[i]
			if p < 0 {
				s.alone[b.lone].rhs += rhs
			} else {
				s.v[p] += rhs
			}
			if f == 0 {
				continue
			}
			switch {
			case p >= 0:
				row := s.c[p*q : (p+1)*q]
				for y, r := range b.at[x:] {
					if r >= 0 {
						row[r] += f * pz[x+y]
					}
				}
			default:
				e := &s.alone[b.lone]
				for y, p := range b.at {
					if p >= 0 {
						e.a[b.spot[y]] += f * pz[y]
					} else {
						e.d += f * pz[y]
					}
				}
			}
		}
	}
	return yPy
}

// invert finishes: v, and C of the dense part, both halves.
func (s *Solution) invert() {
	q := s.q
	if q > 0 {
		u := s.triangle()
		blas64.Trsv(blas.NoTrans, u, blas64.Vector{N: q, Inc: 1, Data: s.v})
		lapack64.Potri(u)
		for i := 0; i < q; i++ {
			for j := 0; j < i; j++ {
				s.c[i*q+j] = s.c[j*q+i]
			}
		}
	}
	s.solveAlone()
}

// solveAlone works out the lone coefficients from the dense ones.
func (s *Solution) solveAlone() {
	for i := range s.alone {
		e := &s.alone[i]
		sum := e.rhs
		for x, p := range s.model.lay.lone[i].with {
			sum -= e.a[x] * s.v[p]
		}
		e.v = sum / e.d
	}
}
