package store

import (
	"bytes"
	"database/sql"
	"errors"
	"fmt"
	"io/fs"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"lidwright/api/usecase"
	"lidwright/kiln"
	"lidwright/kiln/message"
	"lidwright/tiles"
)

// files are all the files of a folder, by their path in it.
type files map[string][]byte

func filesIn(t *testing.T, folder string) files {
	t.Helper()
	all := files{}
	err := filepath.WalkDir(folder, func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() || strings.HasSuffix(path, "-shm") || d.Name() == "lock" {
			return err
		}
		inside, _ := filepath.Rel(folder, path)
		all[inside], err = os.ReadFile(path)
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return all
}

// laid lays the files out in a folder of their own.
func (f files) laid(t *testing.T) (folder string) {
	t.Helper()
	folder = filepath.Join(t.TempDir(), "store")
	for name, data := range f {
		path := filepath.Join(folder, name)
		if err := errors.Join(os.MkdirAll(filepath.Dir(path), 0o700),
			os.WriteFile(path, data, 0o600)); err != nil {
			t.Fatal(err)
		}
	}
	return folder
}

func (f files) with(name string, data []byte) files {
	g := files{}
	for n, d := range f {
		g[n] = d
	}
	g[name] = data
	return g
}

// busyStore leaves a store as a cut power does in mid-firing, with entries in its log, and says what it
// acknowledged. mark is called in its middle.
func busyStore(t *testing.T, mark func(s *Store)) (files, *acknowledged) {
	t.Helper()
	ctx, folder := t.Context(), t.TempDir()
	s := must[*Store](t)(Open(ctx, folder))
	defer s.Close()
	must[string](t)(s.SiteID(ctx, uuid('s', 1)))
	furnish(t, s, "BQ7")
	said := nothingYet()
	said.lives = 1
	m, f := childFiring(t, 0)
	must[int](t)(s.BeginFiring(ctx, running(f), nil))
	samples := m.samples(f.Kiln, f.Began, 0, 40*time.Minute)
	for i := range 60 {
		if i == 10 {
			if _, err := s.writer.Exec(`PRAGMA wal_checkpoint(TRUNCATE)`); err != nil {
				t.Fatal(err)
			}
		}
		if i == 30 {
			mark(s)
		}
		must[tiles.PutResult](t)(s.PutReading(ctx, reading(i, "BQ7", tiles.Fired, "87.60"),
			later(time.Duration(i)*time.Second)))
		said.entries[i] = true
		if err := s.AppendCurve(ctx, f.ID, samples[i*20:(i+1)*20]); err != nil {
			t.Fatal(err)
		}
		said.samples[0] = (i + 1) * 20
	}
	return filesIn(t, folder), said
}

// lost opens a store and says how much of what was acknowledged is not there, whether anybody is told, and
// what is wrong beside that.
func (a *acknowledged) lost(t *testing.T, folder string) (missing int, told string) {
	t.Helper()
	s, err := Open(t.Context(), folder)
	if err == nil && s.Report().Behind {
		if found := s.Check(t.Context()); found != nil { // the daemon ends, and starts anew
			if !damage(found) {
				t.Fatal(found)
			}
			s.Close()
			s, err = Open(t.Context(), folder)
		}
	}
	if err != nil {
		t.Fatalf("it does not open: %v", err)
	}
	defer s.Close()
	if err := check(t.Context(), s.read, `PRAGMA integrity_check`); err != nil {
		t.Errorf("it opened damaged: %v", err)
	}
	for n := range a.entries {
		if count(t, s, fmt.Sprintf(`SELECT count(*) FROM reading WHERE id = '%s' AND length_mm = 87.6`,
			uuid('r', n))) == 0 {
			missing++
		}
	}
	for n, want := range a.samples {
		m, f := childFiring(t, n)
		got, err := s.Samples(t.Context(), f.ID)
		if err != nil && !errors.Is(err, kiln.ErrNoFiring) {
			t.Fatal(err)
		}
		missing += max(0, want-len(got))
		if !same(got, m.samples(f.Kiln, f.Began, 0, time.Duration(len(got))*time.Second)) {
			missing++
		}
	}
	h := must[Health](t)(s.Health())
	return missing, message.Join(" ", h.Trouble...).String()
}

// TestLogFlippedIsTold flips bits of a log with acknowledged entries in it, one bit or many, with a
// high-water mark and without, and with a copy that has more than the file without its log: nothing that
// was acknowledged is missing without a word of it, and every byte of the log is kept.
func TestLogFlippedIsTold(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 20))
	for name, mark := range map[string]func(s *Store){
		"marked": func(s *Store) {
			if err := s.MarkHighWater(t.Context()); err != nil {
				t.Fatal(err)
			}
		},
		"copied":   func(s *Store) { must[bool](t)(s.Copy(t.Context())) },
		"unmarked": func(*Store) {},
	} {
		left, said := busyStore(t, mark)
		if missing, told := said.lost(t, left.laid(t)); missing > 0 || told != "" {
			t.Fatalf("%s, nothing flipped: %d missing, %q", name, missing, told)
		}
		wal, lossy, unsaid, worst := left[fileName+"-wal"], 0, 0, 0
		states := rounds(20, 170)
		for i := range states {
			flips := 1
			if i%2 == 1 {
				flips = 1 + rng.IntN(100)
			}
			flipped := bytes.Clone(wal)
			for range flips {
				flipped[rng.IntN(len(flipped))] ^= 1 << rng.IntN(8)
			}
			folder := left.with(fileName+"-wal", flipped).laid(t)
			missing, told := said.lost(t, folder)
			if missing > 0 {
				lossy++
				worst = max(worst, missing)
			}
			if missing > 0 && told == "" {
				unsaid++
				t.Errorf("%s, %d bits flipped: %d entries and samples are missing, and nobody is told", name,
					flips, missing)
			}
			if name == "copied" && missing > 31+30*20 {
				t.Errorf("%s: %d are missing, and the copy had more", name, missing)
			}
			if kept, _ := filepath.Glob(filepath.Join(folder, "*.corrupt-*")); strings.Contains(told,
				"kept:") && !slices.ContainsFunc(kept, func(path string) bool {
				return bytes.Equal(must[[]byte](t)(os.ReadFile(path)), flipped)
			}) {
				t.Errorf("%s: the log is not kept as it was: %v", name, kept)
			}
			os.RemoveAll(folder)
		}
		if lossy < states/4 {
			t.Errorf("%s: only %d of %d states lost anything: the test sees little", name, lossy, states)
		}
		t.Logf("%s: %d states, %d with something missing (%d at most), %d of them unsaid", name,
			states, lossy, worst, unsaid)
	}
}

