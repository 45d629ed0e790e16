package mixedmodel

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"strconv"
	"testing"

	"gonum.org/v1/gonum/mat"
)

// ExampleLeastSquares: the first of F. J. Anscombe's four sets (The American Statistician 27,
// 1973, 17-21; figures from memory): all of them have the line 3.00 + 0.500 x, whose slope has a
// standard error of 0.118, and R2 0.667.
func ExampleLeastSquares() {
	at := []float64{10, 8, 13, 9, 11, 14, 6, 4, 12, 7, 5}
	y := []float64{8.04, 6.95, 7.58, 8.81, 8.33, 9.96, 7.24, 4.26, 10.84, 4.82, 5.68}
	var x [][]float64
	for _, v := range at {
		x = append(x, []float64{1, v}) // a constant, and the column itself
	}
	f, err := LeastSquares(x, y)
	if err != nil {
		panic(err)
	}
	fmt.Printf("%.2f + %.3f x, slope ± %.3f, R2 %.3f, %d degrees of freedom", f.Coef[0],
		f.Coef[1], f.SE[1], f.R2, f.DF)
	// Output: 3.00 + 0.500 x, slope ± 0.118, R2 0.667, 9 degrees of freedom
}

// TestMixedLargeReadings: adding 1e9 to every reading, or counting in other units, moves the
// mean and nothing else.
func TestMixedLargeReadings(t *testing.T) {
	d := references(t)["Yield ~ 1 + (1|Batch)"]
	plain, err := Mixed(t.Context(), d)
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct{ add, times float64 }{{1e9, 1}, {0, 1e-6}, {0, 1e6}} {
		e := d
		e.Y = nil
		for _, y := range d.Y {
			e.Y = append(e.Y, y*c.times+c.add)
		}
		f, err := Mixed(t.Context(), e)
		if err != nil {
			t.Fatal(err)
		}
		for what, v := range map[string][2]float64{"mean": {f.Beta[0], plain.Beta[0]*c.times + c.add},
			"between":        {f.Covariance[0][0][0], plain.Covariance[0][0][0] * c.times * c.times},
			"within":         {f.Residual, plain.Residual * c.times * c.times},
			"sd of the mean": {f.SE[0], plain.SE[0] * c.times}} {
			if math.Abs(v[0]/v[1]-1) > 1e-6 {
				t.Errorf("y x %g + %g: %s %.12g, want %.12g", c.times, c.add, what, v[0], v[1])
			}
		}
	}
	if _, err := Mixed(t.Context(), Data{Y: []float64{0, 0},
		Terms: []Term{{Name: "g", Group: []string{"a", "b"}}}}); err == nil {
		t.Error("readings that are all zero have variances")
	}
}

// ExampleMixed: the yield of dyestuff in six batches of five (Davies and Goldsmith, 1972).
// The analysis of variance gives 1764.05 between batches and 2451.25 within, exactly.
func ExampleMixed() {
	yields := [][]float64{{1545, 1440, 1440, 1520, 1580}, {1540, 1555, 1490, 1560, 1495},
		{1595, 1550, 1605, 1510, 1560},
		{1445, 1440, 1595, 1465, 1545}, {1595, 1630, 1515, 1635, 1625}, {1520, 1455, 1450, 1480, 1445}}
	d := Data{Terms: []Term{{Name: "batch"}}}
	for i, batch := range yields {
		for _, y := range batch {
			d.Y, d.Fixed = append(d.Y, y), append(d.Fixed, []float64{1})
			d.Terms[0].Group = append(d.Terms[0].Group, string(rune('A'+i)))
		}
	}
	f, err := Mixed(context.Background(), d)
	if err != nil {
		panic(err)
	}
	fmt.Printf("mean %.1f, between batches %.2f, within %.2f", f.Beta[0], f.Covariance[0][0][0], f.Residual)
	// Output: mean 1527.5, between batches 1764.05, within 2451.25
}

// TestBalancedModes: in a balanced one-way layout the conditional mode of a group is
// n v/(n v + s2) (its mean - the mean) (Searle, Casella, McCulloch, Variance Components,
// 1992, section 3.4).
func TestBalancedModes(t *testing.T) {
	d := references(t)["Yield ~ 1 + (1|Batch)"]
	f, err := Mixed(t.Context(), d)
	if err != nil {
		t.Fatal(err)
	}
	v, s2, n := f.Covariance[0][0][0], f.Residual, 5.0
	for l, name := range f.Levels[0] {
		mean := 0.0
		for i, g := range d.Terms[0].Group {
			if g == name {
				mean += d.Y[i] / n
			}
		}
		want := n * v / (n*v + s2) * (mean - f.Beta[0])
		if got := f.Modes[0][l][0]; math.Abs(got-want) > 1e-9 {
			t.Errorf("%s: %.12g, want %.12g", name, got, want)
		}
	}
}

