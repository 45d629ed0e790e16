package record

import (
	"context"
	"fmt"
	"testing"
	"testing/synctest"
	"time"

	"lidwright/kiln"
	"lidwright/kiln/detect"
	"lidwright/kiln/heatwork"
	"lidwright/kiln/kilntest"
)

func TestRecorderKeepsAFiring(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		log := newMemoryLog()
		g := newRig(t, log, boot("a", kilntest.Winter, true))
		asked := log.called()
		g.hold(20, time.Hour)
		if n := log.called() - asked; n != 0 {
			t.Errorf("%d calls of the log while nothing burned, want 0", n)
		}
		if s := g.live().State; s != kiln.Cold {
			t.Errorf("state %s, want cold", s)
		}
		g.ramp(20, 700, 200)
		l := g.live()
		if l.State != kiln.Rising || l.Firing == "" || l.Number != 1 || l.Rate < 195 || l.Rate > 205 {
			t.Errorf("live at 700 °C: %+v", l)
		}
		g.ramp(700, 30, 150)
		g.hold(30, 10*time.Minute)
		err := g.stop()
		if err != nil {
			t.Fatal(err)
		}
		if len(log.order) != 1 {
			t.Fatalf("%d firings, want 1", len(log.order))
		}
		f := log.firings[log.order[0]]
		if f.Status != kiln.Incomplete || f.Number != 1 || f.Over == (kiln.Stamp{}) || f.Provisional {
			t.Errorf("firing %+v", f)
		}
		// 3.4 h up, and down to 50 °C in 4 h 20; the first rise is found within a minute or two.
		if up, all := f.ToTop.Hours(), f.Length.Hours(); up < 3.35 || up > 3.42 || all < 7.65 || all > 7.78 {
			t.Errorf("%.2f h to the top, %.2f h in all", up, all)
		}
		if f.Peak < 699 || f.Peak > 700 {
			t.Errorf("peak %.1f", f.Peak)
		}
		samples := log.samples[f.ID]
		if log.unordered != 0 {
			t.Errorf("%d batches out of order", log.unordered)
		}
		for i := 1; i < len(samples); i++ {
			if d := samples[i].At.Since - samples[i-1].At.Since; d != time.Second &&
				d != 10*time.Second && i > 200 {
				t.Fatalf("sample %d comes %v after the one before", i, d)
			}
		}
		span := log.batches[len(log.batches)-1] - log.batches[0]
		if n := len(log.batches); n > int(span/flushEvery)+3 || n < int(span/flushEvery)-2 {
			t.Errorf("%d batches in %v, want one in 5 s, and one more at the peak", n, span)
		}
		for _, event := range []string{FiringStartedNotice, FiringEndedNotice, CooledNotice} {
			if n := g.told(event); n != 1 {
				t.Errorf("%d notices %s, want 1", n, event)
			}
		}
	})
}

// A disk that is full for an hour, reliability failure 7: all is kept in memory and written
// in order when there is room again.
func TestRecorderDiskFull(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		log := newMemoryLog()
		g := newRig(t, log, boot("a", kilntest.Winter, true))
		g.hold(20, 10*time.Minute)
		g.ramp(20, 300, 200)
		id := g.live().Firing
		log.set(errFull, nil)
		before := log.stored(id)
		g.ramp(300, 400, 100)
		trouble, ok := g.rec.Trouble()
		if !ok || trouble.Waiting < 3590 || trouble.Thinned != 0 || trouble.Why.String() == "" {
			t.Errorf("trouble %+v, %v", trouble, ok)
		}
		if n := log.stored(id); n != before {
			t.Errorf("%d samples written to a full disk", n-before)
		}
		if l := g.live(); !l.Fresh || l.T < 399 {
			t.Errorf("live %+v while the disk is full", l)
		}
		log.set(nil, nil)
		g.hold(400, 10*time.Second)
		if _, ok := g.rec.Trouble(); ok {
			t.Error("trouble 10 s after there was room again")
		}
		if n := log.stored(id) - before; n < 3600 {
			t.Errorf("%d samples written after, want 3600", n)
		}
		if err := g.stop(); err != nil {
			t.Error(err)
		}
		checkWhole(t, log, id)
	})
}

// checkWhole fails unless every second after the pre-roll is there once and in order.
func checkWhole(t *testing.T, log *memoryLog, id kiln.FiringID) {
	t.Helper()
	samples := log.samples[id]
	for i := len(samples) - 1; i > 0; i-- {
		d := samples[i].At.Since - samples[i-1].At.Since
		if d == 10*time.Second {
			return // the pre-roll
		}
		if d != time.Second && (d < time.Second || d > 15*time.Second ||
			samples[i-1].At.Since > samples[0].At.Since+time.Hour) {
			t.Fatalf("sample %d of %d comes %v after the one before", i, len(samples), d)
		}
	}
}

