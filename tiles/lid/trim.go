package lid

import (
	"math"

	"gonum.org/v1/gonum/mat"

	"lidwright/kiln/message"
	"lidwright/tiles"
	"lidwright/tiles/shrinkage"
)

// Trim is how a lid comes to its width in two steps: thrown a little large, then trimmed at leather-hard. A
// lid that is too large can be trimmed, one too small is lost (common practice, no source).
type Trim struct {
	Throw tiles.Millimetre // wet, on the step; NaN: the lid is at hand
	// width at leather-hard; with a lid at hand by what it and its pot lost, else by what is usual
	To        tiles.Millimetre
	NotOver   tiles.Millimetre // wet: what is larger has too much to come off; NaN: the lid is at hand
	Off       tiles.Millimetre // that comes off at leather-hard, across
	FitChance float64          // with the best of both steps
	TooSmall  float64          // chance that the throw comes out smaller than what it is trimmed to
}

// Says is what to do, in one line, lengths in unit where the reader has none.
func (t Trim) Says(unit tiles.LengthUnit) message.Message {
	switch {
	case !math.IsNaN(float64(t.Throw)):
		return message.New("Throw {1}, trim at leather-hard to {2}.", unit.Of(t.Throw), unit.Of(t.To))
	case t.Off <= 0:
		return message.New("Leave this lid as it is: nothing is to come off.")
	}
	return message.New("Trim this lid to {1}: {2} comes off.", unit.Of(t.To), unit.Of(t.Off))
}

const (
	trimMost = 4.0 // mm across that a rim spares, where nobody said (own)
	trimStep = 0.1 // mm to which a rim can be trimmed (own)
)

// trimmed is f for a lid that is trimmed at leather-hard: how true its last width is then follows from what
// is known of the drying, not from the throw. gone is what the lid has lost by then, log-percent.
func (f *Clearance) trimmed(q Checked, whole, rest shrinkage.Pair) (t Clearance, gone float64) {
	t = *f
	sees := q.drying(whole, rest)
	lost := sees.mean[1]
	width := (f.given - f.Glaze - (f.fit.least+f.fit.most)/2)
	// of one reading at leather-hard, log-percent
	cut := 100 * float64(q.softSD) * f.Left[1] * math.Exp(lost/100) / width
	t.Making = square(width/100) * (sees.cov[1][1] + cut*cut)
	if sees.pot {
		t.given *= math.Exp(sees.mean[0] / 100)
		t.reading = (square(t.given)*sees.cov[0][0] - 2*t.given*width*sees.cov[0][1]) / 1e4
	}
	return t, lost
}

// dried is what readings at leather-hard tell: index 0 the wet gallery beside what was read (log-percent), 1
// what the lid has lost.
type dried struct {
	mean [2]float64
	cov  [2][2]float64
	pot  bool // the gallery is unfired and in it
}

// drying joins what is usual of the drying with what was read. Unknown are the wet gallery, the wet lid, and
// what each has lost, in log-percent from where they are expected. Before the lid is at hand its two
// readings, and that of a gallery that dries beside it, are taken as still to come.
func (q *Checked) drying(whole, rest shrinkage.Pair) dried {
	const gallery, lid, goneBody, goneLid = 0, 1, 2, 3
	soft := float64(q.softSD)
	a, b := mat.NewSymDense(4, nil), mat.NewVecDense(4, nil)
	// one observation into the normal equations: a sum of unknowns with its variance
	see := func(value, variance float64, coefs map[int]float64) {
		for i, x := range coefs {
			b.SetVec(i, b.AtVec(i)+x*value/variance)
			for j, y := range coefs {
				if j >= i {
					a.SetSym(i, j, a.At(i, j)+x*y/variance)
				}
			}
		}
	}
	gone := [2]float64{float64(whole.R[0] - rest.R[0]), float64(whole.R[1] - rest.R[1])}
	prior := func(part int) float64 { return max(rest.Gone[part][part], square(0.02)) }
	read := func(l tiles.Millimetre, n int) float64 { return square(100*soft/float64(l)) / float64(n) }
	toCome := q.LidNow == 0
	pot := q.CollarStage == tiles.Wet && q.Together != shrinkage.Apart
	see(0, 1, map[int]float64{lid: 1e-3}) // the throw itself tells next to nothing of the width
	// the gallery dries beside the lid, so that its readings tell of the lid's drying too
	if pot {
		widths, _ := q.directions(1)
		ruling := tiles.Millimetre(widths[smallest(widths)])
		see(0, read(ruling, 1), map[int]float64{gallery: 1})
		see(gone[0], prior(0), map[int]float64{goneBody: 1})
		see(gone[1]-gone[0], square(shrinkage.CompanionSD), map[int]float64{goneLid: 1, goneBody: -1})
		switch n := len(q.CollarNow); {
		case n > 0:
			var now float64
			for _, c := range q.CollarNow {
				now += float64(c) / float64(n)
			}
			see(100*math.Log(now/mean(widths)), read(ruling, n), map[int]float64{gallery: 1, goneBody: -1})
		case toCome:
			see(-gone[0], read(ruling, 1), map[int]float64{gallery: 1, goneBody: -1})
		}
	} else {
		see(0, 1, map[int]float64{gallery: 1})
		see(0, 1, map[int]float64{goneBody: 1})
		see(gone[1], prior(1), map[int]float64{goneLid: 1})
	}
	width := tiles.Millimetre(100)
	switch {
	case toCome:
		if len(q.Collar) > 0 {
			width = q.Collar[0]
		}
		see(0, read(width, 1), map[int]float64{lid: 1})
		see(-gone[1], read(width, 1), map[int]float64{lid: 1, goneLid: -1})
	case q.LidWet != 0:
		see(0, read(q.LidWet, 1), map[int]float64{lid: 1})
		see(100*math.Log(float64(q.LidNow/q.LidWet)), read(q.LidNow, 1), map[int]float64{lid: 1, goneLid: -1})
	}
	// what all of it together says
	var chol mat.Cholesky
	chol.Factorize(a) // every unknown has a row of its own, so a is positive
	var x mat.VecDense
	var c mat.SymDense
	_ = chol.SolveVecTo(&x, b)
	_ = chol.InverseTo(&c)
	return dried{pot: pot, mean: [2]float64{x.AtVec(gallery), x.AtVec(goneLid)},
		cov: [2][2]float64{{c.At(gallery, gallery), c.At(gallery, goneLid)},
			{c.At(goneLid, gallery), c.At(goneLid, goneLid)}}}
}

