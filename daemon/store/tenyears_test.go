package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"sync/atomic"
	"testing"
	"time"

	"lidwright/api/usecase"
	"lidwright/kiln"
	"lidwright/tiles"
)

// TestTenYears carries a site of a thousand firings of 26 h (twenty without LIDWRIGHT_SOAK) over: it
// is saved, taken in by an empty store, and every firing and curve is there. It says how long each
// step takes, and how long that store takes to open.
func TestTenYears(t *testing.T) {
	ctx := t.Context()
	firings := rounds(20, 1000)
	var made []made
	var curves [][]kiln.Sample
	for i := range 5 { // making them takes longer than keeping them
		m := firingOf(t, glaze, 0.1, uint64(i))
		if firings < 1000 {
			m.length = 2 * time.Hour
		}
		made, curves = append(made, m), append(curves, m.samples("big-blue", beginning(0), 0, m.length))
	}
	home := t.TempDir()
	s := must[*Store](t)(Open(ctx, home))
	must[string](t)(s.SiteID(ctx, uuid('t', 1)))
	furnish(t, s, "BQ7")
	for i := range firings {
		f := made[i%5].whole(kiln.FiringID(uuid('f', i)), "big-blue", beginning(uint64(i)))
		f.Source = "import"
		must[tiles.PutResult](t)(s.PutFiring(ctx, f, curves[i%5], i, usecase.Precondition{}, when))
	}
	size, _, _ := s.Size()
	s.Close()
	took := func(what string, f func() error) {
		t.Helper()
		began := time.Now()
		if err := f(); err != nil {
			t.Fatalf("%s: %v", what, err)
		}
		t.Logf("%s: %.3f s", what, time.Since(began).Seconds())
	}
	t.Logf("%d firings, %.1f MB", firings, float64(size)/1e6)
	path := filepath.Join(t.TempDir(), "site.zip")
	took("save", func() error { _, err := SaveCarry(ctx, home, path, "test", day); return err })
	card := t.TempDir()
	took("open an empty store", func() (err error) { s, err = Open(ctx, card); return err })
	took("take", func() error { _, err := s.TakeCarry(ctx, path, nil, false, freeCode); return err })
	s.Close()
	took("open, with the list given once", func() (err error) {
		if s, err = Open(ctx, card); err == nil {
			_, err = s.Firings(ctx, kiln.FiringFilter{Limit: 50})
		}
		return err
	})
	defer s.Close()
	if n := count(t, s, `SELECT count(*) FROM curve`); n != firings {
		t.Errorf("%d curves came, want %d", n, firings)
	}
	old := must[*Store](t)(Open(ctx, home))
	defer old.Close()
	for _, i := range []int{0, firings / 2, firings - 1} {
		id := kiln.FiringID(uuid('f', i))
		want := must[[]kiln.Sample](t)(old.Samples(ctx, id))
		if got := must[[]kiln.Sample](t)(s.Samples(ctx, id)); !same(got, want) ||
			len(got) != len(curves[i%5]) {
			t.Errorf("the curve of firing %d is another: %d samples, %d before", i, len(got), len(want))
		}
	}
}

