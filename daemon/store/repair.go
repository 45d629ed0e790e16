package store

import (
	"context"
	"crypto/sha256"
	"database/sql"
	_ "embed"
	"encoding/binary"
	"encoding/hex"
	"errors"
	"fmt"
	"hash/crc32"
	"os"
	"path/filepath"
	"strings"
	"time"

	"modernc.org/sqlite"

	"lidwright/kiln"
	"lidwright/kiln/message"
)

// Report says what had to be done to open the store.
type Report struct {
	Aside    []string  // files that were damaged, under the names that they have now
	Copy     string    // the copy that was put in place, "" if none was
	CopyMade time.Time // when that copy was made, by the clock on the wall
	Empty    bool      // there was no good copy: the store began anew
	LogLost  bool      // only the newest entries were damaged, and are missing
	Behind   bool      // the file is too big to be checked at once: Check should be run
	Back     bool      // the store had less than was written down before
	Put      bool      // the same, because somebody put an older file in its place
	Missing  int64     // entries that are known to be missing, where it went back
	Samples  int64     // and samples of firings under way
	NoRoom   bool      // what is damaged could not be kept aside

	torn    bool            // the last entry in the log is not whole
	another bool            // what follows is another life of the record
	earlier message.Message // what a start of the last days found, where this one found nothing
}

// Clean reports whether all was in order.
func (r Report) Clean() bool {
	return len(r.Aside) == 0 && r.Copy == "" && !r.Back && !r.LogLost && !r.Put
}

// Words says it to the owner, nothing if all was in order.
func (r Report) Words() message.Message {
	var kept message.Message
	if len(r.Aside) > 0 {
		kept = message.New("What was damaged is kept: {1}", strings.Join(r.Aside, " "))
	} else if r.NoRoom {
		kept = message.New("There was no room to keep what was damaged.")
	}
	and := func(says message.Message) message.Message { return message.Join(" ", says, kept) }
	made := r.CopyMade.Format(time.RFC3339)
	switch {
	case r.Back && r.Empty:
		return and(message.New("The store was missing and there was no copy; it began anew."))
	case r.Back && r.Copy != "":
		return and(message.New("The store had gone back to an earlier moment; the copy of {1}, which has more, took its "+
			"place. What was entered after it is missing here.", made))
	case r.Back:
		return and(message.New("The store went back to an earlier moment: at least {1} entries and {2} readings of firings "+
			"that were kept are missing here.", r.Missing, r.Samples))
	case r.Put && r.Missing+r.Samples == 0:
		return message.New("Another file was put in the place of the store; what the one before it had may be missing here.")
	case r.Put:
		return message.New("An older file was put in the place of the store: {1} entries and {2} readings of firings "+
			"that the one before it had are missing here.", r.Missing, r.Samples)
	case r.Copy != "" && len(r.Aside) == 0:
		return message.New("The store was missing; the copy of {1} took its place.", made)
	case r.Copy != "":
		return and(message.New("The store was damaged; the copy of {1} took its place. "+
			"What was entered after it is missing here.", made))
	case r.Empty:
		return and(message.New("The store was damaged and there was no good copy; it began anew."))
	case r.LogLost:
		return and(message.New("The newest entries of the store were damaged and are missing."))
	case r.torn:
		return message.New("The newest entry of the store was not whole, as when the power is cut while it is written, " +
			"and is missing. If it was taken, enter it again.")
	}
	return message.Message{}
}

// Report says what had to be done to open the store.
func (s *Store) Report() Report { return s.report }

// ErrDamaged means that the file was found damaged.
var ErrDamaged = errors.New("the file is damaged")

const (
	checkAtOnce = 4 << 20         // a file up to this size is checked before it is opened
	checkFor    = 5 * time.Second // if that takes longer, it is checked later too
	damagedMark = "damaged"       // a file beside the store that says: found damaged while it was open
)

