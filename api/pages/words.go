package pages

import (
	"fmt"
	"io/fs"
	"regexp"
	"strings"

	"lidwright/kiln/message"
)

// Tongue is a language that pages speak, under the name that it has for itself.
type Tongue struct {
	Tag, Name string
	Comma     bool // before decimals, in place of a point
}

// Tongues are the languages that pages speak, English first. English stands in the templates and in the code;
// every other is its file words.<tag>.txt and nothing else: its first line says what it is called and how it
// writes one and a half, and in the rest an English text is followed by its own, which begins with "= ".
// Texts that code has as keys of messages stand behind the line "## Messages".
var Tongues = tonguesIn(files)

var header = regexp.MustCompile(`^# (\S.*) 1([.,])5\n`)

// tonguesIn are English and the languages of which there is a file.
func tonguesIn(from fs.FS) []Tongue {
	all := []Tongue{{Tag: "en", Name: "English"}}
	names, _ := fs.Glob(from, "words.*.txt") // the pattern is right
	for _, name := range names {
		t := Tongue{Tag: strings.TrimSuffix(strings.TrimPrefix(name, "words."), ".txt")}
		text, _ := fs.ReadFile(from, name) // readWords tells of a file that cannot be read
		if m := header.FindSubmatch(text); m != nil {
			t.Name, t.Comma = string(m[1]), string(m[2]) == ","
		}
		all = append(all, t)
	}
	return all
}

// words are the texts of one language by the English ones. Nil is English itself.
type words struct {
	comma bool // before decimals
	exact map[string]string
}

func readWords(from fs.FS, tag string) (*words, error) {
	if tag == "en" {
		return nil, nil
	}
	text, err := fs.ReadFile(from, "words."+tag+".txt")
	if err != nil {
		return nil, err
	}
	first := header.FindSubmatch(text)
	if first == nil {
		return nil, fmt.Errorf("words.%s.txt: its first line must be like \"# Deutsch 1,5\"", tag)
	}
	w := &words{comma: string(first[2]) == ",", exact: map[string]string{}}
	english := ""
	for n, line := range strings.Split(string(text), "\n") {
		says, own := strings.CutPrefix(line, "= ")
		switch {
		case strings.HasPrefix(line, "#"), strings.TrimSpace(line) == "":
		case own == (english == ""):
			return nil, fmt.Errorf("words.%s.txt line %d: an English text and its own, with = before it, take turns", tag, n+1)
		case !own:
			english = line
		case w.exact[english] != "":
			return nil, fmt.Errorf("words.%s.txt line %d: %q was there before", tag, n+1, english)
		default:
			w.exact[english] = says
			english = ""
		}
	}
	return w, nil
}

// Reader reads messages as a person does; it needs no page.
func Reader(p Speak) (message.Reader, error) {
	w, err := readWords(files, p.Tongue)
	return w.reader(p), err
}

// reader reads messages in this language, in a person's units and on his clock.
func (w *words) reader(p Speak) message.Reader {
	r := message.Reader{Comma: w != nil && w.comma, Fahrenheit: p.Fahrenheit, Unit: p.Unit, Twelve: p.Twelve}
	if w != nil {
		r.Text = func(k message.Key) string { return w.exact[string(k)] }
	}
	return r
}

// point is a figure, with its unit or without, with this language's decimal sign.
func (w *words) point(figure string) string {
	if w == nil || !w.comma {
		return figure
	}
	return strings.Replace(figure, ".", ",", 1)
}

// aFigure is a text that is nothing but a number with decimals and its unit: without one it may be a name.
var aFigure = regexp.MustCompile(`^[-+−±]?\d+\.\d+ (?:mm|cm|in|ml|g|h|%|°C|°F)$`)

// figure is a text of the code that fills a place: where it is a figure, with this language's decimal sign.
func (w *words) figure(text string) string {
	if aFigure.MatchString(text) {
		return w.point(text)
	}
	return text
}

// say is a word of the code in this language, or a text of it that has no places; what is not known stays as
// it is.
func (w *words) say(english string) string {
	if w != nil {
		if own, ok := w.exact[english]; ok {
			return own
		}
	}
	return w.figure(english)
}
