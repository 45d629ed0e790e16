package pages

import (
	"bytes"
	"net/url"
	"slices"
	"strings"

	"golang.org/x/net/html"
	"golang.org/x/net/html/atom"

	"lidwright/kiln/message"
)

// NoneYet is the mark, in the field revision, of a form that makes something that is not there yet.
const NoneYet = "none yet"

// Both is a value that two people changed: what stands there now, and what was sent.
type Both struct{ Name, Now, Yours message.Message }

// StaleForm is a form that was sent after somebody else had changed the same thing.
type StaleForm struct {
	Sent, Send url.Values // as it was sent; what is sent to keep it all the same
	Both       []Both     // none: read off its fields
	Page       string     // its address, for who leaves it as it is now
}

// Stale is a page with a form that was sent from it after somebody else had changed the same thing: a
// question with both values stands before it, and what was typed stands in its fields. It is not ok where
// the page cannot be read.
func (s *Set) Stale(page []byte, action string, c StaleForm, speak Speak) (out []byte, ok bool) {
	doc, err := html.Parse(bytes.NewReader(page))
	if err != nil {
		return nil, false
	}
	main := first(doc, func(n *html.Node) bool { return n.DataAtom == atom.Main })
	if main == nil {
		return nil, false
	}
	l := s.Locale(speak)
	form := formOf(doc, action, c.Sent)
	if form != nil && !takes(form, c.Sent) {
		form = nil // it is gone from the page, as what it changed is
	}
	both := c.Both
	if form != nil {
		if len(both) == 0 {
			both = bothOf(l, doc, form, c.Sent)
		}
		for n := range form.Descendants() {
			if name := attribute(n, "name"); c.Sent.Has(name) && attribute(n, "type") != "hidden" {
				refill(n, c.Sent[name])
			}
		}
	}
	for n := range doc.Descendants() {
		remove(n, "autofocus")
	}
	question := asksBoth(l, action, both, c)
	if form != nil {
		form.Parent.InsertBefore(question, form)
	} else {
		main.InsertBefore(question, main.FirstChild)
	}
	return unfolded(doc, question)
}

// takes reports whether a form has a field for all that was sent.
func takes(form *html.Node, sent url.Values) bool {
	of := map[string]bool{}
	for n := range form.Descendants() {
		of[attribute(n, "name")] = true
	}
	for name := range sent {
		if !of[name] {
			return false
		}
	}
	return true
}

// asksBoth is the question: what stands there, what was sent, and a button for each.
func asksBoth(l Locale, action string, both []Both, c StaleForm) *html.Node {
	div := element(atom.Div, "class", "wrong both", "role", "alert")
	add(add(div, atom.P), atom.B).AppendChild(textNode(
		l.T("Somebody else changed this meanwhile; nothing of yours is kept yet.")))
	if len(both) > 0 {
		table := add(add(div, atom.Table), atom.Tbody)
		head := add(table, atom.Tr)
		add(head, atom.Td)
		for _, says := range []string{l.T("as it is now"), l.T("yours")} {
			add(head, atom.Th, "scope", "col").AppendChild(textNode(says))
		}
		for _, one := range both {
			row := add(table, atom.Tr)
			add(row, atom.Th, "scope", "row").AppendChild(textNode(upper(l.Tell(one.Name))))
			for _, v := range []message.Message{one.Now, one.Yours} {
				says := l.Tell(v)
				if says == "" {
					says = "–"
				}
				add(row, atom.Td).AppendChild(textNode(says))
			}
		}
	}
	answer := add(div, atom.Form, "class", "chips", "method", "post", "action", action)
	for _, name := range sortedNames(c.Send) {
		for _, v := range c.Send[name] {
			add(answer, atom.Input, "type", "hidden", "name", name, "value", v)
		}
	}
	add(answer, atom.Button, "autofocus", "").AppendChild(textNode(l.T("Save mine")))
	add(answer, atom.A, "class", "btn", "href", c.Page).AppendChild(textNode(l.T("Leave it as it is now")))
	return div
}

