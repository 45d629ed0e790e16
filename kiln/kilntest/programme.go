// Package kilntest has made-up firings for the tests of the rooms of the kiln.
//
// In flow legs of a programme, each a rate and a temperature or a time to hold, and the step of the readings;
// out flows the curve of a kiln that follows it exactly, whole or cut with a gap. Calibration draws what was
// said against what came true, where the long tests ask for pictures.
//
// It is for tests alone: it knows no clock, and its kilns belong to nobody.
package kilntest

import (
	"math"
	"time"

	"lidwright/kiln"
)

// Winter is a morning on which tests begin.
var Winter = time.Date(2026, 1, 13, 10, 0, 0, 0, time.UTC)

// BigBlue is a kiln with one probe.
var BigBlue = kiln.Kiln{ID: "big-blue", Channels: []kiln.Channel{{ID: "1", Role: kiln.RoleProbe}},
	Control: "1",
	Limit:   kiln.NoTemperature(), KeepShut: 95}

// Leg of a programme: go to a temperature at a rate (°C/h), then hold.
type Leg struct {
	// °C; Rate is °C/h, above 0, up or down
	To, Rate float64
	// at To; 0: none
	Hold time.Duration
}

// Programme is a firing without noise from 20 °C, one point each step.
func Programme(step time.Duration, legs ...Leg) kiln.Curve {
	return ProgrammeFrom(20, step, legs...)
}

// ProgrammeFrom is Programme from another temperature, °C. The last point lies at the very end, less than
// a step after the one before.
func ProgrammeFrom(from float64, step time.Duration, legs ...Leg) kiln.Curve {
	type knot struct{ h, t float64 }
	knots := []knot{{0, from}}
	for _, l := range legs {
		last := knots[len(knots)-1]
		h := last.h + math.Abs(l.To-last.t)/l.Rate
		knots = append(knots, knot{h, l.To})
		if l.Hold > 0 {
			knots = append(knots, knot{h + l.Hold.Hours(), l.To})
		}
	}
	c := kiln.Curve{Channels: []kiln.ChannelID{"1"}, T: [][]kiln.Celsius{nil}}
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
		c.T[0] = append(c.T[0], kiln.Celsius(t))
		if last {
			return c
		}
	}
}

// Cut leaves out what was heard between two ages, and lists the gap if told.
func Cut(c kiln.Curve, from, to time.Duration, told bool) kiln.Curve {
	out := kiln.Curve{Channels: c.Channels, T: make([][]kiln.Celsius, len(c.T))}
	last := time.Duration(0)
	for i, after := range c.After {
		if after > from && after < to {
			continue
		}
		if after >= to && last <= from && told {
			out.Gaps = append(out.Gaps, kiln.Gap{After: last, For: after - last, Known: true, Why: "quiet"})
		}
		last = after
		out.After = append(out.After, after)
		for j := range c.T {
			out.T[j] = append(out.T[j], c.T[j][i])
		}
	}
	return out
}
