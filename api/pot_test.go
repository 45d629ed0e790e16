package api

import (
	"fmt"
	"html"
	"net/url"
	"regexp"
	"strings"
	"testing"

	"lidwright/api/wire"
)

// A board of cards is made from the form while the galleries are wet; sent twice it is made once.
// A card is found, opens the lid question with its sizes, takes the width of its lid, and months
// later opens the question of a replacement: three taps, find, card, lid.
func TestCardsFromTheWheelToAReplacement(t *testing.T) {
	s := testStudio(t)
	form := url.Values{"id": {s.id("f", 1)}, "form": {"teapot 0.9 l"}, "mark": {"KT"}, "number": {"212"},
		"body": {"tern"}, "seat": {"inset"}, "together": {"in_place"}, "seat_glazed": {"no"},
		"galleries": {"104.5; 92.5; 104.8\n104,9; 92.5\n\n4 1/8 in; 92.5mm"}}
	for range 2 {
		if to, _ := s.form("/pots", form, 303); to != "/pots?form=teapot+0.9+l&made=3" {
			t.Errorf("leads to %s", to)
		}
	}
	var list struct{ Items []wire.Pot }
	s.get("/v1/pots?find=212+kt", 200, &list)
	if len(list.Items) != 1 || list.Items[0].Collar[1] != 104.8 || *list.Items[0].Opening != 92.5 ||
		list.Items[0].Body != "tern/B" || list.Items[0].MadeOn != "2026-02-02" {
		t.Fatalf("%+v", list.Items)
	}
	s.get("/v1/pots", 200, &list)
	if len(list.Items) != 3 || list.Items[0].Number != "214" || list.Items[0].Collar[0] != 104.78 {
		t.Fatalf("%+v", list.Items)
	}
	card := list.Items[2]
	var lid wire.Lid
	s.get(card.LidQuestion, 200, &lid)
	if len(lid.Asked.CollarMM) != 2 || *lid.Asked.OpeningMM != 92.5 || *lid.Asked.Form != "teapot 0.9 l" ||
		lid.Asked.Together != "in_place" || *lid.Asked.Body != "tern/B" {
		t.Errorf("%+v", lid.Asked)
	}
	found := s.get("/pots?find=teapot+212", 200, nil)
	if !strings.Contains(found, "/pot/"+card.ID) {
		t.Error("the find page does not lead to the card")
	}
	for _, ask := range []string{card.ID, "teapot 212"} { // a lid for a pot is asked for on its card
		if got := s.get("/lid?"+url.Values{"pot": {ask}}.Encode(), 200, nil); !strings.Contains(got,
			"/pot/"+card.ID) || !strings.Contains(got, "212") {
			t.Errorf("/lid?pot=%s leads elsewhere", ask)
		}
	}
	s.form("/pot/"+card.ID+"/lid", url.Values{"set": {"102.5"}, "lid": {"102,3"}}, 303)
	s.get("/v1/pots/"+card.ID, 200, &card)
	if *card.Set != 102.5 || *card.Measured != 102.3 || card.Lid != "tern/B" {
		t.Errorf("%+v", card)
	}
	page := s.get("/pot/"+card.ID, 200, nil)
	_, later, _ := strings.Cut(page, `class="link" href="/lid?`)
	later, _, _ = strings.Cut(later, `"`)
	s.get("/v1/lid?"+html.UnescapeString(later), 200, &lid)
	if lid.Asked.Together != "apart" || *lid.Asked.CollarMM[0] != 104.5 {
		t.Errorf("a replacement: %s\n%+v", later, lid.Asked)
	}
	s.get("/lid?"+html.UnescapeString(later), 200, nil)
}

