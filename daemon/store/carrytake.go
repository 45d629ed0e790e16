package store

import (
	"bufio"
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"golang.org/x/sys/unix"

	"lidwright/daemon/store/codec"
	"lidwright/tiles"
)

// Carried says what a carry file brings, or would bring.
type Carried struct {
	Manifest CarryManifest
	Whole    bool           // the store was empty: it is that site now
	New      map[string]int // rows by table
	Here     map[string]int // rows that are here already
	Left     int            // firings under way there, which stay there
	Others   int            // clays of which other studios told there, which stays there
	Renamed  []Renamed      // names that are taken here by something else
	Same     []string       // what --same could be told of, for the names that are renamed for the first time
}

// Renamed is a name of the other site and what it is here.
type Renamed struct {
	Kind string `json:"kind"` // clay, bar or kiln
	Was  string `json:"was"`
	Now  string `json:"now"`
}

// ErrSame means that a name cannot be the same thing on both sides.
var ErrSame = errors.New("not the same thing on both sides")

// ErrApart means that a carry file is of this very site, and both went on since.
var ErrApart = errors.New("the carry file is of this site, and both went on since they parted")

const carryTemp = "carry.part"

// takerDSN is writerDSN, but that what a statement sets aside goes to a file: it may be a whole table.
const takerDSN = "file:%s?psow=0&_txlock=immediate&_pragma=busy_timeout(30000)&_pragma=synchronous(FULL)&_pragma=secure_delete(1)"

var errDry = errors.New("only asked")

// TakeCarry takes a carry file in, all of it or nothing. What is here already by its id is left as
// it is. Clays, bars and kilns of another site whose names are taken get new ones; same names those
// that are the same thing here ("kiln big-blue", "clay tern") and keep theirs. dry only says what it
// would do. free hands out a code that used does not have. Errors: ErrCarry, ErrNewer, ErrApart.
func (s *Store) TakeCarry(ctx context.Context, path string, same []string, dry bool,
	free func(used map[tiles.Code]bool) (tiles.Code, error)) (Carried, error) {
	var c Carried
	temp := filepath.Join(s.folder, carryTemp)
	drop := func() {
		for _, suffix := range []string{"", "-wal", "-shm", "-journal"} {
			os.Remove(temp + suffix)
		}
	}
	alone, err := lockFile(filepath.Join(s.folder, "carry.lock"), unix.LOCK_EX|unix.LOCK_NB)
	if err != nil {
		return c, fmt.Errorf("take in %s: another carry file is being taken in: %w", path, err)
	}
	defer alone.Close()
	drop()
	defer drop()
	if err := s.InPlace(ctx); err != nil {
		return c, err
	}
	m, err := s.unfold(ctx, path, temp)
	if err != nil {
		return c, fmt.Errorf("take in %s: %w", path, err)
	}
	c.Manifest = m
	db, err := sql.Open("sqlite", dsn(takerDSN, s.path()))
	if err != nil {
		return c, err
	}
	defer db.Close()
	db.SetMaxOpenConns(1) // ATTACH belongs to one connection
	if _, err := db.ExecContext(ctx, `ATTACH DATABASE ? AS other`, temp); err != nil {
		return c, busy(err)
	}
	tx, err := db.BeginTx(ctx, nil)
	if err != nil {
		return c, busy(err)
	}
	defer tx.Rollback()
	t := taker{tx: tx, c: &c, same: map[string]bool{}, free: free}
	for _, name := range same {
		t.same[name] = true
	}
	err = t.take(ctx)
	if err == nil && dry {
		err = errDry
	}
	if err == nil {
		err = tx.Commit()
		s.written.Add(1)
		s.noted.Add(1)
		s.tell()
	}
	if err != nil && !errors.Is(err, errDry) {
		return c, fmt.Errorf("take in %s: %w", path, busy(err))
	}
	return c, nil
}