// A disk that does not answer holds nothing up.
func TestRecorderDiskBlocks(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		log := newMemoryLog()
		g := newRig(t, log, boot("a", kilntest.Winter, true))
		g.hold(20, 10*time.Minute)
		g.ramp(20, 300, 200)
		id := g.live().Firing
		block := make(chan struct{})
		log.set(nil, block)
		turns := g.rec.Turns()
		g.ramp(300, 400, 200)
		if n := g.rec.Turns() - turns; n < 3600 {
			t.Errorf("%d turns of the loop in half an hour, want 3600", n)
		}
		if _, ok := g.rec.Trouble(); !ok {
			t.Error("no trouble though the store has not answered for half an hour")
		}
		if l := g.live(); l.T < 399 {
			t.Errorf("live %.1f, want 400", l.T)
		}
		log.set(nil, nil)
		close(block)
		g.hold(400, 10*time.Second)
		if err := g.stop(); err != nil {
			t.Error(err)
		}
		checkWhole(t, log, id)
	})
}

// A disk that never answers again does not keep the program from ending.
func TestRecorderStopsWithoutDisk(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		log := newMemoryLog()
		g := newRig(t, log, boot("a", kilntest.Winter, true))
		g.hold(20, 10*time.Minute)
		g.ramp(20, 300, 200)
		log.set(nil, make(chan struct{}))
		g.hold(300, time.Minute)
		if err := g.stop(); err == nil {
			t.Error("no error though a minute was not written")
		}
	})
}

// A thousand lines a second, reliability failure 33: the last good one of each second stands.
func TestRecorderFlood(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		log := newMemoryLog()
		g := newRig(t, log, boot("a", kilntest.Winter, true))
		g.hold(20, 10*time.Minute)
		g.ramp(20, 100, 200)
		id := g.live().Firing
		before := log.stored(id)
		for range 60 * 1000 {
			g.pass(time.Millisecond)
			g.samples <- kiln.Sample{Kiln: "big-blue", At: g.clock(),
				Values: []kiln.Value{{Channel: "1", T: 100}}}
			if g.clock().Since%time.Second == 0 {
				g.ticks <- time.Time{}
			}
		}
		synctest.Wait()
		if n := log.stored(id) - before; n < 50 || n > 65 {
			t.Errorf("%d samples written of a minute, want about 60", n)
		}
		if err := g.stop(); err != nil {
			t.Error(err)
		}
	})
}

// Four hours of a full disk with four kilns: memory is bounded, begin and end are kept.
func TestWriterThinsWhenFull(t *testing.T) {
	w := newWriter(newMemoryLog(), func() kiln.Stamp { return boot("a", kilntest.Winter, true) })
	w.add(entry{begin: true, firing: kiln.Firing{ID: "f"}})
	values := []kiln.Value{{Channel: "1", T: 20}, {Channel: "2", T: 20}, {Channel: "3", T: 20}}
	for i := range 16 * 3600 {
		at := kiln.Stamp{Boot: "a", Since: time.Duration(i) * time.Second}
		w.add(entry{firing: kiln.Firing{ID: "f"},
			samples: []kiln.Sample{{Kiln: "big-blue", At: at, Values: values}}})
		if w.bytes > waitingBytes {
			t.Fatalf("%d bytes after %d s, want at most %d", w.bytes, i, waitingBytes)
		}
		if i == 3600 && w.thinned != 0 {
			t.Fatalf("%d samples given up within the first hour", w.thinned)
		}
	}
	w.add(entry{end: true, firing: kiln.Firing{ID: "f"}})
	if !w.queue[0].begin || !w.queue[len(w.queue)-1].end {
		t.Error("begin or end was given up")
	}
	kept := 0
	for _, e := range w.queue {
		kept += len(e.samples)
		if sizeOf(e.samples) == 0 && !e.begin && !e.end {
			t.Error("an hour was given up whole though thinning would do")
		}
	}
	if kept != w.samples || kept+w.thinned != 16*3600 {
		t.Errorf("%d kept, %d counted, %d thinned of %d", kept, w.samples, w.thinned, 16*3600)
	}
}

func TestFreshThenQuiet(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		g := newRig(t, newMemoryLog(), boot("a", kilntest.Winter, true))
		g.hold(20, 10*time.Minute)
		g.ramp(20, 900, 300)
		for _, step := range []struct {
			silence time.Duration // so far
			fresh   bool
			state   kiln.State
		}{{25 * time.Second, true, kiln.Rising}, {35 * time.Second, false, kiln.Rising},
			{125 * time.Second, false, kiln.Quiet}, {10 * time.Minute, false, kiln.Quiet}} {
			for g.live().Age < step.silence {
				g.silence(time.Second)
			}
			l := g.live()
			if l.Fresh != step.fresh || l.State != step.state || l.T.Known() != step.fresh ||
				l.LastT < 899 || !l.Hot {
				t.Errorf("after %v: fresh %v state %s T %v last %v", step.silence,
					l.Fresh, l.State, l.T, l.LastT)
			}
			if l.Firing == "" {
				t.Errorf("after %v the firing is closed", step.silence)
			}
		}
		g.hold(900, time.Minute)
		if l := g.live(); !l.Fresh || l.State == kiln.Quiet {
			t.Errorf("heard again: %+v", l)
		}
		if n := g.told(QuietNotice); n != 2 {
			t.Errorf("%d notices of quiet, want began and cleared", n)
		}
		f, _ := g.rec.Firing("big-blue")
		if len(f.Gaps) != 1 || !f.Gaps[0].Known || f.Gaps[0].For < 10*time.Minute ||
			f.Gaps[0].For > 11*time.Minute {
			t.Errorf("gaps %+v", f.Gaps)
		}
		if err := g.stop(); err != nil {
			t.Error(err)
		}
	})
}

