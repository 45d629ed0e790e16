package pages

import (
	"bytes"
	"net/url"
	"slices"
	"strings"

	"lidwright/kiln/message"

	"golang.org/x/net/html"
	"golang.org/x/net/html/atom"
)

// Refused is a page with a form that was sent from it and refused, as a person gets it back: what was typed
// stands in its fields, what is wrong stands beside them, the first of those has the focus, and the top says
// that nothing is kept. A page that shows some of that itself keeps it. It is not ok where the form is not on
// the page.
func (s *Set) Refused(page []byte, action string, sent url.Values, p Problem, speak Speak) (out []byte,
	ok bool) {
	doc, err := html.Parse(bytes.NewReader(page))
	if err != nil {
		return nil, false
	}
	form := formOf(doc, action, sent)
	if form == nil {
		return nil, false
	}
	l := s.Locale(speak)
	for n := range form.Descendants() {
		if name := attribute(n, "name"); name != "" && sent.Has(name) {
			refill(n, sent[name])
		}
	}
	var left []message.Message // faults of no field of the form
	focus := len(p.Fields) > 0 && first(doc,
		func(n *html.Node) bool { return attribute(n, "aria-invalid") == "true" }) == nil
	if focus {
		for n := range doc.Descendants() {
			remove(n, "autofocus")
		}
	}
	for _, f := range p.Fields {
		fields := fieldsOf(form, f.Name)
		if len(fields) == 0 {
			left = append(left, message.New("{1}: {2}", f.Name, f.Says))
			continue
		}
		if attribute(fields[0], "aria-invalid") == "true" {
			continue
		}
		beside(fields, f.Name, upper(l.Tell(f.Says)))
		if focus {
			set(fields[0], "autofocus", "")
			focus = false
		}
	}
	if first(doc, func(n *html.Node) bool {
		return attribute(n, "role") == "alert" &&
			!has(n, "hidden")
	}) == nil {
		if len(p.Fields) == 0 {
			left = append(left, p.Detail)
		}
		form.Parent.InsertBefore(onTop(l, left, len(left) < len(p.Fields)), form)
	}
	return unfolded(doc, form)
}

// unfolded writes a page with everything open that one part of it is folded in.
func unfolded(doc, part *html.Node) (page []byte, ok bool) {
	for n := part; n != nil; n = n.Parent {
		if n.DataAtom == atom.Details {
			set(n, "open", "")
		}
	}
	var b bytes.Buffer
	if err := html.Render(&b, doc); err != nil {
		return nil, false
	}
	return b.Bytes(), true
}

// onTop says that nothing is kept, and what no field is at fault for.
func onTop(l Locale, says []message.Message, marked bool) *html.Node {
	div := element(atom.Div, "class", "wrong", "role", "alert")
	text := element(atom.P)
	strong := element(atom.Strong)
	strong.AppendChild(textNode(l.T("Nothing is kept yet.")))
	text.AppendChild(strong)
	if marked {
		text.AppendChild(textNode(" " + l.T("Look at what is marked below.")))
	}
	if len(says) > 0 {
		text.AppendChild(textNode(" " + upper(l.Tell(message.Join("; ", says...)))))
	}
	div.AppendChild(text)
	return div
}

// formOf is the form of a page that was sent: of several to the same address the one whose fields fit best.
func formOf(doc *html.Node, action string, sent url.Values) (form *html.Node) {
	best := -1
	for n := range doc.Descendants() {
		if n.DataAtom != atom.Form || !strings.EqualFold(attribute(n, "method"), "post") {
			continue
		}
		if path, _, _ := strings.Cut(attribute(n, "action"), "#"); path != action {
			continue
		}
		fits, of := 0, map[string]bool{}
		for in := range n.Descendants() {
			name := attribute(in, "name")
			switch {
			case name == "" || in.Type != html.ElementNode:
			case attribute(in, "type") == "hidden" && name == "do" &&
				attribute(in, "value") != sent.Get(name):
				fits -= 100
			default:
				of[name] = true
				if always(in) && !sent.Has(name) { // a browser would have sent it
					fits--
				}
			}
		}
		for name := range sent {
			if of[name] {
				fits++
			} else {
				fits--
			}
		}
		if form == nil || fits > best {
			form, best = n, fits
		}
	}
	return form
}

