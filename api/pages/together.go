package pages

import (
	"bytes"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"
)

// units stand behind a figure on pages; a fraction of an inch does so too.
var units = []string{"°C", "°F", "mm", "cm", "in", "kg", "g", "ml", "l", "%", "s", "min", "h"}

// asTyped are the elements whose text stands as it was typed or is to be typed.
var asTyped = []string{"textarea", "option", "pre", "code"}

// together writes a page again with a space that does not break between each figure and its unit, whether one
// text has both or the unit stands in an element of its own.
func together(page []byte) []byte {
	b := make([]byte, 0, len(page)+len(page)/64)
	figure := false // the last sign of the text was of a figure
	for len(page) > 0 {
		if page[0] == '<' {
			end := bytes.IndexByte(page, '>') + 1
			if name, _, _ := bytes.Cut(page[1:max(end-1, 1)], []byte(" ")); slices.Contains(asTyped,
				string(name)) {
				end = bytes.Index(page, []byte("</"+string(name)))
			}
			if end <= 0 {
				return append(b, page...)
			}
			b, page = append(b, page[:end]...), page[end:]
			continue
		}
		text := page
		if i := bytes.IndexByte(page, '<'); i >= 0 {
			text = page[:i]
		}
		page = page[len(text):]
		for len(text) > 0 {
			i := bytes.IndexByte(text, ' ')
			if i < 0 {
				i = len(text)
			}
			if i > 0 {
				figure = text[i-1] >= '0' && text[i-1] <= '9'
			}
			b, text = append(b, text[:i]...), text[i:]
			if len(text) == 0 {
				break
			}
			if text = text[1:]; figure && belongs(text) {
				b = append(b, "\u00a0"...)
			} else {
				b = append(b, ' ')
			}
			figure = false
		}
	}
	return b
}

// belongs says that a text begins with what belongs to the figure before it: a unit, or the fraction of one.
func belongs(text []byte) bool {
	for _, unit := range units {
		if after, is := bytes.CutPrefix(text, []byte(unit)); is {
			if r, _ := utf8.DecodeRune(after); !unicode.IsLetter(r) && !unicode.IsDigit(r) {
				return true
			}
		}
	}
	digits := strings.TrimLeft(string(text[:min(len(text), 3)]), "0123456789")
	return len(digits) < min(len(text), 3) && strings.HasPrefix(digits, "/")
}
