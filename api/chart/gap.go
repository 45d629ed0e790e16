package chart

import (
	"fmt"
	"html"
	"math"
	"strings"
)

// GapScale is the line on which the gaps of a form's lids stand, board under board. Lengths are in the unit
// that they are shown in, from 0.
type GapScale struct {
	Width     float64 // px, as it is shown
	To        float64 // at the right end
	Low, High float64 // between which a lid is good
	Unit      string
	// Words over the line: tight, good, loose and predicted.
	Tight, Good, Loose, Said string
	Predicted                float64 // where the last word stands; NaN: nowhere
	Figure                   func(v float64, places int) string
}

const (
	gapHigh  = 40.0
	gapInset = 10.0
)

func (d GapScale) x(v float64) float64 {
	return gapInset + math.Min(math.Max(v, 0), d.To)/d.To*(d.Width-2*gapInset)
}

// SVG draws the words and figures that stand over the boards once.
func (d GapScale) SVG() string {
	var b strings.Builder
	fmt.Fprintf(&b, `<svg viewBox="0 0 %g 42" width="%g" height="42" aria-hidden="true">`, d.Width, d.Width)
	l := labels{b: &b, area: box{0, 0, d.Width, 42}}
	step := niceStep(d.To, 4)
	places := max(0, int(math.Ceil(-math.Log10(step)-1e-9)))
	for v := 0.0; v < d.To+step/2; v += step {
		text, anchor := d.Figure(v, places), "middle"
		switch {
		case v == 0:
			text, anchor = "0", "start"
		case v+step >= d.To+step/2:
			text, anchor = text+" "+d.Unit, "end"
		}
		at := d.x(v)
		if anchor != "middle" {
			at = map[string]float64{"start": 2, "end": d.Width - 2}[anchor]
		}
		l.fixed(at, 36, anchor, "t2", text)
	}
	// In the order of their weight: what has no room is left out; the sentence under each board says it all.
	near := []point{{0, -8}, {4, -8}, {-4, -8}, {24, -8}, {-24, -8}, {40, -8}, {-40, -8}}
	if !math.IsNaN(d.Predicted) {
		l.put(label{at: point{d.x(d.Predicted), 11}, lines: []string{d.Said}, class: "tr", near: near,
			close: true})
	}
	for _, w := range []struct {
		text     string
		from, to float64
	}{{d.Good, d.Low, d.High}, {d.Tight, 0, d.Low}, {d.Loose, d.High, d.To}} {
		middle := (d.x(w.from) + d.x(w.to)) / 2
		l.put(label{at: point{middle, 11}, lines: []string{w.text}, near: near, class: "t1", close: true})
	}
	b.WriteString(`</svg>`)
	return b.String()
}

// GapStrip is how the lids of one board sat, on a scale: a dot good, a square tight, a triangle loose, a bar
// what was predicted; in each part of the line the number of lids that were counted there and not measured.
type GapStrip struct {
	GapScale
	Measured []float64
	Counted  [3]int // tight, good, loose
	Title    string // the same in a sentence
}

// SVG draws it.
func (d GapStrip) SVG() string {
	var b strings.Builder
	fmt.Fprintf(&b, `<svg viewBox="0 0 %g %g" width="%g" height="%g" role="img" aria-label="%s">`, d.Width,
		gapHigh,
		d.Width, gapHigh, html.EscapeString(d.Title))
	l := labels{b: &b, area: box{0, 0, d.Width, gapHigh}}
	fmt.Fprintf(&b, `<rect class="ghost flat" x="%.1f" y="2" width="%.1f" height="36"/>`, d.x(d.Low),
		d.x(d.High)-d.x(d.Low))
	fmt.Fprintf(&b, `<path class="axis" d="M%g 20H%g"/>`, gapInset, d.Width-gapInset)
	if !math.IsNaN(d.Predicted) {
		x := d.x(d.Predicted)
		fmt.Fprintf(&b, `<path class="predict" d="M%.1f 2V38"/>`, x)
		l.lines = append(l.lines, []point{{x, 0}, {x, gapHigh}})
	}
	for _, v := range d.Measured {
		x := d.x(v)
		switch {
		case v < d.Low:
			fmt.Fprintf(&b, `<rect class="ring" x="%.1f" y="15" width="10" height="10"/>`, x-5)
		case v > d.High:
			fmt.Fprintf(&b, `<path class="ring" d="M%.1f 13l7 12h-14z"/>`, x)
		default:
			fmt.Fprintf(&b, `<circle class="inkdot" cx="%.1f" cy="20" r="5.5"/>`, x)
		}
		l.taken = append(l.taken, box{x - 7, 10, x + 7, 30})
	}
	near := []point{{0, -8}, {-1, -8}, {1, -8}, {18, -8}, {-18, -8}, {30, -8}, {-30, -8}}
	for i, n := range d.Counted {
		if n == 0 {
			continue
		}
		ends := [][2]float64{{0, d.Low}, {d.Low, d.High}, {d.High, d.To}}[i]
		l.put(label{at: point{(d.x(ends[0]) + d.x(ends[1])) / 2, 20}, lines: []string{fmt.Sprint(n)},
			class: "tb",
			near:  near, close: true})
	}
	b.WriteString(`</svg>`)
	return b.String()
}
