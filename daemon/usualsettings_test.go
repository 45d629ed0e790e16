package daemon

import (
	"strings"
	"testing"
	"time"

	"lidwright/kiln"
	"lidwright/tiles"
)

// What the settings say holds where nobody says anything else: the atmosphere of loads and of firings
// by hand, and the mark length of bars.
func TestSettingsForWhatNobodySays(t *testing.T) {
	b := newHeatBenchWith(t, strings.Replace(heatSettings, `zone = "UTC"`,
		"zone = \"UTC\"\natmosphere = \"reduction\"\n[bars]\nmark_length_mm = 120", 1))
	b.run()
	put := func(path string, body map[string]any) string {
		t.Helper()
		status, text := b.ask("PUT", path, body, nil)
		if status != 201 {
			t.Fatalf("%s: %d %s", path, status, text)
		}
		return text
	}
	put("/v1/clays/tern", map[string]any{"name": "Tern stoneware", "matures_cone": "6"})
	for path, want := range map[string]struct {
		body map[string]any
		says string
	}{
		"/v1/bars/AA": {map[string]any{"id": newUUID(), "clay": "tern", "batch": "A"},
			`"mark_length_mm":120`},
		"/v1/bars/AB": {map[string]any{"id": newUUID(), "clay": "tern", "batch": "A",
			"mark_length_mm": 100}, `"mark_length_mm":100`},
		"/v1/loads/" + newUUID(): {map[string]any{"kiln": "big-blue", "kind": "glaze"},
			`"atmosphere":"reduction"`},
		"/v1/firings/" + newUUID(): {map[string]any{"kiln": "little-red", "kind": "glaze", "source": "hand",
			"began_at": "2026-01-13T18:00:00Z", "ended_at": "2026-01-14T03:40:00Z",
			"sitter": map[string]any{"cone": "6", "dropped_at": "2026-01-14T03:35:00Z"}},
			`"atmosphere":"reduction"`},
	} {
		if text := put(path, want.body); !strings.Contains(text, want.says) {
			t.Errorf("%s: no %s in %s", path, want.says, text)
		}
	}
	if got := b.d.recorder.Rules.Atmosphere; got != kiln.Reduction {
		t.Errorf("the recorder takes %q for firings that nothing is said of", got)
	}
}

// Makers who entered nothing for as long as the settings say are forgotten, and only by a clock
// that is trusted.
func TestMakersAreForgottenInTime(t *testing.T) {
	b := newHeatBenchWith(t, heatSettings+"\n[keep]\nmakers_months = 6\n")
	said := func(by string, months int) {
		t.Helper()
		at := kiln.Stamp{Boot: "then", Wall: january.AddDate(0, months, 0), Trusted: true}
		cone := tiles.ConeSeen{ID: newUUID(), Firing: "f", Cone: "06", Series: "large_self_supporting",
			Seen: "leaning", By: by}
		if _, err := b.d.store.PutCone(t.Context(), cone, at); err != nil {
			t.Fatal(err)
		}
	}
	said("OLD", 0)
	said("NEW", 3)
	marks := func() (all []string) {
		cones, err := b.d.store.Cones(t.Context(), "")
		if err != nil {
			t.Fatal(err)
		}
		for _, c := range cones {
			all = append(all, c.By)
		}
		return all
	}
	now := kiln.Stamp{Boot: "now", Since: time.Hour, Wall: january.AddDate(0, 7, 0)}
	if b.d.forgetMakers(t.Context(), now); strings.Join(marks(), ",") != "OLD,NEW" {
		t.Errorf("by a clock that may be wrong: %v", marks())
	}
	now.Trusted = true
	if b.d.forgetMakers(t.Context(), now); strings.Join(marks(), ",") != ",NEW" {
		t.Errorf("after seven months: %v", marks())
	}
}
