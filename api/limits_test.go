package api

import (
	"encoding/json"
	"fmt"
	"maps"
	"net/http"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"unicode/utf8"

	"lidwright/tiles"
)

// lists are fields that take many things, whose number is limited and not their length.
var lists = []string{"bars", "marks", "galleries", "measured_lids", "typed", "table"}

// TestLimitsAgree holds every text field of every page against the table of limits and the document of the
// API: it says how long its text may be, the same as every member of that name says; a text one sign longer
// is refused beside the field, and one that just fits is not too long.
func TestLimitsAgree(t *testing.T) {
	b, forms := walkedForms(t)
	inDocument := b.longestInDocument(t)
	fields := 0
	for _, over := range []bool{true, false} { // what fits may be kept, and the page is another one then
		for _, key := range slices.Sorted(maps.Keys(forms)) {
			for _, one := range forms[key].fields {
				text := slices.Contains([]string{"", "text", "search", "textarea"}, one.kind)
				if text && !slices.Contains(lists, one.name) &&
					!slices.Contains(slices.Concat(notRead, searches), forms[key].action+" "+one.name) {
					fields++
					b.limitAgrees(t, forms[key], one, inDocument[one.name], over)
				}
			}
		}
	}
	if fields < 2*40 {
		t.Errorf("only %d fields", fields)
	}
}

// TestNumbersAgree holds every field of a number of every page against the table of limits: it says from
// where to where it may lie, and the server says of a number beyond either end the same beside the field.
func TestNumbersAgree(t *testing.T) {
	b, forms := walkedForms(t)
	fields := 0
	for _, key := range slices.Sorted(maps.Keys(forms)) {
		f := forms[key]
		for _, one := range f.fields {
			l, is := tiles.LimitOf(one.name)
			if !is || !l.IsNumber() || l.AsksBack || one.kind == "select" || one.kind == "radio" ||
				one.kind == "checkbox" || slices.Contains(notText, f.action+" "+one.name) {
				continue
			}
			fields++
			if one.least != fmt.Sprint(l.Least) || one.most != strconv.FormatFloat(l.Most, 'f', -1, 64) {
				t.Errorf("%s on %s: %s says %q to %q, the table %g to %g", f.action,
					f.page, one.name, one.least,
					one.most, l.Least, l.Most)
			}
			past := l.Most + 1
			if one.in == "share" {
				past = l.Most + 0.01
			}
			for _, past := range []float64{l.Least - 1, past} {
				if says := b.faultOf(f, one.name, past, one.in); !outOfRange.MatchString(says) {
					t.Errorf("%s on %s: %g in %s is answered %q", f.action, f.page, past, one.name, says)
				}
			}
			if says := b.faultOf(f, one.name, l.Most, one.in); outOfRange.MatchString(says) {
				t.Errorf("%s on %s: %g in %s: %s", f.action, f.page, l.Most, one.name, says)
			}
		}
	}
	if t.Logf("%d fields of numbers", fields); fields < 40 {
		t.Errorf("only %d fields", fields)
	}
}

// notText are fields of a maker's mark, which elsewhere is a number by that name.
var notText = []string{"/pots#new mark", "/class mark", "/lid/results mark", "/class/bars marks"}

// outOfRange is how readers say that a number is beyond its limits.
var outOfRange = regexp.MustCompile(`must lie|must be .* to |a number from 0 up|not a number of per cent`)

// faultOf is what is said beside a field in which a number was typed.
func (b *bench) faultOf(f sentForm, field string, number float64, in string) (says string) {
	v := f.filled()
	text := strconv.FormatFloat(number, 'f', -1, 64)
	if in == "share" {
		text = strconv.FormatFloat(100*number, 'f', 4, 64) + "%"
	}
	v.Set(field, text)
	if field == "gauge_spread_sd" { // of pots thrown to a gauge
		v.Del("galleries")
		v.Set("gauge", "104.5")
		v.Set("gauge_count", "12")
	}
	_, answer := b.ask(f, v)
	found, byID, _ := parsed(b.t, f.page, answer)
	for _, one := range found[f.action] {
		for _, o := range one.fields {
			if o.name == field && o.invalid {
				says += byID[o.describedBy]
			}
		}
	}
	return strings.ToLower(says)
}

