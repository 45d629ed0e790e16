package record

import (
	"context"
	"errors"
	"testing"
	"testing/synctest"
	"time"

	"lidwright/kiln"
	"lidwright/kiln/detect"
	"lidwright/kiln/kilntest"
)

func (g *rig) tell(f detect.Fact) kiln.FiringID {
	g.t.Helper()
	if f.Kiln == "" {
		f.Kiln = g.rec.Kilns[0].ID
	}
	id, err := g.rec.Tell(g.t.Context(), f)
	if err != nil {
		g.t.Error(err)
	}
	return id
}

func TestButtons(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		log := newMemoryLog()
		g := newRig(t, log, boot("a", kilntest.Winter, true))
		g.hold(20, 10*time.Minute)
		// The button begins one at once, cold, under the id of whoever pressed it.
		if id := g.tell(detect.Fact{What: detect.NewFiring, Firing: "asked-1",
			Kind: kiln.Glaze}); id != "asked-1" {
			t.Fatalf("firing %q, want asked-1", id)
		}
		if l := g.live(); l.Firing != "asked-1" || l.Kind != kiln.Glaze || l.KindFrom != detect.FromFact {
			t.Errorf("live %+v", l)
		}
		g.ramp(20, 300, 200)
		// Told another kind; then the recording is stopped, and the climb goes on unrecorded.
		g.tell(detect.Fact{What: detect.KindTold, Kind: kiln.Bisque, Atmosphere: kiln.Oxidation})
		if l := g.live(); l.Kind != kiln.Bisque || l.Atmosphere != kiln.Oxidation {
			t.Errorf("kind %s, atmosphere %s", l.Kind, l.Atmosphere)
		}
		if id := g.tell(detect.Fact{What: detect.StopRecording}); id != "" {
			t.Errorf("firing %q open after recording was stopped", id)
		}
		g.ramp(300, 500, 200)
		if l := g.live(); l.Firing != "" || l.State != kiln.Rising {
			t.Errorf("live %+v: stopped by hand, and begun again by itself", l)
		}
		// New firing at 500 °C, and another at once: the first is closed.
		g.tell(detect.Fact{What: detect.NewFiring, Firing: "asked-2"})
		g.hold(500, time.Minute)
		g.tell(detect.Fact{What: detect.NewFiring, Firing: "asked-3"})
		g.hold(500, time.Minute)
		if err := g.stop(); err != nil {
			t.Error(err)
		}
		want := []kiln.Status{kiln.Ended, kiln.Ended, kiln.Running} // below 550 °C no cone moves
		for i, id := range []kiln.FiringID{"asked-1", "asked-2", "asked-3"} {
			if f := log.firings[id]; f.Status != want[i] {
				t.Errorf("%s is %s, want %s", id, f.Status, want[i])
			}
		}
		if f := log.firings["asked-1"]; f.Kind != kiln.Bisque || f.KindFrom != detect.FromFact ||
			f.Atmosphere != kiln.Oxidation || !f.AtLeast {
			t.Errorf("firing %+v", f)
		}
	})
}

func TestUnpackingEndsAFiring(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		log := newMemoryLog()
		g := newRig(t, log, boot("a", kilntest.Winter, true))
		g.tell(detect.Fact{What: detect.LoadsKnown,
			Loads: []detect.Load{{ID: "load-1", Kind: kiln.Bisque, Atmosphere: kiln.Oxidation}}})
		g.hold(20, 10*time.Minute)
		g.ramp(20, 1000, 300)
		l := g.live()
		if l.Kind != kiln.Bisque || l.KindFrom != detect.FromLoad || l.Load != "load-1" {
			t.Errorf("live %+v", l)
		}
		// Somebody taps the wrong kiln: asked back, once, and the firing goes on.
		g.tell(detect.Fact{What: detect.Unpacked})
		if id := g.tell(detect.Fact{What: detect.Unpacked}); id != l.Firing {
			t.Errorf("firing %q after a wrong tap, want %s", id, l.Firing)
		}
		g.ramp(1000, 900, 300)
		synctest.Wait()
		if n := g.told(StillFiringNotice); n != 1 {
			t.Errorf("asked %d times whether it is still firing, want once", n)
		}
		g.ramp(900, 150, 300)
		if id := g.tell(detect.Fact{What: detect.Unpacked, Load: "load-1"}); id != "" {
			t.Errorf("firing %q open after unpacking", id)
		}
		g.ramp(150, 180, 60)
		if l := g.live(); l.Firing == "" || l.Load != "" || l.Kind != "" {
			t.Errorf("a rise after unpacking is a new firing at any temperature: %+v", l)
		}
		if err := g.stop(); err != nil {
			t.Error(err)
		}
		f := log.firings[log.order[0]]
		if f.Status != kiln.Ended || f.Load != "load-1" || f.Kind != kiln.Bisque || len(log.order) != 2 {
			t.Errorf("%d firings, the first %+v", len(log.order), f)
		}
	})
}

func TestTellRefuses(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		g := newRig(t, newMemoryLog(), boot("a", kilntest.Winter, true))
		if _, err := g.rec.Tell(t.Context(),
			detect.Fact{Kiln: "nobody", What: detect.Unpacked}); !errors.Is(err, ErrNoKiln) {
			t.Errorf("error %v, want %v", err, ErrNoKiln)
		}
		if err := g.stop(); err != nil {
			t.Error(err)
		}
		ctx, cancel := context.WithTimeout(t.Context(), time.Second)
		defer cancel()
		if _, err := g.rec.Tell(ctx, detect.Fact{Kiln: "big-blue", What: detect.Unpacked}); !errors.Is(err,
			context.DeadlineExceeded) {
			t.Errorf("error %v after the recorder ended", err)
		}
	})
}

func TestGuessKind(t *testing.T) {
	usual := func(last kiln.Kind, pairs ...any) detect.Past {
		p := detect.Past{Kind: last}
		for i := 0; i < len(pairs); i += 2 {
			p.Usual = append(p.Usual, detect.Expected{Kind: pairs[i].(kiln.Kind),
				HeatWork: kiln.Celsius(pairs[i+1].(int))})
		}
		return p
	}
	for _, c := range []struct {
		name string
		c    kiln.Celsius
		past detect.Past
		want kiln.Kind
	}{
		{"nearest usual", 1012, usual(kiln.Glaze, kiln.Bisque, 1008, kiln.Glaze, 1222), kiln.Bisque},
		{"over 15 °C from any", 1240, usual(kiln.Glaze, kiln.Bisque, 1008, kiln.Glaze, 1222), kiln.Other},
		{"two within 15: the last one's", 1004, usual(kiln.Once, kiln.Bisque, 1000, kiln.Once, 1010),
			kiln.Once},
		{"two within 15, the last was neither: nearest", 1004,
			usual(kiln.Glaze, kiln.Bisque, 1000, kiln.Once, 1010, kiln.Glaze, 1222), kiln.Bisque},
		{"first firing of a kiln", 1000, detect.Past{}, kiln.Bisque},
		{"as hot after a bisque, none usual yet", 1000, detect.Past{Kind: kiln.Bisque}, kiln.Other},
		{"hot, none usual yet", 1222, detect.Past{}, kiln.Glaze},
		{"between, none usual yet", 1100, detect.Past{}, kiln.Other},
		{"no cone moved", kiln.NoTemperature(), usual(kiln.Glaze, kiln.Bisque, 1008), kiln.Other},
	} {
		if got := detect.GuessKind(c.c, c.past); got != c.want {
			t.Errorf("%s: %s, want %s", c.name, got, c.want)
		}
	}
}
