package codec_test

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"

	"lidwright/daemon/store/codec"
	"lidwright/kiln"
)

var opening = time.Date(2026, 1, 9, 9, 0, 0, 0, time.UTC)

func at(boot kiln.BootID, since time.Duration, trusted bool) kiln.Stamp {
	return kiln.Stamp{Boot: boot, Since: since, Wall: opening.Add(since), Trusted: trusted}
}

func value(c kiln.ChannelID, t kiln.Celsius, f kiln.Fault) kiln.Value {
	return kiln.Value{Channel: c, T: t, Fault: f}
}

// climb is n seconds of a kiln at 150 °C/h from 20 °C, in steps, with noise of a sd.
func climb(n int, step, sd float64) (samples []kiln.Sample) {
	rng := rand.New(rand.NewPCG(1, 2))
	for i := range n {
		t := math.Round((20+150*float64(i)/3600+sd*rng.NormFloat64())/step) * step
		t = math.Round(t*1000) / 1000 // as text has it
		samples = append(samples, kiln.Sample{Kiln: "big-blue",
			At:     at("a", time.Duration(i)*time.Second, true),
			Values: []kiln.Value{value("1", kiln.Celsius(t), kiln.Good)}})
	}
	return samples
}

// unlike are samples with everything that is out of the ordinary.
func unlike() []kiln.Sample {
	none := kiln.NoTemperature()
	of := func(stamp kiln.Stamp, values ...kiln.Value) kiln.Sample {
		return kiln.Sample{Kiln: "big-blue", At: stamp, Values: values}
	}
	return []kiln.Sample{
		of(at("a", 60*time.Second, false), value("1", 20, kiln.Good), value("2", 20.5, kiln.Good)),
		of(at("a", 61*time.Second, false), value("1", 1850, kiln.Unbelievable), value("2", 20.5, kiln.Good)),
		of(at("a", 62*time.Second, true), value("2", none, kiln.Break)),
		of(at("a", 62500*time.Millisecond, true), value("1", none, kiln.Good),
			value("2", -12.0625, kiln.Good)),
		of(at("b", 0, false), value("1", 21, kiln.Spike), value("2", 21, kiln.Unbelievable)),
		of(at("b", 9*time.Hour, false), value("1", 900.0078125, kiln.Good), value("2", none, kiln.Spike),
			value("room", 21.4, kiln.Good)),
		of(at("b", 9*time.Hour+10*time.Second, false), value("1", 901, kiln.Good), value("2", 902, kiln.Good),
			value("room", 21.4, kiln.Good)),
	}
}

func decoded(t *testing.T, data []byte) []kiln.Sample {
	t.Helper()
	back, err := codec.Decode(data, "big-blue")
	if err != nil {
		t.Fatal(err)
	}
	return back
}

var (
	degrees = cmp.Comparer(func(a, b kiln.Celsius) bool { return a == b || !a.Known() && !b.Known() })
	bits    = cmp.Options{degrees, cmpopts.EquateEmpty()}
)

// What is kept comes back to the bit, plain and small, whatever was heard.
func TestBlocksComeBack(t *testing.T) {
	falls := append(climb(30, 0.1, 0.1), climb(30, 1, 0)...)
	for i := range falls[30:] { // a kiln that is 900 °C hotter and cools, by steps that are not alike
		falls[30+i].At = at("a", 2*time.Minute+time.Duration(i*i)*time.Second, true)
		falls[30+i].Values[0].T = kiln.Celsius(920 - 3*i)
	}
	finest := climb(2, 1, 0) // of which no coarser unit is a divisor
	finest[0].Values[0].T, finest[1].Values[0].T = 0.0078125, 0.001
	for name, samples := range map[string][]kiln.Sample{
		"none": nil, "the finest unit": finest, "one": climb(1, 0.1, 0), "unlike ones": unlike(),
		"an hour of tenths":        climb(3600, 0.1, 0.15),
		"an hour of whole degrees": climb(3600, 1, 0), "quarters": climb(900, 0.25, 0.3),
		"thousandths": climb(60, 0.001, 1), "a jump": falls,
	} {
		for _, small := range []bool{false, true} {
			if diff := cmp.Diff(samples, decoded(t, codec.Encode(samples, small)), bits); diff != "" {
				t.Errorf("%s, small %v (-kept +read):\n%.2000s", name, small, diff)
			}
		}
	}
}

