package tiles

import "errors"

// PotCard is one pot's remembered sizes, made at the wheel while its gallery is wet.
type PotCard struct {
	ID         string // UUID
	Mark       string // maker's mark
	Number     string // as scratched into the pot
	Form       string
	Seat       Seat
	SeatGlazed bool
	Together   Together
	Collar     []Millimetre // one a direction, one to three
	Stage      Stage        // of the pot when measured
	Opening    Millimetre   // of the ledge; 0: not measured
	Body, Lid  BatchRef     // Lid empty: not thrown yet
	Set        Millimetre   // width that was told for the lid; 0: none
	Measured   Millimetre   // the lid as measured once after throwing; 0: not measured
	MadeOn     string       // date, or empty
	Note       string
}

// Validate puts the texts of p into their usual form and tells every fault.
func (p *PotCard) Validate() error {
	var f faults
	f.id("id", &p.ID)
	f.maker("mark", &p.Mark)
	f.text("number", &p.Number, longestName)
	f.needed("form", &p.Form, longestName)
	word(&f, "seat", p.Seat, Seats()...)
	wordOrNone(&f, "together", p.Together, InPlace, SameLoad, Apart)
	word(&f, "collar_stage", p.Stage, Stages()...)
	if n := len(p.Collar); n == 0 {
		f.add(Missing, "collar_mm", "is needed")
	} else if n > 3 {
		f.add(OutOfRange, "collar_mm", "has more than three directions")
	}
	for _, c := range p.Collar {
		f.number("collar_mm", float64(c), float64(ShortestPiece), float64(LongestPiece))
	}
	f.piece("opening_mm", p.Opening)
	f.piece("set_mm", p.Set)
	f.piece("lid_mm", p.Measured)
	if p.Seat.ledged() {
		for _, c := range p.Collar {
			if p.Opening >= c && c > 0 {
				f.add("opening-wider-than-collar", "opening_mm", "not smaller than collar_mm: were they swapped?")
				break
			}
		}
	}
	f.batchRef("body", p.Body)
	if p.Lid != (BatchRef{}) {
		f.batchRef("lid", p.Lid)
	}
	f.date("made_on", p.MadeOn)
	f.text("note", &p.Note, longestNote)
	return f.err()
}

// Question is the lid question that starts from p, without the width of a lid.
func (p PotCard) Question() LidQuestion {
	q := LidQuestion{Seat: p.Seat, SeatGlazed: p.SeatGlazed, Together: p.Together, Collar: p.Collar, CollarStage: p.Stage,
		Body: p.Body, LidClay: p.Lid, Form: p.Form, Maker: p.Mark}
	if may, _ := p.Seat.opens(); may {
		q.Opening = p.Opening
	}
	return q
}

// ErrNoPot means that there is no pot card of that id.
var ErrNoPot = errors.New("no such pot card")

// KeptPot is a pot card with its revision.
type KeptPot struct {
	PotCard
	Revision int64
}

// PotFilter narrows a list of pot cards down.
type PotFilter struct {
	ID    string
	Form  string
	Find  string // words, each of which stands in the mark, number, form or date
	After string // said before the card of this id, for lists in parts
	Limit int    // 0: all
}