// TestAnswerBecomesACard: what the lid page was asked and answered stands in the form that its button leads
// to, in the unit of its fields, and is kept as it stands.
func TestAnswerBecomesACard(t *testing.T) {
	s := testStudio(t)
	page := s.get("/lid?collar=104.5&opening=92.5&clay=tern&form=jar&maker=KT&seat_glazed=yes", 200, nil)
	_, link, ok := strings.Cut(page, `href="/pots?`)
	link, _, _ = strings.Cut(link, "#new")
	if !ok {
		t.Fatal("no way to a card")
	}
	page = s.get("/pots?"+html.UnescapeString(link), 200, nil)
	form := url.Values{"id": {s.id("f", 7)}}
	for _, m := range regexp.MustCompile(`<input[^>]* name="(\w+)"[^>]* value="([^"]+)"[^>]*>`).FindAllStringSubmatch(page, -1) {
		if m[1] != "id" && (!strings.Contains(m[0], `type="radio"`) || strings.Contains(m[0], " checked")) {
			form.Set(m[1], html.UnescapeString(m[2]))
		}
	}
	for name, want := range map[string]string{"form": "jar", "mark": "KT", "collar": "104.5",
		"opening": "92.5", "seat": "inset"} {
		if form.Get(name) != want {
			t.Errorf("%s is %q in the form, not %q", name, form.Get(name), want)
		}
	}
	has(t, page, `<option value="tern" selected`, `<option value="yes" selected>glazed`)
	form.Set("seat_glazed", "yes")
	form.Set("body", "tern")
	s.form("/pots", form, 303)
	var list struct{ Items []wire.Pot }
	s.get("/v1/pots?find=jar", 200, &list)
	if len(list.Items) != 1 || list.Items[0].Collar[0] != 104.5 || *list.Items[0].Opening != 92.5 ||
		list.Items[0].Set == nil {
		t.Errorf("%+v", list.Items)
	}
}

// What cannot be is said with its field; the page shows it as it was typed, and keeps none of the board.
func TestCardsThatCannotBe(t *testing.T) {
	s := testStudio(t)
	for body, want := range map[string]string{
		`{"form":"jar","collar_mm":[],"body":"tern/B"}`:                          "collar_mm",
		`{"form":"jar","collar_mm":[104],"opening_mm":108,"body":"tern/B"}`:      "opening-wider-than-collar",
		`{"form":"jar","collar_mm":[0.4],"body":"tern/B"}`:                       "collar_mm",
		`{"form":"jar","collar_mm":[104],"body":"wren"}`:                         "unknown-clay",
		`{"form":"jar","collar_mm":[104],"body":"tern/Q"}`:                       "unknown-batch",
		`{"form":"jar","collar_mm":[104],"body":""}`:                             "body",
		`{"form":"","collar_mm":[104],"body":"tern/B"}`:                          "form",
		`{"form":"jar","collar_mm":[104],"body":"tern/B","made_on":"yesterday"}`: "made_on",
		`{"form":"jar","collar_mm":[104],"body":"tern/B","colour":"blue"}`:       "unknown-parameter",
	} {
		if said := s.answer("PUT", "/v1/pots/"+s.id("q", 1), body,
			map[bool]int{true: 404, false: 422}[strings.HasPrefix(want, "unknown-c") ||
				want == "unknown-batch"], nil); !strings.Contains(said, want) {
			t.Errorf("%s\n%s", body, said)
		}
	}
	_, page := s.form("/pots", url.Values{"id": {s.id("f", 2)}, "form": {"jar"}, "body": {"tern"},
		"galleries": {"104.5; 92.5\n104.5; 109.5"}}, 422)
	if !strings.Contains(page, "104.5; 92.5\n104.5; 109.5") || !strings.Contains(page, "were they swapped") {
		t.Error("the form is not shown again as it was typed")
	}
	var list struct{ Items []wire.Pot }
	if s.get("/v1/pots", 200, &list); len(list.Items) != 0 {
		t.Errorf("%d cards of a board that was refused", len(list.Items))
	}
}

// The page of a board: its counters named by their acts, its pots ticked; a refused one is shown
// again as typed, a kept one teaches, a strike takes it back.
func TestLidResultPages(t *testing.T) {
	s := testStudio(t)
	pots := s.pots(1, 6, 104.5, 92.5, 102.5, 102.5)
	list := s.get("/lid-results", 200, nil)
	_, board, _ := strings.Cut(list, `href="/lid-results/board?card=`)
	board, _, _ = strings.Cut(board, `"`)
	page := s.get("/lid-results/board?card="+board, 200, nil)
	for _, want := range []string{"it won&#39;t go in", "binds one way", "slips past the ledge", "it rattles",
		"Nobody tried it", "Held by glaze", pots[5], "Load 1"} {
		if !strings.Contains(page, want) {
			t.Errorf("the page of a board lacks %q", want)
		}
	}
	form := url.Values{"id": {s.id("v", 5)}, "card": {board}, "pot": pots, "good": {"4"}, "tight": {"9"},
		"plays": {"1,6"}, "load": {glazeLoad}}
	_, again := s.form("/lid-results", form, 422)
	if !strings.Contains(again, `value="9"`) || !strings.Contains(again, `value="1,6"`) ||
		!strings.Contains(again, "13 lids told of, the board had 6") {
		t.Errorf("not shown again as typed:\n%s", again)
	}
	form.Set("tight", "2")
	to, _ := s.form("/lid-results", form, 303)
	kept := s.get(to, 200, nil)
	for _, want := range []string{"6 lids looked at", "4 good", "gap of 1.6 mm", "fitted respirator",
		"Eye protection", "Our own ranges held"} {
		if !strings.Contains(kept, want) {
			t.Errorf("after keeping, the page lacks %q", want)
		}
	}
	if strings.Contains(kept, `href="/lid-results/board?card=`+board) {
		t.Error("the board still waits")
	}
	s.form("/lid-results/"+s.id("v", 5)+"/strike", url.Values{"why": {""}}, 422)
	s.form("/lid-results/"+s.id("v", 5)+"/strike", url.Values{"why": {"other board"}}, 303)
	if p := s.get("/lid-results", 200, nil); !strings.Contains(p, "left out: other board") ||
		strings.Contains(p,
			"fitted respirator") {
		t.Error("the struck board is not shown as struck, or still asks for care")
	}
	s.get("/lid-results/board", 200, nil)
	s.form("/lid-results", url.Values{"id": {s.id("v", 6)}, "form": {"jar"},
		"body": {"tern/B"}, "good": {"many"}}, 422)
}

