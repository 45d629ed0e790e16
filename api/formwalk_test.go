package api

import (
	"cmp"
	"context"
	"fmt"
	"maps"
	"mime/multipart"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"golang.org/x/net/html"

	"lidwright/api/usecase"
	"lidwright/kiln"
)

// formField is a field of a form as a person sees it.
type formField struct {
	name, kind, value string
	options           []string
	longest           int    // characters that may be typed; 0: not said
	least, most, in   string // of a number: its limits, and what they are in
	describedBy       string
	invalid, focus    bool
	ticked            bool // a check box
}

// sentForm is a form of a page.
type sentForm struct {
	page, action string
	method, as   string // POST or GET, and how its fields are sent where that is not as usual
	fields       []formField
	hidden       url.Values
}

// values is the form as the page gives it, each field that must be filled in with something.
func (f sentForm) values() url.Values {
	v := url.Values{}
	for name, all := range f.hidden {
		v[name] = slices.Clone(all)
	}
	for _, one := range f.fields {
		if one.kind != "checkbox" && one.kind != "file" && v.Get(one.name) == "" {
			v.Set(one.name, one.value)
		}
	}
	return v
}

// ask sends a form as a browser does.
func (b *bench) ask(f sentForm, v url.Values) (*http.Response, string) {
	switch f.method + f.as {
	case "GET":
		page, _, _ := strings.Cut(cmp.Or(f.action, f.page), "#")
		return b.send("GET", page+"?"+v.Encode(), "", "", "Referer", b.URL+f.page)
	case "POSTmultipart/form-data":
		var body strings.Builder
		w := multipart.NewWriter(&body)
		for name, all := range v {
			for _, one := range all {
				w.WriteField(name, one)
			}
		}
		w.Close()
		return b.send("POST", f.action, w.FormDataContentType(), body.String(), "Referer", b.URL+f.page)
	}
	return b.send("POST", f.action, "application/x-www-form-urlencoded", v.Encode(), "Referer", b.URL+f.page)
}

// names are those of its fields, and what it is told to do.
func (f sentForm) names() string {
	all := f.hidden.Get("do")
	for _, o := range f.fields {
		if !strings.HasSuffix(o.name, "_which") && o.name != "overlaps" { // what a page asks back
			all += " " + o.name
		}
	}
	return all
}

func attr(n *html.Node, name string) string {
	for _, a := range n.Attr {
		if a.Key == name {
			return a.Val
		}
	}
	return ""
}

func hasAttr(n *html.Node, name string) bool {
	return slices.ContainsFunc(n.Attr, func(a html.Attribute) bool { return a.Key == name })
}

func textOf(n *html.Node) string {
	if n.Type == html.TextNode {
		return n.Data
	}
	var b strings.Builder
	for c := n.FirstChild; c != nil; c = c.NextSibling {
		b.WriteString(textOf(c))
	}
	return b.String()
}

// parsed is a page as a browser takes it: its forms by their action, and the text of each thing with an id.
func parsed(t testing.TB, page, text string) (forms map[string][]sentForm, byID map[string]string,
	alert bool) {
	t.Helper()
	doc, err := html.Parse(strings.NewReader(text))
	if err != nil {
		t.Fatal(err)
	}
	forms, byID = map[string][]sentForm{}, map[string]string{}
	for n := range doc.Descendants() {
		if n.Type != html.ElementNode {
			continue
		}
		if id := attr(n, "id"); id != "" {
			byID[id] = strings.TrimSpace(textOf(n))
		}
		alert = alert || attr(n, "role") == "alert" && !hasAttr(n, "hidden")
		if n.Data == "form" {
			f := sentForm{page: page, action: attr(n, "action"), hidden: url.Values{}, as: attr(n, "enctype"),
				method: strings.ToUpper(cmp.Or(attr(n, "method"), "get"))}
			for in := range n.Descendants() {
				f.take(in)
			}
			forms[f.action] = append(forms[f.action], f)
		}
	}
	return forms, byID, alert
}

