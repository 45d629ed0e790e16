package mixedmodel

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"
)

// Linear is an ordinary least-squares fit.
type Linear struct {
	Coef       []float64
	SE         []float64 // standard errors; NaN with no degree of freedom left
	ResidualSD float64   // sqrt(RSS/(n - p)); NaN likewise
	RSS        float64
	R2         float64 // 1 - RSS/(sum of squares about the mean); about zero if no column is constant
	DF         int     // n - p
	Residuals  []float64
}

// LeastSquares fits y = X b. Give x row by row, with a column of ones for a constant term.
// It works by Householder QR of the columns scaled to unit length, with two rounds of
// refinement of the residual, never by the normal equations (Golub and Van Loan, Matrix
// Computations, 4th ed., 5.3). It fails where a column depends on the others. It is a reference:
// of the program's own code only Mixed calls it, for its first guess.
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
	unit := make([]float64, p)
	for j := range unit {
		unit[j] = mat.Norm(a.ColView(j), 2)
		if unit[j] == 0 {
			return Linear{}, fmt.Errorf("least squares: column %d is all zeros", j)
		}
		for i := 0; i < n; i++ {
			a.Set(i, j, a.At(i, j)/unit[j])
		}
	}
	var qr mat.QR
	qr.Factorize(a)
	if c := qr.Cond(); math.IsInf(c, 0) || math.IsNaN(c) || c > 1e15 {
		return Linear{}, fmt.Errorf("least squares: the columns depend on one another (condition %.3g)", c)
	}
	b, r := make([]float64, p), append([]float64(nil), y...)
	for round := 0; round < 3; round++ {
		d := mat.NewVecDense(p, nil)
		// A warning of a large condition comes as an error; it was judged above.
		var warning mat.Condition
		if err := qr.SolveVecTo(d, false, mat.NewVecDense(n, r)); err != nil && !errors.As(err, &warning) {
			return Linear{}, fmt.Errorf("least squares: %w", err)
		}
		for j := range b {
			b[j] += d.AtVec(j)
		}
		for i := range r { // the residual in twice the precision
			var s, lost float64
			s = y[i]
			for j := range b {
				product := -a.At(i, j) * b[j]
				lost += math.FMA(-a.At(i, j), b[j], -product)
				t := s + product
				part := t - s
				lost += (s - (t - part)) + (product - part)
				s = t
			}
			r[i] = s + lost
		}
	}
	out := Linear{Coef: b, DF: n - p, SE: make([]float64, p), Residuals: r}
	for _, v := range r {
		out.RSS += v * v
	}
	out.ResidualSD = math.Sqrt(out.RSS / float64(n-p))
	out.R2 = 1 - out.RSS/about(x, y)
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
