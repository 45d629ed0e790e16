package mixedmodel

import (
	"context"
	"fmt"

	"gonum.org/v1/gonum/blas"
	"gonum.org/v1/gonum/blas/blas64"
)

const (
	tails        = 4    // degrees of freedom of the t in screening
	screenRounds = 6    //
	slipBelow    = 0.12 // a weight below this, 6.1 sd off, is a slip
	slipWeight   = 0.01 // and enters with at most this weight
)

// Outliers finds slips: six rounds of reweighting by a t with 4 degrees of freedom at fixed
// theta (Lange, Little, Taylor, J. Am. Stat. Assoc. 84, 1989, 881-896), applied to the
// diagonal noise of each reading alone. Blocks must stand for one unit each. It gives for
// each block the weights to use from here on: nil if none of its readings slipped, else 1
// for the good ones and at most 0.01 for the slips. Weights that blocks have are not used.
func Outliers(ctx context.Context, m *Model, theta []float64) ([][]float64, error) {
	free := *m
	free.Blocks = make([]*Block, len(m.Blocks))
	for i, b := range m.Blocks {
		if b.N != 1 {
			return nil, fmt.Errorf("screening: block %d stands for %g units", i, b.N)
		}
		c := *b
		c.Weight = make([]float64, len(b.Y))
		for j := range c.Weight {
			c.Weight[j] = 1
		}
		free.Blocks[i] = &c
	}
	free.lay, free.spare = nil, nil
	for round := 0; round < screenRounds; round++ {
		s, err := free.solve(ctx, theta)
		if err != nil {
			return nil, fmt.Errorf("screening: %w", err)
		}
		for i, b := range free.Blocks {
			s.reweigh(b, &s.rows[i])
		}
		free.release(s)
	}
	out := make([][]float64, len(m.Blocks))
	for i, b := range free.Blocks {
		for j, w := range b.Weight {
			if w < slipBelow {
				if out[i] == nil {
					out[i] = make([]float64, len(b.Y))
					for k := range out[i] {
						out[i][k] = 1
					}
				}
				out[i][j] = min(w, slipWeight)
			}
		}
	}
	return out, nil
}

// reweigh sets the weights of b by the expected reading errors. A mean of repeats is judged as one of
// them is: by their mean square error beside the variance of one.
func (s *Solution) reweigh(b *Block, o *swept) {
	k, n := len(b.Y), len(b.Cols)
	r := make([]float64, k)
	copy(r, b.Y)
	for x, c := range b.Cols {
		v := s.unit(c)
		for i := range r {
			r[i] -= o.zs[i*n+x] * v
		}
	}
	for i := range b.Weight {
		alone := b.own(i, s.Theta)
		if alone == 0 {
			continue
		}
		e := 0.0
		for j := range r {
			e += o.p[i*k+j] * r[j]
		}
		e *= alone / b.Weight[i]
		off, times := e*e, 1.0
		if b.Times != nil {
			times = b.Times[i]
			off += b.Within[i] / times
		}
		b.Weight[i] = (tails + 1) / (tails + off/(alone*times))
	}
}

// own is the diagonal noise of reading i at weight 1.
func (b *Block) own(i int, theta []float64) float64 {
	sum := 0.0
	for _, n := range b.Noise {
		if n.Diag != nil {
			sum += n.factor(theta) * n.Diag[i]
		}
	}
	return sum
}

// solve is At without C: good for means alone.
func (m *Model) solve(ctx context.Context, theta []float64) (*Solution, error) {
	s, err := m.factor(ctx, theta)
	if err != nil {
		return nil, err
	}
	if s.q > 0 {
		blas64.Trsv(blas.NoTrans, s.triangle(), blas64.Vector{N: s.q, Inc: 1, Data: s.v})
	}
	s.solveAlone()
	return s, nil
}

// Gather joins blocks that have the same key: one block with their number, mean and scatter.
// Blocks of one key must have the same Z, W, noise and weights; that of the first is kept.
func Gather(blocks []*Block, keys []string) []*Block {
	place := map[string]int{}
	var out []*Block
	var members [][]*Block
	for i, b := range blocks {
		p, known := place[keys[i]]
		if !known {
			p = len(out)
			place[keys[i]] = p
			c := *b
			out, members = append(out, &c), append(members, nil)
		}
		members[p] = append(members[p], b)
	}
	for p, all := range members {
		out[p].pool(all)
	}
	return out
}

// pool makes b stand for all.
func (b *Block) pool(all []*Block) {
	k := len(b.Y)
	b.N, b.Scatter = float64(len(all)), nil
	if b.Within != nil {
		b.Within = make([]float64, k)
		for _, a := range all {
			for i, w := range a.Within {
				b.Within[i] += w
			}
		}
	}
	b.Y = make([]float64, k)
	for _, a := range all {
		for i, y := range a.Y {
			b.Y[i] += y / b.N
		}
	}
	if len(all) == 1 {
		return
	}
	b.Scatter = make([]float64, k*k)
	for _, a := range all {
		for i := range b.Y {
			for j := range b.Y {
				b.Scatter[i*k+j] += (a.Y[i] - b.Y[i]) * (a.Y[j] - b.Y[j])
			}
		}
	}
}
