package store

import (
	"bytes"
	"context"
	"crypto/sha256"
	"database/sql"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"golang.org/x/sys/unix"

	"lidwright/api/usecase"
	"lidwright/tiles"
)

// TestFolders are the cases in which the store cannot start: each with an error of its kind whose
// one line names the path and the remedy.
func TestFolders(t *testing.T) {
	dir := t.TempDir()
	file := filepath.Join(dir, "file")
	if err := os.WriteFile(file, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	folder := func(name string, f func(folder string) error) string {
		path := filepath.Join(dir, name)
		if err := errors.Join(os.Mkdir(path, 0o700), f(path)); err != nil {
			t.Fatal(err)
		}
		return path
	}
	used := folder("used", func(string) error { return nil })
	first := must[*Store](t)(Open(t.Context(), used))
	defer first.Close()
	cases := []struct {
		name, folder string
		want         error
		says         string
	}{
		{"missing", filepath.Join(dir, "missing"), ErrFolder, "make it"},
		{"a file in its place", file, ErrFolder, "move it away"},
		{"a file on the way", filepath.Join(file, "x"), ErrFolder, "make it"},
		{"a folder in the place of the file",
			folder("sub", func(f string) error { return os.Mkdir(filepath.Join(f, fileName), 0o700) }),
			ErrFolder, "move it away"},
		{"a link in the place of the file",
			folder("link", func(f string) error { return os.Symlink(file, filepath.Join(f, fileName)) }),
			ErrFolder, "move it away"},
		{"a folder in the place of the lock",
			folder("lock", func(f string) error { return os.Mkdir(filepath.Join(f, "lock"), 0o700) }),
			ErrFolder, "give"},
		{"another daemon", used, ErrInUse, "stop the other"},
		{"newer tables", folder("newer", newer), ErrNewer, "install the newer version"},
	}
	if os.Geteuid() == 0 { // only root can give a folder away; others meet this case in the packaging tests
		cases = append(cases, struct {
			name, folder string
			want         error
			says         string
		}{"another owner", folder("owner", func(f string) error { return os.Chown(f, 65534, -1) }), ErrFolder,
			"chown"})
	}
	for _, c := range cases {
		s, err := Open(t.Context(), c.folder)
		if err == nil {
			s.Close()
			t.Errorf("%s: opened", c.name)
			continue
		}
		if text := err.Error(); !errors.Is(err, c.want) || !strings.Contains(text, c.says) ||
			!strings.Contains(text, c.folder) || strings.Contains(text, "\n") {
			t.Errorf("%s: %v", c.name, err)
		}
	}
	if err := first.Ready(t.Context()); err != nil {
		t.Errorf("the first daemon is harmed: %v", err)
	}
}

// newer makes a store that a newer program wrote.
func newer(folder string) error {
	s, err := Open(context.Background(), folder)
	if err != nil {
		return err
	}
	_, err = s.writer.Exec(`PRAGMA user_version = 77`)
	return errors.Join(err, s.Close())
}

// TestNewerIsLeftAlone: not a byte of a newer file changes.
func TestNewerIsLeftAlone(t *testing.T) {
	folder := t.TempDir()
	if err := newer(folder); err != nil {
		t.Fatal(err)
	}
	sum := func() [32]byte {
		return sha256.Sum256(must[[]byte](t)(os.ReadFile(filepath.Join(folder,
			fileName))))
	}
	before := sum()
	if _, err := Open(t.Context(), folder); !errors.Is(err, ErrNewer) ||
		!strings.Contains(err.Error(), "77") {
		t.Fatal(err)
	}
	if sum() != before {
		t.Error("the file was changed")
	}
}

// TestPragmas holds what safety and wear rest on, on the connections that are really used.
func TestPragmas(t *testing.T) {
	s := openStore(t)
	furnish(t, s)
	for pragma, want := range map[string]string{"journal_mode": "wal", "synchronous": "2",
		"foreign_keys": "1", "page_size": "4096", "busy_timeout": "5000", "journal_size_limit": "16777216",
		"wal_autocheckpoint": "1000"} {
		var got string
		if err := s.writer.QueryRow(`PRAGMA ` + pragma).Scan(&got); err != nil || got != want {
			t.Errorf("writer: %s is %s, %v, want %s", pragma, got, err, want)
		}
	}
	if _, err := s.read.Exec(`DELETE FROM clay`); err == nil {
		t.Error("a reader can write")
	}
	if must[os.FileInfo](t)(os.Stat(s.path())).Mode().Perm()&0o077 != 0 {
		t.Log("the file is open to others; the folder is not") // the unit has UMask=0077
	}
}

// TestMigration: a store of an older schema is copied first and brought up to date; where a file of
// several fails, none of them leaves a trace.
func TestMigration(t *testing.T) {
	s := openStore(t)
	furnish(t, s)
	files := schemaFiles()
	bad := append(files[:len(files):len(files)], `CREATE TABLE later (a INTEGER) STRICT;`,
		`CREATE TABLE half (a INTEGER) STRICT; INSERT INTO nowhere VALUES (1);`)
	if err := s.migrate(t.Context(), bad); err == nil {
		t.Fatal("a bad schema file was applied")
	}
	if n, v := count(t, s, `SELECT count(*) FROM sqlite_schema WHERE name IN ('later', 'half')`), count(t, s,
		`SELECT user_version FROM pragma_user_version`); n != 0 || v != len(files) {
		t.Errorf("%d tables are there at version %d", n, v)
	}
	if copies := must[[]string](t)(copiesOf(s.folder)); len(copies) != 1 {
		t.Errorf("copies made first: %v", copies)
	}
	orphan := append(files[:len(files):len(files)], bad[len(files)],
		`PRAGMA defer_foreign_keys = 1; INSERT INTO curve (firing, data) VALUES (99, x'00');`)
	if err := s.migrate(t.Context(), orphan); err == nil {
		t.Error("a schema file that leaves a row without its parent was applied")
	}
	if err := s.migrate(t.Context(), bad[:len(files)+1]); err != nil {
		t.Error(err)
	}
	if err := s.migrate(t.Context(), files); !errors.Is(err, ErrNewer) {
		t.Errorf("an older program: %v", err)
	}
}

// TestStoppedInMigration: whatever was committed of a first start, the next one completes it.
func TestStoppedInMigration(t *testing.T) {
	for done := range len(schemaFiles()) {
		folder := t.TempDir()
		s := over(&handle{folder: folder})
		db := must[*sql.DB](t)(sql.Open("sqlite", dsn(writerDSN, s.path())))
		s.writer = db
		if err := s.migrate(t.Context(), schemaFiles()[:done]); err != nil {
			t.Fatal(err)
		}
		db.Close()
		again, err := Open(t.Context(), folder)
		if err != nil {
			t.Errorf("after %d files: %v", done, err)
			continue
		}
		furnish(t, again)
		again.Close()
	}
}

// TestFull: the card is full in mid-firing. Nothing is acknowledged that is not there, what was
// before is there, and as soon as there is room all goes on.
func TestFull(t *testing.T) {
	folder := t.TempDir()
	s := must[*Store](t)(Open(t.Context(), folder))
	m := firingOf(t, glaze, 0.1, 1)
	f := m.whole("f", "big-blue", beginning(1))
	must[int](t)(s.BeginFiring(t.Context(), running(f), nil))
	var pages int
	if err := s.writer.QueryRow(`PRAGMA page_count`).Scan(&pages); err != nil {
		t.Fatal(err)
	}
	// the simulated failure
	if _, err := s.writer.Exec(`PRAGMA max_page_count = ` + itoa(pages+20)); err != nil {
		t.Fatal(err)
	}
	acknowledged := fillUp(t, s, m, f)
	clays := 0 // a few entries still find room in pages that are there
	for ; ; clays++ {
		clay := tern
		clay.ID = tiles.ClayID(itoa(clays))
		if _, err := s.PutClay(t.Context(), clay, usecase.Precondition{}, when); err != nil {
			if !errors.Is(err, usecase.ErrBusy) {
				t.Errorf("an entry while full: %v", err)
			}
			break
		}
	}
	if n := len(must[[]tiles.KeptClay](t)(s.Clays(t.Context()))); n != clays {
		t.Errorf("%d clays were acknowledged and %d are there", clays, n)
	}
	if _, err := s.writer.Exec(`PRAGMA max_page_count = 1000000`); err != nil {
		t.Fatal(err)
	}
	goOn(t, s, m, f, acknowledged)
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	s = must[*Store](t)(Open(t.Context(), folder))
	defer s.Close()
	if !s.Report().Clean() {
		t.Errorf("the next start is not clean: %s", s.Report().Words())
	}
}

// TestFullDisk is TestFull on a disk that is really full. It needs root, for a small disk in memory.
func TestFullDisk(t *testing.T) {
	if os.Getenv("LIDWRIGHT_SOAK") == "" {
		return // the short form is TestFull
	}
	folder := t.TempDir()
	if err := unix.Mount("tmpfs", folder, "tmpfs", 0, "size=8m"); err != nil {
		t.Fatalf("mount a disk of 8 MiB: %v; run the soak as root", err)
	}
	defer unix.Unmount(folder, unix.MNT_DETACH)
	s := must[*Store](t)(Open(t.Context(), folder))
	m := firingOf(t, glaze, 0.1, 1)
	f := m.whole("f", "big-blue", beginning(1))
	must[int](t)(s.BeginFiring(t.Context(), running(f), nil))
	ballast := filepath.Join(folder, "ballast")
	var free unix.Statfs_t
	if err := unix.Statfs(folder, &free); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(ballast, bytes.Repeat([]byte{1}, int(free.Bavail-20)*int(free.Bsize)),
		0o600); err != nil {
		t.Fatal(err)
	}
	acknowledged := fillUp(t, s, m, f)
	if _, err := s.Copy(t.Context()); err == nil {
		t.Error("a copy was made on a full disk")
	}
	if err := os.Remove(ballast); err != nil {
		t.Fatal(err)
	}
	goOn(t, s, m, f, acknowledged)
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	s = must[*Store](t)(Open(t.Context(), folder))
	defer s.Close()
	if !s.Report().Clean() {
		t.Errorf("the next start is not clean: %s", s.Report().Words())
	}
}
