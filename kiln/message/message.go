// Package message is what code says to people before it is in anybody's language. A Message is a key, which
// is its English text with places {1}, {2}, and what fills them: names that people typed, which stay as they
// are; words that are themselves looked up, which are Messages; and quantities, which each reader sees in
// units of his own. Code makes Messages; whoever writes a page, a print, a notice or an answer has a Reader
// and renders them once.
//
// A key is a constant: what people typed cannot become one unseen. A third language is one more table of
// keys. The Messages of golang.org/x/text take words alone as arguments, and group digits; so this is ours.
//
// It knows no language but English, reads no table and chooses no unit.
package message

import (
	"encoding/json"
	"errors"
	"math"
	"reflect"
	"strconv"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"
)

// Key is the English of a text, in which {1} is the place of the first argument. Only a constant becomes one
// without being asked.
type Key string

// Message is one text: a key and what fills its places. The zero value says nothing.
type Message struct {
	Key  Key   // its English, with places {1} to {99}
	Args []any // each a name, a whole number, a Message, or another Arg
}

// Arg is a quantity or a text that is written as its reader reads it.
type Arg interface{ Render(r Reader) string }

// New is the text of key with args in its places. A string among args is a name: it stays as it is.
func New(key Key, args ...any) Message { return Message{Key: key, Args: args} }

// Plain is text that is the same in every language: what people typed, or a figure.
func Plain(text string) Message {
	if text == "" {
		return Message{}
	}
	return Message{Key: "{1}", Args: []any{text}}
}

// Count is one where n is 1, else many with n in its first place; args come after n.
func Count(n int, one, many Key, args ...any) Message {
	if n == 1 {
		many = one
	}
	return Message{Key: many, Args: append([]any{n}, args...)}
}

// Join is several texts in a row with something between them, a comma or a blank; those that say nothing
// are left out.
func Join(between string, parts ...Message) Message {
	var said list
	for _, p := range parts {
		if !p.IsZero() {
			said.parts = append(said.parts, p)
		}
	}
	switch len(said.parts) {
	case 0:
		return Message{}
	case 1:
		return said.parts[0]
	}
	said.between = between
	return Message{Key: "{1}", Args: []any{said}}
}

// Sentence is m with a capital letter and a full stop, where it has none.
func Sentence(m Message) Message {
	if m.IsZero() {
		return m
	}
	return Message{Key: "{1}", Args: []any{sentence{m, true, true}}}
}

// Capital is m with a capital letter.
func Capital(m Message) Message { return Message{Key: "{1}", Args: []any{sentence{m, true, false}}} }

// Stopped is m with a full stop, where it has none: the rest of a sentence that a name began.
func Stopped(m Message) Message {
	if m.IsZero() {
		return m
	}
	return Message{Key: "{1}", Args: []any{sentence{m, false, true}}}
}

// Of is what an error says, where it is a Message or has one as Says. Other errors are the machine's own:
// their words are in no table and stay as they are.
func Of(err error) Message {
	var m Message
	var says interface{ Says() Message }
	switch {
	case errors.As(err, &m):
		return m
	case errors.As(err, &says):
		return says.Says()
	}
	return Plain(err.Error())
}

// Names is m with each name in it as change has it, such as paths without their folders.
func (m Message) Names(change func(name string) string) Message {
	args := make([]any, len(m.Args))
	for i, a := range m.Args {
		switch a := a.(type) {
		case string:
			args[i] = change(a)
		case Message:
			args[i] = a.Names(change)
		case list:
			parts := make([]Message, len(a.parts))
			for n, p := range a.parts {
				parts[n] = p.Names(change)
			}
			args[i] = list{a.between, parts}
		case sentence:
			a.of = a.of.Names(change)
			args[i] = a
		default:
			args[i] = a
		}
	}
	return Message{m.Key, args}
}

// IsZero reports whether m says nothing.
func (m Message) IsZero() bool { return m.Key == "" }

// String is m in English.
func (m Message) String() string { return m.Render(Reader{}) }

// Error is m in English.
func (m Message) Error() string { return m.String() }

// MarshalText gives the English: what an answer over the API says.
func (m Message) MarshalText() ([]byte, error) { return []byte(m.String()), nil }

// UnmarshalText takes a text as it is; its key is not known any more.
func (m *Message) UnmarshalText(text []byte) error {
	*m = Plain(string(text))
	return nil
}

// kept is a Message as a record keeps it.
type kept struct {
	Key  Key               `json:"key"`
	Args []json.RawMessage `json:"args,omitempty"`
}

