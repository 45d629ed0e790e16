package record

import (
	"math/rand/v2"
	"os"
	"testing"
	"testing/synctest"
	"time"

	"lidwright/kiln"
	"lidwright/kiln/analysis"
	"lidwright/kiln/detect"
	"lidwright/kiln/kilntest"
)

// In usual firings nothing is told but what is wanted: that it began, that it is down to the
// temperature above which it is kept shut, that it is over. Bisque and glaze firings in turn whose climbs,
// holds and coolings vary by a tenth, read every 20 s with a noise of 0.4 °C, each told what the ones before
// make usual. An ordinary run has eight of them, a soak a hundred.
func TestUsualFiringsTellNothingElse(t *testing.T) {
	firings := 8
	if os.Getenv("LIDWRIGHT_SOAK") == "1" {
		firings = 100
	}
	synctest.Test(t, func(t *testing.T) {
		log := newMemoryLog()
		g := newRig(t, log, boot("a", kilntest.Winter, true))
		rng := rand.New(rand.NewPCG(11, 2026))
		about := func(x kiln.Celsius) kiln.Celsius { return x * kiln.Celsius(0.9+0.2*rng.Float64()) }
		say := func(c kiln.Celsius) {
			g.every(20*time.Second, kiln.Celsius(int(10*(c+0.4*kiln.Celsius(rng.NormFloat64()))))/10)
		}
		now := kiln.Celsius(18)
		to := func(end, perHour kiln.Celsius) {
			step := about(perHour) / 180 // of 20 s
			for ; now < end; now += step {
				say(now)
			}
			for ; now > end; now -= step {
				say(now)
			}
		}
		hold := func(d time.Duration) {
			for range int(d / (20 * time.Second)) {
				say(now)
			}
		}
		var past []kiln.Firing
		for n := range firings {
			kind, top := kiln.Bisque, kiln.Celsius(1000)
			if n%2 == 1 {
				kind, top = kiln.Glaze, 1225
			}
			hold(time.Hour)
			to(110, 80)
			if _, err := g.rec.Tell(t.Context(), detect.Fact{Kiln: kilntest.BigBlue.ID, What: detect.KindTold,
				Kind: kind, Atmosphere: kiln.Oxidation}); err != nil {
				t.Fatal(err)
			}
			if kind == kiln.Bisque {
				hold(time.Hour)
			}
			to(600, 120)
			to(top+kiln.Celsius(6*rng.NormFloat64()), 150)
			hold(10 * time.Minute)
			for now > 30 { // cooling by Newton's law, 4 h
				now -= (now - 18) / 720
				say(now)
			}
			hold(time.Hour)
			synctest.Wait()
			f := log.firings[log.order[len(log.order)-1]]
			past = append([]kiln.Firing{f}, past...)
			known := detect.PastOf(past, "1")
			for _, p := range past[:min(len(past), 8)] {
				known.Hold(p, analysis.FeaturesOf(kiln.Resample(log.samples[p.ID], []kiln.ChannelID{"1"},
					time.Minute), "1").Holds)
			}
			if _, err := g.rec.Tell(t.Context(), detect.Fact{Kiln: kilntest.BigBlue.ID,
				What: detect.PastKnown, Past: known}); err != nil {
				t.Fatal(err)
			}
		}
		if err := g.stop(); err != nil {
			t.Fatal(err)
		}
		counts := map[string]int{}
		for _, n := range g.notices {
			counts[n.Event]++
		}
		t.Logf("%d firings: %v", firings, counts)
		for event, n := range counts {
			if event != FiringStartedNotice && event != FiringEndedNotice && event != CooledNotice {
				t.Errorf("%d times %s in usual firings", n, event)
			}
		}
		for _, event := range []string{FiringStartedNotice, FiringEndedNotice, CooledNotice} {
			if counts[event] != firings {
				t.Errorf("%s told %d times in %d firings", event, counts[event], firings)
			}
		}
	})
}
