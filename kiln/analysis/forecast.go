package analysis

import (
	"math"
	"slices"
	"time"

	"lidwright/kiln"
	"lidwright/kiln/detect"
)

// HeatingForecast is what the usual firings say of one that is on its way up: how far ahead of them it is,
// and how long it takes to its peak and down to a mark, each with a range. It is a forecast of a reading,
// and no leave to open.
type HeatingForecast struct {
	Known     bool            // two usual firings at least came as far as this one has
	Ahead     time.Duration   // of the usual firings at this temperature; negative: behind them
	Peak      time.Duration   // from now to the peak
	CoolKnown bool            // two of them at least were recorded down to the mark
	Cool      CoolingForecast // from now to the mark
}

// Choices about the forecast while heating (own).
const (
	forecastLeast  = 2    // usual firings with a curve
	forecastWithin = 5    // °C within which a curve is where the kiln is now: it may stand in a hold
	forecastOver   = 15   // °C over the usual peak from which on the usual firings say nothing
	forecastSpread = 0.03 // of the time left, one sd: what a few firings that agree do not show
)

// ForecastHeating lays a firing that has gone on for elapsed and reads t over the curves of the usual ones,
// each from its first rise on. In a hold it takes the moment nearest to elapsed, so that a kiln that is in
// time stays so. The range is that of Student's t for the curves, of which the sd is taken as 3 % of the time
// left at least.
func ForecastHeating(elapsed time.Duration, t kiln.Celsius, curves []kiln.Envelope,
	mark kiln.Celsius) (f HeatingForecast) {
	var ahead, peak, cool []float64 // h
	// where this firing stands on each usual curve: at its temperature, nearest to its time
	for _, e := range curves {
		top := topOf(e)
		if top < 0 || t > middle(e, top)+forecastOver {
			continue
		}
		first, last := top, 0
		for i := range top + 1 {
			if middle(e, i) >= t-forecastWithin && i < first {
				first = i
			}
			if middle(e, i) <= t+forecastWithin {
				last = i
			}
		}
		at := min(max(elapsed, e.After[first]), e.After[max(first, last)])
		ahead, peak = append(ahead, (at-elapsed).Hours()), append(peak, (e.After[top]-at).Hours())
		// when that curve came down to the mark
		for i := top; i < len(e.After); i++ {
			if middle(e, i) <= mark {
				cool = append(cool, (e.After[i] - at).Hours())
				break
			}
		}
	}
	if len(ahead) < forecastLeast {
		return f
	}
	// medians, which one odd firing does not move
	f.Known, f.Ahead, f.Peak = true, hoursToDuration(kiln.Median(ahead)),
		hoursToDuration(math.Max(0, kiln.Median(peak)))
	if len(cool) >= forecastLeast {
		// the range of one more firing like these: Student's t, with the doubt of the middle in it
		left := kiln.Median(slices.Clone(cool))
		sd := math.Max(sampleSD(cool), forecastSpread*left)
		half := studentT95[min(len(cool), len(studentT95)-1)] * sd * math.Sqrt(1+1/float64(len(cool)))
		half = math.Min(half, left/2) // two that differ much would tell nothing
		f.CoolKnown = true
		f.Cool = CoolingForecast{Known: true, Left: hoursToDuration(left), Low: hoursToDuration(left - half),
			High: hoursToDuration(left + half)}
	}
	return f
}

// studentT95 leaves 1 in 20 above it, by the number of values (one more than its degrees of freedom).
var studentT95 = []float64{0, 0, 6.31, 2.92, 2.35}

// sampleSD is the sd of a sample of two and more; NaN of one.
func sampleSD(values []float64) float64 {
	mean, sum := 0.0, 0.0
	for _, v := range values {
		mean += v / float64(len(values))
	}
	for _, v := range values {
		sum += (v - mean) * (v - mean)
	}
	return math.Sqrt(sum / float64(len(values)-1))
}

// middle is the middle of step i, °C.
func middle(e kiln.Envelope, i int) kiln.Celsius { return (e.Low[i] + e.High[i]) / 2 }

// topOf is the first step within 3 °C of the peak, -1 of an empty curve.
func topOf(e kiln.Envelope) int {
	peak := kiln.Celsius(math.Inf(-1))
	for i := range e.After {
		peak = max(peak, middle(e, i))
	}
	for i := range e.After {
		if middle(e, i) >= peak-3 {
			return i
		}
	}
	return -1
}

// FallsOf is how soon after its peak a firing came down to each of detect.FallLevels; none of one that did
// not reach detect.FallsFrom.
func FallsOf(e kiln.Envelope) (falls []detect.Fall) {
	top := -1
	for i := range e.After {
		if top < 0 || middle(e, i) >= middle(e, top) {
			top = i
		}
	}
	if top < 0 || middle(e, top) < detect.FallsFrom {
		return nil
	}
	for _, level := range detect.FallLevels() {
		for i := top; i < len(e.After); i++ {
			if middle(e, i) <= level {
				falls = append(falls, detect.Fall{To: level, After: e.After[i] - e.After[top]})
				break
			}
		}
	}
	return falls
}