// TestFullStoreFlipped flips a bit in each of 1, 10, 100 or 1,000 pages of a store that is too big to be
// read through before it serves: every row and every curve that was acknowledged is there, or it is told
// that it is not.
func TestFullStoreFlipped(t *testing.T) {
	ctx, home := t.Context(), t.TempDir()
	s := must[*Store](t)(Open(ctx, home))
	must[string](t)(s.SiteID(ctx, uuid('s', 1)))
	furnish(t, s, "BQ7")
	m := firingOf(t, glaze, 0.1, 1)
	m.length = 8 * time.Hour
	curve := m.samples("big-blue", beginning(0), 0, m.length)
	for i := range 120 {
		f := m.whole(kiln.FiringID(uuid('f', i)), "big-blue", beginning(uint64(i)))
		f.Source = "import"
		must[tiles.PutResult](t)(s.PutFiring(ctx, f, curve, i, usecase.Precondition{}, when))
	}
	for i := range 400 {
		must[tiles.PutResult](t)(s.PutReading(ctx, reading(i, "BQ7", tiles.Fired, "87.60"),
			later(time.Duration(i)*time.Second)))
	}
	must[bool](t)(s.Copy(ctx))
	want := rowsOf(t, s.read, nil)
	if told := must[message.Message](t)(s.Compare(ctx)); !told.IsZero() {
		t.Fatalf("nothing is flipped: %s", told)
	}
	s.Close()
	left := filesIn(t, home)
	pages := len(left[fileName]) / 4096
	if pages < 1100 {
		t.Fatalf("%d pages: the store is not full", pages)
	}
	rng := rand.New(rand.NewPCG(20, 4))
	unsaid, told := map[int]int{}, map[int]int{}
	states := rounds(16, 500)
	for i := range states {
		n := []int{1, 10, 100, 1000}[i%4]
		file := bytes.Clone(left[fileName])
		for _, page := range rng.Perm(pages)[:n] {
			file[page*4096+rng.IntN(4096)] ^= 1 << rng.IntN(8)
		}
		folder := left.with(fileName, file).laid(t)
		_, says := nothingYet().lost(t, folder)
		s := must[*Store](t)(Open(ctx, folder))
		if differ := must[message.Message](t)(s.Compare(ctx)).String(); says == "" {
			says = differ
		}
		got := rowsOf(t, s.read, nil)
		s.Close()
		var other []string
		for table, rows := range want {
			if !slices.Equal(rows, got[table]) {
				other = append(other, table)
			}
			if summed := table == "curve" || table == "envelope" || table == "run"; says == "" &&
				(len(rows) != len(got[table]) || summed && !slices.Equal(rows, got[table])) {
				t.Errorf("a bit in %d pages: table %s is not what was acknowledged, and nobody is told", n,
					table)
			}
		}
		switch {
		case says != "":
			told[n]++
		case len(other) > 0:
			unsaid[n]++
			t.Errorf("a bit in %d pages: a fact in %v is another than was acknowledged, and nobody is told",
				n, other)
		}
		os.RemoveAll(folder)
	}
	t.Logf("%d states of %d pages: told by pages hit %v, a fact changed and unsaid %v",
		states, pages, told, unsaid)
	if told[100] < states/4-1 || told[1000] < states/4 {
		t.Errorf("many pages hit, and nobody is told: %v of %d each", told, states/4)
	}
}

