package lid

import (
	"math"
	"slices"

	"lidwright/kiln"
	"lidwright/kiln/message"
	"lidwright/tiles"
	"lidwright/tiles/shrinkage"
)

// Types of a fault that only lids have.
const (
	OpeningWider  = "opening-wider-than-collar"
	WindowEmpty   = "window-empty"
	UnknownMember = "unknown-parameter"
	UnusualSize   = "unusual-size"
	// how often a gallery may be measured round
	MostDirections = 3
)

// Kind says which of the three questions is asked.
type Kind string

const (
	AskWidth   Kind = "width"   // how wide to throw the lid
	AskGap     Kind = "gap"     // what play this lid will have
	AskGallery Kind = "gallery" // how wide to throw the gallery for this lid
)

// Question is all that one asks about one lid. A nil pointer, a zero length and an empty
// word mean "not said": Check puts the default there.
type Question struct {
	Seat        Seat               // Inset where nobody said
	Collar      []tiles.Millimetre // one a direction, 1 to 3; none: the gallery is asked for
	CollarAgain []tiles.Millimetre // the first direction read again, 0 to 2
	Opening     tiles.Millimetre   // ledge opening, or mouth inside (over)
	CollarStage tiles.Stage        // of the pot when measured, or to be measured
	LidStage    tiles.Stage        // of the lid at the size asked or given
	Lid         tiles.Millimetre   // with a collar: its gap is asked; without: the gallery for it

	WasCollar []tiles.Millimetre // of a fired pot: its gallery when it was wet, 0 to 3 directions

	Trim      bool               // the lid may be trimmed at leather-hard
	TrimMost  *tiles.Millimetre  // that may come off its rim then, across
	LidWet    tiles.Millimetre   // a lid at hand to be trimmed: its width just thrown; 0: not measured
	LidNow    tiles.Millimetre   // and at leather-hard, before it is trimmed
	CollarNow []tiles.Millimetre // its gallery then, 0 to 3 directions
	RimAsIs   bool               // the width of a turned-out rim is not checked afterwards

	Play, LeastPlay, MostPlay *tiles.Millimetre // fired, across
	Bearing                   *tiles.Millimetre // fired
	// glaze on seat and lid edge: Glaze is then reckoned by faces
	SeatGlazed bool
	Glaze      *tiles.Millimetre // glaze on seat and lid edge, across in all, fired

	Body, LidClay tiles.BatchRef // LidClay empty: as the body
	Kind          kiln.Kind      // of the last firing
	// SameLoad where nobody said; Apart where one part is fired already
	Together    shrinkage.Together
	Form, Maker string                // whose lid difference counts, and whose accuracy
	Companion   tiles.Code            // bar read with the pot, for a soft or leather-hard one
	MassWet     float64               // g, of a companion piece when thrown; 0: not weighed
	MassNow     float64               // g, the same piece now
	BodyRates   shrinkage.StatedRates // in place of a clay
	LidRates    shrinkage.StatedRates // none, and no LidClay: the body's
	Doubt       *tiles.Ratio          // sd of a stated drying and of a stated firing part, each
	MeasureSD   *tiles.Millimetre     // one reading
	ThrowSD     *tiles.Millimetre     // how true the maker throws; nil: as learned or usual
	Step        *tiles.Millimetre     // 0: do not round
	Lids        int                   // largest spread shown, 1 to 3
	Try         tiles.Millimetre      // another width to set: what comes of it; 0: none
	CheckStage  tiles.Stage           // the gap to expect then, on the way
	AcceptWide  bool                  // give a width that would be held back
	// answer though a size is outside what is believed: it was asked about
	AcceptUnusual bool
	Accuracy      string // set by Check: "default", "learned" or "asked"
}

// Checked is a Question that can be answered: it has no fault, and every default in it. Check alone makes
// one.
type Checked struct {
	question
	told Question // without the defaults of the studio
	d    Defaults

	softSD, firedSD tiles.Millimetre // of one reading of soft clay, and of the fired gallery
}

