package mixedmodel

import "math"

// scale is T: what turns unit coefficients v into u = T v at one theta.
type scale struct {
	columns []Column
	theta   []float64
	sd      []float64 // of each column, given those before it in its group
	tied    bool      // some column has ties
}

// newScale is T at theta.
func newScale(columns []Column, theta []float64) *scale {
	s := &scale{columns: columns, theta: theta, sd: make([]float64, len(columns))}
	for j, c := range columns {
		s.sd[j] = 1
		if c.SD > 0 {
			s.sd[j] = math.Exp(theta[c.SD-1])
			if c.Extra > 0 {
				s.sd[j] = math.Hypot(s.sd[j], c.Extra)
			}
		}
		s.tied = s.tied || len(c.Below) > 0
	}
	return s
}

// rows writes Z T of b into out, which holds zeros.
func (s *scale) rows(b *Block, out []float64) {
	n := len(b.Cols)
	for c, col := range b.Cols {
		sd := s.sd[col]
		for i := range b.Y {
			out[i*n+c] += b.Z[i*n+c] * sd
		}
		for l, p := range s.columns[col].Below {
			to := c - len(s.columns[col].Below) + l
			f := sd * s.theta[p]
			for i := range b.Y {
				out[i*n+to] += b.Z[i*n+c] * f
			}
		}
	}
}

// vector is T'z for one sparse row z; columns of a group must all be there.
func (s *scale) vector(z Row) Row {
	out := Row{Cols: z.Cols, Vals: make([]float64, len(z.Vals))}
	for c, col := range z.Cols {
		out.Vals[c] += z.Vals[c] * s.sd[col]
		for l, p := range s.columns[col].Below {
			out.Vals[c-len(s.columns[col].Below)+l] += z.Vals[c] * s.sd[col] * s.theta[p]
		}
	}
	return out
}

// Row is a sparse row over the columns, in rising order of columns.
type Row struct {
	// rising
	Cols []int
	// one a column
	Vals []float64
}

// group is the columns of the group of column c up to it, and pick the row that is 1 at c:
// a row over them that T can scale.
func (s *scale) group(c int) []int {
	out := make([]int, len(s.columns[c].Below)+1)
	for i := range out {
		out[i] = c - len(out) + 1 + i
	}
	return out
}

// pick is the row over group(c) that is 1 at c.
func (s *scale) pick(c int) []float64 {
	out := make([]float64, len(s.columns[c].Below)+1)
	out[len(out)-1] = 1
	return out
}

// entry is T at (column j, the i-th column of its group), i at or before j in the group.
func (s *scale) entry(j, i int) float64 {
	below := s.columns[j].Below
	if i == len(below) {
		return s.sd[j]
	}
	return s.sd[j] * s.theta[below[i]]
}

// groups calls f for each group of columns with a theta.
func (s *scale) groups(f func(first, n int)) {
	for j := 0; j < len(s.columns); {
		n := 1
		for j+n < len(s.columns) && len(s.columns[j+n].Below) == n {
			n++
		}
		if s.columns[j].SD > 0 {
			f(j, n)
		}
		j += n
	}
}

// slopes calls f for every non-zero dT[row][col]/d theta[param] of a group.
func (s *scale) slopes(first, n int, f func(param, row, col int, d float64)) {
	for i := 0; i < n; i++ {
		c := s.columns[first+i]
		if c.SD == 0 {
			continue
		}
		sd := s.sd[first+i]
		if sd == 0 {
			continue
		}
		rate := sd // d sd/d theta
		if c.Extra > 0 {
			rate = math.Exp(2*s.theta[c.SD-1]) / sd
		}
		f(c.SD-1, i, i, rate)
		for l, p := range c.Below {
			f(c.SD-1, i, l, rate*s.theta[p])
			f(p, i, l, sd)
		}
	}
}
