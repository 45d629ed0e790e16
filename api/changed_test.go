package api

import (
	"maps"
	"net/http"
	"net/url"
	"regexp"
	"slices"
	"strings"
	"testing"

	"golang.org/x/net/html"
)

// adding are the forms that take nothing from anybody, each with why: two people who send them at once have
// both said what they said.
var adding = map[string]string{
	"/bar/X":                 "a length more",
	"/bar/X/strike":          "crosses one length out; twice is once",
	"/bar/X/confirm":         "confirms one length",
	"/bar/X/count":           "lets one length count",
	"/bar/X/firing":          "says where a length came from that nobody knew of",
	"/by-hand":               "a firing more",
	"/class/bars":            "bars more",
	"/class/restore":         "restores one thing",
	"/clay/X/bars":           "bars more",
	"/firing/X/cones":        "a cone more",
	"/firing/X/cones/strike": "crosses one cone out",
	"/firing/X/notes":        "a note more, or crosses one out",
	"/kiln/X/begin":          "asked back where a firing goes on",
	"/kiln/X/stop":           "names the firing",
	"/kilns/X/rename":        "a name that is gone is refused",
	"/loads":                 "a load more; bars of another are asked about",
	"/people/forget":         "blanks one mark; twice is once",
	"/people/renew":          "renews copies",
	"/pots#new":              "cards more",
	"/session":               "of one browser",
	"/settings/collector":    "joins or leaves",
	"/settings/test":         "sends a message",
	"/speak":                 "of one browser",
	"/lid-results":           "a board more",
	"/lid-results/X/strike":  "crosses one board out",
}

// twoAtOnce are what two people send by the same form, and what the second one is asked: what stands there by
// now and what was sent.
var twoAtOnce = map[string]struct {
	first, second url.Values
	now, yours    string
}{
	"/firing/X/said": {url.Values{"kind": {"once"}}, url.Values{"kind": {"other"}}, "once", "other"},
	"/bar/X/flags": {url.Values{"flag": {"broken"}}, url.Values{"flag": {"bloated", "bent"}},
		"broken", "bent, bloated"},
	"/pot/X/lid#thrown": {url.Values{"lid": {"94"}}, url.Values{"lid": {"95.5"}}, "94.0 mm", "95.5 mm"},
	"/clay/X/bag": {url.Values{"batch": {"B"}, "open": {"yes"}, "bars": {"0"}},
		url.Values{"batch": {"C"}, "open": {"yes"}, "bars": {"0"}}, "B", "C"},
	"/clays": {url.Values{"name": {"Owl"}, "matures_cone": {"6"}},
		url.Values{"name": {"Owl"}, "matures_cone": {"06"}}, "6", "06"},
	"/kilns": {url.Values{"kiln": {"barn"}, "fuel": {"wood"}},
		url.Values{"kiln": {"barn"}, "fuel": {"gas"}}, "wood", "gas"},
	"/settings/X/mark": {url.Values{"keep_shut_above_c": {"45"}},
		url.Values{"keep_shut_above_c": {"40"}}, "45", "40"},
	"/settings/X/probes": {url.Values{"fitted_on": {"2026-01-13"}, "type": {"S"}, "channel": {"1"},
		"class": {"1"}}, url.Values{"fitted_on": {"2026-01-14"}, "type": {"K"}, "channel": {"1"},
		"class": {"2"}}, "type S, class 1, fitted on 2026-01-13", "type K, class 2, fitted on 2026-01-14"},
	"/load/X/life move": {url.Values{"bars": {"BQ7"}, "to": {""}},
		url.Values{"bars": {"BQ7"}, "shelf": {"top"}, "to": {""}}, "bars", "BQ7"},
	"/bar/X corrects": {url.Values{"length": {"99.5"}, "keep": {"yes"}, "unit": {"mm"}},
		url.Values{"length": {"99.8"}, "keep": {"yes"}, "unit": {"mm"}}, "99.5 mm", "99.8 mm"},
}

