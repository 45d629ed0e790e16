package shrinkage_test

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"lidwright/kiln"
	"lidwright/tiles"
	"lidwright/tiles/shrinkage"
)

// sites are a new site without a bar, with the clay's cone, and one whose bars of that clay shrink by 12.4 %.
func sites(t *testing.T) (fresh, known *shrinkage.Fit) {
	clay := tiles.Clay{ID: "tern", Name: "Tern", Matures: 1222}
	batch := tiles.Batch{BatchRef: tiles.BatchRef{Clay: "tern", Batch: "A"}, Kind: tiles.Bought, Open: true}
	s := shrinkage.Studio{Clays: []tiles.Clay{clay}, Batches: []tiles.Batch{batch}}
	fresh = fitted(t, s, nil)
	for i := range 4 {
		b := testBar(fmt.Sprintf("K%d", i))
		for _, x := range []struct {
			stage  tiles.Stage
			length tiles.Millimetre
		}{{tiles.Wet, 100}, {tiles.Dry, 94.1}, {tiles.Biscuit, 93.6},
			{tiles.Fired, 87.6 + 0.1*tiles.Millimetre(i%2)}} {
			b.Readings = append(b.Readings, testReading(x.stage, x.length))
		}
		for j := range b.Readings {
			b.Readings[j].ID += b.ID
		}
		s.Bars = append(s.Bars, b)
	}
	return fresh, fitted(t, s, nil)
}

var testDay = time.Date(2026, 3, 2, 9, 0, 0, 0, time.UTC)

// testBar is a bar of tern that was bisqued at 1000 and glazed at 1222 °C.
func testBar(code string) tiles.Bar {
	return tiles.Bar{Code: tiles.Code(code), ID: "bar-" + code,
		BatchRef: tiles.BatchRef{Clay: "tern", Batch: "A"}, Forming: tiles.ThrownRing,
		MarkLength: 100, Marks: 1,
		Firings: []tiles.Heat{{Load: "bisque", Kind: kiln.Bisque, Kiln: "big-blue", Work: 1000, At: testDay},
			{Load: "glaze", Kind: kiln.Glaze, Kiln: "big-blue", Work: 1222, At: testDay.AddDate(0, 0, 7)}}}
}

func testReading(stage tiles.Stage, l tiles.Millimetre) tiles.Reading {
	at := testDay.AddDate(0, 0, -7)
	switch stage {
	case tiles.Biscuit:
		at = testDay.AddDate(0, 0, 1)
	case tiles.Fired:
		at = testDay.AddDate(0, 0, 8)
	}
	return tiles.Reading{ID: "r-" + string(stage), Mark: 1, Stage: stage, Length: l,
		AsTyped: fmt.Sprint(float64(l)), Unit: "mm", Instrument: "calliper", At: at, Trusted: true}
}

// TestQuestionsByName: each mistake, on a first bar and where the clay is known, gets its question. The
// lengths are those of an ordinary stoneware: 100 wet, 94.1 dry, 93.6 bisque, 87.6 fired (common practice, no
// source).
func TestQuestionsByName(t *testing.T) {
	fresh, known := sites(t)
	type length = tiles.Millimetre
	for name, c := range map[string]struct {
		before map[tiles.Stage]length
		stage  tiles.Stage
		typed  length
		error  tiles.EntryError // on a first bar
		known  tiles.EntryError // where four bars are known
		fix    string
		says   string
	}{
		"as it should be": {map[tiles.Stage]length{tiles.Wet: 100, tiles.Dry: 94.1,
			tiles.Biscuit: 93.6}, tiles.Fired, 87.6, "", "", "", ""},
		"longer than at bisque": {map[tiles.Stage]length{tiles.Wet: 100, tiles.Biscuit: 93.6}, tiles.Fired,
			97.7, tiles.DigitWrong, tiles.DigitWrong, "87.7 mm", "longer than at bisque (93.6 mm)"},
		"equals its dry length": {map[tiles.Stage]length{tiles.Wet: 100, tiles.Dry: 94.1}, tiles.Fired,
			94.1, tiles.NotFiredYet, tiles.NotFiredYet, "",
			"It equals its dry length (94.1 mm): is it fired yet?"},
		"a dry length": {map[tiles.Stage]length{tiles.Wet: 100}, tiles.Fired, 94.1,
			tiles.NotFiredYet, tiles.NotFiredYet, "", "That is a dry length: is it fired yet?"},
		"equals its bisque length": {map[tiles.Stage]length{tiles.Wet: 100, tiles.Biscuit: 93.6}, tiles.Fired,
			93.6, tiles.NotFiredYet, tiles.NotFiredYet, "", "bisque length"},
		"ten times": {map[tiles.Stage]length{tiles.Wet: 100}, tiles.Fired, 876, tiles.TenTimes,
			tiles.TenTimes, "87.6 mm", "was 87.6 mm meant"},
		"swapped": {map[tiles.Stage]length{tiles.Wet: 100}, tiles.Fired, 78.6,
			tiles.DigitsSwapped, tiles.DigitsSwapped, "87.6 mm", "was 87.6 mm meant"},
		"5 mm short, dry known": {map[tiles.Stage]length{tiles.Wet: 100, tiles.Dry: 94.1}, tiles.Fired, 82.2,
			tiles.FarFromUsual, tiles.FarFromClay, "", ""},
		"1.5 mm short": {map[tiles.Stage]length{tiles.Wet: 100, tiles.Dry: 94.1}, tiles.Fired, 86.1, "",
			tiles.FarFromClay, "", ""},
	} {
		for site, f := range map[string]*shrinkage.Fit{"first": fresh, "known": known} {
			b := testBar("BQ7")
			for _, stage := range tiles.Stages() {
				if l, read := c.before[stage]; read {
					b.Readings = append(b.Readings, testReading(stage, l))
				}
			}
			want := c.error
			if site == "known" {
				want = c.known
			}
			r := testReading(c.stage, c.typed)
			j := shrinkage.Judge(b, &r, f)
			if r.EntryError != want || want != "" && j.Fix != c.fix ||
				!strings.Contains(r.Question.String(), c.says) && want != "" || j.Earlier != nil {
				t.Errorf("%s, %s: %q, want %q; meant %q: %s; earlier %+v", name, site, r.EntryError, want,
					j.Fix, r.Question, j.Earlier)
			}
			if r.Unusual != (r.Length < j.Belief.Low || r.Length > j.Belief.High) &&
				r.EntryError != tiles.LongerThanBefore {
				t.Errorf("%s, %s: unusual %v, believed %.1f to %.1f", name, site, r.Unusual,
					j.Belief.Low, j.Belief.High)
			}
		}
	}
}

