package lid

import (
	"math"

	"lidwright/kiln"
	"lidwright/kiln/message"
	"lidwright/tiles"
	"lidwright/tiles/shrinkage"
)

// PiecePart says what the fixed size of a size question belongs to.
type PiecePart string

const (
	PlainPart PiecePart = "plain" // the piece itself
	HolePart  PiecePart = "hole"  // a bought part of that size goes into our hole
	PlugPart  PiecePart = "plug"  // our plug goes into a bought part of that inside size
)

// PieceQuestion asks for any length or capacity, fired to unfired or back. Exactly one of
// FiredMM, FiredML, WetMM and WetML is given; the others are nil.
type PieceQuestion struct {
	FiredMM, WetMM *tiles.Millimetre     // lengths
	FiredML, WetML *float64              // capacity to the fill line, millilitres
	Part           PiecePart             // PlainPart where nobody said
	Play           *tiles.Millimetre     // hole, plug: between ours and the bought part, fired, across
	Stage          tiles.Stage           // of the unfired side
	Clay           tiles.BatchRef        // empty: Rates are stated
	Kind           kiln.Kind             // of the last firing
	Rates          shrinkage.StatedRates // in place of a clay
	// sd of a stated drying and of a stated firing part, each; nil: 0.6 %
	Doubt *tiles.Ratio
	Step  *tiles.Millimetre // nil: that of the studio; 0: not rounded
}

// PieceAnswer is the other side of a size. NaN stands where a figure has no meaning.
type PieceAnswer struct {
	Asked       PieceQuestion         // with every default in it
	Millimetre  tiles.Millimetre      // the length asked for, to the step: nearest; a hole up, a plug down
	Unrounded   tiles.Millimetre      // NaN of a capacity
	Likely      [2]tiles.Millimetre   // of the length asked for
	Millilitre  float64               // the capacity asked for
	LikelyML    [2]float64            // of the capacity asked for
	Ratio       tiles.Ratio           // fired length over unfired
	VolumeRatio tiles.Ratio           // its cube
	Trust       shrinkage.Reliability // of the rate
	TrustWhy    message.Message       // in words
	Cautions    []string              // ids, in the order in which they are to be read
}

// ToFired reports whether the fired side is asked for.
func (q *PieceQuestion) ToFired() bool { return q.WetMM != nil || q.WetML != nil }

const (
	leastCapacity = 1     // ml
	mostCapacity  = 1e6   // ml
	usualDoubt    = 0.006 // of a stated rate (own)
)

// CheckedPiece is a PieceQuestion that can be answered: it has no fault, and every default in it. Check alone
// makes one.
type CheckedPiece struct{ pieceQuestion }

type pieceQuestion = PieceQuestion // embedded under a name that nobody outside can set

// Check fills in what is usual and tells every fault. The error is InvalidFields.
func (q PieceQuestion) Check(d Defaults) (CheckedPiece, error) {
	var f tiles.Faults
	or(&q.Part, PlainPart)
	or(&q.Stage, tiles.Wet)
	or(&q.Kind, kiln.Glaze)
	orPoint(&q.Doubt, usualDoubt)
	orPoint(&q.Step, d.Step)
	// exactly one of the four sizes
	given := 0
	for _, s := range []struct {
		field string
		mm    *tiles.Millimetre
		ml    *float64
	}{{"fired_mm", q.FiredMM, nil}, {"fired_ml", nil, q.FiredML}, {"wet_mm", q.WetMM, nil},
		{"wet_ml", nil, q.WetML}} {
		if s.mm == nil && s.ml == nil {
			continue
		}
		if given++; given == 2 {
			f.Add(tiles.GivenTwice, s.field, "one size at a time: fired_mm, fired_ml, wet_mm or wet_ml")
		}
		if s.mm != nil {
			f.PieceOf(s.field, *s.mm, "size")
		} else {
			f.Number(s.field, *s.ml, leastCapacity, mostCapacity)
		}
	}
	if given == 0 {
		f.Add(tiles.Missing, "fired_mm", "is needed, or fired_ml, wet_mm or wet_ml")
	}
	tiles.OneOf(&f, "stage", q.Stage, tiles.Wet, tiles.Soft, tiles.Leather, tiles.Dry, tiles.Biscuit)
	q.checkPart(&f, d)
	f.Within("step_mm", float64(*q.Step))
	f.Number("doubt_ratio", float64(*q.Doubt), 0, 0.05)
	q.Rates.Check(&f, "")
	switch {
	case q.Clay.Clay != "" && q.Rates.Any():
		f.Add(tiles.GivenTwice, "clay", "and rates: name the clay or state the rates")
	case q.Clay.Clay == "" && !q.Rates.Any():
		f.Add(tiles.Missing, "clay", "is needed, or state the rates: drying_ratio and firing_ratio")
	case q.Clay.Clay == "":
		q.Rates.Needs(&f, "", q.Stage)
	}
	if err := f.Err(); err != nil {
		return CheckedPiece{}, err
	}
	return CheckedPiece{q}, nil
}

// checkPart sees that play and fixed size go together; a bought part that nobody told the play of sits as
// a stopper does.
func (q *PieceQuestion) checkPart(f *tiles.Faults, d Defaults) {
	tiles.OneOf(f, "part", q.Part, PlainPart, HolePart, PlugPart)
	if q.Play != nil {
		f.Within("play_mm", float64(*q.Play))
	}
	switch {
	case q.Part == PlainPart && q.Play != nil:
		f.Add(UnknownMember, "play_mm", "goes with part=hole or part=plug")
	case q.Part != PlainPart && q.FiredMM == nil:
		f.Add(tiles.Missing, "fired_mm", "is needed: the fixed size of the bought part")
	case q.Part != PlainPart && q.Play == nil:
		least, most := d.Windows[Stopper].At(*q.FiredMM) // a bought part sits as a stopper does
		play := (least + most) / 2
		q.Play = &play
	}
	if q.Part == PlugPart && q.FiredMM != nil && q.Play != nil && *q.Play >= *q.FiredMM {
		f.Add(tiles.OutOfRange, "play_mm", "leaves nothing of the plug")
	}
}

