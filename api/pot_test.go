package api

import (
	"html"
	"net/url"
	"strings"
	"testing"
)

// A board of cards is made from the form while the galleries are wet; sent twice it is made once.
// A card is found, opens the lid question with its sizes, takes the width of its lid, and months
// later opens the question of a replacement: three taps, find, card, lid.
func TestCardsFromTheWheelToAReplacement(t *testing.T) {
	s := testStudio(t)
	form := url.Values{"id": {s.id("f", 1)}, "form": {"teapot 0.9 l"}, "mark": {"KT"}, "number": {"212"}, "body": {"tern"}, "seat": {"inset"}, "together": {"in_place"}, "seat_glazed": {"no"},
		"galleries": {"104.5; 92.5; 104.8\n104,9; 92.5\n\n4 1/8 in; 92.5mm"}}
	for range 2 {
		if to, _ := s.form("/pots", form, 303); to != "/pots?made=3" {
			t.Errorf("leads to %s", to)
		}
	}
	var list struct{ Items []potJSON }
	s.get("/v1/pots?find=212+kt", 200, &list)
	if len(list.Items) != 1 || list.Items[0].Collar[1] != 104.8 || *list.Items[0].Opening != 92.5 || list.Items[0].Body != "tern/B" || list.Items[0].MadeOn != "2026-02-02" {
		t.Fatalf("%+v", list.Items)
	}
	s.get("/v1/pots", 200, &list)
	if len(list.Items) != 3 || list.Items[0].Number != "214" || list.Items[0].Collar[0] != 104.78 {
		t.Fatalf("%+v", list.Items)
	}
	card := list.Items[2]
	var lid lidJSON
	s.get(card.LidQuestion, 200, &lid)
	if len(lid.Asked.CollarMM) != 2 || *lid.Asked.OpeningMM != 92.5 || *lid.Asked.Form != "teapot 0.9 l" || lid.Asked.Together != "in_place" || *lid.Asked.Body != "tern/B" {
		t.Errorf("%+v", lid.Asked)
	}
	found := s.get("/pots?find=teapot+212", 200, nil)
	if !strings.Contains(found, "/pot/"+card.ID) {
		t.Error("the find page does not lead to the card")
	}
	s.form("/pot/"+card.ID+"/lid", url.Values{"set": {"102.5"}, "lid": {"102,3"}}, 303)
	s.get("/v1/pots/"+card.ID, 200, &card)
	if *card.Set != 102.5 || *card.Measured != 102.3 || card.Lid != "tern/B" {
		t.Errorf("%+v", card)
	}
	page := s.get("/pot/"+card.ID, 200, nil)
	_, later, _ := strings.Cut(page, `class="key" href="/lid?`)
	later, _, _ = strings.Cut(later, `"`)
	s.get("/v1/lid?"+html.UnescapeString(later), 200, &lid)
	if lid.Asked.Together != "apart" || *lid.Asked.CollarMM[0] != 104.5 {
		t.Errorf("a replacement: %s\n%+v", later, lid.Asked)
	}
	s.get("/lid?"+html.UnescapeString(later), 200, nil)
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
		if said := s.answer("PUT", "/v1/pots/"+s.id("q", 1), body, map[bool]int{true: 404, false: 422}[strings.HasPrefix(want, "unknown-c") || want == "unknown-batch"], nil); !strings.Contains(said, want) {
			t.Errorf("%s\n%s", body, said)
		}
	}
	_, page := s.form("/pots", url.Values{"id": {s.id("f", 2)}, "form": {"jar"}, "body": {"tern"}, "galleries": {"104.5; 92.5\n104.5; 109.5"}}, 422)
	if !strings.Contains(page, "104.5; 92.5\n104.5; 109.5") || !strings.Contains(page, "were they swapped") {
		t.Error("the form is not shown again as it was typed")
	}
	var list struct{ Items []potJSON }
	if s.get("/v1/pots", 200, &list); len(list.Items) != 0 {
		t.Errorf("%d cards of a board that was refused", len(list.Items))
	}
}

// The page of a board: its counters named by their acts, its pots ticked; a refused one is shown
// again as typed, a kept one teaches, a strike takes it back.
func TestVerdictPages(t *testing.T) {
	s := testStudio(t)
	pots := s.pots(1, 6, 104.5, 92.5, 102.5, 102.5)
	list := s.get("/verdicts", 200, nil)
	_, board, _ := strings.Cut(list, `href="/verdicts/board?card=`)
	board, _, _ = strings.Cut(board, `"`)
	page := s.get("/verdicts/board?card="+board, 200, nil)
	for _, want := range []string{"it won&#39;t go in", "binds one way", "slips past the ledge", "it rattles", "Nobody tried it", "Held by glaze", pots[5], "Load 1"} {
		if !strings.Contains(page, want) {
			t.Errorf("the page of a board lacks %q", want)
		}
	}
	form := url.Values{"id": {s.id("v", 5)}, "card": {board}, "pot": pots, "good": {"4"}, "tight": {"9"}, "plays": {"1,6"}, "load": {glazeLoad}}
	_, again := s.form("/verdicts", form, 422)
	if !strings.Contains(again, `value="9"`) || !strings.Contains(again, `value="1,6"`) || !strings.Contains(again, "13 lids told of, the board had 6") {
		t.Errorf("not shown again as typed:\n%s", again)
	}
	form.Set("tight", "2")
	to, _ := s.form("/verdicts", form, 303)
	kept := s.get(to, 200, nil)
	for _, want := range []string{"from 6 lids", "4 good", "play 1.6 mm", "fitted respirator", "Eye protection", "our ranges held"} {
		if !strings.Contains(kept, want) {
			t.Errorf("after keeping, the page lacks %q", want)
		}
	}
	if strings.Contains(kept, `href="/verdicts/board?card=`+board) {
		t.Error("the board still waits")
	}
	s.form("/verdicts/"+s.id("v", 5)+"/strike", url.Values{"why": {""}}, 422)
	s.form("/verdicts/"+s.id("v", 5)+"/strike", url.Values{"why": {"other board"}}, 303)
	if p := s.get("/verdicts", 200, nil); !strings.Contains(p, "crossed out: other board") || strings.Contains(p, "fitted respirator") {
		t.Error("the struck board is not shown as struck, or still asks for care")
	}
	s.get("/verdicts/board", 200, nil)
	s.form("/verdicts", url.Values{"id": {s.id("v", 6)}, "form": {"jar"}, "body": {"tern/B"}, "good": {"many"}}, 422)
}