// Kept is m as text to be kept in a record, of which Read makes the same again: the key, names and words as
// they are, quantities in the English of the API. It is empty where m says nothing.
func (m Message) Kept() string {
	if m.IsZero() {
		return ""
	}
	text, _ := json.Marshal(m.kept()) // of texts alone: never fails
	return string(text)
}

// kept is m with words and texts as keys and everything else in English.
func (m Message) kept() kept {
	k := kept{Key: m.Key}
	for _, a := range m.Args {
		arg := any(Reader{}.Write(a))
		// a quantity that renders as a key it asked for is a word, and is kept as one
		switch a := a.(type) {
		case Message:
			arg = a.kept()
		case list:
			arg = a.asKey().kept()
		case Arg:
			asked := ""
			word := a.Render(Reader{Text: func(k Key) string { asked = string(k); return asked }})
			if asked != "" && asked == word { // a word that is looked up
				arg = kept{Key: Key(asked)}
			}
		}
		text, _ := json.Marshal(arg)
		k.Args = append(k.Args, text)
	}
	return k
}

// Read is the Message that was Kept as text; a text that is no such one is its words as they stand.
func Read(text string) Message {
	var k kept
	if !strings.HasPrefix(text, `{"key":`) || json.Unmarshal([]byte(text), &k) != nil {
		return Plain(text)
	}
	return k.read()
}

// read makes the Message again; an argument that cannot be read says nothing.
func (k kept) read() Message {
	m := Message{Key: k.Key}
	for _, text := range k.Args {
		var name string
		if json.Unmarshal(text, &name) == nil {
			m.Args = append(m.Args, name)
			continue
		}
		var inner kept
		_ = json.Unmarshal(text, &inner) // what is neither says nothing
		m.Args = append(m.Args, inner.read())
	}
	return m
}

// Render is m as r reads it.
func (m Message) Render(r Reader) string {
	return Fill(r.text(m.Key), func(n int) (string, bool) {
		if n >= len(m.Args) {
			return "", false
		}
		return r.Write(m.Args[n]), true
	})
}

// list is several texts with the same between them.
type list struct {
	between string
	parts   []Message
}

// asKey is l as a text of places alone.
func (l list) asKey() Message {
	var m Message
	for i, p := range l.parts {
		if i > 0 {
			m.Key += Key(l.between)
		}
		m.Key += Key("{" + strconv.Itoa(i+1) + "}")
		m.Args = append(m.Args, p)
	}
	return m
}

// Render is the texts in a row as r reads them.
func (l list) Render(r Reader) string {
	all := make([]string, len(l.parts))
	for i, p := range l.parts {
		all[i] = p.Render(r)
	}
	return strings.Join(all, l.between)
}

// sentence is a text made to begin or end as a sentence does.
type sentence struct {
	of      Message
	capital bool
	stop    bool
}

// Render is the text with its capital letter and its stop, as r reads it.
func (s sentence) Render(r Reader) string {
	text := s.of.Render(r)
	first, n := utf8.DecodeRuneInString(text)
	if n == 0 {
		return ""
	}
	if s.capital {
		text = string(unicode.ToUpper(first)) + text[n:]
	}
	if s.stop && !strings.ContainsAny(text[len(text)-1:], ".?!") {
		text += "."
	}
	return text
}

// Reader is how one person reads. The zero value reads the English of the API: °C, a point before decimals,
// lengths in the unit that the message has.
type Reader struct {
	// Text is the table of his language, a text by its key, empty where it has none; nil: English.
	Text       func(Key) string
	Comma      bool   // before decimals, in place of a point
	Fahrenheit bool   // temperatures in °F
	Unit       string // of lengths: mm, cm, in, 32nds; empty: as the message has it
	Twelve     bool   // the clock has twice twelve hours
}

// text is a key in the reader's language; English where the table has none.
func (r Reader) text(k Key) string {
	if r.Text != nil {
		if own := r.Text(k); own != "" {
			return own
		}
	}
	return string(k)
}

// Write is what fills a place: a name as it is, of string or of a type that is one, a whole number, a Message
// or another Arg as r reads it.
func (r Reader) Write(arg any) string {
	switch a := arg.(type) {
	case Arg:
		return a.Render(r)
	case string:
		return a
	case int:
		return strconv.Itoa(a)
	case int64:
		return strconv.FormatInt(a, 10)
	}
	if v := reflect.ValueOf(arg); v.Kind() == reflect.String { // a name that has a type of its own
		return v.String()
	}
	return "–" // nothing else is an argument: a test holds that
}

// Word is a word of the trade that stands in no key: one of a closed list, such as the stages of clay. What
// people typed is never handed to it.
func (r Reader) Word(word string) string { return r.text(Key(word)) }