type question = Question // embedded under a name that nobody outside can set

// Asks is which of the three questions q is.
func (q *Question) Asks() Kind {
	switch {
	case q.Lid == 0:
		return AskWidth
	case len(q.Collar) > 0:
		return AskGap
	}
	return AskGallery
}

// Check fills in what is usual in a studio and tells every fault with its field. The error is InvalidFields.
func (q Question) Check(d Defaults) (Checked, error) {
	var f tiles.Faults
	// what is usual everywhere first: the checks look at it too
	q.usual()
	tiles.OneOf(&f, "seat", q.Seat, Seats()...)
	q.checkSizes(&f)
	q.checkStages(&f)
	q.checkRates(&f)
	q.checkTrim(&f)
	tiles.OneOfOrNone(&f, "together", q.Together, shrinkage.InPlace, shrinkage.SameLoad, shrinkage.Apart)
	f.Text("form", &q.Form)
	f.Maker("maker", &q.Maker)
	for _, n := range []struct {
		field     string
		v         *tiles.Millimetre
		low, high float64
	}{
		{"play_mm", q.Play, 0, 20}, {"least_play_mm", q.LeastPlay, 0, 20},
		{"most_play_mm", q.MostPlay, 0, 20},
		{"bearing_mm", q.Bearing, 0, 20}, {"glaze_mm", q.Glaze, 0, 3}, {"step_mm", q.Step, 0, 5},
		{"measure_sd_mm", q.MeasureSD, 0, 3}, {"throw_sd_mm", q.ThrowSD, 0, 3},
		{"trim_most_mm", q.TrimMost, 0, 30},
	} {
		if n.v != nil {
			f.Number(n.field, float64(*n.v), n.low, n.high)
		}
	}
	if q.LeastPlay != nil && q.MostPlay != nil && *q.LeastPlay > *q.MostPlay {
		f.Add(WindowEmpty, "least_play_mm", "larger than most_play_mm")
	}
	f.Number("lids", float64(q.Lids), 1, 3)
	if err := f.Err(); err != nil {
		return Checked{}, err
	}
	return Checked{told: q}.by(d), nil
}

// Asked is the question with every default in it.
func (c Checked) Asked() Question { return c.question }

// By is the same question for a maker whose own accuracy is known.
func (c Checked) By(a Accuracy) Checked { return c.by(c.d.Learned(a)) }

// Of is the same question about batches of its clays.
func (c Checked) Of(body, lid tiles.BatchID) Checked {
	for _, q := range []*Question{&c.question, &c.told} {
		q.Body.Batch, q.LidClay.Batch = body, lid
	}
	return c
}

// usual puts in what is usual everywhere.
func (q *Question) usual() {
	or(&q.Seat, Inset)
	or(&q.CollarStage, tiles.Wet)
	or(&q.LidStage, tiles.Wet)
	or(&q.Kind, kiln.Glaze)
	if q.Together == "" {
		q.Together = shrinkage.SameLoad
		if len(q.Collar) > 0 && q.CollarStage == tiles.Fired ||
			q.Asks() == AskGallery && q.LidStage == tiles.Fired {
			q.Together = shrinkage.Apart
		}
	}
	or(&q.Lids, 2)
	orPoint(&q.Doubt, 0.006)
}

