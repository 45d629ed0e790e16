package shrinkage_test

import (
	"context"
	"errors"
	"fmt"
	"math"
	"os"
	"slices"
	"strings"
	"testing"
	"time"

	"lidwright/kiln"
	"lidwright/tiles"
	"lidwright/tiles/shrinkage"
	"lidwright/tiles/tilestest"
)

// measuredOften is a studio of twelve bars of one clay, the first of which was read dry so many times more,
// by whom and how far off (mm) as told.
func measuredOften(n int, by func(i int) string, off func(i int) float64) shrinkage.Studio {
	at := time.Date(2026, 3, 1, 9, 0, 0, 0, time.UTC)
	ref := tiles.BatchRef{Clay: "tern", Batch: "A"}
	s := shrinkage.Studio{Clays: []tiles.Clay{{ID: "tern", Name: "Tern", Matures: 1222}},
		Batches: []tiles.Batch{{BatchRef: ref}}}
	for b := range 12 {
		bar := tiles.Bar{Code: tiles.Code(fmt.Sprint("B", b)), ID: fmt.Sprintf("bar %02d", b), BatchRef: ref,
			Forming: tiles.ThrownRing, MarkLength: 100, Marks: 1,
			Firings: []tiles.Heat{{Load: fmt.Sprint("load ", b/3), Kind: kiln.Glaze, Work: 1222,
				At: at.Add(48 * time.Hour)}}}
		add := func(id string, stage tiles.Stage, length float64, by string, after time.Duration) {
			bar.Readings = append(bar.Readings, tiles.Reading{ID: bar.ID + id, Bar: bar.Code, Mark: 1,
				Stage: stage, Length: tiles.Millimetre(length), Step: 0.05, By: by, At: at.Add(after)})
		}
		dry := 94 + 0.07*float64(b%5)
		add(" wet", tiles.Wet, 100, "KT", 0)
		add(" dry", tiles.Dry, dry, by(0), 24*time.Hour)
		add(" fired", tiles.Fired, 88+0.09*float64(b%4), "KT", 72*time.Hour)
		for i := 1; b == 0 && i <= n; i++ {
			add(fmt.Sprintf(" dry %04d", i), tiles.Dry, dry+off(i), by(i), 25*time.Hour)
		}
		s.Bars = append(s.Bars, bar)
	}
	return s
}

func sometimesOff(i int) float64 { return 0.05 * float64(i%7-3) }

