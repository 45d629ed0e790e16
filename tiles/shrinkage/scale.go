package shrinkage

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// Scale is a factor on the sds of a fit, and its weight.
type Scale struct{ At, Weight float64 }

// Scales are factors on the sds of a fit, the widest first, that stand for what the fit does not know of
// its own variances: 2/nu is the variance of the log of such a variance (so nu is defined), and it is taken
// as normal, with a mean of 1. A Student t, which widens by chi-square on top of the fit's own widening,
// said 0.06 to 0.12 less than what came true in made-up studios. spacing is that of the nodes, in sds of
// the log.
func Scales(nu, spacing float64) []Scale {
	if math.IsInf(nu, 1) || nu > 1e5 {
		return []Scale{{1, 1}}
	}
	nu = max(nu, 1)
	n := int(math.Ceil(4.6 / spacing))
	out := make([]Scale, 0, 2*n+1)
	sum := 0.0
	for i := n; i >= -n; i-- { // trapezoid: the error falls faster than any power of the spacing
		z := float64(i) * spacing
		s := Scale{math.Exp(z/math.Sqrt(2*nu) - 0.5/nu), math.Exp(-z * z / 2)}
		out, sum = append(out, s), sum+s.Weight
	}
	for i := range out {
		out[i].Weight /= sum
	}
	return out
}

// quantile is that of a normal of unit variance whose sd is in doubt by nu, for p of one half or more.
func quantile(nu, p float64) float64 {
	normal := distuv.UnitNormal.Quantile(p)
	scales := Scales(nu, 0.6)
	if len(scales) == 1 {
		return normal
	}
	low, high := 0.0, 2*normal*scales[0].At
	for range 50 {
		x, below := (low+high)/2, 0.0
		for _, s := range scales {
			below += s.Weight * 0.5 * math.Erfc(-x/s.At/math.Sqrt2)
		}
		if below < p {
			low = x
		} else {
			high = x
		}
	}
	return high
}
