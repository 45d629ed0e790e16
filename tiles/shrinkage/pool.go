package shrinkage

import (
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
)

// The pooled model. A studio's curve is the body's and its own way:
//
//	x_s = x + U u_s,  x ~ N(0, 1) in handbook sds,  u_s ~ N(0, T),  T = diag(drying^2, heat^2)
//
// drying in log-percent (how clay is wedged, dried, measured), heat in °C (how a controller reads). T is
// averaged over a grid by the likelihood of all summaries (poolgrid.go), so that few studios leave the range
// wide. A studio is of a wide kind with a chance of 5 % (a ruler, another clay under the name, inch for mm):
// T is then diag(2.5^2, 40^2). Nobody is thrown out. It is a normal-normal random-effects meta-analysis
// (DerSimonian and Laird, Controlled Clinical Trials 7, 1986) in 13 coefficients with a contaminated
// between-studio part. The wide kind is our own.
const (
	wideChance           = 0.05
	wideDrying, wideHeat = 2.5, 40.0
	weighings            = 3   // rounds in which it is found out who is of the wide kind
	mostRounds           = 20  // with those in which the bounds of the weights settle
	mostShare            = 0.2 // of the weight that one studio may have, from tenUp on
	mostTimes            = 4.0 // of the middle studio's weight, from tenUp on
	tenUp                = 10
)

// LeastStudios is how many a pooled answer needs.
const LeastStudios = 5

// Pool is what many studios say of one body.
type Pool struct {
	studios []Summary
	cells   []cell
	mass    []float64 // of each cell, sum 1
}

// cell is the pool at one T.
type cell struct {
	t         between
	precision *mat.SymDense
	pull      vec
	wide      []float64 // chance of each studio to be of the wide kind
	scale     []float64 // of the weight of each studio: below 1 where it would have too much
}

// between is T: variances of drying and heat, in units of the coefficients.
type between [2]float64

var (
	ways      = [2]int{coefDrying, coefShift} // the coefficients that U stands on
	wideKind  = betweenOf(wideDrying, wideHeat)
	unitOfWay = [2]float64{dryingSD, shiftSD}
)

// betweenOf is T of sds in log-percent and °C.
func betweenOf(drying, heat float64) between {
	return between{square(drying / unitOfWay[0]), square(heat / unitOfWay[1])}
}

// cellOf works one cell out: who is of the wide kind, by EM, whose weight is bounded, and the log likelihood
// of it all at the mean, with the term of Laplace that makes it exact where nobody is. Who is wide is found
// out in so many rounds.
func cellOf(studios []Summary, t between, chance float64, rounds int) (c cell, like float64, err error) {
	c = cell{t: t, wide: make([]float64, len(studios)), scale: make([]float64, len(studios))}
	for i := range studios {
		c.wide[i], c.scale[i] = chance, 1
	}
	var mean vec
	// mean, then who is of the wide kind, then the bounds of the weights, until both settle
	for round, bounded := 0, false; ; round++ {
		c.add(studios)
		var cov *mat.SymDense
		if mean, cov, err = solved(c.precision, c.pull); err != nil {
			return c, 0, err
		}
		if bounded && round >= rounds || round >= mostRounds {
			break
		}
		if round < rounds {
			c.weigh(studios, &mean, between{cov.At(ways[0], ways[0]), cov.At(ways[1], ways[1])}, chance)
		}
		bounded = c.share(studios, cov)
	}
	// the prior of the body's curve, and each studio as a mixture of the two kinds
	like = -dot(mean, mean)/2 - halfLogDet(c.precision)
	for i := range studios {
		s := &studios[i]
		usual := math.Log(1-chance) + s.at(&mean, t)
		wide := math.Log(chance) + s.at(&mean, wideKind)
		top := max(usual, wide)
		like += s.plain(&mean) + top + math.Log(math.Exp(usual-top)+math.Exp(wide-top))
	}
	return c, like, nil
}

// weigh finds how likely each studio is of the wide kind beside a mean that is itself in doubt.
func (c *cell) weigh(studios []Summary, mean *vec, doubt between, chance float64) {
	for i := range studios {
		s := &studios[i]
		usual := math.Log(1-chance) + s.at(mean, between{c.t[0] + doubt[0], c.t[1] + doubt[1]})
		wide := math.Log(chance) + s.at(mean, between{wideKind[0] + doubt[0], wideKind[1] + doubt[1]})
		c.wide[i] = 1 / (1 + math.Exp(usual-wide))
	}
}

// plain is the log likelihood of a summary at a curve, but for a constant.
func (s *Summary) plain(x *vec) float64 {
	sum := 0.0
	for i := range coefs {
		sum += s.Pull[i]*x[i] - x[i]*dot(s.Precision[i], *x)/2
	}
	return sum
}

