package analysis

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"lidwright/kiln"
	"lidwright/kiln/kilntest"
)

// fixtureLegs is the firing that the documents work through.
var fixtureLegs = []kilntest.Leg{{To: 100, Rate: 60, Hold: time.Hour}, {To: 540, Rate: 150, Hold: 0},
	{To: 620, Rate: 80, Hold: 0}, {To: 1100, Rate: 180, Hold: 0},
	{To: 1215, Rate: 60, Hold: 20 * time.Minute},
	{To: 1040, Rate: 250, Hold: 45 * time.Minute}, {To: 500, Rate: 90, Hold: 0}, {To: 180, Rate: 60, Hold: 0}}

// A rate by hand: 60 °C/h for the last 100 °C is what the programme says, and so for the others.
// With noise of 0.15 °C at 1 Hz and a probe that reads in tenths, 5 % is allowed.
func TestFeaturesOfFixtureFiring(t *testing.T) {
	noisy := kilntest.Programme(time.Second, fixtureLegs...)
	r := rand.New(rand.NewPCG(1, 2))
	for i := range noisy.T[0] {
		noisy.T[0][i] = kiln.Celsius(math.Round(10*(float64(noisy.T[0][i])+0.15*r.NormFloat64())) / 10)
	}
	for name, c := range map[string]kiln.Curve{"10 s": kilntest.Programme(10*time.Second, fixtureLegs...),
		"60 s": kilntest.Programme(time.Minute, fixtureLegs...), "noisy 1 Hz": noisy} {
		f := FeaturesOf(c, "1")
		for _, v := range []struct {
			what      string
			got, want float64
		}{
			{"peak", float64(f.Peak), 1215}, {"last 100", float64(f.LastHundred), 60},
			{"573 up", float64(f.QuartzUp), 80},
			{"573 down", float64(f.QuartzDown), 90}, {"226 down", float64(f.CristobaliteDown), 60},
			{"first 100 down", float64(f.CoolTop), 250},
			{"1000 to 700", float64(f.CoolMiddle), 90}, {"700 to 300 (200 at 90, 200 at 60)",
				float64(f.CoolLower), 72},
			{"degree-hours", f.DegreeHours, 14139}, {"hours", f.Over.Hours(), 23.97},
			{"warm-up: 20 °C at 60, an hour, 20 at 150", float64(f.WarmUp), 40 / (20.0/60 + 1 + 20.0/150)},
		} {
			if !(math.Abs(v.got/v.want-1) <= 0.05) { // nor may it be unknown
				t.Errorf("%s: %s is %.2f, want %.2f ± 5 %%", name, v.what, v.got, v.want)
			}
		}
		if math.Abs(f.DegreeHours-14139) > 15 || math.Abs(f.Over.Hours()-23.97) > 0.01 {
			t.Errorf("%s: %.0f degree-hours in %.2f h, want 14139 in 23.97", name,
				f.DegreeHours, f.Over.Hours())
		}
		if len(f.Holds) != 3 {
			t.Fatalf("%s: holds %v, want three", name, f.Holds)
		}
		for i, want := range []kiln.Hold{{At: 100, For: time.Hour}, {At: 1215, For: 20 * time.Minute},
			{At: 1040, For: 45 * time.Minute}} {
			got := f.Holds[i]
			if math.Abs(float64(got.At-want.At)) > 1 || got.For < want.For-time.Minute ||
				got.For > want.For+3*time.Minute {
				t.Errorf("%s: hold %d is %v at %.1f, want %v at %.0f", name, i, got.For,
					got.At, want.For, want.At)
			}
		}
	}
}

