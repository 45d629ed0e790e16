package heatwork

import (
	"math"
	"slices"
)

// coneSeen is what one cone told of a probe: between which tilts it stood.
type coneSeen struct {
	s        float64 // of its cone, °C an e-fold
	end      float64 // heat work at its end point less what was indicated, °C
	from, to float64 // tilts, degrees; infinite: open to that side
	own      float64 // variance that no reader brings, °C²
	wide     float64 // by which its variance counts more: 1, or what a questioned reading has
}

// belief is what is believed of a probe at one firing, as a normal: its bias (°C), its drift (°C a firing)
// and the habit of whoever reads its cones (in sds).
type belief struct {
	at  [3]float64
	cov [3][3]float64
}

// firingSeen are the cones of one firing, and where bias, drift and habit then were by all that was seen.
type firingSeen struct {
	cones []coneSeen
	at    [3]float64
}

// probeState is what the cones of a life told. What a cone tells is that its tilt, as its reader sees it,
// lies between two edges; the chance of that falls off to both sides as that of a normal. So the habit is
// told from the bias where cones stand at unlike tilts: a degree is worth more heat work where a cone
// begins to lean. All cones of the last firings are weighed at once, at the top of their common likelihood,
// those before stay as they were weighed: a Kalman filter and smoother (Rauch, Tung and Striebel, AIAA J.
// 3, 1965, 1445-1450) whose readings are linearised anew about the smoothed states until nothing moves. It
// is never changed; what adds to it gives another.
type probeState struct {
	before belief // the first of the firings, by all before it
	last   []firingSeen
	ahead  belief // the last of them before its own cones
	now    belief
}

const (
	weighedAnew = 40 // firings
	stateRounds = 30
	stateEnough = 1e-3 // °C, °C a firing and sds
)

// newProbeState is what is believed of a new probe whose bias has this sd, °C, at its first firing.
func newProbeState(start float64) probeState {
	b := belief{cov: [3][3]float64{{start * start, 0, 0}, {0, probeDriftSD * probeDriftSD, 0}, {0, 0, 1}}}
	return probeState{before: b, last: []firingSeen{{}}, ahead: b, now: b}
}

// next is the state at the next firing.
func (s probeState) next() probeState {
	s.now = s.now.drifted()
	s.ahead = s.now
	s.last = append(slices.Clip(s.last), firingSeen{at: s.now.at})
	if len(s.last) > weighedAnew {
		s.before = s.before.with(s.last[0]).drifted()
		s.last = s.last[1:]
	}
	return s
}

// drifted is b a firing later.
func (b belief) drifted() belief {
	b.at[0] += b.at[1]
	c := &b.cov
	c[0][0] += 2*c[0][1] + c[1][1] + probeStepSD*probeStepSD
	c[0][1] += c[1][1]
	c[0][2] += c[1][2]
	c[1][1] += probeDriftStepSD * probeDriftStepSD
	c[1][0], c[2][0] = c[0][1], c[0][2]
	return b
}

// with is b with what the cones of a firing told, linearised where that firing is.
func (b belief) with(f firingSeen) belief {
	if len(f.cones) == 0 {
		return b
	}
	// Newton's step from f.at: the prior's pull and stiffness added to those of the likelihood
	weight := inverse3(b.cov)
	pull, stiff := f.pull()
	for i := range weight {
		for j := range weight {
			pull[i] += weight[i][j] * (b.at[j] - f.at[j])
			stiff[i][j] += weight[i][j]
		}
	}
	b.cov = inverse3(stiff)
	b.at = f.at
	for i := range pull {
		for j := range pull {
			b.at[i] += b.cov[i][j] * pull[j]
		}
	}
	return b
}

// pull is the slope of the log likelihood of the firing's cones where it is, and its negative second
// derivatives.
func (f firingSeen) pull() (pull [3]float64, stiff [3][3]float64) {
	m, habit := f.at[0], f.at[2]
	// an edge's distance from the bias in sds, and its slopes by bias and habit; drift has none
	for _, o := range f.cones {
		sd := math.Sqrt(o.variance(m))
		a, b := math.Inf(1), math.Inf(-1) // how many sds beyond the lower and the upper edge
		var ra, rb [3]float64
		if !math.IsInf(o.from, -1) {
			y, by := o.edge(o.from, habit)
			a, ra = (m-y)/sd, [3]float64{1 / sd, 0, -by / sd}
		}
		if !math.IsInf(o.to, 1) {
			y, by := o.edge(o.to, habit)
			b, rb = (m-y)/sd, [3]float64{1 / sd, 0, -by / sd}
		}
		byA, byB, aa, ab, bb := between(a, b)
		for i := range pull {
			pull[i] += ra[i]*byA + rb[i]*byB
			for j := range pull {
				stiff[i][j] += ra[i]*aa*ra[j] + (ra[i]*rb[j]+rb[i]*ra[j])*ab + rb[i]*bb*rb[j]
			}
		}
	}
	return pull, stiff
}

// seeing is the state with one more cone of the last firing, which alone is weighed anew: settled weighs all.
func (s probeState) seeing(o coneSeen) probeState {
	s.last = slices.Clone(s.last)
	f := &s.last[len(s.last)-1]
	f.cones = append(slices.Clip(f.cones), o)
	for range stateRounds {
		s.now = s.ahead.with(*f)
		moved := apart(s.now.at, f.at)
		f.at = s.now.at
		if moved < stateEnough {
			break
		}
	}
	return s
}

