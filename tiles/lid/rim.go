package lid

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"

	"lidwright/kiln/message"
	"lidwright/tiles"
)

// TurnedRim is a lid thrown as a small bowl: its width before the rim is turned out into a flange, and after
// (common practice, no source). Both wet.
// across
type TurnedRim struct{ Before, After tiles.Millimetre }

// Rim is by how much a maker's bowls of one form grow when their rims are turned out.
type Rim struct {
	Grows tiles.LogPercent // mean
	SD    tiles.LogPercent // of the next one
	Pairs int              // that it was learned from; 0: nothing is known
}

const (
	rimSD     = 1.0 // log-percent, of one turned rim before any pair was seen (own)
	rimWeight = 4   // pairs' worth of belief in it (own)
)

// LearnRim learns from pairs; with none it knows nothing.
func LearnRim(pairs []TurnedRim) Rim {
	r := Rim{Pairs: len(pairs)}
	if r.Pairs == 0 {
		return r
	}
	n := float64(r.Pairs)
	grew := make([]float64, 0, r.Pairs)
	var mean float64
	for _, p := range pairs {
		g := 100 * math.Log(float64(p.After/p.Before))
		grew, mean = append(grew, g), mean+g/n
	}
	squares := rimWeight * square(rimSD)
	for _, g := range grew {
		squares += square(g - mean)
	}
	r.Grows = tiles.LogPercent(mean)
	r.SD = tiles.LogPercent(math.Sqrt(squares / (rimWeight + n - 1) * (1 + 1/n)))
	return r
}

// Bowl is what to throw before the rim is turned out.
type Bowl struct {
	Before tiles.Millimetre    // on the step
	Comes  tiles.Millimetre    // width that it comes to
	Likely [2]tiles.Millimetre // of that width
	Pairs  int                 // that this was learned from
}

// Says is what to throw, in one line.
func (b Bowl) Says(unit tiles.LengthUnit) message.Message {
	return message.New("Throw the bowl to {1}; turned out it comes to {2}, likely {3} to {4}. Check, and correct.",
		unit.Of(b.Before), unit.Of(b.Comes), unit.Of(b.Likely[0]), unit.Of(b.Likely[1]))
}

// bowlFor is the bowl whose rim comes to width; nil where nothing was learned.
func (r Rim) bowlFor(width tiles.Millimetre, step float64) *Bowl {
	if r.Pairs == 0 || math.IsNaN(float64(width)) {
		return nil
	}
	grows := math.Exp(float64(r.Grows) / 100)
	before := float64(width) / grows
	if step > 0 {
		before = math.Round(before/step) * step
	}
	t := distuv.StudentsT{Sigma: 1, Nu: float64(rimWeight +
		r.Pairs - 1)}.Quantile((1 + tiles.LikelyLevel) / 2)
	half := t * float64(r.SD) / 100
	comes := before * grows
	mm := func(x float64) tiles.Millimetre { return tiles.Millimetre(x) }
	return &Bowl{mm(before), mm(comes), [2]tiles.Millimetre{mm(comes * math.Exp(-half)),
		mm(comes * math.Exp(half))}, r.Pairs}
}
