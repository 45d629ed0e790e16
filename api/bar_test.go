package api

import (
	"net/url"
	"strings"
	"testing"
)

// A slip is asked about by name; what lies outside 0.72 to 1.01 of the wet length is for the owner to
// count, the rest for whoever read it to confirm.
func TestSlipsAsked(t *testing.T) {
	b := newBench(t)
	b.tern("BQ7")
	if r := b.read("BQ7", "wet", "100.0"); r["unusual"] != false || r["counted"] != true || r["needs"] != nil {
		t.Errorf("a usual wet length: %v", r)
	}
	ten := b.read("BQ7", "dry", "942")
	if ten["slip"] != "ten_times" || ten["fix"] != "94.2 mm" || ten["needs"] != "count" || ten["counted"] != false {
		t.Errorf("ten times: %v", ten)
	}
	at := "/v1/bars/BQ7/readings/" + ten["id"].(string)
	if r := b.json("PUT", at+"/confirm", `{"by":"KT"}`, 200); r["counted"] != false || r["needs"] != "count" {
		t.Errorf("confirmed, outside 0.72 to 1.01: %v", r)
	}
	b.json("PUT", at+"/count", `{}`, 422)
	if r := b.json("PUT", at+"/count", `{"by":"EM","why":"a new kind of clay"}`, 200); r["counted"] != true || r["unusual"] != true {
		t.Errorf("counted: %v", r)
	}
	b.json("PUT", at+"/strike", `{"by":"EM","why":"it was a slip"}`, 200)
	swapped := b.read("BQ7", "dry", "49.2")
	if swapped["slip"] != "digits_swapped" || swapped["fix"] != "94.2 mm" {
		t.Errorf("digits swapped: %v", swapped)
	}
	long := b.read("BQ7", "dry", "100.8")
	if long["slip"] != "longer_than_before" || long["needs"] != "confirm" || !strings.Contains(long["question"].(string), "longer than at wet") {
		t.Errorf("longer than before: %v", long)
	}
	if r := b.json("PUT", "/v1/bars/BQ7/readings/"+long["id"].(string)+"/confirm", `{"by":"KT"}`, 200); r["counted"] != true || r["unusual"] != true {
		t.Errorf("confirmed: %v", r)
	}
	p := b.json("PUT", "/v1/bars/BQ7/readings/"+b.id(), `{"stage":"dry","length":"3.97"}`, 422)
	if says := p["fields"].([]any)[0].(map[string]any)["says"].(string); !strings.Contains(says, "3.97 in") {
		t.Errorf("inches read as mm: %q", says)
	}
}

// The page asks before it keeps, without script: fix it, or insist.
func TestPageAsksFirst(t *testing.T) {
	b := newBench(t)
	b.tern("BQ7", "BQ4")
	b.read("BQ7", "wet", "100.0")
	b.read("BQ4", "wet", "100.0")
	form := url.Values{"id": {b.id()}, "stage": {"dry"}, "length": {"100.9"}, "unit": {"mm"}, "instrument": {"calliper"}, "by": {"KT"}}
	_, text := b.post("/bar/BQ7", form, 200)
	has(t, text, "Nothing is kept yet", "longer than at wet", `name="keep"`, "Keep 100.9 as I read it", `value="100.9"`)
	if n := len(b.json("GET", "/v1/bars/BQ7", "", 200)["readings"].([]any)); n != 1 {
		t.Fatalf("%d readings: it was kept before it was asked about", n)
	}
	form.Set("keep", "yes")
	r, _ := b.post("/bar/BQ7", form, 303)
	has(t, b.page(r.Header.Get("Location")), "Kept:", "longer than before")
	all := b.json("GET", "/v1/bars/BQ7", "", 200)["readings"].([]any)
	if last := all[len(all)-1].(map[string]any); last["counted"] != true || last["unusual"] != true {
		t.Errorf("insisted on: %v", last)
	}
	outside := url.Values{"id": {b.id()}, "stage": {"dry"}, "length": {"942"}, "unit": {"mm"}, "by": {"KT"}}
	_, text = b.post("/bar/BQ4", outside, 200)
	has(t, text, "was 94.2 mm meant", `value="94.2 mm"`, "count it")
	outside.Set("keep", "yes")
	r, _ = b.post("/bar/BQ4", outside, 303)
	text = b.page(r.Header.Get("Location"))
	has(t, text, "until the owner says", "count it (owner)")
	if strings.Contains(text, `action="/bar/BQ4/confirm"`) {
		t.Error("it is to be confirmed, where only counting helps")
	}
	all = b.json("GET", "/v1/bars/BQ4", "", 200)["readings"].([]any)
	b.post("/bar/BQ4/count", url.Values{"reading": {all[len(all)-1].(map[string]any)["id"].(string)}, "why": {"measured twice"}, "by": {"EM"}}, 303)
	all = b.json("GET", "/v1/bars/BQ4", "", 200)["readings"].([]any)
	if all[len(all)-1].(map[string]any)["counted"] != true {
		t.Error("counted by the owner, and it does not count")
	}
}

// The figures of a bar by API and page, from lengths and from masses (worked by hand: 100, 94, 87.42
// mm; 50, 52.5, 30 g).
func TestDerivedFigures(t *testing.T) {
	b := newBench(t)
	b.tern("BQ7")
	b.read("BQ7", "wet", "100.00")
	b.read("BQ7", "dry", "94.00")
	b.read("BQ7", "fired", "87.42")
	b.json("PUT", "/v1/bars/BQ7/readings/"+b.id(), `{"stage":"fired","mass_g":{"dry_g":50,"saturated_g":52.5,"suspended_g":30,"step_g":0.01}}`, 201)
	d := b.json("GET", "/v1/bars/BQ7", "", 200)["derived"].(map[string]any)
	for name, want := range map[string]float64{"drying_ratio": 0.06, "firing_ratio": 0.07, "total_ratio": 0.1258, "absorption_ratio": 0.05, "apparent_porosity_ratio": 0.11111, "bulk_density_g_cm3": 2.22222} {
		f := d[name].(map[string]any)
		likely := f["likely"].([]any)
		if f["value"] != want || !(likely[0].(float64) < want && want < likely[1].(float64)) {
			t.Errorf("%s: %v, want %v", name, f, want)
		}
	}
	has(t, b.page("/bar/BQ7"), "12.58 %", "5.00 %", "11.11 %", "2.222 g/cm³", "50 g dry")
	r, _ := b.post("/bar/BQ7", url.Values{"id": {b.id()}, "stage": {"fired"}, "dry_g": {"50,1"}, "saturated_g": {"52.6"}, "step_g": {"0.1"}, "by": {"EM"}}, 303)
	has(t, b.page(r.Header.Get("Location")), "Kept:", "50.1 g dry")
	b.post("/bar/BQ7", url.Values{"id": {b.id()}, "stage": {"fired"}, "dry_g": {"52.6"}, "saturated_g": {"50.1"}}, 422)
}
