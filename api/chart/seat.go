package chart

import (
	"fmt"
	"html"
	"math"
	"strings"

	"lidwright/tiles"
	"lidwright/tiles/lid"
)

// Seat draws a pot's rim and its lid cut through, widths to scale to one another, for figures and fields to
// stand on. Heights, walls and knobs are those of a usual pot and say nothing. A width of 0 is not known: a
// usual one is drawn.
type Seat struct {
	Seat                 lid.Seat
	Collar, Opening, Lid tiles.Millimetre
	Says                 string            // what it shows, in words
	Texts                map[string]string // on paper, what stands at a width: collar, opening, lid
}

// SeatWidth and seatHeight are the size of the drawing; it is shown at any.
const (
	SeatWidth  = 358
	seatHeight = 222
	seatMiddle = SeatWidth / 2
)

// heights at which the dimension lines of a seat lie; 0: it has none.
type seatHeights struct{ collar, opening, lid float64 }

// at are the heights of a seat's dimension lines.
func (d Seat) at() seatHeights {
	switch d.Seat {
	case lid.Flange, lid.Cap:
		return seatHeights{collar: 122, lid: 72}
	case lid.Stopper:
		return seatHeights{collar: 122, lid: 62}
	case lid.Over:
		return seatHeights{collar: 122, opening: 194, lid: 78}
	}
	return seatHeights{collar: 26, opening: 194, lid: 78}
}

// At is the height at which the figure of a width stands, px from the top of the drawing: collar, opening,
// lid. It is 0 where the seat has no such width.
func (d Seat) At(name string) int {
	at := d.at()
	return int(map[string]float64{"collar": at.collar, "opening": at.opening, "lid": at.lid}[name])
}

// halves are half the widths as they are drawn, in px from the middle.
func (d Seat) halves() (collar, opening, width float64) {
	collar = map[lid.Seat]float64{lid.Inset: 143, lid.DropIn: 143, lid.Flange: 112,
		lid.Cap: 116, lid.Over: 136,
		lid.Stopper: 92}[d.Seat]
	usual, low, high := 0.98, 0.93, 0.994
	if d.Seat == lid.Cap || d.Seat == lid.Over {
		usual, low, high = 1.02, 1.006, 1.07
	}
	share := func(l tiles.Millimetre, usual, low, high float64) float64 {
		if !(l > 0) || !(d.Collar > 0) || math.IsNaN(float64(l/d.Collar)) {
			return usual
		}
		return min(max(float64(l/d.Collar), low), high)
	}
	return collar, collar * share(d.Opening, 0.885, 0.7, 0.95), collar * share(d.Lid, usual, low, high)
}

// SVG is the drawing.
func (d Seat) SVG() string {
	c, o, l := d.halves()
	pot, cover := d.outlines(c, o, l)
	at := d.at()
	var b strings.Builder
	fmt.Fprintf(&b, `<svg viewBox="0 0 %d %d" role="img" aria-label="%s">`, SeatWidth, seatHeight,
		html.EscapeString(d.Says))
	half := func(class, path string) {
		fmt.Fprintf(&b, `<g class="%s"><path d="%s"/><path transform="translate(%d) scale(-1 1)" d="%s"/></g>`,
			class, path, SeatWidth, path)
	}
	half("pot", pot)
	half("cover", cover)
	free := func(name string) float64 { // for a text; a field of a form covers the line by itself
		if text := d.Texts[name]; text != "" {
			return textWidth(text, false)/2 + 6
		}
		return 0
	}
	rim := 142.0 // where the gallery's own dimension lines begin
	if d.Seat != lid.Inset && d.Seat != lid.DropIn {
		rim = 148
		dimension(&b, "dim", c, at.collar, rim, free("collar"))
	} else {
		dimension(&b, "dim", c, at.collar, 54, free("collar"))
	}
	if at.opening > 0 {
		dimension(&b, "dim", o, at.opening, rim+20, free("opening"))
	}
	foot := map[lid.Seat]float64{lid.Inset: 128, lid.DropIn: 132, lid.Flange: 88, lid.Stopper: 42}[d.Seat]
	dimension(&b, "dim rust", l, at.lid, foot, 62)
	for _, name := range []string{"collar", "opening", "lid"} {
		if text := d.Texts[name]; text != "" && d.At(name) > 0 {
			fmt.Fprintf(&b, `<text x="%d" y="%d" text-anchor="middle">%s</text>`, seatMiddle, d.At(name)+5,
				html.EscapeString(text))
		}
	}
	b.WriteString(`</svg>`)
	return b.String()
}