func TestFeaturesSayNothingThatWasNotHeard(t *testing.T) {
	c := kilntest.Programme(10*time.Second, kilntest.Leg{To: 1222, Rate: 100},
		kilntest.Leg{To: 300, Rate: 100})
	whole := FeaturesOf(c, "1")
	if !known(whole.QuartzDown) {
		t.Fatal("the whole curve shows its way down through 573 °C")
	}
	for _, told := range []bool{true, false} { // a hole is seen whether or not the curve lists it
		hole := kilntest.Cut(c, 17*time.Hour, 21*time.Hour, told)
		f := FeaturesOf(hole, "1")
		if known(f.QuartzDown) {
			t.Errorf("573 °C was passed unheard, yet its rate is %.0f", f.QuartzDown)
		}
		if known(f.CoolTop) != true || math.Abs(float64(f.CoolTop)-100) > 1 {
			t.Errorf("the first 100 °C down were heard: %v", f.CoolTop)
		}
	}
	f := FeaturesOf(kilntest.Cut(c, 11*time.Hour, 15*time.Hour, true), "1")
	if !f.GapNearTop || f.LongestGap < 3*time.Hour {
		t.Errorf("a four-hour hole at the top: %+v", f)
	}
	says := ""
	for _, r := range f.Remarks(kiln.Glaze, DefaultFeatureLimits()) {
		says += r.Says.String() + "\n"
	}
	if !strings.Contains(says, "The longest gap is 4 h") || !strings.Contains(says, "estimate") {
		t.Errorf("the hole is not told in words:\n%s", says)
	}
	if r := FeaturesOf(kiln.Curve{}, "1").Remarks(kiln.Glaze, DefaultFeatureLimits()); len(r) != 1 ||
		!strings.Contains(r[0].Says.String(), "no curve") {
		t.Errorf("no curve: %v", r)
	}
}

// By hand: an hour at 1200 °C between slopes of 100 °C/h is within 10 °C of the peak for an hour and twice 6
// min, within 50 for one and twice 30 min, within 100 for one and twice an hour. Lines join readings that
// come every five minutes.
func TestTimeNearThePeak(t *testing.T) {
	f := FeaturesOf(kilntest.Programme(5*time.Minute, kilntest.Leg{To: 1200, Rate: 100, Hold: time.Hour},
		kilntest.Leg{To: 900, Rate: 100}), "1")
	for _, c := range []struct {
		within    int
		got, want time.Duration
	}{{10, f.Within10, 72 * time.Minute}, {50, f.Within50, 2 * time.Hour}, {100, f.Within100,
		3 * time.Hour}} {
		if (c.got - c.want).Abs() > 20*time.Second {
			t.Errorf("within %d °C for %v, want %v", c.within, c.got, c.want)
		}
	}
}

// steady is a curve of readings every minute.
func steady(read ...kiln.Celsius) kiln.Curve {
	c := kiln.Curve{Channels: []kiln.ChannelID{"1"}, T: [][]kiln.Celsius{read}}
	for i := range read {
		c.After = append(c.After, time.Duration(i)*time.Minute)
	}
	return c
}

// A kiln in a cold shed has a peak too, and one wild reading is none.
func TestPeakOfAFewReadings(t *testing.T) {
	for _, c := range []struct {
		read []kiln.Celsius
		peak kiln.Celsius
		over time.Duration
	}{
		{[]kiln.Celsius{-5}, -5, 0},
		{[]kiln.Celsius{-12, -9}, -10.5, time.Minute},
		{[]kiln.Celsius{-12, -9, -10}, -10, 2 * time.Minute},
		{[]kiln.Celsius{20, 21, 999, 22, 23, 23}, 23, 5 * time.Minute},
	} {
		if f := FeaturesOf(steady(c.read...), "1"); f.Peak != c.peak || f.Over != c.over {
			t.Errorf("%v: peak %v after %v, want %v", c.read, f.Peak, f.Over, c.peak)
		}
	}
}

// A rate is told where the whole band was heard, from its one end to the other; what lies beside the band
// does not count.
func TestRateOfABandThatWasHeard(t *testing.T) {
	var read []kiln.Celsius
	for k := kiln.Celsius(500); k <= 700; k++ { // 60 °C/h; the band of quartz is 553 to 593 °C
		read = append(read, k)
	}
	for _, c := range []struct {
		from, to int // °C that were not heard
		known    bool
	}{{0, 0, true}, {540, 550, true}, {545, 556, false}, {560, 570, false}, {590, 600, false}, {596, 610,
		true}} {
		some := slices.Clone(read)
		for k := c.from; k < c.to; k++ {
			some[k-500] = kiln.NoTemperature()
		}
		got := FeaturesOf(steady(some...), "1").QuartzUp
		if known(got) != c.known || c.known && math.Abs(float64(got)-60) > .1 {
			t.Errorf("not heard from %d to %d °C: %v", c.from, c.to, got)
		}
	}
	slices.Reverse(read)
	for last, whole := range map[int]bool{554: false, 553: true} { // its end is in it
		if got := FeaturesOf(steady(read[:700-last+1]...), "1").QuartzDown; known(got) != whole {
			t.Errorf("down to %d °C: %v", last, got)
		}
	}
}

