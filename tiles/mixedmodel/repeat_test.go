package mixedmodel

import (
	"context"
	"errors"
	"math"
	"math/rand/v2"
	"slices"
	"testing"
)

// repeated writes the first reading of each block down several times, scattered, in one model by
// themselves and in the other as their mean.
func repeated(seed uint64) (apart, joined *Model) {
	rng := rand.New(rand.NewPCG(seed, 2))
	apart, joined = tangle(seed), tangle(seed)
	for i, b := range apart.Blocks {
		b.N, b.Scatter = 1, nil
		j := joined.Blocks[i]
		j.N, j.Scatter = 1, nil
		k, s, more := len(b.Y), len(b.Cols), 1+rng.IntN(4)
		t := float64(1 + more)
		j.Times, j.Within = slices.Repeat([]float64{1}, k), make([]float64, k)
		j.Times[0] = t
		for n := range j.Noise {
			if d := j.Noise[n].Diag; d != nil {
				j.Noise[n].Diag = slices.Clone(d)
				j.Noise[n].Diag[0] /= t
			}
		}
		all := []float64{b.Y[0]}
		for range more {
			all = append(all, b.Y[0]+rng.NormFloat64())
			b.Y = append(b.Y, all[len(all)-1])
			b.Level = append(b.Level, b.Level[0])
			b.Z = append(b.Z, b.Z[:s]...)
			for n := range b.Noise {
				part := &b.Noise[n]
				if part.Diag != nil {
					part.Diag = append(slices.Clone(part.Diag), part.Diag[0])
				}
				for v := range part.Vectors {
					part.Vectors[v] = append(slices.Clone(part.Vectors[v]), part.Vectors[v][0])
				}
			}
			if b.Weight != nil {
				b.Weight = append(b.Weight, b.Weight[0])
			}
		}
		mean := 0.0
		for _, y := range all {
			mean += y / t
		}
		for _, y := range all {
			j.Within[0] += (y - mean) * (y - mean)
		}
		j.Y[0] = mean
	}
	return apart, joined
}

// TestRepeatsAsTheirMean: the mean of repeats with their scatter beside it says what they say one by one.
func TestRepeatsAsTheirMean(t *testing.T) {
	for seed := range uint64(5) {
		apart, joined := repeated(seed)
		theta := []float64{-0.7, 0.2, -0.3, 0.1, 0.5}
		a, err1 := apart.At(t.Context(), theta)
		b, err2 := joined.At(t.Context(), theta)
		if err := errors.Join(err1, err2); err != nil {
			t.Fatal(err)
		}
		if math.Abs(a.Criterion-b.Criterion) > 1e-9*math.Abs(a.Criterion) {
			t.Errorf("seed %d: criterion %.12g one by one, %.12g joined", seed, a.Criterion, b.Criterion)
		}
		one := gradient(t, a)
		for i, g := range gradient(t, b) {
			if math.Abs(g-one[i]) > 1e-8*(1+math.Abs(one[i])) {
				t.Errorf("seed %d: slope %d is %.12g one by one, %.12g joined", seed, i, one[i], g)
			}
		}
		z := Row{[]int{0, 2, 3, 4, 7}, []float64{1, 0.3, -1, 2, 0.7}}
		if math.Abs(a.Mean(z)-b.Mean(z)) > 1e-9 || math.Abs(a.Cov(z)[0][0]-b.Cov(z)[0][0]) > 1e-9 {
			t.Errorf("seed %d: %.12g ± %.12g one by one, %.12g ± %.12g joined", seed, a.Mean(z),
				a.Cov(z)[0][0], b.Mean(z), b.Cov(z)[0][0])
		}
		x, y := a.Sensitivity(z), b.Sensitivity(z)
		for i := range x {
			if math.Abs(x[i]-y[i]) > 1e-8 {
				t.Errorf("seed %d: sensitivity %v and %v", seed, x, y)
			}
		}
	}
}

// TestRepeatsGathered: blocks alike with repeats, gathered, are worth what they are apart.
func TestRepeatsGathered(t *testing.T) {
	_, m := repeated(3)
	b := *m.Blocks[0]
	b.Y, b.Within = slices.Clone(b.Y), slices.Clone(b.Within)
	for i := range b.Y {
		b.Y[i] += 0.3 * float64(i+1)
		b.Within[i] *= 1.7
	}
	m.Blocks = append(m.Blocks, &b)
	g := *m
	keys := make([]string, len(m.Blocks))
	for i := range keys {
		keys[i] = string(rune('a' + i%(len(keys)-1)))
	}
	g.Blocks = Gather(m.Blocks, keys)
	theta := []float64{-0.7, 0.2, -0.3, 0.1, 0.5}
	apart, err1 := m.At(t.Context(), theta)
	joined, err2 := g.At(t.Context(), theta)
	if err := errors.Join(err1, err2); err != nil {
		t.Fatal(err)
	}
	if len(g.Blocks) != len(m.Blocks)-1 ||
		math.Abs(apart.Criterion-joined.Criterion) > 1e-9*math.Abs(apart.Criterion) {
		t.Errorf("%d blocks of %d: criterion %.12g, apart %.12g", len(g.Blocks), len(m.Blocks),
			joined.Criterion, apart.Criterion)
	}
}

// patience is a context that ends when it was asked so many times.
type patience struct {
	context.Context
	asked, ends int
}

var errEnough = errors.New("asked often enough")

func (p *patience) Err() error {
	if p.asked++; p.asked >= p.ends {
		return errEnough
	}
	return nil
}

// TestSearchStopsWithItsContext: each block is looked at under the context, and once that has ended no
// further block is.
func TestSearchStopsWithItsContext(t *testing.T) {
	search := func(ctx context.Context) error {
		m := tangle(1)
		if _, err := Outliers(ctx, &Model{Columns: m.Columns, Params: m.Params, Blocks: units(m.Blocks)},
			[]float64{-0.7, 0.2, -0.3, 0.1, 0.5}); err != nil {
			return err
		}
		best, err := m.Minimise(ctx, nil, nil)
		if err != nil {
			return err
		}
		if _, err := m.Curvature(ctx, best.Theta, 0.1); err != nil {
			return err
		}
		_, err = m.Polish(ctx, best, m.firstInverse(), 1e-7)
		return err
	}
	whole := &patience{Context: t.Context(), ends: math.MaxInt}
	if err := search(whole); err != nil {
		t.Fatal(err)
	}
	if blocks := 30; whole.asked < 20*blocks {
		t.Fatalf("a whole search looks at its context %d times", whole.asked)
	}
	for ends := 1; ends < whole.asked; ends += 37 {
		p := &patience{Context: t.Context(), ends: ends}
		if err := search(p); err == nil {
			t.Fatalf("ended at look %d and answers all the same", ends)
		}
		if p.asked > ends+3 {
			t.Errorf("ended at look %d and looked on to %d", ends, p.asked)
		}
	}
}

// units makes blocks of one unit, as screening wants them.
func units(blocks []*Block) (out []*Block) {
	for _, b := range blocks {
		c := *b
		c.N, c.Scatter = 1, nil
		out = append(out, &c)
	}
	return out
}
