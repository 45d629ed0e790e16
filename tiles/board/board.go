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
	"cmp"
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
	Galleries []Gallery    // 8 to 30; none with a gauge
	Gauge     *Gauge       // in place of the galleries: all thrown to one gauge

	Lids         int     // to throw; 0: the fewest that reach WantedChance
	WantedChance float64 // that every pot gets a lid; 0: 0.90
	SizesMost    int     // 1 to 5; 0: 3

	Measured []MeasuredLid // later: which of these goes with which pot
}

// Gallery is one pot of the board.
type Gallery struct {
	Pot     string             // id of its card, or empty
	Collar  []tiles.Millimetre // one a direction, 1 to 3
	Opening tiles.Millimetre   // of the ledge; 0: not measured
}

// Gauge is a board thrown to one gauge.
type Gauge struct {
	Collar   tiles.Millimetre  // width of the gauge
	Opening  tiles.Millimetre  // of the ledge; 0: none
	SpreadSD *tiles.Millimetre // of the galleries; nil: the throwing sd
	Count    int               // how many pots, 8 to 30
}

// MeasuredLid is a thrown lid as measured.
type MeasuredLid struct {
	Lid   string           // its name on the board
	Width tiles.Millimetre // across, at its stage
	Stage tiles.Stage      // empty: wet
}

// Answer says how many lids of which sizes to throw, or which lid goes with which pot.
type Answer struct {
	Galleries, Lids int                   // how many of each
	Sizes           []SizeCount           // by size; nil: held back, or the lids were measured
	AllPairChance   float64               // that every pot gets a lid
	ExpectedPairs   float64               // how many pots get a lid, on average
	OneToOneChance  float64               // each pot keeps its lid and all fit; NaN: measured
	Pairs           []Pair                // in the order of the galleries; nil: no lid was measured
	Trust           shrinkage.Reliability // of the less trusted of both rates
	TrustWhy        message.Message       // in words
	HeldBack        message.Message       // why no sizes are told; empty: they are
	Cautions        []string              // ids, in the order in which they are to be read
	Unusual         []string              // fields outside belief
}

// SizeCount is a number of lids of one size.
type SizeCount struct {
	// on the step
	Size tiles.Millimetre
	// above 0
	Count int
}

// Pair is one pot and its lid.
type Pair struct {
	Gallery   int              // from 0
	Lid       string           // empty: none is left for it
	FitChance float64          // NaN without lid
	Set       tiles.Millimetre // the width still to throw; NaN with a lid
}

// Checked is a Question that can be answered: it has no fault, and every default in it. Check alone makes
// one.
type Checked struct {
	question
	pots []lid.Checked                 // the question of each pot alone
	gaps []map[tiles.Stage]lid.Checked // of each pot and the first lid that was measured at a stage
}

type question = Question // embedded under a name that nobody outside can set

// Check fills in what is usual in a studio and tells every fault with its field. The error is InvalidFields.
func (b Question) Check(d lid.Defaults) (Checked, error) {
	var f tiles.Faults
	b.WantedChance, b.SizesMost = cmp.Or(b.WantedChance, 0.90), cmp.Or(b.SizesMost, 3)
	b.Measured = slices.Clone(b.Measured)
	c := Checked{question: b}
	if c.checkCount(&f) {
		c.checkPots(&f, d)
	}
	f.Number("wanted_chance", b.WantedChance, 0.05, 0.999)
	f.Number("sizes_most", float64(b.SizesMost), 1, 5)
	if n := b.count(); b.Lids != 0 && n > 0 {
		f.Number("lids", float64(b.Lids), 1, float64(mostLidsFor(n)))
	}
	if c := b.Common; len(c.Collar) > 0 || c.Lid != 0 || c.Opening != 0 {
		f.Add(lid.UnknownMember, "collar_mm",
			"a board has its sizes under galleries, gauge and measured_lids")
	}
	c.checkMeasured(&f)
	if err := f.Err(); err != nil {
		return Checked{}, err
	}
	return c.withGaps(d)
}

// checkMeasured puts the names of the lids into their usual form.
func (b *Question) checkMeasured(f *tiles.Faults) {
	names := map[string]bool{}
	if len(b.Measured) > mostLidsFor(MostGalleries) {
		f.Add(tiles.OutOfRange, "measured_lids", "has more than {1}", mostLidsFor(MostGalleries))
	}
	for i := range b.Measured {
		l := &b.Measured[i]
		l.Stage = cmp.Or(l.Stage, tiles.Wet)
		f.Needed("measured_lids.lid", &l.Lid)
		f.PieceOf("measured_lids.lid_mm", l.Width, "lid")
		tiles.OneOf(f, "measured_lids.lid_stage", l.Stage, tiles.Stages()...)
		if names[l.Lid] {
			f.Add(tiles.GivenTwice, "measured_lids.lid", "{1} stands twice", l.Lid)
		}
		names[l.Lid] = true
	}
}

