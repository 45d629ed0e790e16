package store

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"lidwright/api/usecase"
	"lidwright/kiln"
	"lidwright/tiles"
)

// rounds is how often a test with chance in it does its thing.
func rounds(short, soak int) int {
	if os.Getenv("LIDWRIGHT_SOAK") != "" {
		return soak
	}
	return short
}

// left is a store folder as a power cut leaves it: entries in the file, others in the log only.
type left struct {
	file, wal, copy []byte
	acknowledged    int // firings in file and log together
}

// leave makes such a folder. first is entered before the file is settled and copied, then after it.
func leave(t testing.TB, first, then int) left {
	t.Helper()
	folder := t.TempDir()
	s := must[*Store](t)(Open(t.Context(), folder))
	m := firingOf(t, glaze, 0.1, 1)
	enter := func(from, to int) {
		for i := from; i < to; i++ {
			f := m.whole(kiln.FiringID(fmt.Sprintf("f%d", i)), "big-blue", beginning(uint64(i)))
			play(t, s, f, m.samples(f.Kiln, f.Began, 0, 30*time.Minute), 600)
		}
	}
	enter(0, first)
	if _, err := s.writer.Exec(`PRAGMA wal_checkpoint(TRUNCATE)`); err != nil {
		t.Fatal(err)
	}
	if made, err := s.Copy(t.Context()); err != nil || !made {
		t.Fatal(made, err)
	}
	enter(first, first+then)
	read := func(name string) []byte { return must[[]byte](t)(os.ReadFile(filepath.Join(folder, name))) }
	l := left{file: read(fileName), wal: read(fileName + "-wal"), acknowledged: first + then}
	l.copy = must[[]byte](t)(os.ReadFile(must[[]string](t)(copiesOf(folder))[0]))
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	return l
}

