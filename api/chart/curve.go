package chart

import (
	"fmt"
	"html"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"lidwright/kiln"
)

// Curve is a firing as it is drawn at the size at which it is shown: time to the right, temperature upwards.
// A part of it is drawn anew, with axes and labels whole. Gaps are gaps, nothing is smoothed.
type Curve struct {
	Width, Height float64         // px; 0: as on a phone
	From, To      time.Duration   // the part shown, since the first rise; To 0: all of it
	Lines         []kiln.Envelope // the first is the probe that speaks, drawn bold
	Gaps          []kiln.Gap
	Band          []kiln.Envelope // of the usual firings: low and high at equal hours; at most one
	Model         []kiln.Envelope // one past firing, dashed; at most one
	Under         string          // what Band or Model is, in the reader's language or as it was named
	Holds         []kiln.Hold     // shaded
	KeepShut      kiln.Celsius    // what it is kept shut above; NaN or 0: not drawn
	Limit         kiln.Celsius    // of the kiln; NaN or 0: not drawn
	Top           kiln.Celsius    // of a firing that is over, as its summary tells it; 0: as it is drawn
	Peak          Foreseen        // of a firing on its way up
	Cool          Foreseen        // when it is likely to read below KeepShut
	HeatWork      kiln.Celsius    // reached so far; NaN or 0: no scale of cones
	Began         time.Time       // zero if the clock was not trusted
	Zone          *time.Location
	Fahrenheit    bool // the scale is in °F
	Twelve        bool // the clock has twice twelve hours
	Plain         bool // no label of the peak and no names at the lines: they stand beside the drawing
	Title         string
	Say           func(english string) string // in the reader's language; nil: English
}

// Foreseen is a moment to come, drawn as a hollow dot. The zero one is not drawn.
type Foreseen struct {
	C     kiln.Celsius
	After time.Duration // since the first rise
	Says  [2]string     // in the reader's language
}

const (
	phoneW, phoneH       = 358.0, 330.0
	hoursShortest        = 1.0
	temperatureLowestTop = 100.0
	quartz               = 573 // °C at which quartz changes its form
)

// say is a word or sentence of the drawing in the reader's language.
func (d Curve) say(english string) string {
	if d.Say == nil {
		return english
	}
	return d.Say(english)
}

// plot is where a curve is drawn: what has been worked out of its scales.
type plot struct {
	Curve
	labels
	first, wait []label       // to be put, those of the peaks first
	from, to    time.Duration // shown
	low, high   float64       // shown, °C
	end         time.Duration // of all there is
}

func (p *plot) x(a time.Duration) float64 {
	return p.area.left + float64(a-p.from)/float64(p.to-p.from)*(p.area.right-p.area.left)
}

func (p *plot) y(t float64) float64 {
	return p.area.bottom - (t-p.low)/(p.high-p.low)*(p.area.bottom-p.area.top)
}

// SVG draws it. The picture carries its own title; the table beside it says the same in figures.
func (d Curve) SVG() string {
	if d.Width == 0 {
		d.Width, d.Height = phoneW, phoneH
	}
	var b strings.Builder
	p := &plot{Curve: d, labels: labels{b: &b}}
	p.span()
	right := d.Width - 12
	if p.hasScale() {
		right = d.Width - 68
	}
	p.area = box{46, 26, right, d.Height - 46}
	fmt.Fprintf(&b, `<svg viewBox="0 0 %g %g" width="%g" height="%g" role="img" class="curve" data-frame="%.0f %.0f %.0f %.0f %.0f %.0f %.4g %.4g %.0f" data-points="%s" aria-label="%s"><title>%s</title>`,
		d.Width, d.Height, d.Width, d.Height, p.area.left, p.area.top, p.area.right, p.area.bottom,
		p.from.Seconds(), p.to.Seconds(), p.low, p.high, p.end.Seconds(),
		p.points(), html.EscapeString(d.Title), html.EscapeString(d.Title))
	p.axes()
	p.holds()
	for _, e := range d.Band {
		b.WriteString(p.bandOf(e))
		p.lines = append(p.lines, p.edge(e, e.High), p.edge(e, e.Low))
	}
	for _, e := range d.Model {
		fmt.Fprintf(&b, `<path class="model" d="%s"/>`, p.lineOf(e, nil))
	}
	p.gaps()
	p.marks()
	for i := len(d.Lines) - 1; i >= 0; i-- {
		class := Stroke(i)
		fmt.Fprintf(&b, `<path class="%s" d="%s"/>`, class, p.lineOf(d.Lines[i], d.Gaps))
		if i == 0 {
			b.WriteString(p.spread(d.Lines[i]))
		}
	}
	p.tops()
	p.names()
	p.cones()
	b.WriteString(`</svg>`)
	return b.String()
}

