// Package topics holds the topics of the help: texts that the daemon shows under /help/NAME and that
// lidwright help NAME prints, each once, in English and where there is one in another language.
//
// A text is Markdown (CommonMark): a title, a line that says what it is about, then sections. No line is
// longer than 78 columns but in a block of code.
package topics

import (
	"bytes"
	"embed"
	"fmt"
	"regexp"
	"strings"

	"github.com/yuin/goldmark"
	"github.com/yuin/goldmark/renderer/html"
)

//go:embed *.md *.svg
var files embed.FS

// names are those of the topics, in the order in which they are listed.
var names = []string{"sizing", "measuring", "new-bag", "watching", "packing", "boards", "replacing",
	"connecting", "numbers", "words", "restoring", "privacy", "school", "monitoring", "tools"}

// Jobs is how many of them, from the first, are a job at the bench each.
const Jobs = 7

// Topic is one text of the help in one language.
type Topic struct {
	Name, Title, About string
	Tongue             string // of the text: English where there is no other
	text               string
}

// All are all topics, each in the language with this tag where it is there.
func All(tongue string) []Topic {
	var all []Topic
	for _, name := range names {
		if t, ok := Find(name, tongue); ok {
			all = append(all, t)
		}
	}
	return all
}

// Find is the topic called name, in a language where it is there and else in English.
func Find(name, tongue string) (Topic, bool) {
	b, err := files.ReadFile(name + "." + tongue + ".md")
	if err != nil {
		tongue = "en"
		if b, err = files.ReadFile(name + ".md"); err != nil {
			return Topic{}, false
		}
	}
	title, rest, _ := strings.Cut(strings.TrimPrefix(string(b), "# "), "\n\n")
	about, text, _ := strings.Cut(rest, "\n\n")
	return Topic{name, title, strings.ReplaceAll(about, "\n", " "), tongue, text}, true
}

// picture is a line that stands for a drawing: what it shows, and its file or the name by which it is drawn.
var picture = regexp.MustCompile(`(?m)^!\[(.+)\]\((?:([a-z]+\.svg)|drawn:([a-z]+))\)$`)

// HTML is the text without its title, as it stands on a page; its drawings stand in it. Those that the
// program draws in the reader's units come by draw; "" leaves one out.
func (t Topic) HTML(draw func(name string) string) (string, error) {
	var b bytes.Buffer
	source := picture.ReplaceAllStringFunc(t.text, func(line string) string {
		m := picture.FindStringSubmatch(line)
		svg := ""
		if m[3] != "" {
			svg = draw(m[3])
		} else if kept, err := files.ReadFile(m[2]); err == nil {
			svg = strings.ReplaceAll(string(kept), "\n\n", "\n")
		}
		if svg == "" {
			return ""
		}
		return "<figure>\n" + svg + "<figcaption class=\"l2\">" + m[1] + "</figcaption></figure>"
	})
	md := goldmark.New(goldmark.WithRendererOptions(html.WithUnsafe())) // every text is our own
	if err := md.Convert([]byte(source), &b); err != nil {
		return "", fmt.Errorf("help topic %s: %w", t.Name, err)
	}
	return b.String(), nil
}

var (
	marked = regexp.MustCompile("\\*\\*([^*]+)\\*\\*|\\*([^*\n]+)\\*|`([^`]+)`")
	bullet = regexp.MustCompile(`(?m)^##+ `)
)

// Plain is the whole text as a terminal shows it: no marks, blocks of code indented.
func (t Topic) Plain() string {
	var b strings.Builder
	b.WriteString(strings.ToUpper(t.Title) + "\n\n")
	for i, part := range strings.Split(t.text, "```") {
		if i%2 == 1 { // a block, which begins with the name of its language
			_, block, _ := strings.Cut(part, "\n")
			for line := range strings.Lines(block) {
				b.WriteString("    " + line)
			}
			continue
		}
		part = picture.ReplaceAllString(part, "($1: a drawing on the page /help/"+t.Name+")")
		b.WriteString(marked.ReplaceAllString(bullet.ReplaceAllString(strings.TrimPrefix(part, "\n"), ""),
			"$1$2$3"))
	}
	return b.String()
}
