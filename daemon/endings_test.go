package daemon

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"os"
	"path/filepath"
	"sync"
	"syscall"
	"testing"
	"time"

	"github.com/google/uuid"

	"lidwright/api/usecase"
	"lidwright/daemon/store"
	"lidwright/kiln"
	"lidwright/kiln/detect"
	"lidwright/kiln/record"
	"lidwright/tiles"
)

// TestEndingsKeepTheirOrder: however many firings end while nobody works them off, each is given, in order.
func TestEndingsKeepTheirOrder(t *testing.T) {
	e := newEndings()
	for i := range 5000 {
		e.add(kiln.KilnID(fmt.Sprint(i)))
	}
	for i := range 5000 {
		if k, ok := e.next(t.Context()); !ok || k != kiln.KilnID(fmt.Sprint(i)) {
			t.Fatalf("ending %d is of %s, %v", i, k, ok)
		}
	}
	ctx, stop := context.WithCancel(t.Context())
	got := make(chan kiln.KilnID, 1)
	go func() { k, _ := e.next(ctx); got <- k }()
	e.add("late")
	if k := <-got; k != "late" {
		t.Errorf("got %s", k)
	}
	stop()
	e.add("never")
	if _, ok := e.next(ctx); ok {
		t.Error("given after the end")
	}
}

// TestEndOfAFiringIsWorkedOff: while more is told than the notices hold, a firing that ends has its rates
// fitted again and a copy of its own.
func TestEndOfAFiringIsWorkedOff(t *testing.T) {
	b := newHeatBench(t)
	b.run()
	waitFor(t, "the first fit", func() bool { return b.d.shrink.Refits().Count >= 1 })
	b.fire(3, "20>1222@150 >20@150", kiln.Glaze)
	before := b.d.shrink.Refits().Count
	for range 1000 {
		b.d.notifier.receive(record.Notice{Event: record.FiringEndedNotice, State: record.NoticeOnce,
			Kiln: "big-blue", T: 40, At: b.d.Now()})
	}
	b.d.recorder.Ended(kiln.Firing{Kiln: "big-blue"})
	waitFor(t, "a copy", func() bool { h, err := b.d.health(); return err == nil && h.Copies == 1 })
	waitFor(t, "a fit anew", func() bool { return b.d.shrink.Refits().Count > before })
}

// waitFor waits for an event, minutes at most, so that a test does not hang.
func waitFor(t *testing.T, what string, so func() bool) {
	t.Helper()
	for end := time.Now().Add(3 * time.Minute); !so(); time.Sleep(5 * time.Millisecond) {
		if time.Now().After(end) {
			t.Fatalf("waited in vain for %s", what)
		}
	}
}

// TestStopWritesFirst: what was heard last is on the disk while something else still holds the stop up.
func TestStopWritesFirst(t *testing.T) {
	b := newHeatBench(t)
	at := b.d.Now()
	var clock sync.Mutex
	b.d.Now = func() kiln.Stamp { clock.Lock(); defer clock.Unlock(); return at }
	b.d.learning.Lock() // and so nobody learns of a kiln until the end of the test
	ctx, stop := context.WithCancel(t.Context())
	ready := make(chan string, 1)
	b.d.Ready = func(a string) { ready <- a }
	done := make(chan error, 1)
	go func() { done <- b.d.Run(ctx) }()
	select {
	case <-ready:
	case err := <-done:
		t.Fatal(err)
	}
	id := kiln.FiringID(uuid.Must(uuid.NewV7()).String())
	for i := range 20 {
		clock.Lock()
		at.Since, at.Wall = at.Since+time.Minute, at.Wall.Add(time.Minute)
		heard := kiln.Sample{Kiln: "big-blue", At: at,
			Values: []kiln.Value{{Channel: "1", T: kiln.Celsius(300 + i)}}}
		clock.Unlock()
		b.d.samples <- heard
		if i == 1 {
			if _, err := b.d.recorder.Tell(ctx, detect.Fact{Kiln: "big-blue", What: detect.NewFiring,
				At: b.d.Now(), Firing: id}); err != nil {
				t.Fatal(err)
			}
		}
	}
	stop()
	waitFor(t, "the last sample on the disk", func() bool {
		samples, err := b.d.store.Samples(context.Background(), id)
		return err == nil && len(samples) > 0 && samples[len(samples)-1].At.Since == at.Since
	})
	select {
	case err := <-done:
		t.Fatalf("ended before all had: %v", err)
	default:
	}
	b.d.learning.Unlock()
	if err := <-done; err != nil {
		t.Error(err)
	}
}

