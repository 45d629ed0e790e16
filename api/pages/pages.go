// Package pages holds what people see: one template a page, one style sheet, one small
// script. Pages are made on the server and work without the script.
//
// A page is a *.templ file, compiled to Go by make generate; the frame around it is in frame.templ.
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
	"io"
	"io/fs"
	"net/http"
	"regexp"
	"strconv"
	"strings"
	"time"

	"lidwright/api/wire"
	"lidwright/tiles"

	"github.com/a-h/templ"
)

//go:embed style.css app.js icon.svg words.*.txt
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

// fits is how long what is typed into a field may be and, of a number, from where to where it may lie: the
// script says so beside the field as soon as it is left, and the server again. A length is typed in the
// form's unit and the limit is in mm; a share may be typed in per cent.
func fits(field string) templ.Attributes {
	l, _ := tiles.LimitOf(field)
	a := templ.Attributes{"maxlength": strconv.Itoa(cmp.Or(l.Longest, tiles.LongestName))}
	if !l.IsNumber() || l.AsksBack {
		return a
	}
	a["data-least"], a["data-most"] = limitText(l.Least), limitText(l.Most)
	if l.Optional {
		a["data-or"] = "0"
	}
	in, named := tiles.LimitOf(field + "_mm")
	switch {
	case strings.HasSuffix(field, "_ratio"):
		a["data-in"] = "share"
	case named && in == l || field == "gauge_spread_sd":
		a["data-in"] = "mm"
	}
	return a
}

func limitText(f float64) string { return strconv.FormatFloat(f, 'f', -1, 64) }

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

// Set is what pages are made with: assets, and the words of each language.
type Set struct {
	zone   *time.Location
	length func(unit string, mm float64) string
	assets map[string][]byte
	stamp  string

	words  map[string]*words // by tag
	script map[string]string // words of the script as JSON, by tag
}

// Load reads what there is. zone is the studio's own: times are shown in it. length writes a length in a
// unit.
func Load(zone *time.Location, length func(unit string, mm float64) string) (*Set, error) {
	return load(files, zone, length)
}

func load(from fs.FS, zone *time.Location, length func(unit string, mm float64) string) (*Set, error) {
	s := &Set{zone: zone, length: length, assets: map[string][]byte{}, words: map[string]*words{},
		script: map[string]string{}}
	sum := sha256.New()
	for _, name := range []string{"style.css", "app.js", "icon.svg"} {
		b, err := fs.ReadFile(from, name)
		if err != nil {
			return nil, err
		}
		s.assets[name] = b
		sum.Write(b)
	}
	s.stamp = hex.EncodeToString(sum.Sum(nil))[:10]
	for _, t := range tonguesIn(from) {
		var err error
		if s.words[t.Tag], err = readWords(from, t.Tag); err != nil {
			return nil, err
		}
		s.script[t.Tag] = s.scriptWords(t.Tag)
	}
	return s, nil
}

// Show writes a compiled page.
func (s *Set) Show(w io.Writer, p Page) error {
	l := s.locale(p.frame().Speak)
	l.Now = p.frame().Now
	return s.write(w, p.frame(), text(p.Title(l)), p.Body(l))
}

// write puts the frame around a page. Nothing is written if it fails. It is the one place by which pages
// leave.
func (s *Set) write(w io.Writer, f Frame, title, body templ.Component) error {
	var b bytes.Buffer
	l := s.locale(f.Speak)
	l.Now = f.Now
	if err := s.frame(l, f, title, body).Render(context.Background(), &b); err != nil {
		return err
	}
	_, err := w.Write(together(b.Bytes()))
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
var states = []string{"no reading", "cold", "soaking", "cooling", "heating", "holding",
	"warm", "no reading yet"}

// bare is a length without its unit.
func bare(length string) string {
	if i := strings.LastIndexByte(length, ' '); i > 0 {
		return length[:i]
	}
	return length
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
