// Package pages holds what people see: one template a page, one style sheet, one small
// script. Pages are made on the server and work without the script.
//
// A page is a *.templ file, compiled to Go by make generate, or a template of html/template: those
// are not yet compiled. The frame around both is the same, in frame.templ.
//
// It knows no store and no kiln: it is handed the same answers that the API gives.
package pages

import (
	"bytes"
	"cmp"
	"context"
	"crypto/sha256"
	"embed"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"html/template"
	"io"
	"math"
	"net/http"
	"reflect"
	"regexp"
	"slices"
	"strings"
	"sync"
	"time"

	"lidwright/api/wire"

	"github.com/a-h/templ"

	"lidwright/kiln/message"
)

//go:embed *.html style.css app.js icon.svg words.*.txt
var files embed.FS

// Speak is how the pages speak to one person.
type Speak struct {
	Tongue string // one of Tongues
	Unit   string // in which lengths are shown: mm, cm, in, 32nds
	Twelve bool   // the clock has twice twelve hours
	// Fahrenheit says that temperatures are shown in °F.
	Fahrenheit bool
}

func (p Speak) clock() string {
	if p.Twelve {
		return "3:04 pm"
	}
	return "15:04"
}

// At is a day and a time as one person reads it, of a time.Time or of a text as RFC 3339 has it.
func (s *Set) At(p Speak, v any) string {
	say := s.words[p.Tongue].say
	return when(v, s.zone, say("2 Jan")+" "+p.clock(), say)
}

// fine writes a small difference of lengths: to 0.01 mm, 0.001 cm, 0.001 in.
func (p Speak) fine(mm float64) string {
	switch p.Unit {
	case "cm":
		return fmt.Sprintf("%.3f cm", mm/10)
	case "in", "32nds":
		return fmt.Sprintf("%.3f in", mm/25.4)
	}
	return fmt.Sprintf("%.2f mm", mm)
}

// degrees writes °C in the reader's unit; zero is what is added for °F.
func (p Speak) degrees(format string, v any, zero float64) string {
	c, ok := v.(float64)
	if at, pointed := v.(*float64); pointed && at != nil {
		c, ok = *at, true
	}
	if !ok {
		c, ok = celsiusOf(v)
	}
	if !ok || math.IsNaN(c) {
		return "–"
	}
	if p.Fahrenheit {
		c = c*1.8 + zero
	}
	return fmt.Sprintf(format, c)
}

// celsiusOf is a number of any type that is one of floating point.
func celsiusOf(v any) (float64, bool) {
	f := reflect.ValueOf(v)
	if f.Kind() != reflect.Float64 {
		return 0, false
	}
	return f.Float(), true
}

// Frame is what the frame of a page shows. Data of a page embed it.
type Frame struct {
	Site     string
	Here     string // which of the pages in the navigation this one is under
	Standing string // the caution at the end of every page
	// Unrecorded are the kilns that are hot while nothing of them is recorded.
	Unrecorded []string
	Undo       []Undoable // records that a person ended, while that can be taken back
	Version    string
	Invented   bool      // the studio is made up
	Speak      Speak     // to whom the page speaks
	Now        time.Time // zero where the clock is not set
}

// Undoable is a firing whose record a person ended a moment ago.
type Undoable struct {
	Kiln string
	wire.Stopped
}

func (f Frame) frame() Frame { return f }

// under marks the link at the top that the page is under.
func (f Frame) under(link string) templ.Attributes {
	if f.Here == link {
		return templ.Attributes{"aria-current": "page"}
	}
	return nil
}

// Drawn is a drawing as SVG, or a text of the help, made by the code: what people typed stands escaped in it.
type Drawn string

// Word is one of a few words of the code by which a page takes its shape; never what people typed.
type Word string

// Page is a compiled page: its data, which say it to one person.
type Page interface {
	frame() Frame
	Title(Locale) string
	Body(Locale) templ.Component
}

// Data are what a page that is not compiled is made from: a struct with a Frame embedded.
type Data interface{ frame() Frame }

// Set is every page. One that is not compiled is parsed once for each way of speaking that somebody asked for.
type Set struct {
	zone   *time.Location
	length func(unit string, mm float64) string
	assets map[string][]byte
	stamp  string

	words  map[string]*words // by tag
	script map[string]string // words of the script as JSON, by tag

	mu     sync.Mutex // guards the field below
	parsed map[spokenPage]*template.Template
}

// mostParsed pages are kept ready, some 100 kB each; beyond them all are forgotten. A studio whose
// people speak three ways does not come near it.
const mostParsed = 160

type spokenPage struct {
	Speak
	name string
}

