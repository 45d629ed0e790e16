// Package store keeps everything in one SQLite file: firings with their curves, and the facts
// of the bench. It is the only package that speaks SQL, and it holds no judgement of the
// trade.
//
// It does not decide when a firing begins, what a reading means or what a clay shrinks.
package store

import (
	"context"
	"database/sql"
	"embed"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"time"

	"golang.org/x/sys/unix"
	"modernc.org/sqlite"

	"lidwright/tiles"
)

//go:embed schema/*.sql
var schema embed.FS

// Errors that keep the daemon from starting until someone acts.
var (
	ErrFolder = errors.New("the store folder cannot be used")
	ErrInUse  = errors.New("another lidwright uses this store folder")
	ErrNewer  = errors.New("the store was written by a newer lidwright")
)

// Store is the open file. One connection writes; four read.
type Store struct {
	folder string
	lock   *os.File
	writer *sql.DB
	read   *sql.DB
}

const fileName = "lidwright.db"

// The pragmas of both pools. page_size must stand before the journal mode is set, and items
// of _pragma run in the order of the alphabet, so the mode has a key of its own.
const (
	writerDSN = "file:%s?_txlock=immediate&_pragma=busy_timeout(5000)&_pragma=page_size(1024)&_journal_mode=WAL&_pragma=synchronous(FULL)&_pragma=foreign_keys(1)&_pragma=journal_size_limit(16777216)"
	readerDSN = "file:%s?mode=ro&_pragma=query_only(1)&_pragma=busy_timeout(5000)"
)

// Open opens the store in folder, which must exist, and brings its tables up to date.
// Errors: ErrFolder, ErrInUse, ErrNewer, or trouble with the disk.
func Open(ctx context.Context, folder string) (*Store, error) {
	info, err := os.Stat(folder)
	switch {
	case err != nil:
		return nil, fmt.Errorf("%w: %s: %v; make it, owned by the user that runs lidwright", ErrFolder, folder, err)
	case !info.IsDir():
		return nil, fmt.Errorf("%w: %s is a file, not a folder; move it away", ErrFolder, folder)
	}
	lock, err := os.OpenFile(filepath.Join(folder, "lock"), os.O_RDWR|os.O_CREATE, 0o600)
	if err != nil {
		return nil, fmt.Errorf("%w: %v; give %s to the user that runs lidwright", ErrFolder, err, folder)
	}
	if err := unix.Flock(int(lock.Fd()), unix.LOCK_EX|unix.LOCK_NB); err != nil {
		lock.Close()
		return nil, fmt.Errorf("%w: %s; stop the other one first", ErrInUse, folder)
	}
	s := &Store{folder: folder, lock: lock}
	if err := s.open(ctx); err != nil {
		s.Close()
		return nil, err
	}
	return s, nil
}

func (s *Store) open(ctx context.Context) error {
	path := filepath.Join(s.folder, fileName)
	escaped := strings.NewReplacer("%", "%25", "?", "%3f", "#", "%23").Replace(path)
	var err error
	if s.writer, err = sql.Open("sqlite", fmt.Sprintf(writerDSN, escaped)); err != nil {
		return fmt.Errorf("open %s: %w", path, err)
	}
	s.writer.SetMaxOpenConns(1)
	if err := s.migrate(ctx); err != nil {
		return fmt.Errorf("open %s: %w", path, err)
	}
	if s.read, err = sql.Open("sqlite", fmt.Sprintf(readerDSN, escaped)); err != nil {
		return fmt.Errorf("open %s: %w", path, err)
	}
	s.read.SetMaxOpenConns(4)
	return nil
}

// migrate applies the schema files that the file has not had, each in its own transaction.
func (s *Store) migrate(ctx context.Context) error {
	names, err := fs.Glob(schema, "schema/*.sql")
	if err != nil {
		return err
	}
	var have int
	if err := s.writer.QueryRowContext(ctx, `PRAGMA user_version`).Scan(&have); err != nil {
		return err
	}
	if have > len(names) {
		return fmt.Errorf("%w: it has schema %d, this program knows %d; install the newer version again", ErrNewer, have, len(names))
	}
	for n := have + 1; n <= len(names); n++ {
		text, err := schema.ReadFile(names[n-1])
		if err != nil {
			return err
		}
		err = s.write(ctx, func(tx *sql.Tx) error {
			if _, err := tx.ExecContext(ctx, string(text)); err != nil {
				return err
			}
			rows, err := tx.QueryContext(ctx, `PRAGMA foreign_key_check`)
			if err != nil {
				return err
			}
			defer rows.Close()
			if rows.Next() {
				return errors.New("a row refers to one that is not there")
			}
			if err := rows.Err(); err != nil {
				return err
			}
			_, err = tx.ExecContext(ctx, fmt.Sprintf(`PRAGMA user_version = %d`, n))
			return err
		})
		if err != nil {
			return fmt.Errorf("bring the tables to schema %d: %w", n, err)
		}
	}
	return nil
}

// write runs f in one transaction on the single writer and commits it: what f wrote is on
// the card when write returns nil. tiles.ErrBusy where the file is locked or the card is full.
func (s *Store) write(ctx context.Context, f func(tx *sql.Tx) error) error {
	tx, err := s.writer.BeginTx(ctx, nil)
	if err != nil {
		return busy(err)
	}
	defer tx.Rollback()
	if err := f(tx); err != nil {
		return busy(err)
	}
	return busy(tx.Commit())
}

// The result codes of SQLite that mean "not now".
const (
	codeBusy     = 5
	codeLocked   = 6
	codeReadOnly = 8
	codeIO       = 10
	codeFull     = 13
)

func busy(err error) error {
	var e *sqlite.Error
	if errors.As(err, &e) {
		switch e.Code() & 0xff {
		case codeBusy, codeLocked, codeReadOnly, codeIO, codeFull:
			return fmt.Errorf("%w: %w", tiles.ErrBusy, err)
		}
	}
	return err
}

// Ready reports whether the store answers.
func (s *Store) Ready(ctx context.Context) error {
	ctx, cancel := context.WithTimeout(ctx, time.Second)
	defer cancel()
	var any int
	return s.read.QueryRowContext(ctx, `SELECT count(*) FROM (SELECT 1 FROM firing LIMIT 1)`).Scan(&any)
}

// Size is how much the store takes and how much is free beside it, in bytes.
func (s *Store) Size() (used, free int64, err error) {
	for _, suffix := range []string{"", "-wal"} {
		if info, err := os.Stat(filepath.Join(s.folder, fileName+suffix)); err == nil {
			used += info.Size()
		}
	}
	var disk unix.Statfs_t
	if err := unix.Statfs(s.folder, &disk); err != nil {
		return used, 0, fmt.Errorf("ask how much is free in %s: %w", s.folder, err)
	}
	return used, int64(disk.Bavail) * disk.Bsize, nil
}

// Close ends all work and lets the folder go.
func (s *Store) Close() error {
	var errs []error
	if s.read != nil {
		errs = append(errs, s.read.Close())
	}
	if s.writer != nil {
		errs = append(errs, s.writer.Close())
	}
	errs = append(errs, s.lock.Close())
	return errors.Join(errs...)
}