// Stroke is the class of the line of number i, which a swatch beside the drawing has too.
func Stroke(i int) string { return []string{"heat", "dotted", "dashed", "broken"}[min(i, 3)] }

// span works out which part is shown, in time and in temperature.
func (p *plot) span() {
	p.end = time.Hour
	for _, e := range slices.Concat(p.Lines, p.Band, p.Model) {
		if n := len(e.After); n > 0 {
			p.end = max(p.end, e.After[n-1]+e.Step)
		}
	}
	p.from, p.to = max(0, p.From), p.To
	if p.to <= p.from || p.to > p.end {
		p.to = p.end
	}
	if p.to-p.from < 5*time.Minute {
		p.from = max(0, p.to-5*time.Minute)
	}
	low, high := math.Inf(1), math.Inf(-1)
	for _, e := range slices.Concat(p.Lines, p.Band, p.Model) {
		for i, a := range e.After {
			if a+e.Step >= p.from && a <= p.to && e.High[i].Known() {
				low, high = math.Min(low, float64(e.Low[i])), math.Max(high, float64(e.High[i]))
			}
		}
	}
	if !p.zoomed() || math.IsInf(low, 1) {
		low, high = 0, math.Max(high, temperatureLowestTop)
	}
	step := p.degreeStep(high - low)
	p.low = math.Floor(low/step) * step
	if p.high = math.Ceil(high/step) * step; high+0.02*(high-low) > p.high {
		p.high += step
	}
	if p.high <= p.low {
		p.high = p.low + step
	}
}

// zoomed says that a part is shown, and not all.
func (p *plot) zoomed() bool { return p.from > 0 || p.to < p.end }

// degreeStep is what the lines across stand apart, °C: whole tens of the reader's degrees.
func (p *plot) degreeStep(spread float64) float64 {
	if p.Fahrenheit {
		return niceStep(math.Max(spread, 5)*1.8, 7) / 1.8
	}
	return niceStep(math.Max(spread, 5), 7)
}

// degrees is a temperature as the reader's scale has it.
func (p *plot) degrees(c float64) string {
	if p.Fahrenheit {
		c = c*1.8 + 32
	}
	return strconv.FormatFloat(math.Round(c), 'f', 0, 64)
}

func (p *plot) unit() string {
	if p.Fahrenheit {
		return "°F"
	}
	return "°C"
}

// axes draws the lines across with their temperatures, and the marks of time with midnight and its day.
func (p *plot) axes() {
	step := p.degreeStep(p.high - p.low)
	first := p.low
	if p.Fahrenheit { // whole tens of °F stand off those of °C by 32
		first = (math.Ceil((p.low*1.8+32)/(step*1.8))*step*1.8 - 32) / 1.8
	}
	for t := first; t <= p.high+1e-9; t += step {
		fmt.Fprintf(p.b, `<path class="grid" d="M%.1f %.1fH%.1f"/>`, p.area.left, p.y(t), p.area.right)
		p.fixed(p.area.left-7, p.y(t)+5, "end", "t2", p.degrees(t))
	}
	p.fixed(p.area.left-7, 14, "end", "t2", p.unit())
	bottom, lastDay := p.area.bottom, -200.0
	for _, t := range p.ticks(p.from, p.to, int((p.area.right-p.area.left)/62)) {
		x := p.x(t.after)
		fmt.Fprintf(p.b, `<path class="axis" d="M%.1f %.1fv5"/>`, x, bottom)
		p.fixed(math.Min(math.Max(x, 20), p.Width-22), bottom+20, "middle", "t2", t.says)
		if t.day == "" {
			continue
		}
		fmt.Fprintf(p.b, `<path class="day" d="M%.1f %.1fV%.1f"/>`, x, bottom, p.area.top)
		p.upright(x)
		half := textWidth(t.day, true) / 2
		if at := math.Min(math.Max(x, half+2), p.Width-half-2); at-lastDay > 2*half+10 {
			p.fixed(at, bottom+39, "middle", "tb", t.day)
			lastDay = at
		}
	}
	fmt.Fprintf(p.b, `<path class="axis" d="M%.1f %.1fH%.1f"/>`, p.area.left, bottom, p.area.right)
}