// mend looks the file over before anything is written, and puts something good in its place
// where it is damaged. Nothing is deleted.
func (s *Store) mend(ctx context.Context) error {
	at := s.now().Wall
	high, known, err := readHighWater(s.folder)
	if err != nil {
		return err
	}
	s.high.highWater = high
	if err := s.rollBack(ctx, at); err != nil {
		return err
	}
	info, err := os.Stat(s.path())
	missing := errors.Is(err, os.ErrNotExist) || err == nil && info.Size() == 0
	if err != nil && !missing {
		return fmt.Errorf("%w: %w", ErrFolder, err)
	}
	if missing {
		// A log without its file belongs to something else.
		if err := s.aside("-wal", at); err != nil {
			return err
		}
		err := s.restore(ctx, at)
		if err == nil && known && s.report.Copy == "" && s.high.Change > 0 {
			s.report.Back, s.report.Empty = true, true
		}
		return err
	}
	put := known && !high.Put && s.putInPlace()
	if put && s.high.Log == inodeOf(s.path()+"-wal") { // the log is that of the file before
		if _, err := moveAside(s.path()+"-wal", "replaced", at); err != nil {
			return err
		}
	}
	err = s.examine(ctx)
	if err == nil {
		return s.hindsight(ctx, known, put, at)
	}
	if !damage(err) {
		return err
	}
	if wal, err := os.Stat(s.path() + "-wal"); err == nil && wal.Size() > 0 {
		if err := s.aside("-wal", at); err != nil {
			return err
		}
		err := s.examine(ctx)
		if err == nil {
			err = s.hindsight(ctx, known, put, at)
			s.report.LogLost, s.report.another = true, true
		}
		if err == nil || !damage(err) {
			return err
		}
	}
	if err := s.aside("", at); err != nil {
		return err
	}
	return s.restore(ctx, at)
}

// rollBack ends a first start that a power cut broke off: a file on its way to the form with a log
// has a journal beside it, which a reader may not roll back. One that cannot be is moved aside.
func (s *Store) rollBack(ctx context.Context, at time.Time) error {
	if _, err := os.Stat(s.path() + "-journal"); errors.Is(err, os.ErrNotExist) {
		return nil
	}
	db, err := sql.Open("sqlite", dsn(plainDSN, s.path()))
	if err != nil {
		return fmt.Errorf("open %s: %w", s.path(), err)
	}
	defer db.Close()
	var tables int
	if err = db.QueryRowContext(ctx, `SELECT count(*) FROM sqlite_schema`).Scan(&tables); err == nil {
		return nil
	}
	if !damage(err) {
		return fmt.Errorf("roll %s back: %w", s.path(), busy(err))
	}
	return s.aside("-journal", at)
}

// damage reports whether an error means that the file itself is bad.
func damage(err error) bool {
	const corrupt, notDB, readFailed, shortRead = 11, 26, 10 | 1<<8, 10 | 2<<8
	var e *sqlite.Error
	if errors.As(err, &e) {
		return e.Code()&0xff == corrupt || e.Code()&0xff == notDB ||
			e.Code() == readFailed || e.Code() == shortRead
	}
	return errors.Is(err, ErrDamaged)
}

