package shrinkage

import (
	"math"
	"slices"

	"lidwright/tiles"
)

// The curve of one clay in log-percent over heat work h, M its maturing point:
//
//	drying  D
//	firing  F(h) = b + A S(z) - t 6.5 S'(z)/35 + r(h - M),  z = (h - M + 35)/35
//
// S is the logistic, S' = S (1 - S); r departs from it freely over some 60 °C (Matern 5/2,
// sd 0.35, knots every 30 °C from M - 150 to M + 90), so the curve may turn over. Priors:
// D N(6, 1.3), b N(0.5, 0.6), A N(6.5, 2.5), t N(0, 20 °C): handbook figures without a
// published source. Its ten clays of 1924 are a check (shrinkclay_test.go).
const (
	coefDrying = iota
	coefFoot
	coefAmplitude
	coefShift
	coefKnots
	knots = 9
	coefs = coefKnots + knots

	dryingMean, dryingSD       = 6.0, 1.3
	footMean, footSD           = 0.5, 0.6
	amplitudeMean, amplitudeSD = 6.5, 2.5
	shiftSD, shiftWideSD       = 20, 40 // wide where the bag names no cone
	departSD, departRange      = 0.35, 60
	curveWidth                 = 35.0
	curveAhead                 = 35.0 // the steepest place lies so far below M
	firstKnot, knotStep        = -150.0, 30.0
	statedSD                   = 1.2   // of a supplier's total, log-percent
	usualMatures               = 1222  // where nothing at all is known of a site
	slopeStep                  = 6.0   // °C, for the slope of a fitted curve
	loadMatters                = 0.004 // log-percent per °C: below, a load is not told by its bars
)

// vec is one number for each coefficient of a clay, in units of its handbook sd from its
// handbook mean.
type vec [coefs]float64

// clayCurve is what is believed of one clay.
type clayCurve struct {
	id      tiles.ClayID
	matures float64
	shift   float64    // sd of t
	mean    vec        // prior mean
	factor  [coefs]vec // prior covariance = factor factor', lower
	first   int        // column of coefDrying
	fitted  vec        // the mean after the last pass
	slopes  *vec       // the mean that slopes are taken from; nil: the handbook's
}

// newClayCurve is the prior of c. hottest is where it was tested, or the hottest of the site.
func newClayCurve(c tiles.Clay, hottest float64) *clayCurve {
	k := &clayCurve{id: c.ID, matures: hottest, shift: shiftWideSD}
	if c.Matures.Known() && c.Matures != 0 {
		k.matures, k.shift = float64(c.Matures), shiftSD
	}
	for i := range k.factor {
		k.factor[i][i] = 1
	}
	if c.Stated > 0 {
		k.borrow(-100 * math.Log1p(-float64(c.Stated)))
	}
	k.fitted = k.mean
	return k
}

// borrow narrows the prior to a supplier's total at the maturing point: the amplitude's mean
// moves until the curve meets it, and the sd of the total there becomes 1.2.
func (k *clayCurve) borrow(total float64) {
	// the row of the total, wet to fired, at the maturing point
	z := k.white(k.matures)
	z[coefDrying] = dryingSD
	// only the amplitude's mean moves: what is left to it of the stated total
	k.mean[coefAmplitude] = (total - dryingMean - k.base(k.matures)) / z[coefAmplitude]
	v := 0.0
	for _, x := range z {
		v += x * x
	}
	// the prior is narrower than the supplier's figure already
	if v <= statedSD*statedSD {
		return
	}
	// I - z z' (1 - s^2/v)/v has variance s^2 along z and 1 across it.
	f := (1 - statedSD*statedSD/v) / v
	// its Cholesky factor, row by row
	for i := range z {
		for j := 0; j <= i; j++ {
			sum := -f * z[i] * z[j]
			if i == j {
				sum++
			}
			for l := 0; l < j; l++ {
				sum -= k.factor[i][l] * k.factor[j][l]
			}
			if i == j {
				k.factor[i][i] = math.Sqrt(sum)
			} else {
				k.factor[i][j] = sum / k.factor[j][j]
			}
		}
	}
}

// logistic is 1/(1 + e^-z), and its slope.
func logistic(z float64) (s, slope float64) {
	s = 1 / (1 + math.Exp(-z))
	return s, s * (1 - s)
}

// z is where a heat work lies on the curve: 0 where it is steepest, 1 at the maturing point.
func (k *clayCurve) z(h float64) float64 { return (h - k.matures + curveAhead) / curveWidth }

// base is the handbook's F(h).
func (k *clayCurve) base(h float64) float64 {
	s, _ := logistic(k.z(h))
	return footMean + amplitudeMean*s
}