// tangle is a model with everything in it: free levels, priors, flat and tied columns, lone
// ones, extra sds, weights, scatter, three sorts of noise.
func tangle(seed uint64) *Model {
	rng := rand.New(rand.NewPCG(seed, 1))
	m := &Model{Params: []Param{{Start: -1, Low: -4, High: 2, Centre: -1, Spread: 0.9},
		{Start: 0, Low: -4, High: 2, Centre: 0, Spread: 0.9},
		{Start: -0.5, Low: -4, High: 2}, {Start: 0.3, Low: -4, High: 2}, {Start: 0.4, Low: -9, High: 9}}}
	m.Columns = []Column{{}, {}, {Flat: true}, {SD: 3}, {SD: 4, Below: []int{4}}, {SD: 3},
		{SD: 4, Below: []int{4}}}
	for range 5 {
		m.Columns = append(m.Columns, Column{SD: 3, Extra: 0.4, Lone: true})
	}
	for range 30 {
		k := 2 + rng.IntN(4)
		b := &Block{N: 1, Y: make([]float64, k), Level: make([]int, k), Levels: 1}
		pair := 3 + 2*rng.IntN(2)
		b.Cols = []int{0, 1, 2, pair, pair + 1, 7 + rng.IntN(5)}
		b.Z = make([]float64, k*len(b.Cols))
		own, shared := make([]float64, k), make([]float64, k)
		for i := range b.Y {
			b.Y[i], own[i], shared[i] = rng.NormFloat64(), 0.5+rng.Float64(), rng.NormFloat64()
		}
		for i := range b.Z {
			b.Z[i] = rng.NormFloat64()
		}
		if rng.IntN(3) == 0 {
			b.Weight = make([]float64, k)
			for i := range b.Weight {
				b.Weight[i] = 0.1 + rng.Float64()
			}
		}
		if rng.IntN(3) == 0 {
			b.N, b.Scatter = 3, make([]float64, k*k)
			for i := range k {
				b.Scatter[i*k+i] = rng.Float64()
			}
		}
		if k > 3 {
			b.Level[2], b.Level[3], b.Levels = 1, 1, 2
		}
		b.Noise = []Noise{{Param: 1, Diag: own}, {Param: 2, Vectors: [][]float64{shared}},
			{Diag: own, Vectors: nil}}
		m.Blocks = append(m.Blocks, b)
	}
	return m
}

