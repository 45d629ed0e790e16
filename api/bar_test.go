package api

import (
	"encoding/json"
	"net/http"
	"net/url"
	"regexp"
	"strings"
	"testing"

	"lidwright/api/auth"
)

// whyNot is the code of why a reading does not count, empty where it does.
func whyNot(reading map[string]any) string {
	why, ok := reading["why_not"].(map[string]any)
	if ok == (reading["counted"] == true) {
		return "counted and why_not contradict each other"
	}
	code, _ := why["code"].(string)
	return code
}

// A slip is asked about by name; what lies outside 0.72 to 1.01 of the wet length is for the owner to
// count, the rest waits for a second reading or the owner's word.
func TestSlipsAsked(t *testing.T) {
	b := newBench(t)
	b.tern("BQ7")
	if r := b.read("BQ7", "wet", "100.0"); r["unusual"] != false || r["needs"] != nil ||
		whyNot(r) != "waits_for_next_stage" {
		t.Errorf("a usual wet length: %v", r)
	}
	ten := b.read("BQ7", "dry", "942")
	if ten["slip"] != "ten_times" || ten["fix"] != "94.2 mm" || ten["needs"] != "count" ||
		ten["counted"] != false {
		t.Errorf("ten times: %v", ten)
	}
	at := "/v1/bars/BQ7/readings/" + ten["id"].(string)
	if r := b.json("PUT", at+"/confirm", `{"by":"KT"}`, 200); r["counted"] != false || r["needs"] != "count" {
		t.Errorf("confirmed, outside 0.72 to 1.01: %v", r)
	}
	b.json("PUT", at+"/count", `{}`, 422)
	// let in, and left out by the fit
	if r := b.json("PUT", at+"/count", `{"by":"EM","why":"a new kind of clay"}`,
		200); whyNot(r) != "looks_wrong" || r["needs"] != nil || r["unusual"] != true {
		t.Errorf("counted: %v", r)
	}
	b.json("PUT", at+"/strike", `{"by":"EM","why":"it was a slip"}`, 200)
	swapped := b.read("BQ7", "dry", "49.2")
	if swapped["slip"] != "digits_swapped" || swapped["fix"] != "94.2 mm" {
		t.Errorf("digits swapped: %v", swapped)
	}
	long := b.read("BQ7", "dry", "100.8")
	if long["slip"] != "longer_than_before" || long["needs"] != "confirm" ||
		!strings.Contains(long["question"].(string), "longer than at wet") {
		t.Errorf("longer than before: %v", long)
	}
	if r := b.json("PUT", "/v1/bars/BQ7/readings/"+long["id"].(string)+"/confirm", `{"by":"KT"}`,
		200); r["counted"] != true || r["unusual"] != true {
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
	form := url.Values{"id": {b.id()}, "stage": {"dry"}, "length": {"100.9"}, "unit": {"mm"},
		"instrument": {"calliper"}, "by": {"KT"}}
	_, text := b.post("/bar/BQ7", form, 200)
	has(t, text, "Nothing is kept yet", "longer than at wet", `name="keep"`,
		"Keep 100.9 as I read it", `value="100.9"`)
	if n := len(b.json("GET", "/v1/bars/BQ7", "", 200)["readings"].([]any)); n != 1 {
		t.Fatalf("%d readings: it was kept before it was asked about", n)
	}
	form.Set("keep", "yes")
	r, _ := b.post("/bar/BQ7", form, 303)
	has(t, b.page(r.Header.Get("Location")), "Kept:", "longer than before",
		"It is not confirmed", "I read it right")
	last, _ := b.last("BQ7")
	if last["counted"] != false || last["needs"] != "confirm" {
		t.Errorf("insisted on: %v", last)
	}
	// one tap more, where nobody has a passcode
	b.post("/bar/BQ7/confirm", url.Values{"reading": {last["id"].(string)}}, 303)
	if last, _ := b.last("BQ7"); last["counted"] != true || last["unusual"] != true {
		t.Errorf("said to be right: %v", last)
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
	all := b.json("GET", "/v1/bars/BQ4", "", 200)["readings"].([]any)
	b.post("/bar/BQ4/count", url.Values{"reading": {all[len(all)-1].(map[string]any)["id"].(string)},
		"why": {"measured twice"}, "by": {"EM"}}, 303)
	all = b.json("GET", "/v1/bars/BQ4", "", 200)["readings"].([]any)
	if last := all[len(all)-1].(map[string]any); last["needs"] != nil || whyNot(last) != "looks_wrong" {
		t.Errorf("counted by the owner, and kept out otherwise than by the fit: %v", last)
	}
}

// guarded gives b's site both passcodes, and the headers of who asks with them.
func (b *bench) guarded() (bench, owner []string) {
	codes := [2]string{auth.NewPasscode(Bench), auth.NewPasscode(Owner)}
	hashes := [2]auth.PasscodeHash{quick(codes[0]), quick(codes[1])}
	hashed := func() (auth.PasscodeHash, auth.PasscodeHash, error) { return hashes[0], hashes[1], nil }
	b.s.Access = auth.Access{ReadingOpen: true, Codes: hashed}
	b.s.gate.Access = b.s.Access
	return []string{"Authorization", "Bearer " + codes[0]}, []string{"Authorization", "Bearer " + codes[1]}
}

// last is the reading of a bar that was entered last, and the one before it.
func (b *bench) last(code string) (last, before map[string]any) {
	b.t.Helper()
	all := b.json("GET", "/v1/bars/"+code, "", 200)["readings"].([]any)
	return all[len(all)-1].(map[string]any), all[len(all)-2].(map[string]any)
}

// With the bench passcode a questioned reading does not count until a second one agrees; the same
// entry sent again is none, a word is the owner's, and what is outside 0.72 to 1.01 is the owner's too.
func TestSecondReadingAtTheBench(t *testing.T) {
	b := newBench(t)
	b.tern("BQ7", "BQ4")
	b.read("BQ7", "wet", "100.0")
	b.read("BQ4", "wet", "100.0")
	bench, owner := b.guarded()
	enter := func(code, id, length string, want int) map[string]any {
		return b.json("PUT", "/v1/bars/"+code+"/readings/"+id,
			`{"stage":"dry","length":"`+length+`","instrument":"calliper","by":"KT"}`, want, bench...)
	}
	first := b.id()
	for _, want := range []int{201, 200} { // sent twice: no second reading
		if r := enter("BQ7", first, "100.9", want); r["counted"] != false || r["needs"] != "confirm" ||
			r["confirms"] != nil {
			t.Fatalf("kept in spite of the question: %v", r)
		}
	}
	at := "/v1/bars/BQ7/readings/" + first + "/confirm"
	if p := b.json("PUT", at, `{}`, 403, bench...); !strings.Contains(p["detail"].(string), "owner") {
		t.Errorf("confirmed in a word at the bench: %v", p)
	}
	if r := enter("BQ7", b.id(), "100.4", 201); r["counted"] != false || r["confirms"] != nil {
		t.Errorf("0.5 mm apart: %v", r)
	}
	if _, before := b.last("BQ7"); before["counted"] != false {
		t.Errorf("the first, while none agrees: %v", before)
	}
	second := b.id()
	for _, want := range []int{201, 200} {
		r := enter("BQ7", second, "101.0", want)
		if r["counted"] != true || r["confirms"] != first || r["unusual"] != true ||
			r["confirmed"].(map[string]any)["why"] != "read again" ||
			r["confirmed"].(map[string]any)["by"] != "KT" {
			t.Errorf("the second reading: %v", r)
		}
	}
	for _, x := range b.json("GET", "/v1/bars/BQ7", "", 200)["readings"].([]any) {
		r := x.(map[string]any)
		if want := r["as_typed"] != "100.4"; r["counted"] != want {
			t.Errorf("%v mm: counted %v, want %v", r["as_typed"], r["counted"], want)
		}
	}

	enter("BQ4", b.id(), "64", 201)
	if r := enter("BQ4", b.id(), "64", 201); r["counted"] != false || r["needs"] != "count" ||
		r["confirms"] != nil {
		t.Errorf("outside 0.72 to 1.01, twice: %v", r)
	}
	word := b.id()
	enter("BQ4", word, "100.9", 201)
	if r := b.json("PUT", "/v1/bars/BQ4/readings/"+word+"/confirm", `{"by":"EM"}`, 200,
		owner...); r["counted"] != true {
		t.Errorf("the owner's word: %v", r)
	}
}

// On the page of a bar, with the bench passcode: Keep keeps it not confirmed; Type again asks with an
// empty field and no length of before; what does not agree is asked about, what does confirms both.
func TestPageTypeAgain(t *testing.T) {
	b := newBench(t)
	b.tern("BQ7")
	b.read("BQ7", "wet", "100.0")
	bench, owner := b.guarded()
	post := func(form url.Values, want int) (string, string) {
		t.Helper()
		r, text := b.send("POST", "/bar/BQ7", "application/x-www-form-urlencoded", form.Encode(), bench...)
		if r.StatusCode != want {
			t.Fatalf("%d, want %d: %s", r.StatusCode, want, text)
		}
		return r.Header.Get("Location"), text
	}
	form := func(more ...string) url.Values {
		f := url.Values{"id": {b.id()}, "stage": {"dry"}, "mark": {"1"}, "unit": {"mm"},
			"instrument": {"calliper"}, "by": {"KT"}}
		for i := 0; i+1 < len(more); i += 2 {
			f.Set(more[i], more[i+1])
		}
		return f
	}
	to, _ := post(form("length", "100.9", "keep", "yes"), 303)
	first, _ := b.last("BQ7")
	if first["counted"] != false || first["needs"] != "confirm" {
		t.Fatalf("kept at the bench: %v", first)
	}
	again := "/bar/BQ7?again=" + first["id"].(string)
	has(t, b.page(to), "It is not confirmed", `href="`+again+`"`, "in a word (owner)")

	if button := "<button>I read it right"; strings.Contains(b.page(to), button) {
		t.Error("the bench is offered to confirm in a word")
	} else if _, text := b.send("GET", to, "", "", owner...); !strings.Contains(text, button) {
		t.Error("the owner is not offered to confirm in a word")
	}

	text := b.page(again)
	has(t, text, "dry, measured again", `name="again" value="`+first["id"].(string)+`"`,
		`name="stage" value="dry"`, `name="length" maxlength="24" inputmode="decimal" autocomplete="off" value=""`)
	if strings.Contains(text, "100.9") {
		t.Errorf("the first length stands on the page that asks for the second:\n%s", text)
	}
	_, text = post(form("length", "100.2", "again", first["id"].(string)), 200)
	has(t, text, "100.2 mm does not agree with the first reading", "Nothing is kept yet",
		`autocomplete="off" value=""`, "Keep 100.2 as I read it")
	if strings.Contains(text, "100.9") {
		t.Error("the first length stands on the page that asks once more")
	}
	_, text = post(form("length", "100.8"), 200) // from the page that showed what was read before
	has(t, text, "longer than at wet", "Nothing is kept yet")
	_, text = post(form("length", "wide", "again", first["id"].(string)), 422)
	has(t, text, "dry, measured again", `value="wide"`)
	to, _ = post(form("length", "100.8", "again", first["id"].(string)), 303)
	has(t, b.page(to), "both are confirmed and count")
	if last, before := b.last("BQ7"); last["counted"] != true || before["counted"] != true ||
		last["confirms"] != before["id"] {
		t.Errorf("read again: %v and %v", before, last)
	}
	if strings.Contains(b.page("/bar/BQ7"), "Type again") {
		t.Error("a confirmed reading is asked for again")
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
	b.json("PUT", "/v1/bars/BQ7/readings/"+b.id(),
		`{"stage":"fired","mass_g":{"dry_g":50,"saturated_g":52.5,"suspended_g":30,"step_g":0.01}}`, 201)
	d := b.json("GET", "/v1/bars/BQ7", "", 200)["derived"].(map[string]any)
	for name, want := range map[string]float64{"drying_ratio": 0.06, "firing_ratio": 0.07,
		"total_ratio": 0.1258, "absorption_ratio": 0.05, "apparent_porosity_ratio": 0.11111,
		"bulk_density_g_cm3": 2.22222} {
		f := d[name].(map[string]any)
		likely := f["likely"].([]any)
		if f["value"] != want || !(likely[0].(float64) < want && want < likely[1].(float64)) {
			t.Errorf("%s: %v, want %v", name, f, want)
		}
	}
	has(t, b.page("/bar/BQ7"), "12.58 %", "5.00 %", "11.11 %", "2.222 g/cm³", "50 g dry")
	r, _ := b.post("/bar/BQ7", url.Values{"id": {b.id()}, "stage": {"fired"}, "dry_g": {"50,1"},
		"saturated_g": {"52.6"}, "step_g": {"0.1"}, "by": {"EM"}}, 303)
	has(t, b.page(r.Header.Get("Location")), "Kept:", "50.1 g dry")
	b.post("/bar/BQ7", url.Values{"id": {b.id()}, "stage": {"fired"}, "dry_g": {"52.6"},
		"saturated_g": {"50.1"}}, 422)
}

// The same PUT ten times is one reading, all at once and across a restart; two people on one bar are
// two readings; the same id for something else is refused.
func TestSafeRetries(t *testing.T) {
	folder := t.TempDir()
	b := benchIn(t, folder)
	b.tern("BQ7")
	b.read("BQ7", "wet", "100.0")
	id := b.id()
	body := `{"stage":"dry","length":"94.1","instrument":"calliper","by":"KT"}`
	count := func() (n int) { return len(b.json("GET", "/v1/bars/BQ7", "", 200)["readings"].([]any)) }
	codes := make(chan int, 10)
	for range 10 {
		go func() {
			r, err := http.NewRequest("PUT", b.URL+"/v1/bars/BQ7/readings/"+id, strings.NewReader(body))
			if err != nil {
				codes <- 0
				return
			}
			r.Header.Set("Content-Type", "application/json")
			a, err := http.DefaultClient.Do(r)
			if err != nil {
				codes <- 0
				return
			}
			a.Body.Close()
			codes <- a.StatusCode
		}()
	}
	got := map[int]int{}
	for range 10 {
		got[<-codes]++
	}
	if got[201] != 1 || got[200] != 9 || count() != 2 {
		t.Errorf("ten at once: %v, %d readings", got, count())
	}
	b.json("PUT", "/v1/bars/BQ7/readings/"+b.id(), strings.Replace(body, "KT", "EM", 1), 201)
	if count() != 3 {
		t.Errorf("two people, %d readings", count())
	}
	b.json("PUT", "/v1/bars/BQ7/readings/"+id, strings.Replace(body, "94.1", "94.2", 1), 409)
	ids := b.ids
	b.close()
	b = benchIn(t, folder)
	b.ids = ids
	b.json("PUT", "/v1/bars/BQ7/readings/"+id, body, 200)
	if count() != 3 {
		t.Errorf("after a restart %d readings", count())
	}
}

// An edit that names what it was made from is refused when somebody else was faster.
func TestIfMatch(t *testing.T) {
	b := newBench(t)
	b.tern("BQ7")
	r, text := b.send("GET", "/v1/bars/BQ7", "", "")
	tag := r.Header.Get("ETag")
	var was struct{ ID string }
	if err := json.Unmarshal([]byte(text), &was); err != nil {
		t.Fatal(err)
	}
	body := func(note string) string { return `{"id":"` + was.ID + `","clay":"tern","note":"` + note + `"}` }
	b.json("PUT", "/v1/bars/BQ7", body("first"), 201, "If-Match", tag)
	p := b.json("PUT", "/v1/bars/BQ7", body("second"), 412, "If-Match", tag)
	if p["type"] != "/problems/changed-meanwhile" {
		t.Errorf("%v", p)
	}
	r, _ = b.send("GET", "/v1/bars/BQ7", "", "")
	b.json("PUT", "/v1/bars/BQ7", body("second"), 201, "If-Match", r.Header.Get("ETag"))
	b.json("PUT", "/v1/bars/BQ7", body("third"), 412, "If-None-Match", "*")
	b.json("PUT", "/v1/bars/BQ4", `{"id":"`+b.id()+`","clay":"tern"}`, 412, "If-Match", tag)
	load := b.id()
	b.json("PUT", "/v1/loads/"+load, `{"kiln":"little-red","kind":"glaze","heat_work_c":1222}`, 201)
	r, _ = b.send("GET", "/v1/loads/"+load, "", "")
	edit := `{"kiln":"little-red","kind":"glaze","heat_work_c":1222,"bars":[{"bar":"BQ7","shelf":"top"}]}`
	b.json("PUT", "/v1/loads/"+load, edit, 201, "If-Match", r.Header.Get("ETag"))
	b.json("PUT", "/v1/loads/"+load, strings.Replace(edit, "top", "middle", 1), 412,
		"If-Match", r.Header.Get("ETag"))
}

// A bent bar is set aside from the page of its load: no load waits for it, and what was measured on it is in
// no rate until the tick is taken out again.
func TestFlagsByPage(t *testing.T) {
	b := newBench(t)
	b.tern("BQ7", "BQ4", "BQ3")
	load := b.id()
	b.json("PUT", "/v1/loads/"+load, `{"kiln":"blue","kind":"glaze","heat_work_c":1222,"bars":[{"bar":"BQ7"},{"bar":"BQ4"},{"bar":"BQ3"}]}`, 201)
	for _, code := range []string{"BQ7", "BQ4"} {
		b.read(code, "wet", "100.0")
		b.read(code, "dry", "94.2")
	}
	b.json("POST", "/v1/loads/"+load+"/unpacked", ``, 200)
	for code, length := range map[string]string{"BQ7": "87.6", "BQ4": "87.5"} {
		b.read(code, "fired", length)
	}
	bars := func() float64 {
		t.Helper()
		return b.json("GET", "/v1/clays/tern/shrinkage?cone=6", "",
			200)["basis"].(map[string]any)["bars"].(float64)
	}
	if n := bars(); n != 2 {
		t.Fatalf("the rate rests on %v bars, not 2", n)
	}
	has(t, b.page("/load/"+load), `href="/bar/BQ3?load=`+load+`#flags"`, "1 bar left")
	has(t, b.page("/bar/BQ3?load="+load), `id="flags" open>`, `name="flag" value="bent"`,
		`name="load" value="`+load+`"`)
	r, _ := b.post("/bar/BQ3/flags", url.Values{"flag": {"broken"}, "load": {load}}, 303)
	if to := r.Header.Get("Location"); to != "/load/"+load+"#bars" {
		t.Errorf("led to %s, not back to the load", to)
	}
	text := b.page("/load/" + load)
	has(t, text, "Set aside", "All bars of this load are measured")
	if n := len(b.json("GET", "/v1/loads?waiting=true", "", 200)["items"].([]any)); n != 0 {
		t.Errorf("%d loads wait, though their last bar is broken", n)
	}
	b.post("/bar/BQ4/flags", url.Values{"flag": {"bent", "glazed_mark"}}, 303)
	if n := bars(); n != 1 {
		t.Errorf("a bent bar is in the rate: it rests on %v bars", n)
	}
	text = b.page("/bar/BQ4")
	has(t, text, "Set aside: it is in no rate", `value="bent" checked`, "glazed mark")
	// Two people at the same ticks: who sends the older form is asked, with both, and nothing is lost.
	seen := regexp.MustCompile(`name="revision" value="(\w+)"`).FindStringSubmatch(text)[1]
	b.post("/bar/BQ4/flags", url.Values{"flag": {"broken"}, "revision": {seen}}, 303)
	_, text = b.post("/bar/BQ4/flags", url.Values{"flag": {"bloated"}, "revision": {seen}}, 412)
	says, mine := questionIn(t, text)
	has(t, says, "Somebody else changed this meanwhile",
		"as it is now yours Bent, broken, bloated broken bloated", "Save mine",
		"Leave it as it is now")
	b.post("/bar/BQ4/flags", mine, 303)
	has(t, b.page("/bar/BQ4"), `value="bloated" checked`)
	b.post("/bar/BQ4/flags", url.Values{}, 303)
	if n := bars(); n != 2 {
		t.Errorf("the tick is out again, and the rate rests on %v bars", n)
	}
	first := b.json("GET", "/v1/bars/BQ7", "", 200)["readings"].([]any)[0].(map[string]any)["id"].(string)
	_, text = b.post("/bar/BQ7/strike", url.Values{"reading": {first}, "why": {" "}}, 422)
	has(t, text, `<details open="">`, `<p class="bad" id="wrong-why">Is needed</p>`)
	if _, text := b.post("/bar/BQ4/flags", url.Values{"flag": {"crooked"}}, 422); !strings.Contains(text,
		"bent, bloated") {
		t.Errorf("a flag that there is not: %s", text)
	}
	b.json("PUT", "/v1/bars/BQ4/flags", `{"flags":["bloated"]}`, 201)
	if n := bars(); n != 1 {
		t.Errorf("a bar bloated by the API is in the rate: %v bars", n)
	}
}
