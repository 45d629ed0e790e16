// Package heatwork is what time and temperature together do to clay, as pyrometric cones show it. In flow
// the readings of one channel, one by one (HeatGauge) or as a whole curve, the cones that stood in a
// firing, and what was told of a firing by hand; out flow a kiln.HeatWork with its range, cones in words,
// and what the cones tell of a probe (ProbeBias, ProbeStory). The scale of cones is fitted to the published
// end points in cones.csv; cones.md names their sources row by row.
//
// It holds no firing in progress (kiln/record does) and no rule of when a firing begins (kiln/detect).
package heatwork

import (
	"math"
	"slices"
	"time"

	"lidwright/kiln"
)

// heatBin is how long samples are averaged before they count: the rate of a cone is
// exponential, so that noise of single readings would add heat that was not there.
const heatBin = 10 * time.Second

// Steepest is how fast a kiln is taken to rise or fall in a gap where none of its own
// firings says better (own choice).
const Steepest kiln.CelsiusPerHour = 300

// HeatGauge works out the heat work of one channel while its firing goes on: hand it every
// good sample in order and ask at any time. It is for one goroutine. The same samples in
// the same order give the same bits, so that a restart replays them through a fresh gauge
// and goes on as if nothing had been.
//
// Set the exported fields before the first sample.
type HeatGauge struct {
	Bias   kiln.Celsius        // added to every sample: what the witness cones say the probe lacks
	BiasSD kiln.Celsius        // one sd of Bias; widens the range
	Rise   kiln.CelsiusPerHour // steepest rise of this kiln, for the bounds of a gap
	Fall   kiln.CelsiusPerHour // steepest fall, above 0
	Every  time.Duration       // time between samples where it is known; 0: found from the samples

	ladder *ConeScale
	limit  kiln.Celsius // bound for a gap; NaN: none

	n         int // samples taken
	lastAfter time.Duration
	intervals [7]time.Duration // the latest times between samples; their median is the period
	heard     int              // how many were put into intervals

	bin          int64 // number of the open bin
	binN         int
	binT, binAge float64 // sums over the open bin; ages from its first sample
	binStart     time.Duration
	join         heatJoin // how the open bin hangs on the point before it

	base, live heatState // up to the last full bin, and with the open bin too
	points     int       // full bins

	peak   float64
	climb  heatClimb
	rise   heatRise
	gapTop float64 // hottest end of a gap of over 5 min
}

// heatState is the work done so far. The three sets of phi, low, central and high, part at
// the first gap that matters; until then only the central one is kept.
type heatState struct {
	at    heatPoint
	phi   [3][rungCount]float64
	split bool
	open  bool       // a gap of unknown length: no upper end
	most  [3]float64 // highest place on the ladder so far: it never falls
}

const (
	heatLow = iota
	heatCentral
	heatHigh
)

// NewHeatGauge is a gauge at the beginning of a firing. limit is the kiln's limit, NaN for
// none; it bounds what may have happened unheard in a gap.
func NewHeatGauge(l *ConeScale, limit kiln.Celsius) *HeatGauge {
	g := &HeatGauge{Rise: Steepest, Fall: Steepest, ladder: l, limit: limit, peak: math.Inf(-1),
		gapTop: math.Inf(-1)}
	g.live.most = [3]float64{-1, -1, -1}
	return g
}

// Add takes one good sample at an age of the firing. Ages never fall; an age below the last
// one counts as the last one. A silence of more than a minute and three sample periods is a
// gap. A temperature that is not known is left out.
func (g *HeatGauge) Add(after time.Duration, t kiln.Celsius) {
	join := heatStraight
	if g.n > 0 && g.isGap(after-g.lastAfter) {
		join = heatGap
	}
	g.take(after, t, join)
}

// Rejoin takes the first good sample after a gap of unknown length, such as a restart of
// the machine without a trusted clock. after is where the recorder puts it; the time since
// the sample before is not believed.
func (g *HeatGauge) Rejoin(after time.Duration, t kiln.Celsius) {
	join := heatUnknown
	if g.n == 0 {
		join = heatStraight
	}
	g.take(after, t, join)
}