// TestRightAfterWrong: where a wrong length was taken, the right one that follows is not asked about: the
// question is about the wrong one. What one of three lengths contradicts is told of two alike.
func TestRightAfterWrong(t *testing.T) {
	fresh, known := sites(t)
	for site, f := range map[string]*shrinkage.Fit{"first": fresh, "known": known} {
		for _, kept := range []bool{false, true} { // taken without a word; kept in spite of the question
			b := testBar("BQ7")
			b.Readings = []tiles.Reading{testReading(tiles.Wet, 100), testReading(tiles.Dry, 94.1),
				testReading(tiles.Biscuit, 97.7)}
			b.Readings[2].Unusual = kept
			r := testReading(tiles.Fired, 87.7)
			j := shrinkage.Judge(b, &r, f)
			if r.Unusual || j.Earlier == nil || j.Earlier.Reading.Stage != tiles.Biscuit ||
				!strings.Contains(j.Earlier.Question.String(), "97.7 mm right at bisque") {
				t.Errorf("%s, kept %v: asked %q, of the earlier one %+v", site, kept, r.Question, j.Earlier)
			}
		}
		b := testBar("BQ7")
		b.Readings = []tiles.Reading{testReading(tiles.Wet, 100), testReading(tiles.Dry, 94.1)}
		r := testReading(tiles.Biscuit, 97.7)
		if j := shrinkage.Judge(b, &r, f); !r.Unusual || j.Earlier != nil {
			t.Errorf("%s: the wrong one after right ones is not asked about: %+v", site, j)
		}
	}
}

// TestOldHeatIsNoStep: a bar that was bisqued hotter than its glaze firing keeps its length, and is not asked
// whether it is fired yet; a bar of no known firing is judged by what the clay usually gets.
func TestOldHeatIsNoStep(t *testing.T) {
	_, known := sites(t)
	b := testBar("BQ7")
	b.Firings[0].Work, b.Firings[1].Work = 1064, 1000
	b.Readings = []tiles.Reading{testReading(tiles.Wet, 100), testReading(tiles.Dry, 94.1),
		testReading(tiles.Biscuit, 93.4)}
	r := testReading(tiles.Fired, 93.4)
	if shrinkage.Judge(b, &r, known); r.Unusual {
		t.Errorf("hottest at bisque: %s", r.Question)
	}
	b = testBar("BQ7")
	b.Firings = nil
	b.Readings = []tiles.Reading{testReading(tiles.Wet, 100)}
	for l, asked := range map[tiles.Millimetre]bool{87.6: false, 94.1: true, 92: true, 82: true} {
		r := testReading(tiles.Fired, l)
		if shrinkage.Judge(b, &r, known); r.Unusual != asked {
			t.Errorf("no firing known, %v mm: asked %q", l, r.Question)
		}
	}
}

// TestAnotherBarsLength: of bars with unlike mark lengths, the length of one that is typed for another is
// named.
func TestAnotherBarsLength(t *testing.T) {
	_, known := sites(t)
	b, long, third := testBar("BQ7"), testBar("BQ4"), testBar("BQ9")
	b.Readings = []tiles.Reading{testReading(tiles.Wet, 100)}
	long.Readings, long.MarkLength = []tiles.Reading{testReading(tiles.Wet, 120)}, 120
	third.Readings = []tiles.Reading{testReading(tiles.Wet, 100.2), testReading(tiles.Fired, 87.8)}
	r := testReading(tiles.Fired, 105.3)
	if j := shrinkage.Judge(b, &r, known); !r.Unusual || j.Fix != "" {
		t.Fatalf("%+v", r)
	}
	if o, ok := shrinkage.OfAnother([]tiles.Bar{b, long, third}, b, r, known); !ok || o != "BQ4" {
		t.Errorf("that of %q, %v", o, ok)
	}
	long.Readings = append(slices.Clone(long.Readings), testReading(tiles.Fired, 104.9))
	if o, ok := shrinkage.OfAnother([]tiles.Bar{b, long, third}, b, r, known); ok {
		t.Errorf("that of %s, which has another", o)
	}
	long.Readings[1].Length = 105.3
	if _, ok := shrinkage.OfAnother([]tiles.Bar{b, long, third}, b, r, known); !ok {
		t.Error("the very length of another is not named")
	}
}
