package record

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
	"testing/synctest"
	"time"

	"lidwright/kiln"
	"lidwright/kiln/detect"
	"lidwright/kiln/heatwork"
	"lidwright/kiln/kilntest"
)

// A clean stop and start between two readings: the heat work is equal to the last bit.
func TestTakeUpEqualsAnUnbrokenRun(t *testing.T) {
	heat := func(t *testing.T, stops bool) (w kiln.HeatWork, ids int) {
		synctest.Test(t, func(t *testing.T) {
			log := newMemoryLog()
			g := newRig(t, log, boot("a", kilntest.Winter, true))
			random := rand.New(rand.NewPCG(7, 0))
			for i := range 9 * 3600 {
				if i > 0 && i%5000 == 0 && stops {
					if err := g.stop(); err != nil {
						t.Error(err)
					}
					g = newRig(t, log, g.clock())
				}
				g.second(20 + kiln.Celsius(i)*130/3600 + kiln.Celsius(math.Round(random.NormFloat64()*2)/10))
			}
			synctest.Wait()
			f, _ := g.rec.Firing("big-blue")
			w, ids = f.HeatWork["1"], len(log.order)
			if stops {
				if n := len(f.Gaps); n != 0 {
					t.Errorf("%d gaps though no reading is missing: %+v", n, f.Gaps)
				}
			}
			if err := g.stop(); err != nil {
				t.Error(err)
			}
		})
		return w, ids
	}
	whole, _ := heat(t, false)
	broken, ids := heat(t, true)
	if ids != 1 {
		t.Errorf("%d firings, want one", ids)
	}
	if whole.C != broken.C || whole.Low != broken.Low || !whole.C.Known() {
		t.Errorf("heat work %v with stops, %v without", broken, whole)
	}
}

// A stop for three minutes: the same firing goes on, and the gap is marked.
func TestTakeUpMarksTheGap(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		log := newMemoryLog()
		g := newRig(t, log, boot("a", kilntest.Winter, true))
		g.hold(20, 10*time.Minute)
		g.ramp(20, 600, 200)
		id := g.live().Firing
		if err := g.stop(); err != nil {
			t.Error(err)
		}
		at := g.clock()
		at.Since += 3 * time.Minute
		at.Wall = at.Wall.Add(3 * time.Minute)
		g = newRig(t, log, at)
		if l := g.live(); l.Firing != id || l.LastT < 599 || l.Fresh ||
			l.State != kiln.Quiet || l.Age < 3*time.Minute {
			t.Errorf("before anything is heard: %+v", l)
		}
		g.ramp(610, 700, 200)
		f, ok := g.rec.Firing("big-blue")
		if !ok || f.ID != id || f.Number != 1 || len(f.Gaps) != 1 {
			t.Fatalf("firing %+v, want %s with a gap", f, id)
		}
		if gap := f.Gaps[0]; !gap.Known || gap.Why != "restart" || gap.For < 3*time.Minute ||
			gap.For > 3*time.Minute+3*time.Second {
			t.Errorf("gap %+v", gap)
		}
		g.ramp(700, 30, 200)
		g.hold(30, 15*time.Minute)
		if err := g.stop(); err != nil {
			t.Error(err)
		}
		if len(log.order) != 1 || log.firings[id].Status == kiln.Running {
			t.Errorf("%d firings, %s", len(log.order), log.firings[id].Status)
		}
		// Nothing is left open, and nothing is taken up again.
		g = newRig(t, log, g.clock())
		g.hold(28, 10*time.Minute)
		if l := g.live(); l.Firing != "" {
			t.Errorf("firing %s after all were closed", l.Firing)
		}
		if err := g.stop(); err != nil {
			t.Error(err)
		}
	})
}