// unfold makes a database of a carry file, with the tables of its own schema, and brings them up to
// date.
func (s *Store) unfold(ctx context.Context, path, temp string) (CarryManifest, error) {
	z, err := openCarry(path)
	if err != nil {
		return CarryManifest{}, err
	}
	defer z.Close()
	if err := fits(&z.Reader, s.folder); err != nil {
		return CarryManifest{}, err
	}
	m, err := manifestOf(&z.Reader)
	if err != nil {
		return m, err
	}
	files := schemaFiles()
	if err := notNewer(m.Schema, len(files), m.Version); err != nil {
		return m, err
	}
	if m.Schema < 1 {
		return m, fmt.Errorf("%w: it has schema %d", ErrCarry, m.Schema)
	}
	db, err := sql.Open("sqlite", dsn("file:%s?_pragma=synchronous(OFF)&_pragma=journal_mode(MEMORY)", temp))
	if err != nil {
		return m, err
	}
	defer db.Close()
	db.SetMaxOpenConns(1)
	tx, err := db.BeginTx(ctx, nil)
	if err != nil {
		return m, busy(err)
	}
	defer tx.Rollback()
	for i, text := range files {
		if i == m.Schema {
			if err := loadTables(ctx, tx, &z.Reader, m); err != nil {
				return m, err
			}
		}
		if _, err := tx.ExecContext(ctx, text); err != nil {
			return m, busy(err)
		}
	}
	if m.Schema == len(files) {
		if err := loadTables(ctx, tx, &z.Reader, m); err != nil {
			return m, err
		}
	}
	if err := whole(ctx, tx); err != nil {
		return m, err
	}
	return m, busy(tx.Commit())
}

// whole sees that every row that another refers to is there.
func whole(ctx context.Context, tx *sql.Tx) error {
	rows, err := tx.QueryContext(ctx, `PRAGMA main.foreign_key_check`)
	if err != nil {
		return err
	}
	defer rows.Close()
	if rows.Next() {
		var table, parent string
		var row, key sql.NullInt64
		rows.Scan(&table, &row, &parent, &key)
		return fmt.Errorf("%w: a row of %s in it refers to one of %s that is not there",
			ErrCarry, table, parent)
	}
	return rows.Err()
}

func loadTables(ctx context.Context, tx *sql.Tx, z fs.FS, m CarryManifest) error {
	listed := map[string]bool{}
	for _, f := range m.Files {
		listed[f.Name] = true
	}
	for _, table := range carryTables {
		if listed[table+".csv"] {
			if err := loadTable(ctx, tx, z, table); err != nil {
				return fmt.Errorf("%w: %s.csv: %w", ErrCarry, table, err)
			}
		}
	}
	return nil
}

func loadTable(ctx context.Context, tx *sql.Tx, z fs.FS, table string) error {
	file, err := z.Open(table + ".csv")
	if err != nil {
		return err
	}
	defer file.Close()
	r := bufio.NewReader(file)
	header, err := readRow(r)
	if err != nil {
		return err
	}
	known, err := carryColumns(ctx, tx, "main", table)
	if err != nil {
		return err
	}
	columns := make([]carryColumn, len(header))
	for i, name := range header {
		at := slices.IndexFunc(known, func(c carryColumn) bool { return c.name == name })
		if at < 0 {
			return fmt.Errorf("column %q is not known", name)
		}
		columns[i] = known[at]
	}
	insert, err := tx.PrepareContext(ctx, `INSERT INTO `+table+` (`+named(columns)+`) VALUES (?`+
		strings.Repeat(", ?", len(columns)-1)+`)`)
	if err != nil {
		return err
	}
	defer insert.Close()
	for line := 2; ; line++ {
		row, err := readRow(r)
		if err == io.EOF {
			return nil
		}
		if line-1 > mostOf(table) {
			return fmt.Errorf("it has more than %d rows", mostOf(table))
		}
		if err != nil || len(row) != len(columns) {
			return fmt.Errorf("line %d: %d cells of %d: %v", line, len(row), len(columns), err)
		}
		values := make([]any, len(row))
		for i, cell := range row {
			if values[i], err = valueOf(z, table, columns[i], cell); err != nil {
				return fmt.Errorf("line %d, %s: %w", line, columns[i].name, err)
			}
		}
		if _, err := insert.ExecContext(ctx, values...); err != nil {
			return fmt.Errorf("line %d: %w", line, busy(err))
		}
	}
}

func valueOf(z fs.FS, table string, c carryColumn, cell string) (any, error) {
	switch {
	case cell == "" && c.nullable:
		return nil, nil
	case c.kind == "INTEGER":
		return strconv.ParseInt(cell, 10, 64)
	case c.kind == "REAL":
		return strconv.ParseFloat(cell, 64)
	case c.kind == "BLOB" && c.name == "summary":
		data, err := readBlob(z, cell, mostSummary)
		if err == nil && len(data) > 1 && data[1] != codec.BodyPlain {
			err = fmt.Errorf("%s is no summary of a firing", cell)
		}
		return data, err
	case c.kind == "BLOB":
		return readBlob(z, cell, mostBlob)
	case len(cell) > mostName && isName(table, c.name):
		return nil, fmt.Errorf("a name of %d bytes", len(cell))
	}
	return unguard(cell), nil
}

