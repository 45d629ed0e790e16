package mixedmodel

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
)

// ErrAnew: the change is not one that can be worked in; solve the model anew.
var ErrAnew = errors.New("the change needs the model solved anew")

const leastLeft = 1e-8 // of a variance: less left after taking a reading out is rounding

// Change is how readings moved since a solution was made, at the same theta.
type Change struct {
	Columns []Column // new ones, behind those there are
	Take    []*Block // blocks that are there no more, one unit each
	Give    []*Block // blocks that are new, one unit each
	Blocks  []*Block // the blocks as they are now
}

// With is s after a change, by one rank-one update for each degree of freedom of the blocks
// taken and given: what solving anew at the same theta would give, to rounding. s is not
// changed. Criterion and Objective are NaN in the answer. It is ErrAnew where two lone
// columns would meet, or too little is left of a variance.
func (s *Solution) With(c Change) (*Solution, error) {
	m := *s.model
	m.spare = nil
	m.Columns = append(slices.Clone(s.model.Columns), c.Columns...)
	m.Blocks = c.Blocks
	for _, list := range [][]*Block{c.Take, c.Give} {
		if err := (&Model{Columns: m.Columns, Blocks: list}).check(); err != nil {
			return nil, err
		}
	}
	out := &Solution{Theta: s.Theta, Criterion: math.NaN(), Objective: math.NaN(), model: &m,
		scale: newScale(m.Columns, s.Theta)}
	out.grow(s, len(c.Columns))
	for _, list := range [][]*Block{c.Take, c.Give} {
		for _, b := range list {
			if err := out.meet(b); err != nil {
				return nil, err
			}
		}
	}
	for _, b := range c.Give { // first, so that there is something to take from
		if err := out.work(b, 1); err != nil {
			return nil, err
		}
	}
	for _, b := range c.Take {
		if err := out.work(b, -1); err != nil {
			return nil, err
		}
	}
	return out, out.settle(s)
}

// grow copies s and puts new columns behind its dense ones.
func (out *Solution) grow(s *Solution, more int) {
	l := &layout{place: slices.Clone(s.model.lay.place), dense: slices.Clone(s.model.lay.dense),
		lone: slices.Clone(s.model.lay.lone)}
	q := s.q + more
	out.q, out.c, out.v = q, make([]float64, q*q), make([]float64, q)
	copy(out.v, s.v)
	for i := 0; i < s.q; i++ {
		copy(out.c[i*q:], s.c[i*s.q:(i+1)*s.q])
	}
	for i := 0; i < more; i++ {
		col := len(s.model.Columns) + i
		l.place = append(l.place, len(l.dense))
		l.dense = append(l.dense, col)
		out.c[(s.q+i)*q+s.q+i] = 1
	}
	out.alone = slices.Clone(s.alone)
	for i := range out.alone {
		out.alone[i].a = slices.Clone(s.alone[i].a)
	}
	out.model.lay = l
}

// meet sees that the lone column of b knows the dense ones that b touches.
func (s *Solution) meet(b *Block) error {
	l := s.model.lay
	l.locate(b)
	if b.lone < 0 {
		return nil
	}
	w := &l.lone[b.lone]
	for i, p := range b.at {
		if p < 0 {
			if i != b.lonely {
				return ErrAnew
			}
			continue
		}
		if at, known := slices.BinarySearch(w.with, p); !known {
			w.with = slices.Insert(slices.Clone(w.with), at, p)
			s.alone[b.lone].a = slices.Insert(s.alone[b.lone].a, at, 0)
		}
	}
	b.spot = spots(b.at, w.with)
	return nil
}

// work puts one block in (sign 1) or takes it out (sign -1).
func (s *Solution) work(b *Block, sign float64) error {
	k, n := len(b.Y), len(b.Cols)
	if b.N != 1 {
		return fmt.Errorf("update: a block stands for %g units", b.N)
	}
	one, _ := newSwept([]*Block{b})
	o := &one[0]
	var t scratch
	if err := b.sweep(s.Theta, s.scale, &t, o); err != nil {
		return err
	}
	for _, f := range roots(o.p, k) {
		z := Row{Cols: b.Cols, Vals: make([]float64, n)}
		y := 0.0
		for i, w := range f {
			y += w * b.Y[i]
			for c, v := range o.zs[i*n : (i+1)*n] {
				z.Vals[c] += w * v
			}
		}
		if err := s.rankOne(b, z, y, sign); err != nil {
			return err
		}
	}
	return nil
}