// Word is a word of a closed list, such as the fuels of kilns, as an argument; never what people typed.
type Word string

// Render is w in the reader's language.
func (w Word) Render(r Reader) string { return r.Word(string(w)) }

// Decimal is a number with some places after the reader's sign.
func (r Reader) Decimal(v float64, places int) string {
	text := strconv.FormatFloat(v, 'f', places, 64)
	if places >= 0 && strings.Trim(text, "-0.") == "" { // nothing is left of what is below nought
		text = strings.TrimPrefix(text, "-")
	}
	if r.Comma {
		return strings.Replace(text, ".", ",", 1)
	}
	return text
}

// signed is Decimal with a plus before what is not below 0, where sign asks for it.
func (r Reader) signed(v float64, places int, sign bool) string {
	text := r.Decimal(v, places)
	if sign && !math.Signbit(v) {
		text = "+" + text
	}
	return text
}

// Number is a number with some places after the decimal sign.
type Number struct {
	Value  float64 // in its own unit, which the text names
	Places int     // digits behind the decimal sign
	Sign   bool    // a plus stands before what is not below 0
}

// Render is n with the reader's decimal sign.
func (n Number) Render(r Reader) string { return r.signed(n.Value, n.Places, n.Sign) }

// Figure is a number with as many places as it has.
type Figure float64

// Render is f with the reader's decimal sign.
func (f Figure) Render(r Reader) string { return r.Decimal(float64(f), -1) }

// Percent is a share as per cent, with one place less than places tells of the share in hundredths.
func Percent(share float64, places int) Number { return Number{Value: 100 * share, Places: places} }

// Time is a day and a time of the clock, in the zone that it has.
type Time struct {
	At    time.Time // in the zone that it is told in
	Day   Key       // how a day is written, as Go has it: 2 Jan 2006; empty: the clock alone
	Quiet bool      // the day alone
}

// At is a day and a time of the clock.
func At(t time.Time, day Key) Time { return Time{At: t, Day: day} }

// Render is the time with the reader's names of days and months, on his clock.
func (t Time) Render(r Reader) string {
	layout, clock := r.text(t.Day), "15:04"
	if r.Twelve {
		clock = "3:04 pm"
	}
	if t.Day == "" {
		layout = clock
	} else if !t.Quiet {
		layout += " " + clock
	}
	text := t.At.Format(strings.NewReplacer("Mon", "\x01", "Jan", "\x02").Replace(layout))
	return strings.NewReplacer("\x01", r.Word(t.At.Format("Mon")), "\x02",
		r.Word(t.At.Format("Jan"))).Replace(text)
}

// Fill puts into each place {1} to {99} of a text, or [1], what with gives for it, counted from 0; a place
// for which it has nothing stays. What was put in is not looked at again.
func Fill(text string, with func(n int) (string, bool)) string {
	first := strings.IndexAny(text, "{[")
	if first < 0 {
		return text
	}
	var out strings.Builder
	for first >= 0 {
		out.WriteString(text[:first])
		text = text[first:]
		// a bracket that begins no place stands for itself
		place, n := placeAt(text)
		if says, ok := "", false; place > 0 {
			if says, ok = with(n - 1); ok {
				out.WriteString(says)
				text = text[place:]
				first = strings.IndexAny(text, "{[")
				continue
			}
		}
		out.WriteByte(text[0])
		text = text[1:]
		first = strings.IndexAny(text, "{[")
	}
	out.WriteString(text)
	return out.String()
}

// placeAt is the length of the place that text begins with, and its number from 1; 0 where there is none.
func placeAt(text string) (length, n int) {
	end := byte('}')
	if text[0] == '[' {
		end = ']'
	}
	stop := strings.IndexByte(text, end)
	if stop < 2 || stop > 3 || text[1] == '0' {
		return 0, 0
	}
	for _, d := range []byte(text[1:stop]) {
		if d < '0' || d > '9' {
			return 0, 0
		}
		n = 10*n + int(d-'0')
	}
	return stop + 1, n
}

// fault is an error that says a message, and is another one than all others.
type fault struct {
	says Message
	is   error // another that it is too; nil: none
}

// Error is the message in English.
func (f *fault) Error() string { return f.says.String() }

// Unwrap is the other error that it is.
func (f *fault) Unwrap() error { return f.is }

// Says is the message.
func (f *fault) Says() Message { return f.says }

// NewError is an error to be known again by errors.Is, whose words are a message.
func NewError(key Key, args ...any) error { return &fault{says: New(key, args...)} }

// WrapError is NewError of one that is another error too.
func WrapError(is error, key Key, args ...any) error { return &fault{New(key, args...), is} }