// A gap matters from 5 min on and up to 150 °C below the peak, be it before or after it; one of unknown
// length always does there.
func TestGapsThatMatter(t *testing.T) {
	read := []kiln.Celsius{1000, 1049, 1050, 1100, 1200, 1200, 1200, 1200, 1200, 1050, 1049, 1000}
	for _, c := range []struct {
		at      int // row before the gap
		long    time.Duration
		known   bool
		near    bool
		longest time.Duration
		unknown bool
	}{
		{0, 6 * time.Minute, true, false, 6 * time.Minute, false},
		{1, 6 * time.Minute, true, true, 6 * time.Minute, false},
		{1, 5 * time.Minute, true, false, 5 * time.Minute, false},
		{4, 5*time.Minute + 1, true, true, 5*time.Minute + 1, false},
		{4, 0, false, true, 0, true},
		{9, 6 * time.Minute, true, true, 6 * time.Minute, false},
		{10, 6 * time.Minute, true, false, 6 * time.Minute, false},
		{10, 0, false, false, 0, true},
	} {
		curve := steady(read...)
		curve.Gaps = []kiln.Gap{{After: curve.After[c.at], For: c.long, Known: c.known}}
		f := FeaturesOf(curve, "1")
		if f.GapNearTop != c.near || f.LongestGap != c.longest || f.GapUnknown != c.unknown {
			t.Errorf("%+v: near the top %v, longest %v, unknown %v", c, f.GapNearTop, f.LongestGap,
				f.GapUnknown)
		}
	}
}

// At a limit nothing is cautioned, beyond it is.
func TestRemarksAtTheirLimits(t *testing.T) {
	at := func(change func(f *Features)) Features {
		f := FeaturesOf(kiln.Curve{}, "1")
		f.Peak = 1200
		change(&f)
		return f
	}
	hold := func(long time.Duration, c kiln.Celsius) Features {
		return at(func(f *Features) {
			f.Holds = []kiln.Hold{{At: 700, For: 3 * time.Hour}, {At: c,
				For: long}}
		})
	}
	last := func(r kiln.CelsiusPerHour) Features { return at(func(f *Features) { f.LastHundred = r }) }
	warm := func(r kiln.CelsiusPerHour) Features { return at(func(f *Features) { f.WarmUp = r }) }
	quartz := func(r kiln.CelsiusPerHour) Features { return at(func(f *Features) { f.QuartzDown = r }) }
	for _, c := range []struct {
		f       Features
		kind    kiln.Kind
		figure  string // "": none is told beside those of every curve
		caution bool
	}{
		{last(15), kiln.Glaze, "rate_last_100", false}, {last(14.9), kiln.Glaze, "rate_last_100", true},
		{last(150), kiln.Glaze, "rate_last_100", false}, {last(150.1), kiln.Glaze, "rate_last_100", true},
		{warm(100), kiln.Glaze, "warm_up", false}, {warm(100.1), kiln.Glaze, "warm_up", true},
		{warm(60), kiln.Bisque, "warm_up", false}, {warm(60.1), kiln.Bisque, "warm_up", true},
		{quartz(50), kiln.Glaze, "quartz_down", false}, {quartz(50.1), kiln.Glaze, "quartz_down", true},
		{hold(time.Hour, 1200), kiln.Glaze, "holds", false}, {hold(61*time.Minute, 1100), kiln.Glaze,
			"holds", true},
		{hold(61*time.Minute, 1099), kiln.Glaze, "holds", false},
		{at(func(f *Features) {}), kiln.Bisque, "", false},
		{at(func(f *Features) { f.BurnOut = time.Hour }), kiln.Glaze, "", false},
		{at(func(f *Features) { f.BurnOut = time.Hour }), kiln.Bisque, "burn_out", false},
		{at(func(f *Features) { f.LongestGap = time.Hour }), kiln.Glaze, "gaps", false},
		{at(func(f *Features) { f.GapUnknown, f.GapNearTop = true, true }), kiln.Glaze, "gaps", true},
	} {
		told := ""
		for _, r := range c.f.Remarks(c.kind, DefaultFeatureLimits()) {
			if r.Figure == "peak" || r.Figure == "near_peak" || r.Figure == "degree_hours" {
				continue
			}
			if told = r.Figure; r.Caution != c.caution {
				t.Errorf("%s: caution %v", r.Says, r.Caution)
			}
		}
		if told != c.figure {
			t.Errorf("told is %q, want %q", told, c.figure)
		}
	}
}

