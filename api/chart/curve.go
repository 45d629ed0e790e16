package chart

import (
	"fmt"
	"html"
	"math"
	"slices"
	"strings"
	"time"

	"lidwright/kiln"
)

// Curve is a firing as it is drawn: hours since the first rise to the right, °C from
// 0 upwards. Gaps are gaps. Nothing is smoothed.
type Curve struct {
	Lines []kiln.Envelope // the first is the control channel, drawn bold
	Gaps  []kiln.Gap
	Band  []kiln.Envelope // of the usual firings: low and high at equal hours; at most one
	Model []kiln.Envelope // one past firing, dashed; at most one
	Under string          // what Band or Model is, at its end
	Began time.Time       // zero if the clock was not trusted
	Zone  *time.Location
	Title string
}

const (
	plotW, plotH         = 520.0, 340.0
	padL, padR           = 60.0, 34.0 // room for the figures at the left and the labels at the right
	padTop, padBottom    = 34.0, 52.0
	hoursShortest        = 1.0
	temperatureLowestTop = 100.0
	noReading            = "no reading"
	gapUnknown           = "gap of unknown length"
)

// SVG draws it. The picture carries its own title; the table beside it says the same in
// figures.
func (d Curve) SVG() string {
	hours, top := hoursShortest, temperatureLowestTop
	for _, e := range slices.Concat(d.Lines, d.Band, d.Model) {
		for i, a := range e.After {
			hours = math.Max(hours, (a + e.Step).Hours())
			if e.High[i].Known() {
				top = math.Max(top, float64(e.High[i]))
			}
		}
	}
	stepT := niceStep(top, 7)
	top = math.Ceil(top*1.02/stepT) * stepT
	stepH := niceHours(hours)
	x := func(a time.Duration) float64 { return padL + a.Hours()/hours*(plotW-padL-padR) }
	y := func(t float64) float64 {
		return plotH - padBottom - t/top*(plotH-padTop-padBottom)
	}

	var b strings.Builder
	fmt.Fprintf(&b, `<svg viewBox="0 0 %g %g" data-frame="%g %g %g %g %g %g" role="img" aria-label="%s"><title>%s</title>`, plotW, plotH,
		padL, padTop, plotW-padL-padR, plotH-padTop-padBottom, hours, top, html.EscapeString(d.Title),
		html.EscapeString(d.Title))
	for t := 0.0; t <= top+1e-9; t += stepT {
		fmt.Fprintf(&b, `<path class="thin" d="M%.1f %.1fH%.1f"/><text x="%.1f" y="%.1f" text-anchor="end">%.0f</text>`, padL, y(t), plotW-padR, padL-6, y(t)+4, t)
	}
	for h := 0.0; h <= hours+1e-9; h += stepH {
		a := time.Duration(h * float64(time.Hour))
		fmt.Fprintf(&b, `<path class="thin" d="M%.1f %.1fv6"/><text x="%.1f" y="%.1f" text-anchor="middle">%gh</text>`, x(a), y(0), x(a), y(0)+20, h)
		if !d.Began.IsZero() {
			fmt.Fprintf(&b, `<text x="%.1f" y="%.1f" text-anchor="middle" class="quiet">%s</text>`, x(a), y(0)+38,
				d.Began.Add(a).In(d.Zone).Format("15:04"))
		}
	}
	fmt.Fprintf(&b, `<text x="%.1f" y="%.1f">°C</text>`, padL-30, 14.0)
	for _, e := range d.Band {
		b.WriteString(bandPath(e, x, y))
		d.underLabel(&b, e, x, y)
	}
	for _, e := range d.Model {
		path, _, _ := linePath(e, nil, x, y)
		fmt.Fprintf(&b, `<path class="model" d="%s"/>`, path)
		d.underLabel(&b, e, x, y)
	}
	for _, g := range d.Gaps {
		label, end := noReading, g.After+g.For
		if !g.Known {
			label, end = gapUnknown, g.After
		}
		at, anchor := x(g.After)+4, "start"
		if at > plotW/2 { // no room to the right
			at, anchor = x(g.After)-4, "end"
		}
		fmt.Fprintf(&b, `<path class="gap" d="M%.1f %.1fV%.1fM%.1f %.1fV%.1f"/>`, x(g.After), y(0), y(top), x(end),
			y(0), y(top))
		if !g.Known || x(end)-x(g.After) > 3 {
			fmt.Fprintf(&b, `<text x="%.1f" y="%.1f" text-anchor="%s" class="quiet">%s</text>`, at, y(0)-8, anchor,
				label)
		}
	}
	for i := len(d.Lines) - 1; i >= 0; i-- {
		class := []string{"heat", "dotted", "dashed", "broken"}[min(i, 3)]
		path, endX, endY := linePath(d.Lines[i], d.Gaps, x, y)
		fmt.Fprintf(&b, `<path class="%s" d="%s"/>`, class, path)
		if path != "" {
			fmt.Fprintf(&b, `<text x="%.1f" y="%.1f" translate="no">%s</text>`, math.Min(endX+5, plotW-padR+5),
				endY+4, html.EscapeString(string(d.Lines[i].Channel)))
		}
	}
	if peak, at, ok := highest(d.Lines); ok {
		fmt.Fprintf(&b, `<circle class="mark" cx="%.1f" cy="%.1f" r="4"/><text x="%.1f" y="%.1f" text-anchor="middle">%.0f °C after %s</text>`,
			x(at), y(peak), math.Min(math.Max(x(at), padL+60), plotW-padR-60), math.Max(y(peak)-10, 12), peak,
			HoursMinutes(at))
	}
	b.WriteString(`</svg>`)
	return b.String()
}

