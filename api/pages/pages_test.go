package pages

import (
	"io"
	"io/fs"
	"strings"
	"testing"
	"time"
)

// nothing is what a page without anything is made from.
type nothing struct{ Frame }

// Every page that is not compiled parses in every language: nothing else finds a mistake before somebody
// asks for the page.
func TestEveryPageParses(t *testing.T) {
	set, err := Load(time.UTC, func(string, float64) string { return "" })
	if err != nil {
		t.Fatal(err)
	}
	names, err := fs.Glob(files, "*.html")
	if err != nil || len(names) < 5 {
		t.Fatalf("%d pages, %v", len(names), err)
	}
	for _, tongue := range Tongues {
		for _, name := range names {
			if name == "asked.html" { // parts of others
				continue
			}
			if _, err := set.parse(spokenPage{Speak{Tongue: tongue.Tag, Unit: "mm", Fahrenheit: tongue.Tag == "en"}, strings.TrimSuffix(name, ".html")}); err != nil {
				t.Error(err)
			}
		}
	}
}

// A page that is not compiled is parsed anew for nobody: the first of its language, unit and clock pays.
func BenchmarkPage(b *testing.B) {
	set, err := Load(time.UTC, func(string, float64) string { return "" })
	if err != nil {
		b.Fatal(err)
	}
	for tongue, speak := range map[string]Speak{
		"english": {Tongue: "en", Unit: "mm"},
		"german":  {Tongue: "de", Unit: "32nds", Twelve: true},
	} {
		f := Frame{Site: "studio", Speak: speak}
		for name, write := range map[string]func() error{
			"help": func() error { return set.Render(io.Discard, "help", nothing{f}) },
			"language": func() error {
				return set.Show(io.Discard, LanguagePage{Frame: f, Units: []string{"mm", "cm", "in", "32nds"}})
			},
		} {
			b.Run(tongue+"/"+name, func(b *testing.B) {
				b.ReportAllocs()
				for b.Loop() {
					if err := write(); err != nil {
						b.Fatal(err)
					}
				}
			})
		}
	}
}
