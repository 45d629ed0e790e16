// Package pages holds what people see: one template a page, one style sheet, one small
// script. Pages are made on the server and work without the script.
//
// It knows no store and no kiln: it is handed the same answers that the API gives.
package pages

import (
	"bytes"
	"crypto/sha256"
	"embed"
	"encoding/hex"
	"fmt"
	"html/template"
	"io"
	"io/fs"
	"slices"
	"strings"
	"time"
)

//go:embed *.html style.css app.js
var files embed.FS

// Set is every page, parsed once.
type Set struct {
	byName map[string]*template.Template
	assets map[string][]byte
	stamp  string
}

// Load parses the templates. zone is the studio's own: times are shown in it.
func Load(zone *time.Location) (*Set, error) {
	s := &Set{byName: map[string]*template.Template{}, assets: map[string][]byte{}}
	sum := sha256.New()
	for _, name := range []string{"style.css", "app.js"} {
		b, err := files.ReadFile(name)
		if err != nil {
			return nil, err
		}
		s.assets[name] = b
		sum.Write(b)
	}
	s.stamp = hex.EncodeToString(sum.Sum(nil))[:10]
	funcs := s.funcs(zone)
	base, err := template.New("layout.html").Funcs(funcs).Funcs(lidFuncs).ParseFS(files, "layout.html", "asked.html")
	if err != nil {
		return nil, err
	}
	names, err := fs.Glob(files, "*.html")
	if err != nil {
		return nil, err
	}
	for _, name := range names {
		if name == "layout.html" || name == "asked.html" { // parts of others
			continue
		}
		t, err := base.Clone()
		if err != nil {
			return nil, err
		}
		if _, err := t.ParseFS(files, name); err != nil {
			return nil, err
		}
		s.byName[strings.TrimSuffix(name, ".html")] = t
	}
	return s, nil
}

// Render writes one page. Nothing is written if the template fails.
func (s *Set) Render(w io.Writer, name string, data any) error {
	t, ok := s.byName[name]
	if !ok {
		return fmt.Errorf("no page is called %q", name)
	}
	var b bytes.Buffer
	if err := t.ExecuteTemplate(&b, "layout.html", data); err != nil {
		return fmt.Errorf("page %s: %w", name, err)
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

func (s *Set) funcs(zone *time.Location) template.FuncMap {
	return template.FuncMap{
		"stamp":  func() string { return s.stamp },
		"share2": func(v any) string { return figure("%.2f", v, 100) },
		// Numbers: one figure after the point for °C and set sizes, as the tool's own answers have.
		"num":      func(format string, v any) string { return figure(format, v, 1) },
		"mm":       func(v any) string { return figure("%.1f", v, 1) },
		"mm2":      func(v any) string { return figure("%.2f", v, 1) },
		"c":        func(v any) string { return figure("%.0f", v, 1) },
		"percent":  func(v any) string { return figure("%.1f", v, 100) },
		"percent2": func(v any) string { return figure("%.2f", v, 100) },
		"chance":   func(v any) string { return figure("%.0f", v, 100) },
		"add":      func(a, b int) int { return a + b },
		"clock":    func(v any) string { return when(v, zone, "15:04") },
		"day":      func(v any) string { return when(v, zone, "Mon 2 Jan 2006") },
		"at":       func(v any) string { return when(v, zone, "2 Jan 15:04") },
		"safe":     func(v string) template.HTML { return template.HTML(v) },                  // for SVG made here, never for what people typed
		"said":     func(v any) string { return strings.ReplaceAll(fmt.Sprint(v), "_", " ") }, // thrown_ring as people say it
		"first":    func(v []string) string { return nth(v, 0) },
		"second":   func(v []string) string { return nth(v, 1) },
		"third":    func(v []string) string { return nth(v, 2) },
		"among":    func(v string, all []string) bool { return slices.Contains(all, v) },
		"list":     func(v ...string) []string { return v },
		"lines":    func(v string) []string { return strings.Split(v, "\n") },
	}
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

func when(v any, zone *time.Location, layout string) string {
	switch t := v.(type) {
	case time.Time:
		if t.IsZero() {
			return ""
		}
		return t.In(zone).Format(layout)
	case *string:
		if t == nil {
			return ""
		}
		return when(*t, zone, layout)
	case string:
		p, err := time.Parse(time.RFC3339, t)
		if err != nil {
			return t
		}
		return p.In(zone).Format(layout)
	}
	return ""
}