// limitAgrees holds a field against the table and the document, and sends a text that just fits, or one that
// is a sign longer.
func (b *bench) limitAgrees(t *testing.T, f sentForm, field formField, said map[int]bool, over bool) {
	t.Helper()
	if l, _ := tiles.LimitOf(field.name); l.Longest != field.longest {
		t.Errorf("%s on %s: %s takes %d signs, the table of limits says %d", f.action, f.page, field.name,
			field.longest, l.Longest)
	}
	if len(said) > 0 && !said[field.longest] && field.name != "code" { // a passcode has another length
		t.Errorf("%s on %s: %s takes %d signs, the document says %v", f.action, f.page,
			field.name, field.longest,
			said)
	}
	v, n := f.filled(), field.longest
	if over {
		n++
	}
	v.Set(field.name, strings.Repeat("x", n))
	r, text := b.ask(f, v)
	found, byID, _ := parsed(t, f.page, text)
	says := ""
	for _, one := range found[f.action] {
		for _, o := range one.fields {
			if o.name == field.name && o.invalid {
				says += byID[o.describedBy]
			}
		}
	}
	switch tooLong := strings.Contains(says, "at most") && strings.Contains(says, "fit"); {
	case over && (r.StatusCode < http.StatusBadRequest && f.method == "POST" || says == ""):
		t.Errorf("%s on %s: %d signs in %s answered with %d %q", f.action, f.page, n,
			field.name, r.StatusCode,
			says)
	case !over && tooLong:
		t.Errorf("%s on %s: %d signs in %s are too long: %s", f.action, f.page, n, field.name, says)
	}
}

// longestInDocument are the lengths that the served document gives to the members of each name that are sent.
func (b *bench) longestInDocument(t *testing.T) map[string]map[int]bool {
	t.Helper()
	_, text := b.send("GET", "/v1/openapi.json", "", "")
	var doc struct {
		Components struct {
			Schemas map[string]struct {
				Properties map[string]struct {
					MaxLength *int
				}
			}
		}
	}
	if err := json.Unmarshal([]byte(text), &doc); err != nil {
		t.Fatal(err)
	}
	all := map[string]map[int]bool{}
	for _, s := range doc.Components.Schemas {
		for name, p := range s.Properties {
			if p.MaxLength == nil {
				continue
			}
			if all[name] == nil {
				all[name] = map[int]bool{}
			}
			all[name][*p.MaxLength] = true
		}
	}
	if len(all) < 30 {
		t.Fatalf("%d members with a length", len(all))
	}
	return all
}

// TestLimitsOfTheDocument: each text, number and list that is sent to the API says what it may hold, and what
// it says is in the table of limits, but for what the trade answers better than a schema.
func TestLimitsOfTheDocument(t *testing.T) {
	b := newBench(t)
	_, text := b.send("GET", "/v1/openapi.json", "", "")
	type schema struct {
		Ref              string `json:"$ref"`
		Type             any
		Properties       map[string]*schema
		Items            *schema
		Enum             []any
		Pattern, Format  string
		MaxLength        *int
		Minimum, Maximum *float64
	}
	var doc struct {
		Components struct{ Schemas map[string]*schema }
		Paths      map[string]map[string]struct {
			RequestBody struct {
				Content map[string]struct{ Schema *schema }
			}
		}
	}
	if err := json.Unmarshal([]byte(text), &doc); err != nil {
		t.Fatal(err)
	}
	seen, members := map[string]bool{}, 0
	var walk func(of, member string, s *schema)
	walk = func(of, member string, s *schema) {
		if name, is := strings.CutPrefix(s.Ref, "#/components/schemas/"); is {
			if !seen[name] {
				seen[name] = true
				for m, p := range doc.Components.Schemas[name].Properties {
					walk(name, m, p)
				}
			}
			return
		}
		if s.Items != nil {
			walk(of, member, s.Items)
			return
		}
		members++
		kind, _ := json.Marshal(s.Type)
		l, is := tiles.LimitOf(member)
		switch {
		case member == "" || len(s.Enum) > 0 || s.Pattern != "":
		case strings.Contains(string(kind), "string") && s.MaxLength == nil &&
			!slices.Contains([]string{"date-time", "uuid"}, s.Format):
			t.Errorf("%s.%s: a text of any length", of, member)
		case strings.Contains(string(kind), "string") && s.MaxLength != nil && is &&
			*s.MaxLength != l.Longest && !otherLength[of+"."+member]:
			t.Errorf("%s.%s: %d signs, the table of limits says %d", of, member, *s.MaxLength, l.Longest)
		case (strings.Contains(string(kind), "number") || strings.Contains(string(kind),
			"integer")) && s.Maximum == nil &&
			!l.AsksBack && !anyNumber[of+"."+member]:
			t.Errorf("%s.%s: any number", of, member)
		}
	}
	for path, methods := range doc.Paths {
		for method, op := range methods {
			for _, c := range op.RequestBody.Content {
				if c.Schema != nil && !strings.HasPrefix(path, "/v1/collect") {
					walk(method+" "+path, "", c.Schema)
				}
			}
		}
	}
	if members < 100 {
		t.Errorf("only %d members", members)
	}
}