// at is by how much a way of its own, of variance t, makes a summary likelier at a curve.
func (s *Summary) at(x *vec, t between) float64 {
	m, logDet := s.own(t)
	var g [2]float64
	for i, w := range ways {
		g[i] = s.Pull[w] - dot(s.Precision[w], *x)
	}
	return logDet/2 + (m[0]*g[0]*g[0]+2*m[1]*g[0]*g[1]+m[2]*g[1]*g[1])/2
}

// own is M = (T^-1 + U'AU)^-1 as its three numbers, and ln|M| - ln|T|.
func (s *Summary) own(t between) (m [3]float64, logDet float64) {
	a, b, d := 1/t[0]+s.Precision[ways[0]][ways[0]], s.Precision[ways[0]][ways[1]], 1/t[1]+
		s.Precision[ways[1]][ways[1]]
	det := a*d - b*b
	return [3]float64{d / det, -b / det, a / det}, -math.Log(det * t[0] * t[1])
}

// say is what a summary says of the body itself with the part m for its own way: A - AUmU'A and the pull
// alike, times share, added to what is there.
func (s *Summary) say(m [3]float64, share float64, precision *mat.SymDense, pull *vec) {
	p, q := &s.Precision[ways[0]], &s.Precision[ways[1]]
	g, h := m[0]*s.Pull[ways[0]]+m[1]*s.Pull[ways[1]], m[1]*s.Pull[ways[0]]+m[2]*s.Pull[ways[1]]
	raw := precision.RawSymmetric()
	for i := range coefs {
		u, v := share*(m[0]*p[i]+m[1]*q[i]), share*(m[1]*p[i]+m[2]*q[i])
		pull[i] += share * (s.Pull[i] - p[i]*g - q[i]*h)
		row := raw.Data[i*raw.Stride : i*raw.Stride+coefs]
		of := &s.Precision[i]
		for j := i; j < coefs; j++ {
			row[j] += share*of[j] - u*p[j] - v*q[j]
		}
	}
}

// add sums what all studios say, beside the handbook.
func (c *cell) add(studios []Summary) {
	c.precision, c.pull = mat.NewSymDense(coefs, nil), vec{}
	for i := range coefs {
		c.precision.SetSym(i, i, 1)
	}
	for i := range studios {
		c.of(i, &studios[i], 1, c.precision, &c.pull)
	}
}

// of adds what the i-th studio says of the body, times sign.
func (c *cell) of(i int, s *Summary, sign float64, precision *mat.SymDense, pull *vec) {
	m, _ := s.own(c.t)
	wide, _ := s.own(wideKind)
	for k := range m { // what is said is linear in it
		m[k] += c.wide[i] * (wide[k] - m[k])
	}
	s.say(m, sign*c.scale[i], precision, pull)
}

// share bounds the weight of each studio: how much of the doubt of all it takes away, over all directions.
// None has more than a fifth of all, nor than four times the middle one: numbers are sent, not bars, and
// nobody can look at them. The doubt of all rests on the bounds, so that it is done until they settle: it
// reports whether none moved by a hundredth.
func (c *cell) share(studios []Summary, cov *mat.SymDense) (settled bool) {
	if len(studios) < tenUp {
		return true
	}
	was := slices.Clone(c.scale)
	weight := make([]float64, len(studios))
	one := mat.NewSymDense(coefs, nil)
	for i := range studios {
		none := vec{}
		one.Zero()
		c.scale[i] = 1
		c.of(i, &studios[i], 1, one, &none)
		said, doubt := one.RawSymmetric(), cov.RawSymmetric()
		for a := range coefs { // of the upper halves, as they are kept
			weight[i] -= said.Data[a*said.Stride+a] * doubt.Data[a*doubt.Stride+a]
			for b := a; b < coefs; b++ {
				weight[i] += 2 * said.Data[a*said.Stride+b] * doubt.Data[a*doubt.Stride+b]
			}
		}
	}
	sorted := slices.Sorted(slices.Values(weight))
	all := 0.0
	for i := range weight {
		if most := mostTimes * sorted[len(sorted)/2]; weight[i] > most {
			c.scale[i] = most / weight[i]
		}
		all += c.scale[i] * weight[i]
	}
	for range 20 { // bounding one makes the others' shares larger
		over := false
		for i := range weight {
			if rest := all - c.scale[i]*weight[i]; c.scale[i]*weight[i] > mostShare*all*(1+1e-9) {
				c.scale[i], over = rest*mostShare/(1-mostShare)/weight[i], true
				all = rest + c.scale[i]*weight[i]
			}
		}
		if !over {
			break
		}
	}
	for i, s := range c.scale {
		if math.Abs(s-was[i]) > 0.01*was[i] {
			return false
		}
	}
	return true
}

// solved gives mean and covariance of precision and pull.
func solved(precision *mat.SymDense, pull vec) (mean vec, cov *mat.SymDense, err error) {
	var chol mat.Cholesky
	if !chol.Factorize(precision) {
		return mean, nil, fmt.Errorf("%w: together they have no mean", ErrSummary)
	}
	cov = mat.NewSymDense(coefs, nil)
	if err := chol.InverseTo(cov); err != nil {
		return mean, nil, fmt.Errorf("%w: %w", ErrSummary, err)
	}
	for i := range coefs {
		for j := range coefs {
			mean[i] += cov.At(i, j) * pull[j]
		}
	}
	return mean, cov, nil
}

