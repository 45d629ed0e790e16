package tiles

import (
	"math"

	"gonum.org/v1/gonum/integrate/quad"
	"gonum.org/v1/gonum/mathext"
	"gonum.org/v1/gonum/stat/distuv"
)

// bound is a second upper limit of the play beside the window: the ledge, or the other
// direction of a skirt. It is known as badly as what it was measured from.
type bound struct {
	at       float64 // mean, fired mm; +Inf: there is none
	variance float64
	cov      float64 // with the play
}

// fit is what makes a lid good: least <= play <= most, and play <= bound.
type fit struct {
	least, most float64
	bound       bound
	scales      []node // of the t: see tScales
	gauss       []node // Gauss-Legendre on 0 to 1
}

// node is one point of a quadrature.
type node struct{ at, weight float64 }

// normalCDF is the standard normal distribution function.
func normalCDF(z float64) float64 { return 0.5 * math.Erfc(-z/math.Sqrt2) }

// tScales are the factors by which a normal is widened, and their weights, so that their
// mixture is a Student t of nu degrees of freedom: sqrt(nu/chi2), by Gauss-Legendre over the
// probability of chi2. Against the t itself the mixture is within 0.0005 from nu = 3 up.
func tScales(nu float64) []node {
	if math.IsInf(nu, 1) || nu > 1e5 {
		return []node{{1, 1}}
	}
	if !(nu > 1) {
		nu = 1
	}
	scales := legendre(16)
	for i, u := range scales {
		scales[i].at = math.Sqrt(nu / (2 * mathext.GammaIncRegInv(nu/2, u.at)))
	}
	return scales
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

// likelyHalf is half the width of a range of the level, in sds.
func likelyHalf(nu, level float64) float64 {
	p := (1 + level) / 2
	if math.IsInf(nu, 1) || nu > 1e5 {
		return distuv.UnitNormal.Quantile(p)
	}
	return distuv.StudentsT{Mu: 0, Sigma: 1, Nu: nu}.Quantile(p)
}

// one is the chance that one lid fits whose play has the mean m and this sd, own and shared
// causes together.
func (f fit) one(m, sd float64) float64 {
	var p float64
	for _, s := range f.scales {
		p += s.weight * f.normal(m, s.at*sd, bound{f.bound.at, s.at * s.at * f.bound.variance, s.at * s.at * f.bound.cov})
	}
	return p
}

// normal is the chance under one normal: the integral over the play x (in sds) of its
// density times the chance that the bound, given x, lies beyond it.
func (f fit) normal(m, sd float64, b bound) float64 {
	if sd == 0 {
		if m < f.least || m > f.most {
			return 0
		}
		return normalOrStep(b.at-m, math.Sqrt(b.variance))
	}
	low, high := max((f.least-m)/sd, -8.5), min((f.most-m)/sd, 8.5)
	if low >= high {
		return 0
	}
	cov := b.cov / sd
	rest := math.Sqrt(max(b.variance-cov*cov, 0))
	slope := sd - cov // of play less bound, given x
	room := func(x float64) float64 { return b.at - m - slope*x }
	if math.IsInf(b.at, 1) || room(high) > 8.5*rest && room(low) > 8.5*rest {
		return normalCDF(high) - normalCDF(low)
	}
	// The chance of the bound falls from 1 to 0 around turn: pieces end there.
	turn, breadth := (b.at-m)/slope, 6*rest/slope
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
				p += (to - from) * g.weight * math.Exp(-x*x/2) / math.Sqrt(2*math.Pi) * normalOrStep(room(x), rest)
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

// share works out misses for lids of mean plays m and own sds, whose shared part of the
// play has the sd shared. The bound moves with what is shared alone.
func (f fit) share(m, own []float64, shared float64) misses {
	finest := math.Inf(1)
	for _, sd := range own {
		finest = min(finest, sd)
	}
	// What is all but certain in itself is smeared a little, or no sum could follow it.
	finest = max(finest, shared/15, 1e-4)
	states := []node{{0, 1}}
	if shared > 0 {
		states = normalNodes(min(max(finest/shared, 0.07), 0.6))
	}
	b := f.bound
	var slope, rest float64 // bound given the shared part: at + slope x + rest z
	bounds := []node{{0, 1}}
	if b.at-f.most < 8*math.Sqrt(b.variance)*f.scales[0].at {
		if shared > 0 {
			slope = b.cov / shared
		}
		if rest = math.Sqrt(max(b.variance-slope*slope, 0)); rest > 0 {
			bounds = normalNodes(min(max(finest/rest, 0.2), 0.75))
		}
	} else {
		b.at = math.Inf(1)
	}
	n := len(f.scales) * len(states) * len(bounds)
	t := misses{weight: make([]float64, 0, n), miss: make([][]float64, len(m))}
	for i := range m {
		t.miss[i] = make([]float64, 0, n)
	}
	for _, s := range f.scales {
		for _, x := range states {
			for _, z := range bounds {
				t.weight = append(t.weight, s.weight*x.weight*z.weight)
			}
			for i := range m {
				sd := s.at * max(own[i], finest)
				mean := m[i] + s.at*shared*x.at
				below := normalCDF((f.least - mean) / sd)
				for _, z := range bounds {
					top := min(f.most, b.at+s.at*(slope*x.at+rest*z.at))
					t.miss[i] = append(t.miss[i], 1-max(0, normalCDF((top-mean)/sd)-below))
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