// TestEndOfAFiringIsTold: every end is told once, in order, and not before the log has it, though nobody
// takes a notice and the log refuses the end for a while.
func TestEndOfAFiringIsTold(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		log := newMemoryLog()
		g := newRig(t, log, boot("a", kilntest.Winter, true))
		g.stop()
		var ended []kiln.FiringID
		deaf := make(chan struct{})
		rec := &Recorder{Kilns: g.rec.Kilns, Log: log, Ladder: heatwork.MainConeScale(), Tick: g.ticks,
			Now: g.clock, NewID: g.rec.NewID,
			Notify: func(Notice) { <-deaf },
			Ended: func(f kiln.Firing) {
				if log.firings[f.ID].Status == kiln.Running {
					t.Errorf("%s is told before the log has its end", f.ID)
				}
				ended = append(ended, f.ID)
			}}
		g.rec = rec
		ctx, cancel := context.WithCancel(t.Context())
		g.cancel = cancel
		go func() { g.done <- rec.Run(ctx, g.samples) }()
		synctest.Wait()
		g.second(20)
		for i := range 300 { // more than notices have room
			id := kiln.FiringID(fmt.Sprint("firing ", i))
			if _, err := rec.Tell(ctx, detect.Fact{Kiln: g.rec.Kilns[0].ID, What: detect.NewFiring,
				At: g.clock(), Firing: id}); err != nil {
				t.Fatal(err)
			}
			g.second(20)
			if i == 100 {
				log.set(errFull, nil)
			}
			if _, err := rec.Tell(ctx, detect.Fact{Kiln: g.rec.Kilns[0].ID, What: detect.StopRecording,
				At: g.clock()}); err != nil {
				t.Fatal(err)
			}
			g.second(20)
			if i == 120 {
				synctest.Wait()
				if len(ended) > 100 {
					t.Errorf("%d ends told of a log that takes none since the hundredth", len(ended))
				}
				log.set(nil, nil)
			}
		}
		g.hold(20, time.Minute)
		if err := g.stop(); err == nil {
			close(deaf)
		}
		if len(ended) != 300 {
			t.Fatalf("%d ends told, want 300: %v", len(ended), ended)
		}
		for i, id := range ended {
			if want := kiln.FiringID(fmt.Sprint("firing ", i)); id != want {
				t.Fatalf("end %d is of %s, want %s", i, id, want)
			}
		}
	})
}

// Two kilns fire at once: each open firing has the number that the store gave it, and keeps it when the
// other one's comes.
func TestNumbersOfTwoKilns(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		log := newMemoryLog()
		red := kilntest.BigBlue
		red.ID = "little-red"
		g := newRig(t, log, boot("a", kilntest.Winter, true), kilntest.BigBlue, red)
		both := func(blue, red kiln.Celsius, n int) {
			for range n {
				g.pass(time.Second)
				for i, c := range []kiln.Celsius{blue, red} {
					g.samples <- kiln.Sample{Kiln: g.rec.Kilns[i].ID, At: g.clock(),
						Values: []kiln.Value{{Channel: "1", T: c}}}
				}
				g.ticks <- time.Time{}
				synctest.Wait()
			}
		}
		at := [2]kiln.Celsius{20, 20}
		climb := func(blue, red kiln.Celsius) { // an hour of so many degrees each
			for range 360 {
				at[0], at[1] = at[0]+blue/360, at[1]+red/360
				both(at[0], at[1], 10)
			}
		}
		both(20, 20, 600)
		climb(200, 0)
		climb(200, 200)
		climb(100, 200)
		now := g.rec.Live()
		if len(now) != 2 || now[0].Firing == "" || now[1].Firing == "" || now[0].Firing == now[1].Firing {
			t.Fatalf("two kilns fire: %+v", now)
		}
		for i, l := range now {
			if want := log.firings[l.Firing].Number; l.Number != want || want != i+1 {
				t.Errorf("the firing of %s has number %d, the store gave %d",
					g.rec.Kilns[i].ID, l.Number, want)
			}
			if n := log.stored(l.Firing); n < 3600 {
				t.Errorf("%s: %d samples", g.rec.Kilns[i].ID, n)
			}
			for _, s := range log.samples[l.Firing] {
				if s.Kiln != g.rec.Kilns[i].ID {
					t.Fatalf("a sample of %s lies in a firing of %s", s.Kiln, g.rec.Kilns[i].ID)
				}
			}
		}
		if err := g.stop(); err != nil {
			t.Fatal(err)
		}
	})
}