func must[T any](v T, err error) func(testing.TB) T {
	return func(t testing.TB) T {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
}

// TestRepeatsAreJoined: six readings of one bar by one maker are one line, and say what they say by six
// makers: the sds, the rate, its range, and how sure it is.
func TestRepeatsAreJoined(t *testing.T) {
	one := must(measuredOften(5, func(int) string { return "KT" }, sometimesOff).Fit(t.Context(), nil))(t)
	six := must(measuredOften(5, func(i int) string { return fmt.Sprint("K", i) },
		sometimesOff).Fit(t.Context(), nil))(t)
	if a, b := one.Lines("B0"), six.Lines("B0"); a != 3 || b != 8 {
		t.Fatalf("%d lines by one maker, %d by six", a, b)
	}
	// -100 ln(length) is near 460, its square over the variance of a reading 4e7: 1e-6 is its rounding.
	if math.Abs(one.Criterion()-six.Criterion()) > 1e-6 || !slices.Equal(one.Theta(), six.Theta()) {
		t.Errorf("criterion %.12g at %v by one, %.12g at %v by six", one.Criterion(), one.Theta(),
			six.Criterion(), six.Theta())
	}
	ask := shrinkage.Ask{BatchRef: tiles.BatchRef{Clay: "tern", Batch: "A"}, Stage: tiles.Wet, Work: 1222,
		BisqueWork: 1000, Kind: kiln.Glaze}
	a, b := must(one.Rate(ask, tiles.Fired))(t), must(six.Rate(ask, tiles.Fired))(t)
	if math.Abs(float64(a.Log-b.Log)) > 1e-9 || math.Abs(float64(a.LogSD-b.LogSD)) > 1e-9 {
		t.Errorf("%.12f ± %.12f by one, %.12f ± %.12f by six", a.Log, a.LogSD, b.Log, b.LogSD)
	}
	// Worked into a fit that has five of them, the sixth gives what solving anew gives.
	s := measuredOften(5, func(int) string { return "KT" }, sometimesOff)
	whole := s.Bars[0]
	s.Bars[0].Readings = slices.Clone(whole.Readings[:len(whole.Readings)-1])
	then := must(must(s.Fit(t.Context(), nil))(t).With(whole))(t)
	again := must(then.Again(false))(t)
	a, b = must(then.Rate(ask, tiles.Fired))(t), must(again.Rate(ask, tiles.Fired))(t)
	if math.Abs(float64(a.Log-b.Log)) > 1e-9 || math.Abs(float64(a.LogSD-b.LogSD)) > 1e-9 {
		t.Errorf("%.12f ± %.12f worked in, %.12f ± %.12f anew", a.Log, a.LogSD, b.Log, b.LogSD)
	}
}

// TestSlipAmongRepeats: a repeat that is 5 mm off is named, alone, and does not move the rate.
func TestSlipAmongRepeats(t *testing.T) {
	off := func(i int) float64 {
		if i == 3 {
			return 5
		}
		return sometimesOff(i)
	}
	kt := func(int) string { return "KT" }
	f := must(measuredOften(6, kt, off).Fit(t.Context(), nil))(t)
	var named []string
	for _, l := range f.Left() {
		if l.Slip {
			named = append(named, fmt.Sprintf("%s %.1f", l.Reading, float64(l.Off)))
		}
	}
	if !slices.Equal(named, []string{"bar 00 dry 0003 5.0"}) {
		t.Errorf("named %v", named)
	}
	// What a new reading should be is said by the others alone, though its maker read there before.
	s := measuredOften(6, kt, sometimesOff)
	bar := s.Bars[0]
	r := bar.Readings[len(bar.Readings)-1]
	r.ID, r.Length = "new", 120
	e, ok := must(s.Fit(t.Context(), nil))(t).Expect(bar, r)
	if !ok || math.Abs(float64(e.Length)-94) > 0.2 || e.High-e.Low > 2 {
		t.Errorf("expected %v %v", e, ok)
	}
}

// TestHostileBar: a thousand readings of one bar, by as many makers, take no more lines than a bar can have
// in honesty; those beyond are named. What the oldest say stays.
func TestHostileBar(t *testing.T) {
	f := must(measuredOften(1006, func(i int) string { return fmt.Sprint("M", i) },
		sometimesOff).Fit(t.Context(), nil))(t)
	left := 0
	for _, l := range f.Left() {
		if strings.Contains(l.Why.String(), "more often than the fit takes") {
			left++
		}
	}
	if n := f.Lines("B0"); n != 60 || left != 1009-60 {
		t.Errorf("%d lines, %d readings left out", n, left)
	}
	same := must(measuredOften(1006, func(int) string { return "KT" }, sometimesOff).Fit(t.Context(), nil))(t)
	if n := same.Lines("B0"); n != 3 || len(same.Left()) != 0 {
		t.Errorf("%d lines of one maker, left out %v", n, same.Left())
	}
}

// TestFitStopsWithItsContext: a fit whose context has ended gives the cause, wherever it was.
func TestFitStopsWithItsContext(t *testing.T) {
	s := measuredOften(0, func(int) string { return "KT" }, sometimesOff)
	gone := errors.New("the daemon stops")
	whole := &asked{Context: t.Context(), left: math.MaxInt, cause: gone}
	must(s.Fit(whole, nil))(t)
	looks := math.MaxInt - whole.left
	for after := 0; after < looks; after += 1 + looks/50 {
		ctx := &asked{Context: t.Context(), left: after, cause: gone}
		if _, err := s.Fit(ctx, nil); !errors.Is(err, gone) {
			t.Fatalf("ended after %d looks of %d: %v", after, looks, err)
		}
	}
}

// asked is a context that ends after so many looks.
type asked struct {
	context.Context
	left  int
	cause error
}

func (a *asked) Err() error {
	if a.left--; a.left < 0 {
		return a.cause
	}
	return nil
}

// TestFitStopsSoon: with 5,000 bars, a fit that is told to stop has stopped within 100 ms, 100 times; under
// LIDWRIGHT_SOAK, for it takes minutes and a machine that does nothing else.
func TestFitStopsSoon(t *testing.T) {
	if os.Getenv("LIDWRIGHT_SOAK") == "" {
		return // the short form is TestFitStopsWithItsContext
	}
	s := tilestest.Large(20, 5000).Studio
	began := time.Now()
	must(s.Fit(t.Context(), nil))(t)
	whole := time.Since(began)
	var worst time.Duration
	for i := range 100 {
		ctx, stop := context.WithCancelCause(t.Context())
		done := make(chan error, 1)
		go func() { _, err := s.Fit(ctx, nil); done <- err }()
		time.Sleep(whole * time.Duration(i) / 101)
		told := time.Now()
		stop(errors.New("stop"))
		<-done
		worst = max(worst, time.Since(told))
	}
	t.Logf("a whole fit %v, stopped at most %v after it was told to", whole, worst)
	if worst > 100*time.Millisecond {
		t.Errorf("stopped after %v", worst)
	}
}
