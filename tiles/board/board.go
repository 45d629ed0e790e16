// Package board answers for a whole board of galleries at once, when any lid may go on any pot: how
// many lids of which sizes to throw, or which measured lid goes with which pot. In go the galleries
// and what they share as a lid.Question, and the shrink; out come sizes, pairs and the chance that
// every pot gets a lid.
//
// It draws boards as they might come out of the kiln from one fixed stream, so that the same
// question always has the same answer, and looks for sizes uphill on them; pairs are found by the
// Hungarian method.
//
// It knows nothing of one lid that tiles/lid does not tell it, and keeps nothing.
package board

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"lidwright/kiln/message"
	"lidwright/tiles"
	"lidwright/tiles/lid"
	"lidwright/tiles/shrinkage"
)

// WrongSize is the type of a fault of a board with too few or too many galleries.
const WrongSize = "board-size"

// Fewest and most galleries of a board.
const (
	FewestGalleries = 8
	MostGalleries   = 30
)

// Question asks which lids to throw for a board of galleries of one clay, seat and load,
// when any lid may go on any pot.
type Question struct {
	Common    lid.Question // all that the pots share; no collar, opening or lid
	Galleries []Gallery
	Gauge     *Gauge // in place of the galleries: all thrown to one gauge

	Lids         int     // to throw; 0: the fewest that reach WantedChance
	WantedChance float64 // that every pot gets a lid; 0: 0.90
	SizesMost    int     // 1 to 5; 0: 3

	Measured []MeasuredLid // later: which of these goes with which pot
}

// Gallery is one pot of the board.
type Gallery struct {
	Pot     string // id of its card, or empty
	Collar  []tiles.Millimetre
	Opening tiles.Millimetre
}

// Gauge is a board thrown to one gauge.
type Gauge struct {
	Collar   tiles.Millimetre
	Opening  tiles.Millimetre
	SpreadSD *tiles.Millimetre // of the galleries; nil: the throwing sd
	Count    int
}

// MeasuredLid is a thrown lid as measured.
type MeasuredLid struct {
	Lid   string // its name on the board
	Width tiles.Millimetre
	Stage tiles.Stage
}

// Answer says how many lids of which sizes to throw, or which lid goes with which pot.
type Answer struct {
	Galleries, Lids int
	Sizes           []SizeCount // by size; nil: held back, or the lids were measured
	AllPairChance   float64     // that every pot gets a lid
	ExpectedPairs   float64
	OneToOneChance  float64 // for comparison: a lid for each pot, kept with it, all fit; NaN: lids measured
	Pairs           []Pair  // in the order of the galleries; nil: no lid was measured
	Trust           shrinkage.Reliability
	TrustWhy        message.Message
	HeldBack        message.Message
	Cautions        []string
	Unusual         []string
}

// SizeCount is a number of lids of one size.
type SizeCount struct {
	Size  tiles.Millimetre
	Count int
}

// Pair is one pot and its lid.
type Pair struct {
	Gallery   int              // from 0
	Lid       string           // empty: none is left for it
	FitChance float64          // NaN without lid
	Set       tiles.Millimetre // the width still to throw; NaN with a lid
}

// Validate fills in what is usual and tells every fault.
func (b *Question) Validate(d lid.Defaults) error {
	var f tiles.Faults
	if b.WantedChance == 0 {
		b.WantedChance = 0.90
	}
	if b.SizesMost == 0 {
		b.SizesMost = 3
	}
	b.checkGalleries(&f, d)
	f.Number("wanted_chance", b.WantedChance, 0.05, 0.999)
	f.Number("sizes_most", float64(b.SizesMost), 1, 5)
	if n := b.count(); b.Lids != 0 && n > 0 {
		f.Number("lids", float64(b.Lids), 1, float64(mostLidsFor(n)))
	}
	if c := b.Common; len(c.Collar) > 0 || c.Lid != 0 || c.Opening != 0 {
		f.Add(lid.UnknownMember, "collar_mm", "a board has its sizes under galleries, gauge and measured_lids")
	}
	names := map[string]bool{}
	if len(b.Measured) > mostLidsFor(MostGalleries) {
		f.Add(tiles.OutOfRange, "measured_lids", "has more than {1}", mostLidsFor(MostGalleries))
	}
	for i := range b.Measured {
		l := &b.Measured[i]
		if l.Stage == "" {
			l.Stage = tiles.Wet
		}
		f.Needed("measured_lids.lid", &l.Lid, tiles.LongestName)
		f.PieceOf("measured_lids.lid_mm", l.Width, "lid")
		tiles.OneOf(&f, "measured_lids.lid_stage", l.Stage, tiles.Stages()...)
		if names[l.Lid] {
			f.Add(tiles.GivenTwice, "measured_lids.lid", "{1} stands twice", l.Lid)
		}
		names[l.Lid] = true
	}
	return f.Err()
}