// Know is the shrink of the piece: of its clay, or as stated.
func (q *CheckedPiece) Know(rates shrinkage.Rates, at Firing) (shrinkage.Pair, error) {
	return q.know(rates, at, shrinkage.Apart)
}

// KnowSet is the shrink of two pieces of a set, of one clay and fired in one load.
func (q *CheckedPiece) KnowSet(rates shrinkage.Rates, at Firing) (shrinkage.Pair, error) {
	return q.know(rates, at, shrinkage.SameLoad)
}

// know is the shrink of two such pieces, which share what together says.
func (q *CheckedPiece) know(rates shrinkage.Rates, at Firing,
	together shrinkage.Together) (shrinkage.Pair, error) {
	if q.Clay.Clay == "" {
		part := shrinkage.StatedPart{Rates: q.Rates, Stage: q.Stage}
		return shrinkage.StatedPair(part, part, *q.Doubt, true, together), nil
	}
	ask := shrinkage.Ask{BatchRef: q.Clay, Forming: tiles.ThrownRing, Stage: q.Stage, Work: at.Work,
		WorkSD: at.WorkSD, BisqueWork: at.BisqueWork, Kind: q.Kind, Probe: at.Probe, On: at.On}
	if q.Rates.Leather != nil {
		ask.Gone = shrinkage.SoFarByRatio(*q.Rates.Leather)
	}
	return rates.Pair(ask, ask, together)
}

// SizePiece answers q from the shrink of one piece, which is the body of p. fromBag says that no
// usual firing of the kind is there yet.
func SizePiece(q CheckedPiece, p shrinkage.Pair, fromBag bool) PieceAnswer {
	left := math.Exp(-float64(p.R[0]) / 100)
	var v float64
	for _, s := range []shrinkage.Spread2{p.Rate, p.Batch, p.Load, p.Position, p.Piece, p.Gone} {
		v += s[0][0]
	}
	half := fitProbability{scales: fitScales(p.Nu)}.likelyHalf(variance{fitted: v}, tiles.LikelyLevel) / 100
	a := PieceAnswer{Asked: q.pieceQuestion, Ratio: tiles.Ratio(left),
		VolumeRatio: tiles.Ratio(left * left * left), Millimetre: nan, Unrounded: nan,
		Likely: [2]tiles.Millimetre{nan, nan}, Millilitre: math.NaN(),
		LikelyML: [2]float64{math.NaN(), math.NaN()},
		Trust:    p.Standing[0].Trust, TrustWhy: p.Standing[0].Why}
	turn := 1 / left
	if q.ToFired() {
		turn = left
	}
	low, high := math.Exp(-half), math.Exp(half)
	if volume := firstOf(q.FiredML, q.WetML); volume != nil {
		a.Millilitre = *volume * turn * turn * turn
		a.LikelyML = [2]float64{a.Millilitre * low * low * low, a.Millilitre * high * high * high}
	} else {
		length := float64(*firstOf(q.FiredMM, q.WetMM))
		switch q.Part {
		case HolePart:
			length += float64(*q.Play)
		case PlugPart:
			length -= float64(*q.Play)
		}
		a.Unrounded = tiles.Millimetre(length * turn)
		a.Likely = [2]tiles.Millimetre{a.Unrounded * tiles.Millimetre(low),
			a.Unrounded * tiles.Millimetre(high)}
		a.Millimetre = q.rounded(a.Unrounded)
	}
	for _, c := range []struct {
		when bool
		id   string
	}{{q.Rates.Any(), RatesStated}, {fromBag && q.Clay.Clay != "", NoUsualYet},
		{(q.Stage == tiles.Soft || q.Stage == tiles.Leather) && q.Rates.Leather == nil, LeatherGuessed},
		{true, ShrinkVaries}} {
		if c.when {
			a.Cautions = append(a.Cautions, c.id)
		}
	}
	return a
}

// Fired is the fired side of a: a length, or a capacity in millilitres; the other is NaN. Of a hole
// or a plug it is ours, not the bought part's.
func (a PieceAnswer) Fired() (tiles.Millimetre, float64) {
	switch q := a.Asked; {
	case q.FiredMM != nil:
		return a.Unrounded * tiles.Millimetre(a.Ratio), math.NaN()
	case q.WetMM != nil:
		return a.Unrounded, math.NaN()
	case q.FiredML != nil:
		return nan, *q.FiredML
	}
	return nan, a.Millilitre
}

// firstOf is a where it is there, else b.
func firstOf[T any](a, b *T) *T {
	if a != nil {
		return a
	}
	return b
}

// rounded is a size to the step, on the side where the bought part still goes in.
func (q *PieceQuestion) rounded(x tiles.Millimetre) tiles.Millimetre {
	if *q.Step == 0 {
		return x
	}
	floor, ceil := rounder(float64(*q.Step))
	switch q.Part {
	case HolePart:
		return ceil(float64(x))
	case PlugPart:
		return floor(float64(x))
	}
	return tiles.Millimetre(math.Round(float64(x / *q.Step))) * *q.Step
}
