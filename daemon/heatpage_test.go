package daemon

import (
	"io"
	"net/http"
	"net/url"
	"strings"
	"testing"

	"lidwright/kiln"
)

// send posts a form as a phone does and gives the page that it comes to.
func (b *heatBench) send(path string, form url.Values) (status int, page string) {
	b.t.Helper()
	r, err := http.NewRequest("POST", b.site+path, strings.NewReader(form.Encode()))
	if err != nil {
		b.t.Fatal(err)
	}
	r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	r.Header.Set("Origin", b.site)
	a, err := http.DefaultClient.Do(r)
	if err != nil {
		b.t.Fatal(err)
	}
	defer a.Body.Close()
	text, err := io.ReadAll(a.Body)
	if err != nil {
		b.t.Fatal(err)
	}
	return a.StatusCode, string(text)
}

func (b *heatBench) page(path string) string {
	b.t.Helper()
	a, err := http.Get(b.site + path)
	if err != nil {
		b.t.Fatal(err)
	}
	defer a.Body.Close()
	text, err := io.ReadAll(a.Body)
	if err != nil || a.StatusCode != 200 {
		b.t.Fatalf("%s: %d, %v", path, a.StatusCode, err)
	}
	return string(text)
}

// asRead is a page as a person reads it: the space that holds a figure to its unit is a plain one.
func asRead(page string) string { return strings.ReplaceAll(page, "\u00a0", " ") }

func holds(t *testing.T, what, page string, want ...string) {
	t.Helper()
	for _, w := range want {
		if !strings.Contains(asRead(page), w) {
			t.Errorf("%s: no %q in\n%s", what, w, page)
		}
	}
}

// Without script: cones, notes, kind and atmosphere on the firing's page, and a firing by hand.
func TestHeatPages(t *testing.T) {
	b := newHeatBench(t)
	var last kiln.FiringID
	for _, day := range []int{2, 5, 8} {
		last = b.fire(day, glazeTo1206, kiln.Glaze)
	}
	b.run()
	b.d.heat.Again(t.Context(), "big-blue")
	at := "/firing/" + string(last)
	holds(t, "a firing", b.page(at), "Firing summary", "The last 100 °C at ", "Down through 573 °C",
		"common practice (no source)", "No cone has told of this probe yet",
		"as the probe indicates", "The faint band is the last 2 firings", `class="ghost"`)
	id := newUUID()
	status, page := b.send(at+"/cones", url.Values{"id": {id}, "cone": {"6"}, "stood": {"90"},
		"shelf": {"middle"}, "by": {"KT"}, "back": {"#cones"}})
	holds(t, "a cone", page, "Cone 6 at 90°, shelf middle",
		`1220 °C<span translate="no">, KT</span>`, "Your probe reads")
	if status != 200 {
		t.Errorf("a cone: %d", status)
	}
	status, page = b.send(at+"/cones", url.Values{"id": {newUUID()}, "cone": {"0"},
		"stood": {"down"}, "shelf": {"<top>"}})
	holds(t, "cone 0", page, "There is no cone 0", `value="&lt;top&gt;"`)
	if status != 422 {
		t.Errorf("cone 0: %d", status)
	}
	_, page = b.send(at+"/cones/strike", url.Values{"cone": {id}, "why": {"the wrong shelf"}})
	holds(t, "a strike", page, "crossed out: the wrong shelf", "No cone has told of this probe yet")
	_, page = b.send(at+"/notes", url.Values{"id": {newUUID()},
		"text": {"the door seal glowed"}, "incident": {"yes"}})
	holds(t, "an incident", page, `incident</span> <span translate="no">the door seal glowed`)
	_, page = b.send(at+"/said", url.Values{"kind": {"glaze"}, "atmosphere": {"reduction"}})
	holds(t, "reduction", page, "glaze, reduction", "No usual firing to compare with yet")

	id = newUUID()
	form := url.Values{"id": {id}, "kiln": {"little-red"}, "kind": {"bisque"}, "atmosphere": {"oxidation"},
		"began_at": {"2026-01-09T18:00"}, "ended_at": {"2026-01-10T09:00"},
		"cone_1": {"06"}, "stood_1": {"down"}, "cone_2": {"05"}, "stood_2": {"45"}, "shelf": {"top"},
		"typed": {"0 20\n1:30 640"}}
	for range 2 { // sent twice it is kept once
		status, page = b.send("/by-hand", form)
		holds(t, "by hand", page, "little-red 1", "by hand", "Cone 06 down, shelf top",
			"Cone 05 at 45°, shelf top", "from the cones")
		if status != 200 || strings.Count(page, "Cone 05 at 45°") != 1 {
			t.Errorf("by hand: %d", status)
		}
	}
	form.Set("id", newUUID())
	form.Set("cone_2", "o5")
	status, page = b.send("/by-hand", form)
	holds(t, "the letter o", page, "The nearest is 05", `value="o5"`, `value="2026-01-09T18:00"`)
	if status != 422 || strings.Contains(b.page("/kiln/big-blue"), "little-red 2") {
		t.Errorf("the letter o: %d", status)
	}
	form.Set("cone_2", "05")
	form.Set("typed", "0 20\nhalf past one")
	_, page = b.send("/by-hand", form)
	holds(t, "an unreadable line", page, "Line 2: write hours, a blank, °C")
	holds(t, "spyhole", b.page("/kiln/big-blue?model="+string(last)), "Log a firing", "usual")
}
