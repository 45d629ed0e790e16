package record

import (
	"fmt"
	"math/rand/v2"
	"testing"
	"time"

	"lidwright/kiln"
	"lidwright/kiln/kilntest"
)

func secondAt(boot string, ms int) kiln.Stamp {
	return kiln.Stamp{Boot: kiln.BootID(boot), Since: time.Duration(ms) * time.Millisecond,
		Wall: kilntest.Winter.Add(time.Duration(ms) * time.Millisecond)}
}

func TestWholeSecond(t *testing.T) {
	good := func(c string, v kiln.Celsius) kiln.Value { return kiln.Value{Channel: kiln.ChannelID(c), T: v} }
	bad := kiln.Value{Channel: "1", T: kiln.NoTemperature(), Fault: kiln.Break}
	type in struct {
		boot   string
		ms     int
		values []kiln.Value
	}
	type out struct {
		tick int
		t    kiln.Celsius // of channel 1; NaN if it is not good
	}
	none := kiln.NoTemperature()
	for name, c := range map[string]struct {
		in   []in
		want []out
	}{
		"one a second": {[]in{{"a", 1100, []kiln.Value{good("1", 20)}},
			{"a", 2100, []kiln.Value{good("1", 21)}}}, []out{{1, 20}, {2, 21}}},
		"a bad one after it": {[]in{{"a", 1100, []kiln.Value{good("1", 20)}},
			{"a", 1900, []kiln.Value{bad}}}, []out{{1, 20}}},
		"a good one after it": {[]in{{"a", 1100, []kiln.Value{bad}},
			{"a", 1900, []kiln.Value{good("1", 20)}}}, []out{{1, 20}}},
		"another channel": {[]in{{"a", 1100, []kiln.Value{good("1", 20)}},
			{"a", 1900, []kiln.Value{good("2", 30)}}}, []out{{1, 20}}},
		"two after an empty": {[]in{{"a", 1100, []kiln.Value{good("1", 20)}},
			{"a", 3050, []kiln.Value{good("1", 21)}}, {"a", 3950, []kiln.Value{good("1", 22)}}},
			[]out{{1, 20}, {2, 21}, {3, 22}}},
		"two before an empty": {[]in{{"a", 1100, []kiln.Value{good("1", 20)}},
			{"a", 2050, []kiln.Value{good("1", 21)}}, {"a", 2950, []kiln.Value{good("1", 22)}},
			{"a", 4100, []kiln.Value{good("1", 23)}}}, []out{{1, 20}, {2, 21}, {3, 22}, {4, 23}}},
		"two, then one a tick": {[]in{{"a", 1050, []kiln.Value{good("1", 20)}},
			{"a", 1950, []kiln.Value{good("1", 21)}}, {"a", 2950, []kiln.Value{good("1", 22)}},
			{"a", 3100, []kiln.Value{bad}}}, []out{{1, 20}, {2, 21}, {3, 22}, {4, none}}},
		"five a second": {[]in{{"a", 1000, []kiln.Value{good("1", 20)}},
			{"a", 1200, []kiln.Value{good("1", 21)}}, {"a", 1800, []kiln.Value{good("1", 22)}},
			{"a", 2000, []kiln.Value{good("1", 23)}}, {"a", 2800, []kiln.Value{good("1", 24)}},
			{"a", 3000, []kiln.Value{good("1", 25)}}},
			[]out{{1, 21}, {2, 22}, {3, 24}, {4, 25}}},
		"another boot begins anew": {[]in{{"a", 3000, []kiln.Value{good("1", 20)}},
			{"b", 900, []kiln.Value{good("1", 21)}}, {"b", 1000, []kiln.Value{good("1", 22)}}},
			[]out{{3, 20}, {0, 21}, {1, 22}}},
	} {
		var w wholeSecond
		var got []out
		take := func(whole []kiln.Sample) {
			for _, s := range whole {
				v, _ := s.Value("1")
				if v.Fault != kiln.Good {
					v.T = none
				}
				if !s.At.Wall.Equal(kilntest.Winter.Add(s.At.Since)) {
					t.Errorf("%s: the stamp's clocks part: %+v", name, s.At)
				}
				got = append(got, out{int(s.At.Since / time.Second), v.T})
			}
		}
		for _, i := range c.in {
			take(w.add(kiln.Sample{At: secondAt(i.boot, i.ms), Values: i.values, Raw: "raw"}))
		}
		take(w.flush())
		if fmt.Sprint(got) != fmt.Sprint(c.want) {
			t.Errorf("%s: %v, want %v", name, got, c.want)
		}
	}

	var w wholeSecond
	w.add(kiln.Sample{At: secondAt("b", 1000), Values: []kiln.Value{good("1", 24)}})
	w.add(kiln.Sample{At: secondAt("b", 1500), Values: []kiln.Value{bad}, Raw: "ERR"})
	if !w.before(secondAt("b", 2000)) || w.before(secondAt("b", 1999)) || !w.before(secondAt("c", 0)) {
		t.Error("a second is over when the next begins")
	}
	if whole := w.flush(); len(whole) != 1 || whole[0].Values[0].T != 24 || whole[0].Raw != "ERR" {
		t.Errorf("the open second %+v", whole)
	}
}

