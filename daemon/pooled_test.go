package daemon

import (
	"net/http"
	"slices"
	"testing"

	"lidwright/api/wire"
	"lidwright/daemon/store"
	"lidwright/tiles/shrinkage"
	"lidwright/tiles/tilestest"
)

// TestOthersToldBefore: what other studios told, as the store keeps it, stands in the place of the supplier's
// figure with no collector at all, also where it was told by the model before; by a model whose coefficients
// are others, or with numbers that are no prior, it is not used.
func TestOthersToldBefore(t *testing.T) {
	m := tilestest.Make(2706, 0, tilestest.Options{Row: tilestest.Ten})
	fit, err := m.Studio.Fit(t.Context(), nil)
	if err != nil {
		t.Fatal(err)
	}
	one, _, err := shrinkage.Summarise(t.Context(), fit, tilestest.ClayName(0), 1222)
	if err != nil {
		t.Fatal(err)
	}
	pool, err := shrinkage.PoolOf(t.Context(), slices.Repeat([]shrinkage.Summary{one}, 12))
	if err != nil {
		t.Fatal(err)
	}
	prior, err := pool.For(-1)
	if err != nil {
		t.Fatal(err)
	}
	models := shrinkage.PoolModels()
	b := newHeatBench(t)
	b.run()
	var kept []wire.KeptBody
	clays := []struct {
		id, model string
		prior     []byte
		source    string
	}{{"tern", models[0], prior.Bytes(), "other_studios"}, {"knot", models[1],
		prior.Bytes(), "other_studios"},
		{"ruff", "1", prior.Bytes(), "stated"}, {"dunlin", models[0], prior.Bytes()[8:], "stated"}}
	for _, c := range clays {
		clay := map[string]any{"name": c.id, "matures_cone": "6",
			"stated_total_ratio": 0.12, "stated_cone": "6"}
		if status, text := b.ask("PUT", "/v1/clays/"+c.id, clay, nil); status >= 300 {
			t.Fatalf("%d %s", status, text)
		}
		kept = append(kept, wire.KeptBody{Clay: c.id,
			Body: wire.CatalogueBody{ID: "0199a3c4-0000-7000-8000-000000000000", Name: c.id},
			Told: &wire.PoolAnswer{Model: c.model, Studios: 11, Made: january,
				MaturesC: 1222, Prior: c.prior}})
	}
	if err := (store.Outbox{Store: b.d.store}).SaveClayBodies(t.Context(), kept); err != nil {
		t.Fatal(err)
	}
	if err := b.d.outbox.ReadBodies(t.Context()); err != nil {
		t.Fatal(err)
	}
	b.d.shrink.Touch()
	if err := b.d.shrink.settled(t.Context()); err != nil {
		t.Fatal(err)
	}
	for _, c := range clays {
		var j wire.Shrinkage
		if status, text := b.ask("GET", "/v1/clays/"+c.id+"/shrinkage", nil, &j); status != http.StatusOK ||
			j.Source != c.source {
			t.Errorf("%s, told by model %s: %d, by %q, want %q: %.200s", c.id, c.model, status,
				j.Source, c.source, text)
		}
	}
}
