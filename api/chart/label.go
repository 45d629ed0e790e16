package chart

import (
	"cmp"
	"fmt"
	"html"
	"math"
	"slices"
	"strings"
	"sync"
)

// box is a part of a drawing, px: x to the right, y downwards.
type box struct{ left, top, right, bottom float64 }

func (b box) meets(o box) bool {
	return b.left < o.right && o.left < b.right && b.top < o.bottom && o.top < b.bottom
}

// point is a place in a drawing, px.
type point struct{ x, y float64 }

// labels puts words where they cover nothing: no other label and no line. What has no room goes up on a
// leader, and what has none there is left out; it stands in the table beside the drawing all the same.
type labels struct {
	b     *strings.Builder
	area  box       // within which a label stands
	taken []box     // labels that are there
	lines [][]point // lines that are drawn, each in order
	// uprights are lines from top to foot: a label that has no room beside them stands on one, which is
	// broken there.
	uprights [][]point
}

const (
	textSize   = 14.0 // px, as it is shown
	textHeight = 17.0
	ascent     = 12.5 // of the line that a text stands on, over its box's top
)

// textWidth is how wide a text is drawn at most, px: no font is asked, so it is told on the wide side.
func textWidth(text string, bold bool) float64 {
	w := 0.0
	for _, r := range text {
		switch {
		case strings.ContainsRune(" .,:;'il|!()fjt", r):
			w += 5
		case strings.ContainsRune("mwMW", r):
			w += 12.5
		case r >= 'A' && r <= 'Z':
			w += 10
		default:
			w += 8.4
		}
	}
	if bold {
		w *= 1.08
	}
	return w
}

// Wrapped breaks a text in letters of a size into lines of a width at most, both in one unit.
func Wrapped(text string, size, most float64) (lines []string) {
	line := ""
	for _, word := range strings.Fields(text) {
		longer := strings.TrimSpace(line + " " + word)
		if line != "" && textWidth(longer, false)*size/textSize > most {
			lines, longer = append(lines, line), word
		}
		line = longer
	}
	return append(lines, line)
}

// label is a word or two lines of them beside a point.
type label struct {
	at    point
	lines []string
	class string // of the first line; those after it are lesser
	name  bool   // what people typed: never translated
	// near are the places to try, from the point to the corner of the box that lies next to it.
	near []point
	// close says that it stands there or nowhere: no leader.
	close bool
	flat  bool // at lies on a line to the right of it that has one height: a leader meets it anywhere
}

// around are the usual places: at the right, over, at the left, under.
var around = []point{{12, -9}, {12, -26}, {-12, -9}, {0, -24}, {12, 8}, {-12, 8}, {-12, -26}, {0, 10}, {30,
	-9}, {45, -9}, {60, -9}, {30, 8}, {-30, -9}, {-45, -9}, {30, -5}, {45, -5}, {60, -5}}

// put draws a label at the first of its places that is free; whether it found one.
func (l *labels) put(t label) bool {
	lines := l.lines
	l.lines = slices.Concat(lines, l.uprights)
	beside := l.place(t)
	l.lines = lines
	return beside || len(l.uprights) > 0 && l.place(t)
}

// place draws a label where it meets nothing that is kept; whether there was room.
func (l *labels) place(t label) bool {
	width := 0.0
	for i, line := range t.lines {
		width = math.Max(width, textWidth(line, i == 0 && t.class == "tb"))
	}
	height := textHeight * float64(len(t.lines))
	near := t.near
	if near == nil {
		near = around
	}
	try := func(d point) (box, bool) {
		left := t.at.x + d.x
		switch {
		case d.x < 0:
			left -= width
		case d.x == 0:
			left -= width / 2
		}
		at := box{left, t.at.y + d.y, left + width, t.at.y + d.y + height}
		return at, l.free(at)
	}
	for _, d := range near {
		if at, ok := try(d); ok {
			l.write(at, t)
			return true
		}
	}
	if t.close {
		return false
	}
	for _, d := range farther() { // on a leader
		at, ok := try(d)
		if !ok {
			continue
		}
		x, y := math.Min(math.Max(t.at.x, at.left), at.right), at.bottom+1
		switch {
		case t.at.y < at.top:
			y = at.top - 1
		case t.at.y <= at.bottom: // beside it
			y = t.at.y
		}
		from := t.at
		if t.flat {
			x = math.Max(x, (at.left+at.right)/2)
			from.x = x
		}
		fmt.Fprintf(l.b, `<path class="hair" d="M%.1f %.1fL%.1f %.1f"/>`, from.x, from.y, x, y)
		l.write(at, t)
		return true
	}
	if narrow := broken(t.lines[0], 90); len(narrow) > 1 {
		t.lines = append(narrow, t.lines[1:]...)
		return l.place(t)
	}
	return false
}

