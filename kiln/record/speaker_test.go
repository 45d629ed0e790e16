package record

import (
	"math"
	"math/rand/v2"
	"testing"
	"testing/synctest"
	"time"

	"lidwright/kiln"
	"lidwright/kiln/kilntest"
)

var zonedKiln = kiln.Kiln{ID: "big-blue", Control: "1", Every: time.Second, Limit: 1290, KeepShut: 50,
	Channels: []kiln.Channel{{ID: "1", Role: kiln.RoleProbe}, {ID: "2", Role: kiln.RoleProbe},
		{ID: "3", Role: kiln.RoleProbe}}}

// say is one second in which each channel says what it says; NaN is a break.
func (g *rig) say(temperatures ...kiln.Celsius) {
	g.pass(time.Second)
	s := kiln.Sample{Kiln: g.rec.Kilns[0].ID, At: g.clock()}
	for i, t := range temperatures {
		v := kiln.Value{Channel: g.rec.Kilns[0].Channels[i].ID, T: t}
		if !t.Known() {
			v.Fault = kiln.Break
		}
		s.Values = append(s.Values, v)
	}
	g.samples <- s
	g.ticks <- time.Time{}
	if g.clock().Since%flushEvery == 0 {
		synctest.Wait()
	}
}

// The control probe breaks at 397 °C and stays broken: the firing goes on with the healthiest other,
// to its top and to its end, across restarts too, and what speaks is told. The healthy ones are not
// held against a dead one while they cool.
func TestControlProbeBreaks(t *testing.T) {
	for _, c := range []struct {
		name  string
		stops bool
		mend  kiln.Celsius // on the way down, 0 never
	}{{"stays broken", false, 0}, {"with restarts", true, 0}, {"mended at 800", false, 800}} {
		t.Run(c.name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				log := newMemoryLog()
				g := newRig(t, log, boot("a", kilntest.Winter, true), zonedKiln)
				dice := rand.New(rand.NewPCG(3, 9))
				noise := func() kiln.Celsius { return kiln.Celsius(math.Round(dice.NormFloat64()*2) / 10) }
				at, broken, mended := kiln.Celsius(20), false, false
				second := 0
				step := func(by kiln.Celsius) {
					at += by
					control := at + noise()
					broken = broken || at >= 397
					mended = mended || c.mend > 0 && by < 0 && at <= c.mend
					if broken && !mended {
						control = kiln.NoTemperature()
					}
					third := at - 30 + noise()
					if second%97 == 0 {
						third = kiln.NoTemperature() // the least healthy
					}
					g.say(control, at-8+noise(), third)
					if second++; c.stops && second%9000 == 0 {
						if err := g.stop(); err != nil {
							t.Error(err)
						}
						g = newRig(t, log, g.clock(), zonedKiln)
					}
				}
				for range 600 {
					step(0)
				}
				for at < 1246 {
					step(200.0 / 3600)
					if l := g.live(); broken && second%60 == 0 && at > 410 {
						if l.Probe != "2" || l.ProbeSince == (kiln.Stamp{}) || !l.Fresh ||
							math.Abs(float64(l.T-(at-8))) > 3 || l.State == kiln.Quiet {
							t.Fatalf("at %.0f: %s speaks since %v, says %.1f, fresh %v, %s", at, l.Probe,
								l.ProbeSince, l.T, l.Fresh, l.State)
						}
					}
				}
				for at > 20 {
					step(-600.0 / 3600)
				}
				for range 1200 {
					step(0)
				}
				if n := g.live().Faulty[kiln.Shorted]; n > 0 {
					t.Errorf("%d readings of healthy probes were called shorted", n)
				}
				if l := g.live(); c.mend > 0 && (l.Probe != "1" || l.ProbeSince != (kiln.Stamp{})) {
					t.Errorf("mended, but %s speaks", l.Probe)
				}
				if !c.stops && c.mend == 0 && g.told(ProbeLostNotice) != 2 {
					t.Errorf("%d notices that the probe is lost, want began and cleared",
						g.told(ProbeLostNotice))
				}
				if err := g.stop(); err != nil {
					t.Error(err)
				}
				if len(log.order) != 1 {
					t.Fatalf("%d firings, want one", len(log.order))
				}
				f := log.firings[log.order[0]]
				if f.Status != kiln.Ended || f.AtLeast || f.Peak < 1234 || f.Peak > 1242 {
					t.Errorf("%s, peak %.0f of 1238, at least %v", f.Status, f.Peak, f.AtLeast)
				}
				if c.mend > 0 {
					return
				}
				if f.StandIn.Probe != "2" || f.StandIn.For != "1" ||
					math.Abs(f.StandIn.After.Hours()-377.0/200) > 0.1 {
					t.Errorf("stand-in %+v", f.StandIn)
				}
				if w, ok := f.Work("1"); !ok || w != f.HeatWork["2"] || w.C < 1150 || w.Estimate {
					t.Errorf("heat work %+v, the dead probe's own %+v", w, f.HeatWork["1"])
				}
				if len(f.Gaps) > 0 && !c.stops {
					t.Errorf("gaps %+v though a probe always spoke", f.Gaps)
				}
			})
		})
	}
}

