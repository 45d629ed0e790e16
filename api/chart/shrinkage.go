package chart

import (
	"cmp"
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

// Shrinkage is a clay's shrink over heat work: to the right heat work, with cones above; upwards shrink in
// per cent. The line is solid where bars were fired and dotted where none was, in the band of the likely
// range; a dot is a bar, a ring one that the fit leaves out. It holds no words of its own: what it says is
// handed in, in the reader's language.
type Shrinkage struct {
	Width, Height float64 // px, as it is shown
	Asked         kiln.Celsius
	AskedSays     []string // beside the upright line at the heat asked about
	Points        []shrinkage.CurvePoint
	Dots          []shrinkage.CurveDot
	DotsSay       string // beside the bars: 14 bars
	LeftOut       string // under the code of a ring: left out
	HeatSays      string // under the axis, with the unit
	ConeSays      string // over the cones
	Fahrenheit    bool
	Title         string // the same in a sentence
}

const (
	shrinkLeft, shrinkRight = 34.0, 12.0 // room for the figures at the left, and at the right
	shrinkTop, shrinkBottom = 46.0, 44.0
	dotRadius, ringRadius   = 3.5, 5.0
	mainRate                = 60 // °C/h, whose end points are the scale of heat work
)

// shrinkPlot is where things lie on the drawing.
type shrinkPlot struct {
	Shrinkage
	labels
	left, right, low, high float64 // heat work in °C, shrink in per cent
}

func (p *shrinkPlot) x(h kiln.Celsius) float64 {
	return shrinkLeft + (float64(h)-p.left)/(p.right-p.left)*(p.Width-shrinkLeft-shrinkRight)
}

func (p *shrinkPlot) y(r tiles.Ratio) float64 {
	return p.bottom() - (100*float64(r)-p.low)/(p.high-p.low)*(p.bottom()-shrinkTop)
}

func (p *shrinkPlot) bottom() float64 { return p.Height - shrinkBottom }

// SVG draws it; empty where there is nothing to draw.
func (d Shrinkage) SVG() string {
	if len(d.Points) < 2 {
		return ""
	}
	var b strings.Builder
	p := &shrinkPlot{Shrinkage: d, labels: labels{b: &b}}
	p.area = box{shrinkLeft + 2, shrinkTop + 2, d.Width - 2, p.bottom() - 2}
	p.left, p.right = float64(d.Points[0].Work), float64(d.Points[len(d.Points)-1].Work)
	step := p.span()
	fmt.Fprintf(&b, `<svg class="true" viewBox="0 0 %g %g" width="%g" height="%g" role="img" aria-label="%s">`,
		d.Width, d.Height, d.Width, d.Height, html.EscapeString(d.Title))
	for v := p.low; v <= p.high+step/1e3; v += step {
		at := p.y(tiles.Ratio(v / 100))
		if v > p.low && at > shrinkTop+1 {
			fmt.Fprintf(&b, `<path class="grid" d="M%g %.1fH%.1f"/>`, shrinkLeft, at, d.Width-shrinkRight)
		}
		fmt.Fprintf(&b, `<text class="t2" x="%g" y="%.1f" text-anchor="end">%.4g</text>`, shrinkLeft-8, at+5,
			v)
	}
	fmt.Fprintf(&b, `<text class="t2" x="%g" y="34" text-anchor="end">%%</text>`, shrinkLeft-8)
	p.axis()
	p.cones()
	b.WriteString(p.band())
	p.line()
	asked := d.Asked.Known() && float64(d.Asked) >= p.left && float64(d.Asked) <= p.right
	if asked {
		at := p.x(d.Asked)
		fmt.Fprintf(&b, `<path class="dim rust" d="M%.1f %gV%.1f"/>`, at, shrinkTop, p.bottom())
		p.lines = append(p.lines, []point{{at, shrinkTop}, {at, p.bottom()}})
	}
	p.dots()
	if asked && len(d.AskedSays) > 0 {
		up := float64(len(d.AskedSays)) * textHeight
		foot := point{p.x(d.Asked), p.bottom()}
		p.put(label{at: foot, lines: d.AskedSays, class: "tr", close: true,
			near: []point{{8, -up - 5}, {-8, -up - 5}, {8, -up - 40}, {-8, -up - 40}, {8, -up - 80},
				{-8, -up - 80}}})
	}
	b.WriteString(`</svg>`)
	return b.String()
}

// span finds the lowest and highest shrink that is shown, and the step of the grid, per cent.
func (p *shrinkPlot) span() (step float64) {
	p.low, p.high = math.Inf(1), math.Inf(-1)
	take := func(v tiles.Ratio) {
		p.low, p.high = math.Min(p.low, 100*float64(v)),
			math.Max(p.high, 100*float64(v))
	}
	for _, at := range p.Points {
		take(at.Likely.Low)
		take(at.Likely.High)
	}
	for _, o := range p.Dots {
		if o.Weight == 1 {
			take(o.Total)
		}
	}
	step = niceStep(p.high-p.low, 6)
	p.low, p.high = math.Floor(p.low/step)*step, math.Ceil(p.high/step)*step
	return step
}

// axis is that of heat work, in the reader's degrees.
func (p *shrinkPlot) axis() {
	shown := func(h float64) float64 { return h }
	meant := shown
	if p.Fahrenheit {
		shown = func(h float64) float64 { return h*1.8 + 32 }
		meant = func(f float64) float64 { return (f - 32) / 1.8 }
	}
	fmt.Fprintf(p.b, `<path class="axis" d="M%g %.1fH%.1f"/>`, shrinkLeft, p.bottom(), p.Width-shrinkRight)
	from, to := shown(p.left), shown(p.right)
	step := niceStep(to-from, int(p.Width/70))
	for v := math.Ceil(from/step) * step; v <= to; v += step {
		at := p.x(kiln.Celsius(meant(v)))
		fmt.Fprintf(p.b, `<path class="axis" d="M%.1f %.1fv5"/>`, at, p.bottom())
		if w := textWidth(fmt.Sprintf("%.0f", v), false) / 2; at-w > 0 && at+w < p.Width {
			fmt.Fprintf(p.b, `<text class="t2" x="%.1f" y="%.1f" text-anchor="middle">%.0f</text>`, at,
				p.bottom()+20, v)
		}
	}
	fmt.Fprintf(p.b, `<text class="t2" x="%.1f" y="%.1f" text-anchor="middle">%s</text>`,
		(shrinkLeft+p.Width-shrinkRight)/2, p.bottom()+39, html.EscapeString(p.HeatSays))
}

// cones writes a tick for each cone and the names of those that have room; the one nearest to the heat asked
// about is bold and comes first.
func (p *shrinkPlot) cones() {
	fmt.Fprintf(p.b, `<path class="axis" d="M%g %gH%.1f"/>`, shrinkLeft, shrinkTop, p.Width-shrinkRight)
	fmt.Fprintf(p.b, `<text class="t2" x="%.1f" y="17" text-anchor="end">%s</text>`, p.Width-shrinkRight,
		html.EscapeString(p.ConeSays))
	l := heatwork.MainConeScale()
	type named struct {
		says string
		at   float64
		off  float64 // from the heat asked about
	}
	var all []named
	for _, c := range l.Cones() {
		end := l.EndPoint(c, mainRate)
		at := p.x(end)
		if strings.Contains(c.Label, ".") || at < shrinkLeft || at > p.Width-shrinkRight {
			continue
		}
		fmt.Fprintf(p.b, `<path class="axis" d="M%.1f %gv-6"/>`, at, shrinkTop)
		off := math.Inf(1)
		if p.Asked.Known() {
			off = math.Abs(float64(end - p.Asked))
		}
		all = append(all, named{c.Label, at, off})
	}
	near := slices.SortedStableFunc(slices.Values(all),
		func(a, b named) int { return cmp.Compare(a.off, b.off) })
	var placed []named
	for i, n := range near {
		if slices.ContainsFunc(placed, func(o named) bool { return math.Abs(o.at-n.at) < 26 }) {
			continue
		}
		class := "t2"
		if i == 0 && p.Asked.Known() {
			class = "tb"
		}
		placed = append(placed, n)
		fmt.Fprintf(p.b, `<text class="%s" x="%.1f" y="35" text-anchor="middle">%s</text>`, class, n.at,
			html.EscapeString(n.says))
	}
}

// band is the likely range.
func (p *shrinkPlot) band() string {
	var b strings.Builder
	b.WriteString(`<path class="expected" d="`)
	for i, at := range p.Points {
		fmt.Fprintf(&b, "%s%.1f %.1f", map[bool]string{true: "M", false: "L"}[i == 0], p.x(at.Work),
			p.y(at.Likely.High))
	}
	for _, at := range slices.Backward(p.Points) {
		fmt.Fprintf(&b, "L%.1f %.1f", p.x(at.Work), p.y(at.Likely.Low))
	}
	b.WriteString(`Z"/>`)
	return b.String()
}

// line is the rate itself, a run of one sort at a time: solid where it was tested, else dotted.
func (p *shrinkPlot) line() {
	for from := 0; from < len(p.Points)-1; {
		to := from + 1
		solid := p.Points[from].Tested && p.Points[to].Tested
		for to+1 < len(p.Points) && (p.Points[to].Tested && p.Points[to+1].Tested) == solid {
			to++
		}
		var way []point
		fmt.Fprintf(p.b, `<path class="%s" d="`, map[bool]string{true: "solid", false: "dots"}[solid])
		for i, at := range p.Points[from : to+1] {
			way = append(way, point{p.x(at.Work), p.y(at.Total)})
			fmt.Fprintf(p.b, "%s%.1f %.1f", map[bool]string{true: "M", false: "L"}[i == 0], way[i].x,
				way[i].y)
		}
		p.b.WriteString(`"/>`)
		p.lines = append(p.lines, way)
		from = to
	}
}

// dots puts the bars in; how many there are stands beside them, and the code of each that is left out beside
// its ring. One that lies outside the picture stands at its edge.
func (p *shrinkPlot) dots() {
	var rings []label
	var mid, top point
	n := 0.0
	for _, o := range p.Dots {
		at := point{p.x(o.Work), math.Min(math.Max(p.y(o.Total), shrinkTop), p.bottom())}
		if at.x < shrinkLeft-1 || at.x > p.Width-shrinkRight+1 {
			continue
		}
		if o.Weight < 1 {
			fmt.Fprintf(p.b, `<circle class="ring" cx="%.1f" cy="%.1f" r="%g"/>`, at.x, at.y, ringRadius)
			p.taken = append(p.taken, box{at.x - 6, at.y - 6, at.x + 6, at.y + 6})
			rings = append(rings, label{at: at, lines: []string{string(o.Bar), p.LeftOut}, class: "t1",
				name: true})
			continue
		}
		fmt.Fprintf(p.b, `<circle class="inkdot" cx="%.1f" cy="%.1f" r="%g"/>`, at.x, at.y, dotRadius)
		p.taken = append(p.taken, box{at.x - 4, at.y - 4, at.x + 4, at.y + 4})
		mid.x, mid.y, n = mid.x+at.x, mid.y+at.y, n+1
		if n == 1 || at.y < top.y {
			top = at
		}
	}
	if n > 0 && p.DotsSay != "" {
		at := point{mid.x / n, top.y}
		p.put(label{at: at, lines: []string{p.DotsSay}, class: "t2", close: true,
			near: []point{{-16, -26}, {-16, -40},
				{-30, -26}, {-40, -12}, {16, 30}, {24, 44}, {-60, 20}, {16, 60}, {-16, -60}}})
	}
	for _, r := range rings {
		r.near = []point{{10, -9}, {-10, -9}, {10, -26}, {-10, -26}, {10, 8}, {-10, 8}}
		p.put(r)
	}
}

// Ranges are values with their likely ranges below one another on one scale: those of the bags of a clay.
type Ranges struct {
	Width  float64 // px, as it is shown
	Rows   []RangeRow
	Figure func(v float64, places int) string
	Title  string // the same in a sentence
}

// RangeRow is one of them.
type RangeRow struct {
	Name          string // typed by people, with what goes before it
	At, Low, High float64
	Here          bool // the one that the page is about
}

const rangeHigh = 28.0 // px a row

// SVG draws it; empty where there is nothing to draw.
func (d Ranges) SVG() string {
	from, to := math.Inf(1), math.Inf(-1)
	name := 0.0
	for _, r := range d.Rows {
		from, to = math.Min(from, r.Low), math.Max(to, r.High)
		name = math.Max(name, textWidth(r.Name, true))
	}
	if len(d.Rows) == 0 || math.IsNaN(from) || math.IsNaN(to) || math.IsInf(from, 0) {
		return ""
	}
	room := math.Max((to-from)/8, 0.05)
	from, to = from-room, to+room
	left, right := math.Min(name+16, d.Width/2), d.Width-16
	x := func(v float64) float64 { return left + (v-from)/(to-from)*(right-left) }
	height := rangeHigh*float64(len(d.Rows)) + 30
	step := niceStep(to-from, 4)
	places := max(0, int(math.Ceil(-math.Log10(step)-1e-9)))
	var b strings.Builder
	fmt.Fprintf(&b, `<svg class="true" viewBox="0 0 %g %g" width="%g" height="%g" role="img" aria-label="%s">`, d.Width,
		height, d.Width, height, html.EscapeString(d.Title))
	for v := math.Ceil(from/step) * step; v <= to; v += step {
		fmt.Fprintf(&b, `<path class="grid" d="M%.1f 4V%.1f"/><text class="t2" x="%.1f" y="%.1f" text-anchor="middle">%s</text>`,
			x(v), height-28, x(v), height-8, html.EscapeString(d.Figure(v, places)))
	}
	for i, r := range d.Rows {
		y := 16 + rangeHigh*float64(i)
		class := "t1"
		if r.Here {
			class = "tb"
		}
		fmt.Fprintf(&b, `<text class="%s" x="0" y="%.1f" translate="no">%s</text><path class="solid" d="M%.1f %.1fH%.1f"/><circle class="inkdot" cx="%.1f" cy="%.1f" r="6"/>`,
			class, y+5, html.EscapeString(r.Name), x(r.Low), y, x(r.High), x(r.At), y)
	}
	b.WriteString(`</svg>`)
	return b.String()
}
