package analysis

import (
	"math"
	"time"

	"lidwright/kiln"
)

// pointBin is how long readings are averaged before they make a point.
const pointBin = 10 * time.Second

// featurePoint is the mean of the good readings of 10 s, or a reading where they come
// slower; gap says that nothing was heard since the point before.
type featurePoint struct {
	hours float64
	t     float64
	gap   bool
}

// featurePoints thins one column of a curve to points of 10 s.
func featurePoints(c kiln.Curve, channel kiln.ChannelID) []featurePoint {
	var points []featurePoint
	var number int64
	var n, sumT, sumH float64
	silence := 3 * max(20*time.Second, medianStep(c, channel)) // longer is a gap, told or not
	broken, gap := false, 0
	last := time.Duration(-1)
	closeBin := func() {
		if n > 0 {
			points = append(points, featurePoint{hours: sumH / n, t: sumT / n, gap: broken})
		}
		n, sumT, sumH, broken = 0, 0, 0, false
	}
	// a point ends with its 10 s or where a gap lies, so that no mean spans one
	for i, t := range c.Column(channel) {
		if !t.Known() {
			continue
		}
		after := c.After[i]
		crossed := last >= 0 && after-last > silence
		last = after
		for ; gap < len(c.Gaps) && c.Gaps[gap].After < after; gap++ {
			crossed = true
		}
		if b := int64(after / pointBin); n > 0 && (b != number || crossed) {
			closeBin()
		}
		number = int64(after / pointBin)
		broken = broken || crossed
		n, sumT, sumH = n+1, sumT+float64(t), sumH+after.Hours()
	}
	closeBin()
	return points
}

// medianStep is the median time between good readings of a channel.
func medianStep(c kiln.Curve, channel kiln.ChannelID) time.Duration {
	var steps []float64
	last := time.Duration(-1)
	for i, t := range c.Column(channel) {
		if !t.Known() {
			continue
		}
		if last >= 0 {
			steps = append(steps, float64(c.After[i]-last))
		}
		last = c.After[i]
	}
	if len(steps) == 0 {
		return 0
	}
	return time.Duration(kiln.Median(steps))
}

// featureTop is the highest of the running medians of five points, and the point it
// stands at: one wild reading makes no peak.
func featureTop(p []featurePoint) (at int, top float64) {
	top = math.Inf(-1)
	for i := range p {
		var five [5]float64
		n := 0
		for j := max(0, i-2); j <= min(len(p)-1, i+2); j++ {
			k := n
			for ; k > 0 && five[k-1] > p[j].t; k-- {
				five[k] = five[k-1]
			}
			five[k] = p[j].t
			n++
		}
		m := five[n/2]
		if n%2 == 0 {
			m = (five[n/2-1] + five[n/2]) / 2
		}
		if m > top {
			at, top = i, m
		}
	}
	return at, top
}

// between is how many hours the curve took through a band, from `from` to `to` °C, upward or
// downward, on its first way through within p. It is NaN if it never went all the way or was
// not heard in it.
func between(p []featurePoint, from, to float64) float64 {
	sign := 1.0
	if to < from {
		sign = -1
	}
	for i := range p {
		if sign*(p[i].t-to) < 0 {
			continue
		}
		// Reached at i: walk back to where it was last on the near side.
		end := crossing(p, i, to)
		for j := i; j >= 0; j-- {
			if p[j].gap && sign*(p[j].t-from) > 0 {
				return math.NaN()
			}
			if sign*(p[j].t-from) <= 0 {
				if j+1 <= i && p[j+1].gap {
					return math.NaN()
				}
				return end - crossing(p, j+1, from)
			}
		}
		return math.NaN()
	}
	return math.NaN()
}

// crossing is when the line from point i-1 to point i passes t.
func crossing(p []featurePoint, i int, t float64) float64 {
	if i <= 0 || i >= len(p) || p[i].t == p[i-1].t {
		return p[min(max(i, 0), len(p)-1)].hours
	}
	f := min(max((t-p[i-1].t)/(p[i].t-p[i-1].t), 0), 1)
	return p[i-1].hours + f*(p[i].hours-p[i-1].hours)
}

// hoursAbove is how long the curve was heard above t °C.
func hoursAbove(p []featurePoint, t float64) float64 {
	sum := 0.0
	for i := 1; i < len(p); i++ {
		if p[i].gap {
			continue
		}
		a, b, dt := p[i-1].t-t, p[i].t-t, p[i].hours-p[i-1].hours
		switch {
		case a >= 0 && b >= 0:
			sum += dt
		case a >= 0 || b >= 0:
			sum += dt * math.Max(a, b) / math.Abs(a-b)
		}
	}
	return sum
}

// hoursToDuration is h hours.
func hoursToDuration(h float64) time.Duration { return time.Duration(h * float64(time.Hour)) }
