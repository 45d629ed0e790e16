package shrinkage_test

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"lidwright/kiln"
	"lidwright/kiln/message"
	"lidwright/tiles"
	"lidwright/tiles/shrinkage"
	"lidwright/tiles/tilestest"
)

// TestTrustWords: the published table of words, first that applies.
func TestTrustWords(t *testing.T) {
	full := map[tiles.Stage]float64{tiles.Wet: 100, tiles.Dry: 94.2, tiles.Fired: 88.6}
	bars := func(works ...kiln.Celsius) (out []tiles.Bar) {
		for i, w := range works {
			b := bar(i, fmt.Sprint(i), w, full)
			for j := range b.Firings {
				b.Firings[j].Probe = "big-blue/1"
			}
			out = append(out, b)
		}
		return out
	}
	bloated := func(at kiln.Celsius, b []tiles.Bar) []tiles.Bar {
		one := bar(99, "hot", at, full)
		one.Flags = []tiles.Flag{tiles.Bloated}
		return append(b, one)
	}
	soon := noon.Add(30 * 24 * time.Hour)
	for _, c := range []struct {
		name  string
		bars  []tiles.Bar
		ask   func(*shrinkage.Ask)
		trust shrinkage.Reliability
		near  kiln.Celsius
	}{
		{"two bars, two loads", bars(1222, 1220), nil, shrinkage.WellTested, 0},
		{"one bar", bars(1222), nil, shrinkage.FewBars, 0},
		{"none", nil, nil, shrinkage.NoBars, 0},
		{"15 °C from it", bars(1222, 1220), func(a *shrinkage.Ask) { a.Work = 1237 },
			shrinkage.WellTested, 0},
		{"beyond", bars(1222, 1220), func(a *shrinkage.Ask) { a.Work = 1237.1 },
			shrinkage.OutsideTestedHeat, 1222},
		{"between two 60 °C apart", bars(1200, 1260), func(a *shrinkage.Ask) { a.Work = 1230 },
			shrinkage.WellTested, 0},
		{"between two 61 °C apart", bars(1200, 1261), func(a *shrinkage.Ask) { a.Work = 1230 },
			shrinkage.OutsideTestedHeat, 1200},
		{"a bar bloated there", bloated(1215, bars(1222, 1205)), nil, shrinkage.OutsideTestedHeat, 1205},
		{"sister batch", bars(1222, 1220), func(a *shrinkage.Ask) { a.Batch = "C" }, shrinkage.NoBars, 0},
		{"another forming", bars(1222, 1220), func(a *shrinkage.Ask) { a.Forming = tiles.Rolled },
			shrinkage.MadeOrFiredDifferently, 0},
		{"a cut wall is as a thrown ring", bars(1222, 1220),
			func(a *shrinkage.Ask) { a.Forming = tiles.CutWall }, shrinkage.WellTested, 0},
		{"another probe", bars(1222, 1220), func(a *shrinkage.Ask) { a.Probe = "big-blue/1 of 2026-01-06" },
			shrinkage.MadeOrFiredDifferently, 0},
		{"another kiln", bars(1222, 1220), func(a *shrinkage.Ask) { a.Probe = "little-red/1" },
			shrinkage.WellTested, 0},
		{"the same probe", bars(1222, 1220), func(a *shrinkage.Ask) { a.Probe = "big-blue/1" },
			shrinkage.WellTested, 0},
		{"thirteen months later", bars(1222, 1220), func(a *shrinkage.Ask) { a.On = noon.AddDate(1, 1, 0) },
			shrinkage.Old, 0},
		{"outside tested heat comes before old", bars(1222, 1220),
			func(a *shrinkage.Ask) {
				a.On,
					a.Work = noon.AddDate(2, 0, 0), 1290
			}, shrinkage.OutsideTestedHeat, 1222},
		{"the bisque was the hotter", bars(1222, 1220),
			func(a *shrinkage.Ask) { a.Work, a.BisqueWork = 1000, 1060 }, shrinkage.OutsideTestedHeat, 1220},
	} {
		f := fitted(t, shrinkage.Studio{Clays: tern6(), Bars: c.bars, Now: soon}, nil)
		a := ternB()
		if c.ask != nil {
			c.ask(&a)
		}
		got := f.Standing(a, tiles.Fired)
		if got.Trust != c.trust || got.Untested != (c.trust == shrinkage.OutsideTestedHeat) ||
			c.near != 0 && got.NearestTested != c.near || got.Why.IsZero() {
			t.Errorf("%s: %+v, want %s near %g", c.name, got, c.trust, c.near)
		}
	}
}