// upright keeps labels off a line from the top of the drawing to its foot, where there is room beside it.
func (p *plot) upright(x float64) {
	p.uprights = append(p.uprights, []point{{x, p.area.top}, {x, p.area.bottom}})
}

// holds shades where the temperature was held.
func (p *plot) holds() {
	for _, h := range p.Holds {
		left, right := math.Max(p.x(h.After), p.area.left), math.Min(p.x(h.After+h.For), p.area.right)
		if h.For > 0 && right-left > 2 {
			fmt.Fprintf(p.b, `<path class="soak" d="M%.1f %.1fH%.1fV%.1fH%.1fZ"/>`, left, p.area.top, right,
				p.area.bottom, left)
		}
	}
}

// gaps draws where nothing was read, with its word.
func (p *plot) gaps() {
	for _, g := range p.Gaps {
		end := g.After + g.For
		if !g.Known {
			end = g.After
		}
		if end < p.from || g.After > p.to {
			continue
		}
		left, right := math.Max(p.x(g.After), p.area.left), math.Min(p.x(end), p.area.right)
		fmt.Fprintf(p.b, `<path class="gap" d="M%.1f %.1fV%.1fM%.1f %.1fV%.1f"/>`, left, p.area.bottom,
			p.area.top,
			right, p.area.bottom, p.area.top)
		p.upright(left)
		p.upright(right)
	}
	for _, g := range p.Gaps {
		word := "no reading"
		if !g.Known {
			word = "gap of unknown length"
		}
		left, right := p.x(g.After), p.x(g.After+g.For)
		if right >= p.area.left && left <= p.area.right && (!g.Known || right-left > 3) {
			p.wait = append(p.wait, label{at: point{math.Min(right, p.area.right), p.area.bottom - 12},
				lines: broken(p.say(word), 120),
				near: []point{{8, -9}, {-8, -9}, {8, -26}, {-8, -26}, {8, -43}, {-8, -43}, {0, -60},
					{0, -80}}})
		}
	}
}

// marks draws what it is kept shut above, the limit of the kiln, and the change of quartz where a part is
// shown.
func (p *plot) marks() {
	across := func(c kiln.Celsius, class string, words ...string) {
		t := float64(c)
		if !c.Known() || t <= p.low || t >= p.high {
			return
		}
		fmt.Fprintf(p.b, `<path class="%s" d="M%.1f %.1fH%.1f"/>`, class, p.area.left, p.y(t), p.area.right)
		p.lines = append(p.lines, []point{{p.area.left, p.y(t)}, {p.area.right, p.y(t)}})
		var near []point // along the line, over it before under it
		for _, y := range []float64{-2 - textHeight*float64(len(words)), 4} {
			for x := 8.0; x < p.area.right-p.area.left; x += 12 {
				near = append(near, point{x, y})
			}
		}
		p.wait = append(p.wait, label{at: point{p.area.left, p.y(t)}, lines: words, near: near,
			flat: true})
	}
	if p.KeepShut > 0 {
		across(p.KeepShut, "shut", p.say("keep shut"), strings.ReplaceAll(p.say("above {1}"), "{1}",
			p.degrees(float64(p.KeepShut))+" "+p.unit()))
	}
	if p.Limit > 0 {
		across(p.Limit, "limit", p.say("limit")+" "+p.degrees(float64(p.Limit))+" "+p.unit())
	}
	if p.zoomed() && p.high-p.low < 700 {
		across(quartz, "hair", p.say("quartz")+" "+p.degrees(quartz)+" "+p.unit())
	}
}

