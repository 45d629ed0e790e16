package api

import (
	"encoding/json"
	"fmt"
	"net/url"
	"reflect"
	"strings"
	"testing"

	"lidwright/api/wire"
)

const statedRates = "body_drying_ratio=0.06&body_firing_ratio=0.07"

// eightPots are galleries of 100 to 107 mm with a ledge opening 12 mm less.
func eightPots() string {
	var b strings.Builder
	for i := range 8 {
		fmt.Fprintf(&b, "p%d: %d; %d\n", i+1, 100+i, 88+i)
	}
	return b.String()
}

func askBoard(t *testing.T, server, query string) wire.Board {
	t.Helper()
	a, body := ask(t, "GET", server+"/v1/lids/board?"+query, "", "")
	var j wire.Board
	if err := json.Unmarshal([]byte(body), &j); err != nil || a.StatusCode != 200 {
		t.Fatalf("%s: %d %v %.400s", query, a.StatusCode, err, body)
	}
	return j
}

// Lids thrown by hand: 6 and 7 % leave 0.94 x 0.93 = 0.8742 of the wet length. A lid for a play of
// 1.75 is the gallery less 1.75/0.8742 = 2.0018 mm; lids of 98.0, 99.0 ... 105.0, told in another
// order, each belong to the pot that is 2 mm wider. A ninth of 60 fits none, a pot of 120 waits for
// 120 - 2.0018 = 117.998, or, its window growing with its diameter, a step of 0.5 near it.
func TestBoardPairs(t *testing.T) {
	srv := testServer(t)
	lids := "d: 101\nh: 105\na: 98\ng: 104\nb: 99\nf: 103\nc: 100\ne: 102\nx: 60"
	q := url.Values{"galleries": {eightPots() + "p9: 120; 107"},
		"measured_lids": {lids}, "lid_stage": {"wet"},
		"body_drying_ratio": {"6%"}, "body_firing_ratio": {"7%"}, "measure_sd_mm": {"0.1"}}
	j := askBoard(t, srv.URL, q.Encode())
	if j.Sizes != nil || len(j.Pairs) != 9 || j.Lids != 9 {
		t.Fatalf("%+v", j)
	}
	for i, p := range j.Pairs[:8] {
		if want := string(rune('a' + i)); p.Lid == nil || *p.Lid != want || p.Pot == nil ||
			*p.Pot != fmt.Sprintf("p%d", i+1) || *p.FitChance < 0.9 {
			t.Errorf("pot %d: %+v, want lid %s", i+1, p, want)
		}
	}
	if p := j.Pairs[8]; p.Lid != nil || p.SetMM == nil || *p.SetMM < 117.5 || *p.SetMM > 118 {
		t.Errorf("the wide pot: %+v", p)
	}
	_, text := ask(t, "GET", srv.URL+"/v1/lids/board?"+q.Encode(), "", "", "Accept", "text/plain")
	if !strings.HasPrefix(text, "p1 lid a\np2 lid b\n") || !strings.Contains(text, "p9 throw 117.5\n") &&
		!strings.Contains(text, "p9 throw 118.0\n") {
		t.Errorf("as text: %q", text)
	}
}

// The same board asked by parameters and as JSON, as text and on the page.
func TestBoardAskedEachWay(t *testing.T) {
	srv := testServer(t)
	q := url.Values{"galleries": {eightPots()}, "body_drying_ratio": {"0.06"}, "body_firing_ratio": {"0.07"},
		"lids": {"10"}, "sizes_most": {"4"}, "together": {"in_place"}}
	j := askBoard(t, srv.URL, q.Encode())
	n := 0
	for _, s := range j.Sizes {
		n += s.Count
	}
	if j.Galleries != 8 || j.Lids != 10 || n != 10 || len(j.Sizes) > 4 || *j.AllPairChance <= 0 ||
		*j.ExpectedPairs > 8 || *j.OneToOneChance > *j.AllPairChance {
		t.Errorf("%+v", j)
	}
	var pots []string
	for i := range 8 {
		pots = append(pots, fmt.Sprintf(`{"pot":"p%d","collar_mm":[%d],"opening_mm":%d}`, i+1, 100+i, 88+i))
	}
	body := `{"body_drying_ratio":0.06,"body_firing_ratio":0.07,"lids":10,"sizes_most":4,"together":"in_place","galleries":[` + strings.Join(pots, ",") + `]}`
	a, answer := ask(t, "POST", srv.URL+"/v1/lids/board", "application/json", body)
	var same wire.Board
	if err := json.Unmarshal([]byte(answer), &same); err != nil || a.StatusCode != 200 ||
		!reflect.DeepEqual(same, j) {
		t.Errorf("asked as JSON: %d %v %s", a.StatusCode, err, answer)
	}
	_, text := ask(t, "GET", srv.URL+"/v1/lids/board?"+q.Encode(), "", "", "Accept", "text/plain")
	if lines := strings.Split(strings.TrimSpace(text), "\n"); len(lines) != len(j.Sizes) ||
		lines[0] != fmt.Sprintf("%d %.1f", j.Sizes[0].Count, *j.Sizes[0].SizeMM) {
		t.Errorf("as text: %q", text)
	}
	_, page := ask(t, "GET", srv.URL+"/lid/board?"+q.Encode(), "", "")
	if !strings.Contains(page, "Throw 10 lids for 8 pots") ||
		!strings.Contains(page, fmt.Sprintf(">%.1f<", *j.Sizes[0].SizeMM)) ||
		strings.Contains(page, "<script>") {
		t.Errorf("the page does not show the answer")
	}
	gauge := askBoard(t, srv.URL, "gauge_mm=104.5&gauge_opening_mm=92.5&gauge_count=12&gauge_spread_sd_mm=0.6&"+statedRates)
	if gauge.Galleries != 12 || gauge.Lids < 12 || gauge.Lids > 18 ||
		*gauge.AllPairChance < 0.9 && gauge.Lids < 18 {
		t.Errorf("from a gauge: %+v", gauge)
	}
}