// take puts a reading into the open bin, or begins the next with it, and works out where the firing
// stands with the open bin counted in. What is shown live is base (the full bins) advanced by the mean of
// the open bin, so that it is worked out anew with each reading and never added twice.
func (g *HeatGauge) take(after time.Duration, t kiln.Celsius, join heatJoin) {
	t += g.Bias
	if !(t > -273 && t < 2500) {
		return // not known, or no temperature of any kiln
	}
	// a clock that went back adds no time
	after = max(after, g.lastAfter)
	// a long silence near the top makes the heat work an estimate: keep its hottest end
	if join != heatStraight && (join == heatUnknown || after-g.lastAfter > GapToMark) {
		g.gapTop = math.Max(g.gapTop, math.Max(g.live.at.t, float64(t)))
	}
	// the latest seven times between readings tell the period
	if g.n > 0 && join != heatUnknown {
		g.intervals[g.heard%len(g.intervals)] = after - g.lastAfter
		g.heard++
	}
	number := int64(after / heatBin)
	// The first sample after a gap is a point alone: the ways through the gap are worked out once,
	// and not anew for every sample of a bin whose mean still wavers.
	if g.n == 0 || join != heatStraight || g.join != heatStraight || number != g.bin {
		g.closeBin()
		g.bin, g.binN, g.binT, g.binAge, g.binStart, g.join = number, 0, 0, 0, after, join
	}
	// into the open bin
	g.n++
	g.lastAfter = after
	g.binN++
	g.binT += float64(t)
	g.binAge += (after - g.binStart).Hours()

	at := heatPoint{hours: g.binStart.Hours() + g.binAge/float64(g.binN), t: g.binT / float64(g.binN)}
	// the first bin is where the way begins: nothing is done yet
	if g.points == 0 {
		g.live.at = at
		return
	}
	said := g.live.most // the open bin's mean wavers; what has once been said stands
	g.live = g.base
	g.ladder.advance(&g.live, &g.base.at, &at, g.join, g)
	for i := range said {
		g.live.most[i] = math.Max(g.live.most[i], said[i])
	}
}

// closeBin makes the open bin the last point.
func (g *HeatGauge) closeBin() {
	if g.binN == 0 {
		return
	}
	g.base = g.live
	g.points++
	g.peak = math.Max(g.peak, g.base.at.t)
	g.climb.add(g.base.at.t, g.base.most[heatCentral])
	g.rise.add(g.base.at)
}

// isGap says whether a silence is long enough to be one.
func (g *HeatGauge) isGap(silence time.Duration) bool {
	return silence > time.Minute && silence > 3*g.period()
}

// period is the median of the latest times between samples. Before there are any, three of
// it are a quarter of an hour: a slower curve says its Every.
func (g *HeatGauge) period() time.Duration {
	if g.Every > 0 {
		return g.Every
	}
	known := min(g.heard, len(g.intervals))
	if known == 0 {
		return 5 * time.Minute
	}
	sorted := g.intervals
	slices.Sort(sorted[:known])
	return sorted[known/2]
}