// middle is what a step is drawn at: the middle of what it read, the highest where that is the highest of
// all.
func (p *plot) middle(e kiln.Envelope, i int, top float64) float64 {
	if float64(e.High[i]) == top {
		return top
	}
	return (float64(e.Low[i]) + float64(e.High[i])) / 2
}

// lineOf draws through the middle of each step, and lifts the pen over gaps and where nothing was read. What
// it draws is no place for a label.
func (p *plot) lineOf(e kiln.Envelope, gaps []kiln.Gap) string {
	var b strings.Builder
	top, _, _ := highest([]kiln.Envelope{e})
	pen, gap := false, 0
	var stroke []point
	lift := func() {
		if len(stroke) > 0 {
			p.lines = append(p.lines, stroke)
			b.WriteString(strokes(stroke))
		}
		pen, stroke = false, nil
	}
	for i, a := range e.After {
		if a+e.Step < p.from || a > p.to || !e.Low[i].Known() {
			lift()
			continue
		}
		for gap < len(gaps) && a > gaps[gap].After {
			if pen {
				lift()
			}
			gap++
		}
		if i > 0 && a-e.After[i-1] > 2*e.Step && a-e.After[i-1] > 2*time.Minute {
			lift()
		}
		at := point{p.x(min(max(a+e.Step/2, p.from), p.to)), p.y(p.middle(e, i, top))}
		stroke, pen = append(stroke, at), true
	}
	lift()
	return b.String()
}

// spread fills between the lowest and the highest of each step, where a kiln switches on and off within it.
func (p *plot) spread(e kiln.Envelope) string {
	var up, down []point
	drawn := false
	for i, a := range e.After {
		if a+e.Step < p.from || a > p.to || !e.Low[i].Known() {
			continue
		}
		x, high, low := p.x(min(max(a+e.Step/2, p.from),
			p.to)), p.y(float64(e.High[i])), p.y(float64(e.Low[i]))
		drawn = drawn || low-high > 4
		up, down = append(up, point{x, high}), append(down, point{x, low})
	}
	if !drawn {
		return ""
	}
	slices.Reverse(down)
	return `<path class="spread" d="` + strokes(append(up, down...)) + `Z"/>`
}

// edge is one side of a band as a stroke that labels keep clear of.
func (p *plot) edge(e kiln.Envelope, side []kiln.Celsius) (stroke []point) {
	for i, a := range e.After {
		if side[i].Known() && a >= p.from && a <= p.to {
			stroke = append(stroke, point{p.x(a), math.Min(math.Max(p.y(float64(side[i])), p.area.top),
				p.area.bottom)})
		}
	}
	return stroke
}

// bandOf draws the usual firings from their lowest to their highest at each hour.
func (p *plot) bandOf(e kiln.Envelope) string {
	upper, lower := p.edge(e, e.High), p.edge(e, e.Low)
	if len(upper) < 2 {
		return ""
	}
	slices.Reverse(lower)
	return `<path class="ghost" d="` + strokes(append(upper, lower...)) + `Z"/>`
}

