// Package lid says how wide to throw a lid, or a gallery, or which gap a given lid will have. In go
// a Question, the Defaults of the studio and what is Known of the shrink of body and lid
// (tiles/shrinkage, or stated rates); out comes an Answer: the size to set, its limits, the chance
// that it fits, the uncertainty budget, cautions, and what would help most. All sizes are across
// and in mm; the play is that of the fired pair.
//
// How lids sat (Result) comes back in and teaches by how much lids shrink more than their pots
// (Differences), how true a maker throws (Accuracy), and how often our ranges held (Coverage).
// Any other piece, sets that nest and cross-sections are sized by the same shrink.
//
// It fits no rate, sizes one lid at a time (tiles/board: many), and writes nothing for a page but
// its one line in words.
package lid

import (
	"math"

	"lidwright/kiln/message"
	"lidwright/tiles"
	"lidwright/tiles/shrinkage"
)

// Answer says how wide to throw a lid (or a gallery, or what play a given lid will have)
// and how far to trust that. Sizes are those of the part asked for, at its stage, in mm with
// full precision; NaN stands where there is none.
type Answer struct {
	Asked     Question         // with every default in it
	Question  Kind             // which of the three was asked
	LeastPlay tiles.Millimetre // the window in force
	MostPlay  tiles.Millimetre // its other end

	MeasureSD tiles.Millimetre // of one reading of the given part

	Set       tiles.Millimetre // multiple of the step; NaN: gap question, or held back
	Unrounded tiles.Millimetre // for the play asked, or the middle of the limits; NaN: gap question
	NotOver   tiles.Millimetre // limits, rounded inwards to the step
	// what is smaller fits too loosely, or too tightly where the lid is outside
	NotUnder tiles.Millimetre
	Limits   [2]tiles.Millimetre // not under and not over before rounding
	LimitsBy [2]LimitCause       // what set each of them: under, over
	// that the lid of the set width fits; of the unrounded one where held back
	FitChance float64
	Chances   Chances // of the set width, or of the lid at hand; zero: held back, or it is trimmed
	WhatIf    *WhatIf // of the width that was tried; nil: none was

	Fired         FiredPair             // as it comes out of the last firing
	Spread        []Spares              // for 1, 2, 3 lids; nil: gap question, or held back
	Cheapest      Way                   // to Goal
	Trim          *Trim                 // nil: not asked for
	Bowl          *Bowl                 // to throw before its rim is turned out; nil: nothing learned
	Also          []AlsoPart            // other sizes that follow from the set one; none: nothing follows
	OutOfRound    tiles.Millimetre      // largest collar less smallest, as measured; NaN: one direction
	AtCheck       *AtCheck              // nil: no check on the way was asked for
	LidDifference Difference            // that was reckoned with; zero: none
	Doubt         UncertaintyBudget     // of the fired play, by cause
	Sharpen       []Improvement         // what would help most, the best first
	LikelyLevel   float64               // of every range here: tiles.LikelyLevel
	Trust         shrinkage.Reliability // of the less trusted of both rates
	TrustWhy      message.Message       // in words
	HeldBack      message.Message       // why no width is given; empty: it is
	Cautions      []string              // ids, in the order in which they are to be read
	Unusual       []string              // fields outside belief
}

// FiredPair is the pair as it will come out of the last firing, for the set size (for the
// unrounded one where that is held back).
type FiredPair struct {
	Collar       tiles.Millimetre    // the direction that rules the play
	Lid          tiles.Millimetre    // across
	Play         tiles.Millimetre    // across, glaze taken out
	Likely       [2]tiles.Millimetre // of the play
	PlaySD       tiles.Millimetre    // of the play, one sd, at the fit's own sds
	LeastBearing tiles.Millimetre    // overlap when pushed to one side; NaN without ledge
	Ledge        tiles.Millimetre    // width of the ledge at its narrowest; NaN without
}

// LimitCause says what a limit comes from.
type LimitCause struct {
	What message.Key      // playAtLeast, playAtMost, bearingAtLeast
	At   tiles.Millimetre // the play or bearing
}

// String is the cause in mm and English.
func (l LimitCause) String() string { return l.In(tiles.MM).String() }