// Three bars read wet and dry alone give a drying rate with a word of its own; that no bar was fired is said
// only where a fired rate is asked.
func TestTrustOfDryingAndBisque(t *testing.T) {
	early := map[tiles.Stage]float64{tiles.Wet: 100, tiles.Dry: 94.2}
	var bars []tiles.Bar
	for i := range 3 {
		bars = append(bars, bar(i, "x", 1222, early))
	}
	f := fitted(t, shrinkage.Studio{Clays: tern6(), Bars: bars, Now: noon.Add(24 * time.Hour)}, nil)
	for to, want := range map[tiles.Stage]shrinkage.Standing{
		tiles.Dry: {Trust: shrinkage.WellTested, Why: message.Plain("3 bars read dry, last today")},
		tiles.Biscuit: {Trust: shrinkage.NoBars,
			Why: message.Plain("no bisque bar of this clay yet: handbook figures")},
		tiles.Fired: {Trust: shrinkage.NoBars,
			Why: message.Plain("no fired bar of this clay yet: handbook figures")},
	} {
		r, err := f.Rate(ternB(), to)
		if err != nil || r.Standing.Trust != want.Trust || r.Standing.Why.String() != want.Why.String() {
			t.Errorf("to %s: %+v, %v; want %s: %s", to, r.Standing, err, want.Trust, want.Why)
		}
		if bars := map[tiles.Stage]int{tiles.Dry: 3}[to]; r.Basis.Bars != bars {
			t.Errorf("to %s it rests on %d bars, not %d", to, r.Basis.Bars, bars)
		}
	}
}

// A mix without a bar begins at the mean of its parents at the same heat, no surer than a new bag, and
// never takes the place of an open bag.
func TestMixOfParents(t *testing.T) {
	clays := append(tern6(), tiles.Clay{ID: "wren", Name: "Wren", Matures: 1222})
	at := func(clay tiles.ClayID, batch tiles.BatchID) tiles.BatchRef {
		return tiles.BatchRef{Clay: clay, Batch: batch}
	}
	var bars []tiles.Bar
	for i := range 8 {
		lengths := map[tiles.Stage]float64{tiles.Wet: 100, tiles.Dry: 94.5, tiles.Fired: 89.5}
		ref := at("tern", "B")
		if i >= 4 {
			lengths, ref = map[tiles.Stage]float64{tiles.Wet: 100, tiles.Dry: 92, tiles.Fired: 84}, at("wren",
				"A")
		}
		b := bar(i, fmt.Sprint(i), 1222, lengths)
		b.BatchRef = ref
		bars = append(bars, b)
	}
	batches := []tiles.Batch{{BatchRef: at("tern", "B"), Kind: tiles.Bought, Open: true, Made: noon},
		{BatchRef: at("wren", "A"), Kind: tiles.Bought, Open: true, Made: noon},
		{BatchRef: at("tern", "M"), Kind: tiles.Blend, Open: true, Made: noon.Add(time.Hour),
			Parents: []tiles.BatchRef{at("tern", "B"), at("wren", "A")}}}
	f := fitted(t, shrinkage.Studio{Clays: clays, Batches: batches, Bars: bars,
		Now: noon.Add(100 * time.Hour)}, nil)
	rate := func(ref tiles.BatchRef) shrinkage.Rate {
		t.Helper()
		a := ternB()
		a.BatchRef = ref
		r, err := f.Rate(a, tiles.Fired)
		if err != nil {
			t.Fatal(err)
		}
		return r
	}
	b, w, mix, bag := rate(at("tern", "B")), rate(at("wren", "A")), rate(at("tern", "M")), rate(at("tern",
		"N"))
	if mean := (b.Log + w.Log) / 2; mix.Log-mean > 1e-9 || mean-mix.Log > 1e-9 {
		t.Errorf("the mix shrinks %.3f, its parents' mean is %.3f", mix.Log, mean)
	}
	if mix.LogSD < bag.LogSD*0.999 {
		t.Errorf("the mix is surer (%.3f) than a new bag (%.3f)", mix.LogSD, bag.LogSD)
	}
	if why := "no bar of this mix yet: the mean of tern/B and wren/A, no surer than a new bag"; mix.Standing.Why.String() != why || mix.Standing.Trust != shrinkage.NoBars {
		t.Errorf("%+v", mix.Standing)
	}
	if r := rate(at("tern", "")); r.At.Batch != "B" {
		t.Errorf("the clay's default is %s", r.At.Batch)
	}
	batches[2].Shares = []tiles.Ratio{0.75, 0.25}
	f = fitted(t, shrinkage.Studio{Clays: clays, Batches: batches, Bars: bars,
		Now: noon.Add(100 * time.Hour)}, nil)
	if mix, mean := rate(at("tern", "M")), 0.75*b.Log+0.25*w.Log; mix.Log-mean > 1e-9 || mean-mix.Log > 1e-9 {
		t.Errorf("three parts to one shrink %.4f, the mean by shares is %.4f", mix.Log, mean)
	}
	batches[0].Open = false
	f = fitted(t, shrinkage.Studio{Clays: clays, Batches: batches, Bars: bars,
		Now: noon.Add(100 * time.Hour)}, nil)
	if r := rate(at("tern", "")); r.At.Batch != "M" {
		t.Errorf("no bag is open, and the default is %s", r.At.Batch)
	}
}

