package chart

import (
	"cmp"
	"fmt"
	"html"
	"math"
	"slices"
	"strings"
)

// Strip is a line of lengths that should lie close together: those of bars of one clay at one stage. One that
// does not belong is seen. Lengths are in the unit that they are shown in.
type Strip struct {
	Width     float64 // px, as it is shown
	Dots      []StripDot
	Low, High float64   // between which the next is expected; both 0: not known
	Typed     *StripDot // one that is asked about
	Expected  string    // the word over the band
	Figure    func(v float64, places int) string
	Title     string // the same in a sentence
}

// StripDot is one length with the name of what it was measured on.
type StripDot struct {
	Name string
	At   float64
}

const stripHeight = 74.0

// SVG draws it; empty where there is nothing to draw.
func (d Strip) SVG() string {
	from, to := math.Inf(1), math.Inf(-1)
	if d.High > 0 {
		from, to = d.Low, d.High
	}
	for _, s := range d.Dots {
		from, to = math.Min(from, s.At), math.Max(to, s.At)
	}
	if from > to {
		return ""
	}
	if to-from < from/200 { // all alike: half a per cent is shown
		from, to = from-from/400, to+from/400
	}
	room := (to - from) / 4
	from, to = from-room, to+room
	step := niceStep(to-from, 4)
	places := max(0, int(math.Ceil(-math.Log10(step)-1e-9)))
	left, right := 12.0, d.Width-12
	x := func(v float64) float64 {
		return left + (math.Min(math.Max(v, from), to)-from)/(to-from)*(right-left)
	}
	var b strings.Builder
	fmt.Fprintf(&b, `<svg viewBox="0 0 %g %g" width="%g" height="%g" role="img" data-strip="%.1f %.1f %.4f %.4f" aria-label="%s">`,
		d.Width, stripHeight, d.Width, stripHeight, left, right, from, to, html.EscapeString(d.Title))
	l := labels{b: &b, area: box{2, 2, d.Width - 2, 27}}
	if d.High > 0 {
		fmt.Fprintf(&b, `<rect class="expected" x="%.1f" y="29" width="%.1f" height="22"/>`, x(d.Low),
			x(d.High)-x(d.Low))
	}
	fmt.Fprintf(&b, `<path class="axis" d="M%.1f 40H%.1f"/>`, left, right)
	for v := math.Ceil(from/step) * step; v <= to; v += step {
		text := d.Figure(v, places)
		at := math.Min(math.Max(x(v), textWidth(text, false)/2+2), d.Width-textWidth(text, false)/2-2)
		fmt.Fprintf(&b, `<path class="axis" d="M%.1f 51v5"/>`, x(v))
		fmt.Fprintf(&b, `<text class="t2" x="%.1f" y="71" text-anchor="middle">%s</text>`, at,
			html.EscapeString(text))
	}
	for _, s := range d.Dots {
		fmt.Fprintf(&b, `<circle class="inkdot" cx="%.1f" cy="40" r="6"/>`, x(s.At))
	}
	if t := d.Typed; t != nil {
		switch {
		case t.At > to:
			fmt.Fprintf(&b, `<path class="dot" d="M%.1f 32l12 8-12 8z"/>`, right-8)
		case t.At < from:
			fmt.Fprintf(&b, `<path class="dot" d="M%.1f 32l-12 8 12 8z"/>`, left+8)
		default:
			fmt.Fprintf(&b, `<circle class="hole p" cx="%.1f" cy="40" r="6"/>`, x(t.At))
		}
		l.put(label{at: point{x(t.At), 40}, lines: []string{t.Name}, class: "tr", name: true, near: stripNear,
			close: true})
	}
	// The names of those that stand alone first: an outlier has its name, where several lie on one another
	// some have.
	middle := (from + to) / 2
	dots := slices.SortedStableFunc(slices.Values(d.Dots), func(a, b StripDot) int {
		return cmp.Compare(math.Abs(b.At-middle), math.Abs(a.At-middle))
	})
	for _, s := range dots {
		l.put(label{at: point{x(s.At), 40}, lines: []string{s.Name}, class: "t1", name: true, near: stripNear,
			close: true})
	}
	if d.High > 0 {
		l.put(label{at: point{x(d.Low), 40}, lines: []string{d.Expected}, class: "t2",
			near: []point{{0, -31}, {-4, -31}, {4, -31},
				{x(d.High) - x(d.Low), -31}, {x(d.High) - x(d.Low) + 30, -31}}, close: true})
	}
	b.WriteString(`</svg>`)
	return b.String()
}

// stripNear are the places of a name over its dot: over it, then to its sides. What has no room is left out;
// it stands in the list of what was measured.
var stripNear = []point{{0, -31}, {-1, -31}, {1, -31}, {8, -31}, {-8, -31}}
