package api

import (
	"context"
	"fmt"
	"math"
	"net/url"
	"strings"
	"testing"

	"lidwright/api/usecase"
	"lidwright/api/wire"
	"lidwright/kiln"
	"lidwright/tiles"
)

// mistakes are lengths that nobody should keep without a word, each after true lengths of its bar.
var mistakes = []struct {
	name          string
	before        []string // stage and length in turn
	stage, length string
	slip          string
}{
	{"longer than the stage before", []string{"wet", "100.0", "bisque", "93.6"},
		"fired", "97.7", "digit_wrong"},
	{"longer than wet", []string{"wet", "100.0"}, "dry", "100.8", "longer_than_before"},
	{"fired equal to dry", []string{"wet", "100.0", "dry", "94.1"}, "fired", "94.1", "not_fired_yet"},
	{"fired equal to bisque", []string{"wet", "100.0", "bisque", "93.6"}, "fired", "93.6", "not_fired_yet"},
	{"dry typed as fired", []string{"wet", "100.0"}, "fired", "94.1", "not_fired_yet"},
	{"far off", []string{"wet", "100.0", "dry", "94.1"}, "fired", "81.1", "far_from_usual"},
	{"another unit", []string{"wet", "100.0"}, "fired", "8.76", "tenth"},
	{"a lost point", []string{"wet", "100.0"}, "fired", "876", "ten_times"},
	{"swapped digits", []string{"wet", "100.0"}, "fired", "78.6", "digits_swapped"},
}

// TestEveryQuestionOnEveryPath: each mistake is asked about before it is kept: by the form of the page, that
// of the page of a load, the API asked first and the queue of a phone. The API that is told to keep it, and a
// table, keep it not confirmed and say the question.
func TestEveryQuestionOnEveryPath(t *testing.T) {
	b := newBench(t)
	b.tern()
	n := 0
	fresh := func(before []string) string {
		code := b.json("GET", "/v1/bars/free-codes?count=1", "", 200)["items"].([]any)[0].(string)
		b.json("PUT", "/v1/bars/"+code, `{"id":"`+b.id()+`","clay":"tern"}`, 201)
		for i := 0; i+1 < len(before); i += 2 {
			if r := b.read(code, before[i], before[i+1]); r["unusual"] != false {
				t.Fatalf("%s %s: %v", before[i], before[i+1], r["question"])
			}
		}
		n = len(before) / 2
		return code
	}
	count := func(code string) int {
		return len(b.json("GET", "/v1/bars/"+code, "", 200)["readings"].([]any))
	}
	for _, m := range mistakes {
		form := url.Values{"stage": {m.stage}, "length": {m.length}, "unit": {"mm"},
			"instrument": {"calliper"}, "by": {"KT"}}
		for _, path := range []string{"page", "page of many bars"} {
			code := fresh(m.before)
			form.Set("id", b.id())
			form.Del("back")
			if path != "page" {
				form.Set("back", "/bars/measure?codes="+code+"&stage="+m.stage)
			}
			_, text := b.post("/bar/"+code, form, 200)
			has(t, text, `role="alert"`, `name="keep"`)
			if count(code) != n {
				t.Errorf("%s, %s: kept before it was asked about", m.name, path)
			}
		}
		body := fmt.Sprintf(`{"stage":%q,"length":%q,"unit":"mm","instrument":"calliper","by":"KT"}`, m.stage,
			m.length)
		for path, sent := range map[string]string{"API": body, "queue": strings.Replace(body, "{",
			`{"queued_s":60,`, 1)} {
			code := fresh(m.before)
			at := "/v1/bars/" + code + "/readings/" + b.id()
			asked := b.json("PUT", at+"?ask=true", sent, 200)
			if asked["not_kept"] != true || asked["slip"] != m.slip ||
				asked["question"] == nil || count(code) != n {
				t.Errorf("%s, %s asked first: %v %v, %d readings", m.name, path, asked["slip"],
					asked["question"], count(code))
			}
			kept := b.json("PUT", at, sent, 201)
			if kept["not_kept"] != nil || kept["counted"] != false || kept["needs"] == nil ||
				kept["question"] != asked["question"] || count(code) != n+1 {
				t.Errorf("%s, %s kept: %v", m.name, path, kept)
			}
			if again := b.json("PUT", at+"?ask=true", sent, 200); again["not_kept"] != nil {
				t.Errorf("%s, %s: sent twice it is asked about anew", m.name, path)
			}
		}
		if m.slip == "tenth" { // no length in a column without its unit: the table is refused
			continue
		}
		code := fresh(m.before)
		in := b.table("", "code,unit,instrument,"+m.stage+"\n"+code+",mm,calliper,"+m.length+"\n", 200)
		if len(in.Asked) != 1 || in.Asked[0].Slip != m.slip || in.Asked[0].Question.IsZero() {
			t.Errorf("%s, table: %+v", m.name, in)
		}
		if last, _ := b.last(code); last["counted"] != false {
			t.Errorf("%s, table: counts", m.name)
		}
	}
}

