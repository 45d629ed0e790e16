package store

import (
	"bytes"
	"context"
	"database/sql"
	"errors"
	"flag"
	"fmt"
	"lidwright/kiln/kilntest"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"testing/fstest"
	"time"

	"golang.org/x/sys/unix"
)

// The state of the tables at each schema number is stored in testdata, with rows in every table, as
// a program of that time left it. A stored one is never written again once it was released; while
// nothing is, an edit of a schema file writes its own anew:
//
//	go test -run 'TestStoredSchemas|TestTablesSum' ./daemon/store -write-schema 2
var writeSchema = flag.Int("write-schema", 0, "store the tables of this schema number anew")

// The sum by which a start knows the tables of the newest schema is that of what its files make.
func TestTablesSum(t *testing.T) {
	sum := sumOf(must[string](t)(madeTables(t.Context(), schemaFiles())))
	if *writeSchema > 0 {
		if err := os.WriteFile("schema/tables.sum", []byte(sum+"\n"), 0o644); err != nil {
			t.Fatal(err)
		}
	} else if sum != strings.TrimSpace(tablesSum) {
		t.Errorf("schema/tables.sum is of other tables: go test -run TestTablesSum ./daemon/store -write-schema %d", len(schemaFiles()))
	}
}

func storedPath(n int) string {
	return filepath.Join("testdata", fmt.Sprintf("schema-%d.sql", n))
}

// programOf has the files of a program that knows n schemas in place for a test; one more than there
// are is a program to come.
func programOf(t *testing.T, n int) {
	was := schema
	t.Cleanup(func() { schema = was })
	schema = filesOf(n)
}

// nextSchema is as a later version might have it: a column more, and a table that takes a while.
const nextSchema = `
ALTER TABLE firing ADD COLUMN later TEXT;
CREATE TABLE heavy (row INTEGER PRIMARY KEY, data BLOB NOT NULL) STRICT;
WITH RECURSIVE n (i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n WHERE i < 4000) INSERT INTO heavy SELECT i, randomblob(150) FROM n;
UPDATE firing SET later = 'x';
`

func filesOf(n int) fstest.MapFS {
	schema = embedded
	texts := append(schemaFiles(), nextSchema)
	fs := fstest.MapFS{}
	for i, text := range texts[:n] {
		fs[fmt.Sprintf("schema/%04d_x.sql", i+1)] = &fstest.MapFile{Data: []byte(text)}
	}
	return fs
}

// dump writes the tables and rows of a database as SQL.
func dump(t *testing.T, db *sql.DB) []byte {
	t.Helper()
	ctx := t.Context()
	var out bytes.Buffer
	rows := must[*sql.Rows](t)(db.QueryContext(ctx,
		`SELECT sql || ';' FROM sqlite_schema WHERE sql IS NOT NULL AND name NOT LIKE 'sqlite%' ORDER BY rowid`))
	var text string
	for _, text = range must[[]string](t)(collect(rows, "tables",
		func(s *string) error { return rows.Scan(s) })) {
		out.WriteString(text + "\n")
	}
	for _, table := range tablesOf(t, db) {
		columns := must[[]carryColumn](t)(carryColumns(ctx, db, "main", table))
		quoted := make([]string, len(columns))
		for i, c := range columns {
			quoted[i] = `quote("` + c.name + `")`
		}
		rows := must[*sql.Rows](t)(db.QueryContext(ctx, `SELECT `+strings.Join(quoted, ` || ',' || `)+
			` FROM `+table+` ORDER BY 1`))
		for _, row := range must[[]string](t)(collect(rows, "rows",
			func(s *string) error { return rows.Scan(s) })) {
			fmt.Fprintf(&out, "INSERT INTO %s (%s) VALUES (%s);\n", table, named(columns), row)
		}
	}
	fmt.Fprintf(&out, "PRAGMA user_version = %d;\n", must[schemaHad](t)(schemaOf(ctx, db)).number)
	return out.Bytes()
}

func tablesOf(t *testing.T, db querier) []string {
	t.Helper()
	rows := must[*sql.Rows](t)(db.QueryContext(t.Context(),
		`SELECT name FROM sqlite_schema WHERE type = 'table' AND name NOT LIKE 'sqlite%' ORDER BY rowid`))
	return must[[]string](t)(collect(rows, "tables", func(s *string) error { return rows.Scan(s) }))
}

