package record

import (
	"testing"
	"testing/synctest"
	"time"

	"lidwright/kiln"
	"lidwright/kiln/kilntest"
)

// A firing that began in 1970 because nobody had set the clock has its date as soon as the clock is
// set, in what is told while it goes on and in what is written at its end; also where the program
// began anew in between, and where the clock was set while the program was stopped.
func TestClockIsSetInMidFiring(t *testing.T) {
	for _, c := range []struct {
		name string
		set  func(g *rig, log *memoryLog) *rig
	}{
		{"in mid-firing", func(g *rig, _ *memoryLog) *rig { g.setClock(kilntest.Winter); return g }},
		{"while nothing is heard", func(g *rig, _ *memoryLog) *rig {
			g.setClock(kilntest.Winter)
			g.silence(10 * time.Second)
			return g
		}},
		{"before a stop", func(g *rig, log *memoryLog) *rig {
			g.setClock(kilntest.Winter)
			g.hold(600, time.Minute)
			return g.again(log)
		}},
		{"while stopped", func(g *rig, log *memoryLog) *rig {
			if err := g.stop(); err != nil {
				g.t.Error(err)
			}
			g.setClock(kilntest.Winter)
			return newRig(g.t, log, g.clock())
		}},
	} {
		t.Run(c.name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				log := newMemoryLog()
				g := newRig(t, log, boot("a", time.Unix(0, 0), false))
				g.hold(20, 10*time.Minute)
				g.ramp(20, 600, 200)
				began := g.live().Began
				if began.Wall.Year() != 1970 || began.Trusted {
					t.Fatalf("began %v before the clock was set", began)
				}
				g = c.set(g, log)
				set := g.clock()
				g.hold(600, time.Minute)
				right := set.Wall.Add(began.Since - set.Since)
				check := func(when string, at kiln.Stamp) {
					t.Helper()
					if !at.Trusted || at.Wall.Sub(right).Abs() > 2*time.Second || at.Since != began.Since {
						t.Errorf("%s it began %v; want %v", when, at, right)
					}
				}
				l := g.live()
				f, _ := g.rec.Firing("big-blue")
				check("live:", l.Began)
				check("open:", f.Began)
				if !l.ClockTrusted || l.ReadAt.Wall.Year() != kilntest.Winter.Year() {
					t.Errorf("read at %v", l.ReadAt)
				}
				g.ramp(600, 30, 300)
				g.hold(30, 15*time.Minute)
				if err := g.stop(); err != nil {
					t.Error(err)
				}
				f = log.firings[log.order[0]]
				check("at the end:", f.Began)
				if took := f.Over.Wall.Sub(f.Began.Wall); !f.Over.Trusted ||
					(took-f.Length).Abs() > time.Minute {
					t.Errorf("over %v, %v after it began by the dates; %v by its ages", f.Over, took,
						f.Length)
				}
			})
		})
	}
}

// setClock sets the clock on the wall, and has it trusted.
func (g *rig) setClock(wall time.Time) {
	g.mu.Lock()
	defer g.mu.Unlock()
	g.now.Wall, g.now.Trusted = wall, true
}

// again stops the recorder and starts another.
func (g *rig) again(log *memoryLog) *rig {
	if err := g.stop(); err != nil {
		g.t.Error(err)
	}
	return newRig(g.t, log, g.clock())
}
