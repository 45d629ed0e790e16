package tilestest

import (
	"math"

	"lidwright/kiln"
	"lidwright/tiles"
	"lidwright/tiles/lid"
	"lidwright/tiles/shrinkage"
)

// ReplacementTrial is a fired pot whose lid broke, of the row's last batch, and the load that its new lids go
// into. 0.5 to 2.0 mm fits.
type ReplacementTrial struct {
	// for the width of the new lid
	Question lid.Question
	// that the new lid goes into, at its recorded heat
	Firing lid.Firing

	made   *Made
	pair   LoadPair
	lid    tiles.BatchRef
	collar float64
	hand   float64
}

// Replacement draws one: a pot of 100 mm fired, read to 0.05 mm; hand is how true lids are thrown and soft
// clay is read, mm. The pot's own firing missed the recorded heat of the next one by 6 °C (one sd). With card
// its gallery was read when it was wet.
func (m *Made) Replacement(hand float64, card bool) ReplacementTrial {
	old, next := m.LoadPair(), m.LoadPair()
	away := m.normal(next.Glaze, 6) - old.Glaze
	old.Glaze, old.trueGlaze = old.Glaze+away, old.trueGlaze+away
	pot := m.fire(0, m.last, old, m.places())
	left := math.Exp(-(pot.drying + pot.fired) / 100)
	wet := m.normal(100, 1) / left
	t := ReplacementTrial{made: m, pair: next, lid: m.last, collar: wet * left, hand: hand,
		Firing: lid.Firing{Work: kiln.Celsius(next.Glaze), BisqueWork: kiln.Celsius(next.Bisque)}}
	length := func(l float64) *tiles.Millimetre { v := tiles.Millimetre(l); return &v }
	t.Question = lid.Question{
		Collar: []tiles.Millimetre{tiles.Millimetre(m.normal(t.collar, firedSD))}, CollarStage: tiles.Fired,
		LeastPlay: length(0.5), MostPlay: length(2), Step: length(0.1), ThrowSD: length(hand),
		MeasureSD: length(firedSD),
		Body:      m.last, LidClay: m.last, Together: shrinkage.Apart, Lids: 1, AcceptWide: true,
	}
	if card {
		t.Question.WasCollar = []tiles.Millimetre{tiles.Millimetre(m.normal(wet, hand))}
	}
	return t
}

// Play is what comes out for one more lid, thrown to this width.
func (t ReplacementTrial) Play(width tiles.Millimetre) tiles.Millimetre {
	top := t.made.fire(0, t.lid, t.pair, t.made.places())
	return tiles.Millimetre(t.collar - t.made.normal(float64(width),
		t.hand)*math.Exp(-(top.drying+top.fired)/100))
}

// ReadAgain reads the fired gallery twice more.
func (t ReplacementTrial) ReadAgain() []tiles.Millimetre {
	return []tiles.Millimetre{tiles.Millimetre(t.made.normal(t.collar, firedSD)),
		tiles.Millimetre(t.made.normal(t.collar, firedSD))}
}

// MoreBars is the studio with so many more bars of the lid's batch, fired together in a load of their own.
func (t ReplacementTrial) MoreBars(bars int) shrinkage.Studio {
	m := t.made
	studio, had, p := m.Studio, len(m.Bars), m.LoadPair()
	for range bars {
		m.addBatchBar(0, t.lid, p)
	}
	studio.Bars = m.Bars
	m.Bars = m.Bars[:had:had]
	return studio
}
