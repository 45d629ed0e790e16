package pages

import (
	"io"
	"testing"
	"time"
)

// A page in each language.
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
			"help": func() error { return set.Show(io.Discard, HelpPage{Frame: f}) },
			"language": func() error {
				return set.Show(io.Discard,
					LanguagePage{Frame: f, Units: []string{"mm", "cm", "in", "32nds"}})
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
