package api

import (
	"fmt"
	"net/url"
	"strings"
	"testing"
	"time"

	"lidwright/api/usecase"
	"lidwright/api/web"
	"lidwright/kiln"
	"lidwright/kiln/detect"
	"lidwright/kiln/record"
)

// lineless is a recorder that has one kiln and hears nothing of it.
type lineless struct{ listening }

func (lineless) Live() []record.Live { return []record.Live{{Kiln: "little-red", State: kiln.Quiet}} }

// handBench is a studio with one kiln whose firings are logged by hand.
func handBench(t *testing.T) *bench {
	t.Helper()
	b := newBench(t)
	b.s.Heat, b.s.Recorder = unmoved{}, lineless{}
	b.s.Kiln = map[kiln.KilnID]kiln.Kiln{"little-red": {ID: "little-red", Limit: 1240}}
	return b
}

func asText(answer map[string]any) string { return string(web.EncodeJSON(answer)) }

// A firing that cannot have been is refused beside its field, and one that lies over another is asked about,
// by the API and by the page alike.
func TestFiringLoggedByHandIsLookedAt(t *testing.T) {
	b := handBench(t)
	now := b.s.Now().Wall
	at := func(back time.Duration) string { return now.Add(-back).Format(time.RFC3339) }
	log := func(began, ended, more string, want int) string {
		t.Helper()
		return asText(b.json("PUT", "/v1/firings/"+b.id(),
			fmt.Sprintf(`{"source":"hand","kiln":"little-red","kind":"glaze","intended_cone":"6","began_at":%q,"ended_at":%q%s}`, began, ended, more), want))
	}
	for _, c := range []struct{ name, began, ended, says string }{
		{"ends in the future", at(2 * time.Hour), at(-2 * time.Hour), "It ends in the future."},
		{"begins in the future", at(-2 * time.Hour), at(-12 * time.Hour), "It begins in the future."},
		{"one minute long", at(2 * time.Hour), at(119 * time.Minute), "A firing of 1 min."},
		{"backwards", at(2 * time.Hour), at(3 * time.Hour), "It ended before it began."},
	} {
		if said := log(c.began, c.ended, "", 422); !strings.Contains(said, c.says) {
			t.Errorf("%s: %s", c.name, said)
		}
	}
	log(at(40*time.Hour), at(20*time.Hour), "", 201)
	if said := log(at(30*time.Hour), at(10*time.Hour), "", 422); !strings.Contains(said,
		"little-red 1 went on at that time") || !strings.Contains(said, `"overlaps"`) {
		t.Errorf("over another one: %s", said)
	}
	log(at(30*time.Hour), at(10*time.Hour), `,"overlaps":true`, 201)
	log(at(9*time.Hour), at(2*time.Hour), "", 201)

	form := url.Values{"id": {b.id()}, "kiln": {"little-red"}, "kind": {"glaze"},
		"began_at": {now.Add(-25 * time.Hour).Format("2006-01-02T15:04")},
		"ended_at": {now.Add(-22 * time.Hour).Format("2006-01-02T15:04")}}
	r, page := b.send("POST", "/by-hand", "application/x-www-form-urlencoded", form.Encode())
	if r.StatusCode != 422 || !strings.Contains(page, `name="overlaps"`) ||
		!strings.Contains(page, form.Get("began_at")) {
		t.Errorf("the page: %d, it asks: %v, what was typed stays: %v", r.StatusCode,
			strings.Contains(page, `name="overlaps"`), strings.Contains(page, form.Get("began_at")))
	}
	form.Set("overlaps", "yes")
	if r, page := b.send("POST", "/by-hand", "application/x-www-form-urlencoded",
		form.Encode()); r.StatusCode != 200 && r.StatusCode != 303 {
		t.Errorf("answered: %d %s", r.StatusCode, page)
	}
}

