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
	return Sample{Kiln: "big-blue", At: Stamp{Boot: BootID(boot), Since: time.Duration(s) * time.Second,
		Wall: wall, Trusted: trusted}, Values: []Value{v}}
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
	wantGaps := []Gap{{After: 62 * time.Second, For: 61 * time.Second, Known: true},
		{After: 123 * time.Second, Why: "restart"}, {After: 125 * time.Second, Why: "restart"}}
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
	if end, begin := parts[0].After[len(parts[0].After)-1], parts[1].After[0]; end > 9000*time.Second ||
		begin < 11_940*time.Second {
		t.Errorf("parts end at %v and begin at %v", end, begin)
	}
}

// Samples taken in one by one give the envelopes that the whole curve, thinned, has, whether their channels
// are named before or met; and a stamp by the same clock counts the same by either way in.
func TestDownsamplerThinsAsTheCurveDoes(t *testing.T) {
	random := rand.New(rand.NewPCG(4, 0))
	at, samples := 0, []Sample(nil)
	for range 500 {
		at += random.IntN(30) // of 0 s: not later, left out
		s := sampleAt("a", at, winter, true, Celsius(600+random.IntN(400)))
		if random.IntN(4) > 0 {
			s.Values = append(s.Values, Value{Channel: "2", T: Celsius(random.IntN(400))})
		}
		samples = append(samples, s)
	}
	whole := Resample(samples, []ChannelID{"1", "2"}, time.Minute)
	met := NewResampler(nil, time.Minute)
	met.Add(samples)
	if got := met.Curve(); !slices.Equal(got.Channels, whole.Channels) || len(got.T[1]) != len(got.After) {
		t.Errorf("met channels %v, %d readings in %d rows", got.Channels, len(got.T[1]), len(got.After))
	}
	for _, step := range []time.Duration{0, time.Minute} {
		for name, d := range map[string]*Downsampler{
			"named": NewDownsampler([]ChannelID{"1", "2"}, step), "met": NewDownsampler(nil, step)} {
			for i, s := range samples {
				var in time.Duration
				ok := false
				if i == 0 {
					in, ok = d.Moment(s.At)
				} else {
					in, ok = d.Later(s.At.Since)
				}
				for _, v := range s.Values {
					if p := d.Place(v.Channel); ok {
						d.Put(p, in, v.T)
					}
				}
			}
			for i, got := range d.Envelopes() {
				want := whole.Thin(whole.Channels[i], step)
				if got.Channel != want.Channel || !slices.Equal(got.After, want.After) ||
					!slices.Equal(got.Low, want.Low) || !slices.Equal(got.High, want.High) {
					t.Errorf("channel %s, %s, step %v: %d steps, want %d", got.Channel, name, step,
						len(got.After), len(want.After))
				}
			}
		}
	}
	if at := NewResampler(nil, 0); at.Place("1") != 0 || at.Place("2") != 1 || at.Place("1") != 0 {
		t.Error("channels do not stand in the order in which they are met")
	}
	named := NewDownsampler([]ChannelID{"1"}, 0)
	if p := named.Place("9"); p != -1 || len(named.Envelopes()) != 1 {
		t.Errorf("a channel that was not asked for stands at %d of %d", p, len(named.Envelopes()))
	}
	if p := NewResampler([]ChannelID{"1"}, 0).Place("9"); p != -1 {
		t.Errorf("a channel that was not asked for stands at %d of a row", p)
	}
}

// The top is the highest reading, reached where the curve first came within 3 °C of it.
func TestTop(t *testing.T) {
	nan := NoTemperature()
	c := Curve{Channels: []ChannelID{"1", "2"}, After: []time.Duration{0, 10, 20, 30, 40},
		T: [][]Celsius{{nan, 1216.9, 1217, 1220, 1219}, {nan, nan, nan, nan, nan}}}
	if peak, after := c.Top("1"); peak != 1220 || after != 20 {
		t.Errorf("the top is %v, reached at %d", peak, after)
	}
	if peak, after := c.Top("2"); peak.Known() || after != 0 {
		t.Errorf("a channel that said nothing has a top of %v at %d", peak, after)
	}
}

