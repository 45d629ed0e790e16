package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"os"
	"time"

	"lidwright/kiln"
)

// ErrNoStore says that a folder has no store in it.
var ErrNoStore = errors.New("no store")

// Read opens the store in folder for reading alone, also while a daemon has it open: nothing is
// locked, mended, copied or brought up to date, and every write fails. Errors: ErrNoStore, ErrNewer,
// one that says that the tables are older, or trouble with the file.
func Read(ctx context.Context, folder string) (*Store, error) {
	s := over(&handle{folder: folder, freeIn: freeIn, trusted: map[kiln.BootID]bool{},
		damaged: map[kiln.FiringID]int{}, copies: 7})
	if _, err := os.Stat(s.path()); err != nil {
		return nil, fmt.Errorf("%w in %s: %w", ErrNoStore, folder, err)
	}
	db, err := sql.Open("sqlite", dsn(readerDSN, s.path()))
	if err != nil {
		return nil, fmt.Errorf("read %s: %w", s.path(), err)
	}
	s.read, s.writer = db, db
	have, err := schemaOf(ctx, db)
	if err != nil {
		s.Close()
		return nil, fmt.Errorf("read %s: %w; is it yours to read? Its user is that of the daemon", s.path(),
			err)
	}
	files := schemaFiles()
	if err := notNewer(have.number, len(files), have.program); err != nil || have.number < len(files) {
		s.Close()
		if err == nil {
			err = fmt.Errorf("it has schema %d of an older version; start the daemon once, which brings it up to %d",
				have.number, len(files))
		}
		return nil, fmt.Errorf("read %s: %w", s.path(), err)
	}
	return s, nil
}

// Beside opens the store in folder beside the daemon that has it open, to write into it: the daemon
// notices (Foreign). Nothing is locked, mended or brought up to date. Errors: those of Read.
func Beside(ctx context.Context, folder, second string, copies int, now func() kiln.Stamp) (*Store, error) {
	s, err := Read(ctx, folder)
	if err != nil {
		return nil, err
	}
	if s.writer, err = sql.Open("sqlite", dsn(writerDSN, s.path())); err != nil {
		s.Close()
		return nil, fmt.Errorf("open %s: %w", s.path(), err)
	}
	s.writer.SetMaxOpenConns(1)
	s.second, s.now = second, now
	if copies > 0 {
		s.copies = copies
	}
	return s, nil
}

// Foreign reports whether somebody else wrote into the store since it was last asked; then everybody who
// waits for news is told. Where the log lies as it did at the last two looks, nobody did: SQLite is not asked
// then, which costs ten times as much. At two, since a disk's clock ticks in milliseconds.
func (s *Store) Foreign(ctx context.Context) (bool, error) {
	if s.quiet.stands(s.path() + "-wal") {
		return false, nil
	}
	var version int64
	// of this connection: its own writing does not count
	if err := s.writer.QueryRowContext(ctx, `PRAGMA data_version`).Scan(&version); err != nil {
		return false, busy(err)
	}
	before := s.seen.Swap(version)
	if before == 0 || before == version {
		return false, nil
	}
	s.written.Add(1)
	s.noted.Add(1)
	s.tell()
	return true, nil
}

// In reports whether a folder has a store in it that can be seen.
func In(folder string) bool {
	_, err := os.Stat((&handle{folder: folder}).path())
	return err == nil
}

// quietLog is a log that nobody writes, as one goroutine sees it.
type quietLog struct {
	size    int64
	written time.Time
	looks   int // at which it was the same, after the first
}

// stands looks at the log, and says whether it was the same at the last two looks.
func (q *quietLog) stands(path string) bool {
	is, err := os.Stat(path)
	if err != nil {
		q.looks = 0
		return false
	}
	same := is.Size() == q.size && is.ModTime().Equal(q.written)
	stands := same && q.looks > 0
	q.size, q.written = is.Size(), is.ModTime()
	if q.looks++; !same {
		q.looks = 0
	}
	return stands
}
