package shrinkage_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"reflect"
	"slices"
	"testing"
	"time"

	"lidwright/kiln"
	"lidwright/tiles"
	"lidwright/tiles/shrinkage"
	"lidwright/tiles/tilestest"
)

// asks are questions that touch every part of a fit: known and new batches, all stages, two
// clays, another forming.
func asks(m *tilestest.Made) []shrinkage.Ask {
	var out []shrinkage.Ask
	for _, clay := range []int{0, 1} {
		for _, batch := range []tiles.BatchID{"B0", "new"} {
			for _, stage := range []tiles.Stage{tiles.Wet, tiles.Leather, tiles.Dry, tiles.Biscuit} {
				for _, forming := range []tiles.Forming{tiles.ThrownRing, tiles.Rolled} {
					out = append(out, shrinkage.Ask{BatchRef: tiles.BatchRef{Clay: tilestest.ClayName(clay),
						Batch: batch}, Forming: forming,
						Stage: stage, Work: m.Clays[0].Matures, WorkSD: 6,
						BisqueWork: 1000, Kind: kiln.Glaze})
				}
			}
		}
	}
	return out
}

// sameAnswers compares two fits on every pair of neighbouring asks. Degrees of freedom are
// compared too.
func sameAnswers(t *testing.T, what string, f, g *shrinkage.Fit, qs []shrinkage.Ask, tol float64) {
	t.Helper()
	worst := 0.0
	for i, q := range qs {
		next := qs[(i+1)%len(qs)]
		a, err1 := f.Pair(q, next, shrinkage.SameLoad)
		b, err2 := g.Pair(q, next, shrinkage.SameLoad)
		if err1 != nil || err2 != nil {
			t.Fatalf("%s: %v, %v", what, err1, err2)
		}
		pairs := [][2]float64{{float64(a.R[0]), float64(b.R[0])},
			{float64(a.R[1]), float64(b.R[1])}, {a.Nu, b.Nu},
			{a.Rate[0][0], b.Rate[0][0]}, {a.Rate[0][1], b.Rate[0][1]}, {a.Rate[1][1], b.Rate[1][1]},
			{a.Batch[0][0], b.Batch[0][0]}, {a.Load[0][0], b.Load[0][0]}, {a.Piece[0][0], b.Piece[0][0]},
			{a.Position[0][0], b.Position[0][0]}}
		for _, p := range pairs {
			if p[0] == p[1] {
				continue
			}
			off := math.Abs(p[0]-p[1]) / (1 + math.Abs(p[1]))
			if math.IsNaN(off) {
				t.Fatalf("%s: not a number", what)
			}
			worst = max(worst, off)
		}
		if !reflect.DeepEqual(a.Standing[0], b.Standing[0]) &&
			!(math.IsNaN(float64(a.Standing[0].NearestTested)) &&
				a.Standing[0].Trust == b.Standing[0].Trust) {
			t.Errorf("%s: standing %+v and %+v", what, a.Standing[0], b.Standing[0])
		}
	}
	if worst > tol {
		t.Errorf("%s: answers differ by %.1e, %.0e allowed", what, worst, tol)
	}
	t.Logf("%s: %.1e", what, worst)
}

func fitted(t testing.TB, s shrinkage.Studio, before *shrinkage.Fit) *shrinkage.Fit {
	t.Helper()
	f, err := s.Fit(t.Context(), before)
	if err != nil {
		t.Fatal(err)
	}
	return f
}