// examine reads the file without changing it: a reader cannot even move the log into the file.
func (s *Store) examine(ctx context.Context) error {
	if _, err := os.Stat(filepath.Join(s.folder, damagedMark)); err == nil {
		return ErrDamaged
	}
	db, err := sql.Open("sqlite", dsn(readerDSN, s.path()))
	if err != nil {
		return fmt.Errorf("open %s: %w", s.path(), err)
	}
	defer db.Close()
	db.SetMaxOpenConns(1)
	var size int64
	have, err := schemaOf(ctx, db)
	if err == nil {
		err = busy(db.QueryRowContext(ctx,
			`SELECT page_count * page_size FROM pragma_page_count, pragma_page_size`).Scan(&size))
	}
	if err != nil {
		return fmt.Errorf("look %s over: %w", s.path(), err)
	}
	if err := notNewer(have.number, len(schemaFiles()), have.program); err != nil {
		return fmt.Errorf("open %s: %w", s.path(), err)
	}
	if have.number < 0 {
		return fmt.Errorf("%s: %w: it has schema %d", s.path(), ErrDamaged, have.number)
	}
	if err := sameTables(ctx, db, have.number); err != nil {
		return fmt.Errorf("%s: %w", s.path(), err)
	}
	if have.number == 0 { // a first start was broken off
		return check(ctx, db, `PRAGMA integrity_check(1)`)
	}
	if size > checkAtOnce {
		s.report.Behind = true
		return nil
	}
	short, cancel := context.WithTimeout(ctx, checkFor)
	defer cancel()
	err = s.readThrough(short, db)
	if err != nil && short.Err() != nil && ctx.Err() == nil {
		s.report.Behind = true
		return nil
	}
	return err
}

// tablesSum is the SHA-256 of what tableTexts tells of the newest schema: to make its tables and look at them
// takes a third of a start.
//
//go:embed schema/tables.sum
var tablesSum string

// tableTexts is all of a file's tables in one text.
func tableTexts(ctx context.Context, db *sql.DB) (text string, err error) {
	err = db.QueryRowContext(ctx, `SELECT coalesce(group_concat(type || ' ' || name || ' ' || coalesce(sql, ''), ';' ORDER BY type, name), '') FROM sqlite_schema`).
		Scan(&text)
	return text, err
}

// madeTables are the tables that schema files make.
func madeTables(ctx context.Context, files []string) (string, error) {
	fresh, err := sql.Open("sqlite", ":memory:")
	if err != nil {
		return "", err
	}
	defer fresh.Close()
	fresh.SetMaxOpenConns(1)
	for _, file := range files {
		if _, err := fresh.ExecContext(ctx, file); err != nil {
			return "", err
		}
	}
	return tableTexts(ctx, fresh)
}

// sameTables holds the tables of a file against those that the schema files of its version make:
// the checks of SQLite do not notice a letter changed in the name of a column.
func sameTables(ctx context.Context, db *sql.DB, version int) error {
	have, err := tableTexts(ctx, db)
	if err != nil {
		return busy(err)
	}
	files := schemaFiles()
	if version == len(files) && sumOf(have) == strings.TrimSpace(tablesSum) {
		return nil
	}
	want, err := madeTables(ctx, files[:version])
	if err != nil {
		return err
	}
	if have != want {
		return fmt.Errorf("%w: its tables are not those of schema %d", ErrDamaged, version)
	}
	return nil
}

func sumOf(text string) string {
	sum := sha256.Sum256([]byte(text))
	return hex.EncodeToString(sum[:])
}

// Check reads the whole file through while it serves; it is to be run where Report says Behind.
// Where the file is damaged it leaves a mark, by which the next Open puts it right, and says so:
// the daemon should start anew.
func (s *Store) Check(ctx context.Context) error {
	err := s.readThrough(ctx, s.read)
	if err == nil || !damage(err) {
		return err
	}
	mark := filepath.Join(s.folder, damagedMark)
	if werr := os.WriteFile(mark, []byte(err.Error()+"\n"), 0o600); werr != nil {
		return errors.Join(err, werr)
	}
	return fmt.Errorf("check %s: %w; the next start puts the newest good copy in its place", s.path(), err)
}

// aside moves the file or its log away under a name that says when.
func (s *Store) aside(suffix string, at time.Time) error {
	path, err := moveAside(s.path()+suffix, "corrupt", at)
	if err != nil {
		return fmt.Errorf("move %s aside: %w", s.path()+suffix, err)
	}
	if path != "" {
		s.report.Aside = append(s.report.Aside, path)
	}
	return nil
}

