package mixedmodel

import (
	"context"
	"math"
)

// Gradient is the slope of the objective in theta, worked out, not differenced. With
// N = I - C - v v' over a group's unit coefficients and M as below,
//
//	d/d theta = 2 tr(N T^-1 dT) over the groups + sum_b tr(M_b dV_b)
//	M = N P - N P Z C Z'P - N (P r)(P r)' - P S P,  r = y - Z u
//
// (Searle, Casella, McCulloch, Variance Components, 1992, section 6.6, gives tr(P dV) -
// y'P dV P y for the whole; here it is split over blocks.)
func (s *Solution) Gradient(ctx context.Context) ([]float64, error) {
	m := s.model
	_, out := m.penalty(s.Theta)
	c := s.corners()
	s.scale.groups(func(first, n int) {
		nm := make([]float64, n*n)
		for i := 0; i < n; i++ {
			for j := 0; j < n; j++ {
				nm[i*n+j] = -s.element(first+i, first+j, c) - s.unit(first+i)*s.unit(first+j)
			}
			nm[i*n+i]++
		}
		// tr(N T^-1 dT) = sum over (row, col) of dT[row][col] (N T^-1)[col][row]
		nt := make([]float64, n*n) // X T = N, T lower: from the last column back
		for r := 0; r < n; r++ {
			for j := n - 1; j >= 0; j-- {
				sum := nm[r*n+j]
				for k := j + 1; k < n; k++ {
					sum -= nt[r*n+k] * s.scale.entry(first+k, j)
				}
				if sd := s.scale.sd[first+j]; sd > 0 {
					nt[r*n+j] = sum / sd
				}
			}
		}
		s.scale.slopes(first, n, func(param, row, col int, d float64) {
			out[param] += 2 * d * nt[col*n+row]
		})
	})
	var t traces
	for i, b := range m.Blocks {
		if ctx.Err() != nil {
			return nil, context.Cause(ctx)
		}
		t.matrix(s, b, &s.rows[i], c)
		for _, part := range b.Noise {
			if part.Param > 0 {
				out[part.Param-1] += 2 * math.Exp(2*s.Theta[part.Param-1]) * part.trace(t.m, len(b.Y),
					b.Weight)
			}
		}
		b.repeatedSlope(s.Theta, out)
	}
	return out, nil
}

// trace is tr(M B) of one part of the noise.
func (n Noise) trace(m []float64, k int, weight []float64) float64 {
	sum := 0.0
	for i, d := range n.Diag {
		if weight != nil {
			d /= weight[i]
		}
		sum += d * m[i*k+i]
	}
	for _, v := range n.Vectors {
		for i, vi := range v {
			if vi == 0 {
				continue
			}
			for j, vj := range v {
				sum += vi * vj * m[i*k+j]
			}
		}
	}
	return sum
}

// corner is a lone column's part of C: beside the dense columns that it meets, and its own.
type corner struct {
	side []float64
	own  float64
}

// corners are those of the lone columns, from what their elimination left.
func (s *Solution) corners() []corner {
	out := make([]corner, len(s.alone))
	for i := range s.alone {
		e := &s.alone[i]
		with := s.model.lay.lone[i].with
		side := make([]float64, len(with))
		for x, p := range with {
			row := s.c[p*s.q : (p+1)*s.q]
			f := e.a[x] / e.d
			for y, o := range with {
				side[y] -= f * row[o]
			}
		}
		own := 1 / e.d
		for x := range with {
			own -= e.a[x] / e.d * side[x]
		}
		out[i] = corner{side, own}
	}
	return out
}

// element is C at two columns of one group.
func (s *Solution) element(i, j int, c []corner) float64 {
	p, r := s.model.lay.place[i], s.model.lay.place[j]
	if p < 0 { // a lone column is a group of its own
		return c[^p].own
	}
	return s.c[p*s.q+r]
}

// traces is memory for M of one block after another.
type traces struct{ m, r, pr, cz []float64 }

// matrix works out M of one block.
func (t *traces) matrix(s *Solution, b *Block, o *swept, c []corner) {
	k, n, q := len(b.Y), len(b.Cols), s.q
	t.r = grown(t.r, k)
	copy(t.r, b.Y)
	for x, col := range b.Cols {
		if v := s.unit(col); v != 0 {
			for i := 0; i < k; i++ {
				t.r[i] -= o.zs[i*n+x] * v
			}
		}
	}
	t.pr = grown(t.pr, k)
	for i := 0; i < k; i++ {
		for j := 0; j < k; j++ {
			t.pr[i] += o.p[i*k+j] * t.r[j]
		}
	}
	t.cz = grown(t.cz, n*k) // C (P Z)'
	for x, p := range b.at {
		row := t.cz[x*k : (x+1)*k]
		for y, r := range b.at {
			var cxy float64
			switch {
			case p >= 0 && r >= 0:
				cxy = s.c[p*q+r]
			case p < 0 && r < 0:
				cxy = c[b.lone].own
			case p < 0:
				cxy = c[b.lone].side[b.spot[y]]
			default:
				cxy = c[b.lone].side[b.spot[x]]
			}
			for i := range row {
				row[i] += cxy * o.pz[i*n+y]
			}
		}
	}
	t.m = grown(t.m, k*k)
	for i := 0; i < k; i++ {
		for j := 0; j <= i; j++ {
			sum := o.p[i*k+j] - t.pr[i]*t.pr[j]
			for x := 0; x < n; x++ {
				sum -= o.pz[i*n+x] * t.cz[x*k+j]
			}
			sum *= b.N
			if b.Scatter != nil {
				for a := 0; a < k; a++ {
					for d := 0; d < k; d++ {
						sum -= o.p[i*k+a] * b.Scatter[a*k+d] * o.p[d*k+j]
					}
				}
			}
			t.m[i*k+j], t.m[j*k+i] = sum, sum
		}
	}
}