// take adds a field of the form.
func (f *sentForm) take(n *html.Node) {
	if n.Type != html.ElementNode || attr(n, "name") == "" || hasAttr(n, "disabled") {
		return
	}
	longest, _ := strconv.Atoi(attr(n, "maxlength"))
	one := formField{name: attr(n, "name"), kind: attr(n, "type"), value: attr(n, "value"), longest: longest,
		least: attr(n, "data-least"), most: attr(n, "data-most"), in: attr(n, "data-in"),
		ticked:      hasAttr(n, "checked"),
		describedBy: attr(n, "aria-describedby"),
		invalid:     attr(n, "aria-invalid") == "true", focus: hasAttr(n, "autofocus")}
	switch {
	case n.Data == "input" && one.kind == "hidden":
		f.hidden.Add(one.name, one.value)
		return
	case n.Data == "input" && one.kind == "radio":
		if i := slices.IndexFunc(f.fields, func(o formField) bool { return o.name == one.name }); i >= 0 {
			if hasAttr(n, "checked") {
				f.fields[i].value = one.value
			}
			return
		}
		if !hasAttr(n, "checked") {
			one.value = ""
		}
	case n.Data == "select":
		one.kind, one.value = "select", ""
		for o := range n.Descendants() {
			if o.Type != html.ElementNode || o.Data != "option" {
				continue
			}
			v := attr(o, "value")
			if !hasAttr(o, "value") {
				v = strings.TrimSpace(textOf(o))
			}
			if len(one.options) == 0 || hasAttr(o, "selected") {
				one.value = v
			}
			one.options = append(one.options, v)
		}
	case n.Data == "textarea":
		one.kind, one.value = "textarea", textOf(n)
	case n.Data != "input":
		return
	}
	f.fields = append(f.fields, one)
}

// formPages are the pages on which forms stand: every page of the routes, with something for each part of its
// address.
func (b *bench) formPages(parts map[string]string) (all []string) {
	for _, e := range b.s.routes() {
		method, path, _ := strings.Cut(e.pattern, " ")
		if method != "GET" || e.class.traffic != "page" || strings.Contains(path, ".") {
			continue
		}
		for part, value := range parts {
			path = strings.ReplaceAll(path, part, value)
		}
		all = append(all, strings.ReplaceAll(path, "{$}", ""))
	}
	return all
}

// enough is what is typed into fields that must be filled in.
var enough = map[string]string{"name": "Owl", "length": "94", "cone": "6", "text": "a windy day",
	"why": "it bloated", "bars": "BQ7", "galleries": "104.5", "collar": "104.5", "fired": "62", "form": "jar",
	"body": "tern/A", "marks": "KT", "to": "barn", "kiln": "big-blue", "lid_mm": "102.4", "reading": "",
	"good": "2", "table": "bar,clay\nBQ9,tern", "cone_1": "6", "cone_2": "6", "cone_3": "6",
	"stood": "down", "sitter_cone": "6",
	"intended_cone": "6", "count": "2", "code": "", "dry_g": "100", "saturated_g": "110"}

// searches are fields of which nothing is kept and any text is right.
var searches = []string{"/class by", "/pots find"}

// inTheWay are boxes that answer what is asked back, or that say what another field is held against.
var inTheWay = []string{"keep", "overlaps", "sure", "move"}

// notRead are fields that say nothing where another one is filled in, and choices that stay as they were
// where one is not known.
var notRead = []string{"/speak language", "/speak unit", "/speak degree", "/speak clock", "/pots#new collar",
	"/pots#new count", "/pots#new seat_glazed",
	"/import kind", " model"}

