package lid

import (
	"lidwright/kiln/message"
	"lidwright/tiles"
	"lidwright/tiles/shrinkage"
)

// PotCard is one pot's remembered sizes, made at the wheel while its gallery is wet.
type PotCard struct {
	ID         string             // UUID
	Mark       string             // maker's mark
	Number     string             // as scratched into the pot
	Form       string             // as people call it; never empty
	Seat       Seat               // where the lid lies
	SeatGlazed bool               // glaze on the seat
	Together   shrinkage.Together // how pot and lid are fired; empty: the usual
	Collar     []tiles.Millimetre // one a direction, one to three
	Stage      tiles.Stage        // of the pot when measured
	Opening    tiles.Millimetre   // of the ledge; 0: not measured
	Body, Lid  tiles.BatchRef     // Lid empty: not thrown yet
	Set        tiles.Millimetre   // width that was told for the lid; 0: none
	Measured   tiles.Millimetre   // the lid as measured once after throwing; 0: not measured
	Bowl       tiles.Millimetre   // the same before its rim was turned out; 0: it was not
	TrimMost   tiles.Millimetre   // that may come off its rim at leather-hard, across; 0: it is not trimmed
	Fired      []tiles.Millimetre // the pot's gallery once fired, none to three directions
	MadeOn     string             // date, or empty
	Note       string             // free text
}

// Validate puts the texts of p into their usual form and tells every fault.
func (p *PotCard) Validate() error {
	var f tiles.Faults
	f.ID("id", &p.ID)
	f.Maker("mark", &p.Mark)
	f.Text("number", &p.Number)
	f.Needed("form", &p.Form)
	tiles.OneOf(&f, "seat", p.Seat, Seats()...)
	tiles.OneOfOrNone(&f, "together", p.Together, shrinkage.InPlace, shrinkage.SameLoad, shrinkage.Apart)
	tiles.OneOf(&f, "collar_stage", p.Stage, tiles.Stages()...)
	if n := len(p.Collar); n == 0 {
		f.Add(tiles.Missing, "collar_mm", "is needed")
	} else if n > 3 {
		f.Add(tiles.OutOfRange, "collar_mm", "has more than three directions")
	}
	for _, c := range p.Collar {
		f.Within("collar_mm", float64(c))
	}
	f.Piece("opening_mm", p.Opening)
	f.Piece("set_mm", p.Set)
	f.Piece("lid_mm", p.Measured)
	f.Piece("bowl_mm", p.Bowl)
	if p.Bowl != 0 && p.Bowl >= p.Measured && p.Measured != 0 {
		f.Add(tiles.OutOfRange, "bowl_mm", "not smaller than lid_mm: a rim that is turned out grows wider")
	}
	f.Within("trim_most_mm", float64(p.TrimMost))
	if len(p.Fired) > MostDirections {
		f.Add(tiles.OutOfRange, "fired_mm", "has more than three directions")
	}
	for _, c := range p.Fired {
		f.Within("fired_mm", float64(c))
	}
	if p.Seat.ledged() {
		for _, c := range p.Collar {
			if p.Opening >= c && c > 0 {
				f.Add(OpeningWider, "opening_mm",
					"not smaller than collar_mm: were they swapped?")
				break
			}
		}
	}
	f.BatchRef("body", p.Body)
	if p.Lid != (tiles.BatchRef{}) {
		f.BatchRef("lid", p.Lid)
	}
	f.Date("made_on", p.MadeOn)
	f.Text("note", &p.Note)
	return f.Err()
}

// Question is the lid question that starts from p, without the width of a lid.
func (p PotCard) Question() Question {
	q := Question{Seat: p.Seat, SeatGlazed: p.SeatGlazed, Together: p.Together, Collar: p.Collar,
		CollarStage: p.Stage,
		Body:        p.Body, LidClay: p.Lid, Form: p.Form, Maker: p.Mark}
	if may, _ := p.Seat.opens(); may {
		q.Opening = p.Opening
	}
	if p.TrimMost > 0 && p.Seat.lidInside() {
		q.Trim, q.TrimMost = true, &p.TrimMost
	}
	return q
}

// ErrNoPot means that there is no pot card of that id.
var ErrNoPot = message.NewError("no such pot card")

// KeptPot is a pot card with its revision.
type KeptPot struct {
	PotCard
	// counts its changes
	Revision int64
}

// PotFilter narrows a list of pot cards down.
type PotFilter struct {
	ID    string // one card
	Form  string // of that form
	Find  string // words, each of which stands in the mark, number, form or date
	After string // said before the card of this id, for lists in parts
	Limit int    // 0: all
}
