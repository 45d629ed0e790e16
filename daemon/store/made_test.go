package store

import (
	"errors"
	"fmt"
	"math"
	"testing"
	"time"

	"lidwright/api/usecase"
	"lidwright/kiln"
	"lidwright/kiln/detect"
	"lidwright/kiln/practice"
)

// made is a made-up firing: three channels heard once a second, each with noise of its own.
type made struct {
	curves []practice.Curve
	length time.Duration
}

// firingOf makes a firing of a programme whose readings come in steps of step °C. The seed makes
// it another one.
func firingOf(t testing.TB, programme string, step kiln.Celsius, seed uint64) made {
	t.Helper()
	p, err := practice.Parse(programme)
	if err != nil {
		t.Fatal(err)
	}
	m := made{length: p.Length().Truncate(time.Second)}
	for c := range uint64(3) {
		m.curves = append(m.curves, practice.Curve{Programme: p, Off: kiln.Celsius(c) * 3.7, Noise: 0.15,
			Step: step, Seed: 3*seed + c})
	}
	return m
}

// glaze is 26.25 h long, as the usual firing of ten years of them.
const glaze = "20>600@150 >1120@180 >1222@60 h20 off1047"

func bootOf(seed uint64) kiln.BootID { return kiln.BootID(fmt.Sprintf("boot-%d", seed)) }

// sample is what the kiln said at an age, in whole seconds.
func (m made) sample(k kiln.KilnID, begun kiln.Stamp, age time.Duration) kiln.Sample {
	s := kiln.Sample{Kiln: k, At: begun}
	s.At.Since += age
	s.At.Wall = s.At.Wall.Add(age)
	for i, c := range m.curves {
		t := c.Reading(age)
		s.Values = append(s.Values, kiln.Value{Channel: kiln.ChannelID(fmt.Sprint(i + 1)),
			T: kiln.Celsius(math.Round(float64(t)*1e6) / 1e6)})
	}
	return s
}

func (m made) samples(k kiln.KilnID, begun kiln.Stamp, from, to time.Duration) []kiln.Sample {
	var out []kiln.Sample
	for age := from; age < to; age += time.Second {
		out = append(out, m.sample(k, begun, age))
	}
	return out
}

// entropy is how many bytes a sample of these curves needs at least, on average, by Shannon's
// formula: whoever knew the true temperature and the noise would still have to say which of the
// steps around it was read.
func (m made) entropy() float64 {
	var sum, n float64
	for _, c := range m.curves {
		for age := time.Duration(0); age < m.length; age += 10 * time.Second {
			sum += stepEntropy(float64(c.True(age)), float64(c.Step), float64(c.Noise))
			n++
		}
	}
	return sum / n / 8
}

func stepEntropy(true_, step, sd float64) (bits float64) {
	below := func(x float64) float64 { return math.Erfc(-(x-true_)/(sd*math.Sqrt2)) / 2 }
	middle := math.Round(true_ / step)
	reach := math.Ceil(6*sd/step) + 1
	for n := middle - reach; n <= middle+reach; n++ {
		if p := below((n+0.5)*step) - below((n-0.5)*step); p > 1e-15 {
			bits -= p * math.Log2(p)
		}
	}
	return bits
}

// TestEntropy checks the formula against two that are known: a fair coin has one bit, and a normal
// distribution in steps much finer than itself has log2(sd/step * sqrt(2 pi e)) bits (Cover and
// Thomas, Elements of Information Theory, example 8.1.2 and theorem 8.3.1; from memory).
func TestEntropy(t *testing.T) {
	if got := stepEntropy(0.5, 1, 1e-4); math.Abs(got-1) > 1e-9 {
		t.Errorf("on the edge of two steps: %v bits, want 1", got)
	}
	want := math.Log2(0.15 / 0.001 * math.Sqrt(2*math.Pi*math.E))
	if got := stepEntropy(700.1234, 0.001, 0.15); math.Abs(got-want) > 1e-3 {
		t.Errorf("in fine steps: %v bits, want %v", got, want)
	}
}

// beginning is a stamp of a machine whose clock is trusted.
func beginning(seed uint64) kiln.Stamp {
	return kiln.Stamp{Boot: bootOf(seed), Since: 100 * time.Hour,
		Wall: day.Add(time.Duration(seed) * 72 * time.Hour), Trusted: true}
}