// The machine starts anew with a clock nobody trusts, and behind the last sample: the gap is of
// unknown length until the clock is set. Reliability failure 44.
func TestTakeUpAfterAReboot(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		log := newMemoryLog()
		g := newRig(t, log, boot("a", kilntest.Winter, true))
		g.hold(20, 10*time.Minute)
		g.ramp(20, 600, 200)
		id, stopped := g.live().Firing, g.clock()
		if err := g.stop(); err != nil {
			t.Error(err)
		}
		g = newRig(t, log, boot("b", kilntest.Winter.AddDate(0, 0, -14), false))
		g.ramp(560, 600, 200)
		f, _ := g.rec.Firing("big-blue")
		if f.ID != id || len(f.Gaps) != 1 || f.Gaps[0].Known || f.Gaps[0].Why != "restart" {
			t.Fatalf("firing %s, gaps %+v: want %s with one of unknown length", f.ID, f.Gaps, id)
		}
		// Now the network comes up, and says that 20 min had gone by between the boots.
		g.mu.Lock()
		first := stopped.Wall.Add(20 * time.Minute)
		g.now.Wall, g.now.Trusted = first.Add(g.now.Since-30*time.Second), true
		g.mu.Unlock()
		g.hold(600, 20*time.Second)
		f, _ = g.rec.Firing("big-blue")
		if f.ID != id || len(f.Gaps) != 1 || !f.Gaps[0].Known {
			t.Fatalf("gaps %+v: want one of known length", f.Gaps)
		}
		if d := f.Gaps[0].For - 20*time.Minute; d < -5*time.Second || d > 5*time.Second {
			t.Errorf("gap %v, want 20 min", f.Gaps[0].For)
		}
		g.hold(600, time.Minute)
		if err := g.stop(); err != nil {
			t.Error(err)
		}
		if log.unordered != 0 || len(log.order) != 1 {
			t.Errorf("%d batches out of order, %d firings", log.unordered, len(log.order))
		}
		b := 0
		for _, s := range log.samples[id] {
			if s.At.Boot == "b" {
				b++
			}
		}
		if want := int(g.clock().Since/time.Second) - 30; b < want-2 || b > want {
			t.Errorf("%d samples of the second boot, want %d: none lost, none twice", b, want)
		}
	})
}

// A store that cannot say at first what was left open loses nothing of what is heard meanwhile.
func TestTakeUpLate(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		log := newMemoryLog()
		g := newRig(t, log, boot("a", kilntest.Winter, true))
		g.hold(20, 10*time.Minute)
		g.ramp(20, 600, 200)
		id := g.live().Firing
		if err := g.stop(); err != nil {
			t.Error(err)
		}
		before := log.stored(id)
		log.set(errFull, nil)
		g = newRig(t, log, g.clock())
		g.ramp(600, 620, 200)
		if l := g.live(); l.T < 619 || !l.Fresh {
			t.Errorf("live %+v while the store cannot be read", l)
		}
		if _, ok := g.rec.Trouble(); !ok {
			t.Error("no trouble though the store cannot be read")
		}
		log.set(nil, nil)
		g.hold(620, 20*time.Second)
		if l := g.live(); l.Firing != id {
			t.Errorf("firing %q, want %s", l.Firing, id)
		}
		if err := g.stop(); err != nil {
			t.Error(err)
		}
		if n := log.stored(id) - before; n < 378 || n > 381 {
			t.Errorf("%d samples of 380 written", n)
		}
	})
}

