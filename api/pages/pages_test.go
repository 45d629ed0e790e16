package pages

import (
	"io"
	"testing"
	"time"
)

// nothing is what a page without anything is made from.
type nothing struct{ Site, Here, Standing, Version string }

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