// walkedForms is a studio with something of everything, and every form of its pages, found on the pages as
// they are served.
func walkedForms(t *testing.T) (*bench, map[string]sentForm) {
	t.Helper()
	b := newBench(t)
	b.tern("BQ7", "BQ4")
	probe := kiln.Channel{ID: "1", Role: kiln.RoleProbe}
	b.s.Kiln = map[kiln.KilnID]kiln.Kiln{"big-blue": {ID: "big-blue", Control: "1", KeepShut: 50,
		Channels: []kiln.Channel{probe}}}
	b.s.Wired = []usecase.Wired{{Kiln: "big-blue",
		Channels: []usecase.WiredChannel{{Channel: "1", Role: kiln.RoleProbe,
			Couple: &usecase.Couple{Type: "K", Class: 2}}}}}
	live := inState(kiln.Cold, 20)
	live.Kiln = "big-blue"
	b.s.Recorder = &hearth{live: live}
	b.s.Notices = &told{}
	b.s.Hot = func(context.Context, kiln.KilnID, time.Time, time.Time) (map[kiln.ChannelID]time.Duration,
		error) {
		return nil, nil
	}
	b.s.Store = func() (usecase.StoreHealth, error) { return usecase.StoreHealth{}, nil }
	read := b.read("BQ7", "wet", "100")["id"].(string)
	b.json("PUT", "/v1/bars/BQ3", `{"id":"`+b.id()+
		`","clay":"tern","batch":"A","forming":"rolled","practice":true}`, 201)
	load, pot, board, at := b.id(), b.id(), b.id(), b.s.Now()
	b.json("PUT", "/v1/loads/"+load, `{"kiln":"big-blue","kind":"glaze","bars":[{"bar":"BQ7"}]}`, 201)
	b.json("PUT", "/v1/pots/"+pot, `{"form":"jar","number":"1","collar_mm":[104.5],"body":"tern/A"}`, 201)
	b.json("PUT", "/v1/lid-results/"+board, `{"form":"jar","body":"tern/A","counts":{"good":2}}`, 201)
	f := kiln.Firing{ID: kiln.FiringID(b.id()), Kiln: "big-blue", Number: 1, Kind: kiln.Glaze,
		Source: "serial", Began: at, Over: at, Status: kiln.Ended, Peak: 1222}
	if _, err := b.store.BeginFiring(t.Context(), f, nil); err != nil {
		t.Fatal(err)
	}
	if err := b.store.EndFiring(t.Context(), f); err != nil {
		t.Fatal(err)
	}
	parts := map[string]string{"{bar}": "BQ7", "{clay}": "tern", "{kiln}": "big-blue", "{load}": load,
		"{pot}": pot, "{id}": string(f.ID), "{topic}": "words", "{type}": "missing"}
	forms := map[string]sentForm{}
	for _, page := range append(b.formPages(parts), "/bar/BQ7?correct="+read) {
		r, text := b.send("GET", page, "", "")
		if r.StatusCode != http.StatusOK {
			continue
		}
		found, _, _ := parsed(t, page, text)
		for action, all := range found {
			nth := map[string]int{}
			for _, one := range all {
				i := nth[one.method]
				nth[one.method]++
				key := fmt.Sprint(action, " ", one.hidden.Get("do"), i)
				if one.method == "GET" {
					key = "GET " + key
				}
				if one.hidden.Get("supersedes") != "" {
					key += " corrects"
				}
				if old, ok := forms[key]; !ok || len(old.fields) < len(one.fields) {
					forms[key] = one
				}
			}
		}
	}
	if len(forms) < 20 {
		t.Fatalf("%d forms found", len(forms))
	}
	return b, forms
}

// TestEveryFormWrong walks every form of every page, found on the pages as they are served, with each field
// wrong once: the answer is 400, 404, 409 or 422 and the same page, nothing typed is lost, the fault stands
// beside its field, which has the focus, and the top says that nothing is kept.
func TestEveryFormWrong(t *testing.T) {
	b, forms := walkedForms(t)
	for _, key := range slices.Sorted(maps.Keys(forms)) {
		b.formWrong(t, forms[key])
	}
}

const tooLong = 3000

