package chart

import (
	"fmt"
	"html"
	"math"
	"strings"

	"lidwright/tiles/lid"
)

// Section draws a pot's seat and its lid to scale across, with the numbers on it. The
// picture's own words say the same.
func Section(s lid.Section) string {
	const width, edge, row = 520.0, 14.0, 28.0
	w, h := s.High.X-s.Low.X, s.High.Y-s.Low.Y
	if !(w > 0) || !(h > 0) {
		return ""
	}
	scale := (width - 2*edge) / w
	top := edge + h*scale
	x := func(v float64) float64 { return edge + (v-s.Low.X)*scale }
	y := func(v float64) float64 { return edge + (s.High.Y-v)*scale }
	height := top + row*float64(len(s.Measures)) + edge
	var b strings.Builder
	fmt.Fprintf(&b, `<svg viewBox="0 0 %.0f %.0f" role="img" aria-label="%s">`, width, height,
		html.EscapeString(s.Says))
	for _, shape := range s.Shapes {
		class := "clay"
		if shape.Part == "lid" {
			class = "lid"
		}
		fmt.Fprintf(&b, `<path class="%s" d="`, class)
		for i, p := range shape.Outline {
			fmt.Fprintf(&b, "%s%.1f %.1f", map[bool]string{true: "M", false: "L"}[i == 0], x(p.X), y(p.Y))
		}
		b.WriteString(`Z"/>`)
	}
	for i, m := range s.Measures { // each on a line of its own below, tied to where it belongs
		at := top + row*float64(i) + row
		from, to := x(math.Min(m.From.X, m.To.X)), x(math.Max(m.From.X, m.To.X))
		fmt.Fprintf(&b, `<path class="gap" d="M%.1f %.1fV%.1fM%.1f %.1fV%.1f"/><path class="line" d="M%.1f %.1fH%.1f"/>`,
			from, y(m.From.Y), at, to, y(m.To.Y), at, from, at, to)
		anchor, tx := "middle", (from+to)/2
		if to-from < 150 { // no room on the line itself
			anchor, tx = "start", to+8
			if tx > width-180 {
				anchor, tx = "end", from-8
			}
		}
		fmt.Fprintf(&b, `<text x="%.1f" y="%.1f" text-anchor="%s">%s</text>`, tx, at-6, anchor,
			html.EscapeString(m.Text))
	}
	b.WriteString(`</svg>`)
	return b.String()
}
