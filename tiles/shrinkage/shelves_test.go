package shrinkage_test

import (
	"fmt"
	"math"
	"testing"
	"time"

	"lidwright/kiln"
	"lidwright/tiles"
	"lidwright/tiles/shrinkage"
)

// By hand: one load, top 1230 and bottom 1222, each ± 4. Their difference of 8 has the variance 32,
// before any bar 2 x 15^2 = 450: 8 x 450/482 = 7.469 ± sqrt(32 x 450/482) = 5.466; each shelf is half
// of that from the mean. At 0.02 log-percent a °C a lid of 100 mm differs by 0.149 mm. Another load
// that lay on one shelf alone changes nothing, however hot it was.
func TestSpreadByHand(t *testing.T) {
	readings := []shrinkage.ShelfReading{{Load: "1", Shelf: "top", C: 1230, SD: 4, Slope: 0.02},
		{Load: "1", Shelf: "bottom", C: 1222, SD: 4, Slope: 0.02}}
	for range 2 {
		s, ok := shrinkage.Spread(readings)
		if !ok || len(s.Shelves) != 2 || s.Shelves[0].Shelf != "top" || s.Loads != 1 ||
			s.Shelves[0].Bars != 1 {
			t.Fatalf("%+v, %v", s, ok)
		}
		for _, c := range []struct {
			what      string
			got, want float64
		}{{"apart", s.Apart, 7.469}, {"low", s.Low, 7.469 - 1.645*5.466},
			{"high", s.High, 7.469 + 1.645*5.466}, {"top", s.Shelves[0].More, 3.734},
			{"bottom", s.Shelves[1].More, -3.734},
			{"sd", s.Shelves[0].SD, 2.733}, {"on a lid", float64(s.OnLid), 0.149}} {
			if math.Abs(c.got-c.want) > 0.002 {
				t.Errorf("%s: %.3f, want %.3f", c.what, c.got, c.want)
			}
		}
		readings = append(readings, shrinkage.ShelfReading{Load: "2", Shelf: "top",
			C: 1260, SD: 4, Slope: 0.02})
	}
	if _, ok := shrinkage.Spread(readings[2:]); ok {
		t.Error("a load on one shelf told how shelves differ")
	}
}

// A made-up kiln whose top fires 14 °C of heat work hotter than its bottom, with bars on both in five
// loads, is found out by a fit of their lengths.
func TestShelvesOfAKiln(t *testing.T) {
	day := time.Date(2026, 1, 1, 9, 0, 0, 0, time.UTC)
	at := func(work float64, dry float64) tiles.Millimetre { // 0.035 log-percent a °C about 1222 °C
		return tiles.Millimetre(dry * math.Exp(-(6.6+0.035*(work-1222))/100))
	}
	studio := shrinkage.Studio{Clays: []tiles.Clay{{ID: "tern", MaturesCone: "6", Matures: 1222}},
		Batches: []tiles.Batch{{BatchRef: tiles.BatchRef{Clay: "tern", Batch: "A"}, Open: true}}}
	for load := range 5 {
		for n, shelf := range []string{"top", "bottom", "top", "bottom"} {
			work := 1216 + 3*float64(load) + map[string]float64{"top": 7, "bottom": -7}[shelf]
			fired := day.AddDate(0, 0, 7*load+5)
			code := tiles.Code(fmt.Sprintf("b%d%d", load, n))
			b := tiles.Bar{Code: code, ID: string(code), BatchRef: tiles.BatchRef{Clay: "tern", Batch: "A"},
				Forming: tiles.ThrownRing, MarkLength: 100, Marks: 1,
				Firings: []tiles.Heat{{Load: fmt.Sprint("load ", load), Shelf: shelf, Kind: kiln.Glaze,
					Kiln: "big-blue", Work: kiln.Celsius(1216 + 3*float64(load)), At: fired}}}
			for _, r := range []struct {
				stage tiles.Stage
				l     tiles.Millimetre
				days  int
			}{{tiles.Wet, 100, 0}, {tiles.Dry, 94, 3}, {tiles.Fired, at(work, 94), 6}} {
				b.Readings = append(b.Readings, tiles.Reading{ID: fmt.Sprint(code, r.stage), Bar: code,
					Mark: 1, Stage: r.stage, Length: r.l, Instrument: "calliper",
					At: day.AddDate(0, 0, 7*load+r.days)})
			}
			studio.Bars = append(studio.Bars, b)
		}
	}
	fit, err := studio.Fit(t.Context(), nil)
	if err != nil {
		t.Fatal(err)
	}
	s, ok := fit.Shelves("big-blue")
	if !ok || s.Shelves[0].Shelf != "top" || s.Loads != 5 || s.Low <= 0 || s.Low > 14 ||
		s.High < 14 || s.OnLid < 0.2 {
		t.Errorf("%+v, %v", s, ok)
	}
	t.Logf("14 °C apart: %.1f, likely %.1f to %.1f, %.2f mm on a lid", s.Apart, s.Low, s.High, s.OnLid)
	if _, ok := fit.Shelves("little-red"); ok {
		t.Error("a kiln without bars has a spread")
	}
}
