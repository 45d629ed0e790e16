package kiln

import (
	"context"
	"errors"
	"testing"
	"testing/synctest"
	"time"
)

func (g *rig) tell(f Fact) FiringID {
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
		g := newRig(t, log, boot("a", winter, true))
		g.hold(20, 10*time.Minute)
		// The button begins one at once, cold, under the id of whoever pressed it.
		if id := g.tell(Fact{What: NewFiring, Firing: "asked-1", Kind: Glaze}); id != "asked-1" {
			t.Fatalf("firing %q, want asked-1", id)
		}
		if l := g.live(); l.Firing != "asked-1" || l.Kind != Glaze || l.KindFrom != FromFact {
			t.Errorf("live %+v", l)
		}
		g.ramp(20, 300, 200)
		// Told another kind; then the recording is stopped, and the climb goes on unrecorded.
		g.tell(Fact{What: KindTold, Kind: Bisque, Atmosphere: Oxidation})
		if l := g.live(); l.Kind != Bisque || l.Atmosphere != Oxidation {
			t.Errorf("kind %s, atmosphere %s", l.Kind, l.Atmosphere)
		}
		if id := g.tell(Fact{What: StopRecording}); id != "" {
			t.Errorf("firing %q open after recording was stopped", id)
		}
		g.ramp(300, 500, 200)
		if l := g.live(); l.Firing != "" || l.State != Rising {
			t.Errorf("live %+v: stopped by hand, and begun again by itself", l)
		}
		// New firing at 500 °C, and another at once: the first is closed.
		g.tell(Fact{What: NewFiring, Firing: "asked-2"})
		g.hold(500, time.Minute)
		g.tell(Fact{What: NewFiring, Firing: "asked-3"})
		g.hold(500, time.Minute)
		if err := g.stop(); err != nil {
			t.Error(err)
		}
		want := []Status{Ended, Ended, Running} // below 550 °C no cone moves
		for i, id := range []FiringID{"asked-1", "asked-2", "asked-3"} {
			if f := log.firings[id]; f.Status != want[i] {
				t.Errorf("%s is %s, want %s", id, f.Status, want[i])
			}
		}
		if f := log.firings["asked-1"]; f.Kind != Bisque || f.KindFrom != FromFact || f.Atmosphere != Oxidation || !f.AtLeast {
			t.Errorf("firing %+v", f)
		}
	})
}

func TestUnpackingEndsAFiring(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		log := newMemoryLog()
		g := newRig(t, log, boot("a", winter, true))
		g.tell(Fact{What: LoadOpened, Load: "load-1", Kind: Bisque, Atmosphere: Oxidation})
		g.hold(20, 10*time.Minute)
		g.ramp(20, 1000, 300)
		l := g.live()
		if l.Kind != Bisque || l.KindFrom != FromLoad || l.Load != "load-1" {
			t.Errorf("live %+v", l)
		}
		// Somebody taps the wrong kiln: asked back, once, and the firing goes on.
		g.tell(Fact{What: Unpacked})
		if id := g.tell(Fact{What: Unpacked}); id != l.Firing {
			t.Errorf("firing %q after a wrong tap, want %s", id, l.Firing)
		}
		g.ramp(1000, 900, 300)
		synctest.Wait()
		if n := g.told(StillFiringNotice); n != 1 {
			t.Errorf("asked %d times whether it is still firing, want once", n)
		}
		g.ramp(900, 150, 300)
		if id := g.tell(Fact{What: Unpacked, Load: "load-1"}); id != "" {
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
		if f.Status != Ended || f.Load != "load-1" || f.Kind != Bisque || len(log.order) != 2 {
			t.Errorf("%d firings, the first %+v", len(log.order), f)
		}
	})
}

func TestTellRefuses(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		g := newRig(t, newMemoryLog(), boot("a", winter, true))
		if _, err := g.rec.Tell(t.Context(), Fact{Kiln: "nobody", What: Unpacked}); !errors.Is(err, ErrNoKiln) {
			t.Errorf("error %v, want %v", err, ErrNoKiln)
		}
		if err := g.stop(); err != nil {
			t.Error(err)
		}
		ctx, cancel := context.WithTimeout(t.Context(), time.Second)
		defer cancel()
		if _, err := g.rec.Tell(ctx, Fact{Kiln: "big-blue", What: Unpacked}); !errors.Is(err, context.DeadlineExceeded) {
			t.Errorf("error %v after the recorder ended", err)
		}
	})
}

func TestGuessKind(t *testing.T) {
	usual := func(last Kind, pairs ...any) Past {
		p := Past{Kind: last}
		for i := 0; i < len(pairs); i += 2 {
			p.Usual = append(p.Usual, Expected{Kind: pairs[i].(Kind), HeatWork: Celsius(pairs[i+1].(int))})
		}
		return p
	}
	for _, c := range []struct {
		name string
		c    Celsius
		past Past
		want Kind
	}{
		{"nearest usual", 1012, usual(Glaze, Bisque, 1008, Glaze, 1222), Bisque},
		{"over 15 °C from any", 1240, usual(Glaze, Bisque, 1008, Glaze, 1222), Other},
		{"two within 15: the last one's", 1004, usual(Once, Bisque, 1000, Once, 1010), Once},
		{"two within 15, the last was neither: nearest", 1004, usual(Glaze, Bisque, 1000, Once, 1010, Glaze, 1222), Bisque},
		{"first firing of a kiln", 1000, Past{}, Bisque},
		{"as hot after a bisque, none usual yet", 1000, Past{Kind: Bisque}, Other},
		{"hot, none usual yet", 1222, Past{}, Glaze},
		{"between, none usual yet", 1100, Past{}, Other},
		{"no cone moved", NoTemperature(), usual(Glaze, Bisque, 1008), Other},
	} {
		if got := GuessKind(c.c, c.past); got != c.want {
			t.Errorf("%s: %s, want %s", c.name, got, c.want)
		}
	}
}
