package lid

import (
	"math"
	"slices"

	"lidwright/tiles"
	"lidwright/tiles/shrinkage"
)

// Clearance is one lid question worked out in fired sizes, mm and mm²: one part is given, the other
// is to be made. Index 0 is the pot, 1 the lid. What is exported is what a whole board draws from.
type Clearance struct {
	Pair  shrinkage.Pair // of body and lid, to fired
	Part  Difference     // of lids of this form, zero where none is used
	Left  [2]float64     // length left at the fired stage of a length of 1
	made  int            // which part is to be made
	Inner bool           // the part to be made is the inner one

	given   float64 // fired width of the given part that rules the play
	pushed  float64 // inset, drop_in: half of (largest collar + opening), fired; NaN without ledge
	Glaze   float64 // on seat and lid edge, across in all
	Bearing float64 // least overlap on the ledge when pushed to one side
	fit     fitProbability
	reading float64 // variance of the given part's reading, fired

	Widths, WidthVars  []float64 // of the pot's directions, fired; empty: it is to be made
	First, Other       int       // which of them rules the play, and which is at the other end
	Opening, OpeningSD float64   // fired; 0: none
	Making             float64   // variance of the made part's width, fired
	Nu                 float64   // degrees of freedom of the shrinks' doubt; +Inf: normal
}

// NewClearance works out q.
func NewClearance(q Checked, known Known) Clearance {
	f := Clearance{Pair: known.Pair, made: 1, Inner: q.Seat.lidInside(), Glaze: float64(*q.Glaze),
		Bearing: float64(*q.Bearing), pushed: math.NaN(), Nu: known.Pair.Nu}
	if known.Part != nil && q.LidStage != tiles.Biscuit && q.LidStage != tiles.Fired {
		f.Part = *known.Part
		f.rateLearned()
	}
	// what is left of a length of 1; the learned difference is the lid's
	f.Left[0] = math.Exp(-float64(known.Pair.R[0]) / 100)
	f.Left[1] = math.Exp(-float64(known.Pair.R[1]+f.Part.Mean) / 100)
	f.fit.scales, f.fit.gauss = fitScales(f.Nu), legendre(16)
	f.fit.bound.at = math.Inf(1)
	lidSD := float64(*q.ThrowSD)
	if q.RimAsIs && known.Rim.Pairs > 0 && len(q.Collar) > 0 { // nobody corrects what the rim came to
		lidSD = math.Hypot(lidSD, float64(q.Collar[0]*tiles.Millimetre(known.Rim.SD))/100)
	}
	if q.Lid != 0 {
		lidSD = q.readingSD(q.LidStage)
	}
	// the lid is given and the pot is made: the other way round
	if q.Asks() == AskGallery {
		f.made, f.Inner = 0, !f.Inner
		f.given = float64(q.Lid) * f.Left[1]
		f.reading = square(f.Left[1] * lidSD)
		f.Making = square(f.Left[0] * float64(*q.ThrowSD))
		f.window(q, q.galleryDiameter(f))
		return f
	}
	f.Making = square(f.Left[1] * lidSD)
	f.measure(q)
	return f
}

// square is x times x.
func square(x float64) float64 { return x * x }

// rateBetween is the variance of lid less body by what is not known of the rates and the batches,
// log-percent².
func (f *Clearance) rateBetween() float64 {
	var v float64
	for _, s := range []shrinkage.Spread2{f.Pair.Rate, f.Pair.Batch} {
		v += s[0][0] + s[1][1] - 2*s[0][1]
	}
	return max(v, 0)
}

// rateLearned takes out of the doubt of the rates what the learned difference has in it: of the two errors
// together the part that lies between lid and body, as far as boards have seen it. What the difference does
// not cover stays, as of a batch that no board was made of, and so does what both parts share.
func (f *Clearance) rateLearned() {
	between := f.rateBetween()
	if f.Part.RateSD == 0 || between == 0 {
		return
	}
	share := min(1, square(float64(f.Part.RateSD))/between)
	var sum shrinkage.Spread2
	for i := range sum {
		for j := range sum {
			sum[i][j] = f.Pair.Rate[i][j] + f.Pair.Batch[i][j]
		}
	}
	along := [2]float64{sum[0][1] - sum[0][0], sum[1][1] - sum[1][0]} // with lid less body
	for i := range sum {
		for j := range sum {
			sum[i][j] -= share * along[i] * along[j] / between
		}
	}
	f.Pair.Rate, f.Pair.Batch = sum, shrinkage.Spread2{}
}

