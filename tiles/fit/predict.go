package fit

import "math"

// Mean is z'u.
func (s *Solution) Mean(z Row) float64 {
	t := s.scale.vector(z)
	sum := 0.0
	for i, c := range t.Cols {
		sum += t.Vals[i] * s.unit(c)
	}
	return sum
}

// Unit is the coefficient of column c in units of its prior sd (of a flat one: as it is).
func (s *Solution) Unit(c int) float64 { return s.unit(c) }

func (s *Solution) unit(c int) float64 {
	if p := s.model.lay.place[c]; p < 0 {
		return s.alone[^p].v
	} else {
		return s.v[p]
	}
}

// spread is C T'z: over the dense part, and over the lone columns.
type spread struct{ dense, alone []float64 }

func (s *Solution) spread(t Row) spread {
	// A_dd eliminated: (C t)_d = C_dd (t_d - a_j t_j/d_j);  (C t)_j = (t_j - a_j'(C t)_d)/d_j
	type entry struct {
		p int
		v float64
	}
	var load []entry
	own := map[int]float64{}
	for i, c := range t.Cols {
		p := s.model.lay.place[c]
		if p >= 0 {
			load = append(load, entry{p, t.Vals[i]})
			continue
		}
		e := &s.alone[^p]
		own[^p] = t.Vals[i]
		for x, q := range s.model.lay.lone[^p].with {
			load = append(load, entry{q, -e.a[x] * t.Vals[i] / e.d})
		}
	}
	out := spread{make([]float64, s.q), make([]float64, len(s.alone))}
	for _, l := range load {
		if l.v == 0 {
			continue
		}
		for i, c := range s.c[l.p*s.q : (l.p+1)*s.q] {
			out.dense[i] += l.v * c
		}
	}
	for i := range s.alone {
		e := &s.alone[i]
		sum := own[i]
		for x, p := range s.model.lay.lone[i].with {
			sum -= e.a[x] * out.dense[p]
		}
		out.alone[i] = sum / e.d
	}
	return out
}

func (s *Solution) dot(t Row, x spread) float64 {
	sum := 0.0
	for i, c := range t.Cols {
		if p := s.model.lay.place[c]; p < 0 {
			sum += t.Vals[i] * x.alone[^p]
		} else {
			sum += t.Vals[i] * x.dense[p]
		}
	}
	return sum
}

// Cov is the posterior covariance of any rows: out[i][j] = z_i'C z_j.
func (s *Solution) Cov(z ...Row) [][]float64 {
	scaled := make([]Row, len(z))
	for i := range z {
		scaled[i] = s.scale.vector(z[i])
	}
	out := make([][]float64, len(z))
	for i := range z {
		x := s.spread(scaled[i])
		out[i] = make([]float64, len(z))
		for j := range z {
			out[i][j] = s.dot(scaled[j], x)
		}
	}
	return out
}

// Sensitivity is d(z'C z)/d theta, exact.
func (s *Solution) Sensitivity(z Row) []float64 {
	m := s.model
	x := s.spread(s.scale.vector(z))
	at := func(c int) float64 {
		if p := m.lay.place[c]; p < 0 {
			return x.alone[^p]
		} else {
			return x.dense[p]
		}
	}
	out := make([]float64, len(s.Theta))
	// The priors: y'(dT T' + T dT')y with y = T^-T x, group by group.
	s.scale.groups(func(first, n int) {
		y := make([]float64, n)
		for i := n - 1; i >= 0; i-- { // T' y = x, T lower: from the last one back
			sum := at(first + i)
			for j := i + 1; j < n; j++ {
				sum -= s.scale.entry(first+j, i) * y[j]
			}
			if sd := s.scale.sd[first+i]; sd > 0 {
				y[i] = sum / sd
			}
		}
		s.scale.slopes(first, n, func(param, row, col int, d float64) {
			out[param] += 2 * y[row] * d * at(first+col)
		})
	})
	// The noise: (P Z x)'dV(P Z x), block by block.
	var r []float64
	for i, b := range m.Blocks {
		k, n := len(b.Y), len(b.Cols)
		r = grown(r, k)
		for a := 0; a < k; a++ {
			for c, col := range b.Cols {
				r[a] += s.rows[i].pz[a*n+c] * at(col)
			}
		}
		for _, part := range b.Noise {
			if part.Param > 0 {
				out[part.Param-1] += 2 * b.N * math.Exp(2*s.Theta[part.Param-1]) * part.square(r, b.Weight)
			}
		}
	}
	return out
}

// square is r'B r of one part of the noise.
func (n Noise) square(r, weight []float64) float64 {
	sum := 0.0
	for i, d := range n.Diag {
		if weight != nil {
			d /= weight[i]
		}
		sum += d * r[i] * r[i]
	}
	for _, v := range n.Vectors {
		dot := 0.0
		for i := range v {
			dot += v[i] * r[i]
		}
		sum += dot * dot
	}
	return sum
}
