package tiles

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
		f := fit{least: 1, most: 2.5, bound: bound{at: math.Inf(1)}, scales: tScales(math.Inf(1)), gauss: legendre(16)}
		m := []float64{1.75, 1.75, 1.75 - row.dTwo, 1.75 + row.dTwo, 1.75 - row.dThree, 1.75 + row.dThree}
		own := make([]float64, len(m))
		for i := range own {
			own[i] = row.sd * math.Sqrt(0.3)
		}
		table := f.share(m, own, row.sd*math.Sqrt(0.7))
		what := fmt.Sprintf("sd %.1f: ", row.sd)
		near(t, what+"one", 100*f.one(1.75, row.sd), row.one, 1)
		near(t, what+"two alike", 100*table.any(0, 1), row.alike, 1.2)
		near(t, what+"two spread", 100*table.any(2, 3), row.two, 1.2)
		near(t, what+"three spread", 100*table.any(4, 0, 5), row.three, 1.2)
		near(t, what+"one by the table", table.any(0), f.one(1.75, row.sd), 1e-4)
	}
}

// The mixture of scaled normals is a Student t: against its own distribution function.
func TestScalesMakeAT(t *testing.T) {
	for _, c := range []struct{ nu, half, want float64 }{
		// two-sided 90 % points of the t (any table of it): 2.353, 2.132, 1.812, 1.697
		{3, 2.353, 0.90}, {4, 2.132, 0.90}, {10, 1.812, 0.90}, {30, 1.697, 0.90},
	} {
		f := fit{least: -c.half, most: c.half, bound: bound{at: math.Inf(1)}, scales: tScales(c.nu)}
		near(t, fmt.Sprintf("t of %.0f", c.nu), f.one(0, 1), c.want, 5e-4)
		near(t, fmt.Sprintf("90 %% point of the t of %.0f", c.nu), likelyHalf(c.nu, 0.90), c.half, 5e-4)
	}
}
