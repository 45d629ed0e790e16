package pages

import (
	"io"
	"io/fs"
	"strings"
	"testing"
	"time"
)

// nothing is what a page without anything is made from.
type nothing struct{ Site, Here, Standing, Version string }

// Every page parses in every language: nothing else finds a mistake before somebody asks for the page.
func TestEveryPageParses(t *testing.T) {
	set, err := Load(time.UTC, func(string, float64) string { return "" })
	if err != nil {
		t.Fatal(err)
	}
	names, err := fs.Glob(files, "*.html")
	if err != nil || len(names) < 30 {
		t.Fatalf("%d pages, %v", len(names), err)
	}
	for _, tongue := range Tongues {
		for _, name := range names {
			if name == "layout.html" || name == "asked.html" { // parts of others
				continue
			}
			if _, err := set.parse(spokenPage{Speak{Tongue: tongue.Tag, Unit: "mm"}, strings.TrimSuffix(name, ".html")}); err != nil {
				t.Error(err)
			}
		}
	}
}

// A page is parsed anew for nobody: the first of its language, unit and clock pays, all others do not.
func BenchmarkPage(b *testing.B) {
	set, err := Load(time.UTC, func(string, float64) string { return "" })
	if err != nil {
		b.Fatal(err)
	}
	for name, speak := range map[string]Speak{"english": {Tongue: "en", Unit: "mm"}, "german": {Tongue: "de", Unit: "32nds", Twelve: true}} {
		b.Run(name, func(b *testing.B) {
			for b.Loop() {
				if err := set.Render(io.Discard, "help", speak, nothing{Site: "studio"}); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
