package heatwork

import "math"

// coneSeen is what one cone told of a probe: true heat work less indicated, or a bound of it, °C.
type coneSeen struct {
	y     float64
	own   float64 // variance of this reading alone
	habit float64 // °C by which it moves with one sd of its reader's habit
	side  ConeSide
	after int // firings since the first of the life
}

// probeState is what is known of a probe at one firing: bias (°C), drift (°C a firing) and the habit of
// whoever reads its cones (in sds), with their covariance. Bounds cut, and cut no more when they are told
// again; so all readings are weighed at once, at the top of their common likelihood, which has one top only.
type probeState struct {
	at  [3]float64
	cov [3][3]float64
}

// longestSeen is how many firings back readings still count.
const longestSeen = 100

// row is what a reading sees of bias, drift and habit of the firing now.
func (o coneSeen) row(now int) [3]float64 { return [3]float64{1, -float64(now - o.after), o.habit} }

// variance of a reading, with what the probe may have wandered since.
func (o coneSeen) variance(now int) float64 {
	k := float64(now - o.after)
	return o.own + k*probeStepSD*probeStepSD + k*k*k/3*probeDriftStepSD*probeDriftStepSD
}

// expects is what a reading is expected to say, and the variance of that without its own.
func (s probeState) expects(o coneSeen, now int) (mean, variance float64) {
	r := o.row(now)
	for i := range r {
		mean += r[i] * s.at[i]
		for j := range r {
			variance += r[i] * s.cov[i][j] * r[j]
		}
	}
	return mean, variance
}

// settle is the state by what was seen, s a place to begin. Newton's method: the log likelihoods of values
// and bounds are concave, and so is their sum.
func (s probeState) settle(start float64, now int, seen []coneSeen) probeState {
	const rounds = 30
	for range rounds {
		// Before the first firing the bias is 0, and the drift: both as of a new probe.
		first := coneSeen{own: start * start}
		var slope [3]float64
		var curve [3][3]float64
		add := func(r [3]float64, pull, stiff float64) {
			for i := range r {
				slope[i] += r[i] * pull
				for j := range r {
					curve[i][j] += r[i] * r[j] * stiff
				}
			}
		}
		value := func(r [3]float64, y, variance float64) {
			m := r[0]*s.at[0] + r[1]*s.at[1] + r[2]*s.at[2]
			add(r, (y-m)/variance, 1/variance)
		}
		value([3]float64{1, -float64(now)}, 0, first.variance(now))
		value([3]float64{0, 1}, 0, probeDriftSD*probeDriftSD+float64(now)*probeDriftStepSD*probeDriftStepSD)
		value([3]float64{0, 0, 1}, 0, 1)
		for _, o := range seen {
			if now-o.after > longestSeen {
				continue
			}
			r, v := o.row(now), o.variance(now)
			if o.side == ConeAt {
				value(r, o.y, v)
				continue
			}
			m, sd, sign := r[0]*s.at[0]+r[1]*s.at[1]+r[2]*s.at[2], math.Sqrt(v), 1.0
			if o.side == ConeUnder {
				sign = -1
			}
			z := sign * (m - o.y) / sd
			h := hazard(z)
			add(r, sign*h/sd, h*(z+h)/v)
		}
		s.cov = inverse3(curve)
		moved := 0.0
		for i := range s.at {
			step := 0.0
			for j := range slope {
				step += s.cov[i][j] * slope[j]
			}
			s.at[i] += step
			moved = math.Max(moved, math.Abs(step))
		}
		if moved < 1e-9 {
			break
		}
	}
	return s
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
