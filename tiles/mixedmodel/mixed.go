package mixedmodel

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
)

// Term is one random term of a mixed model: one vector of coefficients for each level of a
// grouping, N(0, a covariance shared by all levels).
type Term struct {
	Name   string      // for errors alone
	Group  []string    // level of each reading
	Slopes [][]float64 // k numbers for each reading; nil: a 1, so an intercept for each level
}

// Data is what a mixed model is asked about: y = Fixed beta + sum of terms + e.
type Data struct {
	Y     []float64   // the readings
	Fixed [][]float64 // row by row, with a column of ones for a constant; may be empty
	Terms []Term      // none: a fixed model
}

// MixedFit is a linear mixed model fitted by REML.
type MixedFit struct {
	Criterion  float64       // -2 ln restricted likelihood, (n - p) ln 2 pi and ln|X'V^-1 X| included
	Beta       []float64     // fixed effects, in the order of the columns
	SE         []float64     // standard errors of Beta
	DF         []float64     // of each beta by Satterthwaite's method
	Covariance [][][]float64 // of each term, k x k
	Levels     [][]string    // of each term, in rising order
	Modes      [][][]float64 // of each term and level: conditional modes (BLUPs)
	Residual   float64       // variance
	Steps      int           // how often the model was solved
}

// Mixed fits d by restricted maximum likelihood. Crossed and nested terms are told by their
// groups alone (nested: name the level "block:plot"); a factor among the fixed columns is
// written out as columns of 0 and 1, an interaction as their product. d is not changed. It
// fails where the fixed columns depend on one another, leave nothing over, or a length does not
// agree; the text says which. A variance that wants to be zero ends
// within 1e-8 of it, relative to the residual. It is a reference, run by tests alone: it solves by
// Model.Minimise and Model.Polish as the shrink fit does, on data whose answers are published.
func Mixed(ctx context.Context, d Data) (MixedFit, error) {
	n := len(d.Y)
	if n == 0 {
		return MixedFit{}, errors.New("mixed model: no readings")
	}
	rough, plain, err := d.rough()
	if err != nil {
		return MixedFit{}, err
	}
	size := len(plain.Coef)
	if size > 0 { // what is left of y: large readings that differ by little keep their digits
		d.Y = plain.Residuals
	}
	m, unit, err := d.model(rough)
	if err != nil {
		return MixedFit{}, err
	}
	best, err := m.Minimise(ctx, nil, nil)
	if err != nil {
		return MixedFit{}, fmt.Errorf("mixed model: %w", err)
	}
	h, err := m.doubt(ctx, best.Theta)
	if err != nil {
		return MixedFit{}, fmt.Errorf("mixed model: %w", err)
	}
	half := mat.NewSymDense(len(best.Theta), nil)
	half.ScaleSym(0.5, h)
	if best, err = m.Polish(ctx, best, half, 1e-10); err != nil {
		return MixedFit{}, fmt.Errorf("mixed model: %w", err)
	}
	if h, err = m.doubt(ctx, best.Theta); err != nil {
		return MixedFit{}, fmt.Errorf("mixed model: %w", err)
	}
	out := d.read(best, h, unit, size)
	for j := range out.Beta {
		out.Beta[j] += plain.Coef[j]
	}
	return out, nil
}

// doubt is the covariance of theta: differences over a thousandth give its second
// derivatives to six digits.
func (m *Model) doubt(ctx context.Context, theta []float64) (*mat.SymDense, error) {
	h, err := m.Curvature(ctx, theta, 1e-3)
	if err != nil {
		return nil, err
	}
	return Floor(h, 1e-9)
}

// rough is a first guess of the residual sd, and least squares of the fixed part if there is
// one.
func (d Data) rough() (sd float64, fixed Linear, err error) {
	if len(d.Fixed) == 0 {
		for _, v := range d.Y {
			sd += v * v / float64(len(d.Y))
		}
		if !(sd > 0) || !finite(sd) {
			return 0, Linear{}, errors.New("mixed model: readings are all zero or not numbers, there is no variance to split")
		}
		return math.Sqrt(sd), Linear{}, nil
	}
	l, err := LeastSquares(d.Fixed, d.Y)
	if err != nil {
		return 0, Linear{}, fmt.Errorf("mixed model: fixed part: %w", err)
	}
	largest := 0.0
	for _, v := range d.Y {
		largest = max(largest, math.Abs(v))
	}
	if !(l.ResidualSD > 1e-13*largest) {
		return 0, Linear{}, errors.New("mixed model: the fixed part leaves nothing over, there is no variance to split")
	}
	return l.ResidualSD, l, nil
}

// width is how many coefficients a level has.
func (t Term) width() int {
	if len(t.Slopes) == 0 {
		return 1
	}
	return len(t.Slopes[0])
}

// slopes are the numbers of one reading.
func (t Term) slopes(i int) []float64 {
	if t.Slopes == nil {
		return []float64{1}
	}
	return t.Slopes[i]
}

// levels are the names of the groups, rising, each once.
func (t Term) levels() []string {
	l := slices.Clone(t.Group)
	slices.Sort(l)
	return slices.Compact(l)
}

