package daemon

import (
	"context"
	"fmt"
	"math"
	"sync"
	"testing"
	"time"

	"lidwright/api/usecase"
	"lidwright/daemon/store"
	"lidwright/kiln"
	"lidwright/tiles"
	"lidwright/tiles/shrinkage"
)

// bench is a store in which bars of one clay are measured, and the fit that is kept of them.
type bench struct {
	t  *testing.T
	st *store.Store
	at kiln.Stamp
	n  int
	*fitJob
}

func newBench(t *testing.T) *bench {
	t.Helper()
	st, err := store.Open(t.Context(), t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { st.Close() })
	b := &bench{t: t, st: st, at: kiln.Stamp{Wall: time.Date(2026, 3, 1, 9, 0, 0, 0, time.UTC),
		Trusted: true}}
	b.fitJob = newFitJob(st, func(kiln.KilnID, string) kiln.ChannelID { return "1" })
	b.must(st.PutClay(t.Context(), tiles.Clay{ID: "tern", Name: "Tern stoneware", MaturesCone: "6"},
		usecase.Precondition{}, b.now()))
	b.must(st.PutBatch(t.Context(), tiles.Batch{BatchRef: ternA, Kind: tiles.Bought, Open: true},
		usecase.Precondition{}, b.now()))
	return b
}

var ternA = tiles.BatchRef{Clay: "tern", Batch: "A"}

func (b *bench) must(_ tiles.PutResult, err error) {
	b.t.Helper()
	if err != nil {
		b.t.Fatal(err)
	}
}

// now is a minute later each time.
func (b *bench) now() kiln.Stamp {
	b.at.Since += time.Minute
	b.at.Wall = b.at.Wall.Add(time.Minute)
	return b.at
}

func (b *bench) bar(code tiles.Code) {
	b.t.Helper()
	b.n++
	b.must(b.st.PutBar(b.t.Context(), tiles.Bar{Code: code, ID: b.id(), BatchRef: ternA,
		Forming: tiles.ThrownRing, MarkLength: 100, Marks: 1}, usecase.Precondition{}, b.now()))
}

func (b *bench) id() string { b.n++; return fmt.Sprintf("0193c0c1-0000-7000-8000-%012d", b.n) }

func (b *bench) read(code tiles.Code, stage tiles.Stage, length float64) string {
	b.t.Helper()
	r := tiles.Reading{ID: b.id(), Bar: code, Mark: 1, Stage: stage, Length: tiles.Millimetre(length),
		AsTyped: fmt.Sprint(length), Unit: "mm", Step: 0.05}
	b.must(b.st.PutReading(b.t.Context(), r, b.now()))
	return r.ID
}

// drying is what the kept fit says, without any background.
func (b *bench) drying() (mean, sd float64, asOf time.Time) {
	b.t.Helper()
	f, asOf, err := b.Fit(b.t.Context())
	if err != nil {
		b.t.Fatal(err)
	}
	s, err := f.Rate(shrinkage.Ask{BatchRef: ternA, Stage: tiles.Wet, Work: 1222, BisqueWork: 1000,
		Kind: kiln.Glaze}, tiles.Dry)
	if err != nil {
		b.t.Fatal(err)
	}
	return float64(s.Log), float64(s.LogSD), asOf
}