// A line is cut at each gap; where no reading lies between two gaps, or before the first, there is no part.
func TestPartsOfALine(t *testing.T) {
	e := Envelope{Step: 10, After: []time.Duration{0, 20, 30, 50}, Low: []Celsius{1, 2, 3, 4},
		High: []Celsius{1, 2, 3, 4}}
	for _, c := range []struct {
		gaps  []Gap
		parts [][]time.Duration
	}{
		{nil, [][]time.Duration{{0, 20, 30, 50}}},
		{[]Gap{{After: 0}}, [][]time.Duration{{0}, {20, 30, 50}}},
		{[]Gap{{After: 5}, {After: 6}, {After: 35}}, [][]time.Duration{{0}, {20, 30}, {50}}},
		{[]Gap{{After: -1}, {After: 50}}, [][]time.Duration{{0, 20, 30, 50}}},
	} {
		var got [][]time.Duration
		for _, p := range e.Parts(c.gaps) {
			got = append(got, p.After)
		}
		if !slices.EqualFunc(got, c.parts, slices.Equal) {
			t.Errorf("gaps %v: parts %v, want %v", c.gaps, got, c.parts)
		}
	}
}

// Steps are joined only where there are more than asked for, into whole ones.
func TestFewerSteps(t *testing.T) {
	e := Envelope{Step: 10, After: []time.Duration{0, 10, 20, 30}, Low: []Celsius{4, 1, 3, 2},
		High: []Celsius{5, 6, 8, 7}}
	for _, c := range []struct {
		n     int
		after []time.Duration
		high  []Celsius
	}{
		{4, []time.Duration{0, 10, 20, 30}, []Celsius{5, 6, 8, 7}},
		{3, []time.Duration{0, 20}, []Celsius{6, 8}},
		{2, []time.Duration{0, 20}, []Celsius{6, 8}},
		{1, []time.Duration{0}, []Celsius{8}},
	} {
		if got := e.Points(c.n); !slices.Equal(got.After, c.after) || !slices.Equal(got.High, c.high) {
			t.Errorf("at most %d: %v, %v", c.n, got.After, got.High)
		}
	}
	e.Step = 0 // each reading by itself: nothing is joined
	if got := e.Points(2); len(got.After) != 4 {
		t.Errorf("readings by themselves were joined: %v", got.After)
	}
}

// Along one axis every later stamp has a greater age, be it by a nanosecond; others are refused and change
// nothing.
func TestLaterOnTheAxis(t *testing.T) {
	var a Ages
	began := Stamp{Boot: "a", Since: 100, Wall: winter}
	if j, ok := a.Next(began); !ok || j.Age != 0 || !j.Known {
		t.Errorf("the first has age %v, %v", j.Age, ok)
	}
	for _, c := range []struct {
		since time.Duration
		ok    bool
		age   time.Duration
	}{{101, true, 1}, {101, false, 1}, {99, false, 1}, {150, true, 50}} {
		if ok := a.later(c.since); ok != c.ok || a.Age != c.age {
			t.Errorf("%d: %v, age %d; want %v, %d", c.since, ok, a.Age, c.ok, c.age)
		}
	}
	if want := winter.Add(50); !a.Last.Wall.Equal(want) {
		t.Errorf("the clock on the wall says %v, want %v", a.Last.Wall, want)
	}
	for _, c := range []struct {
		at    Stamp
		ok    bool
		age   time.Duration
		known bool
	}{
		{Stamp{Boot: "a", Since: 150}, false, 0, false},
		{Stamp{Boot: "a", Since: 151}, true, 51, true},
		{Stamp{Boot: "b", Since: 1, Wall: winter.Add(51), Trusted: true}, true, 50 + time.Second,
			false}, // the last was not trusted
	} {
		if j, ok := a.Peek(c.at); ok != c.ok || j.Age != c.age || j.Known != c.known {
			t.Errorf("%+v: %+v %v", c.at, j, ok)
		}
	}
}
