package chart

import (
	"fmt"
	"html"
	"math"
	"slices"
	"strings"

	"lidwright/kiln"
	"lidwright/kiln/heatwork"
	"lidwright/tiles"
	"lidwright/tiles/shrinkage"
)

const (
	plotW, plotH      = 520.0, 340.0
	padL, padR        = 60.0, 34.0 // room for the figures at the left and the labels at the right
	padTop, padBottom = 34.0, 52.0
)

// Shrinkage is a clay's shrink over heat work: to the right heat work in °C, with cones
// above; upwards shrink in per cent. The line is solid where bars were fired and dotted where
// none was, in the band of the likely range; bars are dots of a size by their weight.
type Shrinkage struct {
	Clay     string
	From, To tiles.Stage
	Asked    kiln.Celsius
	Points   []shrinkage.CurvePoint
	Dots     []shrinkage.CurveDot
}

const (
	dotFull, dotLeast = 5.0, 2.5 // radius at weight 1 and 0
	coneRoom          = 30.0     // between two names of cones
	nameWide          = 36.0
	nameHigh          = 14.0
	mainRate          = 60 // °C/h, whose end points are the scale of heat work
)

// Says is the drawing in words, for whoever cannot see it.
func (d Shrinkage) Says() string {
	if len(d.Points) == 0 {
		return ""
	}
	first, last := d.Points[0], d.Points[len(d.Points)-1]
	tested := "no heat of it was tested"
	low, high := kiln.NoTemperature(), kiln.NoTemperature()
	for _, p := range d.Points {
		if p.Tested {
			if !low.Known() {
				low = p.Work
			}
			high = p.Work
		}
	}
	if low.Known() {
		tested = fmt.Sprintf("bars were fired between about %.0f and %.0f °C", float64(low), float64(high))
	}
	return fmt.Sprintf("Shrink of %s from %s to %s over heat work: %.1f %% at %.0f °C, %.1f %% at %.0f °C; %s. The table below has the same figures.",
		d.Clay, d.From, d.To, 100*float64(first.Total), float64(first.Work), 100*float64(last.Total),
		float64(last.Work), tested)
}

// SVG draws it.
func (d Shrinkage) SVG() string {
	if len(d.Points) < 2 {
		return ""
	}
	left, right := float64(d.Points[0].Work), float64(d.Points[len(d.Points)-1].Work)
	low, high := math.Inf(1), math.Inf(-1)
	take := func(v tiles.Ratio) { low, high = math.Min(low, 100*float64(v)), math.Max(high, 100*float64(v)) }
	for _, p := range d.Points {
		take(p.Likely.Low)
		take(p.Likely.High)
	}
	for _, o := range d.Dots {
		if o.Weight == 1 {
			take(o.Total)
		}
	}
	step := niceStep(high-low, 6)
	low, high = math.Floor(low/step)*step, math.Ceil(high/step)*step
	x := func(h kiln.Celsius) float64 {
		return padL + (float64(h)-left)/(right-left)*(plotW-padL-padR)
	}
	y := func(r tiles.Ratio) float64 {
		return plotH - padBottom - (100*float64(r)-low)/(high-low)*(plotH-padTop-padBottom)
	}
	var b strings.Builder
	says := html.EscapeString(d.Says())
	fmt.Fprintf(&b, `<svg viewBox="0 0 %g %g" role="img" aria-label="%s"><title>%s</title>`, plotW, plotH, says,
		says)
	for v := low; v <= high+step/1e3; v += step {
		at := y(tiles.Ratio(v / 100))
		fmt.Fprintf(&b, `<path class="thin" d="M%.1f %.1fH%.1f"/><text x="%.1f" y="%.1f" text-anchor="end">%.4g</text>`, padL, at, plotW-padR, padL-6, at+4, v)
	}
	fmt.Fprintf(&b, `<text x="4" y="14">%%</text>`)
	stepT := niceStep(right-left, 6)
	for t := math.Ceil(left/stepT) * stepT; t <= right; t += stepT {
		fmt.Fprintf(&b, `<path class="thin" d="M%.1f %.1fv6"/><text x="%.1f" y="%.1f" text-anchor="middle">%.0f</text>`, x(kiln.Celsius(t)), plotH-padBottom, x(kiln.Celsius(t)), plotH-padBottom+20, t)
	}
	fmt.Fprintf(&b, `<text x="%.1f" y="%.1f" text-anchor="middle">heat work, °C; cones above</text>`,
		(padL+plotW-padR)/2, plotH-padBottom+40)
	d.cones(&b, x)
	b.WriteString(d.band(x, y))
	if d.Asked.Known() && float64(d.Asked) >= left && float64(d.Asked) <= right {
		fmt.Fprintf(&b, `<path class="gap" d="M%.1f %.1fV%.1f"/>`, x(d.Asked), padTop, plotH-padBottom)
	}
	for from := 0; from < len(d.Points)-1; { // a run of one sort at a time
		to := from + 1
		solid := d.Points[from].Tested && d.Points[to].Tested
		for to+1 < len(d.Points) && (d.Points[to].Tested && d.Points[to+1].Tested) == solid {
			to++
		}
		class := map[bool]string{true: "heat", false: "dotted"}[solid]
		fmt.Fprintf(&b, `<path class="%s" d="`, class)
		for i := from; i <= to; i++ {
			fmt.Fprintf(&b, "%s%.1f %.1f", map[bool]string{true: "M", false: "L"}[i == from], x(d.Points[i].Work),
				y(d.Points[i].Total))
		}
		b.WriteString(`"/>`)
		from = to
	}
	d.dots(&b, x, y)
	b.WriteString(`</svg>`)
	return b.String()
}

