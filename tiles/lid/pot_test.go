package lid

import (
	"errors"
	"slices"
	"strings"
	"testing"

	"lidwright/tiles"
	"lidwright/tiles/shrinkage"
)

// A card is taken as it should be, and each fault of it is told beside its field.
func TestFaultsOfPotCards(t *testing.T) {
	card := func(change func(*PotCard)) *PotCard {
		p := &PotCard{ID: "0193c0c1-0000-7000-8000-000000000001", Mark: "KT", Form: " tea jar ", Seat: Inset,
			Stage:  tiles.Wet,
			Collar: []tiles.Millimetre{104.3}, Opening: 92, Body: tiles.BatchRef{Clay: "tern", Batch: "B"}}
		change(p)
		return p
	}
	three := []tiles.Millimetre{104, 104.2, 104.4}
	for name, c := range map[string]struct {
		p    *PotCard
		want string
	}{
		"a card":         {card(func(*PotCard) {}), ""},
		"without an id":  {card(func(p *PotCard) { p.ID = "" }), "id"},
		"by a long mark": {card(func(p *PotCard) { p.Mark = "ninesigns" }), "mark"},
		"a long number": {card(func(p *PotCard) { p.Number = strings.Repeat("1", 61) }),
			"number"},
		"of no form":             {card(func(p *PotCard) { p.Form = " " }), "form"},
		"of no seat":             {card(func(p *PotCard) { p.Seat = "" }), "seat"},
		"fired nobody knows how": {card(func(p *PotCard) { p.Together = "side by side" }), "together"},
		"fired together":         {card(func(p *PotCard) { p.Together = shrinkage.SameLoad }), ""},
		"of no stage":            {card(func(p *PotCard) { p.Stage = "" }), "collar_stage"},
		"of no collar":           {card(func(p *PotCard) { p.Collar = nil }), "collar_mm"},
		"of three directions":    {card(func(p *PotCard) { p.Collar = three }), ""},
		"of four": {card(func(p *PotCard) { p.Collar = append(slices.Clone(three), 104) }),
			"collar_mm"},
		"in inches": {card(func(p *PotCard) {
			p.Collar, p.Opening = []tiles.Millimetre{4},
				0
		}), "collar_mm"},
		"an opening as wide":        {card(func(p *PotCard) { p.Opening = 104.3 }), "opening_mm"},
		"a little less wide":        {card(func(p *PotCard) { p.Opening = 104.2 }), ""},
		"not measured":              {card(func(p *PotCard) { p.Opening = 0 }), ""},
		"an opening in inches":      {card(func(p *PotCard) { p.Opening = 3.6 }), "opening_mm"},
		"a lid set in inches":       {card(func(p *PotCard) { p.Set = 4 }), "set_mm"},
		"a lid of 3 mm":             {card(func(p *PotCard) { p.Measured = 3 }), "lid_mm"},
		"a rim turned out":          {card(func(p *PotCard) { p.Measured, p.Bowl = 102, 101.9 }), ""},
		"a rim turned in":           {card(func(p *PotCard) { p.Measured, p.Bowl = 102, 102 }), "bowl_mm"},
		"a bowl, the lid not yet":   {card(func(p *PotCard) { p.Bowl = 102 }), ""},
		"fired in three directions": {card(func(p *PotCard) { p.Fired = three }), ""},
		"in four of them": {card(func(p *PotCard) { p.Fired = append(slices.Clone(three), 104) }),
			"fired_mm"},
		"fired in inches":        {card(func(p *PotCard) { p.Fired = []tiles.Millimetre{4} }), "fired_mm"},
		"trimmed by less than 0": {card(func(p *PotCard) { p.TrimMost = -1 }), "trim_most_mm"},
		"of no clay":             {card(func(p *PotCard) { p.Body = tiles.BatchRef{} }), "body"},
		"a lid of another clay": {card(func(p *PotCard) {
			p.Lid = tiles.BatchRef{Clay: "wren",
				Batch: "A"}
		}), ""},
		"a lid of no batch": {card(func(p *PotCard) { p.Lid.Clay = "wren" }), "lid"},
		"made on no day":    {card(func(p *PotCard) { p.MadeOn = "2026-02-30" }), "made_on"},
		"a long note":       {card(func(p *PotCard) { p.Note = strings.Repeat("x", 501) }), "note"},
	} {
		var all tiles.InvalidFields
		at := ""
		if err := c.p.Validate(); errors.As(err, &all) {
			at = all[0].Field
		} else if err != nil {
			t.Fatal(err)
		}
		if at != c.want {
			t.Errorf("%s: at fault %q, want %q", name, at, c.want)
		}
		if name == "a card" && c.p.Form != "tea jar" {
			t.Errorf("its form is %q", c.p.Form)
		}
	}
}

// The question of a card asks for what its seat has: an opening where there is a ledge, a trim where the lid
// lies inside.
func TestQuestionOfAPotCard(t *testing.T) {
	p := PotCard{Mark: "KT", Form: "jar", Collar: []tiles.Millimetre{104.3}, Opening: 92, Stage: tiles.Wet,
		TrimMost: 2}
	for _, seat := range Seats() {
		p.Seat = seat
		q := p.Question()
		opens, _ := seat.opens()
		if (q.Opening == 92) != opens || q.Trim != seat.lidInside() || q.Trim != (q.TrimMost != nil) {
			t.Errorf("%s: opening %v, trimmed %v by %v", seat, q.Opening, q.Trim, q.TrimMost)
		}
		if q.Form != "jar" || q.Maker != "KT" || q.CollarStage != tiles.Wet {
			t.Errorf("%s: %+v", seat, q)
		}
	}
	p.Seat, p.TrimMost = Inset, 0
	if q := p.Question(); q.Trim || q.TrimMost != nil {
		t.Errorf("not trimmed, and asked for %v", q.TrimMost)
	}
}