// part is what stands between two slashes for a thing of the studio.
var part = regexp.MustCompile(`[0-9a-f]{8}-[0-9a-f-]{27}|BQ7|tern|big-blue`)

// TestTwoAtOneForm finds every form of every page as they are served. One that changes what is kept carries
// the mark of what it showed; of two people who send it, the second is asked, with both values, keeps what
// was typed by one tap, and from then on it is the first whose form is old. A form that carries none is
// written down here as one that takes nothing from anybody.
func TestTwoAtOneForm(t *testing.T) {
	_, forms := walkedForms(t)
	tried := map[string]bool{}
	for _, key := range slices.Sorted(maps.Keys(forms)) {
		f := forms[key]
		if f.method != "POST" || f.as != "" {
			continue // asks, or takes a table that says itself what it is about
		}
		action := part.ReplaceAllString(f.action, "X")
		action, _, _ = strings.Cut(action, "?")
		kind := action
		switch {
		case strings.HasSuffix(key, "corrects"):
			kind += " corrects"
		case f.hidden.Get("do") != "":
			kind += " " + f.hidden.Get("do")
		}
		if f.hidden.Get("revision") == "" {
			if adding[action] == "" {
				t.Errorf("%s on %s changes what is kept and carries no mark of what it showed", kind, f.page)
			}
			continue
		}
		if tried[kind] {
			continue
		}
		tried[kind] = true
		t.Run(kind, func(t *testing.T) {
			b, fresh := walkedForms(t) // each begins with a studio of its own
			var same sentForm
			for _, k := range slices.Sorted(maps.Keys(fresh)) {
				if o := fresh[k]; part.ReplaceAllString(o.action,
					"X") == part.ReplaceAllString(f.action, "X") &&
					o.names() == f.names() &&
					(o.hidden.Get("supersedes") == "") == (f.hidden.Get("supersedes") == "") {
					same = o
					break
				}
			}
			b.twoSend(t, kind, same)
		})
	}
	for kind := range twoAtOnce {
		if !tried[kind] {
			t.Errorf("no page has the form %s", kind)
		}
	}
}

// twoSend has two people send one form.
func (b *bench) twoSend(t *testing.T, kind string, f sentForm) {
	page := f.page
	send := func(v url.Values) (int, string) {
		r, text := b.send("POST", f.action, "application/x-www-form-urlencoded",
			v.Encode(), "Referer", b.URL+page)
		return r.StatusCode, text
	}
	typed := func(over url.Values) url.Values {
		v := f.values()
		for name, all := range over {
			v[name] = all
		}
		if v.Has("id") {
			v.Set("id", b.id())
		}
		return v
	}
	two, known := twoAtOnce[kind]
	if kind == "/class" || kind == "/load/X/ticks" {
		return // TestPracticeOfTwo, TestTicksOfTwo
	}
	if !known { // an older form is asked about, whatever it says
		v := typed(nil)
		v.Set("revision", "of long ago")
		status, text := send(v)
		if status != http.StatusPreconditionFailed || !strings.Contains(text,
			"Somebody else changed this meanwhile") {
			t.Errorf("an old form is answered with %d", status)
		}
		return
	}
	first, second := typed(two.first), typed(two.second)
	if status, text := send(first); status != http.StatusSeeOther {
		t.Fatalf("the first: %d %s", status, saidOnTop(text))
	}
	status, text := send(second)
	if status != http.StatusPreconditionFailed {
		t.Fatalf("the second is not asked: %d %s", status, saidOnTop(text))
	}
	says, mine := questionIn(t, text)
	for _, want := range []string{"Somebody else changed this meanwhile", two.now, two.yours, "Save mine",
		"Leave it as it is now"} {
		if !strings.Contains(says, want) {
			t.Errorf("no %q in %q", want, says)
		}
	}
	for name := range two.second {
		if !slices.Equal(mine[name], second[name]) {
			t.Errorf("%s is %q in the answer, %q was sent", name, mine[name], second[name])
		}
	}
	if kind == "/load/X/life move" { // its bar is gone from there
		return
	}
	if status, text := send(mine); status != http.StatusSeeOther {
		t.Errorf("mine is not kept: %d %s", status, saidOnTop(text))
	}
	if kind != "/clay/X/bag" { // the letter of the first is taken, which is another fault
		if status, text = send(typed(two.first)); status != http.StatusPreconditionFailed ||
			!strings.Contains(text, two.yours) {
			t.Errorf("mine was kept, and the form of the first is answered with %d", status)
		}
	}
}

