package store

import (
	"archive/zip"
	"bufio"
	"context"
	"crypto/sha256"
	"database/sql"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"hash"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"time"

	"golang.org/x/sys/unix"
)

// A carry file is a zip with everything of a site: each table as CSV (csv.go) under its own name,
// each blob as a file of its own whose name stands in its cell, in the form of block.go, summary.go
// and envelope.go, and manifest.json with the SHA-256 of every other file. An empty cell of a
// column that may be NULL is NULL. It needs no other copy of lidwright to be read by people.

// carried tables, each after those that it refers to. What is left out: notices and sessions, which
// are letters and keys, the program that made the tables, what names became here when another site was taken
// in, how far a collector is, names that kilns had, and which records can go on again. What other studios
// told of a clay goes with a whole site alone: see taker.others.
var carryTables = []string{"site", "boot", "change", "clay", "batch", "batch_parent", "bar", "reading", "act",
	"load", "load_bar", "load_firing", "lid_result", "pot",
	"cone", "note", "tick", "kiln", "usual", "probe", "unpacking_mark", "firing", "run", "curve", "envelope",
	"raw", "clay_body"}

// carryLeft are the tables that stay at home.
var carryLeft = []string{"notice", "delivery", "session", "carried", "program", "outbox", "outbox_firing",
	"kiln_was", "stopped"}

const carryForm = 1

// ErrCarry means that a file is no carry file, or not whole.
var ErrCarry = errors.New("this is no whole carry file")

// CarryManifest says what is in a carry file.
type CarryManifest struct {
	Form    int         `json:"lidwright_carry"`
	Site    string      `json:"site"`
	Version string      `json:"version"` // of the program that wrote it
	Schema  int         `json:"schema"`
	MadeAt  time.Time   `json:"made_at"`
	Files   []CarryFile `json:"files"`
}

// CarryFile is one file of it.
type CarryFile struct {
	Name   string `json:"name"`
	Rows   int    `json:"rows,omitempty"`
	SHA256 string `json:"sha256"`
}

// SaveCarry writes everything of the store in folder into a file that must not be there yet. A
// daemon may go on writing meanwhile: what is carried is one moment of the store.
func SaveCarry(ctx context.Context, folder, path, version string, at time.Time) (m CarryManifest, err error) {
	if !In(folder) {
		return m, fmt.Errorf("save the carry file: %w in %s", ErrNoStore, folder)
	}
	db, err := sql.Open("sqlite", dsn(readerDSN, filepath.Join(folder, fileName)))
	if err != nil {
		return m, err
	}
	defer db.Close()
	db.SetMaxOpenConns(1)
	if _, err := os.Lstat(path); err == nil {
		return m, fmt.Errorf("save the carry file: %s is there already; name another", path)
	}
	part := path + ".part"
	out, err := os.OpenFile(part, os.O_WRONLY|os.O_CREATE|os.O_TRUNC, 0o600)
	if err != nil {
		return m, fmt.Errorf("save the carry file: %w", err)
	}
	m, err = writeCarry(ctx, db, out, version, at)
	if err = errors.Join(err, out.Close()); err == nil {
		err = name(part, path)
	}
	if err == nil {
		_, err = readManifest(path)
	}
	if err != nil {
		os.Remove(part)
		return m, fmt.Errorf("save the carry file %s: %w", path, err)
	}
	return m, nil
}

// carrier writes the files of a carry file.
type carrier struct {
	zip *zip.Writer
	m   *CarryManifest
	sum hash.Hash
}

func (c *carrier) begin(name string) (io.Writer, error) {
	method := zip.Deflate
	if strings.HasSuffix(name, ".bin") {
		method = zip.Store // it is small already
	}
	w, err := c.zip.CreateHeader(&zip.FileHeader{Name: name, Method: method, Modified: c.m.MadeAt})
	c.sum = sha256.New()
	c.m.Files = append(c.m.Files, CarryFile{Name: name})
	return io.MultiWriter(w, c.sum), err
}

func (c *carrier) end(rows int) {
	f := &c.m.Files[len(c.m.Files)-1]
	f.Rows, f.SHA256 = rows, hex.EncodeToString(c.sum.Sum(nil))
}

func writeCarry(ctx context.Context, db *sql.DB, out io.Writer, version string,
	at time.Time) (m CarryManifest, err error) {
	m = CarryManifest{Form: carryForm, Version: version, MadeAt: at.UTC().Truncate(time.Second)}
	tx, err := db.BeginTx(ctx, &sql.TxOptions{ReadOnly: true})
	if err != nil {
		return m, err
	}
	defer tx.Rollback()
	if err := tx.QueryRowContext(ctx, `SELECT user_version, coalesce((SELECT id FROM site), '') FROM pragma_user_version`).Scan(&m.Schema, &m.Site); err != nil {
		return m, err
	}
	if err := notNewer(m.Schema, len(schemaFiles()), ""); err != nil {
		return m, err
	}
	c := &carrier{zip: zip.NewWriter(out), m: &m}
	for _, t := range carryTables {
		if err := c.table(ctx, tx, t); err != nil {
			return m, fmt.Errorf("table %s: %w", t, err)
		}
	}
	w, err := c.zip.CreateHeader(&zip.FileHeader{Name: "manifest.json",
		Method: zip.Deflate, Modified: m.MadeAt})
	if err != nil {
		return m, err
	}
	e := json.NewEncoder(w)
	e.SetIndent("", "  ")
	return m, errors.Join(e.Encode(m), c.zip.Close())
}

