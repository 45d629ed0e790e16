package daemon

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"lidwright/api/usecase"
	"lidwright/config"
	"lidwright/daemon/store"
	"lidwright/kiln"
	"lidwright/kiln/message"
	"lidwright/tiles"
)

// keeper is a daemon with nothing but its store and its keep, in a bubble of made-up time.
type keeper struct {
	*Daemon
	t       *testing.T
	folder  string
	trusted atomic.Bool
	ended   chan error
	stop    context.CancelFunc
}

func keptIn(t *testing.T, folder string) *keeper {
	t.Helper()
	k := &keeper{t: t, folder: folder, ended: make(chan error, 1)}
	k.trusted.Store(true)
	began := time.Now()
	now := func() kiln.Stamp {
		return kiln.Stamp{Boot: "boot", Since: time.Since(began) + time.Hour, Wall: time.Now().UTC(),
			Trusted: k.trusted.Load()}
	}
	st, err := store.Settings{Now: now}.Open(t.Context(), folder)
	if err != nil {
		t.Fatal(err)
	}
	k.Daemon = &Daemon{Minute: every(time.Minute), Now: now, store: st,
		cfg: config.Config{Copy: config.Copy{Every: 24 * time.Hour}, Keep: config.Keep{RawLinesDays: 30}}}
	return k
}

func (k *keeper) start() {
	ctx, stop := context.WithCancel(k.t.Context())
	k.stop = stop
	go func() { k.ended <- k.maintain(ctx) }()
}

func (k *keeper) close() {
	k.t.Helper()
	k.stop()
	if err := <-k.ended; err != nil {
		k.t.Error("keep:", err)
	}
	if err := k.store.Close(); err != nil {
		k.t.Error(err)
	}
}

func (k *keeper) clay(id tiles.ClayID) {
	k.t.Helper()
	if _, err := k.store.PutClay(k.t.Context(), tiles.Clay{ID: id, Name: "a clay"},
		usecase.Precondition{}, k.Now()); err != nil {
		k.t.Fatal(err)
	}
}

func (k *keeper) copies(want int, what string) {
	k.t.Helper()
	synctest.Wait()
	all, err := filepath.Glob(filepath.Join(k.folder, "copies", "lidwright-*.db"))
	if err != nil || len(all) != want {
		k.t.Errorf("%s: %d copies, want %d (%v)", what, len(all), want, err)
	}
}

// TestKeepCopies: a copy ten minutes after the start, one a day, one at the end of each firing, and
// none where nothing changed; one that fails is told, and made later.
func TestKeepCopies(t *testing.T) {
	t.Parallel()
	folder := t.TempDir()
	synctest.Test(t, func(t *testing.T) {
		k := keptIn(t, folder)
		k.clay("tern")
		k.start()
		defer k.close()
		time.Sleep(8 * time.Minute)
		k.copies(0, "just started")
		time.Sleep(4 * time.Minute)
		k.copies(1, "ten minutes after the start")
		time.Sleep(25 * time.Hour)
		k.copies(1, "a day without anything new")
		k.clay("wren")
		time.Sleep(25 * time.Hour)
		k.copies(2, "a day later")
		k.clay("dunlin")
		k.copy(t.Context())
		k.copies(3, "at the end of a firing")
		k.copy(t.Context())
		k.copies(3, "at the end of one that left nothing")

		k.clay("plover")
		copies := filepath.Join(folder, "copies")
		if err := errors.Join(os.Rename(copies, copies+".away"),
			os.WriteFile(copies, nil, 0o600)); err != nil {
			t.Fatal(err)
		}
		k.copy(t.Context())
		synctest.Wait()
		if h, err := k.health(); err == nil && !strings.Contains(message.Join(" ", h.Trouble...).String(),
			"copy of the store failed") {
			t.Errorf("a copy that failed is not told: %+v", h)
		}
		if err := errors.Join(os.Remove(copies), os.Rename(copies+".away", copies)); err != nil {
			t.Fatal(err)
		}
		time.Sleep(25 * time.Hour)
		k.copies(4, "a day after one that failed")
		if h, err := k.health(); err != nil || len(h.Trouble) > 0 || h.Copies != 4 {
			t.Errorf("all is well again: %+v, %v", h, err)
		}
	})
}

// TestKeepLines: raw lines go when they are as old as the settings say, and never by a clock that is
// not trusted.
func TestKeepLines(t *testing.T) {
	t.Parallel()
	folder := t.TempDir()
	synctest.Test(t, func(t *testing.T) {
		k := keptIn(t, folder)
		at := k.Now()
		f := kiln.Firing{ID: "0193c0c1-0000-7000-8000-0000000000f1", Kiln: "big-blue", Kind: kiln.Glaze,
			Atmosphere: kiln.Oxidation, Source: "serial", Status: kiln.Running, Began: at,
			Peak: kiln.NoTemperature()}
		var samples []kiln.Sample
		for i := range 60 {
			s := kiln.Sample{Kiln: "big-blue", At: at, Values: []kiln.Value{{Channel: "1", T: 500}}}
			s.At.Since += time.Duration(i) * time.Second
			s.At.Wall = s.At.Wall.Add(time.Duration(i) * time.Second)
			if i == 7 {
				s.Raw, s.Values[0].Fault = "5x0.0", kiln.Break
			}
			samples = append(samples, s)
		}
		if _, err := k.store.BeginFiring(t.Context(), f, samples); err != nil {
			t.Fatal(err)
		}
		f.Status, f.Over, f.Length = kiln.Ended, samples[59].At, time.Minute
		if err := k.store.EndFiring(t.Context(), f); err != nil {
			t.Fatal(err)
		}
		lines := func(want int, what string) {
			t.Helper()
			synctest.Wait()
			if got, err := k.store.RawLines(t.Context(), f.ID); err != nil || len(got) != want {
				t.Errorf("%s: %d lines, want %d (%v)", what, len(got), want, err)
			}
		}
		k.start()
		defer k.close()
		time.Sleep(29 * 24 * time.Hour)
		lines(1, "after 29 days")
		k.trusted.Store(false)
		time.Sleep(10 * 24 * time.Hour)
		lines(1, "by a clock that is not trusted")
		k.trusted.Store(true)
		time.Sleep(25 * time.Hour)
		lines(0, "after 40 days")
	})
}