// settled is the state with the cones of the last firings weighed anew, all at once.
func (s probeState) settled() probeState {
	n := len(s.last)
	s.last = slices.Clone(s.last)
	ahead, seen := make([]belief, n), make([]belief, n)
	// forward: each firing's belief from the one before, its cones linearised where it was last put
	for range stateRounds {
		b := s.before
		for i, f := range s.last {
			if i > 0 {
				b = b.drifted()
			}
			ahead[i] = b
			b = b.with(f)
			seen[i] = b
		}
		s.ahead, s.now = ahead[n-1], b
		// backward: each firing's mean given the later ones; until no mean moves
		moved, to := 0.0, b.at
		for i := n - 1; i >= 0; i-- {
			if i < n-1 {
				to = seen[i].smoothed(ahead[i+1], to)
			}
			moved = max(moved, apart(to, s.last[i].at))
			s.last[i].at = to
		}
		if moved < stateEnough {
			break
		}
	}
	return s
}

// smoothed is the mean of b once the firing after it, of which ahead was expected, is known to be at to:
// b + P F'(P ahead)^-1 (to - ahead).
func (b belief) smoothed(ahead belief, to [3]float64) [3]float64 {
	weight, off := inverse3(ahead.cov), [3]float64{}
	for i := range off {
		for j := range off {
			off[i] += weight[i][j] * (to[j] - ahead.at[j])
		}
	}
	off[1] += off[0]
	out := b.at
	for i := range out {
		for j := range out {
			out[i] += b.cov[i][j] * off[j]
		}
	}
	return out
}

// apart is the largest difference of two states in any of their parts.
func apart(a, b [3]float64) (most float64) {
	for i := range a {
		most = max(most, math.Abs(a[i]-b[i]))
	}
	return most
}

// edge is the heat work less the indicated one at which a cone stands at a tilt for a reader of a habit,
// and its slope by that habit.
func (o coneSeen) edge(tilt, habit float64) (y, slope float64) {
	log, perDegree := leanWork(tilt - coneHabit*habit)
	return o.end + o.s*log, -o.s * perDegree * coneHabit
}

// variance of a reading where the bias is m, °C².
func (o coneSeen) variance(m float64) float64 {
	_, perDegree := leanWork(min(max(leanTilt((m-o.end)/o.s), coneLeast), coneMost))
	return o.wide * (o.own + square(o.s*perDegree*coneEye))
}

// expects is how far the reading lies off what is expected, °C, and the sd of that. off is 0 within its
// edges; beyond is the chance to lie outside of them.
func (b belief) expects(o coneSeen) (off, sd, beyond float64) {
	edge := func(tilt float64) (gap float64) {
		y, slope := o.edge(tilt, b.at[2])
		sd = math.Sqrt(b.cov[0][0] - 2*slope*b.cov[0][2] + slope*slope*b.cov[2][2] + o.variance(b.at[0]))
		return y - b.at[0]
	}
	if !math.IsInf(o.from, -1) {
		gap := edge(o.from)
		off, beyond = max(gap, 0), 0.5*math.Erfc(-gap/sd/math.Sqrt2)
	}
	if !math.IsInf(o.to, 1) {
		gap := edge(o.to)
		off, beyond = off+min(gap, 0), beyond+0.5*math.Erfc(gap/sd/math.Sqrt2)
	}
	return off, sd, beyond
}

// between is how the log of the chance that a standard normal lies between b and a, b < a, rises with a and
// with b, and how much these slopes fall: by a twice, by both, by b twice.
func between(a, b float64) (byA, byB, aa, ab, bb float64) {
	if a+b > 0 { // the same from the other side: small chances keep their digits
		byA, byB, aa, ab, bb = between(-b, -a)
		return -byB, -byA, bb, ab, aa
	}
	ratio := math.Exp((a*a - b*b) / 2) // of the densities at b and at a
	chance := 1 / hazard(a)            // over the density at a
	if ratio > 0 {
		chance -= ratio / hazard(b)
	}
	byA, byB = 1/chance, -ratio/chance
	aa, ab = a*byA+byA*byA, byA*byB
	if ratio > 0 {
		bb = b*byB + byB*byB
	}
	return byA, byB, aa, ab, bb
}

// hazard is the density of a standard normal at z over the chance of less.
func hazard(z float64) float64 {
	if z < -30 { // its expansion there
		return -z - 1/z
	}
	return math.Exp(-z*z/2) / math.Sqrt(2*math.Pi) / (0.5 * math.Erfc(-z/math.Sqrt2))
}

// inverse3 inverts a symmetric, positive matrix.
func inverse3(a [3][3]float64) (inv [3][3]float64) {
	minor := func(i, j int) float64 {
		r, q := [2]int{(i + 1) % 3, (i + 2) % 3}, [2]int{(j + 1) % 3, (j + 2) % 3}
		return a[r[0]][q[0]]*a[r[1]][q[1]] - a[r[0]][q[1]]*a[r[1]][q[0]]
	}
	det := a[0][0]*minor(0, 0) + a[0][1]*minor(0, 1) + a[0][2]*minor(0, 2)
	for i := range a {
		for j := range a {
			inv[j][i] = minor(i, j) / det
		}
	}
	return inv
}