// dimension is a line with arrows over a width, its ends tied to what it measures; gap px on either side of
// the middle are left free.
func dimension(b *strings.Builder, class string, half, y, from, gap float64) {
	for _, sign := range []float64{-1, 1} {
		x := seatMiddle + sign*half
		fmt.Fprintf(b, `<path class="%s" d="M%.1f %.0fH%.1fM%.1f %.0fL%.1f %.0fl%.0f 4"/>`, class, x, y,
			seatMiddle+sign*gap,
			x-sign*7, y-4, x, y, -sign*7)
		if from > 0 {
			end := y - 8
			if from < y {
				end = y + 8
			}
			fmt.Fprintf(b, `<path class="%s tie" d="M%.1f %.0fV%.0f"/>`, class, x, from, end)
		}
	}
}

// outlines are the right halves of pot and lid as paths: half widths of collar, opening and lid from the
// middle.
func (d Seat) outlines(collar, opening, width float64) (pot, cover string) {
	c, o, l := seatMiddle+collar, seatMiddle+opening, seatMiddle+width
	gap := math.Abs(l - c)
	f := o - gap // what hangs into the opening
	knob := func(top float64) string {
		return fmt.Sprintf("M178.5 %.0fH192C195 %.0f 191 %.0f 194 %.0f", top, top+2, top+8, top+14)
	}
	switch d.Seat {
	case lid.DropIn:
		return ledge(c, o), fmt.Sprintf("M178.5 112H190C193 114 189 122 191 152C220 152 %.1f 148 %.1f 131H%.1fV141H%.1fC%.1f 160 220 166 178.5 166",
			o-16, o-10, l, f, f-22)
	case lid.Flange:
		p := c + 22
		return fmt.Sprintf("M%.1f 148H%.1fC%.1f 176 %.1f 190 %.1f 216H%.1fC%.1f 190 %.1f 176 %.1f 148Z", c,
				c+16, c+16, c+22, c+26, c+10, c+6, c, c),
			knob(12) + fmt.Sprintf("C230 28 %.1f 31 %.1f 40V51H%.1fV90H%.1fV52C%.1f 46 215 42 178.5 42", p-40,
				p, l, l-9, l-60)
	case lid.Cap:
		return fmt.Sprintf("M%.1f 148H%.1fV160C%.1f 180 %.1f 192 %.1f 216H%.1fC%.1f 196 %.1f 180 %.1f 162Z",
				c-16, c, c, c+22, c+28, c+12, c+8, c-16, c-16),
			knob(12) + fmt.Sprintf("C240 27 %.1f 30 %.1f 40C%.1f 46 %.1f 50 %.1f 92H%.1fV56C%.1f 46 240 42 178.5 42",
				l-30, l+6, l+12, l+13, l+13, l, l-2)
	case lid.Over:
		return fmt.Sprintf("M%.1f 148H%.1fV216H%.1fZ", o, c, o),
			knob(10) + fmt.Sprintf("C240 25 %.1f 28 %.1f 36C%.1f 42 %.1f 46 %.1f 94H%.1fV52H%.1fV68H%.1fV50C%.1f 44 230 40 178.5 40",
				l-30, l+6, l+12, l+13, l+13, l, f, f-9, f-40)
	case lid.Stopper:
		return fmt.Sprintf("M%.1f 148H%.1fC%.1f 168 %.1f 176 %.1f 216H%.1fC%.1f 186 %.1f 176 %.1f 148Z", c,
				c+16, c+18, c+40, c+52, c+36, c+26, c, c),
			fmt.Sprintf("M178.5 8H192C196 10 190 18 193 28H%.1fV42H%.1fL%.1f 96H178.5", l+14, l, l-8)
	}
	return ledge(c, o), knob(104) + fmt.Sprintf("C219 118 259 123 %.1f 129V141H%.1fV156H%.1fV139C%.1f 134 209 132 178.5 132", l, f, f-9, f-60)
}

// ledge is the wall of a pot with a gallery and its ledge.
func ledge(c, o float64) string {
	return fmt.Sprintf("M%.1f 54H%.1fV142H%.1fV160C%.1f 172 %.1f 168 %.1f 216H%.1fC%.1f 170 %.1f 160 %.1f 54Z",
		c+16, c, o, o+2, c+2, c+6, c+22, c+18, c+16, c+16)
}