// A reading takes under half a byte where the noise is less than the step, and under a byte where it is
// wider.
func TestBlocksAreSmall(t *testing.T) {
	for _, c := range []struct {
		step, sd, most float64 // bytes a reading
	}{{1, 0, 0.05}, {1, 0.15, 0.25}, {0.1, 0.02, 0.25}, {0.1, 0.15, 0.5}, {0.25, 0.5, 0.5}} {
		samples := climb(3600, c.step, c.sd)
		small, plain := len(codec.Encode(samples, true)), len(codec.Encode(samples, false))
		if per := float64(small) / 3600; per > c.most || small >= plain {
			t.Errorf("steps of %v °C, noise of %v: %.3f bytes a reading, %.2f at most; %d plain", c.step,
				c.sd, per, c.most, plain)
		}
	}
}

// A clock that is slewed by less than a tenth of a second stays in one stretch; one that is set begins
// another.
func TestStretches(t *testing.T) {
	for by, want := range map[time.Duration]int{0: 1, 99 * time.Millisecond: 1, -99 * time.Millisecond: 1,
		100 * time.Millisecond: 2, -100 * time.Millisecond: 2} {
		samples := climb(2, 1, 0)
		samples[1].At.Wall = samples[1].At.Wall.Add(by)
		if got := len(codec.BlockOf(samples).Stretches); got != want {
			t.Errorf("slewed by %v: %d stretches, want %d", by, got, want)
		}
	}
	if off := codec.OffsetOf(at("a", time.Hour, true)); off != opening.UnixMilli() {
		t.Errorf("offset %d", off)
	}
	if got := len(codec.BlockOf(unlike()).Stretches); got != 3 {
		t.Errorf("%d stretches, want 3: two of trust, two of boots", got)
	}
}

// Two blocks are the same when they hold the same.
func TestSameBlocks(t *testing.T) {
	same := func(change func([]kiln.Sample)) bool {
		other := unlike()
		change(other)
		return codec.BlockOf(unlike()).Same(codec.BlockOf(other))
	}
	if !same(func([]kiln.Sample) {}) {
		t.Error("a block is not the same as itself")
	}
	for name, change := range map[string]func([]kiln.Sample){
		"a temperature": func(s []kiln.Sample) { s[6].Values[0].T = 901.5 },
		"a fault":       func(s []kiln.Sample) { s[1].Values[0].Fault = kiln.Break },
		"a time":        func(s []kiln.Sample) { s[6].At = at("b", 9*time.Hour+11*time.Second, false) },
		"trust":         func(s []kiln.Sample) { s[6].At.Trusted = true },
		"a channel":     func(s []kiln.Sample) { s[6].Values[2].Channel = "3" },
	} {
		if same(change) {
			t.Errorf("another %s, and the same block", name)
		}
	}
}

// What is damaged in any place, or ends early, is told and never read.
func TestDamagedIsTold(t *testing.T) {
	envelope := codec.WriteEnvelope(minutes())
	for name, c := range map[string]struct {
		data []byte
		read func([]byte) error
	}{
		"block": {codec.Encode(unlike(), true),
			func(b []byte) error { _, err := codec.Decode(b, "k"); return err }},
		"envelope": {envelope, func(b []byte) error { _, err := codec.ReadEnvelope(b); return err }},
		"summary": {codec.WriteSummary(whole()), func(b []byte) error {
			_,
				err := codec.ReadSummary(b)
			return err
		}},
	} {
		if err := c.read(c.data); err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		for i := range c.data {
			bad := append([]byte(nil), c.data...)
			bad[i] ^= 1 << (i % 8)
			if err := c.read(bad); !errors.Is(err, codec.ErrCoded) {
				t.Fatalf("%s, byte %d: %v", name, i, err)
			}
			if err := c.read(c.data[:i]); !errors.Is(err, codec.ErrCoded) {
				t.Fatalf("%s, %d bytes of it: %v", name, i, err)
			}
		}
	}
	// A right checksum around half of it, and around more than it.
	block := codec.Encode(unlike(), false)
	body := block[2 : len(block)-4]
	for _, odd := range [][]byte{body[:len(body)/2], append(append([]byte(nil), body...), 7, 7, 7, 7)} {
		if _, err := codec.Decode(codec.Wrap(odd, codec.BodyPlain), "k"); !errors.Is(err, codec.ErrCoded) {
			t.Errorf("a block with a right checksum around %d of %d bytes: %v", len(odd), len(body), err)
		}
	}
	if _, err := codec.ReadSummary(codec.Wrap(codec.WriteSummary(whole())[2:60],
		codec.BodyPlain)); !errors.Is(err, codec.ErrCoded) {
		t.Errorf("half a summary with a right checksum: %v", err)
	}
}

