package shrinkage_test

import (
	"strings"
	"testing"
	"time"

	"lidwright/kiln"
	"lidwright/tiles"
	"lidwright/tiles/shrinkage"
	"lidwright/tiles/tilestest"
)

// TestOwnBarsAgainstThePool: what 24 other studios tell of a clay stands in the place of its supplier and the
// handbook. Own bars that lose about what they say leave it; bars that lose 5 points more drop it, and the
// advice says so.
func TestOwnBarsAgainstThePool(t *testing.T) {
	const clay, matures = tiles.ClayID("tern"), kiln.Celsius(1222)
	var told []shrinkage.Summary
	for n := range uint64(24) {
		m := tilestest.Make(2702, n, tilestest.Options{Row: tilestest.Three})
		s, _, err := shrinkage.Summarise(t.Context(), fitted(t, m.Studio, nil), clay, matures)
		if err != nil {
			t.Fatal(err)
		}
		told = append(told, s)
	}
	p, err := shrinkage.PoolOf(t.Context(), told)
	if err != nil {
		t.Fatal(err)
	}
	prior, err := p.For(-1)
	if err != nil {
		t.Fatal(err)
	}
	read, err := shrinkage.ReadPrior(prior.Bytes())
	if err != nil || read != prior {
		t.Fatalf("a prior read again is another: %v", err)
	}
	pools := map[tiles.ClayID]shrinkage.Pooled{clay: {Prior: prior, Matures: matures, Studios: 24,
		Made: time.Date(2026, 12, 1, 0, 0, 0, 0, time.UTC)}}
	none := tilestest.Make(2703, 0, tilestest.Options{Row: tilestest.None})
	none.Studio.Pools = pools
	fit, err := none.Studio.FitWithPools(t.Context(), nil)
	if err != nil {
		t.Fatal(err)
	}
	o, there := shrinkage.OthersTell(fit, clay)
	if source := shrinkage.SourceOf(fit, clay); source != shrinkage.FromOthers || !there || o.Differs() || o.Studios != 24 {
		t.Errorf("%s: %+v", source, o)
	}
	if got := fit.Standing(ternAsk(none), tiles.Fired); !strings.HasSuffix(got.Why.String(),
		"24 other studios, 2026-12-01") {
		t.Errorf("%+v", got)
	}
	dropped := 0
	for n := range uint64(30) {
		m := tilestest.Make(2702, 100+n, tilestest.Options{Row: tilestest.Three, NoSlips: true})
		m.Studio.Pools = pools
		fit, err := m.Studio.FitWithPools(t.Context(), nil)
		if err != nil {
			t.Fatal(err)
		}
		if shrinkage.SourceOf(fit, clay) != shrinkage.FromOthers {
			dropped++
		}
	}
	t.Logf("of 30 ordinary studios %d drop it", dropped)
	if dropped > 4 {
		t.Errorf("of 30 ordinary studios %d drop it", dropped)
	}
	near := tilestest.Make(2702, 100, tilestest.Options{Row: tilestest.Three, NoSlips: true})
	for chance, messages := range map[float64]int{0.4: 0, 0.6: 2} { // by what the collector made of it
		one := pools[clay]
		one.Unlike = chance
		near.Studio.Pools = map[tiles.ClayID]shrinkage.Pooled{clay: one}
		if fit, err = near.Studio.FitWithPools(t.Context(), nil); err != nil {
			t.Fatal(err)
		}
		o, _ := shrinkage.OthersTell(fit, clay)
		if said := o.Advice(); o.LeftOut || len(said) != messages || o.Differs() != (messages > 0) {
			t.Errorf("unlike with %g: %+v, %v", chance, o, said)
		}
	}
	m := tilestest.Make(2702, 200, tilestest.Options{Row: tilestest.Ten, NoSlips: true})
	for i := range m.Bars {
		for j := range m.Bars[i].Readings {
			if r := &m.Bars[i].Readings[j]; m.Bars[i].Clay == clay && r.Stage == tiles.Wet {
				r.Length *= 1.25
			}
		}
	}
	m.Studio.Pools = pools
	if fit, err = m.Studio.FitWithPools(t.Context(), nil); err != nil {
		t.Fatal(err)
	}
	o, _ = shrinkage.OthersTell(fit, clay)
	if source := shrinkage.SourceOf(fit, clay); source != shrinkage.FromHandbook || !o.LeftOut || o.Own < o.Theirs+0.04 || o.Own > o.Theirs+0.25 {
		t.Errorf("%s: %+v", source, o)
	}
	if said := o.Advice(); len(said) != 3 || !strings.Contains(said[0].String(),
		"more than those of 24 other studios") {
		t.Errorf("%v", said)
	}
}
