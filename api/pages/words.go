package pages

import (
	"fmt"
	"regexp"
	"strings"
	"unicode"

	"lidwright/kiln/message"
)

// Tongues are the languages that pages speak, each under the name that it has for itself. English
// stands in the templates and in the code; every other has its file words.<tag>.txt, in which an
// English text is followed by its own, which begins with "= ". Texts that code has as keys of messages stand
// behind the line "## Messages".
var Tongues = []struct {
	Tag, Name string
	Comma     bool // before decimals, in place of a point
}{{"en", "English", false}, {"de", "Deutsch", true}}

// words are the texts of one language by the English ones. Nil is English itself.
type words struct {
	comma bool // before decimals
	exact map[string]string
}

func readWords(tag string) (*words, error) {
	if tag == "en" {
		return nil, nil
	}
	text, err := files.ReadFile("words." + tag + ".txt")
	if err != nil {
		return nil, err
	}
	w := &words{exact: map[string]string{}}
	for _, t := range Tongues {
		w.comma = w.comma || t.Tag == tag && t.Comma
	}
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
	w, err := readWords(p.Tongue)
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

// A template is cut into tokens: actions, tags, and text between them.
var tokens = regexp.MustCompile(`(?s)\{\{.*?\}\}|<!?/?[a-zA-Z](?:\{\{.*?\}\}|"(?:\{\{.*?\}\}|[^"])*"|[^>"])*>`)

var (
	steers = regexp.MustCompile(`^\{\{-?\s*(?:if|else|end|range|with|define|block|template|break|continue|/\*|\$\w+\s*:?=)`)
	inText = regexp.MustCompile(`^</?(a|strong|em|b|u|code|small|span|sub|sup)\b`)
	spoken = regexp.MustCompile(`(?s)\b(aria-label|title|alt|placeholder)="((?:\{\{.*?\}\}|[^"])*)"`)
	blanks = regexp.MustCompile(`\s+`)
)

// translate gives the source of a template with each text in it as say has it. A text is what a
// person reads in one go: it ends at tags that break the line and where the template decides
// something. In a key the actions are {1}, {2}; links and the like keep their tags, without what
// stands in them but with a number: <a1>. What has no word in it is no text.
func translate(source string, say func(key string) string) string {
	var out strings.Builder
	var run []string
	flush := func() {
		out.WriteString(sayRun(run, say))
		run = run[:0]
	}
	at := 0
	take := func(end int) {
		if end > at {
			run = append(run, source[at:end])
		}
	}
	for _, m := range tokens.FindAllStringIndex(source, -1) {
		take(m[0])
		one := source[m[0]:m[1]]
		at = m[1]
		if one[0] == '<' {
			one = spoken.ReplaceAllStringFunc(one, func(attribute string) string {
				p := spoken.FindStringSubmatch(attribute)
				return p[1] + `="` + translate(p[2], say) + `"`
			})
		}
		if one[0] == '{' && !steers.MatchString(one) || inText.MatchString(one) {
			run = append(run, one)
			continue
		}
		flush()
		out.WriteString(one)
	}
	take(len(source))
	flush()
	return out.String()
}

// sayRun says a run of text, actions and tags within a line.
func sayRun(run []string, say func(string) string) string {
	if len(run) == 0 {
		return ""
	}
	// Signs at either end belong to no text.
	for _, end := range []int{0, len(run) - 1} {
		if one := run[end]; one[0] != '<' && !strings.HasPrefix(one, "{{") && !hasWord(one) {
			if end == 0 {
				return one + sayRun(run[1:], say)
			}
			return sayRun(run[:end], say) + one
		}
	}
	// Tags that are not closed in this run, and links that stand side by side, part it.
	var open []int
	partner := map[int]int{}
	for i, one := range run {
		switch {
		case strings.HasPrefix(one, "</"):
			if len(open) > 0 {
				partner[open[len(open)-1]], partner[i] = i, open[len(open)-1]
				open = open[:len(open)-1]
			}
		case one[0] == '<':
			open = append(open, i)
		}
	}
	depth := 0
	for i, one := range run {
		_, paired := partner[i]
		switch {
		case one[0] == '<' && !paired:
			return sayRun(run[:i], say) + one + sayRun(run[i+1:], say)
		case strings.HasPrefix(one, "</"):
			depth--
		case depth == 0 && i > 0 && run[i-1] == "</a>" && strings.HasPrefix(one, "<a "):
			return sayRun(run[:i], say) + sayRun(run[i:], say)
		case one[0] == '<':
			depth++
		case depth == 0 && i > 0 && i+1 < len(run) && run[i-1] == "</a>" && strings.HasPrefix(run[i+1], "<a ") && !hasWord(one):
			return sayRun(run[:i], say) + one + sayRun(run[i+1:], say)
		}
	}
	if n := len(run); n > 1 && partner[0] == n-1 && run[0][0] == '<' {
		return run[0] + sayRun(run[1:n-1], say) + run[n-1]
	}
	var key strings.Builder
	fill := map[string]string{}
	places, tags, word := 0, 0, false
	for _, one := range run {
		switch {
		case strings.HasPrefix(one, "{{"):
			places++
			name := fmt.Sprintf("{%d}", places)
			fill[name] = one
			key.WriteString(name)
		case strings.HasPrefix(one, "<") && strings.Contains(one, " "):
			tags++
			name := fmt.Sprintf("<%s%d>", inText.FindStringSubmatch(one)[1], tags)
			fill[name] = one
			key.WriteString(name)
		default:
			word = word || one[0] != '<' && hasWord(one)
			key.WriteString(one)
		}
	}
	whole := strings.Join(run, "")
	if !word {
		return whole
	}
	bare := strings.TrimSpace(whole)
	begin, end := whole[:strings.Index(whole, bare)], whole[strings.Index(whole, bare)+len(bare):]
	says := noWords.Replace(say(blanks.ReplaceAllString(strings.TrimSpace(key.String()), " ")))
	return begin + aSlot.ReplaceAllStringFunc(says, func(name string) string {
		if f, ok := fill[name]; ok {
			return f
		}
		return name
	}) + end
}

// noWords makes a place of each that a sentence says in turn: what a page puts there is said already.
var noWords = strings.NewReplacer("[1]", "{1}", "[2]", "{2}", "[3]", "{3}", "[4]", "{4}", "[5]", "{5}", "[6]", "{6}", "[7]", "{7}", "[8]", "{8}", "[9]", "{9}")

var aSlot = regexp.MustCompile(`\{\d\}|<[a-z]+\d>`)

// sameEverywhere are words that every language writes alike: units and names.
var sameEverywhere = map[string]bool{"mm": true, "cm": true, "in": true, "g": true, "h": true, "ml": true, "°C": true, "°C/h": true, "g/cm³": true, "C": true, "sd": true, "lidwright": true, "nbsp": true}

// hasWord reports whether there is something to say otherwise in another language.
func hasWord(text string) bool {
	for _, word := range strings.FieldsFunc(text, func(r rune) bool { return !unicode.IsLetter(r) && r != '°' && r != '/' && r != '³' }) {
		if !sameEverywhere[word] && strings.ContainsFunc(word, unicode.IsLetter) {
			return true
		}
	}
	return false
}