// HeatWork is what the firing has done so far, the open bin included. Its range is the 90 %
// one: 3 °C for fit and table, what a rate beyond the tables adds, the doubt of Bias, a quarter
// of what the firing gained from the top on (no published kinetics of a cone under a hold were
// found), stretched to hold what may have happened in gaps.
func (g *HeatGauge) HeatWork() kiln.HeatWork {
	// two readings make a way; less tells nothing
	most, l := &g.live.most, g.ladder
	if g.n < 2 {
		w := kiln.NoHeatWork(kiln.FromCurve)
		w.Bias, w.BiasSD = g.Bias, g.BiasSD
		return w
	}
	hw := kiln.HeatWork{C: kiln.NoTemperature(), Low: kiln.NoTemperature(), High: kiln.NoTemperature(),
		Position: most[heatCentral],
		From:     kiln.FromCurve, Model: kiln.HeatWorkModel, Bias: g.Bias, BiasSD: g.BiasSD,
		Estimate: g.gapTop >= math.Max(g.peak, g.live.at.t)-GapNearPeak}
	// the doubt of this firing alone: its hold and its rate; OwnSD has a quarter of what gaps leave open too
	own := math.Hypot(g.holdSD(), rateSD(g.rise.rate()))
	hw.OwnSD = own
	if g.live.split {
		low, high := l.HeatWorkAt(most[heatLow]), l.HeatWorkAt(most[heatHigh])
		hw.OwnSD = math.Hypot(own, float64(high-low)/4)
	}
	// below cone 022 there is a place and no temperature
	if hw.Position < 0 {
		return hw
	}
	hw.C = l.HeatWorkAt(hw.Position)
	// the range: independent doubts add as squares, then it is stretched to the bounds of the gaps
	half := kiln.Celsius(kiln.Z90 * math.Sqrt(modelSD*modelSD+float64(g.BiasSD*g.BiasSD)+own*own))
	hw.Low, hw.High = hw.C-half, hw.C+half
	if g.live.split {
		hw.Low = min(hw.Low, l.HeatWorkAt(most[heatLow]))
		hw.High = max(hw.High, l.HeatWorkAt(most[heatHigh]))
	}
	// past the last cone, or with time that nobody knows, there is no upper end
	if g.live.open || most[heatHigh] >= l.cones[rungCount-1].Position {
		hw.High = kiln.NoTemperature()
	}
	return hw
}

// HoldCredit is how far the heat work rose from the first sample within 3 °C of the peak on,
// through a hold and the beginning of the cooling.
func (g *HeatGauge) HoldCredit() kiln.Celsius {
	at, ok := g.climb.first()
	if !ok || g.live.most[heatCentral] < 0 {
		return 0
	}
	return g.ladder.HeatWorkAt(g.live.most[heatCentral]) - g.ladder.HeatWorkAt(at)
}

// holdSD is what the credit of a hold adds to the doubt, °C (one sd).
func (g *HeatGauge) holdSD() float64 { return holdShare * float64(g.HoldCredit()) }

// heatRise keeps when a firing first reached each tenth degree from 400 °C on, to tell how fast it climbed
// over its last 100 °C.
type heatRise struct {
	// hours[i] is when riseFrom + 10 i °C was first reached
	hours [130]float64
	n     int
}

// add notes when each step of 10 °C is first reached; later falls and rises change nothing.
func (r *heatRise) add(at heatPoint) {
	for r.n < len(r.hours) && at.t >= riseFrom+riseStep*float64(r.n) {
		r.hours[r.n] = at.hours
		r.n++
	}
}

// riseFrom is where heatRise begins and riseStep its step, °C; risePart steps make the last 100 °C.
const riseFrom, riseStep, risePart = 400, 10, 10

// rate is that of the last 100 °C of the climb, °C/h; 0: it did not climb so far.
func (r *heatRise) rate() float64 {
	if r.n <= risePart {
		return 0
	}
	took := r.hours[r.n-1] - r.hours[r.n-1-risePart]
	if took <= 0 {
		return math.Inf(1)
	}
	return risePart * riseStep / took
}

// heatClimb keeps the last few °C of the way up to the peak, to answer what the heat work
// was when the firing first came within 3 °C of it: a time that is known only once the peak
// is. Highs are kept a twentieth of a degree apart.
type heatClimb struct {
	// a ring, oldest at from
	high [64]struct{ t, position float64 }
	from int
	n    int
}

// add takes a point that is a new high; lower ones and those within 0.05 °C of the last are passed over.
func (c *heatClimb) add(t, position float64) {
	if c.n > 0 && t < c.high[(c.from+c.n-1)%len(c.high)].t+0.05 {
		return
	}
	for c.n > 0 && (c.n == len(c.high) || c.high[c.from].t < t-3) {
		c.from, c.n = (c.from+1)%len(c.high), c.n-1
	}
	c.high[(c.from+c.n)%len(c.high)].t = t
	c.high[(c.from+c.n)%len(c.high)].position = position
	c.n++
}

// first is the place on the ladder at the oldest high that is kept: the first within 3 °C of the peak.
func (c *heatClimb) first() (position float64, ok bool) {
	if c.n == 0 {
		return 0, false
	}
	return c.high[c.from].position, true
}
