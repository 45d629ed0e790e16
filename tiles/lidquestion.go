package tiles

import (
	"fmt"
	"slices"

	"lidwright/kiln"
)

// Types of a fault that only lids have.
const (
	OpeningWider   = "opening-wider-than-collar"
	WindowEmpty    = "window-empty"
	UnknownMember  = "unknown-parameter"
	mostDirections = 3
)

// LidKind says which of the three questions is asked.
type LidKind string

const (
	AskWidth   LidKind = "width"   // how wide to throw the lid
	AskGap     LidKind = "gap"     // what play this lid will have
	AskGallery LidKind = "gallery" // how wide to throw the gallery for this lid
)

// LidQuestion is all that one asks about one lid. A nil pointer, a zero length and an empty
// word mean "not said": Validate puts the default there.
type LidQuestion struct {
	Seat        Seat
	Collar      []Millimetre // one a direction, 1 to 3; none: the gallery is asked for
	CollarAgain []Millimetre // the first direction read again, 0 to 2
	Opening     Millimetre   // ledge opening, or mouth inside (over)
	CollarStage Stage        // of the pot when measured, or to be measured
	LidStage    Stage        // of the lid at the size asked or given
	Lid         Millimetre   // with a collar: its gap is asked; without: the gallery for it

	Play, LeastPlay, MostPlay *Millimetre // fired, across
	Bearing                   *Millimetre // fired
	SeatGlazed                bool
	Glaze                     *Millimetre // glaze on seat and lid edge, across in all, fired

	Body, LidClay BatchRef // LidClay empty: as the body
	Kind          kiln.Kind
	Together      Together
	Form, Maker   string
	Companion     Code        // bar read with the pot, for a soft or leather-hard one
	MassWet       float64     // g, of a companion piece when thrown; 0: not weighed
	MassNow       float64     // g, the same piece now
	BodyRates     StatedRates // in place of a clay
	LidRates      StatedRates // none, and no LidClay: the body's
	Doubt         *Ratio      // sd of a stated drying and of a stated firing part, each
	MeasureSD     *Millimetre // one reading
	ThrowSD       *Millimetre
	Step          *Millimetre // 0: do not round
	Lids          int         // largest spread shown, 1 to 3
	CheckStage    Stage       // the gap to expect then, on the way
	AcceptWide    bool        // give a width that would be held back
	Accuracy      string      // set by Validate: "default", "learned" or "asked"
}

// Asks is which of the three questions q is.
func (q *LidQuestion) Asks() LidKind {
	switch {
	case q.Lid == 0:
		return AskWidth
	case len(q.Collar) > 0:
		return AskGap
	}
	return AskGallery
}

// Validate fills in what is usual and tells every fault with its field; nil if there is
// none. It may be called again.
func (q *LidQuestion) Validate(d LidDefaults) error {
	var f faults
	q.fill(d)
	word(&f, "seat", q.Seat, Seats()...)
	q.checkSizes(&f)
	q.checkStages(&f)
	q.checkRates(&f)
	wordOrNone(&f, "together", q.Together, InPlace, SameLoad, Apart)
	f.text("form", &q.Form, longestName)
	f.maker("maker", &q.Maker)
	for _, n := range []struct {
		field     string
		v         *Millimetre
		low, high float64
	}{
		{"play_mm", q.Play, 0, 20}, {"least_play_mm", q.LeastPlay, 0, 20}, {"most_play_mm", q.MostPlay, 0, 20},
		{"bearing_mm", q.Bearing, 0, 20}, {"glaze_mm", q.Glaze, 0, 3}, {"step_mm", q.Step, 0, 5},
		{"measure_sd_mm", q.MeasureSD, 0, 3}, {"throw_sd_mm", q.ThrowSD, 0, 3},
	} {
		if n.v != nil {
			f.number(n.field, float64(*n.v), n.low, n.high)
		}
	}
	if q.LeastPlay != nil && q.MostPlay != nil && *q.LeastPlay > *q.MostPlay {
		f.add(WindowEmpty, "least_play_mm", "larger than most_play_mm")
	}
	f.number("lids", float64(q.Lids), 1, 3)
	return f.err()
}

// fill puts the defaults in.
func (q *LidQuestion) fill(d LidDefaults) {
	or(&q.Seat, Inset)
	or(&q.CollarStage, Wet)
	or(&q.LidStage, Wet)
	or(&q.Kind, kiln.Glaze)
	if q.Together == "" {
		q.Together = SameLoad
		if len(q.Collar) > 0 && q.CollarStage == Fired || q.Asks() == AskGallery && q.LidStage == Fired {
			q.Together = Apart
		}
	}
	if q.Lids == 0 {
		q.Lids = 2
	}
	if q.Accuracy == "" {
		q.Accuracy = d.Accuracy
		if q.MeasureSD != nil || q.ThrowSD != nil {
			q.Accuracy = "asked"
		}
	}
	orPoint(&q.Bearing, d.Bearing)
	orPoint(&q.Step, d.Step)
	orPoint(&q.ThrowSD, d.ThrowSD)
	if q.Glaze == nil {
		faces := Millimetre(0)
		if q.SeatGlazed {
			faces = 4
			if len(q.Collar) > 0 && q.CollarStage == Fired {
				faces -= 2 // measured over its glaze
			}
			if q.Lid != 0 && q.LidStage == Fired {
				faces -= 2
			}
		}
		glaze := faces * d.GlazeFace
		q.Glaze = &glaze
	}
	orPoint(&q.Doubt, 0.006)
}

