package api

import (
	"maps"
	"slices"
	"strings"
	"testing"

	"golang.org/x/net/html"
)

// labelsOf are what each field of a page is called on it, by its name.
func labelsOf(t *testing.T, text string) map[string]string {
	t.Helper()
	doc, err := html.Parse(strings.NewReader(text))
	if err != nil {
		t.Fatal(err)
	}
	byID, all := map[string]string{}, map[string]string{}
	for n := range doc.Descendants() {
		if n.Type == html.ElementNode && n.Data == "label" && attr(n, "for") != "" {
			byID[attr(n, "for")] = strings.TrimSpace(textOf(n))
		}
	}
	for n := range doc.Descendants() {
		if n.Type != html.ElementNode || attr(n, "name") == "" || all[attr(n, "name")] != "" {
			continue
		}
		label, _, _ := strings.Cut(attr(n, "aria-label"), ", ") // a unit behind it
		if text := byID[attr(n, "id")]; text != "" {
			label = text
		}
		all[attr(n, "name")] = label
	}
	return all
}

// TestFaultsNameTheirFields: what stands at the top of the pages of a lid and of a board calls a field that
// is at fault as the page does, and the fault stands beside the field too.
func TestFaultsNameTheirFields(t *testing.T) {
	b, forms := walkedForms(t)
	named := 0
	for _, key := range slices.Sorted(maps.Keys(forms)) {
		f := forms[key]
		if f.action != "/lid" && f.action != "/lid/board" {
			continue
		}
		for _, field := range f.fields {
			if field.kind == "checkbox" || field.kind == "radio" {
				continue
			}
			v := f.filled()
			v.Set(field.name, "9x")
			if field.kind == "select" {
				v.Set(field.name, "nonsense")
			}
			_, text := b.ask(f, v)
			labels := labelsOf(t, text)
			doc, _ := html.Parse(strings.NewReader(text))
			for n := range doc.Descendants() {
				if n.Type != html.ElementNode || n.Data != "a" {
					continue
				}
				name, is := strings.CutPrefix(attr(n, "href"), "#")
				if !is || attr(n.Parent.Parent, "role") != "alert" {
					continue
				}
				named++
				says, label := strings.TrimSpace(textOf(n)), labels[name]
				if name == "galleries" { // Gallery, a line a pot
					label, _, _ = strings.Cut(label, ",")
				}
				if !strings.EqualFold(says, label) {
					t.Errorf("%s, %s wrong: the top says %q, the field is called %q", f.action,
						name, says, labels[name])
				}
			}
		}
	}
	if named < 50 {
		t.Errorf("only %d faults were told", named)
	}
}
