package record

import (
	"testing"
	"testing/synctest"
	"time"

	"lidwright/kiln"
	"lidwright/kiln/detect"
	"lidwright/kiln/kilntest"
)

// What becomes of a firing that broke off does not hang on whether the program was ended and begun anew in
// the firing before, nor on how soon the store tells of that one: here it never does.
func TestBrokenOffFiringHasOneStatus(t *testing.T) {
	for name, killed := range map[string]kiln.Celsius{"no kill": 0, "killed near the top": 1100,
		"killed while cooling": 300, "killed shortly before the end": 52, "killed after the end": 30} {
		t.Run(name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				log := newMemoryLog()
				g := newRig(t, log, boot("a", kilntest.Winter, true))
				kill := func() {
					if err := g.stop(); err != nil {
						t.Error(err)
					}
					ids := g.ids
					g = newRig(t, log, g.clock())
					g.ids = ids
				}
				load := func(id string) {
					if _, err := g.rec.Tell(t.Context(), detect.Fact{Kiln: "big-blue",
						What: detect.LoadsKnown,
						Loads: []detect.Load{{ID: id, Kind: kiln.Glaze,
							Atmosphere: kiln.Oxidation}}}); err != nil {
						t.Fatal(err)
					}
				}
				load("one")
				g.hold(20, 10*time.Minute)
				g.ramp(20, 1238, 600)
				g.hold(1238, 10*time.Minute)
				if killed > 0 {
					g.ramp(1238, killed, 400)
					kill()
					g.ramp(killed, 28, 400)
				} else {
					g.ramp(1238, 28, 400)
				}
				g.hold(28, 15*time.Minute)
				if _, err := g.rec.Tell(t.Context(), detect.Fact{Kiln: "big-blue", What: detect.Unpacked,
					Load: "one"}); err != nil {
					t.Fatal(err)
				}
				load("two")
				g.hold(20, 10*time.Minute)
				g.ramp(20, 699, 600)
				g.ramp(699, 28, 400)
				g.hold(28, 15*time.Minute)
				if err := g.stop(); err != nil {
					t.Error(err)
				}
				if len(log.order) != 2 {
					t.Fatalf("%d firings", len(log.order))
				}
				for i, want := range []kiln.Status{kiln.Ended, kiln.Incomplete} {
					if f := log.firings[log.order[i]]; f.Status != want || f.Kind != kiln.Glaze {
						t.Errorf("firing %d to %.0f °C: %s %s, want %s", i+1, f.Peak, f.Kind, f.Status, want)
					}
				}
			})
		})
	}
}
