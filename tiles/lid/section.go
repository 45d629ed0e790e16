package lid

import (
	"fmt"
	"math"
	"strings"

	"lidwright/tiles"
)

// Point lies on a cross-section through the middle of pot and lid: X across from the middle line,
// Y up from the top of the ledge (or of the rim), in mm.
type Point struct{ X, Y float64 }

// Shape is one closed outline of a section.
type Shape struct {
	Part    string // pot or lid
	Outline []Point
}

// Measure is one width on a section: from one point to another at the same height, and what is
// written on it.
type Measure struct {
	Name     string // collar, opening, lid, play, bearing
	From, To Point
	Text     string // "gallery, wall to wall 104.5 mm"
}

// Section is a cross-section of a pot's seat and its lid, to scale across: the widths are the ones
// that come out of the last firing, heights and walls are those of a usual pot and say nothing. The
// lid lies pushed to neither side.
type Section struct {
	Seat      Seat
	Shapes    []Shape
	Measures  []Measure
	Low, High Point  // corners of the box around all of it
	Says      string // all that the drawing shows, in words
}

// Heights and thicknesses of a drawn pot, mm.
const (
	drawnWall  = 6.0
	drawnDepth = 22.0 // of the pot's wall below the seat
	drawnRim   = 9.0  // of the collar above the ledge
	drawnLid   = 5.0
	drawnSkirt = 14.0
	drawnKnob  = 9.0
)

// Section draws an answered question, its texts with lengths in unit. Of a lid that is held back it
// draws the unrounded one.
func (a Answer) Section(unit tiles.LengthUnit) Section {
	q := a.Asked
	s := Section{Seat: q.Seat}
	collar, lid := float64(a.Fired.Collar), float64(a.Fired.Lid)
	opening := a.firedOpening()
	s.pot(collar, opening)
	s.lid(collar, lid, opening, math.Max(float64(a.Fired.Play), 0), float64(*q.Bearing))
	s.measure(a, unit, opening)
	s.Low, s.High = Point{math.Inf(1), math.Inf(1)}, Point{math.Inf(-1), math.Inf(-1)}
	grow := func(p Point) {
		s.Low = Point{math.Min(s.Low.X, p.X), math.Min(s.Low.Y, p.Y)}
		s.High = Point{math.Max(s.High.X, p.X), math.Max(s.High.Y, p.Y)}
	}
	for _, shape := range s.Shapes {
		for _, p := range shape.Outline {
			grow(p)
		}
	}
	for _, m := range s.Measures {
		grow(m.From)
		grow(m.To)
	}
	return s
}

// firedOpening is the opening after the last firing; of a gallery still to be thrown the one that
// the answer names; NaN where there is none.
func (a Answer) firedOpening() float64 {
	left := float64(a.Fired.Collar)
	switch {
	case a.Question == AskGallery && len(a.Also) > 0:
		size := a.Set
		if math.IsNaN(float64(size)) {
			size = a.Unrounded
		}
		return float64(a.Also[0].NotOver) * left / float64(size)
	case a.Asked.Opening == 0:
		return math.NaN()
	}
	widths, _ := a.Asked.directions(0)
	ruling := smallest(widths)
	if !a.Asked.Seat.lidInside() {
		ruling = largest(widths)
	}
	return float64(a.Asked.Opening) * left / widths[ruling]
}

// add closes a half outline (right of the middle line) into two mirrored shapes, or into one where
// it begins and ends on the middle line.
func (s *Section) add(part string, half ...Point) {
	mirrored := make([]Point, 0, 2*len(half))
	for i := len(half) - 1; i >= 0; i-- {
		mirrored = append(mirrored, Point{-half[i].X, half[i].Y})
	}
	if half[0].X == 0 && half[len(half)-1].X == 0 {
		s.Shapes = append(s.Shapes, Shape{part, append(half, mirrored[1:len(mirrored)-1]...)})
		return
	}
	s.Shapes = append(s.Shapes, Shape{part, half}, Shape{part, mirrored})
}

// pot draws the wall with what the lid lies on.
func (s *Section) pot(collar, opening float64) {
	c := collar / 2
	switch s.Seat {
	case Inset, DropIn:
		ledge := c - 0.06*collar // a ledge that nobody measured is drawn as a usual one
		if !math.IsNaN(opening) {
			ledge = opening / 2
		}
		s.add("pot", Point{ledge, 0}, Point{c, 0}, Point{c, drawnRim}, Point{c + drawnWall, drawnRim}, Point{c + drawnWall, -drawnDepth},
			Point{c, -drawnDepth}, Point{c, -drawnWall}, Point{ledge, -drawnWall})
	case Flange, Stopper:
		s.add("pot", Point{c, 0}, Point{c + drawnWall, 0}, Point{c + drawnWall, -drawnDepth}, Point{c, -drawnDepth})
	case Cap, Over:
		inside := c - drawnWall
		if !math.IsNaN(opening) {
			inside = opening / 2
		}
		s.add("pot", Point{inside, 0}, Point{c, 0}, Point{c, -drawnDepth}, Point{inside, -drawnDepth})
	}
}