// TestManyAsk: any number of goroutines may ask one fit (run with -race).
func TestManyAsk(t *testing.T) {
	f := fitted(t, shrinkage.Studio{Clays: tern6()}, nil)
	want, err := f.Rate(ternB(), tiles.Fired)
	if err != nil {
		t.Fatal(err)
	}
	var all sync.WaitGroup
	for i := range 8 {
		all.Go(func() {
			a := ternB()
			a.Stage = tiles.Stages()[i%4]
			if _, err := f.Pair(a, ternB(), shrinkage.Apart); err != nil {
				t.Error(err)
			}
			if got, err := f.Rate(ternB(), tiles.Fired); err != nil || got.Total != want.Total ||
				got.Likely != want.Likely {
				t.Errorf("%v, %v", got, err)
			}
		})
	}
	all.Wait()
}

// No curve tells of low-fire heats: where nothing was measured there is no number, but a range of at least
// three points to either side, and the answer says so. By the handbook alone a clay of cone 6 lost 10.6 % at
// 600, 700, 900 and 1000 °C alike.
func TestNoNumberOutsideTestedHeat(t *testing.T) {
	m := tilestest.Make(20, 3, tilestest.Options{Row: tilestest.Three, NoSlips: true})
	bare := shrinkage.Studio{Clays: m.Clays, Now: m.Now}
	fired := m.Studio
	for i := range fired.Bars { // as if no bar had been measured after its bisque
		b := fired.Bars[i]
		b.Readings = slices.DeleteFunc(slices.Clone(b.Readings),
			func(r tiles.Reading) bool { return r.Stage == tiles.Biscuit })
		fired.Bars[i] = b
	}
	for name, s := range map[string]shrinkage.Studio{"no bar": bare, "three bars": fired} {
		f := fitted(t, s, nil)
		matures := float64(m.Clays[0].Matures)
		for _, h := range []float64{600, 700, 900, 1000, matures} {
			a := shrinkage.Ask{BatchRef: tiles.BatchRef{Clay: tilestest.ClayName(0)}, Stage: tiles.Wet,
				Work: kiln.Celsius(h), BisqueWork: kiln.NoTemperature(), Kind: kiln.Glaze}
			r, err := f.Rate(a, tiles.Fired)
			if err != nil {
				t.Fatal(err)
			}
			half := float64(r.Likely.High-r.Likely.Low) / 2
			if h == matures {
				if math.IsNaN(float64(r.Total)) || r.Standing.Untested && name == "three bars" {
					t.Errorf("%s, at its cone: %.4f %+v", name, r.Total, r.Standing)
				}
				continue
			}
			if !math.IsNaN(float64(r.Total)) || !math.IsNaN(r.Multiply) || half < 0.0299 || half > 0.08 {
				t.Errorf("%s, %.0f °C: %.4f, likely %.4f to %.4f", name, h, r.Total,
					r.Likely.Low, r.Likely.High)
			}
			if !r.Standing.Untested || r.Standing.Trust != shrinkage.OutsideTestedHeat ||
				!strings.HasPrefix(r.Standing.Why.String(), "nothing is known") {
				t.Errorf("%s, %.0f °C: %+v", name, h, r.Standing)
			}
		}
	}
}
