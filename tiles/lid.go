package tiles

import (
	"fmt"
	"math"
)

// LidAnswer says how wide to throw a lid (or a gallery, or what play a given lid will have)
// and how far to trust that. Sizes are those of the part asked for, at its stage, in mm with
// full precision; NaN stands where there is none.
type LidAnswer struct {
	Asked     LidQuestion // with every default in it
	Question  LidKind
	LeastPlay Millimetre // the window in force
	MostPlay  Millimetre

	MeasureSD Millimetre // of one reading of the given part

	Set       Millimetre // multiple of the step; NaN: gap question, or held back
	Unrounded Millimetre // for the play asked, or the middle of the limits; NaN: gap question
	NotOver   Millimetre // limits, rounded inwards to the step
	NotUnder  Millimetre
	Limits    [2]Millimetre // not under and not over before rounding
	LimitsBy  [2]LimitCause // what set each of them: under, over
	FitChance float64

	Fired          FiredPair
	Spread         []Spares // for 1, 2, 3 lids; nil: gap question, or held back
	Also           []AlsoPart
	OutOfRound     Millimetre // largest collar less smallest, as measured; NaN: one direction
	AtCheck        *AtCheck
	PartDifference PartDifference
	Doubt          Doubt
	Sharpen        []Sharper // what would help most, the best first
	LikelyLevel    float64
	Trust          Trust
	TrustWhy       string
	HeldBack       string   // why no width is given; empty: it is
	Cautions       []string // ids, in the order in which they are to be read
	Unusual        []string // fields outside belief
}

// FiredPair is the pair as it will come out of the last firing, for the set size (for the
// unrounded one where that is held back).
type FiredPair struct {
	Collar       Millimetre // the direction that rules the play
	Lid          Millimetre
	Play         Millimetre    // across, glaze taken out
	Likely       [2]Millimetre // of the play
	PlaySD       Millimetre
	LeastBearing Millimetre // overlap when pushed to one side; NaN without ledge
	Ledge        Millimetre // width of the ledge at its narrowest; NaN without
}

// LimitCause says what a limit comes from.
type LimitCause struct {
	What string // "play at least", "play at most", "bearing at least"
	At   Millimetre
}

func (l LimitCause) String() string { return l.In(MM) }

// In writes the cause with its length in unit: "play at least 1.0 mm".
func (l LimitCause) In(unit LengthUnit) string {
	says := l.What + " " + unit.Format(l.At)
	if l.What == bearingAtLeast {
		says += " when pushed to one side"
	}
	return says
}

const (
	playAtLeast    = "play at least"
	playAtMost     = "play at most"
	bearingAtLeast = "bearing at least"
)

// Spares is a number of lids thrown for one pot, their sizes and the chance that one fits.
type Spares struct {
	Lids      int
	Sizes     []Millimetre
	FitChance float64
}

// AlsoPart is another size that follows from the set one; a limit that it has not is NaN.
type AlsoPart struct {
	Part     string // locating_flange, plate, well, flange, opening
	NotOver  Millimetre
	NotUnder Millimetre
}

// AtCheck is the gap to expect on the way, at a stage before the last.
type AtCheck struct {
	Stage  Stage
	Play   Millimetre
	Likely [2]Millimetre
}

// Doubt is the sd of the fired play by cause, in mm.
type Doubt struct {
	Piece, Position, Reading, Throwing, PartDifference, Rate Millimetre
	Gone                                                     Millimetre // of drying already gone
}

// heldBackShare is the rate's own share of the play's sd from which a width is held back
// where the clay was never fired near that heat (own).
const heldBackShare Millimetre = 0.25

// SizeLid answers q from what is known of the shrink. The error is InvalidFields.
func SizeLid(q LidQuestion, d LidDefaults, known LidKnown) (LidAnswer, error) {
	if err := q.Validate(d); err != nil {
		return LidAnswer{}, err
	}
	f := newFitting(q, d, known)
	if err := f.check(q); err != nil {
		return LidAnswer{}, err
	}
	a := LidAnswer{Asked: q, Question: q.Asks(), LeastPlay: Millimetre(f.fit.least), MostPlay: Millimetre(f.fit.most),
		MeasureSD: Millimetre(q.readingSD(d, q.givenStage())), OutOfRound: q.outOfRound(), PartDifference: f.part, LikelyLevel: LikelyLevel, Unusual: q.Unusual()}
	s := newSteps(&f, float64(*q.Step))
	a.limit(&f, s)
	size := s.choose(q.Play)
	if q.Asks() == AskGap {
		size = float64(q.Lid)
	}
	a.Set, a.Unrounded = Millimetre(size), Millimetre(s.unrounded(q.Play))
	a.FitChance = f.chanceAt(size)
	a.fire(&f, size)
	a.doubt(&f, size)
	a.Sharpen = f.sharpen(q, size, a.FitChance)
	a.stand(q, known)
	if q.Asks() == AskGap {
		a.Set, a.Unrounded = nan, nan
	} else {
		a.Spread = s.spread(size, a.FitChance, q.Lids)
		a.Also = f.also(q, a.Fired.Play, float64(*q.Step))
	}
	if known.Check != nil && q.CheckStage != "" {
		a.AtCheck = f.atCheck(q, d, *known.Check)
	}
	a.caution(&f, s, known)
	if a.HeldBack != "" && a.Question != AskGap && !q.AcceptWide {
		a.holdBack(&f)
	} else {
		a.HeldBack = ""
	}
	return a, nil
}