// readingSD is how true one reading at that stage is.
func (q *Checked) readingSD(stage tiles.Stage) float64 {
	switch {
	case q.MeasureSD != nil:
		return float64(*q.MeasureSD)
	case stage == tiles.Fired:
		return float64(q.d.FiredSD)
	}
	return float64(q.d.MeasureSD)
}

// measure takes in the collar, one width a direction, and the ledge.
func (f *Clearance) measure(q Checked) {
	widths, vars := q.directions(f.Left[0] * q.readingSD(q.CollarStage))
	for i := range widths {
		widths[i] *= f.Left[0]
	}
	first, other := smallest(widths), largest(widths) // the lid inside: the smallest rules the play
	if !f.Inner {
		first, other = other, first
	}
	f.given, f.reading = widths[first], vars[first]
	f.Widths, f.WidthVars, f.First, f.Other = widths, vars, first, other
	f.window(q, f.given)
	covPlay := vars[first]
	switch {
	// pushed to one side the lid must still lie on the ledge: a second limit, as badly known as what it
	// was read from
	case q.Seat.ledged() && q.Opening != 0:
		f.Opening, f.OpeningSD = float64(q.Opening)*f.Left[0], f.Left[0]*q.readingSD(q.CollarStage)
		f.pushed = (widths[other] + f.Opening) / 2
		f.fit.bound = bound{at: f.given - f.pushed - f.Bearing - f.Glaze}
		read := square(f.OpeningSD)
		if first == other {
			f.fit.bound.variance.known, f.fit.bound.cov.known = (vars[first]+read)/4, covPlay/2
		} else {
			f.fit.bound.variance.known, f.fit.bound.cov.known = vars[first]+(vars[other]+read)/4, covPlay
		}
		f.ledgeShrinks()
	// a skirt that clears the widest direction may rattle over the narrowest
	case !f.Inner && first != other:
		f.fit.bound = bound{f.fit.most + widths[other] - widths[first],
			variance{known: vars[first] + vars[other]},
			variance{known: covPlay}}
	}
}

// ledgeShrinks adds what the body's shrink does to the width of its ledge: little, but on a
// wide ledge with two clays it is worth 0.002 of the chance.
func (f *Clearance) ledgeShrinks() {
	p, ledge := f.Pair, f.given-f.pushed
	lid := f.given - f.Glaze - (f.fit.least+f.fit.most)/2
	for _, s := range []shrinkage.Spread2{p.Rate, p.Batch, p.Load, p.Gone, p.Position, p.Piece} {
		f.fit.bound.variance.fitted += ledge * ledge * s[0][0] / 1e4
		f.fit.bound.cov.fitted += ledge * (f.given*s[0][0] - lid*s[0][1]) / 1e4
	}
}

// directions gives one width a direction, repeats averaged, and the variance of each as
// measured; sd is that of one reading, fired.
func (q *Question) directions(sd float64) (widths, vars []float64) {
	for i, c := range q.Collar {
		w, n := float64(c), 1.0
		if i == 0 {
			for _, again := range q.CollarAgain {
				w += float64(again)
				n++
			}
		}
		widths, vars = append(widths, w/n), append(vars, sd*sd/n)
	}
	return widths, vars
}

// smallest is the place of the least of v.
func smallest(v []float64) int { return slices.Index(v, slices.Min(v)) }

// largest is the place of the greatest of v.
func largest(v []float64) int { return slices.Index(v, slices.Max(v)) }

// window sets least and most play: as asked, else by the seat at the fired diameter of the pot.
func (f *Clearance) window(q Checked, diameter float64) {
	least, most := q.d.Windows[q.Seat].At(tiles.Millimetre(diameter))
	if q.LeastPlay != nil {
		least = *q.LeastPlay
	}
	if q.MostPlay != nil {
		most = *q.MostPlay
	}
	f.fit.least, f.fit.most = float64(least), float64(most)
}