// TestReadingIsAnsweredAtOnce: with nothing fitting in the background, a new bar, a further
// reading and a strike are in the next answer, which names the newest of them; fitting anew
// then changes it by little, and a strike of all that was new brings the old answer back.
func TestReadingIsAnsweredAtOnce(t *testing.T) {
	b := newBench(t)
	for i, code := range []tiles.Code{"BQ4", "BQ7", "KT3", "KT4"} {
		b.bar(code)
		b.read(code, tiles.Wet, 100)
		b.read(code, tiles.Dry, 94+0.1*float64(i))
	}
	b.refit(t.Context())
	first, firstSD, asOf := b.drying()
	if asOf != b.at.Wall {
		t.Errorf("as of %v, the newest reading is of %v", asOf, b.at.Wall)
	}

	b.bar("RT3")
	b.read("RT3", tiles.Wet, 100)
	b.Touch("RT3")
	id := b.read("RT3", tiles.Dry, 93)
	b.Touch("RT3")
	at := b.at.Wall
	then, sd, asOf := b.drying()
	if then <= first+0.05 || sd >= firstSD || !asOf.Equal(at) {
		t.Errorf("%.4f ± %.4f before, %.4f ± %.4f after a bar that shrank more; as of %v", first, firstSD,
			then, sd, asOf)
	}
	if n := b.Refits().Count; n != 1 {
		t.Errorf("fitted anew %d times", n)
	}
	b.refit(t.Context())
	anew, _, _ := b.drying()
	if math.Abs(anew-then) > 0.1 || b.Refits().Count != 2 {
		t.Errorf("worked in %.4f, fitted anew %.4f", then, anew)
	}

	if err := b.st.StrikeReading(t.Context(), "RT3", id, "KT", "read the wrong mark", b.now()); err != nil {
		t.Fatal(err)
	}
	b.Touch("RT3")
	struck, _, asOf := b.drying()
	if math.Abs(struck-first) > 0.02 || !asOf.Equal(b.at.Wall) {
		t.Errorf("%.4f at first, %.4f with the new reading struck; as of %v", first, struck, asOf)
	}
	b.refit(t.Context())
	if last, _, _ := b.drying(); math.Abs(last-first) > 1e-9 {
		t.Errorf("%.12f at first, %.12f after all was struck and fitted anew", first, last)
	}
}

// TestLastGoodFitIsServed: where a clay changed, an answer waits for the background, and where
// that fails the last fit answers, without waiting a second time.
func TestLastGoodFitIsServed(t *testing.T) {
	b := newBench(t)
	if _, _, err := b.Latest(); err == nil {
		t.Error("a fit before there was one")
	}
	b.refit(t.Context())
	first, _, _ := b.drying()

	b.Touch()
	gone, cancel := context.WithCancel(t.Context())
	cancel()
	if f, _, err := b.Fit(gone); err != nil || f == nil {
		t.Errorf("nothing is served while the background works: %v", err)
	}
	b.st.Close()
	b.refit(t.Context())
	again, _, _ := b.drying()
	if again != first || b.err == nil {
		t.Errorf("%v at first, %v from a store that is closed (%v)", first, again, b.err)
	}
}

// TestAskedWhileWrittenAndFitted: askers, writers and the background at once; in the end the
// answer is that of a fit made of all at once, whatever the order was.
func TestAskedWhileWrittenAndFitted(t *testing.T) {
	b := newBench(t)
	ctx, stop := context.WithCancel(t.Context())
	var wg sync.WaitGroup
	wg.Go(func() { b.run(ctx) })
	for range 2 {
		wg.Go(func() {
			for ctx.Err() == nil {
				if f, _, err := b.Fit(ctx); err == nil {
					f.Rate(shrinkage.Ask{BatchRef: ternA, Stage: tiles.Wet, Work: 1222, BisqueWork: 1000,
						Kind: kiln.Glaze}, tiles.Fired)
				}
			}
		})
	}
	codes := []tiles.Code{"AA3", "AA4", "AB3", "AB4", "AC3", "AC4", "AD3", "AD4"}
	for i, code := range codes {
		b.bar(code)
		b.read(code, tiles.Wet, 100)
		b.Touch(code)
		b.read(code, tiles.Dry, 94-0.05*float64(i))
		b.Touch(code)
		if i == 3 {
			b.Touch()
		}
	}
	b.Touch()
	live, _, _ := b.drying()
	stop()
	wg.Wait()
	other := newFitJob(b.st, b.channel)
	b.fitJob = other
	b.refit(t.Context())
	if once, _, _ := b.drying(); math.Abs(once-live) > 1e-9 {
		t.Errorf("%.12f while it was told, %.12f of all at once", live, once)
	}
}
