package api

import (
	"encoding/csv"
	"encoding/json"
	"fmt"
	"net/url"
	"strings"
	"testing"

	"lidwright/api/wire"
)

// A name that is a word of the trade too stays as it was typed on a page in another language.
func TestNameThatIsAWord(t *testing.T) {
	s := testStudio(t)
	for path, want := range map[string]string{
		"/clay/dry":       "<h1>dry: diese Masse gibt es nicht.</h1>",
		"/kiln/dry":       "<h1>dry: diesen Ofen gibt es nicht.</h1>",
		"/firing/dry":     "<h1>dry: diesen Brand gibt es nicht.</h1>",
		"/bar/XYW":        "<h1>XYW: diesen Stab gibt es nicht.</h1>",
		"/speak?next=dry": `value="dry"`,
	} {
		_, page := ask(t, "GET", s.URL+path, "", "", "Accept-Language", "de")
		if !strings.Contains(page, want) || strings.Contains(page, "trocken") {
			t.Errorf("%s in German has no %s: %s", path, want, page)
		}
	}
}

// Names from outside are kept as typed, in NFC, and are harmless wherever they are shown; what
// cannot be shown is refused with the field named.
func TestNamesFromOutside(t *testing.T) {
	s := testStudio(t)
	quoted := func(v string) string { b, _ := json.Marshal(v); return string(b) }
	clay := func(name, note string) string { return fmt.Sprintf(`{"name":%s,"note":%s}`, name, note) }
	for i, name := range []string{`"><script>alert(1)</script>`, `' onload='alert(1)`,
		"</title><img src=x onerror=alert(1)>", "=cmd|' /C calc'!A0", "שלום", "Te\u0301rn", "é̂̃̄ 💥",
		"%00 %0d%0a", "{{.}}", "a\"b,c;d"} {
		id := fmt.Sprintf("name-%d", i)
		want := strings.ReplaceAll(name, "e\u0301", "\u00e9")
		var c wire.ClayJSON
		s.put("/v1/clays/"+id, clay(quoted(name), quoted(name)), 201, &c)
		if c.Name != want || c.Note != want {
			t.Errorf("%q came back as %q", name, c.Name)
		}
		s.put("/v1/clays/"+id, clay(quoted(want), quoted(want)), 200, nil) // the same in NFC
		s.put("/v1/bars/B"+string("ABCDEFGHJK"[i])+"7",
			fmt.Sprintf(`{"id":%q,"clay":%q,"note":%s}`, s.id("n", i), id, quoted(name)), 201, nil)
		s.put("/v1/pots/"+s.id("o", i), fmt.Sprintf(`{"form":%s,"number":%s,"collar_mm":[104.5],"body":"%s/A","note":%s}`, quoted(name), quoted(name), id, quoted(name)), 201, nil)
		for _, path := range []string{"/", "/clays", "/clay/" + id, "/bars/all", "/bars.csv",
			"/bar/B" + string("ABCDEFGHJK"[i]) + "7", "/pots", "/pot/" + s.id("o", i),
			"/gauge.svg?collar=104.5&opening=92.5&lid=102.5&title=" + url.QueryEscape(name), "/bars",
			"/lid-results", "/v1/changes"} {
			a, text := ask(t, "GET", s.URL+path, "", "")
			if a.StatusCode != 200 {
				t.Errorf("%s with %q: %d", path, name, a.StatusCode)
			}
			switch kind := a.Header.Get("Content-Type"); {
			case strings.HasPrefix(kind, "text/html"), strings.HasPrefix(kind, "image/svg"):
				for _, bad := range []string{"<script>alert", "<img src=x", "' onload='alert"} {
					if strings.Contains(text, bad) {
						t.Errorf("%s: %q is markup", path, name)
					}
				}
			case strings.HasPrefix(kind, "text/csv"):
				rows, err := csv.NewReader(strings.NewReader(text)).ReadAll()
				if err != nil {
					t.Errorf("%s with %q: %v", path, name, err)
				}
				for _, row := range rows {
					for _, cell := range row {
						if strings.HasPrefix(cell, "=") {
							t.Errorf("%s: a sheet would reckon with %q", path, cell)
						}
					}
				}
			}
			if a.Header.Get("X-Content-Type-Options") != "nosniff" ||
				!strings.Contains(a.Header.Get("Content-Security-Policy"), "default-src 'self'") {
				t.Errorf("%s: headers %v", path, a.Header)
			}
		}
	}
	for _, bad := range []string{`"a\u0000b"`, `"a\u001bb"`, `"\u202etern"`, `"a\u2028b"`,
		`"\ufeff tern\u200b!"`, quoted(strings.Repeat("a", 30_000))} {
		for _, body := range []string{clay(bad, `"x"`), clay(`"Tern"`, bad)} {
			field := map[bool]string{true: "note", false: "name"}[strings.Contains(body, `"Tern"`)]
			a, text := ask(t, "PUT", s.URL+"/v1/clays/refused", "application/json", body)
			if a.StatusCode != 422 || !strings.Contains(text, `"name":"`+field+`"`) ||
				strings.Contains(text, "tern") {
				t.Errorf("%.30s as %s: %d %.200s", bad, field, a.StatusCode, text)
			}
		}
	}
	if a, _ := ask(t, "PUT", s.URL+"/v1/clays/refused", "application/json",
		clay(quoted(strings.Repeat("a", 100_000)), `""`)); a.StatusCode != 413 {
		t.Errorf("100 kB: %d", a.StatusCode)
	}
}
