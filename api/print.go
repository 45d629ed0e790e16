package api

import (
	"fmt"
	"html"
	"math"
	"strings"

	"lidwright/api/caution"
)

// Prints to scale are drawn in millimetres on a sheet of A4 laid across: one unit of the drawing
// is one millimetre of the paper. Each carries a square of 50 mm to hold a rule against.
const (
	sheetWide  = 297.0
	sheetHigh  = 210.0
	sheetEdge  = 12.0 // that no printer need reach
	checkMM    = 50.0
	widestTrue = sheetWide - 2*sheetEdge
)

// sheet is one print to scale under the pen.
type sheet struct{ strings.Builder }

func newSheet(says string) *sheet {
	s := &sheet{}
	fmt.Fprintf(s, `<svg xmlns="http://www.w3.org/2000/svg" class="true" width="%gmm" height="%gmm" viewBox="0 0 %g %g" role="img" aria-label="%s" font-family="Georgia, serif" font-size="4">`,
		sheetWide, sheetHigh, sheetWide, sheetHigh, html.EscapeString(says))
	return s
}

// line draws an outline or a line; closed ones are for cutting out.
func (s *sheet) line(d string) {
	fmt.Fprintf(s, `<path d="%s" fill="none" stroke="#000" stroke-width="0.25"/>`, d)
}

func (s *sheet) write(x, y float64, anchor, text string) {
	fmt.Fprintf(s, `<text x="%.3f" y="%.3f" text-anchor="%s">%s</text>`, x, y, anchor, html.EscapeString(text))
}

// check draws the square of 50 mm, and what to do with it.
func (s *sheet) check(x, y float64) {
	fmt.Fprintf(s, `<rect class="check" x="%g" y="%g" width="%g" height="%g" fill="none" stroke="#000" stroke-width="0.25"/>`, x, y, checkMM, checkMM)
	s.write(x+checkMM/2, y+checkMM/2-2, "middle", "50 mm each way")
	for i, text := range []string{"Hold a rule against this square first. If it is not 50 mm each way,", "print again at 100 %, \"actual size\", without fitting to the page."} {
		s.write(x+checkMM+5, y+checkMM-8+6*float64(i), "start", text)
	}
}

// foot closes the sheet with what it is, and what our numbers are not.
func (s *sheet) foot(says string) {
	s.write(sheetEdge, sheetHigh-sheetEdge-6, "start", says)
	// Small, or it is wider than the sheet.
	fmt.Fprintf(s, `<text x="%g" y="%g" font-size="3">%s</text>`, sheetEdge, sheetHigh-sheetEdge, html.EscapeString(caution.Text(caution.NotFoodSafe)))
}

func (s *sheet) end() string {
	s.WriteString(`</svg>`)
	return s.String()
}

// gauge is what a throwing gauge is cut to: widths at the stage thrown, mm. An opening of 0 leaves
// its step out, a lid of 0 the fork.
type gauge struct {
	Title, Foot          string
	Collar, Opening, Lid float64
}

// SVG draws a plug for the gallery, its step for the ledge opening, and a fork for the lid. What is
// wider than the sheet is drawn as one half from its middle line.
func (g gauge) SVG() string {
	s := newSheet(g.Title)
	s.write(sheetEdge, sheetEdge+4, "start", g.Title)
	half := math.Max(g.Collar, g.Lid+30) > widestTrue
	middle := sheetWide / 2
	if half {
		middle = sheetEdge
		s.write(sheetEdge, sheetEdge+10, "start", "Half of each: the left edge is the middle line.")
	}
	left := func(w float64) float64 {
		if half {
			return middle
		}
		return middle - w/2
	}
	right := func(w float64) float64 { return middle + w/2 }
	const top, collarHigh, stepHigh = 28.0, 16.0, 14.0
	if g.Opening > 0 {
		s.line(fmt.Sprintf("M%.3f %.3fH%.3fV%.3fH%.3fV%.3fH%.3fV%.3fH%.3fZ", left(g.Collar), top, right(g.Collar), top+collarHigh, right(g.Opening), top+collarHigh+stepHigh,
			left(g.Opening), top+collarHigh, left(g.Collar)))
		s.write(left(g.Opening)+4, top+collarHigh+stepHigh-4, "start", fmt.Sprintf("ledge opening %.1f mm", g.Opening))
	} else {
		s.line(fmt.Sprintf("M%.3f %.3fH%.3fV%.3fH%.3fZ", left(g.Collar), top, right(g.Collar), top+collarHigh, left(g.Collar)))
	}
	s.write(left(g.Collar)+4, top+6, "start", fmt.Sprintf("gallery %.1f mm", g.Collar))
	if g.Lid > 0 {
		const fork, back, jaw, arm = 72.0, 16.0, 20.0, 15.0
		outer := g.Lid + 2*arm
		if half {
			s.line(fmt.Sprintf("M%.3f %.3fH%.3fV%.3fH%.3fV%.3fH%.3fZ", middle, fork, right(outer), fork+back+jaw, right(g.Lid), fork+back, middle))
		} else {
			s.line(fmt.Sprintf("M%.3f %.3fH%.3fV%.3fH%.3fV%.3fH%.3fV%.3fH%.3fZ", left(outer), fork, right(outer), fork+back+jaw, right(g.Lid), fork+back, left(g.Lid), fork+back+jaw, left(outer)))
		}
		s.write(left(g.Lid)+4, fork+back-5, "start", fmt.Sprintf("lid %.1f mm between the jaws", g.Lid))
	}
	s.check(sheetEdge, sheetHigh-sheetEdge-checkMM-14)
	s.foot(g.Foot)
	return s.end()
}

// shrinkRule is a rule that reads fired millimetres on unfired clay.
type shrinkRule struct {
	Title, Foot string
	Times       float64 // unfired length of a fired length of 1
}

// SVG draws it as long as the sheet allows, a stroke a fired millimetre.
func (r shrinkRule) SVG() string {
	s := newSheet(r.Title)
	s.write(sheetEdge, sheetEdge+4, "start", r.Title)
	const top, high = 40.0, 30.0
	longest := math.Floor((widestTrue - 4) / r.Times / 10)
	x := func(fired float64) float64 { return sheetEdge + 2 + fired*r.Times }
	s.line(fmt.Sprintf("M%.3f %.3fH%.3fV%.3fH%.3fZ", sheetEdge, top, x(10*longest)+2, top+high, sheetEdge))
	var strokes strings.Builder
	for n := 0; float64(n) <= 10*longest; n++ {
		length := 5.0
		switch {
		case n%10 == 0:
			length = 12
		case n%5 == 0:
			length = 8
		}
		fmt.Fprintf(&strokes, "M%.3f %.3fv%g", x(float64(n)), top, length)
		if n%10 == 0 {
			s.write(x(float64(n)), top+17, "middle", fmt.Sprint(n))
		}
	}
	fmt.Fprintf(s, `<path class="strokes" d="%s" fill="none" stroke="#000" stroke-width="0.2"/>`, strokes.String())
	s.write(sheetEdge+4, top+high-4, "start", "fired mm, read on the wet clay")
	s.check(sheetEdge, sheetHigh-sheetEdge-checkMM-14)
	s.foot(r.Foot)
	return s.end()
}