// taker merges the tables of other into those of main.
type taker struct {
	tx    *sql.Tx
	c     *Carried
	same  map[string]bool
	names []Renamed // what each name of the other site is here
	free  func(used map[tiles.Code]bool) (tiles.Code, error)
	err   error
}

// do runs a statement unless one before it failed, and gives how many rows it touched.
func (t *taker) do(ctx context.Context, query string, args ...any) int {
	if t.err != nil {
		return 0
	}
	r, err := t.tx.ExecContext(ctx, query, args...)
	if err != nil {
		t.err = fmt.Errorf("%w (%s)", err, strings.Join(strings.Fields(query)[:3], " "))
		return 0
	}
	n, _ := r.RowsAffected()
	return int(n)
}

func (t *taker) number(ctx context.Context, query string, args ...any) (n int64) {
	if t.err == nil {
		t.err = t.tx.QueryRowContext(ctx, query, args...).Scan(&n)
	}
	return n
}

func (t *taker) texts(ctx context.Context, query string, args ...any) []string {
	if t.err != nil {
		return nil
	}
	rows, err := t.tx.QueryContext(ctx, query, args...)
	if err != nil {
		t.err = err
		return nil
	}
	var all []string
	all, t.err = collect(rows, "names", func(s *string) error { return rows.Scan(s) })
	return all
}

// keys are what says that a row of a table is one that is here already. A curve is here with its firing.
var keys = map[string]string{"change": "", "boot": "id", "clay": "clay", "batch": "clay, batch",
	"batch_parent": "clay, batch, place", "bar": "id", "reading": "id",
	"act": "kind, id, op", "load": "id", "load_bar": "load, bar", "load_firing": "firing", "lid_result": "id",
	"pot": "id", "cone": "id", "note": "id", "tick": "id", "probe": "id", "unpacking_mark": "id",
	"kiln": "kiln", "usual": "id",
	"firing": "id"}

