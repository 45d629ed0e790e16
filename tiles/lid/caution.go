package lid

import (
	"math"
	"slices"

	"lidwright/kiln/message"
	"lidwright/tiles"
	"lidwright/tiles/shrinkage"
)

// Ids of the cautions that travel with a lid, in the order in which they are read: what may
// hurt somebody or weld a pot shut first, then what speaks of numbers.
const (
	WillFuse       = "will-fuse"      // caution 39
	WetGrinding    = "wet-grinding"   // caution 23
	EyeProtection  = "eye-protection" // caution 38
	RatesStated    = "rates-stated"
	NoUsualYet     = "no-usual-firing-yet"
	LedgeTooNarrow = "ledge-too-narrow"
	StepTooCoarse  = "step-too-coarse"
	LedgeNotGiven  = "ledge-not-given"
	MeasureWet     = "measure-wet" // common practice, no source
	LeatherGuessed = "leather-guessed"
	LeatherOwn     = "leather-own"
	OutOfRound     = "out-of-round"
	PlayOutside    = "play-outside-window"
	AskedUnusual   = "asked-unusual"
	ShrinkVaries   = "shrink-varies" // caution 34
)

// cautionOrder is the order in which they are read.
var cautionOrder = []string{WillFuse, WetGrinding, EyeProtection, RatesStated, NoUsualYet, LedgeTooNarrow,
	StepTooCoarse, LedgeNotGiven,
	MeasureWet, LeatherGuessed, LeatherOwn, OutOfRound, PlayOutside, AskedUnusual, ShrinkVaries}

// InOrder lists the cautions that were said, in the order in which they are read.
func InOrder(said map[string]bool) []string {
	var ids []string
	for _, id := range cautionOrder {
		if said[id] {
			ids = append(ids, id)
		}
	}
	return ids
}

// caution gathers the cautions, in their order.
func (a *Answer) caution(f *Clearance, s steps, known Known) {
	q := a.Asked
	add := func(when bool, id string) {
		if when {
			a.Cautions = append(a.Cautions, id)
		}
	}
	play := a.Fired.Play
	if q.Play != nil {
		play = *q.Play
	}
	add(q.SeatGlazed && q.Together == shrinkage.InPlace, WillFuse)
	add(known.Tight, WetGrinding)
	add(known.Tight, EyeProtection)
	add(q.BodyRates.Any() || q.LidRates.Any(), RatesStated)
	add(known.FromBag, NoUsualYet)
	add(s.under > s.over, LedgeTooNarrow)
	add(a.Question != AskGap && s.step > 0 && !s.any() && s.under <= s.over, StepTooCoarse)
	add(q.Seat == Inset && q.Opening == 0 && a.Question != AskGallery, LedgeNotGiven)
	add(len(q.Collar) > 0 && (q.CollarStage == tiles.Soft || q.CollarStage == tiles.Leather ||
		q.CollarStage == tiles.Dry) && q.Companion == "", MeasureWet)
	byOwn := known.Pair.GoneBars >= ownLeather || known.Check != nil && known.Check.GoneBars >= ownLeather
	add(q.Guessed() && !byOwn, LeatherGuessed)
	add(q.Guessed() && byOwn, LeatherOwn)
	add(a.OutOfRound > outOfRoundFrom, OutOfRound)
	add(q.Play != nil && (float64(play) < f.fit.least || float64(play) > f.fit.most), PlayOutside)
	add(len(a.Unusual) > 0, AskedUnusual)
	add(true, ShrinkVaries)
}

// ownLeather is how many own bars read leather-hard make a guess the studio's own (own).
const ownLeather = 3

// outOfRoundFrom is the difference between directions that is worth a word, in mm (own):
// three readings of a round gallery differ by so much about once in ten.
const outOfRoundFrom tiles.Millimetre = 0.9

// trustOrder is the order of the trust words, worst first.
var trustOrder = []shrinkage.Reliability{shrinkage.OutsideTestedHeat, shrinkage.NoBars,
	shrinkage.MadeOrFiredDifferently, shrinkage.Old, shrinkage.FewBars, shrinkage.WellTested}

// lessTrusted reports whether a is trusted less than b.
func lessTrusted(a, b shrinkage.Reliability) bool {
	return slices.Index(trustOrder, a) < slices.Index(trustOrder, b)
}

// stand says how far the answer can be trusted, and why it is held back, if it is.
func (a *Answer) stand(q Question, known Known) {
	var held message.Message
	standing := shrinkage.Standing{Trust: shrinkage.WellTested,
		Why: message.New("both parts measured fired: no rate in it")}
	first := true
	for i, shrinks := range []bool{q.CollarStage != tiles.Fired, q.LidStage != tiles.Fired} {
		if !shrinks {
			continue
		}
		s := known.Pair.Standing[i]
		if first || lessTrusted(s.Trust, standing.Trust) {
			standing, first = s, false
		}
		if s.Trust == shrinkage.OutsideTestedHeat || s.NoOwnFired {
			held = s.Why
		}
	}
	a.Trust, a.TrustWhy = standing.Trust, standing.Why
	if !held.IsZero() && a.Doubt.Rate > heldBackShare {
		a.HeldBack = message.New("the rate alone leaves the play in doubt by {1} ({2})",
			tiles.MM.Of(tiles.Millimetre(math.Round(float64(a.Doubt.Rate)*100)/100)), held)
	}
}

