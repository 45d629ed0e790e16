package tilestest_test

import (
	"math"
	"reflect"
	"testing"

	"lidwright/tiles"
	"lidwright/tiles/tilestest"
)

// TestWorlds: the same seed makes the same studio; each world has bars at every stage, and what it is made
// for: another spread of total shrink, half millimetres, habits.
func TestWorlds(t *testing.T) {
	for _, w := range append(tilestest.Worlds(), tilestest.Handbook) {
		o := tilestest.Options{World: w, Row: tilestest.Ten, Whole: true, Stated: true}
		if a, b := tilestest.Make(3, 1, o), tilestest.Make(3, 1, o); !reflect.DeepEqual(a.Studio, b.Studio) {
			t.Errorf("%q: two studios of one seed differ", w)
		}
		var totals, squares, n, tenths, off float64
		readers := map[string]bool{}
		slips := 0
		for studio := range uint64(200) {
			m := tilestest.Make(3, studio, o)
			slips += len(m.Slips)
			off += 100*float64(m.Clays[0].Stated) - 100*(1-math.Exp(-m.Question().Total/100))
			for _, b := range m.Bars {
				if b.Clay != tilestest.ClayName(0) || len(b.Readings) != 4 {
					continue
				}
				wet, fired := b.Readings[0], b.Readings[3]
				total := 100 * math.Log(float64(wet.Length/fired.Length))
				totals, squares, n = totals+total, squares+total*total, n+1
				readers[fired.By] = true
				if math.Mod(float64(fired.Length)*2, 1) != 0 {
					tenths++
				}
			}
		}
		mean := totals / n
		sd := math.Sqrt(squares/n - mean*mean)
		t.Logf("%-12q %5.0f bars: total %.1f ± %.1f log-percent, %.0f %% to a tenth, %d readers, %d slips, stated %+.1f points off",
			w, n, mean, sd, 100*tenths/n, len(readers), slips, off/200)
		if mean < 9.5 || mean > 12.5 || math.Abs(off/200) > 0.6 {
			t.Errorf("%q: total %.1f on average, stated %.2f off", w, mean, off/200)
		}
		if wide := w == tilestest.Outsiders; wide != (sd > 3) {
			t.Errorf("%q: totals scatter by %.2f", w, sd)
		}
		if halves := w == tilestest.LongTails; halves != (tenths < 0.01*n) {
			t.Errorf("%q: %.0f of %.0f to a tenth", w, tenths, n)
		}
		if read := w == tilestest.Outsiders; read != (len(readers) == 3) {
			t.Errorf("%q: readers %v", w, readers)
		}
	}
	m := tilestest.Make(4, 0, tilestest.Options{World: tilestest.Outsiders,
		Row: tilestest.None, NoSlips: true})
	for _, b := range m.Bars {
		if b.Clay == tilestest.ClayName(0) {
			t.Errorf("row 0 has bar %s", b.Code)
		}
	}
	if len(m.Slips) > 0 || m.NextBar(0, 0).Readings[0].Stage != tiles.Wet {
		t.Error("a slip, or a first bar without a wet length")
	}
}
