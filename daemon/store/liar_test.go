package store

import (
	"math/rand/v2"
	"os"
	"path/filepath"
	"testing"

	"lidwright/api/usecase"
	"lidwright/tiles"
)

// TestLyingCard cuts the power beside a card that said of its last syncs, one to eight of them, that
// they were done and did nothing. No program can keep what such a card drops. What is asked: the
// store opens, whole, as it is or with what was damaged moved aside and told of in words, never
// deleted; and it can be written to.
func TestLyingCard(t *testing.T) {
	folder := t.TempDir()
	steps := writeDown(t, folder)
	rng := rand.New(rand.NewPCG(11, 3))
	var syncs []int // steps that are one
	for i, s := range steps {
		if s.what == "sync" {
			syncs = append(syncs, i)
		}
	}
	if len(syncs) < 100 {
		t.Fatalf("%d syncs: that cannot be all", len(syncs))
	}
	whole, told := 0, 0
	states := rounds(12, 500)
	for range states {
		moment := rng.IntN(len(steps))
		dropped := map[int]bool{}
		for i, left := len(syncs)-1, 1+rng.IntN(8); i >= 0 && left > 0; i-- {
			if syncs[i] <= moment {
				dropped[syncs[i]] = true
				left--
			}
		}
		d := newDisk(folder)
		for i := range moment + 1 {
			if !dropped[i] {
				d.do(steps, i)
			}
		}
		found := filepath.Join(t.TempDir(), "found")
		if err := os.Mkdir(found, 0o700); err != nil {
			t.Fatal(err)
		}
		if err := d.cut(found, rng, false); err != nil {
			t.Fatal(err)
		}
		s, err := Open(t.Context(), found)
		if err != nil {
			t.Errorf("cut after step %d with %d syncs dropped: it does not open: %v",
				moment, len(dropped), err)
			continue
		}
		aside, _ := filepath.Glob(filepath.Join(found, "*.corrupt-*"))
		switch clean := s.Report().Clean(); {
		case clean && len(aside) > 0, !clean && (len(aside) == 0 || s.Report().Words().IsZero()):
			t.Errorf("cut after step %d: clean %v, %q, moved aside %v", moment, clean,
				s.Report().Words(), aside)
		case clean:
			whole++
		default:
			told++
		}
		if err := check(t.Context(), s.read, `PRAGMA integrity_check`); err != nil {
			t.Errorf("cut after step %d: it opened damaged: %v", moment, err)
		}
		if _, err := s.PutClay(t.Context(), tiles.Clay{ID: "later", Name: "Later"},
			usecase.Precondition{}, when); err != nil {
			t.Errorf("cut after step %d: nothing can be kept: %v", moment, err)
		}
		if err := s.Close(); err != nil {
			t.Error(err)
		}
		os.RemoveAll(found)
	}
	t.Logf("%d states: %d opened whole, %d with what was damaged moved aside", states, whole, told)
}
