package api

import (
	"net/url"
	"strings"
	"testing"

	"lidwright/kiln"
)

// TestLoadLikeTheLast packs a load as the one before it, by the API and by the page: kiln, kind, atmosphere
// and shelves are taken along, bars are not; a shelf that is said for one bar stands. Then bars are moved
// between the two by the page.
func TestLoadLikeTheLast(t *testing.T) {
	b := newBench(t)
	b.tern("BQ7", "BQ4", "BQ3", "BQA", "BQC")
	b.s.Kiln = map[kiln.KilnID]kiln.Kiln{"big-blue": {ID: "big-blue"}, "old-red": {ID: "old-red"}}
	first, second, third := b.id(), b.id(), b.id()
	if p := b.json("PUT", "/v1/loads/"+first, `{"like":"last"}`, 404); p["type"] != "/problems/unknown-load" {
		t.Errorf("like none: %v", p)
	}
	b.json("PUT", "/v1/loads/"+first, `{"kiln":"old-red","kind":"once","atmosphere":"reduction","bars":[{"bar":"BQ7","shelf":"top"},{"bar":"BQ4","shelf":"bottom"}]}`, 201)
	l := b.json("PUT", "/v1/loads/"+second, `{"like":"last","bars":[{"bar":"BQ3"}]}`, 201)
	if l["kiln"] != "old-red" || l["kind"] != "once" || l["atmosphere"] != "reduction" ||
		len(l["bars"].([]any)) != 1 || l["bars"].([]any)[0].(map[string]any)["shelf"] != "bottom" {
		t.Errorf("like the last: %v", l)
	}
	has(t, b.page("/load/"+first), "Pack another like it", "/bars?like="+first)
	has(t, b.page("/bars?like="+first), `value="once" checked`, `value="reduction" checked`,
		"<option selected>old-red", "bottom, top",
		`name="like" value="`+first+`" checked`)
	b.post("/loads", url.Values{"id": {third}, "kiln": {"old-red"}, "kind": {"once"},
		"bars": {"BQA BQC@middle"}, "like": {first}}, 303)
	shelves := func(load string) string {
		var all []string
		for _, s := range b.json("GET", "/v1/loads/"+load, "", 200)["bars"].([]any) {
			s := s.(map[string]any)
			shelf, _ := s["shelf"].(string)
			all = append(all, s["bar"].(string)+"@"+shelf)
		}
		return strings.Join(all, " ")
	}
	if got := shelves(third); got != "BQA@bottom BQC@middle" {
		t.Errorf("by the page: %s", got)
	}
	// Bars moved by the page; a bar that is not there, and none named, come back as they were typed.
	life := "/load/" + third + "/life"
	_, text := b.post(life, url.Values{"do": {"move"}, "bars": {"BQ7"}, "to": {second}, "shelf": {"low"}},
		404)
	has(t, text, `role="alert"`, `value="BQ7"`, `id="wrong-bars"`, `value="low"`)
	_, text = b.post(life, url.Values{"do": {"move"}, "bars": {" "}, "to": {second}}, 422)
	has(t, text, `id="wrong-bars"`)
	b.post(life, url.Values{"do": {"move"}, "bars": {"BQC"}, "to": {second}, "shelf": {"low"}}, 303)
	if got := shelves(second); got != "BQ3@bottom BQC@low" {
		t.Errorf("moved: %s", got)
	}
	if got := shelves(third); got != "BQA@bottom" {
		t.Errorf("left: %s", got)
	}
}

// TestPadTakesPairAndInstrument measures the second pair of lines on the page of many bars, by rule: it
// supersedes nothing, and what it was measured with stays for the next bar.
func TestPadTakesPairAndInstrument(t *testing.T) {
	b := newBench(t)
	b.tern("BQ7")
	b.json("PUT", "/v1/bars/BQ4", `{"id":"`+b.id()+`","clay":"tern","mark_length_mm":100,"marks":2}`, 201)
	b.json("PUT", "/v1/bars/BQ3", `{"id":"`+b.id()+`","clay":"tern","mark_length_mm":100,"marks":2}`, 201)
	row := "/bars/measure?codes=BQ7+BQ4+BQ3&stage=wet"
	has(t, b.page(row), "Pair of lines", "mark=2", `name="instrument"`, `name="step_mm"`)
	b.post("/bar/BQ4", url.Values{"id": {b.id()}, "stage": {"wet"}, "length": {"100.0"},
		"unit": {"mm"}, "back": {row}}, 303)
	second := b.page(row + "&mark=2")
	if strings.Contains(second, `data-bar="BQ7"`) || strings.Contains(second, "data-supersedes=") {
		t.Error("the second pair asks for a bar that has one, or takes the place of the first")
	}
	has(t, second, `name="mark" value="2"`)
	to, _ := b.post("/bar/BQ4", url.Values{"id": {b.id()}, "stage": {"wet"}, "length": {"101"},
		"unit": {"mm"}, "mark": {"2"},
		"instrument": {"rule"}, "step_mm": {"0.5"}, "back": {row + "&mark=2"}}, 303)
	has(t, b.page(to.Header.Get("Location")), `value="rule" selected`,
		`name="step_mm" class="short" inputmode="decimal" value="0.5"`)
	var got []string
	for _, r := range b.json("GET", "/v1/bars/BQ4", "", 200)["readings"].([]any) {
		r := r.(map[string]any)
		if r["struck"] != nil {
			t.Errorf("superseded: %v", r)
		}
		got = append(got, r["as_typed"].(string))
	}
	if strings.Join(got, " ") != "100.0 101" && strings.Join(got, " ") != "100 101" {
		t.Errorf("read %v", got)
	}
	has(t, b.page("/readings.csv"), ",101,mm,rule,0.5,")
	if r, text := b.send("GET", "/bars/measure?codes=BQ4&mark=12", "", ""); r.StatusCode != 422 ||
		!strings.Contains(text, "mark") {
		t.Errorf("a pair 12: %d", r.StatusCode)
	}
}
