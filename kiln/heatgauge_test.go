package kiln

import (
	"math"
	"testing"
	"time"
)

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

func curveWork(c Curve) HeatWork { return CurveHeatWork(c, "1", NoTemperature(), 0) }

func TestGaugePublishedExamples(t *testing.T) {
	w := curveWork(programme(10*time.Second, leg{to: 1222, rate: 60}))
	if math.Abs(float64(w.C)-1221.88) > 0.05 || w.Text() != "6+0.1" {
		t.Errorf("60 °C/h to 1222 is %.3f %s, want 1221.88 ± 0.05, 6+0.1", w.C, w.Text())
	}
	fixture := []leg{{100, 60, time.Hour}, {540, 150, 0}, {620, 80, 0}, {1100, 180, 0}, {1215, 60, 20 * time.Minute},
		{1040, 250, 45 * time.Minute}, {500, 90, 0}, {180, 60, 0}}
	for _, step := range []time.Duration{10 * time.Second, time.Minute} {
		w := curveWork(programme(step, fixture...))
		if math.Abs(float64(w.C)-1232.2) > 0.1 || w.Text() != "6+0.7" {
			t.Errorf("the fixture firing at %v is %.3f %s, want 1232.2 ± 0.1, 6+0.7", step, w.C, w.Text())
		}
	}
}

func BenchmarkReplay26h1Hz(b *testing.B) {
	c := programme(time.Second, leg{600, 100, 0}, leg{1222, 90, 20 * time.Minute}, leg{180, 78, 0})
	b.Logf("%v", c.After[len(c.After)-1])
	b.ReportAllocs()
	for b.Loop() {
		curveWork(c)
	}
}

func BenchmarkReplay30h10s(b *testing.B) {
	c := programme(10*time.Second, leg{600, 100, 0}, leg{1222, 90, 20 * time.Minute}, leg{100, 67, 0})
	b.Logf("%v", c.After[len(c.After)-1])
	for b.Loop() {
		curveWork(c)
	}
}