// carryColumn is a column of a table.
type carryColumn struct {
	name, kind string
	nullable   bool
}

func carryColumns(ctx context.Context, q querier, schema, table string) ([]carryColumn, error) {
	// made columns are left out
	rows, err := q.QueryContext(ctx, `SELECT name, type, "notnull" = 0 AND pk = 0 FROM pragma_table_info(?, ?)`,
		table, schema)
	if err != nil {
		return nil, err
	}
	return collect(rows, "columns", func(c *carryColumn) error {
		return rows.Scan(&c.name, &c.kind, &c.nullable)
	})
}

// named lists columns for a statement.
func named(columns []carryColumn) string {
	names := make([]string, len(columns))
	for i, c := range columns {
		names[i] = `"` + c.name + `"`
	}
	return strings.Join(names, ", ")
}

// table writes one table, and after it its blobs, so that only one file is open at a time.
func (c *carrier) table(ctx context.Context, q querier, table string) error {
	columns, err := carryColumns(ctx, q, "main", table)
	if err != nil {
		return err
	}
	file, err := c.begin(table + ".csv")
	if err != nil {
		return err
	}
	w := bufio.NewWriter(file)
	header := make([]string, len(columns))
	blob := -1
	for i, col := range columns {
		header[i] = col.name
		if col.kind == "BLOB" {
			blob = i
		}
	}
	writeRow(w, header)
	n := 0
	err = eachRow(ctx, q, table, columns, func(values []any) error {
		cells := make([]string, len(values))
		for i, v := range values {
			if i == blob {
				cells[i] = blobName(table, values)
				continue
			}
			cells[i] = cellOf(v)
		}
		n++
		return writeRow(w, cells)
	})
	if err := errors.Join(err, w.Flush()); err != nil {
		return err
	}
	c.end(n)
	if blob < 0 {
		return nil
	}
	return eachRow(ctx, q, table, columns, func(values []any) error {
		file, err := c.begin(blobName(table, values))
		if err != nil {
			return err
		}
		data, _ := values[blob].([]byte)
		if _, err := file.Write(data); err != nil {
			return err
		}
		c.end(0)
		return nil
	})
}

// blobName is the file of the blob of a row; the first column is its key.
func blobName(table string, values []any) string { return fmt.Sprintf("%s/%v.bin", table, values[0]) }

func cellOf(v any) string {
	switch v := v.(type) {
	case int64:
		return strconv.FormatInt(v, 10)
	case float64:
		return strconv.FormatFloat(v, 'g', -1, 64)
	case string:
		return guardText(v)
	}
	return "" // NULL
}

func eachRow(ctx context.Context, q querier, table string, columns []carryColumn,
	f func(values []any) error) error {
	rows, err := q.QueryContext(ctx, `SELECT `+named(columns)+` FROM `+table+` ORDER BY 1, 2`)
	if err != nil {
		return err
	}
	defer rows.Close()
	values, into := make([]any, len(columns)), make([]any, len(columns))
	for i := range values {
		into[i] = &values[i]
	}
	for rows.Next() {
		if err := rows.Scan(into...); err != nil {
			return err
		}
		if err := f(values); err != nil {
			return err
		}
	}
	return rows.Err()
}

func openCarry(path string) (*zip.ReadCloser, error) {
	z, err := zip.OpenReader(path)
	if err == nil || errors.Is(err, os.ErrNotExist) {
		return z, err
	}
	return nil, fmt.Errorf("%w (cut short, or something else): %s: %w", ErrCarry, path, err)
}

// readManifest opens a carry file and holds every file in it against its sum.
func readManifest(path string) (m CarryManifest, err error) {
	z, err := openCarry(path)
	if err != nil {
		return m, err
	}
	defer z.Close()
	return manifestOf(&z.Reader)
}