// by puts the defaults of a studio in.
func (c Checked) by(d Defaults) Checked {
	c.d, c.question = d, c.told
	q := &c.question
	if q.Accuracy == "" {
		q.Accuracy = d.Accuracy
		if q.MeasureSD != nil || q.ThrowSD != nil {
			q.Accuracy = "asked"
		}
	}
	c.softSD, c.firedSD = d.MeasureSD, tiles.Millimetre(c.readingSD(tiles.Fired))
	if q.MeasureSD != nil && q.CollarStage != tiles.Fired {
		c.softSD = *q.MeasureSD
	}
	// what the studio's settings say where the question is silent
	orPoint(&q.Bearing, d.Bearing)
	orPoint(&q.Step, d.Step)
	orPoint(&q.ThrowSD, d.ThrowSD)
	if q.Glaze == nil {
		// four faces, two on each side; a part that was measured fired has its glaze in the width
		faces := tiles.Millimetre(0)
		if q.SeatGlazed {
			faces = 4
			if len(q.Collar) > 0 && q.CollarStage == tiles.Fired {
				faces -= 2 // measured over its glaze
			}
			if q.Lid != 0 && q.LidStage == tiles.Fired {
				faces -= 2
			}
		}
		glaze := faces * d.GlazeFace
		q.Glaze = &glaze
	}
	return c
}

// or puts what is usual in the place of nothing.
func or[T comparable](v *T, usual T) {
	var none T
	if *v == none {
		*v = usual
	}
}

// orPoint is or for what may be said to be 0.
func orPoint[T any](v **T, usual T) {
	if *v == nil {
		*v = &usual
	}
}

// checkSizes sees which of the three questions the sizes make, and that each can be a size.
func (q *Question) checkSizes(f *tiles.Faults) {
	if len(q.Collar) == 0 && q.Lid == 0 {
		f.Add(tiles.Missing, "collar_mm", "is needed: {1}; or give lid_mm to ask for the gallery",
			q.Seat.CollarName())
	}
	if len(q.Collar) > MostDirections {
		f.Add(tiles.OutOfRange, "collar_mm", "has more than three directions")
	}
	if len(q.CollarAgain) > 2 {
		f.Add(tiles.OutOfRange, "collar_again_mm", "was read more than three times in one direction")
	}
	if len(q.CollarAgain) > 0 && len(q.Collar) == 0 {
		f.Add(tiles.Missing, "collar_mm", "is needed with collar_again_mm")
	}
	for _, c := range q.Collar {
		f.PieceOf("collar_mm", c, "collar")
	}
	for _, c := range q.CollarAgain {
		f.PieceOf("collar_again_mm", c, "collar")
	}
	if q.Lid != 0 {
		f.PieceOf("lid_mm", q.Lid, "lid")
	}
	if q.Try != 0 {
		f.PieceOf("try_mm", q.Try, "width to try")
	}
	if q.Asks() == AskGap && q.Play != nil {
		f.Add(tiles.GivenTwice, "play_mm", "lid_mm asks which play there will be")
	}
	q.checkOpening(f)
}

// checkTrim sees that what belongs to trimming, and to a fired pot, stands where it has a meaning.
func (q *Question) checkTrim(f *tiles.Faults) {
	for _, l := range []struct {
		field string
		v     []tiles.Millimetre
	}{{"wet_collar_mm", q.WasCollar}, {"collar_now_mm", q.CollarNow}} {
		if len(l.v) > MostDirections {
			f.Add(tiles.OutOfRange, l.field, "has more than three directions")
		}
		for _, c := range l.v {
			f.PieceOf(l.field, c, "collar")
		}
	}
	if len(q.WasCollar) > 0 && (q.CollarStage != tiles.Fired || len(q.Collar) == 0 || q.Body.Clay == "") {
		f.Add(UnknownMember, "wet_collar_mm", "goes with the fired gallery of a pot of a named clay")
	}
	if q.LidWet != 0 {
		f.PieceOf("lid_wet_mm", q.LidWet, "lid")
	}
	if q.LidNow != 0 {
		f.PieceOf("lid_now_mm", q.LidNow, "lid")
		q.Trim = true
	}
	switch {
	case q.LidWet != 0 && q.LidNow == 0:
		f.Add(tiles.Missing, "lid_now_mm",
			"is needed beside lid_wet_mm: the lid at leather-hard, before it is trimmed")
	case len(q.CollarNow) > 0 && (q.LidNow == 0 || q.CollarStage != tiles.Wet):
		f.Add(UnknownMember, "collar_now_mm", "goes with lid_now_mm and a gallery that was measured wet too")
	case !q.Trim:
	case q.Asks() != AskWidth || q.LidStage != tiles.Wet:
		f.Add(UnknownMember, "trim", "goes with the width of a lid that is thrown wet")
	case !q.Seat.lidInside():
		f.Add(UnknownMember, "trim", "has no meaning for the seat {1}: what is cut off its skirt makes it wider",
			string(q.Seat))
	case q.Body.Clay == "" && q.LidClay.Clay == "":
		f.Add(tiles.Missing, "clay", "is needed for trim: how far it dries by leather-hard is learned from its bars")
	}
}