func gradient(t *testing.T, s *Solution) []float64 {
	t.Helper()
	g, err := s.Gradient(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	return g
}

// TestSlopesAreSlopes: the gradient of the objective and the slopes of a posterior variance,
// worked out, against central differences.
func TestSlopesAreSlopes(t *testing.T) {
	for seed := range uint64(5) {
		m := tangle(seed)
		theta := []float64{-0.7, 0.2, -0.3, 0.1, 0.5}
		s, err := m.At(t.Context(), theta)
		if err != nil {
			t.Fatal(err)
		}
		z := Row{[]int{0, 2, 3, 4, 7}, []float64{1, 0.3, -1, 2, 0.7}}
		g, v := gradient(t, s), s.Sensitivity(z)
		for i := range theta {
			const step = 1e-5
			var at [2]*Solution
			for side, d := range []float64{step, -step} {
				x := append([]float64(nil), theta...)
				x[i] += d
				if at[side], err = m.At(t.Context(), x); err != nil {
					t.Fatal(err)
				}
			}
			if want := (at[0].Objective - at[1].Objective) / (2 * step); math.Abs(g[i]-want) > 1e-6*(1+
				math.Abs(want)) {
				t.Errorf("seed %d: slope of the objective in theta %d is %.9g, differences %.9g", seed, i,
					g[i], want)
			}
			if want := (at[0].Cov(z)[0][0] - at[1].Cov(z)[0][0]) / (2 * step); math.Abs(v[i]-want) > 1e-6*(1+
				math.Abs(want)) {
				t.Errorf("seed %d: slope of a variance in theta %d is %.9g, differences %.9g", seed, i, v[i],
					want)
			}
		}
	}
}

// TestEliminationChangesNothing compares with the same model solved whole.
func TestEliminationChangesNothing(t *testing.T) {
	for seed := range uint64(5) {
		m, w := tangle(seed), tangle(seed)
		w.Whole = true
		theta := []float64{-0.7, 0.2, -0.3, 0.1, 0.5}
		a, err1 := m.At(t.Context(), theta)
		b, err2 := w.At(t.Context(), theta)
		if err1 != nil || err2 != nil {
			t.Fatal(err1, err2)
		}
		if len(a.alone) == 0 || len(b.alone) != 0 {
			t.Fatalf("%d and %d eliminated", len(a.alone), len(b.alone))
		}
		if math.Abs(a.Criterion-b.Criterion) > 1e-9 {
			t.Errorf("criterion %.12g, whole %.12g", a.Criterion, b.Criterion)
		}
		z := Row{[]int{1, 2, 7, 8, 9}, []float64{1, 0.3, -1, 2, 0.7}}
		y := Row{[]int{0, 8}, []float64{1, 1}}
		if x, o := a.Cov(z, y), b.Cov(z, y); math.Abs(x[0][1]-o[0][1])+math.Abs(x[0][0]-o[0][0])+
			math.Abs(a.Mean(z)-b.Mean(z)) > 1e-9 {
			t.Errorf("seed %d: %v and %v, means %g and %g", seed, x, o, a.Mean(z), b.Mean(z))
		}
		whole := gradient(t, b)
		for i, g := range gradient(t, a) {
			if o := whole[i]; math.Abs(g-o) > 1e-8*(1+math.Abs(o)) {
				t.Errorf("seed %d: gradient %d is %g, whole %g", seed, i, g, o)
			}
		}
	}
}

// TestRefusals: what cannot be fitted is refused in words, at once.
func TestRefusals(t *testing.T) {
	one := [][]float64{{1}, {1}, {1}}
	y := []float64{1, 2, 4}
	nan := []float64{1, math.NaN(), 4}
	group := []string{"a", "a", "b"}
	for name, f := range map[string]func() error{
		"nothing": func() error { _, err := LeastSquares(nil, nil); return err },
		"too few": func() error {
			_, err := LeastSquares([][]float64{{1, 2}}, []float64{1})
			return err
		},
		"not a number": func() error { _, err := LeastSquares(one, nan); return err },
		"twice the same": func() error {
			_, err := LeastSquares([][]float64{{1, 1}, {1, 1}, {1, 1}}, y)
			return err
		},
		"zero column": func() error { _, err := LeastSquares([][]float64{{0}, {0}, {0}}, y); return err },
		"ragged": func() error {
			_, err := LeastSquares([][]float64{{1}, {1, 2}, {1}}, y)
			return err
		},
		"mixed, nothing": func() error { _, err := Mixed(t.Context(), Data{}); return err },
		"mixed, constant": func() error {
			_, err := Mixed(t.Context(), Data{Y: []float64{3, 3, 3}, Fixed: one,
				Terms: []Term{{Group: group}}})
			return err
		},
		"mixed, groups missing": func() error {
			_, err := Mixed(t.Context(), Data{Y: y, Fixed: one, Terms: []Term{{Group: group[:2]}}})
			return err
		},
		"mixed, no slope": func() error {
			_, err := Mixed(t.Context(), Data{Y: y, Fixed: one,
				Terms: []Term{{Group: group, Slopes: [][]float64{{0}, {0}, {0}}}}})
			return err
		},
	} {
		if err := f(); err == nil {
			t.Errorf("%s: taken", name)
		}
	}
}

// TestVarianceAtZero: groups that differ less than chance would have them end at no variance
// at all, and the fit is that of least squares.
func TestVarianceAtZero(t *testing.T) {
	var d Data
	d.Terms = []Term{{Name: "pot"}}
	for i := range 40 {
		d.Y = append(d.Y, float64(i%4)) // every group has the same mean
		d.Fixed = append(d.Fixed, []float64{1})
		d.Terms[0].Group = append(d.Terms[0].Group, strconv.Itoa(i/4))
	}
	f, err := Mixed(t.Context(), d)
	if err != nil {
		t.Fatal(err)
	}
	l, err := LeastSquares(d.Fixed, d.Y)
	if err != nil {
		t.Fatal(err)
	}
	if f.Covariance[0][0][0] > 1e-8*f.Residual || math.Abs(f.Beta[0]-l.Coef[0]) > 1e-9 ||
		math.Abs(f.Residual-l.ResidualSD*l.ResidualSD) > 1e-6 {
		t.Errorf("variance %g, mean %g and %g, residual %g and %g", f.Covariance[0][0][0], f.Beta[0],
			l.Coef[0], f.Residual, l.ResidualSD*l.ResidualSD)
	}
}

// TestFilipDefeatsNormalEquations shows why QR is used: the normal equations of Filip cannot
// even be factorised, or give no correct digit.
func TestFilipDefeatsNormalEquations(t *testing.T) {
	data := table(t, "strd_filip.csv")
	x, y := numbers(t, data["x"]), numbers(t, data["y"])
	a := mat.NewDense(len(x), 11, nil)
	for i := range x {
		for p := range 11 {
			a.Set(i, p, math.Pow(x[i], float64(p)))
		}
	}
	var xx mat.SymDense
	xx.SymOuterK(1, a.T())
	var c mat.Cholesky
	if !c.Factorize(&xx) {
		return
	}
	var xy, b mat.VecDense
	xy.MulVec(a.T(), mat.NewVecDense(len(y), y))
	if err := c.SolveVecTo(&b, &xy); err == nil {
		t.Error("the normal equations of Filip were solved without a warning")
	}
}