// In writes the cause with its length in unit: "play at least 1.0 mm".
func (l LimitCause) In(unit tiles.LengthUnit) message.Message {
	return message.New(l.What, unit.Of(l.At))
}

const (
	playAtLeast    message.Key = "play at least {1}"
	playAtMost     message.Key = "play at most {1}"
	bearingAtLeast message.Key = "bearing at least {1} when pushed to one side"
)

// Chances are those of how a lid may sit; together they are 1.
// under the least play, good, or over the most play or past the ledge
type Chances struct{ TooTight, Fits, Rattles float64 }

// WhatIf is what comes of another width than the one to set.
type WhatIf struct {
	Width tiles.Millimetre // as it would be set
	Chances
	Play tiles.Millimetre // fired, across
}

// ChancesAt are the chances of a made part of width x, mm: too tight under the least play, rattling over the
// most, or where it slips past the ledge.
func (f *Clearance) ChancesAt(x float64) Chances {
	play, v := f.PlayAt(x), f.causesAt(x*f.Left[f.made]).total()
	o := Chances{Fits: f.fit.one(play, v), TooTight: f.fit.tight(play, v)}
	o.Rattles = max(0, 1-o.Fits-o.TooTight)
	return o
}

// tried fills in what comes of the width that was tried.
func (a *Answer) tried(f *Clearance) {
	q := a.Asked
	if q.Try == 0 || a.Trim != nil || !a.HeldBack.IsZero() || a.Question == AskGap {
		return
	}
	x := float64(q.Try)
	a.WhatIf = &WhatIf{Width: q.Try, Chances: f.ChancesAt(x), Play: tiles.Millimetre(f.PlayAt(x))}
}

// Spares is a number of lids thrown for one pot, their sizes and the chance that one fits.
type Spares struct {
	// how many are thrown
	Lids int
	// one a lid, on the step
	Sizes []tiles.Millimetre
	// that at least one fits
	FitChance float64
}

// AlsoPart is another size that follows from the set one; a limit that it has not is NaN.
type AlsoPart struct {
	Part     string           // locating_flange, plate, well, flange, opening
	NotOver  tiles.Millimetre // NaN: no such limit
	NotUnder tiles.Millimetre // NaN: no such limit
}

// AtCheck is the gap to expect on the way, at a stage before the last.
type AtCheck struct {
	Stage  tiles.Stage         // leather, dry or bisque
	Play   tiles.Millimetre    // across, at that stage
	Likely [2]tiles.Millimetre // of that play
	Wide   bool                // the range is wider than the window of the lid: it tells little
}

// UncertaintyBudget is the sd of the fired play by cause, in mm.
type UncertaintyBudget struct {
	// the sds are of independent causes: their squares add
	Piece, Position, Reading, Throwing, LidDifference, Rate tiles.Millimetre
	Gone                                                    tiles.Millimetre // of drying already gone
}

// heldBackShare is the rate's own share of the play's sd from which a width is held back
// where the clay was never fired near that heat (own).
const heldBackShare tiles.Millimetre = 0.25