// bothOf are the fields of a form that show something else than was sent.
func bothOf(l Locale, doc, form *html.Node, sent url.Values) (all []Both) {
	var names []string
	for n := range form.Descendants() {
		name := attribute(n, "name")
		if name != "" && n.DataAtom != atom.Button && attribute(n, "type") != "hidden" &&
			!slices.Contains(names, name) {
			names = append(names, name)
		}
	}
	for _, name := range names {
		fields := fieldsOf(form, name)
		now, yours := standsIn(fields, nil), standsIn(fields, &sent)
		if now != yours {
			all = append(all, Both{message.Plain(labelOf(l, doc, fields)),
				message.Plain(now), message.Plain(yours)})
		}
	}
	return all
}

// standsIn is what stands in some fields of one name, as people read it; with sent, what would if those were
// it.
func standsIn(fields []*html.Node, sent *url.Values) string {
	var says []string
	for _, n := range fields {
		name, value := attribute(n, "name"), attribute(n, "value")
		switch {
		case n.DataAtom == atom.Select:
			for o := range n.Descendants() {
				if o.DataAtom != atom.Option {
					continue
				}
				v := attribute(o, "value")
				if !has(o, "value") {
					v = strings.TrimSpace(textIn(o))
				}
				if sent == nil && has(o, "selected") || sent != nil && slices.Contains((*sent)[name], v) {
					says = append(says, textIn(o))
				}
			}
		case attribute(n, "type") == "checkbox" || attribute(n, "type") == "radio":
			if sent == nil && has(n, "checked") || sent != nil && slices.Contains((*sent)[name], value) {
				says = append(says, textIn(n.Parent))
			}
		case sent != nil:
			says = append(says, strings.TrimSpace(sent.Get(name)))
		case n.DataAtom == atom.Textarea:
			says = append(says, textIn(n))
		default:
			says = append(says, strings.TrimSpace(value))
		}
	}
	return strings.Join(says, ", ")
}

// labelOf is what a field is called on its page: by its label, by the legend of its group, by the heading or
// the summary that it stands under.
func labelOf(l Locale, doc *html.Node, fields []*html.Node) string {
	n := fields[0]
	if label := attribute(n, "aria-label"); label != "" {
		return label
	}
	group := attribute(n, "type") == "radio" || attribute(n, "type") == "checkbox"
	for p := n.Parent; p != nil; p = p.Parent {
		switch {
		case p.DataAtom == atom.Label && !group:
			return textIn(p)
		case p.DataAtom == atom.Fieldset || p.DataAtom == atom.Details:
			if head := first(p, func(h *html.Node) bool {
				return h.DataAtom == atom.Legend || h.DataAtom == atom.Summary
			}); head != nil && (group || p.DataAtom == atom.Fieldset) {
				return textIn(head)
			}
		}
	}
	if label := first(doc, func(x *html.Node) bool {
		return x.DataAtom == atom.Label && attribute(x, "for") != "" &&
			attribute(x, "for") == attribute(n, "id")
	}); label != nil {
		return textIn(label)
	}
	return l.Say(spaced(attribute(n, "name")))
}

// textIn is the text of an element, blanks joined.
func textIn(n *html.Node) string {
	var b strings.Builder
	for d := range n.Descendants() {
		if d.Type == html.TextNode {
			b.WriteString(d.Data)
		}
	}
	return strings.Join(strings.Fields(b.String()), " ")
}

// add puts a new element at the end of another.
func add(to *html.Node, a atom.Atom, attributes ...string) *html.Node {
	n := element(a, attributes...)
	to.AppendChild(n)
	return n
}

func sortedNames(v url.Values) []string {
	names := make([]string, 0, len(v))
	for name := range v {
		names = append(names, name)
	}
	slices.Sort(names)
	return names
}