// white is F's row over the coefficients, in handbook sds.
func (k *clayCurve) white(h float64) vec {
	s, slope := logistic(k.z(h))
	var out vec
	out[coefFoot] = footSD
	out[coefAmplitude] = amplitudeSD * s
	out[coefShift] = -k.shift * amplitudeMean * slope / curveWidth
	d := departure(h - k.matures)
	for i, v := range d {
		out[coefKnots+i] = departSD * v
	}
	return out
}

// prior turns a row of white coefficients into one over the columns of the fit, which have
// this clay's own prior at unit variance.
func (k *clayCurve) prior(x vec) vec {
	var out vec
	for i, v := range x {
		if v != 0 {
			for j := 0; j <= i; j++ {
				out[j] += k.factor[i][j] * v
			}
		}
	}
	return out
}

// firing is F(h) at coefficients x.
func (k *clayCurve) firing(h float64, x *vec) float64 { return k.base(h) + dot(k.white(h), *x) }

// dot is the scalar product.
func dot(a, b vec) float64 {
	sum := 0.0
	for i := range a {
		sum += a[i] * b[i]
	}
	return sum
}

// handbookSlope is dF/dh of the handbook's curve, log-percent per °C.
func (k *clayCurve) handbookSlope(h float64) float64 {
	_, slope := logistic(k.z(h))
	return amplitudeMean * slope / curveWidth
}

// slope is dF/dh, by which errors in degrees come into shrink: the handbook's in the first
// pass, then that of the fitted curve, kept within reason.
func (k *clayCurve) slope(h float64) float64 {
	g0 := k.handbookSlope(h)
	if k.slopes == nil {
		return g0
	}
	g := (k.firing(h+slopeStep, k.slopes) - k.firing(h-slopeStep, k.slopes)) / (2 * slopeStep)
	return min(max(g, 0.3*g0, 0.002), 4*g0+0.01)
}

// ripe is how much of a batch's difference in firing shows at h: all of it from where the
// handbook curve is as steep as at the maturing point.
func (k *clayCurve) ripe(h float64) float64 {
	return min(1, k.handbookSlope(h)/k.handbookSlope(k.matures))
}

// takeSlopes lets errors come in through the fitted curves from here on.
func (f *equations) takeSlopes() {
	for _, k := range f.clays {
		x := k.fitted
		k.slopes = &x
	}
}

// takeCoefficients reads the clays' coefficients from the solution.
func (f *equations) takeCoefficients() {
	for _, k := range f.clays {
		k.fitted = k.mean
		for i := range k.fitted {
			for j := 0; j <= i; j++ {
				k.fitted[i] += k.factor[i][j] * f.solved.Unit(k.first+j)
			}
		}
	}
}

// clay is the curve of a clay, nil where the fit has none.
func (f *equations) clay(id tiles.ClayID) *clayCurve {
	i := slices.IndexFunc(f.clays, func(k *clayCurve) bool { return k.id == id })
	if i < 0 {
		return nil
	}
	return f.clays[i]
}

// hottestOf is the hottest firing that a clay's readings were made after, else the site's.
func (f *equations) hottestOf(id tiles.ClayID) float64 {
	own, site := math.Inf(-1), math.Inf(-1)
	for _, s := range f.sheets {
		for _, l := range s.lines {
			if l.heat != nil && !l.heat.Assumed {
				site = max(site, float64(l.heat.Work))
				if s.bar.Clay == id && l.stage == tiles.Fired {
					own = max(own, float64(l.heat.Work))
				}
			}
		}
	}
	switch {
	case !math.IsInf(own, -1):
		return own
	case !math.IsInf(site, -1):
		return site
	}
	return usualMatures
}

// departure is L^-1 k(x), where k(x) is the Matern 5/2 covariance (unit variance) of x with
// the knots and L the Cholesky factor of that of the knots: knot values in independent units.
func departure(x float64) [knots]float64 {
	l := knotFactor
	var out [knots]float64
	for i := range out {
		out[i] = matern(x - firstKnot - knotStep*float64(i))
		for j := 0; j < i; j++ {
			out[i] -= l[i][j] * out[j]
		}
		out[i] /= l[i][i]
	}
	return out
}

// matern is the Matern covariance with nu = 5/2 at distance d (Rasmussen and Williams,
// Gaussian Processes for Machine Learning, 2006, eq. 4.17).
func matern(d float64) float64 {
	a := math.Sqrt(5) * math.Abs(d) / departRange
	return (1 + a + a*a/3) * math.Exp(-a)
}

// knotFactor is L of departure, worked out once.
var knotFactor = factorKnots()

// factorKnots is the Cholesky factor, lower, of the covariance of the knots.
func factorKnots() (l [knots][knots]float64) {
	for i := range l {
		for j := 0; j <= i; j++ {
			sum := matern(knotStep * float64(i-j))
			for k := 0; k < j; k++ {
				sum -= l[i][k] * l[j][k]
			}
			if i == j {
				l[i][i] = math.Sqrt(sum)
			} else {
				l[i][j] = sum / l[j][j]
			}
		}
	}
	return l
}