// Size answers q from what is known of the shrink. The error is InvalidFields.
func Size(q Checked, known Known) (Answer, error) {
	f := NewClearance(q, known)
	if err := f.check(q.question); err != nil {
		return Answer{}, err
	}
	a := Answer{Asked: q.question, Question: q.Asks(), LeastPlay: tiles.Millimetre(f.fit.least),
		MostPlay:   tiles.Millimetre(f.fit.most),
		MeasureSD:  tiles.Millimetre(q.readingSD(q.givenStage())),
		OutOfRound: q.outOfRound(), LidDifference: f.Part,
		LikelyLevel: tiles.LikelyLevel, Unusual: q.Unusual()}
	// the limits by the window, and the size to set between them
	s := newSteps(&f, float64(*q.Step))
	a.limit(&f, s)
	size := s.choose(q.Play)
	if q.Asks() == AskGap {
		size = float64(q.Lid)
	}
	a.Set, a.Unrounded = tiles.Millimetre(size), tiles.Millimetre(s.unrounded(q.Play))
	a.FitChance = f.ChanceAt(size)
	// in two steps: from here on f is that of the trimmed lid
	if q.Trim && known.Leather != nil {
		t, as, width := f.trimming(q, known.Pair, *known.Leather)
		a.Trim, a.Set, a.FitChance = &t, t.Throw, t.FitChance
		a.NotOver = t.NotOver
		if q.LidNow != 0 { // at hand: all widths are those at leather-hard
			left := t.To / tiles.Millimetre(width)
			over, under := as.limits()
			a.Set, a.NotOver, a.NotUnder = t.To, tiles.Millimetre(over)*left, tiles.Millimetre(under)*left
		}
		f, size = as, width
		s.f = &f
	}
	// the pair as it comes out, its doubt by cause, and what would make it less
	a.fire(&f, size)
	a.doubt(&f, size)
	a.Sharpen = f.improvements(q.question, size, a.FitChance)
	// how far it can be trusted, and whether the width is held back
	a.stand(q.question, known)
	if q.Asks() == AskGap {
		a.Set, a.Unrounded = nan, nan
	} else {
		if q.LidNow == 0 {
			a.Cheapest = s.cheapest(q.question, size, a.FitChance)
		}
		if a.Trim != nil {
			a.Cheapest.trimmedTo(float64(a.Trim.To) / size)
		} else {
			a.Spread = s.spread(size, a.FitChance, q.Lids)
		}
		a.Bowl = known.Rim.bowlFor(a.Set, float64(*q.Step))
		a.Also = f.also(q.question, a.Fired.Play, float64(*q.Step))
	}
	if known.Check != nil && q.CheckStage != "" {
		a.AtCheck = f.atCheck(q, *known.Check)
	}
	a.caution(&f, s, known)
	if !a.HeldBack.IsZero() && a.Question != AskGap && !q.AcceptWide {
		a.holdBack(&f)
	} else {
		a.HeldBack = message.Message{}
		if a.Trim == nil {
			a.Chances = f.ChancesAt(size)
		}
	}
	a.tried(&f)
	return a, nil
}

// nan is a size that is not there.
var nan = tiles.Millimetre(math.NaN())

// givenStage is the stage of the part that was measured.
func (q *Question) givenStage() tiles.Stage {
	if q.Asks() == AskGallery {
		return q.LidStage
	}
	return q.CollarStage
}

// check refuses what only the fired sizes can tell.
func (f *Clearance) check(q Question) error {
	var bad tiles.Faults
	if f.fit.least > f.fit.most {
		if q.MostPlay == nil {
			bad.Add(WindowEmpty, "least_play_mm", "larger than the most play of this seat, {1}",
				tiles.MM.Of(tiles.Millimetre(f.fit.most)))
		} else {
			bad.Add(WindowEmpty, "most_play_mm", "smaller than the least play of this seat, {1}",
				tiles.MM.Of(tiles.Millimetre(f.fit.least)))
		}
	}
	if q.Play != nil && !math.IsNaN(f.pushed) && float64(*q.Play) > f.fit.bound.at {
		bad.Add(tiles.OutOfRange, "play_mm",
			"more than the ledge allows: with a bearing of {1} the lid stays on it up to {2} of play",
			tiles.MM.Of(tiles.Millimetre(f.Bearing)), tiles.MM.Of(tiles.Millimetre(max(f.fit.bound.at, 0))))
	}
	if f.given-f.Glaze <= 0 || f.Inner && q.Play != nil && f.sizeFor(float64(*q.Play)) <= 0 {
		bad.Add(tiles.OutOfRange, "play_mm", "leaves nothing of the part to be made")
	}
	return bad.Err()
}

