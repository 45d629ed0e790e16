package analysis

import (
	"errors"
	"math"
	"testing"
	"time"

	"lidwright/kiln"
	"lidwright/kiln/heatwork"
	"lidwright/kiln/kilntest"
)

func TestDifference(t *testing.T) {
	usual := made(141, []float64{0, 4, 7, 9}, []kiln.Celsius{20, 600, 1000, 1220}, 1222)
	slow := made(142, []float64{0, 4, 7, 11}, []kiln.Celsius{20, 600, 1000, 1220}, 1236)
	quick := made(143, []float64{0, 2.5, 5, 7}, []kiln.Celsius{20, 600, 1000, 1210}, 1210)
	gap := made(144, []float64{0, 4, 7, 9}, []kiln.Celsius{20, 600, 1000, 1220}, 1223)
	gap.Firing.Gaps = []kiln.Gap{{For: 48 * time.Minute, Known: true}}
	unknown := gap
	unknown.Firing.Gaps = []kiln.Gap{{Why: "restart"}}
	for _, c := range []struct {
		a    Compared
		want string
	}{
		{usual, "as big-blue 141"},
		{slow, "118 min slower above 1000 °C, 14 °C more heat work than big-blue 141"},
		{quick, "2 h 00 quicker to the top, 12 °C less heat work, peak 10 °C lower than big-blue 141"},
		{gap, "as big-blue 141; gap 48 min"},
		{unknown, "as big-blue 141; gap of unknown length"},
	} {
		if got := Difference(c.a, usual); got.String() != c.want {
			t.Errorf("%q, want %q", got, c.want)
		}
	}
}

func TestAlign(t *testing.T) {
	a := made(1, []float64{0, 4}, []kiln.Celsius{20, 1220}, 1200)
	b := made(2, []float64{0, 8}, []kiln.Celsius{20, 1220}, 1200)
	out, err := Align([]Compared{a, b}, 620)
	if err != nil || out[0].Shift != 2*time.Hour || out[1].Shift != 4*time.Hour {
		t.Errorf("shifts %v and %v, %v", out[0].Shift, out[1].Shift, err)
	}
	if out, err = Align(out, kiln.NoTemperature()); err != nil || out[1].Shift != 0 {
		t.Errorf("shift %v at the start, %v", out[1].Shift, err)
	}
	if _, err = Align([]Compared{a, b}, 1300); !errors.Is(err, ErrNeverReached) {
		t.Errorf("error %v", err)
	}
	for _, n := range []int{0, 5} {
		if _, err = Align(make([]Compared, n), kiln.NoTemperature()); !errors.Is(err, ErrHowMany) {
			t.Errorf("%d firings: error %v", n, err)
		}
	}
}

func TestTrendOf(t *testing.T) {
	year := 365.25 * 24 * float64(time.Hour)
	firings := func(values ...float64) []kiln.Firing {
		var out []kiln.Firing
		for i, v := range values {
			at := kilntest.Winter.Add(time.Duration(float64(i) * year / 10))
			out = append(out, kiln.Firing{Status: kiln.Ended, Peak: kiln.Celsius(v),
				Began: kiln.Stamp{Wall: at, Trusted: true}})
		}
		return out
	}
	peak := func(f kiln.Firing) float64 { return float64(f.Peak) }
	for _, c := range []struct {
		name   string
		values []float64
		slope  float64
		clear  bool
	}{
		// Mann's score of n in order is n(n-1)/2; by hand, n = 5: z = 9/4.082 = 2.20; n = 4: 5/2.944 = 1.70.
		{"five that rise", []float64{1220, 1221, 1222, 1223, 1224}, 10, true},
		{"four that rise", []float64{1220, 1221, 1222, 1223}, 10, false},
		{"one odd firing among ten that fall",
			[]float64{1230, 1229, 1228, 1300, 1226, 1225, 1224, 1223, 1222, 1221}, -10, true},
		{"all alike", []float64{1222, 1222, 1222, 1222, 1222}, 0, false},
	} {
		got, err := TrendOf(firings(c.values...), peak)
		if err != nil || math.Abs(got.PerYear-c.slope) > 0.01 || got.Clear != c.clear {
			t.Errorf("%s: %+v, %v; want %v a year, clear %v", c.name, got, err, c.slope, c.clear)
		}
	}
	few := firings(1, 2, 3, 4)
	few[0].Began.Trusted = false
	if _, err := TrendOf(few, peak); !errors.Is(err, ErrTooFew) {
		t.Errorf("error %v where one date cannot be trusted", err)
	}
}

// A typed curve is told of as the lines that were meant, not as the holes between its readings.
func TestTypedCurveIsJoined(t *testing.T) {
	c := kiln.Curve{Channels: []kiln.ChannelID{kiln.ByHandChannel}, After: []time.Duration{0, 5 * time.Hour,
		10 * time.Hour, 11 * time.Hour, 21 * time.Hour},
		T: [][]kiln.Celsius{{20, 520, 1000, 1000, 400}}}
	f := FeaturesOf(heatwork.TypedCurve(c), kiln.ByHandChannel)
	if f.Peak != 1000 || math.Abs(float64(f.QuartzUp)-96) > 1 || math.Abs(float64(f.QuartzDown)-60) > 1 ||
		len(f.Holds) != 1 || f.LongestGap != 0 {
		t.Errorf("features of a typed curve: %+v", f)
	}
	if len(heatwork.TypedCurve(kiln.Curve{}).After) != 0 {
		t.Error("something came of nothing")
	}
}

// made is a firing of straight ramps: °C at each hour.
func made(number int, hours []float64, temps []kiln.Celsius, work kiln.Celsius) Compared {
	e := kiln.Envelope{Channel: "1", Step: time.Minute}
	peak, to := kiln.Celsius(0), 0.0
	for i := 1; i < len(hours); i++ {
		for m := hours[i-1] * 60; m < hours[i]*60; m++ {
			share := kiln.Celsius((m/60 - hours[i-1]) / (hours[i] - hours[i-1]))
			e.Put(time.Duration(m)*time.Minute, temps[i-1]+share*(temps[i]-temps[i-1]))
		}
		if temps[i] > peak {
			peak, to = temps[i], hours[i]
		}
	}
	return Compared{Curve: e, Firing: kiln.Firing{Kiln: "big-blue", Number: number,
		Peak: peak, Status: kiln.Ended,
		ToTop:    time.Duration(to * float64(time.Hour)),
		HeatWork: map[kiln.ChannelID]kiln.HeatWork{"1": {C: work}}}}
}
