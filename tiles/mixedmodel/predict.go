package mixedmodel

import "slices"

// Blocks are those of the model that was solved; they must not be changed.
func (s *Solution) Blocks() []*Block { return s.model.Blocks }

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

// unit is the coefficient of a column in units of its prior sd.
func (s *Solution) unit(c int) float64 {
	if p := s.model.lay.place[c]; p < 0 {
		return s.alone[^p].v
	} else {
		return s.v[p]
	}
}

// spread is C T'z: over the dense part, and over the lone columns.
type spread struct{ dense, alone []float64 }

// spread is C t for a row in unit coefficients, by way of the dense part.
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

// dot is t'x.
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
func (s *Solution) Sensitivity(z Row) []float64 { return s.Slopes(z.Cols).Of(z) }

// Slopes are the derivatives in theta of C over a few columns, so that d(z'C z)/d theta of
// any row over them is cheap.
type Slopes struct {
	cols []int
	d    [][]float64 // of each theta: n x n
}

// Of is d(z'C z)/d theta; z must lie within the columns.
func (g Slopes) Of(z Row) []float64 {
	n := len(g.cols)
	at := make([]int, len(z.Cols))
	for i, c := range z.Cols {
		at[i], _ = slices.BinarySearch(g.cols, c)
	}
	out := make([]float64, len(g.d))
	for k, d := range g.d {
		for i, x := range z.Vals {
			for j, y := range z.Vals {
				out[k] += x * d[at[i]*n+at[j]] * y
			}
		}
	}
	return out
}

// Slopes of C over columns, given in rising order. With X = C over those columns,
// dC = -X'dA X: the priors give y'(dT T' + T dT')y with y = T^-T x, the noise
// (P Z x)'dV(P Z x) from each block.
func (s *Solution) Slopes(cols []int) Slopes {
	m, n := s.model, len(cols)
	out := Slopes{cols: cols, d: make([][]float64, len(s.Theta))}
	for k := range out.d {
		out.d[k] = make([]float64, n*n)
	}
	x := make([]float64, len(m.Columns)*n) // C T' e_i, column by column
	for i, c := range cols {
		sp := s.spread(s.scale.vector(Row{s.scale.group(c), s.scale.pick(c)}))
		for col, p := range m.lay.place {
			if p < 0 {
				x[col*n+i] = sp.alone[^p]
			} else {
				x[col*n+i] = sp.dense[p]
			}
		}
	}
	// by the priors of the columns
	s.scale.groups(func(first, size int) {
		y := make([]float64, size*n)
		for i := size - 1; i >= 0; i-- { // T'y = x, T lower: from the last one back
			for e := 0; e < n; e++ {
				sum := x[(first+i)*n+e]
				for j := i + 1; j < size; j++ {
					sum -= s.scale.entry(first+j, i) * y[j*n+e]
				}
				if sd := s.scale.sd[first+i]; sd > 0 {
					y[i*n+e] = sum / sd
				}
			}
		}
		s.scale.slopes(first, size, func(param, row, col int, d float64) {
			yr, xc := y[row*n:(row+1)*n], x[(first+col)*n:(first+col+1)*n]
			for e := range yr {
				for g := range yr {
					out.d[param][e*n+g] += d * (yr[e]*xc[g] + yr[g]*xc[e])
				}
			}
		})
	})
	// by the noise of each block
	var r []float64
	for i, b := range m.Blocks {
		k, w := len(b.Y), len(b.Cols)
		r = grown(r, k*n)
		for a := 0; a < k; a++ {
			row := r[a*n : (a+1)*n]
			for c, v := range s.rows[i].pz[a*w : (a+1)*w] {
				if v != 0 {
					for e, xe := range x[b.Cols[c]*n : (b.Cols[c]+1)*n] {
						row[e] += v * xe
					}
				}
			}
		}
		for _, part := range b.Noise {
			if part.Param > 0 {
				part.squares(r, n, b.Weight, 2*b.N*part.factor(s.Theta), out.d[part.Param-1])
			}
		}
	}
	return out
}

// squares adds f R'B R of one part of the noise to out, R being k x n.
func (p Noise) squares(r []float64, n int, weight []float64, f float64, out []float64) {
	add := func(v []float64, f float64) {
		for e, x := range v {
			if x == 0 {
				continue
			}
			row := out[e*n : (e+1)*n]
			for g, y := range v {
				row[g] += f * x * y
			}
		}
	}
	for i, d := range p.Diag {
		if weight != nil {
			d /= weight[i]
		}
		add(r[i*n:(i+1)*n], f*d)
	}
	for _, v := range p.Vectors {
		sum := make([]float64, n)
		for i, x := range v {
			if x != 0 {
				for e := range sum {
					sum[e] += x * r[i*n+e]
				}
			}
		}
		add(sum, f)
	}
}