// tops draws the peak and the end of the line filled, what is foreseen hollow, and asks for their labels.
func (p *plot) tops() {
	peak, at, ok := highest(p.Lines)
	hollow := func(f Foreseen, near []point) {
		if f.After <= 0 || f.After < p.from || f.After > p.to || !f.C.Known() {
			return
		}
		x, y := p.x(f.After), p.y(float64(f.C))
		fmt.Fprintf(p.b, `<circle class="hole p" cx="%.1f" cy="%.1f" r="5"/>`, x, y)
		p.taken = append(p.taken, box{x - 6, y - 6, x + 6, y + 6})
		p.first = append(p.first, label{at: point{x, y}, lines: f.Says[:], class: "tb", near: near})
	}
	hollow(p.Peak, nil)
	hollow(p.Cool, []point{{-6, -48}, {-6, -64}, {-6, -84}, {0, -48}, {-30, -70}})
	if ok && !p.Plain && p.Peak.After <= 0 && at >= p.from && at <= p.to {
		step := p.Lines[0].Step / 2
		x, y := p.x(min(at+step, p.to)), p.y(peak)
		fmt.Fprintf(p.b, `<circle class="mark" cx="%.1f" cy="%.1f" r="4"/>`, x, y)
		p.taken = append(p.taken, box{x - 5, y - 5, x + 5, y + 5})
		when := strings.ReplaceAll(p.say("after {1}"), "{1}", HoursMinutes(at))
		if !p.Began.IsZero() {
			when = p.Began.Add(at).In(p.Zone).Format(p.clock())
		}
		if math.Abs(peak-float64(p.Top)) < 1 { // it is drawn, and not out of the part shown
			peak = float64(p.Top)
		}
		p.first = append(p.first, label{at: point{x, y},
			lines: []string{p.degrees(peak) + " " + p.unit(), when}, class: "tb"})
	}
	if n := len(p.Lines); n > 0 && p.Peak.After > 0 { // it goes on
		e := p.Lines[0]
		if last := len(e.After) - 1; last >= 0 && e.After[last] <= p.to && e.High[last].Known() {
			fmt.Fprintf(p.b, `<circle class="dot" cx="%.1f" cy="%.1f" r="6"/>`,
				p.x(min(e.After[last]+e.Step/2,
					p.to)), p.y(p.middle(e, last, peak)))
		}
	}
}

// names puts every label where it covers nothing, those of the peaks first.
func (p *plot) names() {
	for _, t := range append(p.first, p.wait...) {
		p.put(t)
	}
	for _, e := range slices.Concat(p.Band, p.Model) {
		if stroke := p.edge(e, e.High); p.Under != "" && len(stroke) > 2 {
			p.put(label{at: stroke[len(stroke)*3/5], lines: []string{p.Under},
				near: []point{{10, -16}, {10, -34},
					{-10, 10}, {10, 6}}})
		}
	}
	if len(p.Lines) < 2 || p.Plain {
		return
	}
	for _, e := range p.Lines { // the others are thin, and named at their ends
		for i := len(e.After) - 1; i >= 0; i-- {
			if e.After[i] <= p.to && e.After[i] >= p.from && e.High[i].Known() {
				p.put(label{at: point{p.x(e.After[i]), p.y(float64(e.High[i]))},
					lines: []string{string(e.Channel)},
					name:  true})
				break
			}
		}
	}
}

// highest is the highest of the first line.
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

// points are what the script reads out: seconds, °C and the usual °C of up to 240 steps.
func (p *plot) points() string {
	if len(p.Lines) == 0 {
		return ""
	}
	e := p.Lines[0]
	by := max(1, len(e.After)/240)
	var b strings.Builder
	for i := 0; i < len(e.After); i += by {
		a := e.After[i] + e.Step/2
		if a < p.from || a > p.to || !e.Low[i].Known() {
			continue
		}
		fmt.Fprintf(&b, "%.0f,%.0f", a.Seconds(), (e.Low[i]+e.High[i])/2)
		if usual, ok := p.usualAt(a); ok {
			fmt.Fprintf(&b, ",%.0f", usual)
		}
		b.WriteByte(' ')
	}
	return strings.TrimSpace(b.String())
}

// usualAt is the middle of the usual firings at an age.
func (p *plot) usualAt(a time.Duration) (float64, bool) {
	if len(p.Band) == 0 {
		return 0, false
	}
	e := p.Band[0]
	i, _ := slices.BinarySearch(e.After, a)
	if i >= len(e.After) || !e.Low[i].Known() {
		return 0, false
	}
	return float64(e.Low[i]+e.High[i]) / 2, true
}
