package chart

import (
	"fmt"
	"math"
	"strings"

	"lidwright/kiln/heatwork"
)

func (p *plot) hasScale() bool { return p.HeatWork.Known() && p.HeatWork > 0 && !p.zoomed() }

// cones draws the scale of cones at the right edge: each at the height of its heat work, those that are
// behind the firing long and heavy, and an arrow at the heat work reached.
func (p *plot) cones() {
	if !p.hasScale() {
		return
	}
	left := p.area.right + 16
	scale := heatwork.MainConeScale()
	p.fixed(left+14, 14, "middle", "t2", p.say("cone"))
	var passed, lowest, highest heatwork.Cone
	for _, c := range scale.Cones() {
		tau := float64(c.Tau)
		if strings.Contains(c.Label, ".") || tau < p.low || tau > p.high {
			continue
		}
		class, length := "rung", 12.0
		if c.Tau <= p.HeatWork {
			class, length, passed = "rung in", 18, c
		}
		fmt.Fprintf(p.b, `<path class="%s" d="M%.1f %.1fh%.0f"/>`, class, left, p.y(tau), length)
		if lowest.Label == "" {
			lowest = c
		}
		highest = c
	}
	if lowest.Label == "" {
		return
	}
	fmt.Fprintf(p.b, `<path class="axis" d="M%.1f %.1fV%.1f"/>`, left, p.y(float64(lowest.Tau)),
		p.y(float64(highest.Tau)))
	if y := p.y(float64(p.HeatWork)); y > p.area.top && y < p.area.bottom {
		fmt.Fprintf(p.b, `<path class="dot" d="M%.1f %.1fl-9 -5v10z"/>`, left-3, y)
	}
	named := math.Inf(1)
	name := func(c heatwork.Cone, class string) {
		y := p.y(float64(c.Tau)) + 5
		if c.Label != "" && math.Abs(y-named) > textHeight {
			p.fixed(left+22, y, "start", class, c.Label)
			named = y
		}
	}
	name(passed, "tb")
	last := named
	if highest.Label != passed.Label {
		name(highest, "t2")
	}
	if named = last; lowest.Label != passed.Label && lowest.Label != highest.Label &&
		math.Abs(p.y(float64(lowest.Tau))+5-last) > textHeight {
		name(lowest, "t2")
	}
}
