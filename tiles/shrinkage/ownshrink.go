package shrinkage

import (
	"math"

	"lidwright/tiles"
)

// Seen is p with the shrink of one of its parts (0 body, 1 lid) measured on that part itself: was is what it
// lost from the stage asked about to fired, sd how true that is. What both parts share of the rate and the
// batch moves the other one; what each has for itself does not. The part that was seen has nothing left to
// lose.
func (p Pair) Seen(part int, was, sd tiles.LogPercent) Pair {
	other := 1 - part
	causes := []*Spread2{&p.Rate, &p.Batch, &p.Load, &p.Position, &p.Piece, &p.Gone}
	var own, both float64
	for _, s := range causes {
		own += s[part][part]
		both += s[0][1]
	}
	all := own + square(float64(sd))
	if all > 0 {
		p.R[other] += tiles.LogPercent(both / all * float64(was-p.R[part]))
	}
	p.R[part] = 0
	for _, s := range causes {
		v := s[other][other]
		if all > 0 {
			v = max(v-both*s[0][1]/all, 0)
		}
		*s = Spread2{}
		s[other][other] = v
	}
	return p
}

// ShrinkOf is what a piece lost from the widths was to the widths now, each the mean of several directions or
// one, and how true that is where one reading of them is good to sdWas and sdNow.
func ShrinkOf(was, now []tiles.Millimetre, sdWas, sdNow tiles.Millimetre) (lost, sd tiles.LogPercent) {
	mean := func(v []tiles.Millimetre) (m float64) {
		for _, l := range v {
			m += float64(l) / float64(len(v))
		}
		return m
	}
	a, b := mean(was), mean(now)
	v := square(100*float64(sdWas)/a)/float64(len(was)) + square(100*float64(sdNow)/b)/float64(len(now))
	return tiles.LogPercent(100 * math.Log(a/b)), tiles.LogPercent(math.Sqrt(v))
}
