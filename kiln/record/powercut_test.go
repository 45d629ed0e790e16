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

// A kiln that loses power well short of its usual top: one notice of the early fall, and no more.
// Back within two hours it is one firing with a dip, which reaches its top; back after three it is
// incomplete, out of the usual ones, and another that goes on with the same load.
func TestKilnLosesPower(t *testing.T) {
	for _, c := range []struct {
		name string
		off  time.Duration
		want []kiln.Status
	}{{"for an hour", time.Hour, []kiln.Status{kiln.Ended}}, {"for three hours", 3 * time.Hour,
		[]kiln.Status{kiln.Incomplete, kiln.Ended}}} {
		t.Run(c.name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				log := newMemoryLog()
				g := newRig(t, log, boot("a", kilntest.Winter, true))
				past := detect.Past{Usual: []detect.Expected{{Kind: kiln.Glaze,
					Atmosphere: kiln.UnknownAtmosphere, Top: 1222, HeatWork: 1235,
					ToTop: 9 * time.Hour, Of: 4}}}
				for _, f := range []detect.Fact{{Kiln: "big-blue", What: detect.PastKnown, Past: past},
					{Kiln: "big-blue", What: detect.LoadsKnown,
						Loads: []detect.Load{{ID: "load", Kind: kiln.Glaze}}}} {
					if _, err := g.rec.Tell(t.Context(), f); err != nil {
						t.Fatal(err)
					}
				}
				g.hold(20, 10*time.Minute)
				g.ramp(20, 700, 150)
				g.second(700)
				at := 700.0
				for range int(c.off / time.Second) { // Newton, five hours
					at -= (at - 20) / (5 * 3600)
					g.second(kiln.Celsius(at))
				}
				low := kiln.Celsius(at)
				g.ramp(low, 1222, 150)
				g.hold(1222, 10*time.Minute)
				g.ramp(1222, 20, 400)
				g.hold(20, 15*time.Minute)
				if err := g.stop(); err != nil {
					t.Error(err)
				}
				if n := g.told(FellEarlyNotice); n != 1 {
					t.Errorf("%d notices of a fall that began early, want one", n)
				}
				var got []kiln.Firing
				for _, id := range log.order {
					got = append(got, log.firings[id])
				}
				if len(got) != len(c.want) {
					t.Fatalf("%d firings, want %d", len(got), len(c.want))
				}
				for i, f := range got {
					if f.Status != c.want[i] || f.Load != "load" || f.Kind != kiln.Glaze {
						t.Errorf("firing %d: %s, load %q, %s", i+1, f.Status, f.Load, f.Kind)
					}
				}
				if len(got) == 1 {
					if f := got[0]; len(f.Dips) != 1 || math.Abs(float64(f.Dips[0].Lowest-low)) > 2 ||
						f.Peak < 1220 {
						t.Errorf("dips %+v, peak %.0f; want one to %.0f", f.Dips, f.Peak, low)
					}
				}
				if e, ok := detect.PastOf(got, "1").Expect(kiln.Glaze, kiln.UnknownAtmosphere); !ok ||
					e.Top < 1220 || e.Of != 1 {
					t.Errorf("usual from these firings: %+v; the incomplete one counts", e)
				}
			})
		})
	}
}

// One zone drifts by 5 K an hour from what it used to read beside the control probe: told when it is
// 15 K off, and no reading is taken out.
func TestZoneDrifts(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		k := zonedKiln
		log := newMemoryLog()
		g := newRig(t, log, boot("a", kilntest.Winter, true), k)
		control := func(second int) kiln.Celsius { return 20 + kiln.Celsius(min(second, 5*3600))*200/3600 }
		for second := range 10 * 3600 { // a firing that teaches what is usual
			at := control(second)
			if second > 5*3600 {
				at = max(20, 1020-kiln.Celsius(second-5*3600)*400/3600)
			}
			g.say(at, at-8, at-20)
		}
		if l := g.live(); len(l.Disagree) > 0 || l.Firing != "" {
			t.Fatalf("before it drifts: %v, firing %q", l.Disagree, l.Firing)
		}
		shown := 0
		for second := range 5 * 3600 {
			at := control(second)
			g.say(at, at-8-kiln.Celsius(second)*5/3600, at-20)
			if shown > 0 || second%10 > 0 {
				continue
			}
			if l := g.live(); len(l.Disagree) > 0 {
				shown = second
				if d := l.Disagree[0]; len(l.Disagree) != 1 || d.Channel != "2" || d.By > -15 || d.By < -17 {
					t.Errorf("told: %+v", l.Disagree)
				}
			}
		}
		if l := g.live(); l.Faulty[kiln.Disagrees] != 1 || len(l.Faulty) != 1 {
			t.Errorf("counted %v, want one disagreement and no reading taken out", l.Faulty)
		}
		if off := float64(shown) * 5 / 3600; off < 15 || off > 16 {
			t.Errorf("told when it was %.1f K off, want 15 to 16", off)
		} else {
			t.Logf("told when it was %.1f K off", off)
		}
		if err := g.stop(); err != nil {
			t.Error(err)
		}
	})
}