// A logged firing takes a load, and says no word of a probe that it never had.
func TestFiringLoggedByHandTakesALoad(t *testing.T) {
	b := handBench(t)
	load := b.id()
	b.json("PUT", "/v1/loads/"+load, `{"kiln":"little-red","kind":"glaze"}`, 201)
	_, page := b.send("GET", "/by-hand?kiln=little-red", "", "")
	if !strings.Contains(page, `<option value="`+load+`"`) {
		t.Fatal("the page offers no load")
	}
	form := url.Values{"id": {b.id()}, "kiln": {"little-red"}, "kind": {"glaze"},
		"intended_cone": {"6"}, "load": {load}}
	b.send("POST", "/by-hand", "application/x-www-form-urlencoded", form.Encode())
	said := asText(b.json("GET", "/v1/firings/"+form.Get("id"), "", 200))
	if !strings.Contains(said, load) || !strings.Contains(said, `"probe_says":""`) ||
		strings.Contains(said, `"usual":true`) {
		t.Errorf("%s", said)
	}
}

// A card that says neither day nor number gets both, keeps them, and is found by them.
func TestPotCardHasDayAndNumber(t *testing.T) {
	b := newBench(t)
	b.tern("BQ7")
	first, second := b.id(), b.id()
	body := `{"form":"teapot","mark":"KT","collar_mm":[104.5],"body":"tern/A"}`
	b.json("PUT", "/v1/pots/"+first, strings.Replace(body, `"mark"`, `"number":"211","mark"`, 1), 201)
	b.json("PUT", "/v1/pots/"+second, body, 201)
	b.json("PUT", "/v1/pots/"+second, body, 200)
	day := b.s.Now().Wall.Format(time.DateOnly)
	if said := asText(b.json("GET", "/v1/pots/"+second, "", 200)); !strings.Contains(said,
		`"number":"212"`) || !strings.Contains(said, day) {
		t.Errorf("%s", said)
	}
	if said := asText(b.json("GET", "/v1/pots?find="+day, "", 200)); strings.Count(said,
		`"form":"teapot"`) != 2 {
		t.Errorf("found by %s: %s", day, said)
	}
}

// While a kiln is hot and nobody records it, every page says so first; a kiln about to begin is left alone.
func TestHotAndNotRecorded(t *testing.T) {
	for _, c := range []struct {
		name string
		open kiln.FiringID
		live kiln.State
		t    kiln.Celsius
		want bool
	}{
		{"stopped at the top", "", kiln.Rising, 994, true},
		{"stopped while it cools", "", kiln.Falling, 70, true},
		{"recorded", "f", kiln.Rising, 994, false},
		{"about to begin", "", kiln.Rising, 64, false}, {"cold", "", kiln.Cold, 20, false},
	} {
		b := newBench(t)
		l := inState(c.live, c.t)
		l.Firing = c.open
		b.s.Recorder = &hearth{live: l}
		for _, path := range []string{"/lid", "/clays", "/help"} {
			if _, page := b.send("GET", path, "", ""); strings.Contains(page,
				"is hot and not recorded") != c.want {
				t.Errorf("%s, %s: says it %v", c.name, path, !c.want)
			}
		}
	}
}

// Of many gaps the number, the sum and the longest are told.
func TestManyGapsInOneSentence(t *testing.T) {
	f := kiln.Firing{Status: kiln.Incomplete, Peak: kiln.NoTemperature()}
	for i := range 151 {
		f.Gaps = append(f.Gaps, kiln.Gap{After: time.Duration(i) * 10 * time.Minute,
			For: time.Duration(1+i%4) * time.Minute, Known: true})
	}
	s := (&usecase.Studio{Site: usecase.Site{Zone: time.UTC}}).Firings()
	b := newBench(t)
	s.Recorder = b.s.Recorder
	if says := s.Firing(f, detect.Expected{}).Says; says.String() != "151 gaps, 376 min in all, the longest 4 min; incomplete" {
		t.Errorf("%q", says)
	}
}