func after(at kiln.Stamp, d time.Duration) kiln.Stamp {
	at.Since += d
	at.Wall = at.Wall.Add(d)
	return at
}

// whole is a firing of m that is over, as a recorder would close it.
func (m made) whole(id kiln.FiringID, k kiln.KilnID, begun kiln.Stamp) kiln.Firing {
	return kiln.Firing{ID: id, Kiln: k, Kind: kiln.Glaze, KindFrom: detect.FromGuessed,
		Atmosphere: kiln.Oxidation, Source: "serial", Status: kiln.Ended,
		Began: begun, Over: after(begun, m.length), Length: m.length, Peak: 1222.4, PeakAfter: m.length / 3,
		ToTop: m.length / 3, Good: int(m.length / time.Second),
		Faulty: map[kiln.Fault]int{}, HeatWork: map[kiln.ChannelID]kiln.HeatWork{
			"1": {C: 1222.3, Low: 1217, High: 1228, Position: 27.3, From: kiln.FromCurve,
				Model: kiln.HeatWorkModel},
			"2": {C: 1226.1, Low: 1221, High: 1231, Position: 27.4, From: kiln.FromCurve,
				Model: kiln.HeatWorkModel},
			"3": {C: 1230.0, Low: 1225, High: 1235, Position: 27.6, From: kiln.FromCurve,
				Model: kiln.HeatWorkModel}}}
}

// running is f as it begins.
func running(f kiln.Firing) kiln.Firing {
	return kiln.Firing{ID: f.ID, Kiln: f.Kiln, Kind: f.Kind, KindFrom: f.KindFrom, Atmosphere: f.Atmosphere,
		Source: f.Source, Status: kiln.Running, Began: f.Began, Peak: kiln.NoTemperature()}
}

// play plays a firing into s in batches of some samples, and ends it.
func play(t testing.TB, s *Store, f kiln.Firing, samples []kiln.Sample, batch int) {
	t.Helper()
	ctx := t.Context()
	must[int](t)(s.BeginFiring(ctx, running(f), nil))
	for from := 0; from < len(samples); from += batch {
		if err := s.AppendCurve(ctx, f.ID, samples[from:min(from+batch, len(samples))]); err != nil {
			t.Fatal(err)
		}
	}
	if err := s.EndFiring(ctx, f); err != nil {
		t.Fatal(err)
	}
}

func itoa(n int) string { return fmt.Sprint(n) }

// fillUp appends batches to f until one is refused, and gives how many samples were acknowledged.
func fillUp(t *testing.T, s *Store, m made, f kiln.Firing) (acknowledged int) {
	t.Helper()
	for {
		age := time.Duration(acknowledged) * time.Second
		if age > m.length {
			t.Fatal("it never got full")
		}
		batch := m.samples(f.Kiln, f.Began, age, age+5*time.Second)
		err := s.AppendCurve(t.Context(), f.ID, batch)
		if err != nil {
			if !errors.Is(err, usecase.ErrBusy) {
				t.Fatalf("full, and told %v", err)
			}
			break
		}
		acknowledged += len(batch)
	}
	if got := must[[]kiln.Sample](t)(s.Samples(t.Context(), f.ID)); !same(got, m.samples(f.Kiln, f.Began, 0,
		time.Duration(acknowledged)*time.Second)) {
		t.Errorf("%d samples were acknowledged and %d are there", acknowledged, len(got))
	}
	return acknowledged
}

// goOn says the refused batch and the next hour again, ends f and holds that all is there.
func goOn(t *testing.T, s *Store, m made, f kiln.Firing, acknowledged int) {
	t.Helper()
	from := time.Duration(acknowledged) * time.Second
	for age := from; age < from+time.Hour; age += 5 * time.Second {
		if err := s.AppendCurve(t.Context(), f.ID, m.samples(f.Kiln, f.Began, age,
			age+5*time.Second)); err != nil {
			t.Fatal("there is room again:", err)
		}
	}
	if err := s.EndFiring(t.Context(), f); err != nil {
		t.Fatal(err)
	}
	if got := must[[]kiln.Sample](t)(s.Samples(t.Context(), f.ID)); !same(got,
		m.samples(f.Kiln, f.Began, 0, from+time.Hour)) {
		t.Errorf("%d samples are there, want %d", len(got), acknowledged+3600)
	}
}