// TestSameFactsSameFit changes what must change nothing: the order of entry, the start of the search, the
// cells and the unit of length.
func TestSameFactsSameFit(t *testing.T) {
	m := tilestest.Make(20, 3, tilestest.Options{Row: tilestest.Ten})
	f := fitted(t, m.Studio, nil)
	qs := asks(m)

	turned := m.Studio
	turned.Bars = slices.Clone(m.Bars)
	turned.Clays = slices.Clone(m.Clays)
	rng := rand.New(rand.NewPCG(7, 7))
	rng.Shuffle(len(turned.Bars), func(i, j int) {
		turned.Bars[i], turned.Bars[j] = turned.Bars[j], turned.Bars[i]
	})
	slices.Reverse(turned.Clays)
	for i := range turned.Bars {
		turned.Bars[i].Readings = slices.Clone(turned.Bars[i].Readings)
		slices.Reverse(turned.Bars[i].Readings)
	}
	sameAnswers(t, "another order of entry", f, fitted(t, turned, nil), qs, 0)
	sameAnswers(t, "warm", f, fitted(t, m.Studio, f), qs, 0)
	sameAnswers(t, "warm from another studio", f,
		fitted(t, m.Studio, fitted(t, tilestest.Make(20, 4, tilestest.Options{Row: tilestest.Ten}).Studio,
			nil)), qs, 0)

	again, err := f.Again(true)
	if err != nil {
		t.Fatal(err)
	}
	sameAnswers(t, "no cells, nothing eliminated first", f, again, qs, 1e-9)
	if d := math.Abs(f.Criterion() - again.Criterion()); d > 1e-9*math.Abs(f.Criterion()) {
		t.Errorf("criterion differs by %g without cells", d)
	}

	// Inches taken for millimetres, with everything that is a length.
	const inch = 25.4
	book := shrinkage.UsualHandbook()
	book.Reading, book.LengthClass, book.FirstReading =
		book.Reading*inch, book.LengthClass*inch, book.FirstReading*inch
	big := m.Studio
	big.Handbook = &book
	big.Bars = slices.Clone(m.Bars)
	for i := range big.Bars {
		b := &big.Bars[i]
		b.MarkLength *= inch
		b.Readings = slices.Clone(b.Readings)
		for j := range b.Readings {
			b.Readings[j].Length *= inch
			b.Readings[j].Step *= inch
		}
	}
	sameAnswers(t, "lengths in another unit", f, fitted(t, big, nil), qs, 1e-9)
}

// TestWithIsRefit: bars that come, grow, are struck and flagged, worked in one at a time,
// against the same readings solved from the beginning at the same sds.
func TestWithIsRefit(t *testing.T) {
	m := tilestest.Make(20, 5, tilestest.Options{Row: tilestest.Ten})
	qs := asks(m)
	f := fitted(t, m.Studio, nil)
	now := f
	step := func(what string, b tiles.Bar) {
		t.Helper()
		next, err := now.With(b)
		if err != nil {
			t.Fatalf("%s: %v", what, err)
		}
		again, err := next.Again(false)
		if err != nil {
			t.Fatal(err)
		}
		sameAnswers(t, what, next, again, qs, 1e-9)
		now = next
	}
	last := m.Bars[len(m.Bars)-1]
	fresh := last
	fresh.ID, fresh.Code, fresh.Batch, fresh.Forming = "bar-x", "X1", "B9", tiles.Rolled
	fresh.Readings = slices.Clone(last.Readings)
	for i := range fresh.Readings {
		fresh.Readings[i].ID = fmt.Sprint("x-", i)
	}
	fresh.Firings = slices.Clone(last.Firings)
	fresh.Firings[1].Load, fresh.Firings[1].Probe = "a new load", "a new probe"
	step("a new bar, batch, load, probe life and forming", fresh)

	first := m.Bars[0]
	struck := first
	struck.Readings = slices.Clone(first.Readings)
	struck.Readings[0].Struck = &tiles.Act{By: "KT", Why: "wrong mark"}
	step("the wet reading struck", struck)
	step("and given back", first)
	flagged := m.Bars[3]
	flagged.Flags = []tiles.Flag{tiles.Bent}
	step("a bar that turned out bent", flagged)
	step("and was not", m.Bars[3])
	more := m.Bars[5]
	more.Readings = append(slices.Clone(more.Readings), tiles.Reading{ID: "again", Bar: more.Code,
		Mark: 1, Stage: tiles.Fired,
		Length: more.Readings[len(more.Readings)-1].Length + 0.1, Step: 0.1,
		At: more.Readings[len(more.Readings)-1].At.Add(time.Minute)})
	step("a length read again by another", more)
	gone := fresh
	gone.Readings = nil
	step("the new bar without its readings", gone)
	step("the first length again", m.Bars[5])
	sameAnswers(t, "everything taken back", now, f, qs, 1e-9)
}