// also gives the sizes that follow from the set one: over the ratio of the part that they
// belong to, rounded inwards to the step.
func (f *Clearance) also(q Question, play tiles.Millimetre, step float64) []AlsoPart {
	floor, ceil := rounder(step)
	body, lid := f.Left[0], f.Left[1]
	p := float64(play) + f.Glaze
	opening := float64(q.Opening) * body
	if f.made == 0 {
		if !q.Seat.ledged() {
			return nil
		}
		collar := f.given + p // the lid is the inner part of a ledge
		return []AlsoPart{{"opening", floor((2*(f.given-f.Bearing) - collar) / body), nan}}
	}
	switch q.Seat {
	case Inset:
		if q.Opening != 0 {
			return []AlsoPart{{"locating_flange", floor((opening - p) / lid), nan}}
		}
	case Flange:
		return []AlsoPart{{"plate", nan, ceil((f.given + p + 2*f.Bearing) / lid)}}
	case DropIn:
		return []AlsoPart{{"well", floor((opening - p) / lid), nan}}
	case Over:
		return []AlsoPart{{"flange", floor((opening - p) / lid), nan}}
	}
	return nil
}

// rounder gives rounding down and up to a step; none if step is 0.
func rounder(step float64) (floor, ceil func(float64) tiles.Millimetre) {
	if step == 0 {
		same := func(x float64) tiles.Millimetre { return tiles.Millimetre(x) }
		return same, same
	}
	return func(x float64) tiles.Millimetre { return tiles.Millimetre(math.Floor(x/step+onGrid) * step) },
		func(x float64) tiles.Millimetre { return tiles.Millimetre(math.Ceil(x/step-onGrid) * step) }
}

// atCheck is the gap to expect at a stage on the way: both parts shrunk from where they were
// measured to that stage. What is known of the rest of the way is taken off; where the two
// ways are not quite independent this leaves the range a little wide. The lid's learned
// difference counts by the share of its shrink that it has gone through.
func (f *Clearance) atCheck(q Checked, rest shrinkage.Pair) *AtCheck {
	// the way from where both were measured to the stage of the check
	way := *f
	whole := f.Pair
	way.Glaze = 0
	share := 1.0
	if whole.R[1] != 0 {
		share = float64((whole.R[1] - rest.R[1]) / whole.R[1])
	}
	way.Part = Difference{Mean: f.Part.Mean * tiles.LogPercent(share),
		SD:      f.Part.SD * tiles.LogPercent(share),
		BoardSD: f.Part.BoardSD * tiles.LogPercent(share)}
	way.Pair.R = [2]tiles.LogPercent{whole.R[0] - rest.R[0], whole.R[1] - rest.R[1]}
	// what is known of the rest of the way, taken off what is known of the whole
	less := func(a, b shrinkage.Spread2) shrinkage.Spread2 {
		var s shrinkage.Spread2
		for i := range s {
			s[i][i] = max(a[i][i]-b[i][i], 0)
		}
		most := math.Sqrt(s[0][0] * s[1][1])
		s[0][1] = min(max(a[0][1]-b[0][1], -most), most)
		s[1][0] = s[0][1]
		return s
	}
	way.Pair.Rate, way.Pair.Batch, way.Pair.Load = less(whole.Rate, rest.Rate), less(whole.Batch, rest.Batch),
		less(whole.Load, rest.Load)
	way.Pair.Position, way.Pair.Piece = less(whole.Position, rest.Position), less(whole.Piece, rest.Piece)
	way.Pair.Gone = rest.Gone
	way.Left[0] = math.Exp(-float64(way.Pair.R[0]) / 100)
	way.Left[1] = math.Exp(-float64(way.Pair.R[1]+way.Part.Mean) / 100)
	way.Making = square(way.Left[1] * q.readingSD(q.LidStage))
	// as they will be at that stage, without glaze
	widths, vars := q.directions(way.Left[0] * q.readingSD(q.CollarStage))
	first := smallest(widths)
	if !f.Inner {
		first = largest(widths)
	}
	way.given, way.reading = widths[first]*way.Left[0], vars[first]
	w := float64(q.Lid) * way.Left[1]
	play, half := way.playOf(w), f.fit.likelyHalf(way.causesAt(w).total(), tiles.LikelyLevel)
	return &AtCheck{Stage: q.CheckStage, Play: tiles.Millimetre(play),
		Likely: [2]tiles.Millimetre{tiles.Millimetre(play - half), tiles.Millimetre(play + half)},
		Wide:   2*half > f.fit.most-f.fit.least}
}