func (t *taker) take(ctx context.Context) error {
	c := t.c
	c.New, c.Here = map[string]int{}, map[string]int{}
	if t.number(ctx, `SELECT (SELECT count(*) FROM main.change) + (SELECT count(*) FROM main.firing)`) == 0 &&
		t.err == nil {
		c.Whole = true
		t.sameAreOnBoth(ctx)
		t.do(ctx, `DELETE FROM main.site`)
		t.others(ctx, true)
		for _, table := range carryTables {
			t.copy(ctx, table)
		}
		return t.err
	}
	site := c.Manifest.Site
	ours := t.number(ctx, `SELECT count(*) FROM main.site WHERE id = ?`, site) > 0
	t.do(ctx, `DELETE FROM other.site`)
	c.Left = t.leaveRunning(ctx)
	t.others(ctx, ours)

	// The record of changes: what of it is new, under numbers of its own.
	taken := t.number(ctx, `SELECT coalesce((SELECT CAST(now AS INTEGER) FROM main.carried WHERE site = ? AND kind = 'change'), 0)`, site)
	last := t.number(ctx, `SELECT coalesce(max(seq), 0) FROM main.change`)
	newest := t.number(ctx, `SELECT coalesce(max(seq), 0) FROM other.change`)
	var shift int64
	if ours {
		if taken = min(last, newest); t.number(ctx,
			`SELECT count(*) FROM other.change o JOIN main.change m USING (seq) WHERE o.kind <> m.kind OR o.op <> m.op OR o.id <> m.id OR o.body <> m.body`) > 0 {
			return ErrApart
		}
		t.sameAreOnBoth(ctx)
	} else {
		t.rename(ctx, site)
		shift = last
	}
	t.shift(ctx, "change", "seq", shift)
	t.shift(ctx, "firing", "row", t.number(ctx, `SELECT coalesce(max(row), 0) FROM main.firing`))
	for _, table := range []string{"run", "raw"} {
		t.do(ctx, `UPDATE other.`+table+` SET row = -row - ?`,
			t.number(ctx, `SELECT coalesce(max(row), 0) FROM main.`+table))
		t.do(ctx, `UPDATE other.`+table+` SET row = -row`)
	}
	c.Here["change"] = t.do(ctx, `DELETE FROM other.change WHERE seq <= ?`, taken+shift)

	// What is here already by its id stays as it is.
	for _, table := range []string{"run", "curve", "envelope", "raw"} {
		t.do(ctx, `DELETE FROM other.`+table+
			` WHERE firing IN (SELECT row FROM other.firing WHERE id IN (SELECT id FROM main.firing))`)
	}
	for _, table := range carryTables {
		if key := keys[table]; key != "" {
			c.Here[table] = t.do(ctx, `DELETE FROM other.`+table+` WHERE (`+key+`) IN (SELECT `+key+
				` FROM main.`+table+`)`)
		}
	}
	// Loads and firings are numbered on from ours.
	t.renumber(ctx, "load", `1 = 1`)
	for _, k := range t.texts(ctx, `SELECT DISTINCT kiln FROM other.firing`) {
		t.renumber(ctx, "firing", `kiln = ?`, k)
	}
	for _, table := range carryTables {
		t.copy(ctx, table)
	}
	t.do(ctx, `DELETE FROM main.act WHERE op = 'strike' AND EXISTS (SELECT 1 FROM main.change r JOIN main.change c ON c.seq = act.seq
		WHERE r.kind = act.kind AND r.id = act.id AND r.op = 'restore' AND r.at_ms >= c.at_ms)`) // restored since, here or there
	t.do(ctx, `UPDATE main.reading SET struck = 0 WHERE struck = 1 AND id NOT IN (SELECT id FROM main.act WHERE kind = 'reading' AND op = 'strike')`)
	t.do(ctx, `UPDATE main.reading SET struck = 1 WHERE struck = 0 AND id IN (SELECT id FROM main.act WHERE kind = 'reading' AND op = 'strike')`)
	if !ours {
		t.do(ctx, `INSERT INTO main.carried (site, kind, was, now) VALUES (?, 'change', '', ?) ON CONFLICT DO UPDATE SET now = excluded.now`, site, max(taken, newest))
		for _, r := range t.names {
			t.do(ctx, `INSERT INTO main.carried (site, kind, was, now) VALUES (?, ?, ?, ?) ON CONFLICT DO NOTHING`, site, r.Kind, r.Was, r.Now)
		}
	}
	if t.err != nil {
		return t.err
	}
	return whole(ctx, t.tx)
}

// leaveRunning leaves out the firings that go on over there, and gives how many these are.
func (t *taker) leaveRunning(ctx context.Context) int {
	running := t.texts(ctx, `SELECT id FROM other.firing WHERE status = 'running'`)
	for _, id := range running {
		for _, table := range []string{"run", "curve", "envelope", "raw"} {
			t.do(ctx, `DELETE FROM other.`+table+
				` WHERE firing = (SELECT row FROM other.firing WHERE id = ?)`, id)
		}
		t.do(ctx, `DELETE FROM other.firing WHERE id = ?`, id)
	}
	return len(running)
}

// carriedYes stands in the place of the life in which a carried record's owner said yes to telling of a clay.
// It is no life, so that it counts no more: she may have said no there since.
const carriedYes = "carried"

// others are what other studios told. A whole site keeps it, for its collector may be gone. Into another
// record it does not come: what was told there leaves that site's own bars out, and may hold those that are
// here.
func (t *taker) others(ctx context.Context, ours bool) {
	if t.c.Whole {
		t.do(ctx, `UPDATE other.clay_body SET yes_life = ? WHERE yes_life <> ''`, carriedYes)
		return
	}
	if left := t.do(ctx, `DELETE FROM other.clay_body WHERE told IS NOT NULL`); !ours {
		t.c.Others = left
	}
	t.do(ctx, `DELETE FROM other.clay_body`)
}

// copy brings the rows of a table that are left in other.
func (t *taker) copy(ctx context.Context, table string) {
	if t.err != nil {
		return
	}
	columns, err := carryColumns(ctx, t.tx, "other", table)
	if err != nil {
		t.err = err
		return
	}
	list := named(columns)
	if n := t.do(ctx, `INSERT INTO main.`+table+` (`+list+`) SELECT `+list+` FROM other.`+table); n > 0 {
		t.c.New[table] = n
	}
}

