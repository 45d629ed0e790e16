package analysis

import (
	"math"
	"sort"

	"lidwright/kiln"
)

// Rules for a hold (own choice). Its ends are where it comes within 1.5 °C of its middle, so that
// it comes out up to 3 min long beside a slope of 60 °C/h.
const (
	holdEnds    = 1.5       // °C off the middle
	holdSpan    = 6.0       // °C between lowest and highest
	holdLeast   = 10.0 / 60 // h
	holdSlope   = 15.0      // °C/h
	holdParted  = 2.0 / 60  // h between two that are one
	holdNatural = 40.0      // h: a fall slower than any kiln of this time constant is held, not let go
)

// featureHolds finds the longest runs that stay within 6 °C for 10 min or more. top is the
// point of the peak: after it a fall no quicker than a very heavy kiln left to itself is no hold.
func featureHolds(p []featurePoint, top int) []kiln.Hold {
	runs := flatRuns(p, top)
	// the longest first; what overlaps one that is kept goes
	sort.SliceStable(runs, func(i, j int) bool { return runs[i].hours(p) > runs[j].hours(p) })
	var kept []flatRun
	for _, r := range runs {
		free := true
		for _, k := range kept {
			free = free && (r.to < k.from || r.from > k.to)
		}
		if free {
			kept = append(kept, r)
		}
	}
	sort.Slice(kept, func(i, j int) bool { return kept[i].from < kept[j].from })
	// two that lie within 2 min and 6 °C of each other are one hold that wavered
	var joined []flatRun
	for _, r := range kept {
		if n := len(joined); n > 0 && p[r.from].hours-p[joined[n-1].to].hours < holdParted &&
			math.Abs(meanOf(p, r)-meanOf(p, joined[n-1])) < holdSpan {
			joined[n-1].to = r.to
			continue
		}
		joined = append(joined, r)
	}
	// its ends lie on the slopes: they are trimmed to 1.5 °C of its middle
	holds := make([]kiln.Hold, 0, len(joined))
	for _, r := range joined {
		if r = r.trim(p); r.hours(p) < holdLeast {
			continue
		}
		holds = append(holds, kiln.Hold{At: kiln.Celsius(meanOf(p, r)), For: hoursToDuration(r.hours(p)),
			After: hoursToDuration(p[r.from].hours)})
	}
	return holds
}

// flatRun is the points from, from+1 ... to.
type flatRun struct{ from, to int }

// hours is how long it lasts.
func (r flatRun) hours(p []featurePoint) float64 { return p[r.to].hours - p[r.from].hours }

// trim takes the slopes off the ends.
func (r flatRun) trim(p []featurePoint) flatRun {
	all := make([]float64, 0, r.to-r.from+1)
	for _, q := range p[r.from : r.to+1] {
		all = append(all, q.t)
	}
	middle := kiln.Median(all)
	for r.from < r.to && math.Abs(p[r.from].t-middle) > holdEnds {
		r.from++
	}
	for r.from < r.to && math.Abs(p[r.to].t-middle) > holdEnds {
		r.to--
	}
	return r
}

// meanOf is the mean temperature of a run, °C.
func meanOf(p []featurePoint, r flatRun) float64 {
	sum := 0.0
	for i := r.from; i <= r.to; i++ {
		sum += p[i].t
	}
	return sum / float64(r.to-r.from+1)
}

// flatRuns gives, for every point that begins one, the longest run with a span of at most
// 6 °C, if it lasts and is flat.
func flatRuns(p []featurePoint, top int) []flatRun {
	var runs []flatRun
	// the lowest and highest of the window are the first of two queues, so that each point is looked at
	// once
	var low, high []int             // points of the window in rising and in falling order
	var sh, st, shh, sht, n float64 // sums over the window
	end := 0                        // first point not in the window
	take := func(i int, sign float64) {
		h := p[i].hours - p[0].hours
		n, sh, st, shh, sht = n+sign, sh+sign*h, st+sign*p[i].t, shh+sign*h*h, sht+sign*h*p[i].t
	}
	for i := range p {
		if end <= i {
			low, high, end = append(low[:0], i), append(high[:0], i), i+1
			n, sh, st, shh, sht = 0, 0, 0, 0, 0
			take(i, 1)
		}
		// grow the window while its span allows and nothing is missing
		for end < len(p) && !p[end].gap &&
			math.Max(p[high[0]].t, p[end].t)-math.Min(p[low[0]].t, p[end].t) <= holdSpan {
			for len(low) > 0 && p[low[len(low)-1]].t >= p[end].t {
				low = low[:len(low)-1]
			}
			for len(high) > 0 && p[high[len(high)-1]].t <= p[end].t {
				high = high[:len(high)-1]
			}
			low, high = append(low, end), append(high, end)
			take(end, 1)
			end++
		}
		// long enough and flat: less than 15 °C/h, and after the top no natural cooling
		if r := (flatRun{i, end - 1}); r.hours(p) >= holdLeast {
			slope := (n*sht - sh*st) / (n*shh - sh*sh)
			falling := i > top && slope < -math.Max(0, p[i].t-20)/holdNatural
			if math.Abs(slope) < holdSlope && !falling {
				runs = append(runs, r)
			}
		}
		// the point that began this window leaves it
		take(i, -1)
		if low[0] == i {
			low = low[1:]
		}
		if high[0] == i {
			high = high[1:]
		}
	}
	return runs
}
