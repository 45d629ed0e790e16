package chart

import (
	"fmt"
	"html"
	"math"
	"strings"
	"time"
)

// Firings is one quantity of firing after firing, a small picture among others that are alike: all of them
// have the same times across. The last value is written at its dot, the middle of all is a dashed line.
type Firings struct {
	From, To time.Time
	At       []time.Time // of each firing, in any order
	Values   []float64   // of each; NaN: not known
	Least    float64     // that the scale spans at least, so that what is nothing looks like nothing
	Zero     bool        // 0 is on the scale
	Middle   float64     // NaN: no line
	Figure   func(v float64) string
	Ends     [2]string // words under the first and the last time
	Title    string    // the same in a sentence
}

// Px: the same on a phone and on a desk, where several stand side by side.
const firingsWide, firingsHigh = 358.0, 118.0

// SVG draws it; empty where nothing is known.
func (d Firings) SVG() string {
	low, high, last := math.Inf(1), math.Inf(-1), -1
	for i, v := range d.Values {
		if math.IsNaN(v) {
			continue
		}
		low, high = math.Min(low, v), math.Max(high, v)
		if last < 0 || d.At[i].After(d.At[last]) {
			last = i
		}
	}
	if last < 0 {
		return ""
	}
	least, most := low, high
	if d.Zero {
		low, high = math.Min(low, 0), math.Max(high, 0)
	}
	if short := d.Least - (high - low); short > 0 {
		low, high = low-short/2, high+short/2
	}
	left, right, top, bottom := 8.0, firingsWide-76, 14.0, firingsHigh-30
	x := func(t time.Time) float64 {
		whole := math.Max(d.To.Sub(d.From).Seconds(), 1)
		return left + t.Sub(d.From).Seconds()/whole*(right-left)
	}
	y := func(v float64) float64 { return bottom - (v-low)/(high-low)*(bottom-top) }
	var b strings.Builder
	fmt.Fprintf(&b, `<svg class="firings" viewBox="0 0 %g %g" width="%g" height="%g" role="img" aria-label="%s">`, firingsWide,
		firingsHigh, firingsWide, firingsHigh, html.EscapeString(d.Title))
	fmt.Fprintf(&b, `<path class="axis" d="M%g %gH%g"/>`, left, bottom+8, right)
	if d.Zero && low < 0 {
		fmt.Fprintf(&b, `<path class="grid" d="M%g %.1fH%g"/>`, left, y(0), right)
	}
	if !math.IsNaN(d.Middle) {
		fmt.Fprintf(&b, `<path class="day" d="M%g %.1fH%g"/>`, left, y(d.Middle), right)
	}
	for i, v := range d.Values {
		if math.IsNaN(v) || i == last {
			continue
		}
		fmt.Fprintf(&b, `<circle class="inkdot" cx="%.1f" cy="%.1f" r="3"/>`, x(d.At[i]), y(v))
	}
	fmt.Fprintf(&b, `<circle class="dot" cx="%.1f" cy="%.1f" r="5"/>`, x(d.At[last]), y(d.Values[last]))
	l := labels{b: &b, area: box{0, 0, firingsWide, firingsHigh}}
	at := math.Min(math.Max(y(d.Values[last]), top), bottom)
	l.fixed(right+10, at+5, "start", "tb", d.Figure(d.Values[last]))
	// The highest and the lowest, where the last value leaves room.
	for _, v := range []float64{most, least} {
		l.put(label{at: point{right + 10, y(v)}, lines: []string{d.Figure(v)}, class: "t2",
			near:  []point{{0.1, -9}},
			close: true})
	}
	l.fixed(left, firingsHigh-5, "start", "t2", d.Ends[0])
	l.fixed(right, firingsHigh-5, "end", "t2", d.Ends[1])
	b.WriteString(`</svg>`)
	return b.String()
}