// Load reads what there is. A page is parsed when somebody first asks for it: all of them in every
// language would take longer than the rest of a start. zone is the studio's own: times are shown in
// it. length writes a length in a unit.
func Load(zone *time.Location, length func(unit string, mm float64) string) (*Set, error) {
	s := &Set{zone: zone, length: length, assets: map[string][]byte{}, parsed: map[spokenPage]*template.Template{}, words: map[string]*words{}, script: map[string]string{}}
	sum := sha256.New()
	for _, name := range []string{"style.css", "app.js", "icon.svg"} {
		b, err := files.ReadFile(name)
		if err != nil {
			return nil, err
		}
		s.assets[name] = b
		sum.Write(b)
	}
	s.stamp = hex.EncodeToString(sum.Sum(nil))[:10]
	for _, t := range Tongues {
		var err error
		if s.words[t.Tag], err = readWords(t.Tag); err != nil {
			return nil, err
		}
		s.script[t.Tag] = s.scriptWords(t.Tag)
	}
	return s, nil
}

// parse makes the template of one page for one way of speaking.
func (s *Set) parse(p spokenPage) (*template.Template, error) {
	t := template.New(p.name).Funcs(s.funcs(p.Speak)).Funcs(lidFuncs)
	for _, name := range []string{p.name + ".html"} {
		source, err := files.ReadFile(name)
		if err != nil {
			return nil, fmt.Errorf("no page is called %q", p.name)
		}
		text := string(source)
		if w := s.words[p.Tongue]; w != nil {
			text = translate(text, func(key string) string { return cmp.Or(w.exact[key], key) })
		}
		if _, err := t.Parse(text); err != nil {
			return nil, fmt.Errorf("page %s in %s: %w", name, p.Tongue, err)
		}
	}
	return t, nil
}

// page is the template of one page for one way of speaking, from then on kept.
func (s *Set) page(p spokenPage) (*template.Template, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if t, ok := s.parsed[p]; ok {
		return t, nil
	}
	t, err := s.parse(p)
	if err == nil {
		if len(s.parsed) >= mostParsed {
			clear(s.parsed)
		}
		s.parsed[p] = t
	}
	return t, err
}

// Render writes a page that is not compiled. Nothing is written if the template fails.
func (s *Set) Render(w io.Writer, name string, data Data) error {
	f := data.frame()
	t, err := s.page(spokenPage{f.Speak, name})
	if err != nil {
		return err
	}
	var title, body strings.Builder
	if err := t.ExecuteTemplate(&title, "title", data); err != nil {
		return fmt.Errorf("page %s: %w", name, err)
	}
	if err := t.ExecuteTemplate(&body, "main", data); err != nil {
		return fmt.Errorf("page %s: %w", name, err)
	}
	return s.write(w, f, templ.Raw(title.String()), templ.Raw(body.String()))
}

// Show writes a compiled page.
func (s *Set) Show(w io.Writer, p Page) error {
	l := s.locale(p.frame().Speak)
	l.Now = p.frame().Now
	return s.write(w, p.frame(), text(p.Title(l)), p.Body(l))
}

// write puts the frame around a page. Nothing is written if it fails.
func (s *Set) write(w io.Writer, f Frame, title, body templ.Component) error {
	var b bytes.Buffer
	l := s.locale(f.Speak)
	l.Now = f.Now
	if err := s.frame(l, f, title, body).Render(context.Background(), &b); err != nil {
		return err
	}
	_, err := w.Write(b.Bytes())
	return err
}

// Stamp changes whenever the style sheet or the script does.
func (s *Set) Stamp() string { return s.stamp }

// Asset gives the style sheet or the script.
func (s *Set) Asset(name string) ([]byte, bool) {
	b, ok := s.assets[name]
	return b, ok
}

// ServeAsset answers with the style sheet or the script; under the stamp that pages call it by, it never
// changes.
func (s *Set) ServeAsset(name, contentType string) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		if r.URL.RawQuery == s.stamp {
			w.Header().Set("Cache-Control", "public, max-age=31536000, immutable")
		}
		w.Header().Set("Content-Type", contentType)
		w.Write(s.assets[name])
	}
}

