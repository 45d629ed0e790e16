package api

import (
	"encoding/csv"
	"encoding/json"
	"fmt"
	"strings"
	"testing"
)

// textKinds are the bodies of every kind of fact that holds a text of somebody's, with the place of
// one text in each left open; n makes the ids of one text others than those of the next.
func textKinds(s *studio, n int) []struct{ field, path, body string } {
	id := func(word string) string { return s.id(word, 1000+n) }
	firing := id("f")
	pot := func(field string) string {
		return `{"form":"jar","collar_mm":[104.5],"body":"tern/B","` + field + `":%s}`
	}
	return []struct{ field, path, body string }{
		{"name", "/v1/clays/tern", `{"name":%s,"matures_cone":"6"}`},
		{"note", "/v1/clays/tern", `{"name":"Tern","matures_cone":"6","note":%s}`},
		{"maker_code", "/v1/clays/tern", `{"name":"Tern","matures_cone":"6","maker_code":%s}`},
		{"grog", "/v1/clays/tern", `{"name":"Tern","matures_cone":"6","grog":%s}`},
		{"stamp", "/v1/clays/tern/batches/B", `{"kind":"bought","open":true,"stamp":%s}`},
		{"note", "/v1/clays/tern/batches/B", `{"kind":"bought","open":true,"note":%s}`},
		{"note", "/v1/bars/BQA", `{"id":"` + s.id("b", 999) + `","clay":"tern","note":%s}`},
		{"by", "/v1/bars/BQA", `{"id":"` + s.id("b", 999) + `","clay":"tern","by":%s}`},
		{"by", "/v1/bars/BQA/readings/" + id("r"),
			`{"stage":"wet","length":"100.0","instrument":"calliper","by":%s}`},
		{"note", "/v1/loads/" + id("l"), `{"kind":"glaze","kiln":"big-blue","heat_work_c":1222,"note":%s}`},
		{"packed_by", "/v1/loads/" + id("m"),
			`{"kind":"glaze","kiln":"big-blue","heat_work_c":1222,"packed_by":%s}`},
		{"form", "/v1/pots/" + id("o"), strings.Replace(pot("note"), `"form":"jar"`, `"form":%s`, 1)},
		{"number", "/v1/pots/" + id("p"), pot("number")},
		{"mark", "/v1/pots/" + id("q"), pot("mark")},
		{"note", "/v1/pots/" + id("s"), pot("note")},
		{"form", "/v1/lid-results/" + id("v"), `{"body":"tern/B","lids":2,"counts":{"good":2},"form":%s}`},
		{"maker", "/v1/lid-results/" + id("w"),
			`{"body":"tern/B","lids":2,"form":"jar","counts":{"good":2},"maker":%s}`},
		{"note", "/v1/firings/" + firing, `{"source":"hand","kiln":"big-blue","kind":"glaze","began_at":"2026-01-20T08:00:00Z","ended_at":"2026-01-21T08:00:00Z","overlaps":true,"intended_cone":"6","note":%s}`},
		{"text", "/v1/firings/" + firing + "/notes/" + id("n"), `{"text":%s}`},
		{"by", "/v1/firings/" + firing + "/cones/" + id("c"),
			`{"cone":"6","seen":"leaning","tilt_deg":40,"by":%s}`},
	}
}

