// Package mixedmodel fits linear mixed models by restricted maximum likelihood (REML) on bare
// numbers, with or without priors. In go blocks of readings whose errors go together, columns
// with their priors, and starting standard deviations; out come means, covariances, the
// standard deviations and how freely they are known.
//
// The product runs Model: Minimise, Polish, Curvature, Outliers, and With for one block more or
// less. Mixed and LeastSquares ask for no more than columns and group names, with no formula
// to write. They are the reference: tests alone run them, on data sets with certified or published
// answers. Mixed lays its data out as a Model and calls Minimise and Polish, so that the kernel
// that those sets certify is the one that the product runs; LeastSquares, by QR, only starts it.
//
// Everything is deterministic: the same numbers in the same order give the same bits. It knows
// nothing of clay, reads no file, and chooses no model.
package mixedmodel

import (
	"fmt"
	"math"
	"slices"
)

// Model is y_b = W_b w_b + Z_b u + e_b for blocks b of readings whose errors go together:
// w_b are free levels of the block's own (flat, swept out inside the block), u are the
// columns with their priors, e_b ~ N(0, V_b). theta are logs of standard deviations.
//
//	criterion(theta) = sum_b [ln|V_b| + ln|W_b'V_b^-1 W_b|] + ln|A| + sum_b y_b'P_b y_b - c'A^-1 c
//	P = V^-1 - V^-1 W (W'V^-1 W)^-1 W'V^-1;  A = I + sum T'Z'P Z T;  c = sum T'Z'P y;  u = T A^-1 c
//
// T scales the columns to unit prior variance; a flat column has 0 in place of 1 in I. It is
// -2 times the log of the restricted likelihood, without the term in log 2 pi, as worked out
// from Henderson's mixed model equations (Bates et al., J. Stat. Softw. 67(1), 2015, eq. 39
// to 42, give the same for one block a reading). The objective adds
// sum ((theta - Centre)/Spread)^2.
type Model struct {
	Columns []Column // in the order of u
	Blocks  []*Block // in any order; the same order gives the same bits
	Params  []Param  // one a theta
	Whole   bool     // eliminate no column first: only to check that it makes no difference

	lay   *layout
	spare []*Solution // let go, for their memory
}

// release takes a solution back that nobody will look at again: the next one is worked out in its
// memory. A search makes hundreds.
func (m *Model) release(s *Solution) {
	if s != nil && s.model == m && len(m.spare) < 2 {
		m.spare = append(m.spare, s)
	}
}

// room is a solution with nothing in it yet, of the right sizes.
func (m *Model) room() *Solution {
	q := len(m.lay.dense)
	if n := len(m.spare); n > 0 {
		s := m.spare[n-1]
		m.spare = m.spare[:n-1]
		clear(s.c)
		clear(s.v)
		clear(s.memory)
		return s
	}
	s := &Solution{model: m, q: q, c: make([]float64, q*q), v: make([]float64, q)}
	s.rows, s.memory = newSwept(m.Blocks)
	return s
}

// Param is one theta.
type Param struct {
	Start, Low, High float64 // where the search begins, and its box
	Centre, Spread   float64 // prior N(Centre, Spread^2); Spread 0: none
}

// Column is one coefficient u_j, of prior mean 0.
type Column struct {
	Flat  bool    // no prior at all; otherwise of variance 1, or as follows
	SD    int     // 1 + the theta that is the log of its sd; 0: unit variance
	Extra float64 // a further sd, added in square to that of SD
	Below []int   // thetas that tie it to the len(Below) columns just before it, which share its group
	Lone  bool    // may be eliminated first, as far as no block has two of them
}

// Block is N units alike: the same Z, W and V, with mean Y and Scatter about it.
type Block struct {
	N       float64   // how many, 1 and more
	Y       []float64 // k readings, the mean of N units
	Scatter []float64 // k x k: sum over units of (y - Y)(y - Y)'; nil: zero
	Cols    []int     // columns touched, rising
	Z       []float64 // k x len(Cols), row by row
	Level   []int     // which free level of the block each reading stands on; nil: none
	Levels  int       // how many free levels
	Noise   []Noise   // parts of V; at least one has a Diag
	Weight  []float64 // divides the diagonal noise of each reading; nil: 1
	Times   []float64 // of how many repeats each reading is the mean, and Diag their noise over it; nil: 1
	Within  []float64 // sum over units and repeats of (y - their mean)^2; nil if Times is

	at, spot []int // filled in by layout: dense place, place within the lone column's row
	lone     int   // index into layout.lone, -1: none
	lonely   int   // which of Cols it is
}

// Noise is a part of V: exp(2 theta) (diag(Diag) + sum v v').
type Noise struct {
	Param   int         // 1 + theta; 0: a fixed part, factor 1
	Diag    []float64   // one a reading; nil: none
	Vectors [][]float64 // of rank one each, as long as Y
}