// In the night in which the clock went back the page asks which of the two times is meant, and keeps what was
// typed; a time that the clock jumped over is refused.
func TestFiringLoggedInTheNightOfTheClock(t *testing.T) {
	b := handBench(t)
	zone, err := time.LoadLocation("Europe/Berlin")
	if err != nil {
		t.Fatal(err)
	}
	b.s.Site.Zone = zone
	form := url.Values{"id": {b.id()}, "kiln": {"little-red"}, "kind": {"glaze"}, "intended_cone": {"6"},
		"note": {"wind"}, "began_at": {"2025-03-30T02:30"}, "ended_at": {"2025-03-30T20:00"}}
	post := func() (int, string) {
		r, page := b.send("POST", "/by-hand", "application/x-www-form-urlencoded", form.Encode())
		return r.StatusCode, page
	}
	if code, page := post(); code != 422 || !strings.Contains(page, "30 Mar 02:30 never was") ||
		!strings.Contains(page, `value="2025-03-30T02:30"`) || strings.Contains(page, "began_at_which") {
		t.Errorf("a time that never was: %d %s", code, page)
	}
	form.Set("began_at", "2025-10-26T02:30")
	form.Set("ended_at", "2025-10-26T20:00")
	if code, page := post(); code != 422 || !strings.Contains(page, "26 Oct 02:30 came twice") ||
		!strings.Contains(page, `name="began_at_which"`) ||
		strings.Contains(page, `name="ended_at_which"`) ||
		!strings.Contains(page, `value="2025-10-26T02:30"`) || !strings.Contains(page, "wind") {
		t.Errorf("a time that came twice: %d %s", code, page)
	}
	form.Set("began_at_which", "second")
	if code, page := post(); code != 200 && code != 303 {
		t.Fatalf("%d %s", code, page)
	}
	if kept := asText(b.json("GET", "/v1/firings/"+form.Get("id"), "", 200)); !strings.Contains(kept,
		`"started_at":"2025-10-26T02:30:00+01:00"`) {
		t.Errorf("kept %s", kept)
	}
}

// Bars that nobody packed are told with the firing that is logged: they come into a load of their own, which
// sent again is the same. What is wrong with them is said beside their field before anything is kept, and
// bars that lie in another load are asked about.
func TestFiringLoggedByHandTakesBars(t *testing.T) {
	b := handBench(t)
	b.tern("BQ7")
	b.json("PUT", "/v1/bars/BQ4", fmt.Sprintf(`{"id":%q,"clay":"tern"}`, b.id()), 201)
	form := url.Values{"id": {b.id()}, "kiln": {"little-red"}, "kind": {"glaze"}, "intended_cone": {"6"}}
	sent := func(bars string) (int, string) {
		t.Helper()
		form.Set("bars", bars)
		r, page := b.send("POST", "/by-hand", "application/x-www-form-urlencoded", form.Encode())
		return r.StatusCode, page
	}
	for bars, says := range map[string]string{"BQ7 BR7": "is not in the record",
		"B!": "B!", "BQ7@top BQ7": "BQ7"} {
		status, page := sent(bars)
		if status < 400 || !strings.Contains(page, `aria-describedby="wrong-bars"`) ||
			!strings.Contains(page, says) || !strings.Contains(page, `value="`+bars+`"`) {
			t.Errorf("%q: %d, %s", bars, status, page[strings.Index(page, "<form"):])
		}
		b.json("GET", "/v1/firings/"+form.Get("id"), "", 404)
	}
	other := b.id()
	b.json("PUT", "/v1/loads/"+other, `{"kiln":"little-red","kind":"glaze","bars":[{"bar":"BQ4"}]}`, 201)
	if status, page := sent("BQ7 BQ4"); status != 409 && status != 422 || !strings.Contains(page,
		`name="move"`) {
		t.Errorf("a bar of another load: %d, %.2000s", status, page)
	}
	b.json("GET", "/v1/firings/"+form.Get("id"), "", 404)
	form.Set("move", "yes")
	for range 2 {
		if status, page := sent("BQ7@top BQ4"); status >= 400 {
			t.Fatalf("answered: %d %s", status, page)
		}
	}
	said := asText(b.json("GET", "/v1/loads?limit=10", "", 200))
	if strings.Count(said, `"id"`) != 2 || strings.Count(said, `"bar":"BQ7","shelf":"top"`) != 1 ||
		strings.Count(said, `"BQ4"`) != 1 || !strings.Contains(said, form.Get("id")) {
		t.Errorf("the loads: %s", said)
	}
}