// galleryDiameter is the fired diameter of the pot that a lid at hand is aimed at: the lid
// and the middle of the window, which itself grows with the diameter.
func (q *Checked) galleryDiameter(f Clearance) float64 {
	sign := 1.0
	if f.Inner { // the pot goes inside
		sign = -1
	}
	c := f.given
	for range 6 { // each step is 60 times nearer
		least, most := q.d.Windows[q.Seat].At(tiles.Millimetre(c))
		c = f.given + sign*(float64(least+most)/2+f.Glaze)
	}
	return c
}

// Bounds are the least and the most play of a good lid, fired, and the play at which the ledge
// ends (+Inf without one).
func (f *Clearance) Bounds() (least, most, bound float64) {
	return f.fit.least, f.fit.most, f.fit.bound.at
}

// PlayAt is the mean fired play of a made part of size x (as measured at its stage).
func (f *Clearance) PlayAt(x float64) float64 { return f.playOf(x * f.Left[f.made]) }

// playOf is the mean fired play of a made part of that fired width.
func (f *Clearance) playOf(fired float64) float64 {
	if f.Inner {
		return f.given - fired - f.Glaze
	}
	return fired - f.given - f.Glaze
}

// sizeFor is the size of the made part that gives this mean play.
func (f *Clearance) sizeFor(play float64) float64 {
	if f.Inner {
		return (f.given - play - f.Glaze) / f.Left[f.made]
	}
	return (f.given + play + f.Glaze) / f.Left[f.made]
}

// limits are the largest and smallest size whose mean play lies in the window and within
// the bound.
func (f *Clearance) limits() (over, under float64) {
	tight, loose := f.sizeFor(f.fit.least), f.sizeFor(min(f.fit.most, f.fit.bound.at))
	if f.Inner {
		return tight, loose
	}
	return loose, tight
}

// causes are the variances of the fired play, by cause, for a made part of fired width w; own
// is the share of them that each of several made parts has for itself.
type causes struct {
	piece, position, reading, throwing, part, rate, load, gone float64
	own                                                        variance
}

// total is their sum.
func (c causes) total() variance {
	return variance{known: c.reading + c.throwing + c.part,
		fitted: c.piece + c.position + c.rate + c.load + c.gone}
}

// shared is what is not own.
func (c causes) shared() variance {
	t := c.total()
	return variance{max(t.known-c.own.known, 0), max(t.fitted-c.own.fitted, 0)}
}

// causesAt are the causes for a made part of fired width w. Of what was fitted (rates, loads, places,
// pieces) the play has the difference of both parts' errors, so that what they share takes itself out;
// readings, throwing and the learned difference stand by themselves. A variance in log-percent² becomes
// mm² by the square of the width over 10,000.
func (f *Clearance) causesAt(w float64) causes {
	var width [2]float64
	width[f.made], width[1-f.made] = w, f.given
	of := func(s shrinkage.Spread2) float64 { // the play is a difference: what both share takes itself out
		return (width[0]*width[0]*s[0][0] + width[1]*width[1]*s[1][1] - 2*width[0]*width[1]*s[0][1]) / 1e4
	}
	own := func(s shrinkage.Spread2) float64 { // what the given part does not know about
		v := s[f.made][f.made]
		if g := s[1-f.made][1-f.made]; g > 0 {
			v -= s[0][1] * s[0][1] / g
		}
		return w * w * max(v, 0) / 1e4
	}
	p := f.Pair
	c := causes{
		piece:    of(p.Piece),
		position: of(p.Position),
		reading:  f.reading,
		throwing: f.Making,
		part:     width[1] * width[1] * f.Part.variance() / 1e4,
		rate:     of(p.Rate) + of(p.Batch),
		load:     of(p.Load),
		gone:     of(p.Gone),
	}
	c.own = variance{known: f.Making, fitted: own(p.Piece) + own(p.Position)}
	return c
}

// ChanceAt is the chance that one made part of size x fits.
func (f *Clearance) ChanceAt(x float64) float64 {
	return f.fit.one(f.PlayAt(x), f.causesAt(x*f.Left[f.made]).total())
}
