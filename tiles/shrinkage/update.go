package shrinkage

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"lidwright/tiles"
	"lidwright/tiles/mixedmodel"
)

// With is the fit after one bar changed: a new bar, a new reading, a struck or confirmed
// one, a flag. b is the bar as it is now. Sds, slopes and maturing points stay as they are
// until the next Fit; means and ranges are what solving anew with them would give. Where the
// change cannot be worked in (a clay that is not listed, two loads that met for the first
// time, a third bar of known heat where others count at an assumed one) it says so, and Fit must be called.
func (f *Fit) With(b tiles.Bar) (*Fit, error) {
	g, err := f.with(b)
	if err == nil && g.assumedSteps(f, b.Clay) {
		return nil, fmt.Errorf("shrink update: the heats assumed of %s: %w", b.Clay, mixedmodel.ErrAnew)
	}
	return g, err
}

// with is With, whatever becomes of assumed heats.
func (f *Fit) with(b tiles.Bar) (*Fit, error) {
	if f.clay(b.Clay) == nil {
		return nil, fmt.Errorf("shrink update: bar %s is of clay %q, which is not in the fit: %w", b.Code,
			b.Clay, mixedmodel.ErrAnew)
	}
	g := *f
	order := func(x, y tiles.Bar) int { return cmp.Or(cmp.Compare(x.ID, y.ID), cmp.Compare(x.Code, y.Code)) }
	// the bar in its place among the others
	at, known := slices.BinarySearchFunc(f.studio.Bars, b, order)
	g.studio.Bars = slices.Clone(f.studio.Bars)
	f.assume(&b)
	var was tiles.Bar
	if known {
		was, g.studio.Bars[at] = f.studio.Bars[at], b
	} else {
		g.studio.Bars = slices.Insert(g.studio.Bars, at, b)
	}
	g.recountKnown(was, b)
	g.left = slices.DeleteFunc(slices.Clone(f.left), func(l LeftOut) bool { return l.Bar == b.Code })
	// its sheet as it is now, the one before taken out of the solution
	now, left := g.sheet(&g.studio.Bars[at], "")
	g.left = append(g.left, left...)

	var change mixedmodel.Change
	change.Columns = g.growColumns(now)
	g.sheets = slices.Clone(f.sheets)
	touched := map[string]bool{}
	var old *sheet
	place, found := slices.BinarySearchFunc(f.sheets, b, func(s *sheet, b tiles.Bar) int {
		return order(*s.bar, b)
	})
	if found {
		old = f.sheets[place]
		change.Take = f.blocks([]*sheet{old})
		touched[old.cell()] = true
		g.sheets = slices.Delete(g.sheets, place, place+1)
		now.keepSlips(old)
	}
	if now != nil {
		g.nameSlips(f, old, now)
		change.Give = g.blocks([]*sheet{now})
		touched[now.cell()] = true
		g.sheets = slices.Insert(g.sheets, place, now)
	}
	// cells that neither touches stay as they were
	change.Blocks, g.keys = g.recell(touched)
	solved, err := f.solved.With(change)
	if err != nil {
		return nil, fmt.Errorf("shrink update: %w", err)
	}
	g.solved = solved
	g.clays = make([]*clayCurve, len(f.clays))
	for i, k := range f.clays {
		c := *k
		g.clays[i] = &c
	}
	g.takeCoefficients()
	g.conclude()
	return &g, nil
}

// cell is the key of the cell that s falls into: a bar with a slip has one of its own.
func (s *sheet) cell() string {
	if s.weight != nil {
		return s.key + "|slip " + s.bar.ID + string(s.bar.Code)
	}
	return s.key
}

// growColumns adds the columns that a sheet is the first to name, and lists them.
func (f *equations) growColumns(s *sheet) []mixedmodel.Column {
	if s == nil {
		return nil
	}
	extra := map[column]float64{}
	var fresh []column
	for _, n := range s.names(extra) {
		if _, known := f.columns.place[n]; !known {
			fresh = include(fresh, n)
		}
	}
	if len(fresh) == 0 {
		return nil
	}
	c := columns{list: slices.Clone(f.columns.list),
		place: make(map[column]int, len(f.columns.place)+len(fresh))}
	for n, at := range f.columns.place {
		c.place[n] = at
	}
	for _, n := range fresh {
		as := f.columnOf(n, extra[n])
		as.Lone = false
		c.add(n, as)
	}
	grown := c.list[len(f.columns.list):]
	f.columns = c
	return grown
}

// keepSlips takes over the weights of readings that had slipped.
func (s *sheet) keepSlips(old *sheet) {
	if s == nil || old.weight == nil {
		return
	}
	for i, l := range old.lines {
		if !old.slipped(i) {
			continue
		}
		for j, m := range s.lines {
			if slices.ContainsFunc(m.repeats, func(r *tiles.Reading) bool {
				return slices.ContainsFunc(l.repeats, func(o *tiles.Reading) bool { return o.ID == r.ID })
			}) {
				s.slip(j, old.weight[i])
			}
		}
	}
}

// slip gives a line the weight of a slip, all others 1.
func (s *sheet) slip(i int, weight float64) {
	if s.weight == nil {
		s.weight = make([]float64, len(s.lines))
		for j := range s.weight {
			s.weight[j] = 1
		}
	}
	s.weight[i] = weight
}

// slipAway is how many sds off a reading that comes alone is a slip.
const slipAway = 6.1

// nameSlips names a new reading of a changed bar that is far from what the others and the
// fit before it expect. A column that is new is not known there; such a reading waits for
// the next Fit.
func (f *equations) nameSlips(before *Fit, old, s *sheet) {
	for i, l := range s.lines {
		known := old != nil && slices.ContainsFunc(old.lines, func(o line) bool { return o.has(l.reading) })
		if known || len(l.repeats) > 1 || s.slipped(i) || len(f.columns.list) > len(before.columns.list) {
			continue
		}
		mean, sd, ok := before.expectLine(s, i)
		if ok && math.Abs(-100*math.Log(l.length)-mean) > slipAway*sd {
			s.slip(i, 0.01)
			return
		}
	}
}

// recell lists the blocks as they are now: cells that were not touched stay.
func (f *equations) recell(touched map[string]bool) ([]*mixedmodel.Block, []string) {
	// the sheets of the cells that changed
	members := map[string][]*sheet{}
	for _, s := range f.sheets {
		if c := s.cell(); touched[c] {
			members[c] = append(members[c], s)
		}
	}
	var blocks []*mixedmodel.Block
	var keys []string
	gather := func(key string) {
		if list := members[key]; len(list) > 0 {
			same := make([]string, len(list))
			blocks, keys = append(blocks, mixedmodel.Gather(f.blocks(list), same)...), append(keys, key)
		}
		delete(members, key)
	}
	for i, b := range f.solved.Blocks() {
		if touched[f.keys[i]] {
			gather(f.keys[i])
			continue
		}
		blocks, keys = append(blocks, b), append(keys, f.keys[i])
	}
	for _, s := range f.sheets { // cells that are new
		if c := s.cell(); members[c] != nil {
			gather(c)
		}
	}
	return blocks, keys
}