// Two level stretches that a puff of air parts for less than 2 min are one hold; parted for longer they are
// two.
func TestHoldsParted(t *testing.T) {
	for parted, holds := range map[int]int{0: 1, 1: 1, 5: 2} {
		var read []kiln.Celsius
		for k := kiln.Celsius(800); k < 1000; k += 2 {
			read = append(read, k)
		}
		for range 20 {
			read = append(read, 1000)
		}
		for range parted {
			read = append(read, 985)
		}
		for range 30 {
			read = append(read, 1000)
		}
		for k := kiln.Celsius(1002); k < 1200; k += 2 {
			read = append(read, k)
		}
		f := FeaturesOf(steady(read...), "1")
		var long time.Duration
		for _, h := range f.Holds {
			if math.Abs(float64(h.At-1000)) > 1 {
				t.Errorf("held at %v", h.At)
			}
			long += h.For
		}
		if len(f.Holds) != holds || long < 46*time.Minute || long > 54*time.Minute {
			t.Errorf("parted for %d min: %+v", parted, f.Holds)
		}
	}
}

// A kiln left to itself is not held, however slowly it cools.
func TestFeaturesNaturalCoolingIsNoHold(t *testing.T) {
	for _, tau := range []float64{3, 6, 12, 20} {
		c := kilntest.Programme(10*time.Second, kilntest.Leg{To: 1222, Rate: 100})
		end := c.After[len(c.After)-1]
		for h := 0.0; 1202*math.Exp(-h/tau) > 25; h += 1.0 / 360 {
			c.After = append(c.After, end+time.Duration(h*float64(time.Hour))+time.Second)
			c.T[0] = append(c.T[0], kiln.Celsius(20+1202*math.Exp(-h/tau)))
		}
		if f := FeaturesOf(c, "1"); len(f.Holds) != 0 {
			t.Errorf("time constant %v h: holds %v", tau, f.Holds)
		}
	}
}

// Every remark that names a limit says how well it is founded, and none gives a verdict.
func TestRemarksNameTheirStanding(t *testing.T) {
	c := kilntest.Programme(time.Minute, append([]kilntest.Leg{}, kilntest.Leg{To: 1222, Rate: 200,
		Hold: 3 * time.Hour}, kilntest.Leg{To: 100, Rate: 300, Hold: 0})...)
	all := FeaturesOf(c, "1").Remarks(kiln.Bisque, DefaultFeatureLimits())
	var cautions []string
	for _, r := range all {
		if (r.Limit.String() == "") != (r.Standing == NoLimit) || r.Standing == Published &&
			r.Source.String() == "" {
			t.Errorf("%s: limit %q stands as %q, source %q", r.Figure, r.Limit, r.Standing, r.Source)
		}
		for _, word := range []string{"fail", "wrong", "bad", "must", "energy", "kWh"} {
			if strings.Contains(strings.ToLower(r.Says.String()), word) {
				t.Errorf("%s gives a verdict: %q", r.Figure, r.Says)
			}
		}
		if r.Caution {
			cautions = append(cautions, r.Figure)
		}
	}
	want := []string{"warm_up", "rate_last_100", "holds", "quartz_down"}
	if !slices.Equal(cautions, want) {
		t.Errorf("cautions on %v, want %v", cautions, want)
	}
}

func ExampleFeatures_Remarks() {
	c := kilntest.Programme(time.Minute, kilntest.Leg{To: 1222, Rate: 60, Hold: 20 * time.Minute},
		kilntest.Leg{To: 200, Rate: 90, Hold: 0})
	for _, r := range FeaturesOf(c, "1").Remarks(kiln.Glaze, DefaultFeatureLimits()) {
		if r.Figure == "quartz_down" {
			fmt.Println(r.Says)
			fmt.Println(r.Limit)
		}
	}
	// Output:
	// Down through 573 °C, where quartz shrinks, at 90 °C/h.
	// At most 50 °C/h is advised for sanitaryware; many kilns cool quicker and come to no harm (common practice, no source).
}

func BenchmarkFeatures26h1Hz(b *testing.B) {
	c := kilntest.Programme(time.Second, kilntest.Leg{To: 600, Rate: 100, Hold: 0},
		kilntest.Leg{To: 1222, Rate: 90, Hold: 20 * time.Minute}, kilntest.Leg{To: 180, Rate: 78, Hold: 0})
	for b.Loop() {
		FeaturesOf(c, "1")
	}
}