func minutes() []kiln.Envelope {
	return []kiln.Envelope{
		{Channel: "1", Step: time.Minute, After: []time.Duration{0, time.Minute, 7 * time.Minute},
			Low: []kiln.Celsius{20, 22.5, 19}, High: []kiln.Celsius{20, 24, 31.5}},
		{Channel: "2", Step: time.Minute, After: []time.Duration{3 * time.Minute},
			Low: []kiln.Celsius{-12.0625}, High: []kiln.Celsius{900.0078125}},
		{Channel: "3", Step: time.Minute},
		{Channel: "4", Step: time.Minute, After: []time.Duration{0}, Low: []kiln.Celsius{0.001},
			High: []kiln.Celsius{0.0078125}},
	}
}

// An envelope comes back to the bit: gaps between minutes, cold and hot, a channel that never spoke.
func TestEnvelopesComeBack(t *testing.T) {
	still := kiln.Envelope{Channel: "1", Step: time.Minute} // ten hours that stand still: repeats are found
	for i := range 600 {
		still.After = append(still.After, time.Duration(i)*time.Minute)
		still.Low, still.High = append(still.Low, 20), append(still.High, 21)
	}
	for _, kept := range [][]kiln.Envelope{nil, minutes(), {still}} {
		back, err := codec.ReadEnvelope(codec.WriteEnvelope(kept))
		if diff := cmp.Diff(kept, back, bits); err != nil || diff != "" {
			t.Errorf("%v (-kept +read):\n%.1000s", err, diff)
		}
	}
	if n := len(codec.WriteEnvelope([]kiln.Envelope{still})); n > 60 {
		t.Errorf("ten hours that stand still take %d bytes", n)
	}
}

// whole is a firing with everything that a summary can hold.
func whole() kiln.Firing {
	work := kiln.HeatWork{C: 1231, Low: 1226, High: 1236, Position: 27.5, OwnSD: 4.5, Bias: 9, BiasSD: 2.5,
		Estimate: true, From: kiln.FromCurve, Model: "1", Since: "life"}
	return kiln.Firing{ID: "0193", Kiln: "big-blue", Kind: kiln.Glaze, KindFrom: "load",
		Atmosphere: kiln.Oxidation, Source: "serial", Load: "load", Note: "a ✱ note",
		Began: at("a", time.Minute, true), Over: at("b", time.Hour, false), Peak: 1222.5,
		PeakAfter: 11 * time.Hour, ToTop: 10 * time.Hour, Length: 26 * time.Hour,
		Dips: []kiln.Dip{{From: time.Hour, To: 2 * time.Hour, Lowest: 600.5}},
		Gaps: []kiln.Gap{{After: time.Hour, For: 4 * time.Minute, Known: true, Why: "quiet"},
			{After: 3 * time.Hour, Why: "restart"}},
		Good: 9000, Faulty: map[kiln.Fault]int{kiln.Break: 3, kiln.Spike: 1}, AtLeast: true,
		Provisional: true,
		HeatWork: map[kiln.ChannelID]kiln.HeatWork{"1": work, "2": {C: kiln.NoTemperature(),
			Low: kiln.NoTemperature(), High: kiln.NoTemperature()}},
		Corrected: map[kiln.Place]kiln.HeatWork{{Channel: "1"}: work, {Channel: "1", Shelf: "top"}: work},
		Told: kiln.HandTold{Sitter: "6", SitterSeries: "small",
			Dropped: opening.Add(time.Hour + time.Millisecond), Intended: "6+0.2"},
		StandIn: kiln.StandIn{Probe: "2", For: "1", After: 3 * time.Hour}}
}

// A summary comes back whole; the same firing is always the same bytes.
func TestSummariesComeBack(t *testing.T) {
	bare := kiln.Firing{ID: "x", Began: at("a", 0, false), Peak: kiln.NoTemperature(),
		Faulty: map[kiln.Fault]int{}, HeatWork: map[kiln.ChannelID]kiln.HeatWork{}}
	for _, f := range []kiln.Firing{whole(), bare} {
		data := codec.WriteSummary(f)
		back, err := codec.ReadSummary(data)
		if diff := cmp.Diff(f, back, degrees); err != nil || diff != "" {
			t.Errorf("%v (-kept +read):\n%s", err, diff)
		}
		for range 20 {
			if string(codec.WriteSummary(f)) != string(data) {
				t.Fatal("the same firing in other bytes")
			}
		}
	}
}