// rankOne adds sign z z' to A and sign z y to the right side. z is in unit coefficients.
func (s *Solution) rankOne(b *Block, z Row, y, sign float64) error {
	x := s.spread(z)
	left := 1 + sign*s.dot(z, x)
	if !(left > leastLeft) {
		return ErrAnew
	}
	miss := y
	for i, c := range z.Cols {
		miss -= z.Vals[i] * s.unit(c)
	}
	f := sign / left
	for i, xi := range x.dense {
		s.v[i] += f * miss * xi
		if xi == 0 {
			continue
		}
		row := s.c[i*s.q : (i+1)*s.q]
		for j, xj := range x.dense {
			row[j] -= f * xi * xj
		}
	}
	if b.lone >= 0 {
		e := &s.alone[b.lone]
		own := z.Vals[b.lonely]
		e.d += sign * own * own
		e.rhs += sign * own * y
		for i, p := range b.at {
			if p >= 0 {
				e.a[b.spot[i]] += sign * own * z.Vals[i]
			}
		}
		if !(e.d > 0) {
			return ErrAnew
		}
	}
	s.solveAlone()
	return nil
}

// roots splits the k x k matrix p, of any rank, into vectors f with p = sum f f', by the
// Cholesky factorisation with pivots.
func roots(p []float64, k int) (out [][]float64) {
	a := slices.Clone(p)
	first := 0.0
	for range k {
		at := 0
		for i := range k {
			if a[i*k+i] > a[at*k+at] {
				at = i
			}
		}
		pivot := a[at*k+at]
		if first == 0 {
			first = pivot
		}
		if !(pivot > 1e-13*first) {
			break
		}
		f := make([]float64, k)
		for i := range f {
			f[i] = a[i*k+at] / math.Sqrt(pivot)
		}
		for i := range f {
			for j := range f {
				a[i*k+j] -= f[i] * f[j]
			}
		}
		out = append(out, f)
	}
	return out
}

// settle works out P of the blocks as they are now; those of before are taken over.
func (s *Solution) settle(before *Solution) error {
	old := make(map[*Block]int, len(before.model.Blocks))
	for i, b := range before.model.Blocks {
		old[b] = i
	}
	s.rows = make([]swept, len(s.model.Blocks))
	var t scratch
	for i, b := range s.model.Blocks {
		if at, known := old[b]; known {
			s.rows[i] = before.rows[at]
			continue
		}
		if err := s.meet(b); err != nil {
			return err
		}
		one, _ := newSwept([]*Block{b})
		s.rows[i] = one[0]
		if err := b.sweep(s.Theta, s.scale, &t, &s.rows[i]); err != nil {
			return err
		}
	}
	return nil
}

// Again solves the model of s from the beginning, at the same theta.
func (s *Solution) Again(ctx context.Context) (*Solution, error) {
	m := *s.model
	m.lay, m.spare = nil, nil
	m.Blocks = make([]*Block, len(s.model.Blocks))
	for i, b := range s.model.Blocks {
		c := *b
		m.Blocks[i] = &c
	}
	return m.At(ctx, s.Theta)
}

// Variance is V of a block at theta, k x k.
func (b *Block) Variance(theta []float64) []float64 {
	k := len(b.Y)
	v := make([]float64, k*k)
	for _, n := range b.Noise {
		f := n.factor(theta)
		for i, d := range n.Diag {
			if b.Weight != nil {
				d /= b.Weight[i]
			}
			v[i*k+i] += f * d
		}
		for _, x := range n.Vectors {
			for i := range x {
				for j := range x {
					v[i*k+j] += f * x[i] * x[j]
				}
			}
		}
	}
	return v
}