// TestBackwards: a store that went back is told, and the newest copy of its life is taken where it has
// more; an older file that somebody put there stays; each of them, and a copy put back, is another life.
func TestBackwards(t *testing.T) {
	ctx, home := t.Context(), t.TempDir()
	at := when
	now := func() kiln.Stamp { return at }
	open := func(folder string) (*Store, string) {
		t.Helper()
		s := must[*Store](t)(Settings{Now: now}.Open(ctx, folder))
		_, life, err := s.Site(ctx)
		if err != nil {
			t.Fatal(err)
		}
		return s, life
	}
	s, _ := open(home)
	must[string](t)(s.SiteID(ctx, uuid('s', 1)))
	clay := func(name tiles.ClayID) {
		must[tiles.PutResult](t)(s.PutClay(ctx, tiles.Clay{ID: name, Name: "x"}, usecase.Precondition{}, at))
	}
	clay("one")
	s.Close()
	s, life := open(home)
	older := filesIn(t, home)[fileName] // its log is in it, by the stop
	clay("two")
	must[bool](t)(s.Copy(ctx))
	clay("three")
	if err := s.MarkHighWater(ctx); err != nil {
		t.Fatal(err)
	}
	left := filesIn(t, home)
	s.Close()
	path := filepath.Join(home, fileName)
	has := func(want int, words string, alike bool) {
		t.Helper()
		var now string
		s, now = open(home)
		defer s.Close()
		if n := len(must[[]tiles.KeptClay](t)(s.Clays(ctx))); n != want {
			t.Errorf("%d clays are there, want %d", n, want)
		}
		if got := message.Join(" ", must[Health](t)(s.Health()).Alarm...).String(); !strings.Contains(got,
			words) || words == "" && got != "" {
			t.Errorf("told: %q, want %q", got, words)
		}
		if (now == life) != alike {
			t.Errorf("the life is %s and was %s", now, life)
		}
		life = now
	}
	has(3, "", true)

	// The card gave an older state of the file back: the copy has more.
	if err := os.WriteFile(path, older, 0o600); err != nil {
		t.Fatal(err)
	}
	has(2, "which has more, took its place", false)
	has(2, "At the start of", true)
	at = after(at, 8*24*time.Hour)
	has(2, "", true)

	// Somebody put an older file there, by another name: it stays, and nothing of it is taken for ours.
	part := filepath.Join(home, "x")
	if err := errors.Join(os.WriteFile(part, older, 0o600), os.Rename(part, path)); err != nil {
		t.Fatal(err)
	}
	has(1, "Another file was put in the place of the store", false)

	// A copy put back on purpose is told by who put it back, and not at the start.
	at = after(at, 8*24*time.Hour)
	if _, _, err := Restore(ctx, home, must[[]string](t)(copiesOf(home))[0], day); err != nil {
		t.Fatal(err)
	}
	has(2, "", false)

	// The whole folder on another card is what it was.
	moved := left.laid(t)
	other, kept := open(moved)
	if !other.Report().Clean() || len(must[[]tiles.KeptClay](t)(other.Clays(ctx))) != 3 {
		t.Errorf("the folder was moved: %s", other.Report().Words())
	}
	var first string
	if err := other.read.QueryRow(`SELECT life FROM site`).Scan(&first); err != nil || first != kept {
		t.Error(err)
	}
	other.Close()

	// No file at all, and none to take its place.
	if err := errors.Join(os.Remove(path), os.RemoveAll(filepath.Join(home, copiesFolder))); err != nil {
		t.Fatal(err)
	}
	s = must[*Store](t)(Open(ctx, home))
	if words := s.Report().Words(); !strings.Contains(words.String(), "was missing and there was no copy") {
		t.Errorf("told: %q", words)
	}
	s.Close()
}