// moveAside gives a file the name path.WHY-TIME, with a number behind it if that is taken. A file
// that is missing or empty is no loss, and gives "".
func moveAside(path, why string, at time.Time) (string, error) {
	info, err := os.Stat(path)
	if errors.Is(err, os.ErrNotExist) || err == nil && info.Size() == 0 {
		return "", nil
	}
	if err != nil {
		return "", err
	}
	to := asideName(path, why, at)
	if err := os.Rename(path, to); err != nil {
		return "", err
	}
	return to, onCard(filepath.Dir(path))
}

// asideName is a name path.WHY-TIME that nothing has.
func asideName(path, why string, at time.Time) string {
	to := path + "." + why + "-" + at.UTC().Format("20060102T150405Z")
	for n := 2; ; n++ {
		if _, err := os.Lstat(to); errors.Is(err, os.ErrNotExist) {
			return to
		}
		to = fmt.Sprintf("%s.%s-%s-%d", path, why, at.UTC().Format("20060102T150405Z"), n)
	}
}

// restore puts the newest good copy in the place of a file that is not there. Copies that are
// not good stay where they are.
func (s *Store) restore(ctx context.Context, at time.Time) error {
	copies, err := copiesOf(s.folder)
	if err != nil {
		return err
	}
	for _, c := range copies {
		if err := checkCopy(ctx, c); err != nil {
			if errors.Is(err, ErrNewer) {
				return err
			}
			continue
		}
		if err := place(c, s.path()); err != nil {
			return fmt.Errorf("put the copy %s in place: %w", c, err)
		}
		_, made, _ := parseCopy(filepath.Base(c))
		s.report.Copy, s.report.CopyMade = c, made
		break
	}
	s.report.Empty = s.report.Copy == "" && len(s.report.Aside) > 0
	if err := os.Remove(filepath.Join(s.folder, damagedMark)); err != nil && !errors.Is(err, os.ErrNotExist) {
		return err
	}
	return nil
}

// readThrough reads a file from one end to the other: its form and its indexes, what refers to what, and
// the sums of curves and summaries. ErrDamaged where it is not whole; a curve that does not read back is no
// reason to put another file in its place, and Health tells of it. A fact has no sum of its own: Compare
// sees a bit that is another one inside a number or a text of it.
func (s *Store) readThrough(ctx context.Context, db *sql.DB) error {
	if err := check(ctx, db, `PRAGMA integrity_check(1)`); err != nil {
		return err
	}
	if err := check(ctx, db, `SELECT coalesce((SELECT 'a row of ' || "table" || ' refers to one of ' || parent || ' that is not there' FROM pragma_foreign_key_check LIMIT 1), 'ok')`); err != nil {
		return err
	}
	rows, err := db.QueryContext(ctx, `
		SELECT f.id, c.data FROM curve c JOIN firing f ON f.row = c.firing UNION ALL SELECT f.id, r.data FROM run r JOIN firing f ON f.row = r.firing
		UNION ALL SELECT id, summary FROM firing UNION ALL SELECT f.id, e.data FROM envelope e JOIN firing f ON f.row = e.firing`)
	if err != nil {
		return err
	}
	defer rows.Close()
	var id, data sql.RawBytes
	for rows.Next() {
		if err := rows.Scan(&id, &data); err != nil {
			return err
		}
		if !summed(data) && !allSummed(data) {
			s.harmed(kiln.FiringID(id), 1)
		}
	}
	return rows.Err()
}

// summed reports whether something coded has its right sum.
func summed(data []byte) bool {
	return len(data) > 4 && crc32.Checksum(data[:len(data)-4],
		crc32.MakeTable(crc32.Castagnoli)) == binary.LittleEndian.Uint32(data[len(data)-4:])
}

// allSummed is summed for each block of a curve that is over.
func allSummed(data []byte) bool {
	for len(data) > 0 {
		n, size := binary.Uvarint(data)
		if size <= 0 || n > uint64(len(data)-size) || !summed(data[size:size+int(n)]) {
			return false
		}
		data = data[size+int(n):]
	}
	return true
}
