package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"lidwright/api/usecase"
	"lidwright/kiln"
	"lidwright/tiles"
)

// The test binary starts itself again as a process that records and takes entries, to be killed
// or to have its writes written down. It says on its output, in one write each, what was
// acknowledged: "r N" an entry, "s FIRING N" that many samples of a firing, "e FIRING" its end, "c N" that
// the N-th carry file of another site was taken in.
const childVar = "LIDWRIGHT_TEST_STORE"

func TestMain(m *testing.M) {
	if folder := os.Getenv(childVar); folder != "" {
		work := child
		if os.Getenv(childNext) != "" {
			work = nextChild
		}
		if os.Getenv(childTakes) != "" {
			work = takeChild
		}
		if err := work(folder); err != nil {
			fmt.Fprintln(os.Stderr, err)
			os.Exit(1)
		}
		os.Exit(0)
	}
	os.Exit(m.Run())
}

const (
	childLength = 100 * time.Minute // of its firings: one block of an hour, and what is left
	childBatch  = 20 * time.Second
)

func childFiring(t testing.TB, n int) (made, kiln.Firing) {
	m := firingOf(t, glaze, 0.1, uint64(n))
	m.length = childLength
	return m, m.whole(kiln.FiringID(uuid('f', n)), "big-blue", beginning(uint64(n)))
}

// child records firings and takes entries until it has made some, or is killed. It goes on where
// an earlier one was killed.
func child(folder string) error {
	ctx := context.Background()
	s, err := Settings{Copies: 2}.Open(ctx, folder) // so that the third is written over the first
	if err != nil {
		return err
	}
	say := func(format string, args ...any) { os.Stdout.Write(fmt.Appendf(nil, format+"\n", args...)) }
	t := &quietly{}
	for _, put := range []func() (tiles.PutResult, error){
		func() (tiles.PutResult, error) { return s.PutClay(ctx, tern, usecase.Precondition{}, when) },
		func() (tiles.PutResult, error) { return s.PutBatch(ctx, batchB(), usecase.Precondition{}, when) },
		func() (tiles.PutResult, error) { return s.PutBar(ctx, bar("BQ7", 1), usecase.Precondition{}, when) },
	} {
		if _, err := put(); err != nil {
			return err
		}
	}
	var entries, done int
	if err := s.read.QueryRow(`SELECT count(*) FROM reading`).Scan(&entries); err != nil {
		return err
	}
	for over := true; over; { // its own that are over; those carried in beside it are none of them
		err := s.read.QueryRow(`SELECT status <> 'running' FROM firing WHERE id = ?`,
			uuid('f', done)).Scan(&over)
		if errors.Is(err, sql.ErrNoRows) {
			break
		}
		if err != nil {
			return err
		}
		if over {
			done++
		}
	}
	if _, err := s.SiteID(ctx, uuid('s', 1)); err != nil {
		return err
	}
	var errs [3]error
	var both sync.WaitGroup
	both.Go(func() { errs[0] = t.record(ctx, s, done, say) })
	both.Go(func() {
		for n := entries; n < entries+400; n++ {
			if _, err := s.PutReading(ctx, reading(n, "BQ7", tiles.Fired, "87.60"),
				later(time.Duration(n)*time.Second)); err != nil {
				errs[1] = err
				return
			}
			say("r %d", n)
		}
	})
	both.Go(func() { errs[2] = carryIn(ctx, s, say) })
	both.Wait()
	for _, err := range errs {
		if err != nil {
			return err
		}
	}
	return s.Close()
}

// a folder with carry files of another site, 0.zip and on, each with more
const childCarries = childVar + "_CARRIES"

// carryIn takes the carry files in, one after another, as the command does beside a daemon, with a copy and
// a high-water mark after each.
func carryIn(ctx context.Context, s *Store, say func(string, ...any)) error {
	folder := os.Getenv(childCarries)
	if folder == "" {
		return nil
	}
	for n := 0; ; n++ {
		path := filepath.Join(folder, fmt.Sprintf("%d.zip", n))
		if _, err := os.Stat(path); err != nil {
			return nil
		}
		beside, err := Beside(ctx, s.folder, "", 2, s.now)
		if err != nil {
			return err
		}
		_, err = beside.TakeCarry(ctx, path, nil, false, coded3)
		if errors.Is(err, usecase.ErrBusy) { // the recorder had it for too long; the command says so
			err = nil
		} else if err == nil {
			say("c %d", n)
		}
		if err = errors.Join(err, beside.Close()); err != nil {
			return err
		}
		if _, err := s.Copy(ctx); err != nil {
			return err
		}
		if err := s.MarkHighWater(ctx); err != nil {
			return err
		}
	}
}

// quietly stands for a test where there is none.
type quietly struct{ testing.TB }

func (*quietly) Helper()           {}
func (*quietly) Fatal(args ...any) { panic(fmt.Sprint(args...)) }

func (t *quietly) record(ctx context.Context, s *Store, done int, say func(string, ...any)) error {
	for n := done; n < done+3; n++ {
		m, f := childFiring(t, n)
		if _, err := s.BeginFiring(ctx, running(f), nil); err != nil {
			return err
		}
		samples := m.samples(f.Kiln, f.Began, 0, m.length)
		before, err := s.Samples(ctx, f.ID)
		if err != nil {
			return err
		}
		if len(before) > 0 { // what an earlier life kept and did not live to say
			say("s %d %d", n, len(before))
		}
		for at := len(before); at < len(samples); at += int(childBatch / time.Second) {
			to := min(at+int(childBatch/time.Second), len(samples))
			if err := s.AppendCurve(ctx, f.ID, samples[at:to]); err != nil {
				return err
			}
			say("s %d %d", n, to)
		}
		if err := s.EndFiring(ctx, f); err != nil {
			return err
		}
		say("e %d", n)
		if _, err := s.Copy(ctx); err != nil {
			return err
		}
	}
	return nil
}
