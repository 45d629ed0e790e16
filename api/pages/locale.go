package pages

import (
	"cmp"
	"fmt"
	"html"
	"math"
	"net/url"
	"reflect"
	"regexp"
	"strconv"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"github.com/a-h/templ"

	"lidwright/kiln/message"
)

// Locale says texts as one person reads them. Compiled pages are handed one.
type Locale struct {
	Speak
	words *words
	set   *Set // for its clock and its lengths
	// Now is the time that the page is made at; zero where the clock is not set.
	Now time.Time
}

func (s *Set) locale(p Speak) Locale { return Locale{Speak: p, words: s.words[p.Tongue], set: s} }

// Locale says texts of the code to one person, for drawings that a page is handed.
func (s *Set) Locale(p Speak) Locale { return s.locale(p) }

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

// T is a text with its places filled: {1} by the first of args. A name stays as it is, a quantity and a
// message are said as the person reads them.
func (l Locale) T(k key, args ...any) string {
	return l.fill(k, args, func(s string) string { return s })
}

// HTML is a text with tags in it, which are ours; what fills its places is escaped.
func (l Locale) HTML(k key, args ...any) templ.Component {
	return templ.Raw(l.fill(k, args, html.EscapeString))
}

// fill puts args into the places of a text; a place beyond them stays as it is.
func (l Locale) fill(k key, args []any, write func(string) string) string {
	r := l.Reader()
	return message.Fill(l.text(k), func(n int) (string, bool) {
		if n >= len(args) {
			return "", false
		}
		if a, ok := args[n].(message.Arg); ok {
			return write(a.Render(r)), true
		}
		return write(fmt.Sprint(args[n])), true
	})
}

// Tell is a message as the person reads it.
func (l Locale) Tell(m message.Message) string { return m.Render(l.Reader()) }

// Reader is how the person reads messages.
func (l Locale) Reader() message.Reader { return l.words.reader(l.Speak) }

// Say is a word of the code, or a text of it without places; never what people typed.
func (l Locale) Say(english string) string {
	return l.words.say(english)
}

// spaced is a name of the code as people write it: thrown_ring in two words.
func spaced(name string) string { return strings.ReplaceAll(name, "_", " ") }

// At is a day and a time of the clock, of a time or a text as RFC 3339 has it; empty where there is none.
func (l Locale) At(v any) string { return l.set.At(l.Speak, v) }

// Hour is a time of the clock without its day.
func (l Locale) Hour(v any) string { return when(v, l.set.zone, l.clock(), l.words.say) }

// Soon is a time of the clock, with the day of the week where that is another than now's.
func (l Locale) Soon(v *string) string {
	at, err := time.Parse(time.RFC3339, *cmp.Or(v, new(string)))
	if err != nil || l.Now.IsZero() {
		return l.At(v)
	}
	if at, now := at.In(l.set.zone), l.Now.In(l.set.zone); at.YearDay() == now.YearDay() &&
		at.Year() == now.Year() {
		return l.Hour(at)
	}
	return when(at, l.set.zone, "Mon "+l.clock(), l.words.say)
}

// Clock is a day of the week and a time.
func (l Locale) Clock(v any) string {
	return when(v, l.set.zone, l.words.say("Mon 2 Jan")+", "+l.clock(), l.words.say)
}

// Day is a day with its month.
func (l Locale) Day(v any) string { return when(v, l.set.zone, l.words.say("Mon 2 Jan"), l.words.say) }

// Length is a length in the reader's unit, which is named.
func (l Locale) Length(mm float64) string { return l.words.point(l.set.length(l.Unit, mm)) }

// fine is a small difference of lengths with its unit.
func (l Locale) fine(mm float64) string { return l.words.point(l.Speak.fine(mm)) }

// lengthOrDash is a length; a dash where there is none.
func lengthOrDash(l Locale, mm *float64) string {
	if mm == nil {
		return "–"
	}
	return l.Length(*mm)
}

// Bare is a length in the reader's unit without its name.
func (l Locale) Bare(mm float64) string { return bare(l.Length(mm)) }

// plainFigure is a number with decimals and nothing else.
var plainFigure = regexp.MustCompile(`^\d+\.\d+$`)

// typed is what stands in a field of a figure, which may have come by a link: with the reader's decimal sign.
func (l Locale) typed(text string) string {
	if plainFigure.MatchString(text) {
		return l.words.point(text)
	}
	return text
}