// The wall clock steps by decades, an hour and five seconds, every minute: failures 42 and 43.
// It also passes a change to daylight saving in Berlin, failure 45. Nothing is to change.
func TestRecorderWallClock(t *testing.T) {
	berlin, err := time.LoadLocation("Europe/Berlin")
	if err != nil {
		t.Fatal(err)
	}
	run := func(t *testing.T, jump func(*kiln.Stamp, int)) (f kiln.Firing, samples []kiln.Sample) {
		synctest.Test(t, func(t *testing.T) {
			log := newMemoryLog()
			g := newRig(t, log, boot("a", time.Date(2026, 3, 28, 22, 0, 0, 0, time.UTC).In(berlin), false))
			up := 20.0
			for i := range 9 * 3600 {
				if i%60 == 0 && jump != nil {
					g.mu.Lock()
					jump(&g.now, i/60)
					g.mu.Unlock()
				}
				if i > 600 && i < 5*3600 {
					up += 200.0 / 3600
				} else if i >= 5*3600 {
					up -= 300.0 / 3600
				}
				g.second(kiln.Celsius(max(up, 20)))
			}
			synctest.Wait()
			if err := g.stop(); err != nil {
				t.Error(err)
			}
			if len(log.order) != 1 {
				t.Fatalf("%d firings, want 1", len(log.order))
			}
			f, samples = log.firings[log.order[0]], log.samples[log.order[0]]
		})
		return f, samples
	}
	steady, samples := run(t, nil)
	for i := 1; i < len(samples); i++ {
		if samples[i].At.Wall.Location() != time.UTC {
			t.Fatal("a wall time is not UTC")
		}
		if wall, since := samples[i].At.Wall.Sub(samples[i-1].At.Wall),
			samples[i].At.Since-samples[i-1].At.Since; wall != since {
			t.Fatalf("%v by the wall and %v by the boot clock at %v: a hole across the hour", wall,
				since, samples[i].At.Wall)
		}
	}
	random := rand.New(rand.NewPCG(42, 0))
	steps := map[string]func(*kiln.Stamp, int){
		"1970, then the date": func(s *kiln.Stamp, minute int) {
			switch minute {
			case 0:
				s.Wall = time.Unix(0, 0)
			case 200:
				s.Wall, s.Trusted = kilntest.Winter, true
			}
		},
		"steps": func(s *kiln.Stamp, minute int) {
			s.Wall = s.Wall.Add([]time.Duration{10 * 8766 * time.Hour, -10 * 8766 * time.Hour, time.Hour,
				-time.Hour, -5 * time.Second}[random.IntN(5)])
			s.Trusted = random.IntN(2) == 0
		},
	}
	for name, step := range steps {
		t.Run(name, func(t *testing.T) {
			f, other := run(t, step)
			if f.Length != steady.Length || f.ToTop != steady.ToTop || f.PeakAfter != steady.PeakAfter ||
				f.Peak != steady.Peak ||
				f.HeatWork["1"] != steady.HeatWork["1"] || f.Status != steady.Status ||
				len(other) != len(samples) || len(f.Gaps) != 0 {
				t.Errorf("%+v\nwant %+v", f, steady)
			}
		})
	}
}

func TestTwoKilnsAtOnce(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		red := kilntest.BigBlue
		red.ID = "little-red"
		log := newMemoryLog()
		g := newRig(t, log, boot("a", kilntest.Winter, true), kilntest.BigBlue, red)
		for i := range 4 * 3600 {
			g.pass(time.Second)
			for k, rate := range []kiln.Celsius{200, 100} {
				g.samples <- kiln.Sample{Kiln: g.rec.Kilns[k].ID, At: g.clock(),
					Values: []kiln.Value{{Channel: "1", T: 20 + rate*kiln.Celsius(i)/3600}}}
			}
			g.ticks <- time.Time{}
		}
		synctest.Wait()
		live := g.rec.Live()
		if live[0].Firing == "" || live[1].Firing == "" || live[0].Firing == live[1].Firing ||
			live[0].T < 810 || live[1].T > 421 {
			t.Errorf("live %+v", live)
		}
		if err := g.stop(); err != nil {
			t.Error(err)
		}
		for _, id := range log.order {
			for _, s := range log.samples[id] {
				if s.Kiln != log.firings[id].Kiln {
					t.Fatalf("a sample of %s in firing %s of %s", s.Kiln, id, log.firings[id].Kiln)
				}
			}
			checkWhole(t, log, id)
		}
	})
}

func TestSettleClock(t *testing.T) {
	at := func(boot string, s int, wall int64, trusted bool) kiln.Sample {
		return kiln.Sample{At: kiln.Stamp{Boot: kiln.BootID(boot), Since: time.Duration(s) * time.Second,
			Wall: time.Unix(wall, 0).UTC(), Trusted: trusted}}
	}
	samples := []kiln.Sample{at("a", 10, 5, false), at("a", 20, 1020, true), at("a", 30, 9, false),
		at("a", 90, 2090, true), at("a", 100, 3, false), at("b", 5, 7, false)}
	kiln.SettleClock(samples)
	want := []string{"1010 true", "1020 true", "1030 true", "2090 true", "2100 true", "7 false"}
	for i, s := range samples {
		if got := fmt.Sprintf("%d %v", s.At.Wall.Unix(), s.At.Trusted); got != want[i] {
			t.Errorf("sample %d: %s, want %s", i, got, want[i])
		}
	}
}

// A firing of a kiln that is no longer in the settings is closed, and not left open for ever.
func TestTakeUpOfAKilnThatIsGone(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		log := newMemoryLog()
		g := newRig(t, log, boot("a", kilntest.Winter, true))
		g.hold(20, 10*time.Minute)
		g.ramp(20, 900, 300)
		id := g.live().Firing
		if err := g.stop(); err != nil {
			t.Error(err)
		}
		other := kilntest.BigBlue
		other.ID = "little-red"
		g = newRig(t, log, g.clock(), other)
		g.hold(20, 10*time.Second)
		if err := g.stop(); err != nil {
			t.Error(err)
		}
		if f := log.firings[id]; f.Status != kiln.Incomplete || !f.AtLeast || f.Peak < 897 || f.Number != 1 {
			t.Errorf("firing %+v", f)
		}
	})
}

