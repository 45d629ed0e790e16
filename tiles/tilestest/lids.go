package tilestest

import (
	"math"

	"lidwright/kiln"
	"lidwright/tiles"
	"lidwright/tiles/lid"
	"lidwright/tiles/shrinkage"
)

// LidClass is a kind of lid question, by what body and lid share.
type LidClass string

const (
	TwoPieces   LidClass = "apart"    // one clay, one load, two places
	OnePlace    LidClass = "in place" // one clay, fired on its pot
	Replacement LidClass = "replacement"
	TwoClays    LidClass = "two clays" // body of clay 1, a new batch
)

// LidClasses are all of them.
func LidClasses() []LidClass { return []LidClass{TwoPieces, OnePlace, Replacement, TwoClays} }

// LidTrial is a lid question of a studio and, once a width is thrown, how it turned out.
type LidTrial struct {
	Class    LidClass     // what body and lid share
	Question lid.Question // as a potter would ask it
	Firing   lid.Firing   // that both go into, at its recorded heat
	NewBag   bool         // the lid's batch is one that nobody has measured

	collar, lidLeft float64 // true fired collar, and what is left of a lid
	thrown          float64 // error of the throw
	wet             float64 // true wet collar
	drying          [2]float64
}

// PlayLeather is the gap once body and lid, thrown to this width, have gone through these shares of their
// drying.
func (t LidTrial) PlayLeather(width tiles.Millimetre, body, lid float64) tiles.Millimetre {
	return tiles.Millimetre(t.wet*math.Exp(-body*t.drying[0]/100) - (float64(width)+
		t.thrown)*math.Exp(-lid*t.drying[1]/100))
}

// readSD is how true collar and throw are; a fired collar is read to firedSD.
const (
	readSD  = 0.3
	firedSD = 0.05
)

// LidTrial draws one question: a new pair of loads, asked at its recorded heat; the batch new
// with even odds, else the row's last.
func (m *Made) LidTrial(class LidClass) LidTrial {
	p := m.LoadPair()
	newer := func(clay int) tiles.BatchRef { return m.batch(clay, 1000+m.loads) }
	lidRef, newBag := m.last, m.rng.Float64() < 0.5
	if newBag {
		lidRef = newer(0)
	}
	bodyRef, bodyClay := lidRef, 0
	if class == TwoClays {
		bodyRef, bodyClay = newer(1), 1
	}
	at := m.places()
	body := m.fire(bodyClay, bodyRef, p, at)
	if class != OnePlace {
		at = m.places()
	}
	top := m.fire(0, lidRef, p, at)
	left := func(q piece) float64 { return math.Exp(-(q.drying + q.fired) / 100) }
	wet := 60 + 90*m.rng.Float64()
	t := LidTrial{Class: class, NewBag: newBag, collar: wet * left(body), lidLeft: left(top), wet: wet,
		drying: [2]float64{body.drying, top.drying}, thrown: m.error(readSD),
		Firing: lid.Firing{Work: kiln.Celsius(p.Glaze), BisqueWork: kiln.Celsius(p.Bisque)}}
	length := func(l float64) *tiles.Millimetre { v := tiles.Millimetre(l); return &v }
	t.Question = lid.Question{
		Collar: []tiles.Millimetre{tiles.Millimetre(wet + m.error(readSD))}, CollarStage: tiles.Wet,
		Play: length(1.25), LeastPlay: length(0.5), MostPlay: length(2), Step: length(0),
		ThrowSD: length(readSD), MeasureSD: length(readSD),
		Body: bodyRef, LidClay: lidRef, Together: shrinkage.SameLoad, Lids: 1, AcceptWide: true,
	}
	switch class {
	case OnePlace:
		t.Question.Together = shrinkage.InPlace
	case Replacement:
		t.Question.Together, t.Question.CollarStage, t.Question.MeasureSD =
			shrinkage.Apart, tiles.Fired, length(firedSD)
		t.Question.Collar[0] = tiles.Millimetre(t.collar + m.error(firedSD))
	}
	return t
}

// Play is what came out for a lid thrown to this width; 0.5 to 2.0 mm fits.
func (t LidTrial) Play(width tiles.Millimetre) tiles.Millimetre {
	return tiles.Millimetre(t.collar - (float64(width)+t.thrown)*t.lidLeft)
}

// LidBoard is a board of pots and lids of the same two batches, fired together, and what only its maker
// knows of each.
type LidBoard struct {
	// one a pair
	Questions []lid.Question
	// that all go into, at its recorded heat
	Firing  lid.Firing
	collars []float64
	left    []float64
	thrown  []float64
}

// LidBoard draws a board of pairs: body and lid of batches that stay the same from board to board, of one
// clay or of two. Its lids lose difference log-percent more than their bars. It goes into a new pair of
// loads at its recorded heat.
func (m *Made) LidBoard(class LidClass, pairs int, difference float64) LidBoard {
	p := m.LoadPair()
	lidRef := m.last
	bodyRef, bodyClay := lidRef, 0
	if class == TwoClays {
		bodyRef, bodyClay = m.batch(1, 0), 1
	}
	b := LidBoard{Firing: lid.Firing{Work: kiln.Celsius(p.Glaze), BisqueWork: kiln.Celsius(p.Bisque)}}
	left := func(q piece) float64 { return math.Exp(-(q.drying + q.fired) / 100) }
	length := func(l float64) *tiles.Millimetre { v := tiles.Millimetre(l); return &v }
	for range pairs {
		wet := 90 + 40*m.rng.Float64()
		b.collars = append(b.collars, wet*left(m.fire(bodyClay, bodyRef, p, m.places())))
		b.left = append(b.left, left(m.fire(0, lidRef, p, m.places()))*math.Exp(-difference/100))
		b.thrown = append(b.thrown, m.error(readSD))
		b.Questions = append(b.Questions, lid.Question{
			Collar: []tiles.Millimetre{tiles.Millimetre(wet + m.error(readSD))}, CollarStage: tiles.Wet,
			Play: length(1.25), LeastPlay: length(0.5), MostPlay: length(2), Step: length(0),
			ThrowSD: length(readSD), MeasureSD: length(readSD),
			Body: bodyRef, LidClay: lidRef, Together: shrinkage.SameLoad, Lids: 1, AcceptWide: true,
		})
	}
	return b
}

// Play is what came out for the i-th lid, thrown to this width; 0.5 to 2.0 mm fits.
func (b LidBoard) Play(i int, width tiles.Millimetre) tiles.Millimetre {
	return tiles.Millimetre(b.collars[i] - (float64(width)+b.thrown[i])*b.left[i])
}