// otherLength are members with a length of their own: a passcode is longer than the code of a bar, and a new
// name of a kiln is shorter than the name of a load.
var otherLength = map[string]bool{"SessionInputBody.code": true, "RenameBody.to": true}

// anyNumber are members whose range hangs on others.
var anyNumber = map[string]bool{"TypedBody.hours": true, "TypedBody.temperature_c": true,
	"BoardGaugeBody.count": true}

// anID is of something new.
const anID = "0193c0c1-0000-7000-8000-0000000000c7"

// TestLimitsAreRead sends numbers at the ends of their range and one past it.
func TestLimitsAreRead(t *testing.T) {
	for field, send := range map[string]string{
		"stated_total_ratio": `/v1/clays/wren {"name":"Wren","stated_total_ratio":%}`,
		"note":               `/v1/clays/wren {"name":"Wren","note":"%"}`,
		"grog":               `/v1/clays/wren {"name":"Wren","grog":"%"}`,
		"maker_code":         `/v1/clays/wren {"name":"Wren","maker_code":"%"}`,
		"name":               `/v1/clays/wren {"name":"%"}`,
		"stamp":              `/v1/clays/tern/batches/B {"kind":"bought","open":true,"stamp":"%"}`,
		"marks":              `/v1/bars/BQ3 {"id":"ID","clay":"tern","marks":%}`,
		"mark_length_mm":     `/v1/bars/BQ3 {"id":"ID","clay":"tern","mark_length_mm":%}`,
		"by":                 `/v1/bars/BQ3 {"id":"ID","clay":"tern","by":"%"}`,
		"step_mm":            `/v1/bars/BQ7/readings/ID {"stage":"wet","length":"100","step_mm":%}`,
		"instrument":         `/v1/bars/BQ7/readings/ID {"stage":"wet","length":"100","instrument":"%"}`,
		"queued_s":           `/v1/bars/BQ7/readings/ID {"stage":"wet","length":"100","queued_s":%}`,
		"packed_by":          `/v1/loads/ID {"kiln":"big-blue","kind":"glaze","cone":"6","packed_by":"%"}`,
		"heat_work_c":        `/v1/loads/ID {"kiln":"big-blue","kind":"glaze","heat_work_c":%}`,
		"shelf":              `/v1/loads/ID {"kiln":"big-blue","kind":"glaze","cone":"6","bars":[{"bar":"BQ7","shelf":"%"}]}`,
		"form":               `/v1/pots/ID {"form":"%","collar_mm":[104.5],"body":"tern/A"}`,
		"number":             `/v1/pots/ID {"form":"jar","number":"%","collar_mm":[104.5],"body":"tern/A"}`,
		"mark":               `/v1/pots/ID {"form":"jar","mark":"%","collar_mm":[104.5],"body":"tern/A"}`,
		"collar_mm":          `/v1/pots/ID {"form":"jar","collar_mm":[%],"body":"tern/A"}`,
		"trim_most_mm":       `/v1/pots/ID {"form":"jar","trim_most_mm":%,"collar_mm":[104.5],"body":"tern/A"}`,
		"maker":              `/v1/lid-results/ID {"form":"jar","maker":"%","body":"tern/A","counts":{"good":2}}`,
		"good":               `/v1/lid-results/ID {"form":"jar","body":"tern/A","counts":{"good":%}}`,
		"plays_mm":           `/v1/lid-results/ID {"form":"jar","body":"tern/A","plays_mm":[%],"counts":{"good":2}}`,
	} {
		l, is := tiles.LimitOf(field)
		if !is {
			t.Errorf("%s has no limit", field)
			continue
		}
		path, body, _ := strings.Cut(send, " ")
		fits, over := []string{strings.Repeat("x", l.Longest)}, []string{strings.Repeat("x", l.Longest+1)}
		if !strings.Contains(body, `"%"`) {
			past := max(2, l.Most/1000)
			fits, over = []string{tiles.Decimal(l.Least), tiles.Decimal(l.Most)},
				[]string{tiles.Decimal(l.Least - past), tiles.Decimal(l.Most + past)}
			if l.Least == 0 {
				fits = fits[1:] // nothing is said
			}
		}
		for i, texts := range [][]string{fits, over} {
			for _, one := range texts {
				b := newBench(t) // nothing of it is kept before
				b.tern("BQ7")
				r, said := b.send("PUT", strings.Replace(path, "ID", anID, 1), "application/json",
					strings.NewReplacer("ID", anID, "%", one).Replace(body))
				refused := r.StatusCode == http.StatusUnprocessableEntity && strings.Contains(said, field)
				if refused != (i == 1) || i == 0 && r.StatusCode >= 300 {
					t.Errorf("%s of %.20s (%d signs): %d %.300s", field, one,
						utf8.RuneCountInString(one), r.StatusCode,
						said)
				}
			}
		}
	}
}