// model lays out columns: the terms, then the fixed part scaled to unit length. The first
// theta is the log sd of the residual; a term then has one for each slope, and one for each
// tie between two of them.
func (d Data) model(rough float64) (m *Model, unit []float64, err error) {
	n := len(d.Y)
	wide := func(centre float64) Param {
		return Param{Start: centre, Low: centre - 18, High: centre + 18}
	}
	m = &Model{Params: []Param{wide(math.Log(rough))}}
	var first []int
	var at []map[string]int
	largest := 0
	// which term has most levels of one coefficient: its columns are eliminated first
	for i, t := range d.Terms {
		if len(t.Group) != n || t.Slopes != nil && len(t.Slopes) != n {
			return nil, nil, fmt.Errorf("mixed model: term %q has %d groups and %d slopes for %d readings",
				t.Name,
				len(t.Group), len(t.Slopes), n)
		}
		if w, best := t.width(), d.Terms[largest]; len(t.levels()) > len(best.levels()) &&
			w == 1 || best.width() > 1 {
			largest = i
		}
	}
	for i, t := range d.Terms {
		// thetas of a term: the log sd of each slope by its size, then the ties between them
		k := t.width()
		sds, ties := make([]int, k), make([][]int, k)
		for j := 0; j < k; j++ {
			size := 0.0
			for r := range d.Y {
				s := t.slopes(r)
				if len(s) != k || !finite(s[j]) {
					return nil, nil, fmt.Errorf("mixed model: term %q, reading %d: %d finite slopes are needed",
						t.Name, r, k)
				}
				size += s[j] * s[j] / float64(n)
			}
			if size == 0 {
				return nil, nil, fmt.Errorf("mixed model: term %q: slope %d is zero throughout", t.Name, j)
			}
			m.Params = append(m.Params, wide(math.Log(rough/math.Sqrt(size))))
			sds[j] = len(m.Params)
		}
		for j := 1; j < k; j++ {
			for l := 0; l < j; l++ {
				ties[j] = append(ties[j], len(m.Params))
				m.Params = append(m.Params, Param{Low: -1e4, High: 1e4})
			}
		}
		levels := t.levels()
		place := map[string]int{}
		first = append(first, len(m.Columns))
		for l, name := range levels {
			place[name] = l
			for j := 0; j < k; j++ {
				m.Columns = append(m.Columns, Column{SD: sds[j], Below: ties[j],
					Lone: i == largest && k == 1})
			}
		}
		at = append(at, place)
	}
	fixed := len(m.Columns)
	unit = d.fixedLengths()
	for range unit {
		m.Columns = append(m.Columns, Column{Flat: true})
	}
	// one block a reading
	for r, y := range d.Y {
		b := &Block{N: 1, Y: []float64{y}, Noise: []Noise{{Param: 1, Diag: []float64{1}}}}
		for i, t := range d.Terms {
			from := first[i] + at[i][t.Group[r]]*t.width()
			for j, s := range t.slopes(r) {
				b.Cols, b.Z = append(b.Cols, from+j), append(b.Z, s)
			}
		}
		for j := range unit {
			b.Cols, b.Z = append(b.Cols, fixed+j), append(b.Z, d.Fixed[r][j]/unit[j])
		}
		m.Blocks = append(m.Blocks, b)
	}
	return m, unit, nil
}

// fixedLengths are the lengths of the columns of the fixed effects, by which they are divided so that all are
// of one size; none without any.
func (d Data) fixedLengths() []float64 {
	if len(d.Fixed) == 0 {
		return nil
	}
	lengths := make([]float64, len(d.Fixed[0]))
	for _, row := range d.Fixed {
		for j, x := range row {
			lengths[j] = math.Hypot(lengths[j], x)
		}
	}
	return lengths
}

// read takes the answers out of the best solution.
func (d Data) read(best Minimum, inverse *mat.SymDense, unit []float64, p int) MixedFit {
	out := MixedFit{
		Criterion: best.Criterion + float64(len(d.Y)-p)*math.Log(2*math.Pi),
		Residual:  math.Exp(2 * best.Theta[0]),
		Steps:     best.Evaluations,
	}
	for j := range unit { // ln|X'V^-1 X| of the columns as given
		out.Criterion += 2 * math.Log(unit[j])
	}
	column := 0
	for _, t := range d.Terms {
		k, levels := t.width(), t.levels()
		cov := make([][]float64, k)
		for i := range cov {
			cov[i] = make([]float64, k)
			for j := range cov[i] {
				for l := 0; l <= min(i, j); l++ {
					cov[i][j] += best.scale.entry(column+i, l) * best.scale.entry(column+j, l)
				}
			}
		}
		modes := make([][]float64, len(levels))
		for l := range levels {
			modes[l] = make([]float64, k)
			for i := range modes[l] {
				for j := 0; j <= i; j++ {
					modes[l][i] += best.scale.entry(column+l*k+i, j) * best.unit(column+l*k+j)
				}
			}
		}
		column += k * len(levels)
		out.Covariance, out.Levels, out.Modes = append(out.Covariance, cov), append(out.Levels, levels),
			append(out.Modes, modes)
	}
	for j := range unit {
		z := Row{[]int{column + j}, []float64{1 / unit[j]}}
		v := best.Cov(z)[0][0]
		out.Beta, out.SE = append(out.Beta, best.Mean(z)), append(out.SE, math.Sqrt(v))
		out.DF = append(out.DF, SatterthwaiteDF(v, best.Sensitivity(z), inverse))
	}
	return out
}