func (b *Question) checkGalleries(f *tiles.Faults, d lid.Defaults) {
	switch {
	case len(b.Galleries) > 0 && b.Gauge != nil:
		f.Add(tiles.GivenTwice, "gauge", "and galleries: give one of them")
		return
	case len(b.Galleries) == 0 && b.Gauge == nil:
		f.Add(tiles.Missing, "galleries", "is needed, or a gauge with count")
		return
	}
	if n := b.count(); n < FewestGalleries || n > MostGalleries {
		field := "galleries"
		if b.Gauge != nil {
			field = "gauge.count"
		}
		f.Add(WrongSize, field, "is {1}, a board has {2} to {3}; for one pot ask for its lid", n,
			FewestGalleries, MostGalleries)
		return
	}
	if g := b.Gauge; g != nil && g.SpreadSD != nil {
		f.Number("gauge.spread_sd_mm", float64(*g.SpreadSD), 0, 3)
	}
	b.each(f, func(q *lid.Question) error { return q.Validate(d) })
}

// Doubts asks about every size outside what is believed, as faults of its field; nil where there is none.
func (b *Question) Doubts(d lid.Defaults) error {
	var f tiles.Faults
	b.each(&f, func(q *lid.Question) error {
		if err := q.Validate(d); err != nil {
			return err
		}
		return q.Doubts()
	})
	return f.Err()
}

// each adds the faults that check finds in the question of each gallery, once for a field.
func (b *Question) each(f *tiles.Faults, check func(*lid.Question) error) {
	told := map[string]bool{}
	for i := range b.count() {
		q := b.question(i)
		var bad tiles.InvalidFields
		errors.As(check(&q), &bad)
		for _, one := range bad {
			field := one.Field
			if field == "collar_mm" || field == "opening_mm" {
				field = fmt.Sprintf("galleries[%d].%s", i, field)
				if b.Gauge != nil {
					field = "gauge." + one.Field
				}
			}
			if !told[field] {
				told[field] = true
				f.Add(one.Type, field, "{1}", one.Why)
			}
		}
	}
}

// count is the number of pots.
func (b *Question) count() int {
	if b.Gauge != nil {
		return b.Gauge.Count
	}
	return len(b.Galleries)
}

// mostLidsFor is half as many lids again as pots.
func mostLidsFor(n int) int { return n + n/2 }

// question is the lid question of pot i alone.
func (b *Question) question(i int) lid.Question {
	q := b.Common
	q.Lids = 1
	if g := b.Gauge; g != nil {
		q.Collar, q.Opening = []tiles.Millimetre{g.Collar}, g.Opening
	} else {
		q.Collar, q.Opening = b.Galleries[i].Collar, b.Galleries[i].Opening
	}
	return q
}

// Known is what is known when a board is asked about.
type Known struct {
	lid.Known
	Measured map[tiles.Stage]lid.Known // by stage of the measured lids
}

// Know gathers the shrink, as for one lid. The error is InvalidFields, or that of rates.
func (b *Question) Know(rates shrinkage.Rates, d lid.Defaults, at lid.Firing, companion shrinkage.SoFar) (Known, error) {
	known := Known{Measured: map[tiles.Stage]lid.Known{}}
	err := b.Validate(d)
	if err != nil {
		return known, err
	}
	return b.know(known, rates, d, at, companion)
}

