package store

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"

	"lidwright/daemon/store/codec"
	"lidwright/kiln"
	"lidwright/kiln/heatwork"
)

// odd are samples with everything that is out of the ordinary.
func odd() []kiln.Sample {
	at := func(boot kiln.BootID, since time.Duration, wall time.Time, trusted bool) kiln.Stamp {
		return kiln.Stamp{Boot: boot, Since: since, Wall: wall, Trusted: trusted}
	}
	value := func(c kiln.ChannelID, t kiln.Celsius, f kiln.Fault) kiln.Value {
		return kiln.Value{Channel: c, T: t, Fault: f}
	}
	none := kiln.NoTemperature()
	return []kiln.Sample{
		{Kiln: "big-blue", At: at("a", time.Minute, day, false),
			Values: []kiln.Value{value("1", 20, kiln.Good), value("2", 20.5, kiln.Good)}},
		{Kiln: "big-blue", At: at("a", time.Minute+time.Second, day.Add(time.Second), false),
			Values: []kiln.Value{value("1", 1850, kiln.Unbelievable), value("2", 20.5, kiln.Good)}},
		{Kiln: "big-blue", At: at("a", time.Minute+2*time.Second, day.AddDate(40, 0, 0), true),
			Values: []kiln.Value{value("2", none, kiln.Break)}},
		{Kiln: "big-blue", At: at("a", time.Minute+2500*time.Millisecond,
			day.AddDate(40, 0, 0).Add(time.Second/2), true), Values: []kiln.Value{value("1", none, kiln.Good),
			value("2", -12.0625, kiln.Good)}},
		{Kiln: "big-blue", At: at("b", 0, day.AddDate(-9, 0, 0), false)},
		{Kiln: "big-blue", At: at("b", 9*time.Hour, day.AddDate(-9, 0, 0).Add(9*time.Hour), false),
			Values: []kiln.Value{value("room", 21.4, kiln.Good), value("1", 900.0078125, kiln.Good),
				value("2", math.MaxFloat64, kiln.Break)}},
	}
}

func TestBlockKeepsTheOdd(t *testing.T) {
	for _, small := range []bool{false, true} {
		back := must[[]kiln.Sample](t)(codec.Decode(codec.Encode(odd(), small), "big-blue"))
		if !same(odd(), back) {
			t.Errorf("small %v: %v came back as %v", small, odd(), back)
		}
		for i, s := range odd() {
			if d := s.At.Wall.Sub(back[i].At.Wall).Abs(); d > 100*time.Millisecond {
				t.Errorf("small %v: sample %d is %v off on the clock on the wall", small, i, d)
			}
			if back[i].Kiln != "big-blue" {
				t.Errorf("sample %d is of %q", i, back[i].Kiln)
			}
		}
	}
	if back, err := codec.Decode(codec.Encode(nil, true), "big-blue"); err != nil || len(back) != 0 {
		t.Errorf("no samples came back as %v, %v", back, err)
	}
}

// TestUnits holds that every step a controller reads in comes back to the last digit, and costs
// what its size makes needful.
func TestUnits(t *testing.T) {
	for _, c := range []struct {
		step kiln.Celsius
		unit int64
	}{{1, 16000}, {0.5, 8000}, {0.25, 4000}, {0.1, 1600}, {0.0625, 1000}, {0.05, 800}, {0.01, 160},
		{0.0078125, 125}, {0.001, 16}} {
		var readings []int64
		for n := -3000; n < 90000; n += 7 {
			reading := kiln.Celsius(math.Round(float64(n)*float64(c.step)*1e7) / 1e7) // as text has it
			readings = append(readings, codec.CountOf(reading))
			if back := codec.CelsiusOf(codec.CountOf(reading)); back != reading {
				t.Fatalf("in steps of %v: %v came back as %v", c.step, reading, back)
			}
		}
		if unit := codec.Units[codec.UnitOf(readings)]; unit != c.unit {
			t.Errorf("steps of %v °C are kept in units of %d, want %d", c.step, unit, c.unit)
		}
	}
	if got := codec.CelsiusOf(codec.CountOf(1222.43219)); got != 1222.432 {
		t.Errorf("finer than a thousandth: kept as %v", got)
	}
	if unit := codec.Units[codec.UnitOf([]int64{codec.CountOf(0.0078125), codec.CountOf(0.001)})]; unit != 1 {
		t.Errorf("mixed steps are kept in units of %d", unit)
	}
}

// TestBlockProperties draws samples at random and holds that they come back.
func TestBlockProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		step := rapid.SampledFrom([]float64{1, 0.5, 0.25, 0.1, 0.0625, 0.01, 0.001}).Draw(t, "step")
		channels := rapid.IntRange(1, 5).Draw(t, "channels")
		rng := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 1))
		faults := []kiln.Fault{kiln.Good, kiln.Good, kiln.Good, kiln.Break, kiln.Spike, "some-other"}
		var samples []kiln.Sample
		at := kiln.Stamp{Boot: "a", Wall: day}
		for range rapid.IntRange(0, 200).Draw(t, "n") {
			d := []time.Duration{time.Second, time.Second, time.Second, 10 * time.Second,
				time.Duration(rng.Int64N(1e10))}[rng.IntN(5)]
			at = after(at, d)
			if rng.IntN(50) == 0 {
				at = kiln.Stamp{Boot: kiln.BootID(fmt.Sprint(rng.IntN(9))),
					Since: time.Duration(rng.Int64N(1e15)),
					Wall:  day.Add(time.Duration(rng.Int64N(1e17)) - 1e17/2), Trusted: rng.IntN(2) == 0}
			}
			s := kiln.Sample{Kiln: "k", At: at}
			for c := range channels {
				if rng.IntN(10) == 0 {
					continue
				}
				v := kiln.Value{Channel: kiln.ChannelID(fmt.Sprint(c)),
					T:     kiln.Celsius(math.Round(rng.NormFloat64()*600) * step),
					Fault: faults[rng.IntN(len(faults))]}
				if rng.IntN(20) == 0 {
					v.T = kiln.Celsius([]float64{math.NaN(), math.Inf(1), 1e37, -1e37, 1e5}[rng.IntN(5)])
				}
				s.Values = append(s.Values, v)
			}
			samples = append(samples, s)
		}
		for _, small := range []bool{false, true} {
			back, err := codec.Decode(codec.Encode(samples, small), "k")
			if err != nil || !same(samples, back) {
				t.Fatalf("small %v: %v\n%v\ncame back as\n%v", small, err, samples, back)
			}
		}
	})
}

