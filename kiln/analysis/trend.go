package analysis

import (
	"errors"
	"math"
	"slices"
	"time"

	"lidwright/kiln"
)

// ErrTooFew is the answer where a trend is asked of fewer than four firings.
var ErrTooFew = errors.New("fewer than four firings to see a trend in")

// Trend is how something of a kiln's firings changed with time.
type Trend struct {
	PerYear float64 // in the unit of what was asked; the median of the slopes between any two firings
	Clear   bool    // no accident: such an order would come about by chance once in 20 times at most
	Firings int     // how many count: whole ones with a trusted date and a value
}

// TrendOf looks at one quantity of the firings that ended and whose dates can be trusted; of
// gives it, NaN where a firing has none. The firings should be of one kiln, kind and atmosphere.
//
// The slope is that of Theil (1950) and Sen (1968), which one odd firing does not move; whether
// it is clear is the test of Mann (1945), two-sided at 5 %, with the normal approximation and
// the correction of one for continuity. Both as in Helsel and others, Statistical Methods in
// Water Resources (2020), sections 10.1 and 12.1, from memory.
func TrendOf(firings []kiln.Firing, of func(kiln.Firing) float64) (Trend, error) {
	var years, values []float64
	for _, f := range firings {
		v := of(f)
		if f.Status != kiln.Ended || !f.Began.Trusted || math.IsNaN(v) || math.IsInf(v, 0) {
			continue
		}
		years = append(years, f.Began.Wall.Sub(time.Unix(0, 0)).Hours()/(24*365.25))
		values = append(values, v)
	}
	n := len(values)
	if n < 4 {
		return Trend{Firings: n}, ErrTooFew
	}
	// every pair: its slope, and whether it rose or fell
	var slopes []float64
	score := 0
	for i := range n {
		for j := range i {
			dx, dy := years[i]-years[j], values[i]-values[j]
			if dx == 0 {
				continue
			}
			slopes = append(slopes, dy/dx)
			switch {
			case dy/dx > 0:
				score++
			case dy/dx < 0:
				score--
			}
		}
	}
	if len(slopes) == 0 {
		return Trend{Firings: n}, ErrTooFew
	}
	// the score as a standard normal, one taken off for continuity
	z := (math.Abs(float64(score)) - 1) / math.Sqrt(scoreVariance(values))
	return Trend{PerYear: kiln.Median(slopes), Clear: z >= 1.96, Firings: n}, nil
}

// scoreVariance is that of Mann's score where nothing but chance is at work, with ties.
func scoreVariance(values []float64) float64 {
	term := func(n float64) float64 { return n * (n - 1) * (2*n + 5) }
	v := term(float64(len(values)))
	sorted := slices.Sorted(slices.Values(values))
	for from := 0; from < len(sorted); {
		to := from
		for to < len(sorted) && sorted[to] == sorted[from] {
			to++
		}
		v -= term(float64(to - from))
		from = to
	}
	return v / 18
}