// underLabel names what lies beneath the line, at its end.
func (d Curve) underLabel(b *strings.Builder, e kiln.Envelope, x func(time.Duration) float64,
	y func(float64) float64) {
	if n := len(e.After); n > 0 {
		fmt.Fprintf(b, `<text x="%.1f" y="%.1f" text-anchor="end" class="quiet">%s</text>`,
			math.Min(x(e.After[n-1]), plotW-4), y(float64(e.High[n-1]))-8, html.EscapeString(d.Under))
	}
}

func highest(lines []kiln.Envelope) (peak float64, at time.Duration, ok bool) {
	if len(lines) == 0 {
		return
	}
	for i, t := range lines[0].High {
		if t.Known() && (!ok || float64(t) > peak) {
			peak, at, ok = float64(t), lines[0].After[i], true
		}
	}
	return
}

// linePath draws from low to high of each step in turn, from high to low where it falls, and lifts the pen
// over gaps.
func linePath(e kiln.Envelope, gaps []kiln.Gap, x func(time.Duration) float64,
	y func(float64) float64) (path string, endX, endY float64) {
	var b strings.Builder
	pen, gap := false, 0
	for i, a := range e.After {
		if !e.Low[i].Known() {
			pen = false
			continue
		}
		for gap < len(gaps) && a > gaps[gap].After {
			pen, gap = false, gap+1
		}
		if i > 0 && a-e.After[i-1] > 2*e.Step && a-e.After[i-1] > 2*time.Minute {
			pen = false
		}
		op := "L"
		if !pen {
			op = "M"
		}
		first, last := e.Low[i], e.High[i]
		if pen && e.High[i] < e.High[i-1] { // falling: the highest came first
			first, last = last, first
		}
		endX, endY = x(a), y(float64(last))
		if begins := y(float64(first)); math.Abs(begins-endY) > 0.75 {
			fmt.Fprintf(&b, "%s%.1f %.1fV%.1f", op, endX, begins, endY)
		} else {
			fmt.Fprintf(&b, "%s%.1f %.1f", op, endX, endY)
		}
		pen = true
	}
	return b.String(), endX, endY
}

func bandPath(e kiln.Envelope, x func(time.Duration) float64, y func(float64) float64) string {
	if len(e.After) == 0 {
		return ""
	}
	var b strings.Builder
	b.WriteString(`<path class="band" d="`)
	op := "M"
	for i, a := range e.After {
		if e.High[i].Known() {
			fmt.Fprintf(&b, "%s%.1f %.1f", op, x(a), y(float64(e.High[i])))
			op = "L"
		}
	}
	for i := len(e.After) - 1; i >= 0; i-- {
		if e.Low[i].Known() {
			fmt.Fprintf(&b, "L%.1f %.1f", x(e.After[i]), y(float64(e.Low[i])))
		}
	}
	b.WriteString(`Z"/>`)
	return b.String()
}

// niceStep is 1, 2 or 5 times a power of ten, so that at most n steps reach top.
func niceStep(top float64, n int) float64 {
	p := math.Pow(10, math.Floor(math.Log10(top/float64(n))))
	for _, m := range []float64{1, 2, 5, 10} {
		if top/(m*p) <= float64(n) {
			return m * p
		}
	}
	return 10 * p
}

func niceHours(hours float64) float64 {
	for _, s := range []float64{0.25, 0.5, 1, 2, 3, 4, 6, 12, 24, 48} {
		if hours/s <= 7 {
			return s
		}
	}
	return 96
}

// HoursMinutes writes a time since the first rise: 7 h 05.
func HoursMinutes(d time.Duration) string {
	return fmt.Sprintf("%d h %02d", int(d.Hours()), int(d.Minutes())%60)
}
