package shrinkage_test

import (
	"math"
	"slices"
	"testing"
	"time"

	"lidwright/tiles"
	"lidwright/tiles/tilestest"
)

// TestExpected: a reading that is exactly as expected moves nothing (update and prediction
// are worked out by different ways), and its spread is what sets how far another moves things.
func TestExpected(t *testing.T) {
	m := tilestest.Make(70, 2, tilestest.Options{Row: tilestest.Ten, NoSlips: true})
	f := fitted(t, m.Studio, nil)
	tried := 0
	for _, b := range m.Bars[:12] {
		for _, stage := range []tiles.Stage{tiles.Wet, tiles.Dry, tiles.Biscuit, tiles.Fired} {
			r := tiles.Reading{ID: "new", Bar: b.Code, Mark: 1, Stage: stage, Step: 0.1,
				At: b.Firings[1].At.Add(24 * time.Hour)}
			if stage == tiles.Biscuit {
				r.At = b.Firings[0].At.Add(time.Hour)
			}
			e, ok := f.Expect(b, r)
			if !ok {
				t.Fatalf("bar %s, %s: nothing expected", b.Code, stage)
			}
			if !(e.Low < e.Length && e.Length < e.High) {
				t.Errorf("bar %s, %s: %+v", b.Code, stage, e)
			}
			r.Length = e.Length
			next := b
			next.Readings = append(slices.Clone(b.Readings), r)
			g, err := f.With(next)
			if err != nil {
				t.Fatal(err)
			}
			for _, a := range asks(m) {
				x, _ := f.Rate(a, tiles.Fired)
				y, _ := g.Rate(a, tiles.Fired)
				if math.Abs(float64(x.Log-y.Log)) > 1e-9 {
					t.Fatalf("bar %s, %s as expected moved %s from %.12f to %.12f", b.Code,
						stage, a.Stage, x.Log, y.Log)
				}
			}
			tried++
		}
	}
	if tried != 48 {
		t.Errorf("%d readings tried", tried)
	}
	if _, ok := f.Expect(tiles.Bar{BatchRef: tiles.BatchRef{Clay: "tern", Batch: "B0"}, Code: "N"},
		tiles.Reading{ID: "x", Stage: tiles.Wet, Mark: 1}); ok {
		t.Error("a first wet length was expected to be something")
	}
	if _, ok := f.Expect(tiles.Bar{BatchRef: tiles.BatchRef{Clay: "dunlin-2"}},
		tiles.Reading{ID: "x", Stage: tiles.Dry}); ok {
		t.Error("a clay that is not there was expected to be something")
	}
}

// TestSlipSaysHowFar: a fired length read 5 mm long is said to be 5 mm off.
func TestSlipSaysHowFar(t *testing.T) {
	m := tilestest.Make(70, 3, tilestest.Options{Row: tilestest.Ten, NoSlips: true})
	s := m.Studio
	s.Bars = slices.Clone(m.Bars)
	i := slices.IndexFunc(s.Bars, func(b tiles.Bar) bool { return len(b.Readings) == 4 })
	s.Bars[i].Readings = slices.Clone(s.Bars[i].Readings)
	s.Bars[i].Readings[3].Length += 5
	for _, l := range fitted(t, s, nil).Left() {
		if l.Slip && l.Reading == s.Bars[i].Readings[3].ID {
			if math.Abs(float64(l.Off)-5) > 1 {
				t.Errorf("said to be %.2f mm off", l.Off)
			}
			return
		}
	}
	t.Error("not named")
}