// laidOut lays a stored state out as the store of a folder of its own, and gives its rows.
func laidOut(t *testing.T, n int) (folder string, rows map[string][]string) {
	t.Helper()
	folder = t.TempDir()
	text, err := os.ReadFile(storedPath(n))
	if err != nil {
		t.Fatalf("%v; a schema file that comes is stored too: go test -run TestStoredSchemas ./daemon/store -write-schema %d", err, n)
	}
	db := must[*sql.DB](t)(sql.Open("sqlite", dsn(writerDSN, filepath.Join(folder, fileName))))
	defer db.Close()
	db.SetMaxOpenConns(1)
	if _, err := db.Exec("BEGIN; PRAGMA defer_foreign_keys = 1;" + string(text) + "COMMIT;"); err != nil {
		t.Fatal(err)
	}
	return folder, rowsOf(t, db, nil)
}

// rowsOf is every row of the tables, of the columns that of has; nil: of all but the program. What a
// schema called by another name has the newest one.
func rowsOf(t *testing.T, db querier, of map[string][]string) map[string][]string {
	t.Helper()
	all := map[string][]string{}
	for _, table := range tablesOf(t, db) {
		called := nowCalled(table)
		if table == "program" || of != nil && of[called] == nil {
			continue
		}
		columns := must[[]carryColumn](t)(carryColumns(t.Context(), db, "main", table))
		columns = slices.DeleteFunc(columns, func(c carryColumn) bool {
			// another after a copy is put back; in load_firing since schema 7
			return c.name == "life" || table == "load" && c.name == "firing"
		})
		if of != nil { // the first entry names the columns
			columns = slices.DeleteFunc(columns, func(c carryColumn) bool {
				return !strings.Contains(of[called][0], `"`+c.name+`"`)
			})
		}
		all[called] = []string{named(columns)}
		if err := eachRow(t.Context(), db, table, columns, func(v []any) error {
			all[called] = append(all[called], nowCalled(fmt.Sprintf("%#v", slices.Clone(v))))
			return nil
		}); err != nil {
			t.Fatal(err)
		}
		slices.Sort(all[called][1:])
	}
	return all
}

// nowCalled gives a table, or a row that names it as a kind, its name since schema 11.
func nowCalled(text string) string {
	if text == "verdict" {
		return "lid_result"
	}
	return strings.ReplaceAll(text, `"verdict"`, `"lid_result"`)
}

func sameRows(t *testing.T, what string, want, got map[string][]string) {
	t.Helper()
	for table, rows := range want {
		if !slices.Equal(rows, got[table]) {
			t.Errorf("%s: table %s has %d rows, %d before, or other ones", what, table,
				len(got[table])-1, len(rows)-1)
		}
	}
}