// shift adds by to a key and to all that refers to it.
func (t *taker) shift(ctx context.Context, table, column string, by int64) {
	type ref struct{ table, column string }
	refs := []ref{{table, column}}
	for _, other := range carryTables {
		for _, from := range t.texts(ctx, `SELECT "from" FROM pragma_foreign_key_list(?, 'other') WHERE "table" = ? AND "to" = ?`, other, table, column) {
			refs = append(refs, ref{other, from})
		}
	}
	for _, r := range refs { // by way of numbers that none has, because they are unique
		t.do(ctx, `UPDATE other.`+r.table+` SET `+r.column+` = -`+r.column+` - ?`, by)
		t.do(ctx, `UPDATE other.`+r.table+` SET `+r.column+` = -`+r.column)
	}
}

// renumber counts on from the highest number here.
func (t *taker) renumber(ctx context.Context, table, where string, args ...any) {
	last := t.number(ctx, `SELECT coalesce(max(number), 0) FROM main.`+table+` WHERE `+where, args...)
	// out of the way
	t.do(ctx, `UPDATE other.`+table+` SET number = number + 1000000000 WHERE `+where, args...)
	for _, id := range t.texts(ctx, `SELECT id FROM other.`+table+` WHERE `+where+` ORDER BY number`,
		args...) {
		last++
		t.do(ctx, `UPDATE other.`+table+` SET number = ? WHERE id = ?`, last, id)
	}
}

// namedIn says where a name of each kind stands.
var namedIn = map[string][][2]string{
	"clay": {{"clay", "clay"}, {"batch", "clay"}, {"batch_parent", "clay"}, {"batch_parent", "parent_clay"},
		{"bar", "clay"}, {"lid_result", "body_clay"},
		{"lid_result", "lid_clay"}, {"pot", "body_clay"}, {"pot", "lid_clay"}},
	"bar": {{"bar", "code"}, {"reading", "bar"}, {"load_bar", "bar"}},
	"kiln": {{"firing", "kiln"}, {"load", "kiln"}, {"probe", "kiln"}, {"unpacking_mark", "kiln"},
		{"kiln", "kiln"}, {"usual", "kiln"}},
}

// isName reports whether a column holds a name.
func isName(table, column string) bool {
	for _, in := range namedIn {
		if slices.Contains(in, [2]string{table, column}) {
			return true
		}
	}
	return false
}

// rename gives names that are taken here by something else new ones.
func (t *taker) rename(ctx context.Context, site string) {
	names := map[string]map[string]string{"clay": {}, "bar": {}, "kiln": {}}
	for kind, was := range names {
		for _, pair := range t.texts(ctx, `SELECT was || ' ' || now FROM main.carried WHERE site = ? AND kind = ?`, site, kind) {
			a, b, _ := strings.Cut(pair, " ")
			was[a] = b
		}
	}
	said := map[string]bool{} // what same names and both have
	for _, kind := range []string{"clay", "kiln"} {
		t.nameApart(ctx, kind, names[kind], said)
	}
	t.sameAre(said)
	t.nameBars(ctx, names["bar"])
	for _, kind := range []string{"clay", "kiln", "bar"} {
		t.giveNames(ctx, kind, names[kind])
	}
	if len(t.c.Renamed) > 0 && t.err == nil {
		t.err = renameSaid(ctx, t.tx, names)
	}
}

// sameAre refuses a name that is told to be the same and is none of those on both sides.
func (t *taker) sameAre(said map[string]bool) {
	for _, n := range slices.Sorted(maps.Keys(t.same)) {
		if !said[n] && t.err == nil {
			t.err = fmt.Errorf("%w: there is no %s on both sides; %s", ErrSame, n, onBoth(said))
		}
	}
}

// sameAreOnBoth is sameAre where no name is new: the record comes whole, or came before.
func (t *taker) sameAreOnBoth(ctx context.Context) {
	said := map[string]bool{}
	for _, kind := range []string{"clay", "kiln"} {
		_, both := t.clashes(ctx, kind)
		for n, is := range both {
			said[kind+" "+n] = is
		}
	}
	t.sameAre(said)
}

// onBoth tells the names that same may be told of.
func onBoth(said map[string]bool) string {
	names := slices.DeleteFunc(slices.Sorted(maps.Keys(said)), func(n string) bool { return !said[n] })
	if len(names) == 0 {
		return "no clay and no kiln is called alike on both"
	}
	return "there are " + strings.Join(names, ", ")
}

