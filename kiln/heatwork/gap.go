package heatwork

import (
	"math"
	"time"
)

// heatJoin is how a point hangs on the one before it.
type heatJoin int

const (
	heatStraight heatJoin = iota
	heatGap               // nothing heard between, for a known time
	heatUnknown           // nothing heard between, nobody knows how long
)

// Choices about gaps (own).
const (
	GapNearPeak = 150             // °C below the peak within which a gap can matter
	GapToMark   = 5 * time.Minute // a gap longer than this near the top makes it an estimate
	gapParts    = 25              // °C that a way through a gap is cut into
	// °C below its hot end from which a way does next to nothing, and four times as wide parts will do
	gapDeep = 200
	// °C that a kiln may have risen unheard above all it was heard at, for each hour
	gapAbove = 50
)

// advance moves s from one point to the next. In a gap near the top the three sets part:
// the central one takes the straight line, the low one the deepest fall and return that the
// kiln is capable of, the high one the steepest rise and return.
func (l *ConeScale) advance(s *heatState, from, to *heatPoint, join heatJoin, g *HeatGauge) {
	var d [3][rungCount]float64
	same := true
	// what each of the three sets gains on the way, into d
	switch hottest := math.Max(from.t, to.t); {
	case join == heatStraight, join == heatGap && hottest < g.peak-GapNearPeak:
		l.work(&d[heatCentral], from, to)
	case join == heatGap:
		same = false
		l.workIn(&d[heatCentral], from, to, gapParts)
		l.gapBounds(&d, from, to, g)
	default:
		// The shortest time that joins the two; low does nothing in it, high has no end.
		rate := float64(g.Rise)
		if to.t < from.t {
			rate = float64(g.Fall)
		}
		meet := *to
		meet.hours = from.hours + math.Abs(to.t-from.t)/rate
		l.work(&d[heatCentral], from, &meet)
		if hottest >= g.peak-GapNearPeak && reachesHeat(from.t, to.t) {
			same, s.open = false, true
			d[heatHigh] = d[heatCentral]
		}
	}
	// the first gap that matters: low and high begin where the central set is
	if !same && !s.split {
		s.split = true
		s.phi[heatLow], s.phi[heatHigh] = s.phi[heatCentral], s.phi[heatCentral]
		s.most[heatLow], s.most[heatHigh] = s.most[heatCentral], s.most[heatCentral]
	}
	// take it in; until they part, low and high have the central set's place on the ladder
	sets := [...]int{heatCentral, heatLow, heatHigh}
	for _, set := range sets {
		if set != heatCentral && !s.split {
			s.most[set] = s.most[heatCentral]
			continue
		}
		add := &d[set]
		if same {
			add = &d[heatCentral]
		}
		for i := range rungCount {
			s.phi[set][i] += add[i]
		}
		s.most[set] = math.Max(s.most[set], l.position(&s.phi[set]))
	}
	// The sums part by a rounding where the work is the same; that must not turn them round.
	s.most[heatLow] = math.Min(s.most[heatLow], s.most[heatCentral])
	s.most[heatHigh] = math.Max(s.most[heatHigh], s.most[heatCentral])
	s.at = *to
}

// reachesHeat says whether a kiln can have come near cone 022 in a gap of unknown length:
// within the two hours that such a gap is taken for where its ends are alike (at most 400 °C
// down or 100 up; own), otherwise always.
func reachesHeat(from, to float64) bool {
	alike := to >= from-400 && to <= from+100
	return !alike || math.Max(from, to)+float64(Steepest) >= 500
}

// gapBounds puts the least and the most work that a gap can hold into d, with the straight
// line's in d[heatCentral].
func (l *ConeScale) gapBounds(d *[3][rungCount]float64, from, to *heatPoint, g *HeatGauge) {
	hours, rise, fall := to.hours-from.hours, float64(g.Rise), float64(g.Fall)

	// Low: down for the first part, up for the rest; never below freezing.
	down := heatClamp((from.t+rise*hours-to.t)/(fall+rise), 0, hours)
	l.by(&d[heatLow], from, to, down, math.Max(0, from.t-fall*down), -fall, rise)

	// High: the mirror, with a lid on it.
	most := math.Max(g.peak, math.Max(from.t, to.t)) + gapAbove*math.Max(1, hours)
	if limit := float64(g.limit); limit < most {
		most = math.Max(limit, math.Max(from.t, to.t))
	}
	up := heatClamp((to.t+fall*hours-from.t)/(fall+rise), 0, hours)
	l.by(&d[heatHigh], from, to, up, math.Min(most, from.t+rise*up), rise, -fall)

	for i := range rungCount { // rounding must not turn them round
		d[heatLow][i] = math.Min(d[heatLow][i], d[heatCentral][i])
		d[heatHigh][i] = math.Max(d[heatHigh][i], d[heatCentral][i])
	}
}

// by adds the work of going from one point to another by way of a turning temperature,
// reached at first °C/h, stayed at, and left at second °C/h. Where the kiln cannot be that
// quick the turn falls on one of the ends and the way is the straight line.
func (l *ConeScale) by(d *[rungCount]float64, from, to *heatPoint, turn, at, first, second float64) {
	hours := to.hours - from.hours
	if turn <= 0 || turn >= hours {
		l.workIn(d, from, to, gapParts)
		return
	}
	there := heatPoint{hours: from.hours + heatClamp((at-from.t)/first, 0, turn), t: at}
	leave := heatPoint{hours: to.hours - heatClamp((to.t-at)/second, 0, hours-turn), t: at}
	l.way(d, from, &there)
	l.way(d, &there, &leave)
	l.way(d, &leave, to)
}

// way adds the work of one straight piece through a gap.
func (l *ConeScale) way(d *[rungCount]float64, from, to *heatPoint) {
	// the part within 200 °C of the hot end does nearly all of the work and is cut finely
	share := gapDeep / math.Abs(to.t-from.t)
	if !(share < 1) {
		l.workIn(d, from, to, gapParts)
		return
	}
	deep := heatPoint{hours: to.hours + (from.hours-to.hours)*share, t: to.t + (from.t-to.t)*share}
	near, far := gapParts, 4*gapParts
	if from.t > to.t {
		deep = heatPoint{hours: from.hours + (to.hours-from.hours)*share, t: from.t + (to.t-from.t)*share}
		near, far = far, near
	}
	l.workIn(d, from, &deep, float64(far))
	l.workIn(d, &deep, to, float64(near))
}

// heatClamp is x, kept between lo and hi.
func heatClamp(x, lo, hi float64) float64 { return math.Max(lo, math.Min(hi, x)) }
