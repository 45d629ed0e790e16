package mixedmodel

import "math"

// A reading that is the mean of t repeats with the same row, level and parts of the noise, each of own
// variance d, says all about u and w that they say: its own variance is d/t. What is left are t - 1
// contrasts of variance d that know of neither (Searle, Casella, McCulloch, Variance Components, 1992,
// section 3.5), so the criterion of all repeats is that of the means and
//
//	sum over units and readings of (t - 1) ln d + ln t + (sum of squares about the mean)/d

// repeated is that sum for the units of b.
func (b *Block) repeated(theta []float64) (sum float64) {
	for i, t := range b.Times {
		if t > 1 {
			d := b.one(i, theta)
			sum += b.N*((t-1)*math.Log(d)+math.Log(t)) + b.Within[i]/d
		}
	}
	return sum
}

// repeatedSlope adds the slope of repeated in theta to out.
func (b *Block) repeatedSlope(theta, out []float64) {
	for i, t := range b.Times {
		if t <= 1 {
			continue
		}
		d := b.one(i, theta)
		for _, n := range b.Noise {
			if n.Param > 0 && n.Diag != nil {
				part := 2 * n.factor(theta) * t * n.Diag[i] / b.weight(i)
				out[n.Param-1] += part * (b.N*(t-1) - b.Within[i]/d) / d
			}
		}
	}
}

// one is the own variance of one of the repeats of reading i.
func (b *Block) one(i int, theta []float64) float64 {
	return b.Times[i] * b.own(i, theta) / b.weight(i)
}

// weight is that of reading i.
func (b *Block) weight(i int) float64 {
	if b.Weight == nil {
		return 1
	}
	return b.Weight[i]
}