// TestLivesApart: a copy is put back and other facts get the numbers of those that are missing: whoever
// follows has them all in the end, and none of the life before.
func TestLivesApart(t *testing.T) {
	ctx, folder := t.Context(), t.TempDir()
	s := must[*Store](t)(Open(ctx, folder))
	must[string](t)(s.SiteID(ctx, uuid('s', 1)))
	must[bool](t)(s.Copy(ctx))
	must[tiles.PutResult](t)(s.PutClay(ctx, tiles.Clay{ID: "tern", Name: "x"}, usecase.Precondition{}, when))
	var f follower
	f.holds(t, s)
	s.Close()
	if _, _, err := Restore(ctx, folder, must[[]string](t)(copiesOf(folder))[0], day); err != nil {
		t.Fatal(err)
	}
	s = must[*Store](t)(Open(ctx, folder))
	defer s.Close()
	must[tiles.PutResult](t)(s.PutClay(ctx, tiles.Clay{ID: "owl", Name: "x"}, usecase.Precondition{}, when))
	f.holds(t, s)
	if len(f.facts) != 1 || f.facts[0].ID != "owl" {
		t.Errorf("the follower has %+v", f.facts)
	}
}

// TestEmptiedStore: a file whose tables were all in a log that is gone is no store that nobody has written
// to yet. The newest copy takes its place; without one the start says what is missing.
func TestEmptiedStore(t *testing.T) {
	for _, copied := range []bool{true, false} {
		ctx, home := t.Context(), t.TempDir()
		at := when
		settings := Settings{Now: func() kiln.Stamp { return at }}
		s := must[*Store](t)(settings.Open(ctx, home))
		must[string](t)(s.SiteID(ctx, uuid('s', 1)))
		for _, id := range []tiles.ClayID{"one", "two"} {
			must[tiles.PutResult](t)(s.PutClay(ctx, tiles.Clay{ID: id, Name: "x"},
				usecase.Precondition{}, at))
		}
		if copied {
			must[bool](t)(s.Copy(ctx))
		}
		if err := s.MarkHighWater(ctx); err != nil {
			t.Fatal(err)
		}
		s.Close()
		bare := filepath.Join(t.TempDir(), "bare.db")
		db := must[*sql.DB](t)(sql.Open("sqlite", dsn(plainDSN, bare)))
		must[sql.Result](t)(db.ExecContext(ctx, `PRAGMA journal_mode = WAL`))
		db.Close()
		emptied := must[[]byte](t)(os.ReadFile(bare))
		if len(emptied) == 0 {
			t.Fatal("a file without tables is empty: the case is another one")
		}
		if err := os.WriteFile(filepath.Join(home, fileName), emptied, 0o600); err != nil { // the same file
			t.Fatal(err)
		}
		s = must[*Store](t)(settings.Open(ctx, home))
		defer s.Close()
		if n := len(must[[]tiles.KeptClay](t)(s.Clays(ctx))); copied && n != 2 {
			t.Errorf("%d clays are there, want the 2 of the copy", n)
		}
		if s.Report().Words().IsZero() {
			t.Errorf("copied %v: nobody is told that 2 clays are missing", copied)
		}
	}
}