// filled is a form with each field that must be filled in filled in, and each box ticked that is not in the
// way.
func (f sentForm) filled() url.Values {
	v := f.values()
	if f.action == "/lid/board" {
		v.Set("galleries", strings.Repeat("104.5\n", 8))
	}
	for _, o := range f.fields {
		switch {
		case o.kind == "checkbox" && !slices.Contains(inTheWay, o.name):
			v.Add(o.name, o.value)
		case o.kind == "select" && v.Get(o.name) == "" && len(o.options) > 0 && f.method == "POST":
			v.Set(o.name, o.options[len(o.options)-1])
		case v.Get(o.name) == "" && enough[o.name] != "" && o.kind != "checkbox" && o.kind != "select":
			v.Set(o.name, enough[o.name])
		}
	}
	if v.Get("load") != "" { // of a firing: a load, or its bars
		v.Del("bars")
	}
	return v
}

// formWrong sends a form with each of its fields wrong once.
func (b *bench) formWrong(t *testing.T, f sentForm) {
	for _, field := range f.fields {
		if field.kind == "checkbox" || field.kind == "file" || slices.Contains(notRead,
			f.action+" "+field.name) {
			continue
		}
		v := f.filled()
		wrong := "9x" + strings.Repeat("z", tooLong)
		if field.name != "instrument" && (field.kind == "select" || field.kind == "radio") {
			wrong = "nonsense"
		}
		v.Set(field.name, wrong)
		r, text := b.ask(f, v)
		if says := wrongSaid(t, f, field, v, r.StatusCode, text); says != "" {
			t.Errorf("%s %s on %s, %s wrong: %s", f.method, f.action, f.page, field.name, says)
		}
	}
}

// wrongSaid is what is missing in the answer to a form with a field at fault; empty if nothing is.
func wrongSaid(t *testing.T, f sentForm, field formField, v url.Values, status int, text string) string {
	search := slices.Contains(searches, f.action+" "+field.name) // says what it found: nothing
	// the page as it is usually, and the fault beside
	usual := f.method == "GET" && status == http.StatusOK
	if !search && !usual && !slices.Contains([]int{400, 404, 409, 422}, status) {
		return fmt.Sprint("answered with ", status)
	}
	found, byID, alert := parsed(t, f.page, text)
	var back *sentForm
	for i, one := range found[f.action] {
		if one.names() == f.names() {
			back = &found[f.action][i]
		}
	}
	if back == nil {
		return "the form does not come back"
	}
	var missing []string
	if !alert && !search && !usual {
		missing = append(missing, "no summary on top")
	}
	seen := map[string]bool{}
	for _, o := range back.fields {
		again := seen[o.name]
		choice := o.kind == "select" || o.kind == "radio" || o.kind == "checkbox"
		if seen[o.name] = o.kind != "checkbox"; again {
			continue // another of the same name, which says the same here
		}
		if o.kind == "checkbox" && o.ticked != slices.Contains(v[o.name], o.value) {
			missing = append(missing, o.name+" is not as it was ticked")
		}
		if want := v.Get(o.name); !choice && o.kind != "file" &&
			strings.TrimSpace(o.value) != strings.TrimSpace(want) {
			missing = append(missing, o.name+" is lost")
		}
		if o.name != field.name || search || choice && f.method == "GET" {
			continue // nobody can choose what is not there; an address that says so is answered on top
		}
		if !choice && !o.focus {
			missing = append(missing, "no focus")
		}
		if says := byID[o.describedBy]; o.kind != "radio" && (!o.invalid || says == "") {
			missing = append(missing, "no fault beside it")
		}
	}
	if len(missing) > 0 {
		doc, _ := html.Parse(strings.NewReader(text))
		for n := range doc.Descendants() {
			if n.Type == html.ElementNode && attr(n, "role") == "alert" {
				missing = append(missing, "on top: "+strings.TrimSpace(textOf(n)))
			}
		}
	}
	return strings.Join(missing, ", ")
}
