package shrinkage_test

import (
	"fmt"
	"sync"
	"testing"
	"time"

	"lidwright/kiln"
	"lidwright/tiles"
	"lidwright/tiles/shrinkage"
)

// TestTrustWords: the published table of words, first that applies.
func TestTrustWords(t *testing.T) {
	full := map[tiles.Stage]float64{tiles.Wet: 100, tiles.Dry: 94.2, tiles.Fired: 88.6}
	bars := func(works ...kiln.Celsius) (out []tiles.Bar) {
		for i, w := range works {
			b := bar(i, fmt.Sprint(i), w, full)
			for j := range b.Firings {
				b.Firings[j].Probe = "big-blue 1"
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
		{"two bars, two loads", bars(1222, 1220), nil, shrinkage.Sound, 0},
		{"one bar", bars(1222), nil, shrinkage.Thin, 0},
		{"none", nil, nil, shrinkage.Borrowed, 0},
		{"15 °C from it", bars(1222, 1220), func(a *shrinkage.Ask) { a.Work = 1237 }, shrinkage.Sound, 0},
		{"beyond", bars(1222, 1220), func(a *shrinkage.Ask) { a.Work = 1237.1 }, shrinkage.Stretched, 1222},
		{"between two 60 °C apart", bars(1200, 1260), func(a *shrinkage.Ask) { a.Work = 1230 }, shrinkage.Sound, 0},
		{"between two 61 °C apart", bars(1200, 1261), func(a *shrinkage.Ask) { a.Work = 1230 }, shrinkage.Stretched, 1200},
		{"a bar bloated there", bloated(1215, bars(1222, 1205)), nil, shrinkage.Stretched, 1205},
		{"sister batch", bars(1222, 1220), func(a *shrinkage.Ask) { a.Batch = "C" }, shrinkage.Borrowed, 0},
		{"another forming", bars(1222, 1220), func(a *shrinkage.Ask) { a.Forming = tiles.Rolled }, shrinkage.Unlike, 0},
		{"a cut wall is as a thrown ring", bars(1222, 1220), func(a *shrinkage.Ask) { a.Forming = tiles.CutWall }, shrinkage.Sound, 0},
		{"another probe", bars(1222, 1220), func(a *shrinkage.Ask) { a.Probe = "big-blue 2" }, shrinkage.Unlike, 0},
		{"the same probe", bars(1222, 1220), func(a *shrinkage.Ask) { a.Probe = "big-blue 1" }, shrinkage.Sound, 0},
		{"thirteen months later", bars(1222, 1220), func(a *shrinkage.Ask) { a.On = noon.AddDate(1, 1, 0) }, shrinkage.Stale, 0},
		{"stretched comes before stale", bars(1222, 1220), func(a *shrinkage.Ask) { a.On, a.Work = noon.AddDate(2, 0, 0), 1290 }, shrinkage.Stretched, 1222},
		{"the bisque was the hotter", bars(1222, 1220), func(a *shrinkage.Ask) { a.Work, a.BisqueWork = 1000, 1060 }, shrinkage.Stretched, 1220},
	} {
		f := fitted(t, shrinkage.Studio{Clays: tern6(), Bars: c.bars, Now: soon}, nil)
		a := ternB()
		if c.ask != nil {
			c.ask(&a)
		}
		got := f.Standing(a)
		if got.Trust != c.trust || got.Untested != (c.trust == shrinkage.Stretched) || c.near != 0 && got.NearestTested != c.near || got.Why == "" {
			t.Errorf("%s: %+v, want %s near %g", c.name, got, c.trust, c.near)
		}
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
			if got, err := f.Rate(ternB(), tiles.Fired); err != nil || got.Total != want.Total || got.Likely != want.Likely {
				t.Errorf("%v, %v", got, err)
			}
		})
	}
	all.Wait()
}