// A jump over the limit that no kiln can make is told at once, stands nowhere as fresh, and leaves
// no trace in peak, rate or state when it jumps back.
func TestJumpIsToldAndNotBelieved(t *testing.T) {
	for _, by := range []kiln.Celsius{273.15, 800} {
		synctest.Test(t, func(t *testing.T) {
			k := kilntest.BigBlue
			k.Limit = 470
			log := newMemoryLog()
			g := newRig(t, log, boot("a", kilntest.Winter, true), k)
			g.hold(20, 10*time.Minute)
			g.ramp(20, 207, 150)
			before := g.live()
			for n := range 25 {
				g.second(207 + by)
				synctest.Wait()
				if l := g.live(); n >= 2 && (l.Fresh || l.T.Known() || kiln.Celsius(l.Rate).Known() ||
					!l.Aside.Held() || l.Aside.T != 207+by || l.Aside.Unit != (by == 273.15) || !l.Hot) {
					t.Fatalf("reading %d of the jump: %+v", n+1, l)
				}
				if n == 3 && g.told(MayBeOverLimitNotice) != 1 {
					t.Errorf("%d notices after the fourth reading over the limit, want one",
						g.told(MayBeOverLimitNotice))
				}
			}
			if l := g.live(); l.State != before.State || l.Peak > 208 || l.OverLimit {
				t.Errorf("in the jump: %s, peak %.1f, over the limit %v", l.State, l.Peak, l.OverLimit)
			}
			g.hold(208, 10*time.Second)
			if l := g.live(); !l.Fresh || l.Aside.Held() {
				t.Errorf("back, and fresh %v, held aside %v", l.Fresh, l.Aside)
			}
			if n := g.told(MayBeOverLimitNotice); n != 2 {
				t.Errorf("%d notices, want began and cleared", n)
			}
			g.hold(208, 20*time.Minute)
			if l := g.live(); l.Peak > 209 {
				t.Errorf("peak %.1f", l.Peak)
			}
			marked := 0
			if err := g.stop(); err != nil {
				t.Error(err)
			}
			for _, s := range log.samples[log.order[0]] {
				if s.Values[0].T > 400 {
					if marked++; s.Values[0].Fault == kiln.Good {
						t.Fatalf("%v is kept as good", s)
					}
				}
			}
			if marked != 25 {
				t.Errorf("%d readings of the jump are kept with their mark, want 25", marked)
			}
		})
	}
}

// A controller that was switched to K while the program was stopped is found out at the first
// readings after: what the kiln read before is known from the store.
func TestJumpOverARestart(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		log := newMemoryLog()
		g := newRig(t, log, boot("a", kilntest.Winter, true))
		g.hold(20, 10*time.Minute)
		g.ramp(20, 400, 200)
		g = g.again(log)
		g.hold(400+273.15, time.Minute)
		if l := g.live(); l.Fresh || !l.Aside.Unit || l.Peak > 401 {
			t.Errorf("after a restart: fresh %v, held aside %+v, peak %.1f", l.Fresh, l.Aside, l.Peak)
		}
		g.hold(401, 10*time.Second)
		if l := g.live(); !l.Fresh || l.Aside.Held() || l.T != 401 {
			t.Errorf("switched back: %+v", l)
		}
		if err := g.stop(); err != nil {
			t.Error(err)
		}
		marked := 0
		for _, s := range log.samples[log.order[0]] {
			if s.Values[0].T > 600 && s.Values[0].Fault != kiln.Good {
				marked++
			}
		}
		if marked != 60 {
			t.Errorf("%d readings of the jump are kept with their mark, want 60", marked)
		}
	})
}
