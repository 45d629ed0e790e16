package chart

import (
	"fmt"
	"html"
	"math"
	"strings"
	"time"

	"lidwright/kiln"
)

// Today is the firing under way on its usual ones, as a card shows it: no axes, but the peak to come and the
// cones at the right. It holds no words of its own: what it says is handed in, in the reader's language.
type Today struct {
	Width, Height float64 // px, as it is shown
	Now           kiln.Envelope
	Usual         []kiln.Envelope // low and high of the usual firings at equal hours; at most one
	UsualSays     string          // at its fall: usual of 4
	Peak          kiln.Celsius    // of the usual firings; none: nothing is foreseen
	PeakAfter     time.Duration   // since the first rise
	PeakSays      [2]string       // 1222 °C, about 02:05
	// those of the scale, from the lowest up, the highest being that of the usual; none: no scale
	Cones    []string
	Reached  int    // how many of them are behind it
	Passed   string // the last cone of the whole scale that is, beside the last of these
	ConeSays string // over the scale: cone
	Title    string // the same in a sentence
}

// SVG draws it.
func (d Today) SVG() string {
	right := d.Width - 2
	if len(d.Cones) > 0 {
		right = d.Width - 62
	}
	var b strings.Builder
	p := &plot{Curve: Curve{Lines: []kiln.Envelope{thinned(d.Now, 120)}},
		labels: labels{b: &b, area: box{2, 20,
			right, d.Height - 6}}}
	for _, e := range d.Usual {
		p.Band = append(p.Band, thinned(e, 90))
	}
	p.span()
	p.low, p.high = 0, math.Max(topOf(append(p.Band, p.Lines...)), temperatureLowestTop)
	fmt.Fprintf(&b, `<svg viewBox="0 0 %g %g" width="%g" height="%g" role="img" aria-label="%s">`, d.Width,
		d.Height, d.Width, d.Height, html.EscapeString(d.Title))
	fmt.Fprintf(&b, `<path class="axis" d="M%.1f %.1fH%.1f"/>`, p.area.left, p.area.bottom, p.area.right)
	for _, e := range p.Band {
		b.WriteString(p.bandOf(e))
		p.lines = append(p.lines, p.edge(e, e.High), p.edge(e, e.Low))
	}
	if path := p.lineOf(p.Lines[0], nil); path != "" {
		end := p.lines[len(p.lines)-1]
		last := end[len(end)-1]
		fmt.Fprintf(&b, `<path class="now" d="%s"/><circle class="dot" cx="%.1f" cy="%.1f" r="6"/>`, path,
			last.x,
			last.y)
	}
	if d.Peak.Known() && d.Peak > 0 {
		at := point{p.x(d.PeakAfter), p.y(float64(d.Peak))}
		fmt.Fprintf(&b, `<circle class="hole" cx="%.1f" cy="%.1f" r="4.5"/>`, at.x, at.y)
		p.put(label{at: at, lines: d.PeakSays[:], class: "tb", near: []point{{24, -9}, {40, -9}, {60, -9},
			{-16,
				-9}}})
	}
	if at, ok := besideFall(p); ok && d.UsualSays != "" {
		p.put(label{at: at, lines: []string{d.UsualSays}, near: []point{{12, -12}, {30, -12}, {50, -12}}})
	}
	d.scale(&b)
	b.WriteString(`</svg>`)
	return b.String()
}

// scale draws the cones as a stack of shelves, the filled ones behind the firing.
func (d Today) scale(b *strings.Builder) {
	n := len(d.Cones)
	if n == 0 {
		return
	}
	left, above := d.Width-46, 28.0
	each := (d.Height - 6 - above) / float64(n)
	fmt.Fprintf(b, `<text x="%.1f" y="%.1f" class="t2" text-anchor="middle">%s</text>`, left+7.5, above-6,
		html.EscapeString(d.ConeSays))
	for i, cone := range d.Cones {
		y := d.Height - 6 - each*float64(i+1)
		class := "shelf"
		if i < d.Reached {
			class = "shelf in"
		}
		fmt.Fprintf(b, `<rect class="%s" x="%.1f" y="%.1f" width="15" height="%.1f"/>`,
			class, left, y+1.5, each-3)
		switch i {
		case d.Reached - 1:
			fmt.Fprintf(b, `<text x="%.1f" y="%.1f" class="tb">%s</text>`, left+20, y+each/2+5,
				html.EscapeString(d.Passed))
		case n - 1:
			fmt.Fprintf(b, `<text x="%.1f" y="%.1f" class="t2">%s</text>`, left+20, y+each/2+5,
				html.EscapeString(cone))
		}
	}
}

// besideFall is a place at the fall of the usual firings, two fifths of the way down.
func besideFall(p *plot) (at point, ok bool) {
	if len(p.Band) == 0 {
		return point{}, false
	}
	e := p.Band[0]
	peak, top, ok := highest(p.Band)
	for i, a := range e.After {
		if ok && a > top && e.High[i].Known() && float64(e.High[i]) < peak*0.6 {
			return point{p.x(a), p.y(float64(e.High[i]))}, true
		}
	}
	return point{}, false
}

// topOf is the highest of all that is drawn, °C.
func topOf(all []kiln.Envelope) (top float64) {
	for i := range all {
		if t, _, ok := highest(all[i:]); ok {
			top = math.Max(top, t)
		}
	}
	return top
}

// thinned merges steps until at most n are left.
func thinned(e kiln.Envelope, n int) kiln.Envelope {
	if by := (len(e.After) + n - 1) / n; by > 1 {
		return e.Merge(by)
	}
	return e
}