// checkCount reports whether there are as many pots as a board has, told in one way.
func (b *Question) checkCount(f *tiles.Faults) bool {
	switch {
	case len(b.Galleries) > 0 && b.Gauge != nil:
		f.Add(tiles.GivenTwice, "gauge", "and galleries: give one of them")
		return false
	case len(b.Galleries) == 0 && b.Gauge == nil:
		f.Add(tiles.Missing, "galleries", "is needed, or a gauge with count")
		return false
	}
	if n := b.count(); n < FewestGalleries || n > MostGalleries {
		field := "galleries"
		if b.Gauge != nil {
			field = "gauge.count"
		}
		f.Add(WrongSize, field, "is {1}, a board has {2} to {3}; for one pot ask for its lid", n,
			FewestGalleries, MostGalleries)
		return false
	}
	return true
}

// checkPots checks the question of each pot alone.
func (b *Checked) checkPots(f *tiles.Faults, d lid.Defaults) {
	if g := b.Gauge; g != nil && g.SpreadSD != nil {
		f.Within("gauge.spread_sd_mm", float64(*g.SpreadSD))
	}
	told := map[string]bool{}
	for i := range b.count() {
		q, err := b.pot(i).Check(d)
		b.tell(f, told, i, err)
		b.pots = append(b.pots, q)
	}
}

// withGaps checks the question of each pot with the lids that were measured.
func (b Checked) withGaps(d lid.Defaults) (Checked, error) {
	for i := range b.count() {
		gaps := map[tiles.Stage]lid.Checked{}
		for _, l := range b.Measured {
			if _, have := gaps[l.Stage]; have {
				continue
			}
			q := b.pot(i)
			q.Lid, q.LidStage = l.Width, l.Stage
			gap, err := q.Check(d)
			if err != nil {
				return Checked{}, err
			}
			gaps[l.Stage] = gap
		}
		b.gaps = append(b.gaps, gaps)
	}
	return b, nil
}

// By is the same question for a maker whose own accuracy is known.
func (b Checked) By(a lid.Accuracy) Checked {
	return b.each(func(q lid.Checked) lid.Checked { return q.By(a) })
}

// Of is the same question about batches of its clays.
func (b Checked) Of(body, cover tiles.BatchID) Checked {
	b.Common.Body.Batch, b.Common.LidClay.Batch = body, cover
	return b.each(func(q lid.Checked) lid.Checked { return q.Of(body, cover) })
}

// each is b with other questions in the place of those of its pots.
func (b Checked) each(other func(lid.Checked) lid.Checked) Checked {
	b.pots, b.gaps = slices.Clone(b.pots), slices.Clone(b.gaps)
	for i := range b.pots {
		b.pots[i] = other(b.pots[i])
	}
	for i, gaps := range b.gaps {
		b.gaps[i] = map[tiles.Stage]lid.Checked{}
		for stage, q := range gaps {
			b.gaps[i][stage] = other(q)
		}
	}
	return b
}

// Doubts asks about every size outside what is believed, as faults of its field; nil where there is none.
func (b *Checked) Doubts() error {
	var f tiles.Faults
	told := map[string]bool{}
	for i, q := range b.pots {
		b.tell(&f, told, i, q.Doubts())
	}
	return f.Err()
}

// tell adds the faults of the question of pot i that nothing was told of yet.
func (b *Question) tell(f *tiles.Faults, told map[string]bool, i int, err error) {
	var bad tiles.InvalidFields
	errors.As(err, &bad)
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

// count is the number of pots.
func (b *Question) count() int {
	if b.Gauge != nil {
		return b.Gauge.Count
	}
	return len(b.Galleries)
}

// mostLidsFor is half as many lids again as pots.
func mostLidsFor(n int) int { return n + n/2 }

// pot is the lid question of pot i alone.
func (b *Question) pot(i int) lid.Question {
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

// Know gathers the shrink, as for one lid. The error is that of rates.
func (b *Checked) Know(rates shrinkage.Rates, at lid.Firing,
	companion shrinkage.SoFar) (known Known, err error) {
	known.Measured = map[tiles.Stage]lid.Known{}
	if known.Known, err = b.pots[0].Know(rates, at, companion); err != nil || len(b.gaps) == 0 {
		return known, err
	}
	for stage, q := range b.gaps[0] {
		if known.Measured[stage], err = q.Know(rates, at, companion); err != nil {
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
func Size(b Checked, known Known) (Answer, error) {
	n := b.count()
	a := Answer{Galleries: n, Lids: b.Lids, OneToOneChance: math.NaN()}
	var own []float64 // width for each pot alone
	var pots []lid.Clearance
	said := map[string]bool{}
	// each pot alone: its own width, and all that is said of it
	for _, q := range b.pots {
		one, err := lid.Size(q, known.Known)
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
		pots = append(pots, lid.NewClearance(q, known.Known))
		if !a.HeldBack.IsZero() {
			a.AllPairChance, a.ExpectedPairs = math.NaN(), math.NaN()
			return a, nil
		}
	}
	a.Cautions = lid.InOrder(said)
	if len(b.Measured) > 0 {
		return b.pairUp(a, known, own), nil
	}
	q := b.pots[0]
	spread := tiles.Millimetre(-1)
	if b.Gauge != nil {
		if spread = *q.ThrowSD; b.Gauge.SpreadSD != nil {
			spread = *b.Gauge.SpreadSD
		}
	}
	// the boards on which all sizes are judged, and the search on them
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
