package detect

import (
	"math"
	"slices"
	"time"

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
func usualOf(whole []kiln.Firing, control kiln.ChannelID, anew []time.Time) Expected {
	var u usual
	for _, f := range whole {
		// "new" makes the row before it the usual one
		for len(anew) > 0 && f.Began.Wall.After(anew[0]) {
			u.renew()
			anew = anew[1:]
		}
		u.take(f, heatOf(f, control))
	}
	if len(anew) > 0 {
		u.renew()
	}
	// settled; or a few so far, from which a detector takes what it can; or nothing
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

// UsualSaid is what a person said of the usual firing of a kind and atmosphere.
type UsualSaid struct {
	Kind       kiln.Kind       // with Atmosphere, the sort that it is about
	Atmosphere kiln.Atmosphere // with Kind
	What       string          // pin, release, new, second
	Name       string          // of a second one; "" of the first
	HeatWork   kiln.Celsius    // of pin and second
	At         time.Time       // a "new" counts for the firings begun after it
}

// sort is what a usual firing is of.
type sort struct {
	kind       kiln.Kind
	atmosphere kiln.Atmosphere
}

// usuals are the usual firings of a sort, the first one and those that people gave a name, of its whole
// firings, oldest first.
func (s sort) usuals(whole []kiln.Firing, control kiln.ChannelID, said []UsualSaid) []Expected {
	var anew []time.Time
	var seconds []UsualSaid
	pinned := kiln.NoTemperature()
	// what was said last holds: a pin until it is released, each second one by its name
	for _, u := range said {
		if u.Kind != s.kind || u.Atmosphere != s.atmosphere {
			continue
		}
		switch u.What {
		case "new":
			anew = append(anew, u.At)
		case "pin":
			pinned = u.HeatWork
		case "second":
			seconds = append(slices.DeleteFunc(seconds, func(o UsualSaid) bool { return o.Name == u.Name }),
				u)
		case "release":
			if seconds = slices.DeleteFunc(seconds,
				func(o UsualSaid) bool { return o.Name == u.Name }); u.Name == "" {
				pinned = kiln.NoTemperature()
			}
		}
	}
	// firings go to the usual one that they are nearest to
	first, of := s.parted(whole, control, seconds, pinned)
	e := Expected{Kind: s.kind, Atmosphere: s.atmosphere, HeatWork: kiln.NoTemperature(),
		Top: kiln.NoTemperature()}
	if len(first) > 0 {
		e = usualOf(first, control, anew)
	}
	if pinned.Known() {
		e = e.pin(pinned, first, control)
	}
	out := []Expected{e}
	for i, u := range seconds {
		e := Expected{Kind: s.kind, Atmosphere: s.atmosphere, Top: kiln.NoTemperature()}
		if len(of[i]) > 0 {
			e = expectedOf(lastOf(of[i], UsualOf), control)
		}
		e = e.pin(u.HeatWork, of[i], control)
		e.Name = u.Name
		out = append(out, e)
	}
	return out
}

// parted are the firings of the first usual one, and those of each second: within 40 °C of it, and nearer to
// it than to what was usual when it was said.
func (s sort) parted(whole []kiln.Firing, control kiln.ChannelID, seconds []UsualSaid,
	pinned kiln.Celsius) (first []kiln.Firing, of [][]kiln.Firing) {
	of = make([][]kiln.Firing, len(seconds))
	for _, f := range whole {
		// nearest of the seconds within 40 °C, unless the first usual one, pinned or as it was then, is
		// nearer
		w, at, apart := heatOf(f, control), -1, kiln.Celsius(usualWithin)
		for i, u := range seconds {
			middle := pinned
			if !middle.Known() {
				middle = s.before(whole, control, u.At)
			}
			d := max(w-u.HeatWork, u.HeatWork-w)
			if d <= apart && !(max(w-middle, middle-w) <= d) {
				at, apart = i, d
			}
		}
		if at < 0 {
			first = append(first, f)
		} else {
			of[at] = append(of[at], f)
		}
	}
	return first, of
}

// before is the heat work that was usual at a moment; NaN where nothing was.
func (s sort) before(whole []kiln.Firing, control kiln.ChannelID, at time.Time) kiln.Celsius {
	n := 0
	for n < len(whole) && whole[n].Began.Wall.Before(at) {
		n++
	}
	if n == 0 {
		return kiln.NoTemperature()
	}
	if e := usualOf(whole[:n], control, nil); e.Settled {
		return e.HeatWork
	}
	return kiln.NoTemperature()
}

// pin is e with the heat work that was said by hand, whatever was fired.
func (e Expected) pin(at kiln.Celsius, whole []kiln.Firing, control kiln.ChannelID) Expected {
	e.Settled, e.Pinned, e.HeatWork, e.Moved, e.Beside, e.Last = true, true, at, false, nil, 0
	// only firings that belong to what was said tell how much it varies
	e.Works = slices.DeleteFunc(slices.Clone(e.Works), func(w float64) bool {
		return math.Abs(w-float64(at)) > usualWithin
	})
	if n := len(whole); n > 0 {
		if last := heatOf(whole[n-1], control); max(last-at, at-last) > usualWithin {
			e.Last = last
		}
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

// take adds the next firing by its heat work, °C; one without is passed over. Near the usual one it
// belongs to it and ends a row; beside it, it continues or begins a row, and four in a row are the new
// usual one.
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

// renew makes the last firings, which lie beside the usual one, the usual ones.
func (u *usual) renew() {
	if len(u.row) > 0 {
		u.of, u.works, u.row, u.rows, u.moved = u.row, u.rows, nil, nil, false
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

// lastOf is the last n of a list, all where it is shorter.
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
		case e.Kind != kind || e.Name != "" || !e.Settled:
		case e.Atmosphere == atmosphere:
			return e, true
		case !ok:
			found, ok = e, true
		}
	}
	return found, ok
}