var nan = Millimetre(math.NaN())

// givenStage is the stage of the part that was measured.
func (q *LidQuestion) givenStage() Stage {
	if q.Asks() == AskGallery {
		return q.LidStage
	}
	return q.CollarStage
}

// check refuses what only the fired sizes can tell.
func (f *fitting) check(q LidQuestion) error {
	var bad faults
	if f.fit.least > f.fit.most {
		field, why := "most_play_mm", "smaller than the least play of this seat, "+MM.Format(Millimetre(f.fit.least))
		if q.MostPlay == nil {
			field, why = "least_play_mm", "larger than the most play of this seat, "+MM.Format(Millimetre(f.fit.most))
		}
		bad.add(WindowEmpty, field, why)
	}
	if q.Play != nil && !math.IsNaN(f.pushed) && float64(*q.Play) > f.fit.bound.at {
		bad.add(OutOfRange, "play_mm", fmt.Sprintf("more than the ledge allows: with a bearing of %s the lid stays on it up to %s of play",
			MM.Format(Millimetre(f.bearing)), MM.Format(Millimetre(max(f.fit.bound.at, 0)))))
	}
	if f.given-f.glaze <= 0 || f.inner && q.Play != nil && f.sizeFor(float64(*q.Play)) <= 0 {
		bad.add(OutOfRange, "play_mm", "leaves nothing of the part to be made")
	}
	return bad.err()
}

// limit sets both limits, inwards to the step, and what they come from. Where no step lies
// between them they stand unrounded.
func (a *LidAnswer) limit(f *fitting, s steps) {
	a.Limits = [2]Millimetre{Millimetre(s.under), Millimetre(s.over)}
	a.NotUnder, a.NotOver = a.Limits[0], a.Limits[1]
	if s.any() {
		a.NotUnder, a.NotOver = Millimetre(s.at(s.first)), Millimetre(s.at(s.last))
	}
	tight := LimitCause{playAtLeast, Millimetre(f.fit.least)}
	loose := LimitCause{playAtMost, Millimetre(f.fit.most)}
	if f.fit.bound.at < f.fit.most && !math.IsNaN(f.pushed) {
		loose = LimitCause{bearingAtLeast, Millimetre(f.bearing)}
	}
	a.LimitsBy = [2]LimitCause{loose, tight}
	if !f.inner {
		a.LimitsBy = [2]LimitCause{tight, loose}
	}
}

// fire fills in the pair as it comes out of the last firing.
func (a *LidAnswer) fire(f *fitting, size float64) {
	w := size * f.left[f.made]
	v := f.causesAt(w).total()
	play, half, sd := f.playOf(w), f.fit.likelyHalf(v, LikelyLevel), math.Sqrt(v.at(1))
	a.Fired = FiredPair{Collar: Millimetre(f.given), Lid: Millimetre(w), Play: Millimetre(play), PlaySD: Millimetre(sd),
		Likely: [2]Millimetre{Millimetre(play - half), Millimetre(play + half)}, LeastBearing: nan, Ledge: nan}
	if f.made == 0 {
		a.Fired.Collar, a.Fired.Lid = a.Fired.Lid, a.Fired.Collar
	}
	if !math.IsNaN(f.pushed) {
		a.Fired.LeastBearing = Millimetre(w - f.pushed)
		a.Fired.Ledge = Millimetre(f.given - f.pushed)
	}
}

func (a *LidAnswer) doubt(f *fitting, size float64) {
	c := f.causesAt(size * f.left[f.made])
	if a.Question == AskGap { // the lid was measured, not thrown to a size
		c.reading, c.throwing = c.reading+c.throwing, 0
	}
	sd := func(v float64) Millimetre { return Millimetre(math.Sqrt(max(v, 0))) }
	a.Doubt = Doubt{Piece: sd(c.piece), Position: sd(c.position), Reading: sd(c.reading), Throwing: sd(c.throwing),
		PartDifference: sd(c.part), Rate: sd(c.rate), Gone: sd(c.gone)}
}

// holdBack takes the width away and leaves the limits and the range.
func (a *LidAnswer) holdBack(f *fitting) {
	a.fire(f, float64(a.Unrounded))
	a.FitChance = f.chanceAt(float64(a.Unrounded))
	a.Set, a.Spread = nan, nil
}

// Says is the answer in one line, lengths in unit.
func (a LidAnswer) Says(unit LengthUnit) string {
	part := "lid"
	if a.Question == AskGallery {
		part = "gallery"
	}
	switch {
	case a.Question == AskGap:
		return fmt.Sprintf("This lid will have %s of play, likely %s to %s.", unit.Format(a.Fired.Play), unit.Format(a.Fired.Likely[0]), unit.Format(a.Fired.Likely[1]))
	case a.HeldBack != "":
		return fmt.Sprintf("No width for the %s: %s.", part, a.HeldBack)
	}
	return fmt.Sprintf("Set %s; not over %s, not under %s.", unit.Format(a.Set), unit.Bare(a.NotOver), unit.Bare(a.NotUnder))
}

func (q *LidQuestion) outOfRound() Millimetre {
	if len(q.Collar) < 2 {
		return nan
	}
	widths, _ := q.directions(0)
	return Millimetre(widths[largest(widths)] - widths[smallest(widths)])
}