// Bare or glazed, in place or apart: what a question about a form leaves open is as on the newest card
// of that form; what it says holds, and a fired pot is always fired apart from its lid.
func TestFormIsRemembered(t *testing.T) {
	s := testStudio(t)
	card := func(n int, form, seat, together string, glazed bool) {
		s.put("/v1/pots/"+s.id("f", n), fmt.Sprintf(`{"mark":"KT","number":"%d","form":%q,"seat":%q,"seat_glazed":%t,"together":%q,"collar_mm":[104.5],"opening_mm":92.5,"body":"tern/B","made_on":"2026-01-15"}`,
			n, form, seat, glazed, together), 201, nil)
	}
	card(1, "teapot", "inset", "apart", true)
	card(2, "teapot", "inset", "in_place", false)
	card(3, "jar", "inset", "apart", true)
	const jar, teapot = "&clay=tern&batch=B&form=jar", "&clay=tern&batch=B&form=teapot"
	for query, want := range map[string]struct {
		glazed   bool
		together string
	}{
		jar:                            {true, "apart"},
		teapot:                         {false, "in_place"},
		jar + "&seat_glazed=no":        {false, "apart"},
		jar + "&together=same_load":    {true, "same_load"},
		jar + "&collar_stage=fired":    {false, "apart"},
		teapot + "&collar_stage=fired": {false, "apart"},
		"&clay=tern&batch=B&form=lamp": {false, "same_load"},
		"&body_drying_ratio=0.06&body_firing_ratio=0.07&form=jar": {false, "same_load"},
	} {
		var a struct {
			Asked struct {
				Glazed   bool `json:"seat_glazed"`
				Together string
			}
		}
		s.get("/v1/lid?collar=104.5&opening=92.5&lids=1&accept=wide"+query, 200, &a)
		if a.Asked.Glazed != want.glazed || a.Asked.Together != want.together {
			t.Errorf("%s: asked as %+v, want %+v", query, a.Asked, want)
		}
	}
	// A board of the same form, by parameters and by body, says the same as with everything said.
	const galleries = `{"collar_mm":[104.5],"opening_mm":92.5}`
	body := func(more string) string {
		return `{"clay":"tern","batch":"B","form":"jar","lids":9,"accept":"wide","galleries":[` +
			strings.Repeat(galleries+",", 7) + galleries + `]` + more + `}`
	}
	said := func(more string) string {
		_, text := ask(t, "POST", s.URL+"/v1/lids/board", "application/json", body(more))
		return text
	}
	open, full, other := said(""), said(`,"seat_glazed":true,"together":"apart"`),
		said(`,"seat_glazed":false,"together":"in_place"`)
	if open != full || open == other || !strings.Contains(open, `"sizes":[`) {
		t.Errorf("a board of jars:\n%s\nsaid in full:\n%s\notherwise:\n%s", open, full, other)
	}
	if _, text := ask(t, "GET", s.URL+"/v1/lids/board?clay=tern&batch=B&form=jar&lids=9&accept=wide&galleries="+url.QueryEscape(strings.Repeat("104.5;92.5\n", 8)), "", ""); text != open {
		t.Errorf("by parameters:\n%s\nby body:\n%s", text, open)
	}
}
