package lid

import (
	"math"

	"gonum.org/v1/gonum/integrate/quad"

	"lidwright/tiles/shrinkage"
)

// variance in two parts: what is known (a calliper, a throw) and what was fitted from bars, which
// is itself in doubt and is multiplied by the square of a scale.
type variance struct{ known, fitted float64 }

// at is the whole at a scale of the fit's sds.
func (v variance) at(scale float64) float64 { return v.known + scale*scale*v.fitted }

// bound is a second upper limit of the play beside the window: the ledge, or the other
// direction of a skirt. It is known as badly as what it was measured from.
type bound struct {
	at       float64 // mean, fired mm; +Inf: there is none
	variance variance
	cov      variance // with the play
}

// fitProbability is what makes a lid good: least <= play <= most, and play <= bound.
type fitProbability struct {
	least, most float64
	bound       bound
	scales      []node // see fitScales, the widest first
	gauss       []node // Gauss-Legendre on 0 to 1
}

// node is one point of a quadrature.
type node struct{ at, weight float64 }

// normalCDF is the standard normal distribution function.
func normalCDF(z float64) float64 { return 0.5 * math.Erfc(-z/math.Sqrt2) }

// fitScales are factors on the sds of a fit, and their weights: see shrinkage.Scales.
func fitScales(nu float64) []node { return fitScalesBy(nu, 0.6) }

// fitScalesBy are they at a spacing of the nodes.
func fitScalesBy(nu, spacing float64) []node {
	var out []node
	for _, s := range shrinkage.Scales(nu, spacing) {
		out = append(out, node{s.At, s.Weight})
	}
	return out
}

// legendre are n points and weights on 0 to 1 that integrate polynomials of degree 2n-1.
func legendre(n int) []node {
	x, w := make([]float64, n), make([]float64, n)
	quad.Legendre{}.FixedLocations(x, w, 0, 1)
	nodes := make([]node, n)
	for i := range nodes {
		nodes[i] = node{x[i], w[i]}
	}
	return nodes
}

// likelyHalf is half the width of the range that holds a share level of all plays of variance v.
func (f fitProbability) likelyHalf(v variance, level float64) float64 {
	if !(v.at(1) > 0) {
		return 0
	}
	low, high := 0.0, 10*math.Sqrt(v.at(f.scales[0].at))
	for range 60 {
		half := (low + high) / 2
		var p float64
		for _, s := range f.scales {
			p += s.weight * math.Erf(half/math.Sqrt(2*v.at(s.at)))
		}
		if p < level {
			low = half
		} else {
			high = half
		}
	}
	return high
}

// one is the chance that one lid fits whose play has the mean m and the variance v, own and shared
// causes together.
func (f fitProbability) one(m float64, v variance) float64 {
	var p float64
	for _, s := range f.scales {
		p += s.weight * f.normal(m, math.Sqrt(v.at(s.at)), f.bound.at, f.bound.variance.at(s.at),
			f.bound.cov.at(s.at))
	}
	return p
}

// tight is the chance that one lid whose play has the mean m and the variance v has less than the least play.
func (f fitProbability) tight(m float64, v variance) float64 {
	var p float64
	for _, s := range f.scales {
		p += s.weight * normalOrStep(f.least-m, math.Sqrt(v.at(s.at)))
	}
	return p
}

// normal is the chance under one normal: the integral over the play x (in sds) of its
// density times the chance that the bound, given x, lies beyond it.
func (f fitProbability) normal(m, sd, limit, limitVariance, cov float64) float64 {
	if sd == 0 {
		if m < f.least || m > f.most {
			return 0
		}
		return normalOrStep(limit-m, math.Sqrt(limitVariance))
	}
	low, high := max((f.least-m)/sd, -8.5), min((f.most-m)/sd, 8.5)
	if low >= high {
		return 0
	}
	cov /= sd
	rest := math.Sqrt(max(limitVariance-cov*cov, 0))
	slope := sd - cov // of play less bound, given x
	room := func(x float64) float64 { return limit - m - slope*x }
	if math.IsInf(limit, 1) || room(high) > 8.5*rest && room(low) > 8.5*rest {
		return normalCDF(high) - normalCDF(low)
	}
	// The chance of the bound falls from 1 to 0 around turn: pieces end there.
	turn, breadth := (limit-m)/slope, 6*rest/slope
	if !(slope > 0) {
		turn, breadth = high, 0
	}
	var p float64
	from := low
	for _, to := range [...]float64{turn - breadth, turn, turn + breadth, high} {
		to = min(max(to, from), high)
		if to > from {
			for _, g := range f.gauss {
				x := from + (to-from)*g.at
				p += (to - from) * g.weight * math.Exp(-x*x/2) / math.Sqrt(2*math.Pi) * normalOrStep(room(x),
					rest)
			}
		}
		from = to
	}
	return p
}

