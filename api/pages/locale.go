package pages

import (
	"fmt"
	"html"
	"strings"

	"github.com/a-h/templ"
)

// Locale says texts as one person reads them. Compiled pages are handed one.
type Locale struct {
	Speak
	words *words
}

func (s *Set) locale(p Speak) Locale { return Locale{p, s.words[p.Tongue]} }

// key is the English of a text, by which its own in another language is found. Only a constant becomes
// one without being asked: what people typed cannot be looked up, it fills a place.
type key string

func (l Locale) text(k key) string {
	if l.words != nil {
		if own := l.words.exact[string(k)]; own != "" {
			return own
		}
	}
	return string(k)
}

// T is a text with its places filled: {1} by the first of args. What fills them stays as it is.
func (l Locale) T(k key, args ...any) string { return fill(l.text(k), args, fmt.Sprint) }

// HTML is a text with tags in it, which are ours; what fills its places is escaped.
func (l Locale) HTML(k key, args ...any) templ.Component {
	return templ.Raw(fill(l.text(k), args, func(v ...any) string { return html.EscapeString(fmt.Sprint(v...)) }))
}

// Say is a word or sentence that the code put together; never what people typed.
func (l Locale) Say(english string) string { return l.words.say(english) }

// fill puts args into the places of a text; a place beyond them stays as it is.
func fill(text string, args []any, write func(...any) string) string {
	if len(args) == 0 {
		return text
	}
	return aWord.ReplaceAllStringFunc(text, func(place string) string {
		if n := int(place[1] - '1'); n >= 0 && n < len(args) {
			return write(args[n])
		}
		return place
	})
}

// spaced is a name of the code as people write it: thrown_ring in two words.
func spaced(name string) string { return strings.ReplaceAll(name, "_", " ") }