// TestStopsUnderLoad ends a daemon that records, fits the rates anew at every reading, with a bar that was
// read 1,009 times, and answers twenty clients: within two seconds of the signal, 200 times, and with
// every entry that it acknowledged.
func TestStopsUnderLoad(t *testing.T) {
	if os.Getenv("LIDWRIGHT_SOAK") == "" {
		return // the short forms are TestStopWritesFirst and tiles' TestFitStopsWithItsContext
	}
	w := newWorld(t, filepath.Join(t.TempDir(), "store"))
	if err := os.Mkdir(storeOf(t, w), 0o700); err != nil {
		t.Fatal(err)
	}
	hostileStore(t, storeOf(t, w))
	var worst time.Duration
	w.start()
	p, stopPotter := w.potter() // makes the bar
	stopPotter()
	for range 200 {
		before, _ := p.counts()
		ctx, stopClients := context.WithCancel(t.Context())
		var clients sync.WaitGroup
		clients.Go(func() { p.enter(ctx) })
		for i := range 20 {
			clients.Go(func() {
				client := clientFrom(i)
				for ctx.Err() == nil {
					for _, path := range []string{"/", "/v1/now", "/v1/clays/tern/shrinkage",
						"/v1/clays/tern/moves", "/v1/bars/BQA"} {
						req, _ := http.NewRequestWithContext(ctx, http.MethodGet, w.site+path, nil)
						if r, err := client.Do(req); err == nil {
							r.Body.Close()
						}
					}
				}
			})
		}
		kept := func() int { n, _ := p.counts(); return n }
		w.until("readings entered", func() bool { return kept() >= before+3 })
		told := time.Now()
		w.cmd.Process.Signal(syscall.SIGTERM)
		err := w.cmd.Wait()
		took := time.Since(told)
		stopClients()
		clients.Wait()
		if worst = max(worst, took); err != nil || took > 2*time.Second {
			t.Errorf("stopped after %v: %v", took, err)
		}
		w.start()
		if n := p.missing(); n > 0 {
			t.Errorf("%d acknowledged readings are gone", n)
		}
	}
	t.Logf("200 stops under load: %v at most", worst)
}

// hostileStore has 300 bars, on one of which 1,009 readings were made by as many makers.
func hostileStore(t *testing.T, folder string) {
	t.Helper()
	at := kiln.Stamp{Wall: time.Date(2026, 3, 1, 9, 0, 0, 0, time.UTC), Trusted: true}
	st, err := store.Settings{Now: func() kiln.Stamp { return at }}.Open(t.Context(), folder)
	if err != nil {
		t.Fatal(err)
	}
	defer st.Close()
	must := func(_ tiles.PutResult, err error) {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
	}
	must(st.PutClay(t.Context(), tiles.Clay{ID: "wren", Name: "Wren", MaturesCone: "6"},
		usecase.Precondition{}, at))
	ref := tiles.BatchRef{Clay: "wren", Batch: "A"}
	must(st.PutBatch(t.Context(), tiles.Batch{BatchRef: ref, Kind: tiles.Bought, Open: true},
		usecase.Precondition{}, at))
	signs := "ACDEFGHJKLNPQRTVWXY347"
	for b := range 300 {
		code := tiles.Code([]byte{signs[b/22%22], signs[b%22], signs[b/484]})
		must(st.PutBar(t.Context(), tiles.Bar{Code: code, ID: uuid.NewString(), BatchRef: ref,
			Forming: tiles.ThrownRing, MarkLength: 100, Marks: 1}, usecase.Precondition{}, at))
		read := func(stage tiles.Stage, length float64, by string) {
			must(st.PutReading(t.Context(),
				tiles.Reading{ID: uuid.NewString(), Bar: code, Mark: 1, Stage: stage,
					Length: tiles.Millimetre(length), AsTyped: fmt.Sprint(length), Unit: "mm",
					Step: 0.05, By: by}, at))
		}
		read(tiles.Wet, 100, "KT")
		read(tiles.Dry, 94+0.05*float64(b%9), "KT")
		for i := range 1007 {
			if b > 0 {
				break
			}
			read(tiles.Dry, 94+0.05*float64(i%7), fmt.Sprint("M", i))
		}
	}
}

// TestStopGivesUpACopy: a copy that somebody asked for ends with the daemon, not after it.
func TestStopGivesUpACopy(t *testing.T) {
	b := newHeatBench(t)
	stopping := make(chan struct{})
	close(stopping)
	c, day := copies{b.d.store, stopping}, 0
	waitFor(t, "a copy that is given up", func() bool {
		day++
		b.fire(day, "20>1222@150 >20@150", kiln.Glaze)
		_, err := c.Make(t.Context())
		return errors.Is(err, context.Canceled)
	})
	if err := b.d.store.Close(); err != nil {
		t.Error(err)
	}
}
