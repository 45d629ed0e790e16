package lid

import (
	"fmt"
	"math"

	"lidwright/kiln/message"
	"lidwright/tiles"
	"lidwright/tiles/shrinkage"
)

// Nested is one pot of a set that stands in the next larger one.
type Nested struct {
	Outside tiles.Millimetre // largest outside, at the set's stage
	Inside  tiles.Millimetre // inside at the height where the smaller one stands
}

// NestGap is the room between two neighbours of a set, fired, across: the mean, and the worst of
// the likely range.
type NestGap struct {
	Inner, Outer int              // places in the set, from 0
	Play, Worst  tiles.Millimetre // mean, and the low end of the likely range; below 0: it does not go in
	Fits         float64          // chance that there is room at all
}

// Nest tells how the pots of a set, from the smallest to the largest, stand in one another after
// firing. p holds the shrink of the inner as body and of the outer as lid: one clay and load share
// what they share. sd is that of one measurement. The error is InvalidFields.
func Nest(set []Nested, p shrinkage.Pair, sd tiles.Millimetre) ([]NestGap, error) {
	var f tiles.Faults
	if len(set) < 2 {
		f.Add(tiles.Missing, "set", "is needed: two pots or more, the smallest first")
	}
	for i, s := range set {
		f.PieceOf(fmt.Sprintf("set[%d].outside_mm", i), s.Outside, "pot")
		f.PieceOf(fmt.Sprintf("set[%d].inside_mm", i), s.Inside, "pot")
		if s.Inside >= s.Outside {
			f.Add(tiles.OutOfRange, fmt.Sprintf("set[%d].inside_mm", i),
				"not smaller than outside_mm: were they swapped?")
		}
		if i > 0 && s.Inside <= set[i-1].Outside {
			f.Add(tiles.OutOfRange, fmt.Sprintf("set[%d].inside_mm", i),
				"cannot nest: the pot before it is {1} outside", tiles.MM.Of(set[i-1].Outside))
		}
	}
	if err := f.Err(); err != nil {
		return nil, err
	}
	// inner as body, outer as lid: their difference is the room
	left := [2]float64{math.Exp(-float64(p.R[0]) / 100), math.Exp(-float64(p.R[1]) / 100)}
	var gaps []NestGap
	for i := 1; i < len(set); i++ {
		inner, outer := float64(set[i-1].Outside)*left[0], float64(set[i].Inside)*left[1]
		v := variance{known: square(left[0]*float64(sd)) + square(left[1]*float64(sd))}
		for _, s := range []shrinkage.Spread2{p.Rate, p.Batch, p.Load, p.Position, p.Piece, p.Gone} {
			v.fitted += (inner*inner*s[0][0] + outer*outer*s[1][1] - 2*inner*outer*s[0][1]) / 1e4
		}
		play := outer - inner
		fits := fitProbability{least: 0, most: math.Inf(1), bound: bound{at: math.Inf(1)},
			scales: fitScales(p.Nu)}
		gaps = append(gaps, NestGap{Inner: i - 1, Outer: i, Play: tiles.Millimetre(play),
			Worst: tiles.Millimetre(play - fits.likelyHalf(v, tiles.LikelyLevel)), Fits: fits.one(play, v)})
	}
	return gaps, nil
}

// Shared is one lid on several pots, fired: the widest and the narrowest pot decide.
type Shared struct {
	Least, Most tiles.Millimetre    // play on the tightest and on the loosest pot
	Window      [2]tiles.Millimetre // least and most play of a good lid of that size
	// by how much the galleries may differ, as measured, for one lid to fit all
	Spread tiles.Millimetre
}

// Fits reports whether the lid fits every pot of the set.
func (s Shared) Fits() bool { return s.Least >= s.Window[0] && s.Most <= s.Window[1] }

// Says is s in words, lengths in unit.
func (s Shared) Says(unit tiles.LengthUnit) message.Message {
	switch {
	case s.Most-s.Least > s.Window[1]-s.Window[0]:
		return message.New("No one lid fits them all: their galleries differ by more than {1}.",
			unit.Of(s.Spread))
	case s.Least < s.Window[0]:
		return message.New("Too big for the tightest pot: play {1}, at least {2} is needed.",
			unit.Of(s.Least),
			unit.Of(s.Window[0]))
	case s.Most > s.Window[1]:
		return message.New("Too small for the loosest pot: play {1}, at most {2} is good.", unit.Of(s.Most),
			unit.Of(s.Window[1]))
	}
	return message.New("It fits every pot: play {1} on the tightest, {2} on the loosest.", unit.Of(s.Least),
		unit.Of(s.Most))
}

// ShareLid works out one lid for several pots. pots are collars and lid the lid's width, as
// measured; seat tells which is inside.
func ShareLid(seat Seat, pots []tiles.Millimetre, lid tiles.Millimetre, p shrinkage.Pair, d Defaults) Shared {
	body, l := tiles.Millimetre(math.Exp(-float64(p.R[0])/100)),
		lid*tiles.Millimetre(math.Exp(-float64(p.R[1])/100))
	s := Shared{Least: tiles.Millimetre(math.Inf(1)), Most: tiles.Millimetre(math.Inf(-1))}
	inner := tiles.Millimetre(math.Inf(1)) // fired width of the narrowest pot
	for _, c := range pots {
		play := c*body - l
		if !seat.lidInside() {
			play = -play
		}
		s.Least, s.Most, inner = min(s.Least, play), max(s.Most, play), min(inner, c*body)
	}
	s.Window[0], s.Window[1] = d.Windows[seat].At(inner)
	s.Spread = (s.Window[1] - s.Window[0]) / body
	return s
}

// Scale is a whole form made larger or smaller: every length times the cube root of the ratio of
// capacities. Both capacities are fired, to the fill line; the error is an *Invalid.
func Scale(lengths []tiles.Millimetre, was, wanted float64) ([]tiles.Millimetre, error) {
	for _, c := range []struct {
		field string
		ml    float64
	}{{"was_ml", was}, {"fired_ml", wanted}} {
		if !(c.ml >= leastCapacity && c.ml <= mostCapacity) {
			return nil, &tiles.Invalid{Field: c.field, Type: tiles.OutOfRange,
				Why: message.New("is {1}, must be 1 to 1000000 ml", tiles.Decimal(c.ml))}
		}
	}
	by := tiles.Millimetre(math.Cbrt(wanted / was))
	scaled := make([]tiles.Millimetre, len(lengths))
	for i, l := range lengths {
		scaled[i] = l * by
	}
	return scaled, nil
}
