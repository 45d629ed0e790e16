package kiln

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"time"
)

func sampleAt(boot string, s int, wall time.Time, trusted bool, t Celsius) Sample {
	v := Value{Channel: "1", T: t}
	if !t.Known() {
		v.Fault = Break
	}
	return Sample{Kiln: "big-blue", At: Stamp{Boot: BootID(boot), Since: time.Duration(s) * time.Second, Wall: wall, Trusted: trusted}, Values: []Value{v}}
}

// winter is the morning on which these curves begin.
var winter = time.Date(2026, 1, 13, 10, 0, 0, 0, time.UTC)

func TestLay(t *testing.T) {
	nan := NoTemperature()
	samples := []Sample{
		sampleAt("a", 100, winter, true, 20),
		sampleAt("a", 101, winter, true, nan), // no row
		sampleAt("a", 102, winter, true, 21),
		sampleAt("a", 102, winter, true, 99), // not later: left out
		sampleAt("a", 101, winter, true, 99),
		sampleAt("a", 162, winter, true, 22), // 60 s is no gap yet
		sampleAt("a", 223, winter, true, 23), // 61 s is
		sampleAt("b", 5, winter.AddDate(-1, 0, 0), false, 24),
		sampleAt("b", 6, winter.AddDate(-1, 0, 0), false, 25),
		sampleAt("c", 9, winter.Add(10*time.Minute), true, 26),
	}
	c := Resample(samples, []ChannelID{"1", "2"}, time.Minute)
	wantAfter := []time.Duration{0, 2, 62, 123, 124, 125, 126}
	for i := range wantAfter {
		wantAfter[i] *= time.Second
	}
	if !slices.Equal(c.After, wantAfter) {
		t.Errorf("ages %v, want %v", c.After, wantAfter)
	}
	if !slices.Equal(c.Column("1"), []Celsius{20, 21, 22, 23, 24, 25, 26}) {
		t.Errorf("column %v", c.Column("1"))
	}
	if c.Column("2")[0].Known() || c.Column("3") != nil {
		t.Error("a channel that said nothing has temperatures")
	}
	wantGaps := []Gap{{After: 62 * time.Second, For: 61 * time.Second, Known: true}, {After: 123 * time.Second, Why: "restart"}, {After: 125 * time.Second, Why: "restart"}}
	if !slices.Equal(c.Gaps, wantGaps) {
		t.Errorf("gaps %+v, want %+v", c.Gaps, wantGaps)
	}
	if empty := Resample(nil, []ChannelID{"1"}, time.Minute); len(empty.After) != 0 || len(empty.Gaps) != 0 {
		t.Errorf("of nothing: %+v", empty)
	}
}

// Two boots, both with a trusted clock: the length of the gap is known, also where the clock
// came to be trusted only later in that boot.
func TestLayAcrossAReboot(t *testing.T) {
	wall := winter.Add(48 * time.Minute)
	c := Resample([]Sample{
		sampleAt("a", 100, winter, true, 800),
		sampleAt("b", 30, time.Unix(0, 0), false, 700),
		sampleAt("b", 40, wall.Add(10*time.Second), true, 699),
	}, []ChannelID{"1"}, time.Minute)
	want := []Gap{{For: 48 * time.Minute, Known: true}}
	if !slices.Equal(c.Gaps, want) || c.After[1] != 48*time.Minute {
		t.Errorf("gaps %+v, ages %v; want %+v", c.Gaps, c.After, want)
	}
}

// Thinning loses no extreme, and never makes more points than asked for.
func TestThinKeepsExtremes(t *testing.T) {
	random := rand.New(rand.NewPCG(3, 0))
	var samples []Sample
	low, high := Celsius(math.Inf(1)), Celsius(math.Inf(-1))
	for i := range 30_000 {
		if i > 9000 && i < 12_000 {
			continue
		}
		v := Celsius(600 + 400*math.Sin(float64(i)/3000) + random.NormFloat64())
		low, high = min(low, v), max(high, v)
		samples = append(samples, sampleAt("a", i+1, winter, true, v))
	}
	c := Resample(samples, []ChannelID{"1"}, time.Minute)
	minutes := c.Thin("1", time.Minute)
	for _, n := range []int{0, 1, 2, 7, 100, 399, 400, 800, 10_000} {
		e := minutes.Points(n)
		if len(e.After) > max(n, 1) {
			t.Errorf("%d points, asked for %d", len(e.After), n)
		}
		if l, h := slices.Min(e.Low), slices.Max(e.High); l != low || h != high {
			t.Errorf("%d points go from %v to %v, want %v to %v", n, l, h, low, high)
		}
		if !slices.IsSorted(e.After) || e.Step%time.Minute != 0 {
			t.Errorf("%d points: step %v, sorted %v", n, e.Step, slices.IsSorted(e.After))
		}
	}
	if each := c.Thin("1", 0); len(each.After) != len(samples) || each.Low[5] != each.High[5] {
		t.Errorf("%d readings by themselves, want %d", len(each.After), len(samples))
	}
	parts := minutes.Parts(c.Gaps)
	if len(parts) != 2 || len(parts[0].After)+len(parts[1].After) != len(minutes.After) {
		t.Fatalf("%d parts, want 2", len(parts))
	}
	if end, begin := parts[0].After[len(parts[0].After)-1], parts[1].After[0]; end > 9000*time.Second || begin < 11_940*time.Second {
		t.Errorf("parts end at %v and begin at %v", end, begin)
	}
}