// found lays the folder out again and opens it. Whatever was done to it, it opens, it is whole,
// it takes a new firing, and every byte that was there before is somewhere still.
func (l left) found(t *testing.T, file, wal []byte, copies bool) (s *Store, firings int) {
	t.Helper()
	folder := t.TempDir()
	write := func(name string, data []byte) {
		if err := os.WriteFile(filepath.Join(folder, name), data, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	write(fileName, file)
	if wal != nil {
		write(fileName+"-wal", wal)
	}
	if copies {
		if err := os.Mkdir(filepath.Join(folder, copiesFolder), 0o700); err != nil {
			t.Fatal(err)
		}
		write(filepath.Join(copiesFolder, copyName(1, day)), l.copy)
	}
	now := func() kiln.Stamp { return kiln.Stamp{Wall: day} }
	s, err := Settings{Now: now}.Open(t.Context(), folder)
	if err != nil {
		t.Fatalf("it does not open: %v", err)
	}
	t.Cleanup(func() { s.Close() })
	if err := check(t.Context(), s.read, `PRAGMA integrity_check`); err != nil {
		t.Errorf("it opened damaged: %v", err)
	}
	list := must[[]kiln.Firing](t)(s.Firings(t.Context(), kiln.FiringFilter{}))
	for _, f := range list {
		if n := len(must[[]kiln.Sample](t)(s.Samples(t.Context(), f.ID))); f.Status != kiln.Running &&
			n != 1800 && len(must[Health](t)(s.Health()).Trouble) == 0 {
			t.Errorf("firing %s has %d samples, and nothing is said", f.ID, n)
		}
	}
	if _, err := s.BeginFiring(t.Context(), kiln.Firing{ID: "new", Kiln: "little-red", Began: when},
		nil); err != nil {
		t.Errorf("it takes no new firing: %v", err)
	}
	return s, len(list)
}

// kept reports whether data lies whole in a file of the folder that was moved aside.
func kept(t *testing.T, s *Store, data []byte) bool {
	t.Helper()
	for _, path := range s.Report().Aside {
		if bytes.Equal(must[[]byte](t)(os.ReadFile(path)), data) {
			return true
		}
	}
	return false
}

// TestLogCut cuts the log at random offsets: the good beginning of it is kept.
func TestLogCut(t *testing.T) {
	l := leave(t, 2, 3)
	rng := rand.New(rand.NewPCG(7, 5))
	some := false
	for i := range rounds(25, 1000) {
		wal := l.wal[:rng.IntN(len(l.wal)+1)]
		if i == 0 {
			wal = l.wal
		}
		s, n := l.found(t, l.file, wal, true)
		if !s.Report().Clean() || n < 2 || n > l.acknowledged || i == 0 && n != l.acknowledged {
			t.Errorf("cut at %d of %d: %d firings; %s", len(wal), len(l.wal), n, s.Report().Words())
		}
		some = some || 2 < n && n < l.acknowledged
		s.Close()
	}
	if !some {
		t.Error("no cut fell into the middle of the log: the test sees nothing")
	}
}

// TestLogFlipped flips bits of the log: what comes before them is kept.
func TestLogFlipped(t *testing.T) {
	l := leave(t, 2, 3)
	rng := rand.New(rand.NewPCG(7, 6))
	for range rounds(25, 500) {
		wal := bytes.Clone(l.wal)
		for range 1 + rng.IntN(100) {
			wal[rng.IntN(len(wal))] ^= 1 << rng.IntN(8)
		}
		s, n := l.found(t, l.file, wal, true)
		if n < 2 {
			t.Errorf("%d firings; %s", n, s.Report().Words())
		}
		s.Close()
	}
}

// TestLogOfAnother pairs the file with the log of another one, and with a log without a file.
func TestLogOfAnother(t *testing.T) {
	l, other := leave(t, 2, 3), leave(t, 9, 1)
	s, n := l.found(t, l.file, other.wal, true)
	if n < 1 {
		t.Errorf("the log of another store: %d firings; %s", n, s.Report().Words())
	}
	s, n = l.found(t, nil, l.wal, true)
	if n != 2 || !kept(t, s, l.wal) || s.Report().Copy == "" {
		t.Errorf("a log without its file: %d firings; %s", n, s.Report().Words())
	}
	s, n = l.found(t, l.file, bytes.Repeat([]byte("garbage "), 5000), true)
	if n != 2 {
		t.Errorf("garbage in the place of the log: %d firings; %s", n, s.Report().Words())
	}
}

// TestFlipped flips 1 to 100 bytes of the file: it opens, with the copy in its place where that
// was needed and known, and the damaged file is kept as it was.
func TestFlipped(t *testing.T) {
	l := leave(t, 3, 0)
	rng := rand.New(rand.NewPCG(1, 5))
	replaced, reports := 0, map[string]int{}
	for range rounds(40, 500) {
		file := bytes.Clone(l.file)
		for range 1 + rng.IntN(100) {
			file[rng.IntN(len(file))] = byte(rng.Int())
		}
		s, n := l.found(t, file, nil, true)
		if r := s.Report(); !r.Clean() {
			replaced++
			if n != 3 || !kept(t, s, file) || r.Copy == "" || !strings.Contains(r.Words().String(),
				"damaged") {
				t.Errorf("%d firings; %s", n, r.Words())
			}
			if h := must[Health](t)(s.Health()); len(h.Trouble) == 0 {
				t.Error("health says nothing of it")
			}
		}
		reports[fmt.Sprint(s.Report().Clean())]++
		s.Close()
	}
	if replaced == 0 {
		t.Error("no flip was noticed")
	}
	t.Logf("%d damaged files were put right by the copy; %v", replaced, reports)
}

// TestNothingGood: a damaged file and no copy, or only damaged ones, begin anew; every file stays.
func TestNothingGood(t *testing.T) {
	l := leave(t, 2, 0)
	file := bytes.Clone(l.file)
	copy(file, "no database at all")
	s, n := l.found(t, file, nil, false)
	if n != 0 || !s.Report().Empty || !kept(t, s, file) || !strings.Contains(s.Report().Words().String(),
		"began anew") {
		t.Errorf("%d firings; %s", n, s.Report().Words())
	}
	l.copy = bytes.Clone(l.copy)
	copy(l.copy[2048:], make([]byte, 4096))
	s, n = l.found(t, file, nil, true)
	if n != 0 || !s.Report().Empty || !kept(t, s, file) {
		t.Errorf("with a damaged copy: %d firings; %s", n, s.Report().Words())
	}
	if got := must[[]byte](t)(os.ReadFile(must[[]string](t)(copiesOf(s.folder))[0])); !bytes.Equal(got,
		l.copy) {
		t.Error("the damaged copy was touched")
	}
}

// TestFoundBehind: damage that is found while the store serves is put right by the next start.
func TestFoundBehind(t *testing.T) {
	folder := t.TempDir()
	s := must[*Store](t)(Open(t.Context(), folder))
	furnish(t, s)
	if made, err := s.Copy(t.Context()); err != nil || !made {
		t.Fatal(made, err)
	}
	if err := s.Check(t.Context()); err != nil {
		t.Fatal(err)
	}
	page := count(t, s, `SELECT rootpage FROM sqlite_schema WHERE name = 'lid_result_of_form'`)
	s.Close()
	f := must[*os.File](t)(os.OpenFile(filepath.Join(folder, fileName), os.O_RDWR, 0))
	if _, err := f.WriteAt(bytes.Repeat([]byte("bad "), 1024), int64(page-1)<<12); err != nil {
		t.Fatal(err)
	}
	f.Close()
	// as if the file were too big to be checked before
	s = over(&handle{folder: folder, now: func() kiln.Stamp { return when }})
	if err := s.open(t.Context()); err != nil {
		t.Fatal(err)
	}
	if err := s.Check(t.Context()); !errors.Is(err, ErrDamaged) && !damage(err) {
		t.Fatalf("the check says %v", err)
	}
	s.read.Close()
	s.writer.Close()
	s = must[*Store](t)(Open(t.Context(), folder))
	defer s.Close()
	if s.Report().Copy == "" || len(must[[]tiles.KeptClay](t)(s.Clays(t.Context()))) != 1 {
		t.Errorf("the next start: %s", s.Report().Words())
	}
	s.Close()
	s = must[*Store](t)(Open(t.Context(), folder))
	if !s.Report().Clean() {
		t.Errorf("the one after it: %s", s.Report().Words())
	}
	s.Close()
}

// TestCopies: made while recording goes on, skipped if nothing changed, seven kept, each whole.
func TestCopies(t *testing.T) {
	folder := t.TempDir()
	at := when
	s := must[*Store](t)(Settings{Now: func() kiln.Stamp { return at }, Copies: 3}.Open(t.Context(), folder))
	m := firingOf(t, glaze, 0.1, 1)
	f := m.whole("f", "big-blue", beginning(1))
	must[int](t)(s.BeginFiring(t.Context(), running(f), nil))
	stop, done := make(chan struct{}), make(chan error, 1)
	go func() {
		for age := time.Duration(0); ; age += 5 * time.Second {
			select {
			case <-stop:
				done <- nil
				return
			default:
			}
			if err := s.AppendCurve(context.Background(), "f", m.samples(f.Kiln, f.Began, age,
				age+5*time.Second)); err != nil {
				done <- err
				return
			}
		}
	}()
	for i := range rounds(6, 100) {
		at = after(at, -time.Hour) // a clock that runs backwards does not confuse the order
		must[tiles.PutResult](t)(s.PutClay(t.Context(),
			tiles.Clay{ID: tiles.ClayID(fmt.Sprint("clay", i)), Name: "x"}, usecase.Precondition{}, at))
		if made, err := s.Copy(t.Context()); err != nil || !made {
			t.Fatalf("copy %d: made %v, %v", i, made, err)
		}
		copies := must[[]string](t)(copiesOf(folder))
		if want := min(i+1, 3); len(copies) != want {
			t.Fatalf("%d copies are kept, want %d", len(copies), want)
		}
		elsewhere := t.TempDir()
		if _, _, err := Restore(t.Context(), elsewhere, copies[0], day); err != nil {
			t.Fatal(err)
		}
		restored := must[*Store](t)(Open(t.Context(), elsewhere))
		if n := len(must[[]tiles.KeptClay](t)(restored.Clays(t.Context()))); n != i+1 ||
			!restored.Report().Clean() {
			t.Errorf("copy %d has %d clays; %s", i, n, restored.Report().Words())
		}
		restored.Close()
	}
	close(stop)
	if err := <-done; err != nil {
		t.Fatal(err)
	}
	must[bool](t)(s.Copy(t.Context()))
	if made, err := s.Copy(t.Context()); err != nil || made {
		t.Errorf("nothing changed: made %v, %v", made, err)
	}
	h := must[Health](t)(s.Health())
	if h.Copies != 3 || !h.LastCopy.Equal(at.Wall.Truncate(time.Second)) || len(h.Trouble) != 0 ||
		h.Bytes == 0 || h.Free == 0 {
		t.Errorf("health %+v", h)
	}
	s.Close()
	s = must[*Store](t)(Open(t.Context(), folder))
	defer s.Close()
	if made, err := s.Copy(t.Context()); err != nil || made {
		t.Errorf("nothing changed over a restart: made %v, %v", made, err)
	}
	err := filepath.WalkDir(folder, func(path string, d fs.DirEntry, err error) error {
		if strings.Contains(path, ".part") {
			t.Errorf("%s is left over", path)
		}
		return err
	})
	if err != nil {
		t.Error(err)
	}
}

// TestRestoreKeepsWhatWasThere: the file that a copy replaces stays beside it.
func TestRestoreKeepsWhatWasThere(t *testing.T) {
	folder := t.TempDir()
	s := must[*Store](t)(Open(t.Context(), folder))
	must[bool](t)(s.Copy(t.Context()))
	furnish(t, s)
	copies := must[[]string](t)(copiesOf(folder))
	if _, _, err := Restore(t.Context(), folder, copies[0], day); !errors.Is(err, ErrInUse) {
		t.Errorf("under a daemon: %v", err)
	}
	s.Close()
	bad := filepath.Join(t.TempDir(), "bad")
	if err := os.WriteFile(bad, []byte("not a copy"), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, _, err := Restore(t.Context(), folder, bad, day); err == nil {
		t.Error("something that is no copy was put in place")
	}
	_, aside, err := Restore(t.Context(), folder, copies[0], day)
	if err != nil {
		t.Fatal(err)
	}
	if len(aside) != 1 || !strings.HasSuffix(aside[0], "lidwright.db.replaced-20260109T090000Z") {
		t.Errorf("kept as %v", aside)
	}
	s = must[*Store](t)(Open(t.Context(), folder))
	defer s.Close()
	if n := len(must[[]tiles.KeptClay](t)(s.Clays(t.Context()))); n != 0 {
		t.Errorf("%d clays in the copy of an empty store", n)
	}
}