// TestCopiesUnderLoad makes copies while a firing is recorded and bars are measured: each is whole, has
// everything that was acknowledged before it was begun, and opens as a store elsewhere; seven are kept, and
// none is made where nothing changed.
func TestCopiesUnderLoad(t *testing.T) {
	folder := t.TempDir()
	s := must[*Store](t)(Open(t.Context(), folder))
	defer s.Close()
	furnish(t, s, "BQ7")
	m := firingOf(t, glaze, 0.1, 1)
	f := m.whole(kiln.FiringID(uuid('f', 1)), "big-blue", beginning(1))
	must[int](t)(s.BeginFiring(t.Context(), running(f), nil))
	var readings, samples atomic.Int64
	ctx, stop := context.WithCancel(t.Context())
	defer stop()
	done := make(chan error, 2)
	go func() {
		for n := 0; ctx.Err() == nil; n++ {
			if _, err := s.PutReading(t.Context(), reading(n, "BQ7", tiles.Fired, "87.60"),
				later(time.Duration(n)*time.Second)); err != nil {
				done <- err
				return
			}
			readings.Store(int64(n + 1))
		}
		done <- nil
	}()
	go func() {
		for age := time.Duration(0); ctx.Err() == nil && age < m.length; age += 5 * time.Second {
			if err := s.AppendCurve(t.Context(), f.ID, m.samples(f.Kiln, f.Began, age,
				age+5*time.Second)); err != nil {
				done <- err
				return
			}
			samples.Store(int64((age + 5*time.Second) / time.Second))
		}
		done <- nil
	}()
	want := rounds(10, 100)
	for i := range want {
		was := readings.Load()
		for readings.Load() == was && len(done) == 0 { // something is new
			time.Sleep(time.Millisecond)
		}
		least := [2]int64{readings.Load(), samples.Load()}
		if made, err := s.Copy(t.Context()); err != nil || !made {
			t.Fatalf("copy %d: %v, %v", i, made, err)
		}
		newest := must[[]string](t)(copiesOf(folder))[0]
		if err := checkCopy(t.Context(), newest); err != nil {
			t.Errorf("copy %d: %v", i, err)
		}
		db := must[*sql.DB](t)(sql.Open("sqlite", dsn(copyDSN, newest)))
		var have [2]int64
		if err := errors.Join(db.QueryRow(`SELECT count(*) FROM reading`).Scan(&have[0]),
			db.QueryRow(`SELECT coalesce(sum(rows), 0) FROM run`).Scan(&have[1]), db.Close()); err != nil {
			t.Error(err)
		}
		elsewhere := t.TempDir()
		if _, _, err := Restore(t.Context(), elsewhere, newest, day); err != nil {
			t.Error(err)
		}
		restored := must[*Store](t)(Open(t.Context(), elsewhere))
		if n := int64(count(t, restored, `SELECT count(*) FROM reading`)); n != have[0] ||
			!restored.Report().Clean() {
			t.Errorf("copy %d has %d readings, restored elsewhere %d; %s", i, have[0], n,
				restored.Report().Words())
		}
		restored.Close()
		os.RemoveAll(elsewhere)
		if kept := must[[]string](t)(copiesOf(folder)); len(kept) != min(i+1, 7) {
			t.Errorf("%d copies are kept after %d", len(kept), i+1)
		}
		if have[0] < least[0] || have[1] < least[1] {
			t.Errorf("copy %d has %v readings and samples, %v were acknowledged before it", i, have, least)
		}
	}
	stop()
	if err := errors.Join(<-done, <-done); err != nil {
		t.Error(err)
	}
	must[bool](t)(s.Copy(t.Context()))
	if made, err := s.Copy(t.Context()); made || err != nil {
		t.Errorf("nothing changed: made %v, %v", made, err)
	}
	t.Logf("%d copies, %s", want, fmt.Sprint(readings.Load(), " readings and ",
		samples.Load(), " samples meanwhile"))
}

// TestReadOnlyWhileRunning: the file turns read-only under a store that is open, as a card does that
// fails. Nothing is acknowledged that is not there, reading goes on, and when it takes writes again
// so does all else.
func TestReadOnlyWhileRunning(t *testing.T) {
	ctx := t.Context()
	s := openStore(t)
	furnish(t, s, "BQ7")
	m := firingOf(t, glaze, 0.1, 1)
	f := m.whole(kiln.FiringID(uuid('f', 1)), "big-blue", beginning(1))
	must[int](t)(s.BeginFiring(ctx, running(f), nil))
	// SQLITE_READONLY, as EROFS gives
	readOnly := func(on int) { must[sql.Result](t)(s.writer.Exec(fmt.Sprintf(`PRAGMA query_only = %d`, on))) }
	readOnly(1)
	batch := m.samples(f.Kiln, f.Began, 0, time.Minute)
	if _, err := s.PutReading(ctx, reading(1, "BQ7", tiles.Wet, "100"), when); !errors.Is(err,
		usecase.ErrBusy) {
		t.Errorf("a reading: %v", err)
	}
	if err := s.AppendCurve(ctx, f.ID, batch); !errors.Is(err, usecase.ErrBusy) {
		t.Errorf("a batch: %v", err)
	}
	if n := len(must[[]kiln.Sample](t)(s.Samples(ctx, f.ID))) +
		count(t, s, `SELECT count(*) FROM reading`); n != 0 {
		t.Errorf("%d of what was refused is there", n)
	}
	readOnly(0)
	if err := s.AppendCurve(ctx, f.ID, batch); err != nil {
		t.Error(err)
	}
	must[tiles.PutResult](t)(s.PutReading(ctx, reading(1, "BQ7", tiles.Wet, "100"), when))
	if got := must[[]kiln.Sample](t)(s.Samples(ctx, f.ID)); !same(got, batch) {
		t.Errorf("%d samples are there", len(got))
	}
}