func or[T comparable](v *T, usual T) {
	var none T
	if *v == none {
		*v = usual
	}
}

func orPoint[T any](v **T, usual T) {
	if *v == nil {
		*v = &usual
	}
}

func (q *LidQuestion) checkSizes(f *faults) {
	if len(q.Collar) == 0 && q.Lid == 0 {
		f.add(Missing, "collar_mm", "is needed: "+q.Seat.CollarName()+"; or give lid_mm to ask for the gallery")
	}
	if len(q.Collar) > mostDirections {
		f.add(OutOfRange, "collar_mm", "has more than three directions")
	}
	if len(q.CollarAgain) > 2 {
		f.add(OutOfRange, "collar_again_mm", "was read more than three times in one direction")
	}
	if len(q.CollarAgain) > 0 && len(q.Collar) == 0 {
		f.add(Missing, "collar_mm", "is needed with collar_again_mm")
	}
	for _, c := range q.Collar {
		f.pieceOf("collar_mm", c, "collar")
	}
	for _, c := range q.CollarAgain {
		f.pieceOf("collar_again_mm", c, "collar")
	}
	if q.Lid != 0 {
		f.pieceOf("lid_mm", q.Lid, "lid")
	}
	if q.Asks() == AskGap && q.Play != nil {
		f.add(GivenTwice, "play_mm", "lid_mm asks which play there will be")
	}
	q.checkOpening(f)
}

func (q *LidQuestion) checkOpening(f *faults) {
	may, needs := q.Seat.opens()
	switch {
	case q.Opening == 0 && needs && len(q.Collar) > 0:
		f.add(Missing, "opening_mm", "is needed for this seat, measured with the collar")
		return
	case q.Opening == 0:
		return
	case !may:
		f.add(UnknownMember, "opening_mm", "has no meaning for the seat "+string(q.Seat))
		return
	case len(q.Collar) == 0:
		f.add(UnknownMember, "opening_mm", "goes with collar_mm; asked for a gallery, the answer says which opening to cut")
		return
	}
	f.pieceOf("opening_mm", q.Opening, "opening")
	if c := slices.Min(q.Collar); q.Opening >= c {
		f.add(OpeningWider, "opening_mm", fmt.Sprintf("larger than collar_mm: opening %s, collar %s. Were they swapped?", MM.Format(q.Opening), MM.Format(c)))
	}
}

func (q *LidQuestion) checkStages(f *faults) {
	given, asked := Stages(), []Stage{Wet, Soft, Leather, Dry}
	collar, lid := given, given
	switch q.Asks() {
	case AskWidth:
		lid = asked
	case AskGallery:
		collar = asked
	}
	word(f, "collar_stage", q.CollarStage, collar...)
	word(f, "lid_stage", q.LidStage, lid...)
	if q.CheckStage == "" {
		return
	}
	word(f, "check_stage", q.CheckStage, Leather, Dry, Biscuit)
	switch {
	case q.Asks() != AskGap:
		f.add(Missing, "lid_mm", "is needed with check_stage: the gap of which lid?")
	case q.CheckStage.Before(q.CollarStage):
		f.add(GoesBackwards, "check_stage", fmt.Sprintf("%s comes before collar_stage %s", q.CheckStage, q.CollarStage))
	case q.CheckStage.Before(q.LidStage):
		f.add(GoesBackwards, "check_stage", fmt.Sprintf("%s comes before lid_stage %s", q.CheckStage, q.LidStage))
	}
}

// Unusual names the fields outside what is believed: they are answered, and asked about.
func (q *LidQuestion) Unusual() []string {
	var fields []string
	low, high := q.Seat.believedCollar()
	outside := func(l, low, high Millimetre) bool { return l < low || l > high }
	for _, c := range append(slices.Clone(q.Collar), q.CollarAgain...) {
		if outside(c, low, high) {
			fields = append(fields, "collar_mm")
			break
		}
	}
	if len(q.Collar) == 0 && outside(q.Lid, 0.8*low, 1.2*high) {
		fields = append(fields, "lid_mm")
	}
	if len(q.Collar) > 0 {
		first, last := slices.Min(q.Collar), slices.Max(q.Collar)
		if last > 1.1*first { // another direction that far off is a slip (own)
			fields = append(fields, "collar_mm")
		}
		if q.Opening != 0 && q.Opening < 0.4*first {
			fields = append(fields, "opening_mm")
		}
		if q.Lid != 0 && outside(q.Lid, 0.8*first, 1.2*last) {
			fields = append(fields, "lid_mm")
		}
	}
	return slices.Compact(fields)
}