// limit sets both limits, inwards to the step, and what they come from. Where no step lies
// between them they stand unrounded.
func (a *Answer) limit(f *Clearance, s steps) {
	a.Limits = [2]tiles.Millimetre{tiles.Millimetre(s.under), tiles.Millimetre(s.over)}
	a.NotUnder, a.NotOver = a.Limits[0], a.Limits[1]
	if s.any() {
		a.NotUnder, a.NotOver = tiles.Millimetre(s.at(s.first)), tiles.Millimetre(s.at(s.last))
	}
	tight := LimitCause{playAtLeast, tiles.Millimetre(f.fit.least)}
	loose := LimitCause{playAtMost, tiles.Millimetre(f.fit.most)}
	if f.fit.bound.at < f.fit.most && !math.IsNaN(f.pushed) {
		loose = LimitCause{bearingAtLeast, tiles.Millimetre(f.Bearing)}
	}
	a.LimitsBy = [2]LimitCause{loose, tight}
	if !f.Inner {
		a.LimitsBy = [2]LimitCause{tight, loose}
	}
}

// fire fills in the pair as it comes out of the last firing.
func (a *Answer) fire(f *Clearance, size float64) {
	w := size * f.Left[f.made]
	v := f.causesAt(w).total()
	play, half, sd := f.playOf(w), f.fit.likelyHalf(v, tiles.LikelyLevel), math.Sqrt(v.at(1))
	a.Fired = FiredPair{Collar: tiles.Millimetre(f.given), Lid: tiles.Millimetre(w),
		Play: tiles.Millimetre(play), PlaySD: tiles.Millimetre(sd),
		Likely:       [2]tiles.Millimetre{tiles.Millimetre(play - half), tiles.Millimetre(play + half)},
		LeastBearing: nan, Ledge: nan}
	if f.made == 0 {
		a.Fired.Collar, a.Fired.Lid = a.Fired.Lid, a.Fired.Collar
	}
	if !math.IsNaN(f.pushed) {
		a.Fired.LeastBearing = tiles.Millimetre(w - f.pushed)
		a.Fired.Ledge = tiles.Millimetre(f.given - f.pushed)
	}
}

// doubt fills in the budget. A lid at hand was measured and not thrown to a size: what would be throwing
// is reading.
func (a *Answer) doubt(f *Clearance, size float64) {
	c := f.causesAt(size * f.Left[f.made])
	if a.Question == AskGap { // the lid was measured, not thrown to a size
		c.reading, c.throwing = c.reading+c.throwing, 0
	}
	sd := func(v float64) tiles.Millimetre { return tiles.Millimetre(math.Sqrt(max(v, 0))) }
	a.Doubt = UncertaintyBudget{Piece: sd(c.piece), Position: sd(c.position), Reading: sd(c.reading),
		Throwing:      sd(c.throwing),
		LidDifference: sd(c.part), Rate: sd(c.rate + c.load), Gone: sd(c.gone)}
}

// holdBack takes the width away and leaves the limits and the range.
func (a *Answer) holdBack(f *Clearance) {
	a.fire(f, float64(a.Unrounded))
	a.FitChance = f.ChanceAt(float64(a.Unrounded))
	a.Set, a.Spread, a.Trim, a.Bowl, a.Cheapest = nan, nil, nil, nil, Way{}
}

// Says is the answer in one line, lengths in unit where the reader has none.
func (a Answer) Says(unit tiles.LengthUnit) message.Message {
	switch {
	case a.Question == AskGap:
		return message.New("This lid will have {1} of play, likely {2} to {3}.", unit.Of(a.Fired.Play),
			unit.Of(a.Fired.Likely[0]), unit.Of(a.Fired.Likely[1]))
	case !a.HeldBack.IsZero() && a.Question == AskGallery:
		return message.New("No width for the gallery: {1}.", a.HeldBack)
	case !a.HeldBack.IsZero():
		return message.New("No width for the lid: {1}.", a.HeldBack)
	}
	if a.Trim != nil {
		return a.Trim.Says(unit)
	}
	bare := func(l tiles.Millimetre) tiles.Measured {
		return tiles.Measured{Length: l, Unit: unit,
			Bare: true}
	}
	return message.New("Set {1}; not over {2}, not under {3}.", unit.Of(a.Set), bare(a.NotOver),
		bare(a.NotUnder))
}

// outOfRound is how far the measured directions lie apart; NaN of one.
func (q *Question) outOfRound() tiles.Millimetre {
	if len(q.Collar) < 2 {
		return nan
	}
	widths, _ := q.directions(0)
	return tiles.Millimetre(widths[largest(widths)] - widths[smallest(widths)])
}