// TestEarlierIsAskedAbout: a right length after a wrong one that was kept in spite of the question is taken,
// and the question is about the wrong one, with the taps that mend it; typed again it takes the wrong one's
// place.
func TestEarlierIsAskedAbout(t *testing.T) {
	b := newBench(t)
	b.tern("BQ7")
	b.read("BQ7", "wet", "100.0")
	b.read("BQ7", "dry", "94.1")
	wrong := b.read("BQ7", "bisque", "97.7")
	if wrong["needs"] != "confirm" {
		t.Fatalf("%v", wrong)
	}
	right := b.read("BQ7", "fired", "87.7")
	earlier, _ := right["earlier"].(map[string]any)
	if right["unusual"] != false || earlier["id"] != wrong["id"] ||
		!strings.Contains(fmt.Sprint(earlier["question"]), "97.7 mm right at bisque") {
		t.Fatalf("the right one: %v", right)
	}
	text := b.page("/bar/BQ7?saved=" + right["id"].(string))
	has(t, text, "Was 97.7 mm right at bisque?", "?again="+wrong["id"].(string),
		"?correct="+wrong["id"].(string))
	text = b.page("/bar/BQ7?correct=" + wrong["id"].(string))
	has(t, text, "Correct: bisque 97.7 mm", `name="supersedes" value="`+wrong["id"].(string)+`"`,
		`value="bisque" checked`)
	b.post("/bar/BQ7", url.Values{"id": {b.id()}, "supersedes": {wrong["id"].(string)}, "stage": {"bisque"},
		"length": {"93.6"}, "unit": {"mm"}, "instrument": {"calliper"}}, 303)
	last, _ := b.last("BQ7")
	if last["unusual"] != false || last["supersedes"] != wrong["id"] {
		t.Errorf("corrected: %v", last)
	}
	if again := b.read("BQ7", "fired", "87.6"); again["earlier"] != nil {
		t.Errorf("still asked: %v", again["earlier"])
	}
}

// TestFormKeepsWhatWasTyped: with each field of the form of a bar wrong once the field is named and all that
// was typed stands there again; nothing is kept.
func TestFormKeepsWhatWasTyped(t *testing.T) {
	b := newBench(t)
	b.tern("BQ7")
	b.read("BQ7", "wet", "100.0")
	for field, wrong := range map[string]string{"length": "wide", "unit": "ell", "stage": "fried",
		"mark": "12", "by": "far too long a mark", "instrument": strings.Repeat("calliper ", 40)} {
		form := url.Values{"id": {b.id()}, "stage": {"dry"}, "length": {"94.15"}, "unit": {"mm"},
			"mark": {"1"}, "instrument": {"rule"}, "by": {"KT"}}
		form.Set(field, wrong)
		_, text := b.post("/bar/BQ7", form, 422)
		has(t, text, `role="alert"`)
		found, _, _ := parsed(t, "/bar/BQ7", text)
		now := url.Values{}
		for _, one := range found["/bar/BQ7"] {
			if v := one.values(); v.Has("length") {
				now = v
			}
		}
		for _, name := range []string{"id", "length", "unit", "stage", "instrument", "by"} {
			choice := name == "unit" || name == "stage" || name == "instrument" // of what there is
			if (name != field || !choice) && now.Get(name) != form.Get(name) {
				t.Errorf("%s wrong: %s %q is lost, %q stands there", field, name, form.Get(name),
					now.Get(name))
			}
		}
		if n := len(b.json("GET", "/v1/bars/BQ7", "", 200)["readings"].([]any)); n != 1 {
			t.Fatalf("%s wrong: kept", field)
		}
	}
}