// Lines of a source that speaks every five seconds, held up for a minute, are told apart by its period, so
// that a kiln that climbs fast is not taken for one that jumps; where the ticks are fewer they lie closer.
func TestHeldUpByItsPeriod(t *testing.T) {
	for gap, want := range map[int]string{60: "[105 110 115 120]", 13: "[64 67 70 73]",
		4: "[61 62 63 64]", 3: "[61 62 63 64]"} {
		w := wholeSecond{every: 5 * time.Second}
		line := func(ms int) (ticks []int) {
			for _, s := range w.add(kiln.Sample{At: secondAt("a", ms),
				Values: []kiln.Value{{Channel: "1", T: 900}}}) {
				ticks = append(ticks, int(s.At.Since/time.Second))
			}
			return ticks
		}
		line(60_000)
		var got []int
		for range 4 {
			line(60_000 + 1000*gap)
		}
		got = line(60_000 + 1000*gap + 5000)
		if fmt.Sprint(got) != want {
			t.Errorf("after %d s of silence: %v, want %s", gap, got, want)
		}
	}
}

// An hour of a line that speaks once a second, with jitter of several kinds, and a tick that looks in
// between: of 3,600 good lines at most 3 are not kept, their order stays, no stamp lies more than
// a second ahead or further behind than lines were held up, and none is given out before its time.
func TestOneASecondWithJitter(t *testing.T) {
	dice := rand.New(rand.NewPCG(4, 4))
	for name, c := range map[string]struct {
		late func(n int) float64 // seconds after its own
		back float64             // how many seconds a stamp may lie behind: it was held up for so long
	}{
		"none":                   {func(int) float64 { return 0 }, 1},
		"uniform, 0.2 s":         {func(int) float64 { return 0.2 * dice.Float64() }, 2},
		"uniform, 0.9 s":         {func(int) float64 { return 0.9 * dice.Float64() }, 2},
		"normal, sd 0.1 s":       {func(int) float64 { return 0.1 * dice.NormFloat64() }, 2},
		"held up, mean 0.1 s":    {func(int) float64 { return 0.1 * dice.ExpFloat64() }, 2},
		"1.9 s once a minute":    {func(n int) float64 { return map[bool]float64{true: 1.9}[n%60 == 0] }, 3},
		"30 s once in ten":       {func(n int) float64 { return max(0, 30-float64((n+300)%600)) }, 31},
		"runs fast by 100 ppm":   {func(n int) float64 { return -1e-4 * float64(n) }, 2},
		"runs slow by 1,000 ppm": {func(n int) float64 { return 1e-3*float64(n) + 0.1*dice.Float64() }, 2},
	} {
		for _, phase := range []float64{0, 0.3, 0.5, 0.999} {
			const lines = 3600
			var w wholeSecond
			var came []float64 // by its number, which is the temperature
			kept, last, given := 0, -1.0, -time.Second
			take := func(whole []kiln.Sample, now float64) {
				for _, s := range whole {
					n := float64(s.Values[0].T)
					ahead := s.At.Since.Seconds() - came[int(n)]
					if n <= last || s.At.Since <= given || s.At.Since.Seconds() > now+1e-9 ||
						ahead > 1 || ahead < -c.back {
						t.Fatalf("%s: line %v, heard at %.3f, is given out at %.3f for %v after line %v of %v", name, n, came[int(n)], now, s.At.Since, last, given)
					}
					kept, last, given = kept+1, n, s.At.Since
				}
			}
			looked := 10.0
			for n := range lines {
				at := 10 + phase + float64(n) + c.late(n)
				if n > 0 {
					at = max(at, came[n-1]) // a line does not overtake another
				}
				for ; looked+1 <= at; looked++ {
					if w.before(secondAt("a", int(1000*(looked+1)))) {
						take(w.flush(), looked+1)
					}
				}
				came = append(came, at)
				take(w.add(kiln.Sample{At: kiln.Stamp{Boot: "a",
					Since: time.Duration(at * float64(time.Second))},
					Values: []kiln.Value{{Channel: "1", T: kiln.Celsius(n)}}}), at)
			}
			take(w.flush(), 1e6)
			if lost := lines - kept; lost > lines/1000 {
				t.Errorf("%s, phase %v: %d of %d lines are not kept", name, phase, lost, lines)
			}
		}
	}
}