// What is wrong is told with the field, by the API and, in words, on the page.
func TestBoardBadInput(t *testing.T) {
	srv := testServer(t)
	pots := func(change string) string {
		return "galleries=" + url.QueryEscape(strings.Replace(eightPots(), "p3: 102; 90", change, 1)) + "&" +
			statedRates
	}
	for _, c := range []struct{ name, query, kind, field, says string }{
		{"seven pots", "galleries=" + url.QueryEscape(strings.Repeat("104 92\n", 7)) + "&" + statedRates,
			"board-size", "galleries", "galleries"},
		{"31 by gauge", "gauge=104&gauge_count=31&" + statedRates, "board-size", "gauge.count", "is 31"},
		{"opening wider", pots("p3: 90; 102"), "opening-wider-than-collar", "galleries[2].opening_mm",
			"Pot 3, ledge opening: "},
		{"4 typed for inches", pots("p3: 4"), "unit-unclear", "galleries[2].collar_mm", "Pot 3, gallery: "},
		{"unreadable", pots("p3: 1.234,5; 90"), "length-unreadable",
			"galleries[2].collar_mm", "Pot 3, gallery: "},
		{"no pots", statedRates + "&lids=9", "missing", "galleries", ""},
		{"half a gauge", "gauge_count=12&" + statedRates, "missing", "gauge_mm", ""},
		{"too many sizes", pots("p3: 102; 90") + "&sizes_most=9", "out-of-range",
			"sizes_most", "Sizes at most"},
		{"certain", pots("p3: 102; 90") + "&wanted_chance=1", "out-of-range", "wanted_chance",
			"Enough is a chance of"},
		{"13 lids of 12 at most", pots("p3: 102; 90") + "&lids=13", "out-of-range", "lids", "lids"},
		{"half a lid", pots("p3: 102; 90") + "&lids=9.5", "out-of-range", "lids", "lids"},
		{"a collar of its own", pots("p3: 102; 90") + "&collar=100", "unknown-parameter", "collar", "collar"},
		{"no clay", "galleries=" + url.QueryEscape(eightPots()), "missing", "clay", "clay"},
		{"unknown clay", "galleries=" + url.QueryEscape(eightPots()) + "&clay=nobody",
			"unknown-clay", "", ""},
		{"play below nothing", pots("p3: 102; 90") + "&play_mm=-1", "out-of-range", "play_mm", "play"},
		{"play over the ledge", pots("p3: 102; 101") + "&play_mm=1.5", "out-of-range", "play_mm", ""},
		{"a lid twice", pots("p3: 102; 90") + "&measured_lids=" + url.QueryEscape("a: 100\na: 101"),
			"given-twice", "measured_lids.lid", "a stands twice"},
		{"a lid of 4", pots("p3: 102; 90") + "&measured_lids=" + url.QueryEscape("a: 100\nb: 4"),
			"unit-unclear", "measured_lids", "4"},
	} {
		a, body := ask(t, "GET", srv.URL+"/v1/lids/board?"+c.query, "", "")
		if a.StatusCode/100 != 4 || !strings.Contains(body, `"type":"/problems/`+c.kind+`"`) ||
			c.field != "" && !strings.Contains(body, `"name":"`+c.field) {
			t.Errorf("%s: %d %s", c.name, a.StatusCode, body)
		}
		a, body = ask(t, "GET", srv.URL+"/lid/board?"+c.query, "", "")
		if c.says != "" && (a.StatusCode != 422 || !strings.Contains(body, `role="alert"`) ||
			!strings.Contains(body, c.says)) {
			t.Errorf("%s: the page answers %d and does not say %q", c.name, a.StatusCode, c.says)
		}
	}
	a, body := ask(t, "POST", srv.URL+"/v1/lids/board", "application/json", `{"galeries":[]}`)
	if a.StatusCode != 422 || !strings.Contains(body, "unknown-parameter") {
		t.Errorf("a misspelt member: %d %s", a.StatusCode, body)
	}
}