// TestOneWildBarAmongThree: of three bars that were kept one that is 5 mm off is named where the clay's rate
// is shown and where a lid is sized by it.
func TestOneWildBarAmongThree(t *testing.T) {
	b := newBench(t)
	b.tern("BQ7", "BQ4", "BQ3")
	load := b.id()
	b.json("PUT", "/v1/loads/"+load, `{"kiln":"old-red","kind":"glaze","heat_work_c":1222,"bars":[{"bar":"BQ7"},{"bar":"BQ4"},{"bar":"BQ3"}]}`, 201)
	b.json("POST", "/v1/loads/"+load+"/unpacked", `{}`, 200)
	for _, read := range [][2]string{{"BQ7", "87.6"}, {"BQ4", "92.6"}, {"BQ3", "87.7"}} {
		code := read[0]
		b.read(code, "wet", "100.0")
		if r := b.read(code, "fired", read[1]); r["needs"] == "confirm" {
			b.json("PUT", "/v1/bars/"+code+"/readings/"+r["id"].(string)+"/confirm", `{"by":"EM"}`, 200)
		}
	}
	has(t, b.page("/clay/tern"), `<a class="code" href="/bar/BQ4" translate="no">BQ4</a>`, "fired 92.6 mm",
		"It looks wrong")
	has(t, b.page("/lid?collar=91.5&collar_stage=fired&clay=tern"), `Bar <a href="/bar/BQ4">BQ4</a>, fired: `,
		"Measure it again, or cross the reading out")
	named := b.json("GET", "/v1/lid?collar=91.5&collar_stage=fired&clay=tern", "", 200)["left_out"].([]any)
	if len(named) != 1 || named[0].(map[string]any)["bar"] != "BQ4" {
		t.Errorf("named: %v", named)
	}
}

// TestRefusedFormsComeBack: a load with a bad code and a clay with fields at fault come back as they were
// typed, each fault beside its field; per cent are read as people write them.
func TestRefusedFormsComeBack(t *testing.T) {
	b := newBench(t)
	b.tern("BQ7")
	b.s.Kiln = map[kiln.KilnID]kiln.Kiln{"big-blue": {ID: "big-blue"}}
	load := url.Values{"id": {b.id()}, "kiln": {"big-blue"}, "kind": {"bisque"}, "atmosphere": {"reduction"},
		"bars": {"BQ7 Z?9"}, "shelf": {"top"}, "by": {"KT"}}
	_, text := b.post("/loads", load, 422)
	has(t, text, `role="alert"`, `value="BQ7 Z?9"`, `aria-describedby="wrong-bars"`, `id="wrong-bars"`,
		`value="bisque" checked`, `value="reduction" checked`, `value="top"`, `value="KT"`, load.Get("id"))
	clay := url.Values{"name": {"Gull"}, "matures_cone": {"5½"}, "stated_total_ratio": {"eleven"}}
	_, text = b.post("/clays", clay, 422)
	has(t, text, `role="alert"`, `value="Gull"`, `value="5½"`, `value="eleven"`, `id="wrong-matures_cone"`,
		`id="wrong-stated_total_ratio"`)
	if n := len(b.json("GET", "/v1/clays", "", 200)["items"].([]any)); n != 1 {
		t.Fatalf("%d clays: a refused one is kept", n)
	}
	for typed, want := range map[string]float64{"11": 0.11, "3.5": 0.035, "12,5 %": 0.125, "12%": 0.12,
		"0.12": 0.12} {
		id := "gull-" + slug(typed)
		b.post("/clays", url.Values{"clay": {id}, "name": {"Gull"}, "stated_total_ratio": {typed}}, 303)
		if got := b.json("GET", "/v1/clays/"+id, "",
			200)["stated_total_ratio"].(float64); math.Abs(got-want) > 1e-9 {
			t.Errorf("%q is %g, want %g", typed, got, want)
		}
	}
}

// TestNoteIsCrossedOut: by the form of its firing, with a reason; it stays to be seen.
func TestNoteIsCrossedOut(t *testing.T) {
	b := newBench(t)
	firing, note := b.id(), b.id()
	b.json("PUT", "/v1/firings/"+firing, `{"source":"hand","kiln":"old-red","kind":"glaze","intended_cone":"6"}`, 201)
	b.json("PUT", "/v1/firings/"+firing+"/notes/"+note, `{"text":"damper a third shut"}`, 201)
	has(t, b.page("/firing/"+firing), `name="strike" value="`+note+`"`)
	b.post("/firing/"+firing+"/notes", url.Values{"strike": {note}, "back": {"#notes"}}, 422) // why?
	b.post("/firing/"+firing+"/notes", url.Values{"strike": {note}, "why": {"another firing"},
		"back": {"#notes"}}, 303)
	text := b.page("/firing/" + firing)
	has(t, text, `<p class="grow struck">`, "damper a third shut")
	if strings.Contains(text, `name="strike"`) {
		t.Error("a note that is crossed out can be crossed out again")
	}
}

