package analysis

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"lidwright/kiln"
	"lidwright/kiln/detect"
)

func finished(n int, work kiln.Celsius, top time.Duration) kiln.Firing {
	return kiln.Firing{Number: n, Kiln: "big-blue", Kind: kiln.Glaze, Atmosphere: kiln.Oxidation,
		Status: kiln.Ended, Began: kiln.Stamp{Wall: time.Unix(int64(n)*86400*3, 0)},
		Peak: work, ToTop: top, HeatWork: map[kiln.ChannelID]kiln.HeatWork{"1": {C: work}}}
}

func ExampleSayUsual() {
	var past []kiln.Firing
	for i, work := range []kiln.Celsius{1221, 1223, 1220, 1222} {
		past = append(past, finished(i, work, 10*time.Hour))
	}
	usual, _ := detect.PastOf(past, "1").Expect(kiln.Glaze, kiln.Oxidation)
	fmt.Println(SayUsual(finished(5, 1224, 10*time.Hour+20*time.Minute), "1", usual).Says)
	late := finished(6, 1231, 11*time.Hour+30*time.Minute)
	late.Gaps = []kiln.Gap{{After: 2 * time.Hour, For: 48 * time.Minute, Known: true}}
	fmt.Println(SayUsual(late, "1", usual).Says)
	fmt.Println(SayUsual(late, "1", detect.Expected{}).Says)
	// Output:
	// usual
	// 10 °C more heat work, 90 min longer to the top than usual; gap 48 min
	// no usual firing to compare with yet; gap 48 min
}

// A notice must be false in fewer than 1 of 20 usual firings: simulated kilns whose heat work
// and hours waver by these sds, four firings for the usual one and one to judge. The largest
// wavering stands for a fuel kiln fired by eye.
func TestUsualFalseAlarms(t *testing.T) {
	const tries = 4000
	r := rand.New(rand.NewPCG(20, 1))
	for _, sd := range []struct{ work, hours float64 }{{1.5, 0.02}, {3, 0.04}, {4.5, 0.06}, {6, 0.08}} {
		draw := func(n int) kiln.Firing {
			return finished(n, kiln.Celsius(1222+sd.work*r.NormFloat64()),
				time.Duration(10*(1+sd.hours*r.NormFloat64())*float64(time.Hour)))
		}
		alarms, missed := 0, 0
		for range tries {
			var past []kiln.Firing
			for i := range 4 {
				past = append(past, draw(i))
			}
			usual, _ := detect.PastOf(past, "1").Expect(kiln.Glaze, kiln.Oxidation)
			if !SayUsual(draw(5), "1", usual).Usual {
				alarms++
			}
			hot := finished(6, 1222+25+kiln.Celsius(sd.work*r.NormFloat64()), 10*time.Hour)
			if SayUsual(hot, "1", usual).Usual {
				missed++
			}
		}
		share := float64(alarms) / tries
		t.Logf("heat work ± %.1f °C, hours ± %.0f %%: %.4f false, 25 °C more missed in %.4f", sd.work,
			100*sd.hours, share, float64(missed)/tries)
		if share >= 0.05 {
			t.Errorf("heat work ± %v °C, hours ± %v: false in %.3f, want under 1 in 20",
				sd.work, sd.hours, share)
		}
		if sd.work <= 1.5 && missed > 0 {
			t.Errorf("a steady kiln 25 °C hotter was called usual %d times", missed)
		}
	}
}

// Each kind and each atmosphere has its own usual firing.
func TestUsualKeptApart(t *testing.T) {
	var all []kiln.Firing
	for i := range 4 {
		glaze, red, bisque := finished(3*i, 1222, 10*time.Hour), finished(3*i+1, 1262,
			12*time.Hour), finished(3*i+2, 1000, 9*time.Hour)
		red.Atmosphere, bisque.Kind = kiln.Reduction, kiln.Bisque
		all = append(all, glaze, red, bisque)
	}
	p := detect.PastOf(all, "1")
	for _, c := range []struct {
		f    kiln.Firing
		says string
	}{
		{all[0], "usual"}, {all[1], "usual"}, {all[2], "usual"},
	} {
		e, ok := p.Expect(c.f.Kind, c.f.Atmosphere)
		if got := SayUsual(c.f, "1", e); !ok || got.Says.String() != c.says {
			t.Errorf("%s %s: %+v", c.f.Kind, c.f.Atmosphere, got)
		}
	}
	e, _ := p.Expect(kiln.Glaze, kiln.Oxidation)
	if got := SayUsual(all[1], "1", e); got.Usual || !strings.Contains(got.Says.String(),
		"40 °C more heat work") {
		t.Errorf("a reduction firing against the usual of oxidation: %+v", got)
	}
}

func TestUsualBand(t *testing.T) {
	env := func(step time.Duration, from int, low ...kiln.Celsius) kiln.Envelope {
		e := kiln.Envelope{Channel: "1", Step: step}
		for i, t := range low {
			e.After = append(e.After, time.Duration(from+i)*step)
			e.Low, e.High = append(e.Low, t), append(e.High, t+1)
		}
		return e
	}
	band, ok := UsualBand([]kiln.Envelope{env(time.Minute, 0, 20, 30, 40, 50),
		env(2*time.Minute, 0, 22, 45, 70), {}})
	if !ok || band.Step != 2*time.Minute ||
		fmt.Sprint(band.After, band.Low, band.High) != "[0s 2m0s] [20 40] [31 51]" {
		t.Errorf("%v %v %v %v", band.Step, band.After, band.Low, band.High)
	}
	alone, ok := UsualBand([]kiln.Envelope{env(time.Minute, 3, 20, 30)})
	if !ok || len(alone.After) != 2 || alone.After[0] != 3*time.Minute || alone.High[1] != 31 {
		t.Errorf("one curve is its own band: %+v", alone)
	}
	if _, ok := UsualBand(nil); ok {
		t.Error("a band of nothing")
	}
	for i := range band.After {
		if band.Low[i] > band.High[i] || math.IsInf(float64(band.Low[i]), 0) {
			t.Errorf("step %d: %v to %v", i, band.Low[i], band.High[i])
		}
	}
}