// The first and last of a firing as columns, and the model of its heat work: the oldest of those that worked
// it out.
func TestColumnsOfAFiring(t *testing.T) {
	f := kiln.Firing{Began: at("a", 0, true)}
	if began, over, trusted := codec.TimesOf(f); began != opening.UnixMilli() || over != nil || !trusted {
		t.Errorf("under way: %d %v %v", began, over, trusted)
	}
	f.Over = at("a", time.Hour, true)
	if _, over, trusted := codec.TimesOf(f); over != opening.Add(time.Hour).UnixMilli() || !trusted {
		t.Errorf("over: %v %v", over, trusted)
	}
	f.Over.Trusted = false
	if _, _, trusted := codec.TimesOf(f); trusted {
		t.Error("trusted, though its end is not")
	}
	of := func(from, model string) kiln.HeatWork { return kiln.HeatWork{From: from, Model: model} }
	for want, works := range map[string]map[kiln.ChannelID]kiln.HeatWork{
		"": {"1": of("cones", "0")},
		"2": {"1": of(kiln.FromCurve, "3"), "2": of(kiln.FromCurve, "2"), "3": of("cones", "1"),
			"4": of(kiln.FromCurve, "4")},
	} {
		if got := codec.ModelOf(works); got != want {
			t.Errorf("model %q, want %q", got, want)
		}
	}
}

// What a block hands to a thinner and to a curve is what its samples give one by one, as far as it is cut.
func TestBlocksOnCurves(t *testing.T) {
	for name, samples := range map[string][]kiln.Sample{"unlike": unlike(), "a climb": climb(400, 0.1, 0.2)} {
		b := codec.BlockOf(samples)
		for _, n := range []int{0, 1, 4, len(samples)} {
			thin, want := kiln.NewDownsampler([]kiln.ChannelID{"1", "room"},
				time.Minute), kiln.NewDownsampler([]kiln.ChannelID{"1", "room"}, time.Minute)
			b.Thin(thin, n)
			for _, s := range samples[:n] {
				step, ok := want.Moment(s.At)
				for _, v := range s.Values {
					if place := want.Place(v.Channel); ok && place >= 0 &&
						v.Fault == kiln.Good && v.T.Known() {
						want.Put(place, step, v.T)
					}
				}
			}
			if diff := cmp.Diff(want.Envelopes(), thin.Envelopes(), bits,
				cmpopts.IgnoreUnexported(kiln.Envelope{})); diff != "" {
				t.Errorf("%s, %d samples thinned (-one by one +block):\n%.1500s", name, n, diff)
			}
			laid, one := kiln.NewResampler([]kiln.ChannelID{"1", "room"},
				5*time.Minute), kiln.NewResampler([]kiln.ChannelID{"1", "room"}, 5*time.Minute)
			b.Lay(laid, n)
			one.Add(samples[:n])
			if diff := cmp.Diff(one.Curve(), laid.Curve(), bits); diff != "" {
				t.Errorf("%s, %d samples laid (-one by one +block):\n%.1500s", name, n, diff)
			}
		}
	}
	b := codec.BlockOf(unlike())
	for _, c := range []struct {
		over kiln.Stamp
		n    int
		any  bool
	}{{at("b", 9*time.Hour, false), 6, true}, {at("b", 9*time.Hour+10*time.Second, false), 7, false},
		{at("a", 61*time.Second, false), 2, true}, {at("c", 0, false), 7, false}} {
		if n, any := b.Cut(c.over); n != c.n || any != c.any {
			t.Errorf("cut at %v of %s: %d %v, want %d %v", c.over.Since, c.over.Boot, n, any, c.n, c.any)
		}
	}
}

// Every step that a controller reads in is a unit of its own; a reading finer than a thousandth is rounded to
// one.
func TestUnitsOfReadings(t *testing.T) {
	for step, unit := range map[kiln.Celsius]int64{1: 16000, 0.5: 8000, 0.25: 4000, 0.1: 1600, 0.0625: 1000,
		0.05: 800, 0.01: 160, 0.0078125: 125, 0.001: 16} {
		var counts []int64
		for n := -300; n < 900; n += 7 {
			counts = append(counts, codec.CountOf(kiln.Celsius(math.Round(float64(n)*float64(step)*1e7)/1e7)))
		}
		if got := codec.Units[codec.UnitOf(counts)]; got != unit {
			t.Errorf("steps of %v °C in units of %d, want %d", step, got, unit)
		}
	}
	if got := codec.CelsiusOf(codec.CountOf(1222.43219)); got != 1222.432 {
		t.Errorf("kept as %v", got)
	}
	for c, number := range map[kiln.Celsius]bool{0: true, -273: true, 999_999: true, 1e6: false, -1e6: false,
		kiln.Celsius(math.Inf(1)): false, kiln.NoTemperature(): false} {
		if codec.IsNumber(c) != number {
			t.Errorf("%v is a number: %v", c, !number)
		}
	}
}