// Every text of every kind of fact is refused where it holds what cannot be shown, with its field
// named, and kept as it was typed, in NFC, where it looks like markup, a formula or a header; and
// then it is harmless on every page, in every table and on every line of text that shows it.
func TestTextsOfAllKinds(t *testing.T) {
	s := testStudio(t)
	s.put("/v1/clays/tern", `{"name":"Tern","matures_cone":"6"}`, 201, nil)
	s.put("/v1/bars/BQA", `{"id":"`+s.id("b", 999)+`","clay":"tern"}`, 201, nil)
	s.put("/v1/firings/"+s.id("f", 1000), strings.Replace(textKinds(s, 0)[17].body, `"note":%s`,
		`"note":"ours"`, 1), 201, nil)
	for _, k := range textKinds(s, 0) {
		for _, bad := range []string{`"a\u0000b"`, `"a\u001bb"`, `"\u202ea"`, `"a\u2028b"`, `"\u200ba"`,
			`"\ud800"`, `"\udc00\ud800"`, `"a\uD83Dx"`, "\"\xff\"", `"a\r\nB: c"`} {
			a, text := ask(t, "PUT", s.URL+k.path, "application/json",
				strings.Replace(strings.Replace(k.body, "%s", bad, 1), `"note":%s`, `"note":""`, 1))
			surrogate := strings.Contains(strings.ToLower(bad), `\ud`) || strings.Contains(bad, "\xff")
			switch {
			case surrogate && a.StatusCode == 400:
			case !surrogate && a.StatusCode == 422 && strings.Contains(text, `"name":"`+k.field+`"`):
			case bad == `"a\r\nB: c"` && (k.field == "note" || k.field == "text") &&
				a.StatusCode == 422:
				// a note may have lines, and no carriage returns
			default:
				t.Errorf("%s of %s as %q: %d %.300s", k.field, k.path, bad, a.StatusCode, text)
			}
		}
	}
	if t.Failed() {
		return
	}
	for n, typed := range []string{`<script>alert(1)</script>`, "=cmd|'x'!A0", "Te\u0301rn 💥",
		`"><img src=x onerror=alert(1)>`, "{{.}}", "a\",b;c\\"} {
		want := strings.ReplaceAll(typed, "e\u0301", "\u00e9")
		s.put("/v1/firings/"+s.id("f", 1000+n),
			strings.Replace(textKinds(s, n)[17].body, `"note":%s`, `"note":"ours"`, 1),
			map[bool]int{true: 200, false: 201}[n == 0], nil)
		for _, k := range textKinds(s, n) {
			value := typed
			if strings.Contains("by maker mark packed_by", k.field) { // a mark of eight signs
				value = string([]rune(typed)[:min(8, len([]rune(typed)))])
			}
			quoted, _ := json.Marshal(value)
			body := strings.Replace(strings.Replace(k.body, "%s", string(quoted), 1),
				`"note":%s`, `"note":""`, 1)
			a, text := ask(t, "PUT", s.URL+k.path, "application/json", body)
			var back map[string]any
			if err := json.Unmarshal([]byte(text), &back); err != nil || a.StatusCode/100 != 2 {
				t.Errorf("%s of %s as %q: %d %.300s", k.field, k.path, value, a.StatusCode, text)
				continue
			}
			if got, ok := back[k.field].(string); ok && got != strings.ReplaceAll(value, "e\u0301",
				"\u00e9") {
				t.Errorf("%s of %s: %q came back as %q", k.field, k.path, value, got)
			}
		}
		for _, path := range []string{"/", "/clays", "/clay/tern", "/bars/all", "/bars.csv", "/bar/BQA",
			"/pots", "/pot/" + s.id("o", 1000+n), "/v1/loads", "/load/" + s.id("l", 1000+n),
			"/lid-results", "/firings",
			"/firing/" + s.id("f", 1000+n), "/bars", "/lid?clay=tern&collar=104.5", "/v1/changes"} {
			for _, accept := range []string{"", "text/plain", "text/csv"} {
				a, text := ask(t, "GET", s.URL+path, "", "", "Accept", accept)
				if a.StatusCode != 200 && a.StatusCode != 404 {
					t.Errorf("%s with %q: %d", path, typed, a.StatusCode)
				}
				switch kind := a.Header.Get("Content-Type"); {
				case strings.HasPrefix(kind, "text/html"), strings.HasPrefix(kind, "image/svg"):
					for _, bad := range []string{"<script>alert", "<img src=x"} {
						if strings.Contains(text, bad) {
							t.Errorf("%s: %q is markup", path, want)
						}
					}
				case strings.HasPrefix(kind, "text/csv"):
					rows, err := csv.NewReader(strings.NewReader(text)).ReadAll()
					if err != nil {
						t.Errorf("%s with %q: %v", path, want, err)
					}
					for _, row := range rows {
						for _, cell := range row {
							if strings.HasPrefix(cell, "=") {
								t.Errorf("%s: a sheet would reckon with %q", path, cell)
							}
						}
					}
				case strings.HasPrefix(kind, "text/plain"):
					if strings.ContainsAny(text, "\x00\x1b\r") {
						t.Errorf("%s: %q steers a terminal", path, text)
					}
				}
			}
		}
	}
	// The same text written in the other way is the same.
	one, other := fmt.Sprintf(`{"name":%q,"matures_cone":"6"}`,
		"Te\u0301rn"), fmt.Sprintf(`{"name":%q,"matures_cone":"6"}`, "T\u00e9rn")
	s.put("/v1/clays/same", one, 201, nil)
	s.put("/v1/clays/same", other, 200, nil)
}