// normalOrStep is the chance that a normal of this sd stays below room.
func normalOrStep(room, sd float64) float64 {
	if sd == 0 {
		if room < 0 {
			return 0
		}
		return 1
	}
	return normalCDF(room / sd)
}

// normalNodes are points of a standard normal, h apart, that integrate whatever is smooth on
// a scale of h (trapezoid: the error falls faster than any power of h).
func normalNodes(h float64) []node {
	n := int(math.Ceil(4.6 / h))
	nodes := make([]node, 0, 2*n+1)
	var sum float64
	for i := -n; i <= n; i++ {
		x := float64(i) * h
		w := math.Exp(-x * x / 2)
		nodes = append(nodes, node{x, w})
		sum += w
	}
	for i := range nodes {
		nodes[i].weight /= sum
	}
	return nodes
}

// misses holds, for each of several lids and each state of what they share, the chance that
// this lid does not fit. From it the chance that one of any of them fits is a sum.
type misses struct {
	weight []float64
	miss   [][]float64 // [lid][state]
}

// share works out misses for lids of mean plays m and own variances, whose shared part of the
// play has the variance shared. The bound moves with what is shared alone.
func (f fitProbability) share(m []float64, own []variance, shared variance) misses {
	t := misses{miss: make([][]float64, len(m))}
	sd := make([]float64, len(m))
	// each scale of the sds, each state of what the lids share, each place of the bound
	for _, s := range f.scales {
		all := math.Sqrt(shared.at(s.at))
		finest := math.Inf(1)
		for i, v := range own {
			sd[i] = math.Sqrt(v.at(s.at))
			finest = min(finest, sd[i])
		}
		// What is all but certain in itself is smeared a little, or no sum could follow it.
		finest = max(finest, all/15, 1e-4)
		states := []node{{0, 1}}
		if all > 0 {
			states = normalNodes(min(max(finest/all, 0.07), 0.6))
		}
		// a bound so far out that it never rules is left out
		// of the bound, given the shared part: limit + slope x + rest z
		limit, slope, rest := math.Inf(1), 0.0, 0.0
		bounds := []node{{0, 1}}
		if v := f.bound.variance.at(s.at); f.bound.at-f.most < 8*math.Sqrt(v) {
			limit = f.bound.at
			if all > 0 {
				slope = f.bound.cov.at(s.at) / all
			}
			if rest = math.Sqrt(max(v-slope*slope, 0)); rest > 0 {
				bounds = normalNodes(min(max(finest/rest, 0.2), 0.75))
			}
		}
		for _, x := range states {
			for _, z := range bounds {
				t.weight = append(t.weight, s.weight*x.weight*z.weight)
			}
			for i := range m {
				own := max(sd[i], finest)
				mean := m[i] + all*x.at
				below := normalCDF((f.least - mean) / own)
				for _, z := range bounds {
					top := min(f.most, limit+slope*x.at+rest*z.at)
					t.miss[i] = append(t.miss[i], 1-max(0, normalCDF((top-mean)/own)-below))
				}
			}
		}
	}
	return t
}

// any is the chance that at least one of these lids fits.
func (t misses) any(lids ...int) float64 {
	var p float64
	switch len(lids) {
	case 2:
		a, b := t.miss[lids[0]], t.miss[lids[1]]
		for k, w := range t.weight {
			p += w * (1 - a[k]*b[k])
		}
	case 3:
		a, b, c := t.miss[lids[0]], t.miss[lids[1]], t.miss[lids[2]]
		for k, w := range t.weight {
			p += w * (1 - a[k]*b[k]*c[k])
		}
	default:
		for k, w := range t.weight {
			none := 1.0
			for _, i := range lids {
				none *= t.miss[i][k]
			}
			p += w * (1 - none)
		}
	}
	return p
}
