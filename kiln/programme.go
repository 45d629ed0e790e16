// Package kilntest has made-up firings for the tests of the rooms of the kiln.
package kiln

import (
	"math"
	"time"
)

// winter is a morning on which tests begin.
var winter = time.Date(2026, 1, 13, 10, 0, 0, 0, time.UTC)

// shapeKiln is a kiln with one probe.
var shapeKiln = Kiln{ID: "big-blue", Channels: []Channel{{ID: "1", Role: RoleProbe}}, Control: "1",
	Limit: NoTemperature(), KeepShut: 95}

// leg of a programme: go to a temperature at a rate (°C/h), then hold.
type leg struct {
	to, rate float64
	hold     time.Duration
}

// programme is a firing without noise from 20 °C, one point each step.
func programme(step time.Duration, legs ...leg) Curve {
	return programmeFrom(20, step, legs...)
}

func programmeFrom(from float64, step time.Duration, legs ...leg) Curve {
	type knot struct{ h, t float64 }
	knots := []knot{{0, from}}
	for _, l := range legs {
		last := knots[len(knots)-1]
		h := last.h + math.Abs(l.to-last.t)/l.rate
		knots = append(knots, knot{h, l.to})
		if l.hold > 0 {
			knots = append(knots, knot{h + l.hold.Hours(), l.to})
		}
	}
	c := Curve{Channels: []ChannelID{"1"}, T: [][]Celsius{nil}}
	end := knots[len(knots)-1].h
	k := 0
	for i := 0; ; i++ {
		after := time.Duration(i) * step
		h := after.Hours()
		last := h >= end
		if last {
			h, after = end, time.Duration(end*float64(time.Hour))
		}
		for k < len(knots)-2 && h > knots[k+1].h {
			k++
		}
		a, b := knots[k], knots[k+1]
		t := b.t
		if b.h > a.h {
			t = a.t + (b.t-a.t)*(h-a.h)/(b.h-a.h)
		}
		c.After = append(c.After, after)
		c.T[0] = append(c.T[0], Celsius(t))
		if last {
			return c
		}
	}
}

// cut leaves out what was heard between two ages, and lists the gap if told.
func cut(c Curve, from, to time.Duration, told bool) Curve {
	out := Curve{Channels: c.Channels, T: make([][]Celsius, len(c.T))}
	last := time.Duration(0)
	for i, after := range c.After {
		if after > from && after < to {
			continue
		}
		if after >= to && last <= from && told {
			out.Gaps = append(out.Gaps, Gap{After: last, For: after - last, Known: true, Why: "quiet"})
		}
		last = after
		out.After = append(out.After, after)
		for j := range c.T {
			out.T[j] = append(out.T[j], c.T[j][i])
		}
	}
	return out
}