// know is Know for any number of pots.
func (b *Question) know(known Known, rates shrinkage.Rates, d lid.Defaults, at lid.Firing, companion shrinkage.SoFar) (Known, error) {
	q := b.question(0)
	err := q.Validate(d)
	if err != nil {
		return known, err
	}
	if known.Known, err = q.Know(rates, at, companion); err != nil {
		return known, err
	}
	for _, l := range b.Measured {
		if _, have := known.Measured[l.Stage]; have {
			continue
		}
		q := b.question(0)
		q.Lid, q.LidStage = l.Width, l.Stage
		if err := q.Validate(d); err != nil {
			return known, err
		}
		if known.Measured[l.Stage], err = q.Know(rates, at, companion); err != nil {
			return known, err
		}
	}
	return known, nil
}

// Learned puts the learned lid difference into all that is known.
func (k Known) Learned(part *lid.Difference) Known {
	k.Part = part
	measured := map[tiles.Stage]lid.Known{}
	for stage, known := range k.Measured {
		known.Part = part
		measured[stage] = known
	}
	k.Measured = measured
	return k
}

// Size answers b from what is known of the shrink. The error is InvalidFields.
func Size(b Question, d lid.Defaults, known Known) (Answer, error) {
	if err := b.Validate(d); err != nil {
		return Answer{}, err
	}
	return size(b, d, known)
}

// size is Size for any number of pots.
func size(b Question, d lid.Defaults, known Known) (Answer, error) {
	n := b.count()
	a := Answer{Galleries: n, Lids: b.Lids, OneToOneChance: math.NaN()}
	var own []float64 // width for each pot alone
	var pots []lid.Clearance
	said := map[string]bool{}
	for i := range n {
		q := b.question(i)
		one, err := lid.Size(q, d, known.Known)
		if err != nil {
			return a, err
		}
		a.Trust, a.TrustWhy, a.HeldBack = one.Trust, one.TrustWhy, one.HeldBack
		for _, id := range one.Cautions {
			said[id] = true
		}
		for _, field := range one.Unusual {
			if !slices.Contains(a.Unusual, field) {
				a.Unusual = append(a.Unusual, field)
			}
		}
		own = append(own, float64(one.Set))
		pots = append(pots, lid.NewClearance(one.Asked, d, known.Known))
		if !a.HeldBack.IsZero() {
			a.AllPairChance, a.ExpectedPairs = math.NaN(), math.NaN()
			return a, nil
		}
	}
	a.Cautions = lid.InOrder(said)
	if len(b.Measured) > 0 {
		return b.pairUp(a, d, known, own)
	}
	q := b.question(0)
	_ = q.Validate(d)
	spread := tiles.Millimetre(-1)
	if b.Gauge != nil {
		if spread = *q.ThrowSD; b.Gauge.SpreadSD != nil {
			spread = *b.Gauge.SpreadSD
		}
	}
	draws := drawBoard(boardDraws, pots, q.Together, float64(spread), mostLidsFor(n))
	s := search{draws: draws, own: own, step: float64(*q.Step), most: b.SizesMost}
	best := s.fewest(b.Lids, b.WantedChance)
	a.Lids = len(best.widths)
	a.Sizes, a.AllPairChance, a.ExpectedPairs = best.sizes(), best.all, best.pairs
	a.OneToOneChance = draws.oneToOne(own)
	return a, nil
}

// Says is the answer in one line, widths in unit where the reader has none.
func (a Answer) Says(unit tiles.LengthUnit) message.Message {
	if !a.HeldBack.IsZero() {
		return message.New("No sizes for the board: {1}.", a.HeldBack)
	}
	chance := message.Percent(a.AllPairChance, 0)
	if a.Sizes == nil {
		return message.New("{1} lids for {2} pots. Chance that every pot gets one: {3} %.", a.Lids,
			a.Galleries, chance)
	}
	sizes := make([]message.Message, len(a.Sizes))
	for i, s := range a.Sizes {
		sizes[i] = message.New("{1} at {2}", s.Count, tiles.Measured{Length: s.Size, Unit: unit, Bare: true})
	}
	return message.New("{1} lids: {2}. Chance that every pot gets one: {3} %.", a.Lids,
		message.Join(", ", sizes...),
		chance)
}