// broken is a text in two lines where it is wider than most.
func broken(text string, most float64) []string {
	if textWidth(text, false) < most {
		return []string{text}
	}
	for i := len(text) / 2; i > 0; i-- {
		if text[i] == ' ' {
			return []string{text[:i], text[i+1:]}
		}
	}
	return []string{text}
}

// farther are places within 160 px of a point, the nearest first.
var farther = sync.OnceValue(func() (all []point) {
	for x := -160.0; x <= 160; x += 16 {
		for y := -110.0; y <= 130; y += 10 {
			if math.Hypot(x, y) > 30 {
				all = append(all, point{x, y})
			}
		}
	}
	slices.SortStableFunc(all, func(a, b point) int {
		return cmp.Compare(math.Hypot(a.x, a.y), math.Hypot(b.x,
			b.y))
	})
	return all
})

// free says that a box lies within the drawing and covers no label and no line.
func (l *labels) free(b box) bool {
	if b.left < l.area.left || b.right > l.area.right || b.top < l.area.top || b.bottom > l.area.bottom {
		return false
	}
	wide := box{b.left - 3, b.top - 1, b.right + 3, b.bottom + 1}
	for _, o := range l.taken {
		if wide.meets(o) {
			return false
		}
	}
	for _, line := range l.lines {
		for i := 1; i < len(line); i++ {
			if crosses(line[i-1], line[i], wide) {
				return false
			}
		}
	}
	return true
}

// crosses says that a stroke from a to c goes through a box.
func crosses(a, c point, b box) bool {
	from, to := 0.0, 1.0 // the part of the stroke that lies within the box so far
	for _, side := range [][2]float64{{c.x - a.x, a.x - b.left}, {a.x - c.x, b.right - a.x}, {c.y - a.y,
		a.y - b.top}, {a.y - c.y, b.bottom - a.y}} {
		slope, room := side[0], side[1] // inside while room + slope·t is not negative
		switch {
		case slope == 0:
			if room < 0 {
				return false
			}
		case slope > 0:
			from = math.Max(from, -room/slope)
		default:
			to = math.Min(to, -room/slope)
		}
	}
	return from <= to
}

// write draws a label in its box and keeps the box.
func (l *labels) write(at box, t label) {
	l.taken = append(l.taken, at)
	for _, u := range l.uprights {
		if crosses(u[0], u[1], at) {
			fmt.Fprintf(l.b, `<path class="plate" d="M%.1f %.1fH%.1fV%.1fH%.1fZ"/>`,
				at.left, at.top, at.right,
				at.bottom, at.left)
			break
		}
	}
	for i, line := range t.lines {
		class := t.class
		if i > 0 || class == "" {
			class = "t2"
		}
		typed := ""
		if t.name {
			typed = ` translate="no"`
		}
		fmt.Fprintf(l.b, `<text x="%.1f" y="%.1f" class="%s"%s>%s</text>`, at.left,
			at.top+ascent+textHeight*float64(i), class, typed, html.EscapeString(line))
	}
}

// fixed draws a text at a place of its own, which is taken from then on. anchor is start, middle or end.
func (l *labels) fixed(x, y float64, anchor, class, text string) {
	w := textWidth(text, class == "tb")
	left := x
	switch anchor {
	case "middle":
		left -= w / 2
	case "end":
		left -= w
	}
	l.taken = append(l.taken, box{left, y - ascent, left + w, y - ascent + textHeight})
	fmt.Fprintf(l.b, `<text x="%.1f" y="%.1f" text-anchor="%s" class="%s">%s</text>`, x, y, anchor, class,
		html.EscapeString(text))
}