// TestBlockDamaged flips bits and cuts ends: a block says that it is damaged, and never panics.
func TestBlockDamaged(t *testing.T) {
	block := codec.Encode(firingOf(t, glaze, 0.1, 1).samples("k", when, 0, 20*time.Minute), true)
	rng := rand.New(rand.NewPCG(4, 2))
	for range 3000 {
		bad := append([]byte(nil), block...)
		if rng.IntN(2) == 0 {
			bad = bad[:rng.IntN(len(bad))]
		} else {
			bad[rng.IntN(len(bad))] ^= 1 << rng.IntN(8)
		}
		if _, err := codec.Decode(bad, "k"); !errors.Is(err, codec.ErrCoded) {
			t.Fatalf("a damaged block was read: %v", err)
		}
	}
}

// FuzzBlock hands the decoders bodies with a right checksum around anything at all: what a CRC
// does not see must not panic or ask for memory without end either.
func FuzzBlock(f *testing.F) {
	for _, small := range []int{0, codec.Window} {
		block := codec.Encode(odd(), small > 0)
		f.Add(block[2 : len(block)-4])
	}
	f.Add(codec.WriteSummary(kiln.Firing{ID: "x"})[2:])
	f.Fuzz(func(t *testing.T, body []byte) {
		data := codec.Wrap(body, codec.BodyPlain)
		if samples, err := codec.Decode(data, "k"); err == nil {
			if back, err := codec.Decode(codec.Encode(samples, true), "k"); err != nil ||
				len(back) != len(samples) {
				t.Fatalf("what was read cannot be kept again: %v", err)
			}
		}
		codec.ReadEnvelope(data)
		codec.ReadSummary(data)
		codec.Decode(codec.Wrap(body, codec.BodyDeflated), "k")
	})
}

func TestSummaryComesBack(t *testing.T) {
	m := firingOf(t, glaze, 0.1, 1)
	f := m.whole("0193", "big-blue", when)
	f.PeakAfter, f.ToTop = 11*time.Hour, 10*time.Hour
	f.Load, f.Note, f.Source, f.AtLeast, f.Provisional = "load", "a ✱ note", "hand", true, true
	f.Dips = []kiln.Dip{{From: time.Hour, To: 2 * time.Hour, Lowest: 600.5}}
	f.Gaps = []kiln.Gap{{After: time.Hour, For: 4 * time.Minute, Known: true, Why: "quiet"},
		{After: 3 * time.Hour, Why: "restart"}}
	f.Faulty = map[kiln.Fault]int{kiln.Break: 3, kiln.Spike: 1}
	f.HeatWork["2"] = kiln.HeatWork{C: kiln.NoTemperature(), Low: kiln.NoTemperature(),
		High: kiln.NoTemperature(), Position: -1, OwnSD: 4.5, Estimate: true, From: "cones", Model: "0"}
	f.Corrected = map[kiln.Place]kiln.HeatWork{{Channel: "1"}: {C: 1231, Low: 1226, High: 1236,
		Position: 27.5, Bias: 9, BiasSD: 2.5, From: "curve", Model: "1"},
		{Channel: "1", Shelf: "top"}: {C: 1228, Low: 1220, High: 1236, Position: 27.4, Bias: 6, BiasSD: 4,
			From: "curve", Model: "1"}}
	f.Told = kiln.HandTold{Sitter: "6", SitterSeries: heatwork.SeriesSmall,
		Dropped: day.Add(time.Hour), Intended: "6+0.2"}
	back := must[kiln.Firing](t)(codec.ReadSummary(codec.WriteSummary(f)))
	f.Status = ""
	if got, want := fmt.Sprintf("%+v", back), fmt.Sprintf("%+v", f); got != want {
		t.Errorf("came back as\n%s\nwant\n%s", got, want)
	}
	if _, err := codec.ReadSummary(codec.WriteSummary(f)[:40]); !errors.Is(err, codec.ErrCoded) {
		t.Errorf("half a summary was read: %v", err)
	}
}

// same reports whether b gives back what a block can keep of a.
func same(a, b []kiln.Sample) bool {
	return slices.EqualFunc(a, b, func(x, y kiln.Sample) bool {
		return x.At.Boot == y.At.Boot && x.At.Since == y.At.Since && x.At.Trusted == y.At.Trusted &&
			len(x.Values) == len(y.Values) &&
			!slices.ContainsFunc(x.Values, func(v kiln.Value) bool {
				w, ok := y.Value(v.Channel)
				return !ok || v.Fault != w.Fault || codec.IsNumber(v.T) != w.T.Known() ||
					w.T.Known() && codec.CountOf(v.T) != codec.CountOf(w.T)
			})
	})
}