// PerMM is how much of the reader's unit a millimetre is, and the unit's name; 32nds are told as inches.
func (l Locale) PerMM() (float64, string) {
	switch l.Unit {
	case "cm":
		return 0.1, "cm"
	case "in", "32nds":
		return 1 / 25.4, "in"
	}
	return 1, "mm"
}

// Degree is the unit that temperatures are told in.
func (l Locale) Degree() string {
	if l.Fahrenheit {
		return "°F"
	}
	return "°C"
}

// Degrees is a temperature, or a pointer to one in °C, in the reader's unit; a dash where there is none.
func (l Locale) Degrees(v any) string { return l.degrees(v, 32) }

// Heat is a temperature with its unit.
func (l Locale) Heat(v any) string { return l.Degrees(v) + " " + l.Degree() }

// Rate is a rate of heating in the reader's unit, with a sign.
func (l Locale) Rate(v any) string {
	return l.Change(v) + "/h"
}

// Spread is a difference of temperatures with its unit, of a float64 or a pointer to one, K.
func (l Locale) Spread(v any) string { return l.degrees(v, 0) + " " + l.Degree() }

// Change is a difference of temperatures with its sign and unit.
func (l Locale) Change(v any) string {
	text := l.degrees(v, 0)
	if text != "–" && !strings.HasPrefix(text, "−") {
		text = "+" + text
	}
	return text + " " + l.Degree()
}

// Fine is a small difference of lengths, mm, with its unit; a dash where there is none.
func (l Locale) Fine(mm *float64) string {
	if mm == nil {
		return "–"
	}
	return l.fine(*mm)
}

// Roughly is a length to the nearest mm, cm or tenth of an inch.
func (l Locale) Roughly(mm float64) string {
	switch l.Unit {
	case "cm":
		return l.Decimal(mm/10, 0) + " cm"
	case "in", "32nds":
		return l.Decimal(mm/25.4, 1) + " in"
	}
	return l.Decimal(mm, 0) + " mm"
}

// Percent2 is a share in per cent with two places, or a dash where there is none.
func (l Locale) Percent2(share *float64) string {
	if share == nil {
		return "–"
	}
	return l.Decimal(100**share, 2)
}

// degrees are °C in the reader's unit; zero is what is added for °F.
func (l Locale) degrees(v any, zero float64) string {
	f := reflect.ValueOf(v)
	if f.Kind() == reflect.Pointer && !f.IsNil() {
		f = f.Elem()
	}
	if f.Kind() != reflect.Float64 || math.IsNaN(f.Float()) {
		return "–"
	}
	if l.Fahrenheit {
		return l.Decimal(f.Float()*1.8+zero, 0)
	}
	return l.Decimal(f.Float(), 0)
}

// Decimal is a number with some places, with the reader's sign between them and the whole, and a minus before
// what is below nought once it is rounded.
func (l Locale) Decimal(v float64, places int) string {
	text := strconv.FormatFloat(v, 'f', places, 64)
	if strings.Trim(text, "-0.") == "" {
		text = strings.TrimPrefix(text, "-")
	}
	return l.words.point(strings.Replace(text, "-", "−", 1))
}

// Field is a length as it stands in a field, in the reader's unit: read back it is the same length to the
// bit.
func (l Locale) Field(mm float64) string {
	per, _ := l.PerMM()
	for places := 1; places < 12; places++ {
		text := strconv.FormatFloat(mm*per, 'f', places, 64)
		if back, err := strconv.ParseFloat(text, 64); err == nil && math.Abs(back/per-mm) < 1e-9 {
			return l.words.point(text)
		}
	}
	return l.words.point(strconv.FormatFloat(mm*per, 'f', -1, 64))
}

// upper makes the first letter of a sentence a capital.
func upper(text string) string {
	if text == "" {
		return ""
	}
	r, n := utf8.DecodeRuneInString(text)
	return string(unicode.ToUpper(r)) + text[n:]
}

// comma puts a comma before a text that is there.
func comma(text string) string {
	if text == "" {
		return ""
	}
	return ", " + text
}

// asides are what else is to be known of a bar, as ", practice, bent".
func asides(l Locale, practice bool, flags []string) (text string) {
	if practice {
		text = comma(l.T("practice"))
	}
	for _, f := range flags {
		text += comma(l.Say(spaced(f)))
	}
	return text
}

// kilnAddress is the address of a kiln's page.
func kilnAddress(kiln string) templ.SafeURL { return templ.SafeURL("/kiln/" + url.PathEscape(kiln)) }
