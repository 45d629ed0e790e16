package detect

import (
	"math"
	"slices"

	"lidwright/kiln"
)

// UsualOf is how many of the last whole firings that belong to the usual one make it.
const UsualOf = 4

// The usual firing, all own choices.
const (
	usualFirst  = 3   // whole firings of a kind before there is a usual one
	usualWithin = 40  // °C from the usual one, within which a firing belongs to it
	soFarWithin = 100 // °C between those before it began, for a detector to go by their median
	rowWithin   = 15  // °C from the one before, within which firings beside the usual one make a row
	rowTold     = 2   // so many in a row beside the usual one are told
	rowMoves    = 4   // so many of them move it
)

// usualOf is the usual firing that the whole firings of one sort, oldest first, make. It begins with three of
// which two at least lie within 40 °C of their median; later firings within 40 °C of it belong to it, and it
// is the median of the last four that do. Others stand beside it, and move it only as a row of four. Until it
// begins a detector goes by those so far, and nothing is usual. Of is 0 where no firing has a heat work or a
// peak.
func usualOf(whole []kiln.Firing, control kiln.ChannelID) Expected {
	var u usual
	for _, f := range whole {
		u.take(f, heatOf(f, control))
	}
	switch {
	case len(u.of) > 0:
	case len(u.first) > 0:
		return expectedOf(u.soFar(), control)
	default:
		return Expected{Kind: whole[0].Kind, Atmosphere: whole[0].Atmosphere, HeatWork: kiln.NoTemperature(),
			Top: kiln.NoTemperature()}
	}
	e := expectedOf(u.of, control)
	e.Settled, e.Beside, e.Moved = true, slices.Clone(u.row), u.moved
	if last := whole[len(whole)-1]; len(u.row) > 0 {
		e.Last = heatOf(last, control)
	}
	return e
}

// usual is the usual firing while it is being found.
type usual struct {
	of    []kiln.Firing // that belong to it, at most the last four; none: it has not begun
	works []float64     // theirs, °C
	first []kiln.Firing // before it began, at most the last three
	begun []float64     // theirs
	row   []kiln.Firing // the last ones, that lie beside it and near one another
	rows  []float64     // theirs
	moved bool          // a row of four made it what it is, and no firing joined it since
}

func (u *usual) take(f kiln.Firing, c kiln.Celsius) {
	if !c.Known() {
		return
	}
	switch w := float64(c); {
	case len(u.of) == 0:
		u.first, u.begun = lastOf(append(u.first, f), usualFirst), lastOf(append(u.begun, w), usualFirst)
		u.begin()
	case math.Abs(w-kiln.Median(slices.Clone(u.works))) <= usualWithin:
		u.of, u.works = lastOf(append(u.of, f), UsualOf), lastOf(append(u.works, w), UsualOf)
		u.row, u.rows, u.moved = nil, nil, false
	default:
		if n := len(u.rows); n > 0 && math.Abs(w-u.rows[n-1]) > rowWithin {
			u.row, u.rows = nil, nil
		}
		u.row, u.rows = append(u.row, f), append(u.rows, w)
		if len(u.row) == rowMoves {
			u.of, u.works, u.row, u.rows, u.moved = u.row, u.rows, nil, nil, true
		}
	}
}

// begin makes a usual firing of the last three, where two of them at least agree.
func (u *usual) begin() {
	if len(u.first) < usualFirst {
		return
	}
	middle := kiln.Median(slices.Clone(u.begun))
	var of []kiln.Firing
	var works []float64
	for i, w := range u.begun {
		if math.Abs(w-middle) <= usualWithin {
			of, works = append(of, u.first[i]), append(works, w)
		}
	}
	if len(of) >= 2 {
		u.of, u.works = of, works
	}
}

// soFar are the firings before there is a usual one that a detector goes by: all, or the hottest where they
// do not agree.
func (u *usual) soFar() []kiln.Firing {
	hottest := slices.Index(u.begun, slices.Max(u.begun))
	if u.begun[hottest]-slices.Min(u.begun) > soFarWithin {
		return u.first[hottest : hottest+1]
	}
	return u.first
}

// heatOf is what firings are compared by: the heat work, of one without any the peak.
func heatOf(f kiln.Firing, control kiln.ChannelID) kiln.Celsius {
	if w, ok := f.Work(control); ok && w.C.Known() {
		return w.C
	}
	return f.Peak
}

func lastOf[T any](list []T, n int) []T { return list[max(0, len(list)-n):] }

// MovesAfter is how many more firings like the last ones move the usual one, where those lie beside it and
// near one another; 0 where they are no row.
func (e Expected) MovesAfter() int {
	if len(e.Beside) < rowTold {
		return 0
	}
	return rowMoves - len(e.Beside)
}

// UsualOf gives the usual firing of a kind, where one has begun.
func (p Past) UsualOf(kind kiln.Kind, atmosphere kiln.Atmosphere) (found Expected, ok bool) {
	for _, e := range p.Usual {
		switch {
		case e.Kind != kind || !e.Settled:
		case e.Atmosphere == atmosphere:
			return e, true
		case !ok:
			found, ok = e, true
		}
	}
	return found, ok
}