// mean is the mean of v; NaN of none.
func mean(v []float64) (m float64) {
	for _, x := range v {
		m += x / float64(len(v))
	}
	return m
}

// trimming is the best of the two steps, and the clearance and wet width that the trimmed lid has.
func (f *Clearance) trimming(q Checked, whole, rest shrinkage.Pair) (t Trim, as Clearance, width float64) {
	as, gone := f.trimmed(q, whole, rest)
	left := math.Exp(-gone / 100) // at leather-hard
	over, under := as.limits()
	// the width at leather-hard with the best chance, on the step of trimming
	best := 0.0
	for k := int(math.Ceil(under * left / trimStep)); float64(k)*trimStep <= over*left; k++ {
		if p := as.ChanceAt(float64(k) * trimStep / left); p > best {
			best, width = p, float64(k)*trimStep/left
		}
	}
	if width == 0 { // no such step between the limits
		width = (over + under) / 2
		best = as.ChanceAt(width)
	}
	t = Trim{Throw: nan, NotOver: nan, To: tiles.Millimetre(width * left), FitChance: best}
	whatCame := *f
	whatCame.Making = 0
	if q.LidNow != 0 {
		if q.LidNow <= t.To { // nothing to come off: it stays as it is
			whatCame.Making, t.To = as.Making, q.LidNow
			t.FitChance, t.TooSmall = whatCame.ChanceAt(float64(q.LidNow)/left), 1
		}
		t.Off = q.LidNow - t.To
		return t, as, width
	}
	// still to be thrown: larger by what may come off, no more
	most := q.trimMost() / left
	t.NotOver = tiles.Millimetre(math.Floor((width+most)/trimStep) * trimStep)
	t.throw(&whatCame, &as, width, best, most, math.Sqrt(f.Making)/f.Left[1], float64(*q.Step))
	t.Off = tiles.Millimetre(float64(t.Throw)*left) - t.To
	return t, as, width
}

// throw finds the width to throw: what comes out larger than width is trimmed to it, by most at most; what
// comes out smaller stays as it is.
func (t *Trim) throw(untrimmed, trimmed *Clearance, width, chance, most, sd, step float64) {
	if step == 0 {
		step = trimStep
	}
	const points = 40 // of what comes out smaller, or larger than can be trimmed
	reach := 4.6*sd + step
	// the chance of a lid that comes out smaller, or too large to be trimmed, on a grid
	small, large := make([]float64, points+1), make([]float64, points+1)
	for i := range small {
		small[i] = untrimmed.ChanceAt(width - reach*float64(i)/points)
		large[i] = trimmed.ChanceAt(width + reach*float64(i)/points)
	}
	at := func(v []float64, x float64) float64 {
		x = min(x/reach*points, points)
		i := min(int(x), points-1)
		return v[i] + (x-float64(i))*(v[i+1]-v[i])
	}
	nodes := normalNodes(0.1)
	t.FitChance = -1
	// each width that can be set, over the scatter of the throw
	for k := int(math.Ceil(width/step - onGrid)); float64(k)*step <= width+max(most, step); k++ {
		var p, under float64
		for _, n := range nodes {
			over := float64(k)*step + sd*n.at - width
			switch {
			case over < 0:
				p += n.weight * at(small, -over)
				under += n.weight
			case over > most:
				p += n.weight * at(large, over-most)
			default:
				p += n.weight * chance
			}
		}
		if p > t.FitChance+0.0005 {
			t.FitChance, t.Throw, t.TooSmall = p, tiles.Millimetre(float64(k)*step), under
		}
	}
}

// trimMost is how much may come off a rim at leather-hard, across.
func (q *Question) trimMost() float64 {
	if q.TrimMost == nil {
		return trimMost
	}
	return float64(*q.TrimMost)
}