func (s *Set) funcs(p Speak) template.FuncMap {
	l := s.locale(p)
	say, reader := l.words.say, l.Reader()
	point := s.words[p.Tongue].point
	length := func(v any) string {
		return lengthOf(v, func(mm float64) string { return point(s.length(p.Unit, mm)) })
	}
	number := func(format string, v any, times float64) string { return point(figure(format, v, times)) }
	return template.FuncMap{
		"t":      func(v any) string { return tell(reader, say, v) }, // a message or word of the code, never what people typed
		"share2": func(v any) string { return number("%.2f", v, 100) },
		// Numbers: one figure after the point for °C and set sizes, as the tool's own answers have.
		"num":      func(format string, v any) string { return number(format, v, 1) },
		"mm":       func(v any) string { return number("%.1f", v, 1) },
		"mm2":      func(v any) string { return number("%.2f", v, 1) },
		"length":   length,                                                   // in this person's unit, which is named
		"fine":     func(v any) string { return point(lengthOf(v, p.fine)) }, // a small difference: a 32nd is too coarse for it
		"lengths":  func() string { return p.Unit },
		"bare":     bare,
		"unit":     func() string { return map[bool]string{true: "in", false: p.Unit}[p.Unit == "32nds"] },
		"c":        func(v any) string { return p.degrees("%.0f", v, 32) },
		"deg":      func(format string, v any) string { return p.degrees(format, v, 32) },
		"diff":     func(format string, v any) string { return p.degrees(format, v, 0) }, // of temperatures
		"heat":     l.Heat,                                                               // with its unit
		"rate":     func(v any) string { return l.degrees(v, 0) + " " + l.Degree() + "/h" },
		"degree":   l.Degree, // the unit alone
		"percent":  func(v any) string { return number("%.1f", v, 100) },
		"percent2": func(v any) string { return number("%.2f", v, 100) },
		"chance":   func(v any) string { return figure("%.0f", v, 100) },
		"add":      func(a, b int) int { return a + b },
		"clock":    func(v any) string { return when(v, s.zone, p.clock(), say) },
		"day":      func(v any) string { return when(v, s.zone, say("Mon 2 Jan 2006"), say) },
		"at":       func(v any) string { return s.At(p, v) },
		"safe":     func(v string) template.HTML { return template.HTML(v) }, // for SVG made here, never for what people typed
		"said":     func(v any) string { return say(spaced(fmt.Sprint(v))) }, // thrown_ring as people say it
		"first":    func(v []string) string { return nth(v, 0) },
		"second":   func(v []string) string { return nth(v, 1) },
		"third":    func(v []string) string { return nth(v, 2) },
		"among":    func(v string, all []string) bool { return slices.Contains(all, v) },
		"list":     func(v ...string) []string { return v },
		"lines":    func(v string) []string { return strings.Split(v, "\n") },
	}
}

// scriptWords are the words of the script in a language, as JSON; empty for English.
func (s *Set) scriptWords(tongue string) string {
	w := s.words[tongue]
	if w == nil {
		return ""
	}
	own := map[string]string{}
	for _, m := range inScript.FindAllSubmatch(s.assets["app.js"], -1) {
		own[string(m[1])] = w.exact[string(m[1])]
	}
	for _, state := range states {
		own[state] = w.exact[state]
	}
	text, _ := json.Marshal(own) // strings alone: never fails
	return string(text)
}

// inScript finds what the script says.
var inScript = regexp.MustCompile(`\bsay\("([^"]+)"`)

// states are words of a kiln that the script hears from the stream.
var states = []string{"no reading", "cold", "soaking", "cooling", "heating", "holding", "warm", "no reading yet"}

// tell is a message as a person reads it, or a word of the code.
func tell(r message.Reader, say func(string) string, v any) string {
	if f := reflect.ValueOf(v); f.Kind() == reflect.Pointer && !f.IsNil() {
		v = f.Elem().Interface()
	}
	if m, ok := v.(message.Message); ok {
		return m.Render(r)
	}
	return say(plain(v))
}

// plain is the text of a word of any type, or of a pointer to one; empty where there is none.
func plain(v any) string {
	if f := reflect.ValueOf(v); f.Kind() == reflect.Pointer {
		if f.IsNil() {
			return ""
		}
		return fmt.Sprint(f.Elem())
	}
	return fmt.Sprint(v)
}

// lengthOf writes a length, or a pointer to one; a dash where there is none.
func lengthOf(v any, format func(mm float64) string) string {
	f := reflect.ValueOf(v)
	if f.Kind() == reflect.Pointer && !f.IsNil() {
		f = f.Elem()
	}
	if f.Kind() != reflect.Float64 || math.IsNaN(f.Float()) {
		return "–"
	}
	return format(f.Float())
}

// bare is a length without its unit.
func bare(length string) string {
	if i := strings.LastIndexByte(length, ' '); i > 0 {
		return length[:i]
	}
	return length
}

// figure writes a number or a pointer to one; a dash where there is none.
func figure(format string, v any, times float64) string {
	switch n := v.(type) {
	case float64:
		return fmt.Sprintf(format, n*times)
	case *float64:
		if n != nil {
			return fmt.Sprintf(format, *n*times)
		}
	}
	return "–"
}

func nth(v []string, n int) string {
	if n < len(v) {
		return v[n]
	}
	return ""
}

// when writes a time; names of days and months are said in turn.
func when(v any, zone *time.Location, layout string, say func(string) string) string {
	switch t := v.(type) {
	case time.Time:
		if t.IsZero() {
			return ""
		}
		t = t.In(zone)
		text := t.Format(strings.NewReplacer("Mon", "\x01", "Jan", "\x02").Replace(layout))
		return strings.NewReplacer("\x01", say(t.Format("Mon")), "\x02", say(t.Format("Jan"))).Replace(text)
	case *string:
		if t == nil {
			return ""
		}
		return when(*t, zone, layout, say)
	case string:
		p, err := time.Parse(time.RFC3339, t)
		if err != nil {
			return t
		}
		return when(p, zone, layout, say)
	}
	return ""
}
