package record

import (
	"math"
	"testing"
	"testing/synctest"
	"time"

	"lidwright/kiln"
	"lidwright/kiln/detect"
	"lidwright/kiln/kilntest"
)

// A record that was stopped and set going again is that of a firing that nobody stopped: every sample once,
// the same heat work to the last bit, no gap. So it is where the program was started anew in between.
func TestUndoneStopLeavesNoTrace(t *testing.T) {
	type outcome struct {
		firing  kiln.Firing
		samples int
		ids     int
	}
	play := func(t *testing.T, stops, restarts bool, before time.Duration) (o outcome) {
		synctest.Test(t, func(t *testing.T) {
			log := newMemoryLog()
			g := newRig(t, log, boot("a", kilntest.Winter, true))
			for i := range 4 * 3600 {
				if i == 7200 && stops {
					id := g.live().Firing
					if open := g.tell(detect.Fact{What: detect.StopRecording}); open != "" || id == "" {
						t.Fatalf("stopped %q, open %q", id, open)
					}
				}
				if i == 7300 && restarts {
					if err := g.stop(); err != nil {
						t.Error(err)
					}
					g = newRig(t, log, g.clock())
				}
				if i == 7200+int(before/time.Second) && stops {
					s := g.live().Undoable
					if s == nil {
						t.Fatal("there is nothing to undo")
					}
					if id := g.tell(detect.Fact{What: detect.Undone,
						Firing: s.Firing.ID}); id != s.Firing.ID {
						t.Fatalf("undone, and %q is open in place of %q", id, s.Firing.ID)
					}
				}
				g.second(20 + kiln.Celsius(i)*300/3600 + kiln.Celsius(math.Sin(float64(i))))
			}
			synctest.Wait()
			o.firing, _ = g.rec.Firing("big-blue")
			if err := g.stop(); err != nil {
				t.Error(err)
			}
			o.samples, o.ids = log.stored(o.firing.ID), len(log.order)
			if log.unordered > 0 || len(log.stopped) > 0 {
				t.Errorf("%d batches out of order, stopped still %v", log.unordered, log.stopped)
			}
		})
		return o
	}
	whole := play(t, false, false, 0)
	for name, o := range map[string]outcome{"soon": play(t, true, false, 3*time.Second),
		"late": play(t, true, false, 9*time.Minute+50*time.Second), "restarted": play(t, true, true,
			5*time.Minute)} {
		f, want := o.firing.HeatWork["1"], whole.firing.HeatWork["1"]
		if f.C != want.C || f.Low != want.Low || !want.C.Known() || len(o.firing.Gaps) > 0 ||
			o.samples != whole.samples || o.ids != 1 {
			t.Errorf("%s: heat work %v, want %v; %d samples, want %d; gaps %v; %d firings", name, f, want,
				o.samples, whole.samples, o.firing.Gaps, o.ids)
		}
		if o.firing.Began.Since != whole.firing.Began.Since || o.firing.Length != whole.firing.Length {
			t.Errorf("%s: began %v, length %v; want %v, %v", name, o.firing.Began, o.firing.Length,
				whole.firing.Began, whole.firing.Length)
		}
	}
}

// After ten minutes it is over for good, and what was heard after the stop is kept no longer.
func TestStopIsOverAfterTenMinutes(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		log := newMemoryLog()
		g := newRig(t, log, boot("a", kilntest.Winter, true))
		g.hold(20, 10*time.Minute)
		g.ramp(20, 600, 400)
		id := g.live().Firing
		g.tell(detect.Fact{What: detect.StopRecording})
		synctest.Wait()
		had := log.stored(id)
		g.hold(600, kiln.UndoFor-2*time.Second)
		if n := log.stored(id); n < had+500 {
			t.Errorf("%d samples kept after the stop, want nearly 600", n-had)
		}
		g.hold(600, 20*time.Second)
		if g.live().Undoable != nil {
			t.Error("it can still be undone")
		}
		if open := g.tell(detect.Fact{What: detect.Undone, Firing: id}); open != "" {
			t.Errorf("%s was set going again after ten minutes", open)
		}
		if n := log.stored(id); n > had || len(log.stopped) > 0 {
			t.Errorf("%d samples after the end are kept, stopped %v", n-had, log.stopped)
		}
		if err := g.stop(); err != nil {
			t.Error(err)
		}
		if f := log.firings[id]; f.Status == kiln.Running {
			t.Errorf("firing %+v", f)
		}
	})
}

// New firing, taken back: the one before goes on with what was heard meanwhile, and the new one is left as
// one that broke off, however hot it was.
func TestUndoOfANewFiring(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		log := newMemoryLog()
		g := newRig(t, log, boot("a", kilntest.Winter, true))
		g.hold(20, 10*time.Minute)
		g.ramp(20, 990, 400)
		old := g.live().Firing
		g.tell(detect.Fact{What: detect.NewFiring})
		g.hold(990, 2*time.Minute)
		begun := g.live().Firing
		if begun == old || begun == "" {
			t.Fatalf("firing %q after the button, %q before", begun, old)
		}
		if open := g.tell(detect.Fact{What: detect.Undone, Firing: old}); open != old {
			t.Fatalf("%q is open, want %q", open, old)
		}
		g.hold(990, time.Minute)
		f, _ := g.rec.Firing("big-blue")
		if f.ID != old || len(f.Gaps) > 0 {
			t.Errorf("firing %+v, want %s without a gap", f, old)
		}
		if err := g.stop(); err != nil {
			t.Error(err)
		}
		if f := log.firings[begun]; f.Status != kiln.Incomplete {
			t.Errorf("the firing begun by mistake is %s", f.Status)
		}
	})
}

// A load that was unpacked by mistake ends the record; put back it goes on. One that a firing followed stays.
func TestUndoOfUnpacking(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		log := newMemoryLog()
		g := newRig(t, log, boot("a", kilntest.Winter, true))
		g.hold(20, 10*time.Minute)
		g.ramp(20, 1000, 400)
		g.ramp(1000, 150, 400)
		id := g.live().Firing
		if open := g.tell(detect.Fact{What: detect.Unpacked}); open != "" {
			t.Fatalf("%s goes on after unpacking", open)
		}
		g.hold(150, 5*time.Minute)
		if open := g.tell(detect.Fact{What: detect.Undone, Firing: id}); open != id {
			t.Errorf("%q is open, want %s", open, id)
		}
		g.ramp(150, 120, 100)
		if l := g.live(); l.Firing != id || !l.TopPassed || l.State != kiln.Falling {
			t.Errorf("live %+v", l)
		}
		g.tell(detect.Fact{What: detect.StopRecording})
		g.tell(detect.Fact{What: detect.NewFiring, Firing: "next"})
		if open := g.tell(detect.Fact{What: detect.Undone, Firing: id}); open != "next" {
			t.Errorf("%q is open, want the firing that began after the stop", open)
		}
		if err := g.stop(); err != nil {
			t.Error(err)
		}
	})
}
