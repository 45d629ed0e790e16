package heatwork

import "math"

// Below heatFloor no cone moves: cone 022 needs 10 years at 400 °C.
const heatFloor = 400

// heatPoint is a temperature at a moment, with the rate of every rung there once worked out.
type heatPoint struct {
	hours float64
	t     float64 // °C
	rated bool
	rate  [rungCount]float64 // dphi/dt, 1/h
}

// rate works out the rate of every rung at p, once.
func (l *ConeScale) rate(p *heatPoint) {
	if p.rated {
		return
	}
	inv := 1 / (p.t + 273.15)
	for i := range rungCount {
		p.rate[i] = math.Exp(l.k[i]*(1/l.tauK[i]-inv)) / l.hours[i]
	}
	p.rated = true
}

// work adds to d what the straight line from a to b does to every rung. A step in which the
// logarithm of the rate is a straight line is exact, dphi = dt (b - a)/ln(b/a), so a hold of
// any length is one step; a slope is cut into parts of at most 5 °C (a minute at 300 °C/h),
// over which 1/T is straight to 2e-4 of the rate.
func (l *ConeScale) work(d *[rungCount]float64, a, b *heatPoint) { l.workIn(d, a, b, 5) }

// workIn is work in parts of at most widest °C. In a gap 25 will do: 4e-3 of the rate, or a
// tenth of a degree of heat work, where nothing was heard at all.
func (l *ConeScale) workIn(d *[rungCount]float64, a, b *heatPoint, widest float64) {
	dt := b.hours - a.hours
	if !(dt > 0) || (a.t < heatFloor && b.t < heatFloor) {
		return
	}
	l.rate(a)
	l.rate(b)
	span := math.Abs(b.t - a.t)
	if !(span > widest) {
		l.logMean(d, a, b)
		return
	}
	// equal parts; the ends of neighbouring parts share one point, whose rates are worked out once
	n := math.Ceil(span / widest)
	parts := [2]heatPoint{}
	from := a
	for i := 1.0; i < n; i++ {
		to := &parts[int(i)%2]
		to.hours, to.t, to.rated = a.hours+dt*i/n, a.t+(b.t-a.t)*i/n, false
		if from.t >= heatFloor || to.t >= heatFloor {
			l.rate(from)
			l.rate(to)
			l.logMean(d, from, to)
		}
		from = to
	}
	if from.t >= heatFloor || b.t >= heatFloor {
		l.rate(from)
		l.logMean(d, from, b)
	}
}

// logMean adds one step whose rates are known at both ends.
func (l *ConeScale) logMean(d *[rungCount]float64, a, b *heatPoint) {
	dt := b.hours - a.hours
	inv := 1/(a.t+273.15) - 1/(b.t+273.15)
	for i := range rungCount {
		ln := l.k[i] * inv // ln(b/a) from the exponents: far below its end point a rung's rate may be 1e-229
		if math.Abs(ln) < 1e-6 {
			d[i] += dt * (a.rate[i] + b.rate[i]) / 2
			continue
		}
		d[i] += dt * (b.rate[i] - a.rate[i]) / ln
	}
}

// position is the place on the ladder that phi shows. A rung never counts as further than
// the ones below it (the order guard): they swap by up to 3 °C below 10 °C/h.
func (l *ConeScale) position(phi *[rungCount]float64) float64 {
	// below 022: each e-fold of phi is S °C, told in widths of the first step, as far as -1
	guarded := phi[0]
	if guarded < 1 {
		c := &l.cones
		below := math.Log(math.Max(guarded, 1e-300)) * float64(c[0].S/(c[1].Tau-c[0].Tau))
		return math.Max(-1, below)
	}
	for i := 1; i < rungCount; i++ {
		// between the last rung that is down and the first that is not, where ln phi passes 0
		next := math.Min(guarded, phi[i])
		if next < 1 {
			a, b := math.Log(guarded), math.Log(math.Max(next, 1e-300))
			lo, hi := l.cones[i-1].Position, l.cones[i].Position
			return lo + (hi-lo)*a/(a-b)
		}
		guarded = next
	}
	return l.cones[rungCount-1].Position
}
