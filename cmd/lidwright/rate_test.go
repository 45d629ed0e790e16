package main

import (
	"encoding/json"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
)

// TestRate: what the command asks, prints and ends with; the answers are those of a daemon, cut
// short.
func TestRate(t *testing.T) {
	var asked []string
	trust, source := "well_tested", `"source":"handbook"`
	srv := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		asked = append(asked, r.URL.RequestURI())
		w.Header().Set("Content-Type", "application/json")
		switch {
		case r.URL.Path == "/v1/clays/tern/shrinkage":
			w.Write([]byte(`{"clay":"tern","batch":"B","from":"wet","to":"fired","at":{"from":"usual","kind":"glaze","heat_work_c":1222.0,"cone_words":"6 well down"},"total_ratio":0.124,
				"likely_low_ratio":0.121,"likely_high_ratio":0.127,"next_piece_low_ratio":0.117,"next_piece_high_ratio":0.131,"trust":"` + trust + `","trust_why":"14 bars in 4 loads"}`))
		case r.URL.Path == "/v1/clays/tern/moves":
			w.Write([]byte(`{"clay":"tern","batch":"B","items":[{"at":"2026-02-02T15:21:08+01:00","was_ratio":0.123,"now_ratio":0.124,"because":["bar BQ4"]}],"rests_on":{"bars":14,"loads":4,"struck":1},
				"left_out":[{"bar":"BQ7","stage":"fired","why":"far from what the other readings say","distrusted":true,"off_mm":4.9},{"bar":"BQ8","stage":"wet","why":"struck","distrusted":false}],
				"next_bars":[{"says":"one bar, read wet and fired: a lid of 150 mm comes 0.08 mm nearer"}],"sharpens":true,
				"batches":[{"batch":"A","more_mm":2.2,"likely_low_mm":1.8,"likely_high_mm":2.6,"differs":true}],
				"probes":[{"probe":"big-blue/1","drift_c":11.2,"drift_sd_c":4.1,"disagree":true}],"on_lid_mm":150,` + source + `}`))
		default:
			w.Header().Set("Content-Type", "application/problem+json")
			w.WriteHeader(404)
			w.Write([]byte(`{"type":"/problems/unknown-clay","title":"No clay has this name","status":404,"detail":"No clay dunlin here."}`))
		}
	}))
	defer srv.Close()
	ask := func(args ...string) (string, int) {
		return outLine(t, append([]string{"rate", "--site", srv.URL}, args...)...)
	}

	out, code := ask("tern", "--batch", "B", "--heat-work-c", "1222")
	if code != exitDone || !strings.Contains(out,
		"tern/B, wet to fired at the usual glaze firing (6 well down): 12.4 %, likely 12.1 to 12.7; the next piece 11.7 to 13.1") {
		t.Errorf("exit %d: %s", code, out)
	}
	if asked[0] != "/v1/clays/tern/shrinkage?batch=B&heat_work_c=1222" {
		t.Errorf("asked %s", asked[0])
	}
	out, code = ask("tern", "--why")
	for _, want := range []string{"rests on 14 bars in 4 loads, 1 reading crossed out",
		"2026-02-02  12.3 to 12.4 %  bar BQ4", "Looks wrong, left out: bar BQ7, fired, +4.9 mm off",
		"Against batch A: +2.2 mm smaller on 150 mm, likely +1.8 to +2.6: differs.",
		"To sharpen it: one bar, read wet and fired",
		"LOOK  The bars and the probe big-blue/1 disagree: +11 ± 4 °C"} {
		if !strings.Contains(out, want) {
			t.Errorf("no %q in\n%s", want, out)
		}
	}
	if code != exitDone || strings.Contains(out, "BQ8") {
		t.Errorf("exit %d: %s", code, out)
	}
	if !strings.Contains(out, "Beside its own bars it goes by the handbook (handbook).") {
		t.Errorf("it does not say what it goes by: %s", out)
	}
	const others = `,"other_studios":{"studios":41,"made":"2026-12-01T08:00:00Z","left_out":`
	for answer, wants := range map[string][]string{
		`"source":"other_studios"` + others +
			`false,"advice":[]}`: {"Beside its own bars it goes by 41 other studios, 2026-12-01 (other_studios)."},
		`"source":"stated"` + others + `true,"advice":["Your bars of it shrink 5.9 % more."]}`: {"it goes by the supplier's figure; its own bars tell another rate than 41 other studios, 2026-12-01 (stated).",
			"Your bars of it shrink 5.9 % more."},
	} {
		source = answer
		out, _ := ask("tern", "--why")
		for _, want := range wants {
			if !strings.Contains(out, want) {
				t.Errorf("no %q in\n%s", want, out)
			}
		}
	}
	source = `"source":"handbook"`
	out, _ = ask("tern", "--why", "--json")
	if !json.Valid([]byte(out)) {
		t.Errorf("no JSON: %s", out)
	}
	trust = "old"
	if out, code := ask("tern"); code != exitWeakRate || !strings.Contains(out, "Trust: old (") {
		t.Errorf("a stale rate: exit %d: %s", code, out)
	}
	if out, code := ask("dunlin"); code != exitFailed || !strings.Contains(out, "dunlin") {
		t.Errorf("an unknown clay: exit %d: %s", code, out)
	}
}