// cones writes the names of cones above, those that have room.
func (d Shrinkage) cones(b *strings.Builder, x func(kiln.Celsius) float64) {
	l := heatwork.MainConeScale()
	last := padL - coneRoom/2
	for _, c := range l.Cones() {
		at := x(l.EndPoint(c, mainRate))
		if strings.Contains(c.Label, ".") || at-last < coneRoom || at > plotW-padR {
			continue
		}
		last = at
		fmt.Fprintf(b, `<path class="thin" d="M%.1f %.1fv-6"/><text x="%.1f" y="%.1f" text-anchor="middle" class="quiet">%s</text>`, at, padTop, at, padTop-12, html.EscapeString(c.Label))
	}
}

func (d Shrinkage) band(x func(kiln.Celsius) float64, y func(tiles.Ratio) float64) string {
	var b strings.Builder
	b.WriteString(`<path class="band" d="`)
	for i, p := range d.Points {
		fmt.Fprintf(&b, "%s%.1f %.1f", map[bool]string{true: "M", false: "L"}[i == 0], x(p.Work), y(p.Likely.High))
	}
	for i := len(d.Points) - 1; i >= 0; i-- {
		fmt.Fprintf(&b, "L%.1f %.1f", x(d.Points[i].Work), y(d.Points[i].Likely.Low))
	}
	b.WriteString(`Z"/>`)
	return b.String()
}

// dots puts the bars in, with their codes where there is room. A distrusted bar is a ring, at
// the edge if it lies outside the picture.
func (d Shrinkage) dots(b *strings.Builder, x func(kiln.Celsius) float64, y func(tiles.Ratio) float64) {
	var named [][2]float64
	for _, o := range d.Dots {
		cx, cy := x(o.Work), y(o.Total)
		if cx < padL-1 || cx > plotW-padR+1 {
			continue
		}
		class, note := "mark", ""
		if o.Weight < 1 {
			class, note = "line", ", distrusted"
		}
		cy = math.Min(math.Max(cy, padTop), plotH-padBottom)
		fmt.Fprintf(b, `<circle class="%s" cx="%.1f" cy="%.1f" r="%.1f"><title>bar %s, %.1f %% at %.0f °C%s</title></circle>`,
			class, cx, cy, dotLeast+(dotFull-dotLeast)*o.Weight, html.EscapeString(string(o.Bar)),
			100*float64(o.Total), float64(o.Work), note)
		if !slices.ContainsFunc(named, func(p [2]float64) bool {
			return math.Abs(p[0]-cx) < nameWide &&
				math.Abs(p[1]-cy) < nameHigh
		}) {
			named = append(named, [2]float64{cx, cy})
			fmt.Fprintf(b, `<text x="%.1f" y="%.1f" class="quiet" translate="no">%s</text>`, cx+6, cy-4,
				html.EscapeString(string(o.Bar)))
		}
	}
}
