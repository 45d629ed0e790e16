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
	Cones         []string        // those of the scale, from the lowest up, the highest being that of the usual; none: no scale
	Reached       int             // how many of them are behind it
	ConeSays      string          // over the scale: cone
	Title         string          // the same in a sentence
}

// SVG draws it.
func (d Today) SVG() string {
	right := d.Width - 2
	if len(d.Cones) > 0 {
		right = d.Width - 62
	}
	hours, top := hoursShortest, temperatureLowestTop
	for _, e := range append([]kiln.Envelope{d.Now}, d.Usual...) {
		for i, a := range e.After {
			hours = math.Max(hours, (a + e.Step).Hours())
			if e.High[i].Known() {
				top = math.Max(top, float64(e.High[i]))
			}
		}
	}
	const left, above, below = 2.0, 20.0, 6.0
	x := func(a time.Duration) float64 { return left + a.Hours()/hours*(right-left) }
	y := func(t float64) float64 { return d.Height - below - t/top*(d.Height-above-below) }
	var b strings.Builder
	fmt.Fprintf(&b, `<svg viewBox="0 0 %g %g" width="%g" height="%g" role="img" aria-label="%s">`, d.Width, d.Height, d.Width, d.Height, html.EscapeString(d.Title))
	fmt.Fprintf(&b, `<path class="axis" d="M%.1f %.1fH%.1f"/>`, left, y(0), right)
	for _, e := range d.Usual {
		e = thinned(e, 90)
		b.WriteString(strings.Replace(bandPath(e, x, y), `class="band"`, `class="ghost"`, 1))
	}
	path, endX, endY := linePath(thinned(d.Now, 120), nil, x, y)
	if path != "" {
		fmt.Fprintf(&b, `<path class="now" d="%s"/><circle class="dot" cx="%.1f" cy="%.1f" r="6"/>`, path, endX, endY)
	}
	if d.Peak.Known() && d.Peak > 0 {
		px, py := x(d.PeakAfter), y(float64(d.Peak))
		fmt.Fprintf(&b, `<circle class="hole" cx="%.1f" cy="%.1f" r="4.5"/>`, px, py)
		if tx := px + 24; tx < right-90 {
			fmt.Fprintf(&b, `<text x="%.1f" y="%.1f" class="tb">%s</text><text x="%.1f" y="%.1f" class="t2">%s</text>`,
				tx, py+5, html.EscapeString(d.PeakSays[0]), tx, py+23, html.EscapeString(d.PeakSays[1]))
		}
	}
	if n := len(d.Usual); n > 0 && d.UsualSays != "" {
		if tx, ty, ok := besideFall(d.Usual[0], x, y, d.Height); ok && tx < right-80 {
			fmt.Fprintf(&b, `<text x="%.1f" y="%.1f" class="t2">%s</text>`, tx, ty, html.EscapeString(d.UsualSays))
		}
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
	fmt.Fprintf(b, `<text x="%.1f" y="%.1f" class="t2" text-anchor="middle">%s</text>`, left+7.5, above-6, html.EscapeString(d.ConeSays))
	for i, cone := range d.Cones {
		y := d.Height - 6 - each*float64(i+1)
		class := "shelf"
		if i < d.Reached {
			class = "shelf in"
		}
		fmt.Fprintf(b, `<rect class="%s" x="%.1f" y="%.1f" width="15" height="%.1f"/>`, class, left, y+1.5, each-3)
		switch i {
		case d.Reached - 1:
			fmt.Fprintf(b, `<text x="%.1f" y="%.1f" class="tb">%s</text>`, left+20, y+each/2+5, html.EscapeString(cone))
		case n - 1:
			fmt.Fprintf(b, `<text x="%.1f" y="%.1f" class="t2">%s</text>`, left+20, y+each/2+5, html.EscapeString(cone))
		}
	}
}

// besideFall is a place at the right of a band's fall, a third of the way down.
func besideFall(e kiln.Envelope, x func(time.Duration) float64, y func(float64) float64, height float64) (tx, ty float64, ok bool) {
	peak, at, ok := highest([]kiln.Envelope{e})
	if !ok {
		return 0, 0, false
	}
	for i, a := range e.After {
		if a > at && e.High[i].Known() && float64(e.High[i]) < peak*0.6 {
			return x(a) + 12, y(float64(e.High[i])) + 2, true
		}
	}
	return 0, 0, false
}

// thinned merges steps until at most n are left.
func thinned(e kiln.Envelope, n int) kiln.Envelope {
	if by := (len(e.After) + n - 1) / n; by > 1 {
		return e.Merge(by)
	}
	return e
}