// lid draws the lid with a knob, centred.
func (s *Section) lid(collar, lid, opening, play, bearing float64) {
	l, knob := lid/2, 0.07*lid
	top := drawnLid + drawnKnob
	head := []Point{{0, top}, {knob, top}, {knob, drawnLid}}
	hung := (opening - play) / 2 // what hangs into the opening
	if math.IsNaN(opening) {
		hung = 0.4 * lid
	}
	switch s.Seat {
	case Inset:
		head = append(head, Point{l, drawnLid}, Point{l, 0})
		if !math.IsNaN(opening) {
			head = append(head, Point{hung, 0}, Point{hung, -drawnWall})
		}
	case DropIn:
		head = append([]Point{{0, drawnLid - drawnSkirt}, {0.3 * lid, drawnLid - drawnSkirt}}, Point{hung - drawnLid, drawnLid}, Point{l, drawnLid}, Point{l, 0},
			Point{hung, 0}, Point{0.3 * lid, -drawnSkirt})
	case Flange:
		plate := collar/2 + play/2 + bearing + drawnWall/2
		head = append(head, Point{plate, drawnLid}, Point{plate, 0}, Point{l, 0}, Point{l, -drawnSkirt}, Point{l - drawnLid, -drawnSkirt}, Point{l - drawnLid, 0})
	case Stopper:
		head = append(head, Point{l + drawnWall/2, drawnLid}, Point{l, 0}, Point{0.92 * l, -drawnSkirt})
	case Cap, Over:
		head = append(head, Point{l + drawnLid, drawnLid}, Point{l + drawnLid, -drawnSkirt}, Point{l, -drawnSkirt}, Point{l, 0})
		if s.Seat == Over && !math.IsNaN(opening) {
			head = append(head, Point{hung, 0}, Point{hung, -drawnWall}, Point{hung - drawnLid, -drawnWall}, Point{hung - drawnLid, 0})
		}
	}
	head = append(head, Point{0, head[len(head)-1].Y})
	s.add("lid", head...)
}

// measure puts the numbers on, and says them.
func (s *Section) measure(a Answer, unit tiles.LengthUnit, opening float64) {
	q := a.Asked
	across := func(name string, width, y float64, text string) {
		s.Measures = append(s.Measures, Measure{name, Point{-width / 2, y}, Point{width / 2, y}, text})
	}
	said := func(name string, fired float64, measured tiles.Millimetre, stage tiles.Stage) string {
		if stage == tiles.Fired || math.IsNaN(float64(measured)) || measured == 0 {
			return fmt.Sprintf("%s %s", name, unit.Format(tiles.Millimetre(fired)))
		}
		return fmt.Sprintf("%s %s %s, %s fired", name, unit.Format(measured), stage, unit.Format(tiles.Millimetre(fired)))
	}
	collar, lid := tiles.Millimetre(math.NaN()), q.Lid
	if len(q.Collar) > 0 {
		widths, _ := q.directions(0)
		i := smallest(widths)
		if !q.Seat.lidInside() {
			i = largest(widths)
		}
		collar = tiles.Millimetre(widths[i])
	}
	switch a.Question {
	case AskWidth:
		if lid = a.Set; math.IsNaN(float64(lid)) {
			lid = a.Unrounded
		}
		if a.Trim != nil { // neither what is thrown nor what it is trimmed to is the wet width of the drawing
			lid = 0
		}
	case AskGallery:
		if collar = a.Set; math.IsNaN(float64(collar)) {
			collar = a.Unrounded
		}
	}
	above := drawnLid + drawnKnob + 4
	across("collar", float64(a.Fired.Collar), above+6, said(q.Seat.CollarName(), float64(a.Fired.Collar), collar, q.CollarStage))
	across("lid", float64(a.Fired.Lid), above, said(q.Seat.LidName(), float64(a.Fired.Lid), lid, q.LidStage))
	if !math.IsNaN(opening) {
		name := "ledge opening"
		if q.Seat == Over {
			name = "mouth"
		}
		across("opening", opening, -drawnDepth-4, said(name, opening, q.Opening, q.CollarStage))
	}
	edge := float64(min(a.Fired.Collar, a.Fired.Lid)) / 2
	play := Measure{"play", Point{edge, 2}, Point{edge + float64(a.Fired.Play)/2, 2}, fmt.Sprintf("play %s fired, across", unit.Format(a.Fired.Play))}
	s.Measures = append(s.Measures, play)
	var says []string
	for _, m := range s.Measures {
		says = append(says, m.Text)
	}
	if !math.IsNaN(float64(a.Fired.LeastBearing)) {
		says = append(says, fmt.Sprintf("bearing %s when pushed to one side", unit.Format(a.Fired.LeastBearing)))
	}
	s.Says = "Cross-section, widths to scale as fired. " + strings.ToUpper(says[0][:1]) + strings.Join(says, "; ")[1:] + "."
}
