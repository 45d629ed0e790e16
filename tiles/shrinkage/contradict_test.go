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
// handbook. Own bars that lose about what they say leave it; bars that lose 5 points more drop it, and the standing
// says so.
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
	source, why := fit.Source(clay)
	if source != "other_studios" || why != "24 other studios, 2026-12-01" {
		t.Errorf("%s: %s", source, why)
	}
	if got := fit.Standing(ternAsk(none), tiles.Fired); !strings.HasSuffix(got.Why, why) {
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
		if source, _ := fit.Source(clay); source != "other_studios" {
			dropped++
		}
	}
	t.Logf("of 30 ordinary studios %d drop it", dropped)
	if dropped > 4 {
		t.Errorf("of 30 ordinary studios %d drop it", dropped)
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
	if source, why := fit.Source(clay); source != "handbook" || !strings.Contains(why,
		"your own bars tell another rate than 24 other studios") {
		t.Errorf("%s: %s", source, why)
	}
}