// checkOpening sees that an opening stands where the seat has one, and is narrower than the collar.
func (q *Question) checkOpening(f *tiles.Faults) {
	may, needs := q.Seat.opens()
	switch {
	case q.Opening == 0 && needs && len(q.Collar) > 0:
		f.Add(tiles.Missing, "opening_mm", "is needed for this seat, measured with the collar")
		return
	case q.Opening == 0:
		return
	case !may:
		f.Add(UnknownMember, "opening_mm", "has no meaning for the seat {1}", string(q.Seat))
		return
	case len(q.Collar) == 0:
		f.Add(UnknownMember, "opening_mm",
			"goes with collar_mm; asked for a gallery, the answer says which opening to cut")
		return
	}
	f.PieceOf("opening_mm", q.Opening, "opening")
	if c := slices.Min(q.Collar); q.Opening >= c {
		f.Add(OpeningWider, "opening_mm", "larger than collar_mm: opening {1}, collar {2}. Were they swapped?",
			tiles.MM.Of(q.Opening), tiles.MM.Of(c))
	}
}

// checkStages sees that each part is at a stage at which it can be measured or made, and a check lies on
// the way.
func (q *Question) checkStages(f *tiles.Faults) {
	given, asked := tiles.Stages(), []tiles.Stage{tiles.Wet, tiles.Soft, tiles.Leather, tiles.Dry}
	collar, lid := given, given
	switch q.Asks() {
	case AskWidth:
		lid = asked
	case AskGallery:
		collar = asked
	}
	tiles.OneOf(f, "collar_stage", q.CollarStage, collar...)
	tiles.OneOf(f, "lid_stage", q.LidStage, lid...)
	if q.CheckStage == "" {
		return
	}
	tiles.OneOf(f, "check_stage", q.CheckStage, tiles.Leather, tiles.Dry, tiles.Biscuit)
	switch {
	case q.Asks() != AskGap:
		f.Add(tiles.Missing, "lid_mm", "is needed with check_stage: the gap of which lid?")
	case q.CheckStage.Before(q.CollarStage):
		f.Add(tiles.GoesBackwards, "check_stage", "{1} comes before collar_stage {2}", q.CheckStage,
			q.CollarStage)
	case q.CheckStage.Before(q.LidStage):
		f.Add(tiles.GoesBackwards, "check_stage", "{1} comes before lid_stage {2}", q.CheckStage, q.LidStage)
	}
}

// unusual is a size outside what is believed, and what was probably meant.
type unusual struct {
	field     string
	length    tiles.Millimetre
	low, high tiles.Millimetre
}

// meant are sizes that were probably meant, the likeliest first, as somebody would write them.
func (u unusual) meant() []string { return meant(u.length, tiles.MM, u.low, u.high) }

// Meant are the sizes that were probably meant by a bare number that gave length l in a field of unit:
// collar, opening or lid of this seat. They are written with their units.
func (s Seat) Meant(field string, l tiles.Millimetre, unit tiles.LengthUnit) []string {
	low, high := s.believedCollar()
	switch field {
	case "opening":
		low = 0.4 * low
	case "lid":
		low, high = 0.8*low, 1.2*high
	}
	return meant(l, unit, low, high)
}

