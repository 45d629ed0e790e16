package lid

import (
	"math"

	"lidwright/kiln/message"
	"lidwright/tiles"
)

// SectionSays tells a cross-section through pot and lid in words: the widths as they were measured or are to
// be made, and as they come out of the last firing, lengths in unit. Of a lid that is held back it tells the
// unrounded one.
func (a Answer) SectionSays(unit tiles.LengthUnit) message.Message {
	q := a.Asked
	said := func(name message.Word, fired float64, measured tiles.Millimetre,
		stage tiles.Stage) message.Message {
		if stage == tiles.Fired || math.IsNaN(float64(measured)) || measured == 0 {
			return message.New("{1} {2}", name, unit.Of(tiles.Millimetre(fired)))
		}
		return message.New("{1} {2} {3}, {4} fired", name, unit.Of(measured), stage,
			unit.Of(tiles.Millimetre(fired)))
	}
	collar, lid := a.widths()
	says := []message.Message{said(message.Word(q.Seat.CollarName()), float64(a.Fired.Collar), collar,
		q.CollarStage),
		said(message.Word(q.Seat.LidName()), float64(a.Fired.Lid), lid, q.LidStage)}
	if opening := a.firedOpening(); !math.IsNaN(opening) {
		name := message.Word("ledge opening")
		if q.Seat == Over {
			name = "mouth"
		}
		says = append(says, said(name, opening, q.Opening, q.CollarStage))
	}
	says = append(says, message.New("play {1} fired, across", unit.Of(a.Fired.Play)))
	if !math.IsNaN(float64(a.Fired.LeastBearing)) {
		says = append(says, message.New("bearing {1} when pushed to one side",
			unit.Of(a.Fired.LeastBearing)))
	}
	return message.New("Cross-section, widths to scale as fired. {1}",
		message.Sentence(message.Join("; ", says...)))
}

// widths are those of pot and lid as measured or to be made; NaN or 0 where there is none.
func (a Answer) widths() (collar, lid tiles.Millimetre) {
	q := a.Asked
	collar, lid = nan, q.Lid
	if len(q.Collar) > 0 {
		widths, _ := q.directions(0)
		i := smallest(widths)
		if !q.Seat.lidInside() {
			i = largest(widths)
		}
		collar = tiles.Millimetre(widths[i])
	}
	set := a.Set
	if math.IsNaN(float64(set)) {
		set = a.Unrounded
	}
	switch {
	case a.Question == AskWidth && a.Trim != nil:
		// neither what is thrown nor what it is trimmed to is a wet width
		lid = 0
	case a.Question == AskWidth:
		lid = set
	case a.Question == AskGallery:
		collar = set
	}
	return collar, lid
}

// firedOpening is the opening after the last firing; of a gallery still to be thrown the one that
// the answer names; NaN where there is none.
func (a Answer) firedOpening() float64 {
	left := float64(a.Fired.Collar)
	switch {
	case a.Question == AskGallery && len(a.Also) > 0:
		size := a.Set
		if math.IsNaN(float64(size)) {
			size = a.Unrounded
		}
		return float64(a.Also[0].NotOver) * left / float64(size)
	case a.Asked.Opening == 0:
		return math.NaN()
	}
	widths, _ := a.Asked.directions(0)
	ruling := smallest(widths)
	if !a.Asked.Seat.lidInside() {
		ruling = largest(widths)
	}
	return float64(a.Asked.Opening) * left / widths[ruling]
}