// always reports whether a browser sends a field whatever stands in it.
func always(n *html.Node) bool {
	switch attribute(n, "type") {
	case "checkbox", "radio", "submit":
		return false
	}
	return n.DataAtom != atom.Button && !has(n, "disabled")
}

// refill puts what was typed into a field.
func refill(n *html.Node, typed []string) {
	switch {
	case n.DataAtom == atom.Textarea:
		for n.FirstChild != nil {
			n.RemoveChild(n.FirstChild)
		}
		n.AppendChild(textNode(typed[0]))
	case n.DataAtom == atom.Select:
		for o := range n.Descendants() {
			if o.DataAtom != atom.Option {
				continue
			}
			value := attribute(o, "value")
			if !has(o, "value") && o.FirstChild != nil {
				value = strings.TrimSpace(o.FirstChild.Data)
			}
			if remove(o, "selected"); slices.Contains(typed, value) {
				set(o, "selected", "")
			}
		}
	case n.DataAtom != atom.Input:
	case attribute(n, "type") == "checkbox" || attribute(n, "type") == "radio":
		if remove(n, "checked"); slices.Contains(typed, attribute(n, "value")) {
			set(n, "checked", "")
		}
	case attribute(n, "type") != "password":
		set(n, "value", typed[0])
	}
}

// otherNames are the fields of forms that say what the trade calls something else.
var otherNames = map[string][]string{"packed_by": {"by"}, "by": {"marks"}, "body": {"clay"}, "clay": {"body"},
	"batch": {"clay", "body"}, "load": {"to"},
	"mark_length_mm": {"mark_length"}, "seen": {"stood"}, "tilt_deg": {"stood"}}

// fieldsOf are the fields that a fault is about: by its name, without its unit, by the last part of it, or as
// forms call it.
func fieldsOf(form *html.Node, name string) []*html.Node {
	last := name[strings.LastIndexByte(name, '.')+1:]
	whole, _, _ := strings.Cut(name, ".")
	for _, try := range append([]string{name, strings.ReplaceAll(name, ".", "_"), last,
		strings.TrimSuffix(last, "_mm"), whole}, otherNames[last]...) {
		var all []*html.Node
		for n := range form.Descendants() {
			if n.Type == html.ElementNode && try != "" && attribute(n, "name") == try &&
				attribute(n, "type") != "hidden" {
				all = append(all, n)
			}
		}
		if len(all) > 0 {
			return all
		}
	}
	return nil
}

// beside puts what is wrong behind a field, or behind the choices of which one holds.
func beside(fields []*html.Node, name, says string) {
	id := "wrong-" + name
	for _, n := range fields {
		set(n, "aria-invalid", "true")
		set(n, "aria-describedby", id)
	}
	wrong := element(atom.P, "class", "bad", "id", id)
	wrong.AppendChild(textNode(says))
	at := fields[len(fields)-1]
	for p := at.Parent; p != nil; p = p.Parent { // the whole label or row that the field stands in
		if p.DataAtom == atom.Label || p.DataAtom == atom.P ||
			p.DataAtom == atom.Div && attribute(p, "class") == "pick" {
			at = p
		}
	}
	at.Parent.InsertBefore(wrong, at.NextSibling)
}

func element(a atom.Atom, attributes ...string) *html.Node {
	n := &html.Node{Type: html.ElementNode, DataAtom: a, Data: a.String()}
	for i := 0; i+1 < len(attributes); i += 2 {
		set(n, attributes[i], attributes[i+1])
	}
	return n
}

func textNode(text string) *html.Node { return &html.Node{Type: html.TextNode, Data: text} }

func first(doc *html.Node, is func(*html.Node) bool) *html.Node {
	for n := range doc.Descendants() {
		if n.Type == html.ElementNode && is(n) {
			return n
		}
	}
	return nil
}

func attribute(n *html.Node, name string) string {
	for _, a := range n.Attr {
		if a.Key == name {
			return a.Val
		}
	}
	return ""
}

func has(n *html.Node, name string) bool {
	return slices.ContainsFunc(n.Attr, func(a html.Attribute) bool { return a.Key == name })
}

func set(n *html.Node, name, value string) {
	remove(n, name)
	n.Attr = append(n.Attr, html.Attribute{Key: name, Val: value})
}

func remove(n *html.Node, name string) {
	n.Attr = slices.DeleteFunc(n.Attr, func(a html.Attribute) bool { return a.Key == name })
}