// halfLogDet is half the log of the determinant.
func halfLogDet(m *mat.SymDense) float64 {
	var chol mat.Cholesky
	chol.Factorize(m)
	return chol.LogDet() / 2
}

// Prior is what a pool says of the curve of one more studio: mean, and covariance = Factor Factor'.
type Prior struct {
	Mean   vec        // coefficients in handbook sds from the handbook
	Factor [coefs]vec // lower
}

// Bytes are the numbers of a prior, little endian: the mean, then the lower half of the factor by rows.
func (p Prior) Bytes() []byte { return Summary{Pull: p.Mean, Precision: p.Factor}.Bytes() }

// ReadPrior takes a prior in. The error is ErrSummary where it is of another length, or its numbers leave no
// doubt or are none.
func ReadPrior(data []byte) (p Prior, err error) {
	s, err := readNumbers(data)
	if err != nil {
		return p, err
	}
	p.Mean = s.Pull
	for i := range coefs {
		for j := 0; j <= i; j++ {
			p.Factor[i][j] = s.Precision[i][j]
		}
		if !(p.Factor[i][i] > 0) || math.Abs(p.Mean[i]) > mostAway {
			return Prior{}, fmt.Errorf("%w: a prior of no doubt, or far from every clay", ErrSummary)
		}
	}
	return p, nil
}

// mostAway is how far from the handbook a pool's curve is taken, in handbook sds.
const mostAway = 50

// For is the prior of the studio whose summary is the n-th of the pool, with its own left out; of a studio
// that is not in it where n is below 0.
func (p *Pool) For(n int) (out Prior, err error) {
	cov := mat.NewSymDense(coefs, nil)
	var second [coefs]vec
	// cell by cell, without the studio's own part, then mixed by their mass
	for i, c := range p.cells {
		precision, pull := mat.NewSymDense(coefs, nil), c.pull
		precision.CopySym(c.precision)
		if n >= 0 {
			c.of(n, &p.studios[n], -1, precision, &pull)
		}
		mean, own, err := solved(precision, pull)
		if err != nil {
			return out, err
		}
		for k, w := range ways { // and its own way
			own.SetSym(w, w, own.At(w, w)+c.t[k])
		}
		for a := range coefs {
			out.Mean[a] += p.mass[i] * mean[a]
			for b := range coefs {
				second[a][b] += p.mass[i] * (own.At(a, b) + mean[a]*mean[b])
			}
		}
	}
	for a := range coefs {
		for b := 0; b <= a; b++ {
			cov.SetSym(a, b, second[a][b]-out.Mean[a]*out.Mean[b])
		}
	}
	var chol mat.Cholesky
	if !chol.Factorize(cov) {
		return out, fmt.Errorf("%w: together they leave no doubt", ErrSummary)
	}
	var l mat.TriDense
	chol.LTo(&l)
	for a := range coefs {
		for b := 0; b <= a; b++ {
			out.Factor[a][b] = l.At(a, b)
		}
	}
	return out, nil
}

// Mean is what the body itself loses at a heat, log-percent, and the sd of that: the range of one more studio
// is wider.
func (p *Pool) Mean(h, matures float64) (mean, sd float64, err error) {
	k := &clayCurve{matures: matures, shift: shiftSD}
	z := k.white(h)
	z[coefDrying] = dryingSD
	second := 0.0
	for i, c := range p.cells {
		x, cov, err := solved(c.precision, c.pull)
		if err != nil {
			return 0, 0, err
		}
		at, v := dryingMean+k.base(h)+dot(z, x), 0.0
		for a := range coefs {
			for b := range coefs {
				v += z[a] * z[b] * cov.At(a, b)
			}
		}
		mean += p.mass[i] * at
		second += p.mass[i] * (v + at*at)
	}
	return mean, math.Sqrt(max(0, second-mean*mean)), nil
}

// Unlike is the chance of the n-th studio to be of the wide kind.
func (p *Pool) Unlike(n int) (chance float64) {
	for i, c := range p.cells {
		chance += p.mass[i] * c.wide[n]
	}
	return chance
}

// Total is the rate of a prior at a heat of a body that matures at another, and its sd: log-percent.
func (p Prior) Total(h, matures float64) (mean, sd float64) {
	k := &clayCurve{matures: matures, shift: shiftSD}
	z := k.white(h)
	z[coefDrying] = dryingSD
	for j := range coefs {
		sum := 0.0
		for i := j; i < coefs; i++ {
			sum += z[i] * p.Factor[i][j]
		}
		sd += sum * sum
	}
	return dryingMean + k.base(h) + dot(z, p.Mean), math.Sqrt(sd)
}