// meant reads the bare number of a length in other ways: with the point that was left out, in another unit,
// as 32nds; what lies from low to high may be it.
func meant(l tiles.Millimetre, unit tiles.LengthUnit, low, high tiles.Millimetre) (all []string) {
	n := float64(l) / map[tiles.LengthUnit]float64{tiles.MM: 1, tiles.CM: 10, tiles.Inch: 25.4,
		tiles.Inch32nd: 25.4}[unit]
	n = math.Round(n*1e6) / 1e6
	add := func(v float64, u tiles.LengthUnit) {
		text := tiles.Decimal(v) + " " + string(u)
		if read, err := tiles.ParseLength("", text, u); err == nil && u != unit || err == nil && v != n {
			if mm := read.Millimetre(); mm >= low && mm <= high {
				all = append(all, text)
			}
		}
	}
	switch unit {
	case tiles.MM:
		add(n/10, tiles.MM)
		add(n, tiles.Inch)
		add(n, tiles.CM)
	case tiles.CM:
		add(n, tiles.MM)
		add(n/10, tiles.CM)
	default:
		if mm := tiles.Millimetre(n * 25.4 / 32); unit == tiles.Inch32nd && n == math.Trunc(n) &&
			mm >= low && mm <= high {
			all = append(all, tiles.Inch32nd.Format(mm))
		}
		add(n, tiles.MM)
		add(n, tiles.CM)
	}
	return all
}

// why asks about the size.
func (u unusual) why() message.Message {
	is, low, high := tiles.MM.Format(u.length), tiles.MM.Format(u.low), tiles.MM.Format(u.high)
	if likely := u.meant(); len(likely) > 0 {
		text := likely[0]
		if l, err := tiles.ParseLength("", text, tiles.MM); err == nil && l.Unit == tiles.CM {
			text = tiles.MM.Format(l.Millimetre())
		}
		return message.New("is {1}, where {2} to {3} is to be expected; perhaps {4} was meant", is, low, high,
			text)
	}
	return message.New("is {1}, where {2} to {3} is to be expected", is, low, high)
}

// Unusual names the fields outside what is believed: they are asked about before they are answered.
func (q *Question) Unusual() []string {
	var fields []string
	for _, u := range q.unusual() {
		fields = append(fields, u.field)
	}
	return slices.Compact(fields)
}

// Doubts asks about every size outside what is believed, as faults of its field; nil where there is none, or
// where it was said to be right.
func (q *Question) Doubts() error {
	var f tiles.Faults
	for _, u := range q.unusual() {
		if !q.AcceptUnusual {
			f.Add(UnusualSize, u.field, "{1}", u.why())
		}
	}
	return f.Err()
}

// unusual are the sizes outside what is believed, one a field.
func (q *Question) unusual() (out []unusual) {
	low, high := q.Seat.believedCollar()
	ask := func(field string, l, low, high tiles.Millimetre) {
		if (l < low || l > high) && !slices.ContainsFunc(out,
			func(u unusual) bool { return u.field == field }) {
			out = append(out, unusual{field, l, low, high})
		}
	}
	for _, c := range append(slices.Clone(q.Collar), q.CollarAgain...) {
		ask("collar_mm", c, low, high)
	}
	if len(q.Collar) == 0 {
		ask("lid_mm", q.Lid, 0.8*low, 1.2*high)
		return out
	}
	first, last := slices.Min(q.Collar), slices.Max(q.Collar)
	ask("collar_mm", last, first, 1.1*first) // another direction that far off is a slip (own)
	if q.Opening != 0 {
		ask("opening_mm", q.Opening, 0.4*first, last)
	}
	if q.Lid != 0 {
		ask("lid_mm", q.Lid, 0.8*first, 1.2*last)
	}
	return out
}