func manifestOf(z *zip.Reader) (m CarryManifest, err error) {
	file, err := z.Open("manifest.json")
	if err != nil {
		return m, fmt.Errorf("%w: it has no manifest.json", ErrCarry)
	}
	defer file.Close()
	if m, err = readManifestJSON(file, len(z.File)); err != nil || m.Form == 0 {
		return m, fmt.Errorf("%w: its manifest.json is not ours: %v", ErrCarry, err)
	}
	if m.Form > carryForm {
		return m, fmt.Errorf("%w: the carry file has form %d, this program knows %d; take it in with lidwright %s or newer", ErrNewer, m.Form, carryForm, m.Version)
	}
	if len(z.File) != len(m.Files)+1 {
		return m, fmt.Errorf("%w: it should hold %d files and holds %d", ErrCarry,
			len(m.Files)+1, len(z.File))
	}
	for _, f := range m.Files {
		sum := sha256.New()
		r, err := z.Open(f.Name)
		if err == nil {
			_, err = io.Copy(sum, r)
			r.Close()
		}
		if err != nil || hex.EncodeToString(sum.Sum(nil)) != f.SHA256 {
			return m, fmt.Errorf("%w: %s in it is missing or not as it was written (%v)", ErrCarry, f.Name,
				err)
		}
	}
	return m, nil
}

// What a carry file may hold at most. A site of a hundred years stays far below; a file that was made to
// fill the memory or the card is refused before it does.
const (
	mostManifest  = 16 << 20 // bytes of manifest.json
	mostFiles     = 100_000
	mostTable     = 256 << 20 // bytes of all tables
	mostTightness = 200       // times as many bytes of a table as it takes in the zip; a real one has ten
	mostCarryRow  = 1 << 20   // bytes of one row
	mostBlob      = 16 << 20  // a firing of ten days with a dozen probes has a third of it
	mostNamed     = 200_000   // rows of a table that has names
	mostRows      = 2_000_000 // of any other
	mostName      = 64        // bytes of the name of a clay, a bar or a kiln
	mostSummary   = 1 << 20   // of a firing, as it is kept
)

// fits holds the sizes of a carry file, as its own list of files says them, against what it may hold and
// what is free where it is to be unfolded. archive/zip gives no more of a file than the list says.
func fits(z *zip.Reader, folder string) error {
	if len(z.File) > mostFiles {
		return fmt.Errorf("%w: it has %d files, and at most %d are taken", ErrCarry, len(z.File), mostFiles)
	}
	var tables, all uint64
	for _, f := range z.File {
		size, packed := f.UncompressedSize64, f.CompressedSize64
		switch {
		case f.Name == "manifest.json" && size > mostManifest, f.Method == zip.Store && size > mostBlob,
			f.Method != zip.Store && size > mostTable, size > 1<<20 && size > mostTightness*packed:
			return fmt.Errorf("%w: %s in it would have %d MB out of %d kB", ErrCarry,
				f.Name, size>>20, packed>>10)
		case f.Method != zip.Store:
			tables += size
		}
		all += size
	}
	if tables > mostTable {
		return fmt.Errorf("%w: its tables would have %d MB", ErrCarry, tables>>20)
	}
	var disk unix.Statfs_t
	if err := unix.Statfs(folder, &disk); err == nil && all+
		spareBytes > uint64(disk.Bavail)*uint64(disk.Bsize) {
		return fmt.Errorf("it needs %d MB beside the store, and %d MB are free", (all+spareBytes)>>20,
			uint64(disk.Bavail)*uint64(disk.Bsize)>>20)
	}
	return nil
}

// readManifestJSON reads a manifest a file at a time, and no more of them than there are.
func readManifestJSON(r io.Reader, files int) (m CarryManifest, err error) {
	d := json.NewDecoder(io.LimitReader(r, mostManifest))
	if t, err := d.Token(); err != nil || t != json.Delim('{') {
		return m, errors.Join(errTable, err)
	}
	for d.More() {
		name, err := d.Token()
		if err != nil {
			return m, err
		}
		if name != "files" {
			var value json.RawMessage
			if err := d.Decode(&value); err != nil {
				return m, err
			}
			if err := json.Unmarshal([]byte(fmt.Sprintf(`{%q:%s}`, name, value)), &m); err != nil {
				return m, err
			}
			continue
		}
		if t, err := d.Token(); err != nil || t != json.Delim('[') {
			return m, errors.Join(errTable, err)
		}
		for d.More() {
			var f CarryFile
			if err := d.Decode(&f); err != nil {
				return m, err
			}
			if m.Files = append(m.Files, f); len(m.Files) > files {
				return m, fmt.Errorf("it names more than the %d files that are there", files)
			}
		}
		if _, err := d.Token(); err != nil {
			return m, err
		}
	}
	return m, nil
}

// readBlob reads the blob of a row.
func readBlob(z fs.FS, name string, most int64) ([]byte, error) {
	f, err := z.Open(name)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	data, err := io.ReadAll(io.LimitReader(f, most+1))
	if int64(len(data)) > most {
		return nil, fmt.Errorf("%s has more than %d MB", name, most>>20)
	}
	return data, err
}

// mostOf is how many rows of a table are taken.
func mostOf(table string) int {
	switch table {
	case "change", "reading", "act", "load_bar", "load_firing", "tick", "note", "cone":
		return mostRows
	}
	return mostNamed
}
