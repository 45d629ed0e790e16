package lid

import (
	"fmt"
	"math"
	"testing"
)

// Spares: a window of 1.5, 70 % of the variance of the gap shared by lids of one board, d the step
// between sizes as fired mm (two at -d and d, three at -d, 0 and d), as tabled from 30,000 to
// 100,000 draws. The tolerance is the table's rounding and three of its standard errors.
func TestSparesAsTabled(t *testing.T) {
	for _, row := range []struct{ sd, one, alike, two, dTwo, three, dThree float64 }{
		{0.4, 94, 98, 99, 0.4, 99.5, 0.6}, {0.6, 79, 90, 94, 0.4, 98, 0.8}, {0.8, 65, 81, 85, 0.6, 93, 0.8},
		{1.0, 55, 73, 76, 0.6, 86, 0.8}, {1.5, 38, 57, 58, 0.6, 71, 1.0},
	} {
		f := fitProbability{least: 1, most: 2.5, bound: bound{at: math.Inf(1)},
			scales: fitScales(math.Inf(1)), gauss: legendre(16)}
		m := []float64{1.75, 1.75, 1.75 - row.dTwo, 1.75 + row.dTwo, 1.75 - row.dThree, 1.75 + row.dThree}
		own := make([]variance, len(m))
		for i := range own {
			own[i] = variance{known: 0.3 * row.sd * row.sd}
		}
		table := f.share(m, own, variance{known: 0.7 * row.sd * row.sd})
		what := fmt.Sprintf("sd %.1f: ", row.sd)
		near(t, what+"one", 100*f.one(1.75, variance{known: row.sd * row.sd}), row.one, 1)
		near(t, what+"two alike", 100*table.any(0, 1), row.alike, 1.2)
		near(t, what+"two spread", 100*table.any(2, 3), row.two, 1.2)
		near(t, what+"three spread", 100*table.any(4, 0, 5), row.three, 1.2)
		near(t, what+"one by the table", table.any(0), f.one(1.75, variance{known: row.sd * row.sd}), 1e-4)
	}
}

// The scales have a mean square of 1, their log square a variance of 2/nu, and the chance is that of a
// fine sum over the log-normal itself.
func TestFitScales(t *testing.T) {
	for _, nu := range []float64{3, 4, 10, 30} {
		var mean, logs, squares float64
		for _, s := range fitScales(nu) {
			l := 2 * math.Log(s.at)
			mean, logs, squares = mean+s.weight*s.at*s.at, logs+s.weight*l, squares+s.weight*l*l
		}
		near(t, fmt.Sprintf("mean square at %.0f", nu), mean, 1, 1e-4)
		near(t, fmt.Sprintf("variance of the log at %.0f", nu), squares-logs*logs, 2/nu, 1e-4)
		f := fitProbability{least: -1, most: 1.5, bound: bound{at: math.Inf(1)}, scales: fitScales(nu)}
		var fine float64
		const h = 0.01
		for z := -8.0; z < 8; z += h {
			sd := math.Sqrt(0.2 + 0.5*math.Exp(z*math.Sqrt(2/nu)-1/nu))
			fine += h * math.Exp(-z*z/2) / math.Sqrt(2*math.Pi) * (normalCDF(1.5/sd) - normalCDF(-1/sd))
		}
		near(t, fmt.Sprintf("chance at %.0f", nu), f.one(0, variance{0.2, 0.5}), fine, 1e-4)
		half := f.likelyHalf(variance{0.2, 0.5}, 0.90)
		f.least, f.most = -half, half
		near(t, fmt.Sprintf("share within the likely range at %.0f", nu),
			f.one(0, variance{0.2, 0.5}), 0.90, 1e-6)
	}
}