// TestNewBag: a bag of two taps is the one in use from then on and leads to two new bars; one that is not to
// be used yet is not; what is wrong is said beside its field and what was typed stays; no bag is written
// over.
func TestNewBag(t *testing.T) {
	b := newBench(t)
	b.tern()
	has(t, b.page("/clay/tern"), `href="/clay/tern/bag"`)
	has(t, b.page("/clay/tern/bag"), `name="batch" value="B"`, `name="open" value="yes" checked`)
	post := func(form string) (int, string, string) {
		r, page := b.send("POST", "/clay/tern/bag", "application/x-www-form-urlencoded", form)
		return r.StatusCode, r.Header.Get("Location"), page
	}
	if code, to, page := post("batch=B&open=yes&bars=2"); code != 303 || !strings.HasPrefix(to,
		"/bars/measure?codes=") {
		t.Fatalf("%d %q %s", code, to, page)
	}
	if code, to, page := post("batch=C&bars=0"); code != 303 || to != "/clay/tern" {
		t.Errorf("%d %q %s", code, to, page)
	}
	rate := b.json("GET", "/v1/clays/tern/shrinkage", "", 200)
	if rate["batch"] != "B" {
		t.Errorf("in use is %v", rate["batch"])
	}
	if bars := b.json("GET", "/v1/bars?clay=tern&batch=B", "", 200)["items"].([]any); len(bars) != 2 {
		t.Errorf("%d new bars", len(bars))
	}
	for form, field := range map[string]string{"batch=B&stamp=L+7": "batch", "batch=&stamp=L+7": "batch",
		"batch=D&bars=many&stamp=L+7": "bars", "batch=D&arrived_on=soon&stamp=L+7": "arrived"} {
		if code, _, page := post(form); code/100 != 4 || !strings.Contains(page, `value="L 7"`) ||
			!strings.Contains(page, `aria-invalid="true"`) || !strings.Contains(page, `id="`+field+`"`) {
			t.Errorf("%s: %d %s", form, code, page)
		}
	}
}

// oneCollector is a collector with one body, which writes down what a studio says of its clay.
type oneCollector struct {
	usecase.Collector
	said []string
}

func (c *oneCollector) Status(context.Context) (usecase.CollectorStatus, error) {
	return usecase.CollectorStatus{Joined: true, URL: "https://there"}, nil
}
func (c *oneCollector) Bodies(context.Context) ([]wire.CatalogueBody, error) {
	return []wire.CatalogueBody{{ID: "b1", Supplier: "Moss Pit", Number: "14", Name: "Grey"},
		{ID: "b2", Name: "Gone", Became: "b1"}}, nil
}
func (c *oneCollector) KnownBodies() []wire.CatalogueBody {
	all, _ := c.Bodies(context.Background())
	return all
}
func (c *oneCollector) ClayBody(tiles.ClayID) wire.ClayPool { return wire.ClayPool{} }
func (c *oneCollector) SetClayBody(_ context.Context, clay tiles.ClayID, body string, send bool) error {
	c.said = append(c.said, fmt.Sprint(clay, " ", body, " ", send))
	return nil
}

// TestBodyOfAClay: which body a clay is, and that what its bars tell may be sent, is said by a person on the
// page of the collector, and by nothing else; nothing is ticked beforehand, and a body that was merged cannot
// be picked.
func TestBodyOfAClay(t *testing.T) {
	b := newBench(t)
	b.tern()
	c := &oneCollector{}
	b.s.Collector = c
	if page := b.page("/settings/collector"); strings.Contains(page, "Moss Pit") || !strings.Contains(page,
		"/settings/collector?clay=tern#clay-tern") {
		t.Errorf("%s", page)
	}
	page := b.page("/settings/collector?clay=tern")
	has(t, page, `label="Moss Pit"`, `<option value="b1">14 Grey</option>`, `name="send" value="yes">`)
	if strings.Contains(page, "Gone") || strings.Contains(page, " selected") {
		t.Error("a merged body is offered, or one is picked beforehand")
	}
	for _, form := range []string{"do=body&clay=tern&body=b1", "do=body&clay=tern&body=b1&send=yes"} {
		if r, page := b.send("POST", "/settings/collector?clay=tern", "application/x-www-form-urlencoded",
			form); r.StatusCode != 303 {
			t.Errorf("%d %s", r.StatusCode, page)
		}
	}
	if got := strings.Join(c.said, "; "); got != "tern b1 false; tern b1 true" {
		t.Error(got)
	}
}