// Two starts within one second give the store no second of that name.
func TestTakeUpWithinASecond(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		log := newMemoryLog()
		g := newRig(t, log, boot("a", kilntest.Winter, true))
		g.hold(20, 10*time.Minute)
		g.ramp(20, 300, 300)
		id := g.live().Firing
		for range 3 {
			if err := g.stop(); err != nil {
				t.Error(err)
			}
			g = newRig(t, log, g.clock())
			g.every(100*time.Millisecond, 300)
		}
		g.hold(300, 10*time.Second)
		if err := g.stop(); err != nil {
			t.Error(err)
		}
		if log.unordered != 0 {
			t.Errorf("%d batches out of order", log.unordered)
		}
		if f := log.firings[id]; len(log.order) != 1 || f.Status != kiln.Running {
			t.Errorf("%d firings, %s", len(log.order), f.Status)
		}
	})
}

// What cones told of a probe is added to the readings of a firing that goes on: told before it began,
// told in its middle or told again after each of many stops, the number is the same to the last bit,
// beside that of the probe alone; where cones told nothing of such heat there is none.
func TestCorrectedWhileItFires(t *testing.T) {
	story := heatwork.ProbeStory{Place: kiln.Place{Channel: "1"},
		Life:  heatwork.ProbeLife{Channel: "1", Fitted: kilntest.Winter},
		After: []heatwork.ProbeBias{{Firing: "before", Bias: 9, BiasSD: 2, Cones: 4, Low: 1200, High: 1230}}}
	past := detect.Past{Probes: heatwork.WitnessedOf([]heatwork.ProbeStory{story,
		{Place: kiln.Place{Channel: "1", Shelf: "top"}, Life: story.Life,
			After: []heatwork.ProbeBias{{Bias: 40, Cones: 1, Low: 1200, High: 1200}}}})}
	fire := func(t *testing.T, tellAt int, stops bool) (w kiln.HeatWork, alone kiln.HeatWork) {
		synctest.Test(t, func(t *testing.T) {
			log := newMemoryLog()
			g := newRig(t, log, boot("a", kilntest.Winter, true))
			tell := func() {
				t.Helper()
				if _, err := g.rec.Tell(t.Context(), detect.Fact{Kiln: "big-blue", What: detect.PastKnown,
					Past: past}); err != nil {
					t.Error(err)
				}
			}
			for i := range 9 * 3600 {
				if i == tellAt {
					tell()
				}
				if i > 0 && i%7000 == 0 && stops {
					if err := g.stop(); err != nil {
						t.Error(err)
					}
					g = newRig(t, log, g.clock())
					tell()
				}
				g.second(20 + kiln.Celsius(i)*130/3600)
				if i == 6*3600 {
					if f, _ := g.rec.Firing("big-blue"); f.HeatWork["1"].C > 900 || f.Corrected != nil {
						t.Errorf("no cone told of %v: %v", f.HeatWork["1"], f.Corrected)
					}
				}
			}
			synctest.Wait()
			l := g.live()
			w, alone = l.Corrected[kiln.Place{Channel: "1"}], l.HeatWork["1"]
			if len(l.Corrected) != 1 {
				t.Errorf("corrected: %v", l.Corrected)
			}
			if err := g.stop(); err != nil {
				t.Error(err)
			}
		})
		return w, alone
	}
	before, alone := fire(t, 0, false)
	if !before.Known() || before.Bias != 9 || before.BiasSD != 2 || before.Since != story.Life.Since() {
		t.Fatalf("%+v", before)
	}
	if d := before.C - alone.C; d < 7 || d > 11 || before.High-before.Low <= alone.High-alone.Low {
		t.Errorf("corrected by 9: %v from %v", before, alone)
	}
	if middle, also := fire(t, 5*3600, false); middle != before || also != alone {
		t.Errorf("told in the middle: %v, before: %v", middle, before)
	}
	if stopped, also := fire(t, 0, true); stopped != before || also != alone {
		t.Errorf("with stops: %v, without: %v", stopped, before)
	}
}
