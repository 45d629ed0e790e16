package store

import (
	"bytes"
	"errors"
	"os"
	"path/filepath"
	"syscall"
	"testing"

	"lidwright/api/usecase"
	"lidwright/kiln"
	"lidwright/tiles"
)

// TestCopyWithoutRoom: a copy is begun only where the store and 8 MiB beside it are free; else nothing is
// written, it says so, and the copies that are there stay.
func TestCopyWithoutRoom(t *testing.T) {
	ctx := t.Context()
	folder := t.TempDir()
	s := must[*Store](t)(Open(ctx, folder))
	defer s.Close()
	furnish(t, s, "BQ7")
	copies := func() []string { return must[[]string](t)(copiesOf(folder)) }
	used, _, err := s.Size()
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		short int64
		made  bool
	}{{1, false}, {0, true}} {
		before := len(copies())
		s.freeIn = func(string) (int64, error) { return used + 8<<20 - c.short, nil }
		made, err := s.Copy(ctx)
		if made != c.made || errors.Is(err, usecase.ErrBusy) == c.made {
			t.Errorf("%d bytes short: made %v, %v", c.short, made, err)
		}
		if n := len(copies()) - before; n != map[bool]int{true: 1}[c.made] {
			t.Errorf("%d bytes short: %d copies more", c.short, n)
		}
		if _, err := os.Stat(filepath.Join(folder, copiesFolder, copyTemp)); err == nil {
			t.Errorf("%d bytes short: something half done is left", c.short)
		}
	}
}

// TestCopyOverTheOldest: with as many copies as are kept the next is the file of the oldest, with little
// written to it, and has everything; what a broken off one left is written over too. A store that
// became damaged costs one old copy at most, however often a copy of it is tried.
func TestCopyOverTheOldest(t *testing.T) {
	ctx := t.Context()
	folder := t.TempDir()
	s := must[*Store](t)(Settings{Copies: 3}.Open(ctx, folder))
	furnish(t, s, "BQ7")
	m := firingOf(t, glaze, 0.1, 1)
	m.length = 2 * 3600e9
	curve := m.samples("big-blue", beginning(0), 0, m.length)
	n := 0
	another := func() (newest string) {
		t.Helper()
		n++
		f := m.whole(kiln.FiringID(uuid('f', n)), "big-blue", beginning(uint64(n)))
		f.Source = "import"
		must[tiles.PutResult](t)(s.PutFiring(ctx, f, curve, n, usecase.Precondition{}, when))
		if made, err := s.Copy(ctx); !made || err != nil {
			t.Fatalf("made %v, %v", made, err)
		}
		return must[[]string](t)(copiesOf(folder))[0]
	}
	for range 30 {
		another()
	}
	copies := must[[]string](t)(copiesOf(folder))
	oldest := copies[len(copies)-1]
	inode := func(path string) uint64 {
		return must[os.FileInfo](t)(os.Stat(path)).Sys().(*syscall.Stat_t).Ino
	}
	had, file := must[[]byte](t)(os.ReadFile(oldest)), inode(oldest)
	newest := another()
	if inode(newest) != file {
		t.Error("the newest copy is another file than the oldest was")
	}
	text := must[[]byte](t)(os.ReadFile(newest))
	changed := 0
	for at := 0; at < len(text); at += 4096 {
		if at >= len(had) || !bytes.Equal(had[at:at+4096], text[at:at+4096]) {
			changed++
		}
	}
	// Three firings came since the oldest; thirty-one are there.
	if all := len(text) / 4096; changed == 0 || changed > all/2 {
		t.Errorf("%d of %d pages are others", changed, all)
	}
	if now := must[[]string](t)(copiesOf(folder)); len(now) != 3 || now[2] != copies[1] {
		t.Errorf("kept: %v", now)
	}

	part := filepath.Join(folder, copiesFolder, copyTemp)
	if err := os.WriteFile(part, bytes.Repeat([]byte("half "), 1<<20), 0o600); err != nil {
		t.Fatal(err)
	}
	newest = another()
	restored := t.TempDir()
	if _, _, err := Restore(ctx, restored, newest, day); err != nil {
		t.Fatal(err)
	}
	r := must[*Store](t)(Open(ctx, restored))
	sameRows(t, "the newest copy", rowsOf(t, s.read, nil), rowsOf(t, r.read, nil))
	r.Close()

	page := count(t, s, `SELECT rootpage FROM sqlite_schema WHERE name = 'lid_result_of_form'`)
	s.Close()
	f := must[*os.File](t)(os.OpenFile(filepath.Join(folder, fileName), os.O_RDWR, 0))
	if _, err := f.WriteAt(bytes.Repeat([]byte("bad "), 1024), int64(page-1)<<12); err != nil {
		t.Fatal(err)
	}
	f.Close()
	// as if it happened while it was open
	s = over(&handle{folder: folder, copies: 3, now: func() kiln.Stamp { return when }, freeIn: freeIn})
	if err := s.open(ctx); err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	for i := range 5 {
		must[tiles.PutResult](t)(s.PutClay(ctx, tiles.Clay{ID: tiles.ClayID(uuid('c', i)), Name: "x"},
			usecase.Precondition{}, when))
		if made, err := s.Copy(ctx); made || err == nil {
			t.Errorf("a copy of a damaged store: made %v, %v", made, err)
		}
	}
	left := must[[]string](t)(copiesOf(folder))
	if len(left) != 2 {
		t.Errorf("%d copies are left of three", len(left))
	}
	for _, c := range left {
		if err := checkCopy(ctx, c); err != nil {
			t.Error(err)
		}
	}
	if _, err := os.Stat(part); err == nil {
		t.Error("what failed is left over")
	}
}
