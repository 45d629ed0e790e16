package mixedmodel

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"
)

// Linear is an ordinary least-squares fit.
type Linear struct {
	Coef       []float64 // in the order of the columns
	SE         []float64 // standard errors; NaN with no degree of freedom left
	ResidualSD float64   // sqrt(RSS/(n - p)); NaN likewise
	RSS        float64   // sum of squares of the residuals
	R2         float64   // 1 - RSS/(sum of squares about the mean); about zero if no column is constant
	DF         int       // n - p
	Residuals  []float64 // y - X b, in the order of the rows
}

// LeastSquares fits y = X b. Give x row by row, with a column of ones for a constant term.
// It works by Householder QR of the columns scaled by powers of two, which loses no bit, and refines
// coefficients and residuals together (the augmented system r + X b = y, X'r = 0, with what is left of both
// in twice the precision: Björck, Iterative Refinement of Linear Least Squares Solutions I, BIT 7, 1967),
// never by the normal equations. It fails where a column depends on the others. It is a reference: of the
// program's own code only Mixed calls it, for its first guess. What answers potters is Model.
func LeastSquares(x [][]float64, y []float64) (Linear, error) {
	n := len(y)
	if n == 0 || len(x) != n || len(x[0]) == 0 {
		return Linear{}, errors.New("least squares: as many rows in x as numbers in y are needed, and at least one column")
	}
	p := len(x[0])
	if n < p {
		return Linear{}, fmt.Errorf("least squares: %d readings are too few for %d coefficients", n, p)
	}
	a := mat.NewDense(n, p, nil)
	for i, row := range x {
		if len(row) != p || !finite(y[i]) {
			return Linear{}, fmt.Errorf("least squares: row %d has another length, or y there is not a number", i)
		}
		for _, v := range row {
			if !finite(v) {
				return Linear{}, fmt.Errorf("least squares: a value in row %d is not a number", i)
			}
		}
		a.SetRow(i, row)
	}
	// columns of about length 1, by powers of two
	unit, err := scaled(a)
	if err != nil {
		return Linear{}, err
	}
	var qr mat.QR
	qr.Factorize(a)
	if c := qr.Cond(); math.IsInf(c, 0) || math.IsNaN(c) || c > 1e15 {
		return Linear{}, fmt.Errorf("least squares: the columns depend on one another (condition %.3g)", c)
	}
	b, r := make([]float64, p), append([]float64(nil), y...)
	refine(a, &qr, y, b, r)
	out := Linear{Coef: b, DF: n - p, SE: make([]float64, p), Residuals: r}
	for _, v := range r {
		out.RSS += v * v
	}
	out.ResidualSD = math.Sqrt(out.RSS / float64(n-p))
	out.R2 = 1 - out.RSS/about(x, y)
	// standard errors by the rows of R^-1
	var rt mat.Dense
	qr.RTo(&rt)
	inv := mat.NewDense(p, p, nil)
	var warning mat.Condition
	if err := inv.Inverse(rt.Slice(0, p, 0, p)); err != nil && !errors.As(err, &warning) {
		return Linear{}, fmt.Errorf("least squares: %w", err)
	}
	for j := range b {
		out.SE[j] = out.ResidualSD * mat.Norm(inv.RowView(j), 2) / unit[j]
		b[j] /= unit[j]
	}
	return out, nil
}

// scaled divides each column by the power of two next to its length.
func scaled(a *mat.Dense) (unit []float64, err error) {
	n, p := a.Dims()
	unit = make([]float64, p)
	for j := range unit {
		length := mat.Norm(a.ColView(j), 2)
		if length == 0 {
			return nil, fmt.Errorf("least squares: column %d is all zeros", j)
		}
		_, power := math.Frexp(length)
		unit[j] = math.Ldexp(1, power)
		for i := range n {
			a.Set(i, j, a.At(i, j)/unit[j])
		}
	}
	return unit, nil
}

// refine brings b and r, at first 0 and y, to r + A b = y and A'r = 0 by what is left of both.
func refine(a *mat.Dense, qr *mat.QR, y, b, r []float64) {
	n, p := a.Dims()
	var q, upper mat.Dense
	qr.QTo(&q)
	qr.RTo(&upper)
	q1, rt := q.Slice(0, n, 0, p), upper.Slice(0, p, 0, p)
	// A warning of a large condition comes as an error; it was judged before.
	solve := func(m mat.Matrix, v *mat.VecDense) *mat.VecDense {
		var x mat.VecDense
		_ = x.SolveVec(m, v)
		return &x
	}
	const rounds = 6
	for range rounds {
		f, g := mat.NewVecDense(n, nil), mat.NewVecDense(p, nil)
		for i := range n { // y - r - A b
			var s twice
			s.add(y[i])
			s.add(-r[i])
			for j := range p {
				s.product(-a.At(i, j), b[j])
			}
			f.SetVec(i, s.high+s.low)
		}
		for j := range p { // -A'r
			var s twice
			for i := range n {
				s.product(-a.At(i, j), r[i])
			}
			g.SetVec(j, s.high+s.low)
		}
		h := solve(rt.T(), g)
		var d, along, step mat.VecDense
		d.MulVec(q1.T(), f)
		along.SubVec(h, &d) // in the columns: h in place of what f has there
		step.SubVec(&d, h)
		db := solve(rt, &step)
		var dr mat.VecDense
		dr.MulVec(q1, &along)
		dr.AddVec(&dr, f)
		for j := range b {
			b[j] += db.AtVec(j)
		}
		for i := range r {
			r[i] += dr.AtVec(i)
		}
	}
}

// twice is a sum in twice the precision (Dekker, Numerische Mathematik 18, 1971).
type twice struct{ high, low float64 }

// add adds x and keeps what is rounded off.
func (s *twice) add(x float64) {
	t := s.high + x
	part := t - s.high
	s.low += (s.high - (t - part)) + (x - part)
	s.high = t
}

// product adds x y, exact to twice the precision.
func (s *twice) product(x, y float64) {
	p := x * y
	s.low += math.FMA(x, y, -p)
	s.add(p)
}

// about is the sum of squares of y about its mean, or about zero where x has no constant.
func about(x [][]float64, y []float64) float64 {
	mean := 0.0
	for j := range x[0] {
		constant := true
		for i := range x {
			constant = constant && x[i][j] == x[0][j]
		}
		if constant {
			for _, v := range y {
				mean += v / float64(len(y))
			}
			break
		}
	}
	sum := 0.0
	for _, v := range y {
		sum += (v - mean) * (v - mean)
	}
	return sum
}