// known are the names of a kind here and there: a new name is none of them.
func (t *taker) known(ctx context.Context, kind string) map[string]bool {
	used := map[string]bool{}
	for _, db := range []string{"main", "other"} {
		for _, in := range namedIn[kind] {
			for _, n := range t.texts(ctx, `SELECT DISTINCT coalesce(`+in[1]+`, '') FROM `+db+`.`+in[0]) {
				used[n] = true
			}
		}
	}
	return used
}

// nameApart finds names for what is called alike on both sides and is not said to be the same.
func (t *taker) nameApart(ctx context.Context, kind string, names map[string]string, said map[string]bool) {
	used := t.known(ctx, kind)
	there, both := t.clashes(ctx, kind)
	for _, n := range there {
		now, told := names[n]
		if said[kind+" "+n] = both[n] || told; told && now != n && t.same[kind+" "+n] && t.err == nil {
			t.err = fmt.Errorf("%w: %s %s of that site was taken in as %s before, and stays so", ErrSame,
				kind, n, now)
		}
		if told || n == "" {
			continue
		}
		// From now on it is known what it is here, whatever else gets that name meanwhile.
		if names[n] = n; !both[n] || t.same[kind+" "+n] {
			continue
		}
		t.c.Same = append(t.c.Same, kind+" "+n)
		now = n
		for i := 2; used[now]; i++ {
			end := "-" + strconv.Itoa(i)
			now = strings.TrimRight(n[:min(len(n), 32-len(end))], "-") + end
		}
		names[n], used[now] = now, true
	}
}

// nameBars finds codes for bars whose code another bar here has.
func (t *taker) nameBars(ctx context.Context, names map[string]string) {
	for _, pair := range t.texts(ctx, `SELECT o.code || ' ' || m.code FROM other.bar o JOIN main.bar m USING (id) WHERE o.code <> m.code`) {
		was, now, _ := strings.Cut(pair, " ")
		names[was] = now // it is here already, under another code
	}
	used := map[tiles.Code]bool{}
	for n := range t.known(ctx, "bar") {
		used[tiles.Code(n)] = true
	}
	for _, n := range t.texts(ctx, `SELECT o.code FROM other.bar o JOIN main.bar m USING (code) WHERE o.id <> m.id ORDER BY 1`) {
		if _, told := names[n]; told || t.err != nil {
			continue
		}
		code, err := t.free(used)
		if err != nil {
			t.err = fmt.Errorf("find a code for bar %s: %w", n, err)
			return
		}
		names[n], used[code] = string(code), true
	}
}

// giveNames writes the names of a kind, by way of names that none has: what one becomes may be what another
// was.
func (t *taker) giveNames(ctx context.Context, kind string, names map[string]string) {
	for _, was := range slices.Sorted(maps.Keys(names)) {
		t.names = append(t.names, Renamed{kind, was, names[was]})
		if names[was] == was {
			delete(names, was)
			continue
		}
		t.c.Renamed = append(t.c.Renamed, Renamed{kind, was, names[was]})
		for _, in := range namedIn[kind] {
			t.do(ctx, `UPDATE other.`+in[0]+` SET `+in[1]+` = char(1) || ? WHERE `+in[1]+` = ?`, names[was],
				was)
		}
	}
	for _, in := range namedIn[kind] {
		t.do(ctx, `UPDATE other.`+in[0]+` SET `+in[1]+` = substr(`+in[1]+`, 2) WHERE unicode(`+in[1]+`) = 1`)
	}
}

// clashes are the names of a kind that the other has, sorted, and those of them that are here too.
func (t *taker) clashes(ctx context.Context, kind string) (names []string, both map[string]bool) {
	there := map[string]bool{}
	both = map[string]bool{}
	for _, in := range namedIn[kind] {
		for _, n := range t.texts(ctx, `SELECT DISTINCT coalesce(`+in[1]+`, '') FROM other.`+in[0]) {
			there[n] = true
		}
	}
	for _, in := range namedIn[kind] {
		for _, n := range t.texts(ctx, `SELECT DISTINCT coalesce(`+in[1]+`, '') FROM main.`+in[0]) {
			both[n] = there[n]
		}
	}
	return slices.Sorted(maps.Keys(there)), both
}