// saidOnTop is what a page says went wrong.
func saidOnTop(text string) string {
	says, _ := alertIn(text)
	return says
}

// saidIn is the text of an element, its parts apart.
func saidIn(n *html.Node) string {
	var says []string
	for d := range n.Descendants() {
		if text := strings.TrimSpace(d.Data); d.Type == html.TextNode && text != "" {
			says = append(says, text)
		}
	}
	return strings.Join(says, " ")
}

func alertIn(text string) (says string, n *html.Node) {
	doc, _ := html.Parse(strings.NewReader(text))
	for n := range doc.Descendants() {
		if n.Type == html.ElementNode && attr(n, "role") == "alert" {
			return saidIn(n), n
		}
	}
	return "", nil
}

// questionIn is the question with both values, and what its first button sends.
func questionIn(t *testing.T, text string) (says string, mine url.Values) {
	t.Helper()
	says, n := alertIn(text)
	mine = url.Values{}
	if n == nil {
		t.Fatal("no question")
	}
	for in := range n.Descendants() {
		if in.Type == html.ElementNode && in.Data == "input" {
			mine.Add(attr(in, "name"), attr(in, "value"))
		}
	}
	return says, mine
}

// TestTicksOfTwo has two people tick a check list at the same time: both ticks stand.
func TestTicksOfTwo(t *testing.T) {
	b, forms := walkedForms(t)
	var f sentForm
	for _, one := range forms {
		if strings.HasSuffix(one.action, "/ticks") {
			f = one
		}
	}
	if len(f.fields) < 3 {
		t.Fatalf("%d fields", len(f.fields))
	}
	for _, item := range []string{f.fields[0].name, f.fields[1].name} {
		v := f.values()
		v.Set(item, "yes")
		v.Set("id", b.id())
		b.post(f.action, v, http.StatusSeeOther)
	}
	text := b.page(f.page)
	if n := strings.Count(text, `value="yes" checked`); n != 2 {
		t.Errorf("%d ticks stand", n)
	}
	// Who takes a tick back that was there takes back that one alone.
	found, _, _ := parsed(t, f.page, text)
	again := found[f.action][0]
	v := again.values()
	v.Set("id", b.id())
	v.Set(f.fields[1].name, "yes")
	b.post(f.action, v, http.StatusSeeOther)
	if n := strings.Count(b.page(f.page), `value="yes" checked`); n != 1 {
		t.Errorf("%d ticks stand after one was taken back", n)
	}
}

// TestPracticeOfTwo has two people say of a bar of the class whether it is practice.
func TestPracticeOfTwo(t *testing.T) {
	b, forms := walkedForms(t)
	f := forms["/class 0"]
	v := f.values()
	v["bar"] = []string{"BQ3"}
	v.Set("practice", "no")
	b.post("/class", v, http.StatusSeeOther)
	v.Set("practice", "yes")
	_, text := b.post("/class", v, http.StatusPreconditionFailed)
	says, mine := questionIn(t, text)
	for _, want := range []string{"Bar BQ3 counts practice", "Save mine"} {
		if !strings.Contains(says, want) {
			t.Errorf("no %q in %q", want, says)
		}
	}
	b.post("/class", mine, http.StatusSeeOther)
	if got := b.json("GET", "/v1/bars/BQ3", "", 200)["practice"]; got != true {
		t.Errorf("practice is %v", got)
	}
}