// TestStoredSchemas brings the stored state of each schema number up to date, and to a program to
// come: no row is lost or changed, a copy of before was made first and is whole, and the programs of
// before name the one that is needed.
func TestStoredSchemas(t *testing.T) {
	ctx := t.Context()
	schema = embedded
	newest := len(schemaFiles())
	if *writeSchema > 0 {
		store := must[*Store](t)(Open(ctx, fullSite(t, 1)))
		defer store.Close()
		fresh := must[*sql.DB](t)(sql.Open("sqlite", "file:"+filepath.Join(t.TempDir(), "x.db")))
		defer fresh.Close()
		fresh.SetMaxOpenConns(1)
		must[sql.Result](t)(fresh.Exec(strings.Join(schemaFiles()[:*writeSchema], "\n") +
			fmt.Sprintf("; PRAGMA user_version = %d; ATTACH '%s' AS full; PRAGMA defer_foreign_keys = 1",
				*writeSchema, store.path())))
		for _, table := range tablesOf(t, fresh) {
			list := named(must[[]carryColumn](t)(carryColumns(ctx, fresh, "main", table)))
			must[sql.Result](t)(fresh.Exec(`INSERT INTO main.` + table + ` (` + list + `) SELECT ` +
				list + ` FROM full.` + table))
		}
		if err := os.WriteFile(storedPath(*writeSchema), dump(t, fresh), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	for n := 1; n <= newest; n++ {
		for to := n; to <= newest+1; to++ {
			what := fmt.Sprintf("schema %d to %d", n, to)
			programOf(t, to)
			folder, before := laidOut(t, n)
			s, err := Settings{Version: "9.1"}.Open(ctx, folder)
			if err != nil {
				t.Errorf("%s: %v", what, err)
				continue
			}
			if words := s.Report().Words(); !words.IsZero() {
				t.Fatalf("%s: the tables are not those of the schema files, and the store was put aside (%s). A released schema file was edited? Its change belongs into a new file; while nothing is released: go test -run TestStoredSchemas ./daemon/store -write-schema %d", what, words, n)
			}
			if to == newest {
				for _, table := range carryTables {
					if rows, ok := before[table]; ok && len(rows) < 2 {
						t.Errorf("schema %d has no row of %s stored", n, table)
					}
				}
			}
			sameRows(t, what, before, rowsOf(t, s.read, before))
			var fired int
			if err := s.read.QueryRowContext(ctx,
				`SELECT count(*) FROM load_firing JOIN load ON load.id = load_firing.load`).Scan(&fired); to >= 7 && n > 1 && (err != nil || fired != 1) {
				t.Errorf("%s: %d loads with a firing, want 1: %v", what, fired, err)
			}
			have := must[schemaHad](t)(schemaOf(ctx, s.read))
			copies := must[[]string](t)(copiesOf(folder))
			if have.number != to || len(copies) != min(1, to-n) || to > n && have.program != "9.1" {
				t.Errorf("%s: it has %+v and %d copies", what, have, len(copies))
			}
			s.Close()
			if to == n {
				continue
			}
			copied := must[*sql.DB](t)(sql.Open("sqlite", dsn(copyDSN, copies[0])))
			sameRows(t, what+", copy", before, rowsOf(t, copied, nil))
			copied.Close()
			programOf(t, n)
			if _, err := Open(ctx, folder); !errors.Is(err, ErrNewer) || !strings.Contains(err.Error(),
				"install version 9.1 or newer") {
				t.Errorf("%s: the program before says %v", what, err)
			}
			// With the copy of before it starts again.
			must2(0, func() error { _, _, err := Restore(ctx, folder, copies[0], day); return err }())
			old := must[*Store](t)(Open(ctx, folder))
			sameRows(t, what+" and back", before, rowsOf(t, old.read, nil))
			old.Close()
		}
	}
}

const childNext = childVar + "_NEXT"

// nextChild is a program to come, as it starts on a store.
func nextChild(folder string) error {
	schema = embedded
	schema = filesOf(len(schemaFiles()) + 1)
	s, err := Settings{Version: "9.2"}.Open(context.Background(), folder)
	if err != nil {
		return err
	}
	return s.Close()
}

// TestKilledInUpgrade kills a new version outright in its first 300 ms: the store is the old one,
// with which the old version starts, or the new one; no row is lost, and every copy is whole.
func TestKilledInUpgrade(t *testing.T) {
	ctx := t.Context()
	rng := rand.New(rand.NewPCG(13, 1))
	schema = embedded
	newest := len(schemaFiles())
	got := map[string]int{}
	for i := range rounds(10, 200) {
		n := 1 + i%newest
		folder, before := laidOut(t, n)
		cmd := exec.Command(os.Args[0])
		cmd.Env = append(os.Environ(), childVar+"="+folder, childNext+"=1")
		var trouble bytes.Buffer
		cmd.Stderr = &trouble
		if err := kilntest.StartChild(cmd, syscall.SIGKILL); err != nil {
			t.Fatal(err)
		}
		timer := time.AfterFunc(time.Duration(rng.Int64N(int64(300*time.Millisecond))),
			func() { cmd.Process.Signal(syscall.SIGKILL) })
		err := cmd.Wait()
		timer.Stop()
		if err != nil && trouble.Len() > 0 {
			t.Fatalf("the new version: %v %s", err, trouble.Bytes())
		}
		for _, c := range must[[]string](t)(copiesOf(folder)) {
			programOf(t, n)
			if err := checkCopy(ctx, c); err != nil {
				t.Errorf("kill %d: %v", i, err)
			}
		}
		programOf(t, n)
		s, err := Open(ctx, folder)
		switch {
		case err == nil:
			got["old"]++
			if !s.Report().Words().IsZero() {
				t.Errorf("kill %d: the old version says %s", i, s.Report().Words())
			}
		case errors.Is(err, ErrNewer) && strings.Contains(err.Error(), "version 9.2 or newer"):
			got["new"]++
			programOf(t, newest+1)
			s = must[*Store](t)(Open(ctx, folder))
		default:
			t.Fatalf("kill %d: the old version says %v", i, err)
		}
		sameRows(t, "kill "+strconv.Itoa(i), before, rowsOf(t, s.read, before))
		s.Close()
		os.RemoveAll(folder)
	}
	t.Logf("killed in an upgrade: %v", got)
	if got["old"] == 0 {
		t.Error("no kill came before the end: the test sees little")
	}
}

// TestUpgradeOnAFullCard: no file may grow beyond a limit, from nothing up to all that the upgrade
// takes (with LIDWRIGHT_SOAK a real small disk too, which is full but for some): it fails at the
// first look, in the copy, in the move of the tables, or not at all. Where it fails the words say so, the old
// version starts, every row is there, and with room the new version does it.
func TestUpgradeOnAFullCard(t *testing.T) {
	schema = embedded
	newest := len(schemaFiles())
	got := map[string]int{}
	limits := []int{0, 8, 64, 200, 400, 500, 600, 800, 1000, 1 << 20} // kB
	for i := range rounds(0, 60) {
		limits = append(limits, 20*i)
	}
	for _, kB := range limits {
		folder, before := laidOut(t, newest)
		// in blocks of 512 bytes: sh of POSIX
		got[upgrade(t, folder, before, "trap '' XFSZ; ulimit -f "+strconv.Itoa(kB*2)+"; exec \"$0\"", nil)]++
	}
	if got["copy"] == 0 || got["tables"] == 0 || got[""] == 0 {
		t.Errorf("a limit on files fails it in %v", got)
	}
	t.Logf("a limit on files fails it in %v", got)
	if os.Getenv("LIDWRIGHT_SOAK") == "" {
		return
	}
	got = map[string]int{}
	for left := 0; left <= 12<<20; left += 512 << 10 {
		disk := t.TempDir()
		if err := unix.Mount("tmpfs", disk, "tmpfs", 0, "size=16m"); err != nil {
			t.Fatalf("mount a disk of 16 MiB: %v; run the soak as root", err)
		}
		t.Cleanup(func() { unix.Unmount(disk, unix.MNT_DETACH) })
		from, before := laidOut(t, newest)
		folder, ballast := filepath.Join(disk, "store"), filepath.Join(disk, "ballast")
		var d unix.Statfs_t
		if err := errors.Join(os.CopyFS(folder, os.DirFS(from)), unix.Statfs(disk, &d)); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(ballast, make([]byte, max(0, int(d.Bavail)*int(d.Bsize)-left)),
			0o600); err != nil {
			t.Fatal(err)
		}
		got[upgrade(t, folder, before, `exec "$0"`, func() { os.Remove(ballast) })]++
	}
	if got["copy"] == 0 || got[""] == 0 {
		t.Errorf("a full disk fails it in %v", got)
	}
	t.Logf("a full disk fails it in %v", got)
}

// upgrade starts a program to come on a store under sh, holds what is there against the rows of
// before, and says in which step it failed; "" where it did not. Given room it must come to its end.
func upgrade(t *testing.T, folder string, before map[string][]string, under string,
	room func()) (failed string) {
	t.Helper()
	ctx := t.Context()
	schema = embedded
	newest := len(schemaFiles())
	next := func(under string) (string, error) {
		cmd := exec.Command("sh", "-c", under, os.Args[0])
		cmd.Env = append(os.Environ(), childVar+"="+folder, childNext+"=1")
		said, err := cmd.CombinedOutput()
		return string(said), err
	}
	said, err := next(under)
	switch {
	case err == nil:
	case strings.Contains(said, "copy it before"):
		failed = "copy"
	case strings.Contains(said, "bring the tables"):
		failed = "tables"
	case strings.Contains(said, "look "+folder): // not even the memory beside the file finds room
		failed = "look"
		if room != nil { // the old version finds none either
			room()
		}
	default:
		t.Fatalf("the new version says %v: %s", err, said)
	}
	if failed != "" {
		if failed != "look" && !strings.Contains(said, ErrUpgrade.Error()) ||
			!strings.Contains(said, "MB are free") || strings.Count(said, "\n") > 1 {
			t.Errorf("the words: %s", said)
		}
		programOf(t, newest)
		old, err := Open(ctx, folder)
		if err != nil {
			t.Fatalf("the old version after %q: %v", said, err)
		}
		if words := old.Report().Words(); !words.IsZero() {
			t.Errorf("the old version after %q says %s", said, words)
		}
		sameRows(t, "the old version after "+said, before, rowsOf(t, old.read, nil))
		for _, c := range must[[]string](t)(copiesOf(folder)) {
			if err := checkCopy(ctx, c); err != nil {
				t.Error(err)
			}
		}
		old.Close()
	}
	if room != nil {
		room()
	}
	if said, err := next(`exec "$0"`); err != nil {
		t.Fatalf("with room: %v: %s", err, said)
	}
	programOf(t, newest+1)
	s := must[*Store](t)(Open(ctx, folder))
	defer s.Close()
	sameRows(t, "with room", before, rowsOf(t, s.read, before))
	return failed
}