// layout says where each column stands: in the dense part or alone.
type layout struct {
	place []int // >= 0: place in the dense part; < 0: ^place among the lone ones
	dense []int // columns of the dense part
	lone  []lone
}

// lone is a column that is eliminated before the dense part.
type lone struct {
	col  int
	with []int // dense places that it meets, rising
}

// check reports what would make the numbers meaningless.
func (m *Model) check() error {
	for i, b := range m.Blocks {
		k := len(b.Y)
		switch {
		case !(b.N >= 1):
			return fmt.Errorf("block %d stands for %g units, must be 1 or more", i, b.N)
		case len(b.Z) != k*len(b.Cols) || b.Scatter != nil && len(b.Scatter) != k*k ||
			b.Level != nil && len(b.Level) != k || b.Weight != nil && len(b.Weight) != k ||
			len(b.Times) != len(b.Within) || b.Times != nil && len(b.Times) != k:
			return fmt.Errorf("block %d: lengths do not agree with its %d readings", i, k)
		case !slices.IsSorted(b.Cols):
			return fmt.Errorf("block %d: columns not in rising order", i)
		}
		if len(b.Cols) > 0 && (b.Cols[0] < 0 || b.Cols[len(b.Cols)-1] >= len(m.Columns)) {
			return fmt.Errorf("block %d: a column outside 0 to %d", i, len(m.Columns)-1)
		}
		for _, v := range b.Y {
			if !finite(v) {
				return fmt.Errorf("block %d: a reading is not a number", i)
			}
		}
		for _, v := range b.Z {
			if !finite(v) {
				return fmt.Errorf("block %d: a coefficient is not a number", i)
			}
		}
	}
	return nil
}

// finite reports whether v is a number.
func finite(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }

// prepare works out the layout once.
func (m *Model) prepare() error {
	if m.lay != nil {
		return nil
	}
	if err := m.check(); err != nil {
		return err
	}
	l := &layout{place: make([]int, len(m.Columns))}
	// lone columns by themselves, the others dense, both in their order
	alone := m.loneColumns()
	for j := range m.Columns {
		if alone[j] {
			l.place[j] = ^len(l.lone)
			l.lone = append(l.lone, lone{col: j})
		} else {
			l.place[j] = len(l.dense)
			l.dense = append(l.dense, j)
		}
	}
	l.attach(m.Blocks)
	m.lay = l
	return nil
}

// attach tells each block where its columns stand, and each lone column what it meets.
func (l *layout) attach(blocks []*Block) {
	for _, b := range blocks {
		l.locate(b)
		if b.lone >= 0 {
			w := &l.lone[b.lone]
			for _, p := range b.at {
				if p >= 0 {
					w.with = append(w.with, p)
				}
			}
		}
	}
	for i := range l.lone {
		slices.Sort(l.lone[i].with)
		l.lone[i].with = slices.Compact(l.lone[i].with)
	}
	for _, b := range blocks {
		if b.lone >= 0 {
			b.spot = spots(b.at, l.lone[b.lone].with)
		}
	}
}

// locate fills in where the columns of one block stand.
func (l *layout) locate(b *Block) {
	b.lone, b.lonely = -1, -1
	b.at = make([]int, len(b.Cols))
	for i, c := range b.Cols {
		b.at[i] = l.place[c]
		if b.at[i] < 0 {
			b.lone, b.lonely = ^b.at[i], i
		}
	}
}

// spots are the places of at within with; meaningless for the lone column.
func spots(at, with []int) []int {
	s := make([]int, len(at))
	for i, p := range at {
		if p >= 0 {
			s[i], _ = slices.BinarySearch(with, p)
		}
	}
	return s
}

// loneColumns picks, in the order of the columns, lone ones that never share a block.
func (m *Model) loneColumns() []bool {
	alone := make([]bool, len(m.Columns))
	if m.Whole {
		return alone
	}
	meets := make([][]int, len(m.Columns)) // other lone candidates in the same blocks
	for _, b := range m.Blocks {
		for i, c := range b.Cols {
			if !m.Columns[c].Lone {
				continue
			}
			for _, d := range b.Cols[i+1:] {
				if m.Columns[d].Lone {
					meets[c] = append(meets[c], d)
					meets[d] = append(meets[d], c)
				}
			}
		}
	}
	for j, c := range m.Columns {
		if c.Lone && !slices.ContainsFunc(meets[j], func(o int) bool { return alone[o] }) {
			alone[j] = true
		}
	}
	return alone
}

// penalty is what the priors on theta add to the criterion.
func (m *Model) penalty(theta []float64) (sum float64, slope []float64) {
	slope = make([]float64, len(theta))
	for i, p := range m.Params {
		if p.Spread > 0 {
			d := (theta[i] - p.Centre) / p.Spread
			sum += d * d
			slope[i] = 2 * d / p.Spread
		}
	}
	return sum, slope
}
