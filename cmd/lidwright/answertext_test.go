package main

import (
	"bytes"
	"crypto/sha256"
	"encoding/json"
	"fmt"
	"html"
	"regexp"
	"slices"
	"strings"
)

// shown is an answer as text that a person can read and compare: JSON in lines, a page as its text, all
// else as it came. Style sheet, script and the descriptions of the API, which lie in the project or are
// held by tests of their own, are told by their length and hash.
func shown(contentType, path, text string, whole bool) string {
	switch {
	case strings.HasPrefix(contentType, "text/html"):
		return pageText(text, whole)
	case path == "/style.css", path == "/app.js",
		strings.HasPrefix(path, "/v1/openapi") && path != "/v1/openapi.json":
		return fmt.Sprintf("%d lines, %x\n", strings.Count(text, "\n"), sha256.Sum256([]byte(text)))
	case path == "/v1/openapi.json":
		return jsonLines(document(text))
	case strings.Contains(contentType, "json"):
		return jsonLines(text)
	}
	return text
}

// document is the description of the API with the refusals of each operation told by their numbers alone:
// they are alike, and four fifths of it.
func document(text string) string {
	var d map[string]any
	if err := json.Unmarshal([]byte(text), &d); err != nil {
		return err.Error()
	}
	paths, _ := d["paths"].(map[string]any)
	for _, path := range paths {
		methods, _ := path.(map[string]any)
		for _, one := range methods {
			operation, _ := one.(map[string]any)
			answers, _ := operation["responses"].(map[string]any)
			var refusals []string
			for status := range answers {
				if status >= "4" && status < "6" {
					refusals = append(refusals, status)
					delete(answers, status)
				}
			}
			slices.Sort(refusals)
			if answers != nil {
				answers["refusals"] = strings.Join(refusals, " ")
			}
		}
	}
	b, err := json.Marshal(d)
	if err != nil {
		return err.Error()
	}
	return string(b)
}

// jsonLines sets JSON in lines of at most 160 signs where it can, its members in the order they came.
func jsonLines(text string) string {
	if !json.Valid([]byte(text)) {
		return text
	}
	d := json.NewDecoder(strings.NewReader(text))
	d.UseNumber()
	return laid(d, "") + "\n"
}

const longestLine = 160

func laid(d *json.Decoder, indent string) string {
	token, err := d.Token()
	if err != nil {
		return err.Error()
	}
	open, group := token.(json.Delim)
	if !group {
		return oneValue(token)
	}
	var parts []string
	length := len(indent)
	for d.More() {
		part := ""
		if open == '{' {
			name, _ := d.Token()
			part = oneValue(name) + ": "
		}
		part += laid(d, indent+" ")
		parts, length = append(parts, part), length+len(part)+2
	}
	d.Token() // the end
	last := map[json.Delim]string{'{': "}", '[': "]"}[open]
	broken := slices.ContainsFunc(parts, func(p string) bool { return strings.Contains(p, "\n") })
	if length <= longestLine && !broken {
		return open.String() + strings.Join(parts, ", ") + last
	}
	return open.String() + "\n" + indent + " " + strings.Join(parts, ",\n"+indent+" ") + "\n" + indent + last
}

func oneValue(token json.Token) string {
	var b bytes.Buffer
	e := json.NewEncoder(&b)
	e.SetEscapeHTML(false)
	e.Encode(token)
	return strings.TrimSpace(b.String())
}

var (
	unread = regexp.MustCompile(`(?is)<!doctype[^>]*>|<!--.*?-->|<(script|style)\b.*?</(script|style)>`)
	tag    = regexp.MustCompile(`(?s)<(/?)([a-zA-Z][a-zA-Z0-9]*)((?:[^>"']|"[^"]*"|'[^']*')*)>`)
	attr   = regexp.MustCompile(`([a-zA-Z-]+)(?:\s*=\s*(?:"([^"]*)"|'([^']*)'|([^\s>"']+)))?`)
	spaces = regexp.MustCompile(`[ \t\r\n]+`)
	inLine = strings.Fields("a abbr b bdi code em i kbd mark q s samp small span strong sub " +
		"sup time u var wbr tspan input button option select output")
)

// pageText is the text of a page, a line a block. The whole of it has where links and forms lead, and
// names and values of fields.
func pageText(page string, whole bool) string {
	// the space of a figure and its unit
	page = strings.ReplaceAll(unread.ReplaceAllString(page, ""), "\u00a0", " ")
	var out strings.Builder
	var links []string // where the links lead that are open
	at := 0
	for _, m := range tag.FindAllStringSubmatchIndex(page, -1) {
		out.WriteString(spaces.ReplaceAllString(html.UnescapeString(page[at:m[0]]), " "))
		at = m[1]
		ends, name := m[2] != m[3], strings.ToLower(page[m[4]:m[5]])
		has := map[string]string{}
		if !ends {
			for _, a := range attr.FindAllStringSubmatch(page[m[6]:m[7]], -1) {
				has[strings.ToLower(a[1])] = html.UnescapeString(a[2] + a[3] + a[4])
			}
		}
		if !slices.Contains(inLine, name) {
			out.WriteString("\n")
		}
		switch {
		case name == "td" || name == "th":
			if !ends {
				out.WriteString("| ")
			}
		case !whole:
		case name == "a" && !ends:
			links = append(links, has["href"])
		case name == "a" && len(links) > 0:
			fmt.Fprintf(&out, " <%s>", links[len(links)-1])
			links = links[:len(links)-1]
		case name == "form" && !ends:
			fmt.Fprintf(&out, "form %s %s\n", strings.ToUpper(has["method"]), has["action"])
		case ends:
		case slices.Contains([]string{"input", "textarea", "select", "option"}, name),
			name == "button" && has["name"] != "":
			fmt.Fprintf(&out, " [%s]", fieldText(name, has))
		}
	}
	var lines []string
	for line := range strings.Lines(out.String()) {
		if line = strings.TrimSpace(spaces.ReplaceAllString(line, " ")); line != "" && line != "|" {
			lines = append(lines, line)
		}
	}
	return cells(lines)
}

// cells puts what stands in the cells of a row of a table on one line.
func cells(lines []string) string {
	var out strings.Builder
	row := false
	for _, line := range lines {
		cell := strings.HasPrefix(line, "| ")
		switch {
		case out.Len() == 0:
		case row && cell:
			out.WriteString(" ")
		default:
			out.WriteString("\n")
		}
		out.WriteString(line)
		row = cell
	}
	return out.String() + "\n"
}

func fieldText(tag string, has map[string]string) string {
	text := tag
	if tag == "input" {
		text = has["type"]
	}
	for _, name := range []string{"name", "value", "min", "max", "step", "maxlength", "pattern"} {
		if v, ok := has[name]; ok {
			text += " " + name + "=" + v
		}
	}
	for _, name := range []string{"checked", "selected", "required", "disabled", "readonly", "multiple"} {
		if _, ok := has[name]; ok {
			text += " " + name
		}
	}
	return strings.TrimSpace(text)
}
