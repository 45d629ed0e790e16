package store

import (
	"bytes"
	"cmp"
	"context"
	"database/sql"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"time"

	"golang.org/x/sys/unix"

	"lidwright/api/usecase"
)

const (
	copiesFolder = "copies"
	copyTemp     = "copy.part"
	spareBytes   = 8 << 20 // left free beside a copy
)

// copying is what is known of copies.
type copying struct {
	under  sync.Mutex // one at a time
	state  string     // of the store when the newest was made
	second error      // of the last attempt to put one in the second place
	last   time.Time  // when it was, by the clock on the wall; zero if never
	failed error      // of the last attempt
}

// Copies are numbered, because the clock on the wall may be wrong: lidwright-000042-20260109T090000Z.db.
func copyName(n int, at time.Time) string {
	return fmt.Sprintf("lidwright-%06d-%s.db", n, at.UTC().Format("20060102T150405Z"))
}

func parseCopy(name string) (n int, at time.Time, ok bool) {
	var date string
	if _, err := fmt.Sscanf(strings.TrimSuffix(name, ".db"), "lidwright-%d-%s", &n, &date); err != nil ||
		!strings.HasSuffix(name, ".db") {
		return 0, at, false
	}
	at, err := time.Parse("20060102T150405Z", date)
	return n, at, err == nil
}

// copiesOf lists the copies in a store folder, newest first.
func copiesOf(folder string) ([]string, error) {
	names, err := copiesIn(filepath.Join(folder, copiesFolder))
	if errors.Is(err, os.ErrNotExist) {
		return nil, nil
	}
	return names, err
}

// copiesIn lists the copies that lie in a folder, newest first.
func copiesIn(folder string) ([]string, error) {
	entries, err := os.ReadDir(folder)
	if err != nil {
		return nil, fmt.Errorf("list copies: %w", err)
	}
	var names []string
	for _, e := range entries {
		if _, _, ok := parseCopy(e.Name()); ok {
			names = append(names, e.Name())
		}
	}
	slices.SortFunc(names, func(a, b string) int {
		n, _, _ := parseCopy(a)
		m, _, _ := parseCopy(b)
		return m - n
	})
	for i, name := range names {
		names[i] = filepath.Join(folder, name)
	}
	return names, nil
}

// Copy makes a copy of the whole store, checks it, and lets the oldest ones go. It is skipped
// (made false) where nothing changed since the last one. What is written meanwhile goes on.
func (s *Store) Copy(ctx context.Context) (made bool, err error) {
	s.copying.under.Lock()
	defer s.copying.under.Unlock()
	state, err := stateOfStore(ctx, s.read)
	if err == nil && state != s.stateOfCopy(ctx) {
		if err = s.makeCopy(ctx); err == nil {
			made = true
		}
	}
	second := s.toSecond(ctx)
	if made {
		s.MarkHighWater(ctx) // Health tells of it
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	s.copying.failed, s.copying.second = err, second
	if err != nil {
		return false, fmt.Errorf("copy the store: %w", err)
	}
	s.copying.state = state
	return made, second
}

// stateOfStore says in a few numbers what is in a store: it changes whenever anything is written.
func stateOfStore(ctx context.Context, q querier) (state string, err error) {
	err = q.QueryRowContext(ctx, `
		SELECT (SELECT coalesce(max(seq), 0) FROM change) || ' ' || (SELECT coalesce(sum(revision), 0) || ' ' || count(*) FROM firing)
			|| ' ' || (SELECT coalesce(max(row), 0) || ' ' || count(*) FROM run) || ' ' || (SELECT count(*) FROM raw) || ' ' || (SELECT count(*) FROM boot)`).Scan(&state)
	return state, err
}

// stateOfCopy is that of the newest copy, "" if there is none that can be read.
func (s *Store) stateOfCopy(ctx context.Context) string {
	s.mu.Lock()
	state := s.copying.state
	s.mu.Unlock()
	copies, err := copiesOf(s.folder)
	if err != nil || len(copies) == 0 {
		return ""
	}
	if state != "" {
		return state
	}
	db, err := sql.Open("sqlite", dsn(copyDSN, copies[0]))
	if err != nil {
		return ""
	}
	defer db.Close()
	state, err = stateOfStore(ctx, db)
	if err != nil {
		return "" // an older schema, or damaged: another copy is due
	}
	return state
}

// A copy is a file that nobody writes to.
const (
	copyDSN  = "file:%s?mode=ro&immutable=1&_pragma=query_only(1)"
	plainDSN = "file:%s?_pragma=busy_timeout(5000)"
)

// makeCopy writes a copy under a temporary name, syncs and checks it, and gives it its name. Where as
// many are kept as shall be, it is written over the oldest: only the pages that differ cost a write,
// which spares the card a whole store a day. One copy at least stays as it is meanwhile.
func (s *Store) makeCopy(ctx context.Context) error {
	folder := filepath.Join(s.folder, copiesFolder)
	if err := os.MkdirAll(folder, 0o700); err != nil {
		return err
	}
	alone, err := lockFile(filepath.Join(s.folder, "copies.lock"), unix.LOCK_EX)
	if err != nil {
		return err
	}
	defer alone.Close()
	copies, err := copiesOf(s.folder)
	if err != nil {
		return err
	}
	newest := 0
	if len(copies) > 0 {
		newest, _, _ = parseCopy(filepath.Base(copies[0]))
	}
	part := filepath.Join(folder, copyTemp)
	if copies, err = overOldest(copies, s.copies, part); err != nil {
		return err
	}
	used, free, err := s.Size()
	if err != nil {
		return err
	}
	if info, err := os.Stat(part); err == nil {
		free += info.Size()
	}
	if free < used+spareBytes {
		return errors.Join(fmt.Errorf("%w: a copy needs %d MB and %d MB are free", usecase.ErrBusy,
			(used+spareBytes)>>20, free>>20), discard(part))
	}
	if err := s.fill(ctx, part); err != nil {
		var disk *os.PathError
		if errors.As(err, &disk) {
			err = fmt.Errorf("%w: %w", usecase.ErrBusy, err)
		}
		return errors.Join(busy(err), discard(part))
	}
	if err := checkCopy(ctx, part); err != nil {
		return errors.Join(err, discard(part))
	}
	at := s.now().Wall
	if err := name(part, filepath.Join(folder, copyName(newest+1, at))); err != nil {
		return errors.Join(err, discard(part))
	}
	s.mu.Lock()
	s.copying.last = at
	s.mu.Unlock()
	return letGo(copies, s.copies)
}

// fill puts the pages of the store, as one statement sees them, into the file part. VACUUM INTO and the
// backup interface write every page anew; a page read through SQLite (sqlite.org/dbpage.html) can be
// compared first.
func (s *Store) fill(ctx context.Context, part string) error {
	db := s.writer // has what is open, if that is no longer what lies there
	if s.InPlace(ctx) == nil {
		var err error
		if db, err = sql.Open("sqlite", dsn(plainDSN, s.path())); err != nil {
			return err
		}
		defer db.Close()
	}
	tx, err := db.BeginTx(ctx, nil) // what is free and what is read are of one moment
	if err != nil {
		return err
	}
	defer tx.Rollback()
	free, err := freePages(ctx, tx)
	if err != nil {
		return err
	}
	rows, err := tx.QueryContext(ctx, `SELECT data FROM sqlite_dbpage ORDER BY pgno`)
	if err != nil {
		return err
	}
	defer rows.Close()
	first, n := true, uint32(0)
	_, err = renew(part, func(page []byte) ([]byte, error) {
		if !rows.Next() {
			return nil, cmp.Or(rows.Err(), io.EOF)
		}
		var data sql.RawBytes
		if err := rows.Scan(&data); err != nil {
			return nil, err
		}
		page = append(page[:0], data...)
		if n++; free[n] > 0 { // what lay there before is nobody's any more
			clear(page[min(free[n]-1, len(page)):])
		}
		if first { // a copy has no log beside it: sqlite.org/fileformat2.html, 1.3.3
			page[18], page[19], first = 1, 1, false
		}
		return page, nil
	})
	return err
}

// freePages are the pages of a file that nothing uses, each with one more than how much of it counts:
// a page that lists others counts as far as its list does (sqlite.org/fileformat2.html, 1.5).
func freePages(ctx context.Context, q querier) (map[uint32]int, error) {
	page := func(n uint32) (data []byte, err error) {
		err = q.QueryRowContext(ctx, `SELECT data FROM sqlite_dbpage WHERE pgno = ?`, n).Scan(&data)
		return data, err
	}
	head, err := page(1)
	if err != nil {
		return nil, err
	}
	free := map[uint32]int{}
	for next := binary.BigEndian.Uint32(head[32:]); next != 0 && free[next] == 0; {
		list, err := page(next)
		if err != nil {
			return nil, err
		}
		n := min(int(binary.BigEndian.Uint32(list[4:])), len(list)/4-2)
		free[next] = 1 + 8 + 4*n
		for i := range n {
			free[binary.BigEndian.Uint32(list[8+4*i:])] = 1
		}
		next = binary.BigEndian.Uint32(list)
	}
	return free, nil
}

// renew makes the file path hold the pages that next gives until io.EOF, and no more. It writes those
// alone that are others than in the file, and says how many bytes they are.
func renew(path string, next func(room []byte) ([]byte, error)) (wrote int64, err error) {
	f, err := os.OpenFile(path, os.O_RDWR|os.O_CREATE, 0o600)
	if err != nil {
		return 0, err
	}
	defer func() { err = errors.Join(err, f.Close()) }()
	var page, had []byte
	for end := int64(0); ; end += int64(len(page)) {
		page, err = next(page)
		switch {
		case err == io.EOF:
			return wrote, f.Truncate(end)
		case err != nil:
			return wrote, err
		}
		had = slices.Grow(had[:0], len(page))[:len(page)]
		if n, _ := f.ReadAt(had, end); bytes.Equal(had[:n], page) {
			continue
		}
		if _, err := f.WriteAt(page, end); err != nil {
			return wrote, err
		}
		wrote += int64(len(page))
	}
}

// overOldest gives the oldest copy the name part, for the next to be written over it, where keep of
// them are there and it is not the only one. It gives those that stay.
func overOldest(copies []string, keep int, part string) ([]string, error) {
	last := len(copies) - 1
	if len(copies) < max(keep, 2) {
		return copies, nil
	}
	// On the card before a page is: else a power cut could leave it half written under its old name.
	return copies[:last], errors.Join(os.Rename(copies[last], part), onCard(filepath.Dir(part)))
}

// letGo removes all but the newest copies, which are one fewer than are kept: another has come.
func letGo(copies []string, keep int) error {
	for i := keep - 1; i < len(copies); i++ {
		if err := os.Remove(copies[i]); err != nil {
			return fmt.Errorf("let an old copy go: %w", err)
		}
	}
	return nil
}

// discard removes what is half done.
func discard(part string) error {
	if err := os.Remove(part); err != nil && !errors.Is(err, os.ErrNotExist) {
		return err
	}
	return nil
}

// name syncs a file, gives it its name and syncs the folder: after a power cut it is there whole
// or not at all.
func name(part, path string) error {
	for _, step := range []func() error{
		func() error { return onCard(part) },
		func() error { return os.Rename(part, path) },
		func() error { return onCard(filepath.Dir(path)) },
	} {
		if err := step(); err != nil {
			return err
		}
	}
	return nil
}

// onCard puts a file or a folder on the card.
func onCard(path string) error {
	f, err := os.Open(path)
	if err != nil {
		return err
	}
	return errors.Join(f.Sync(), f.Close())
}

// checkCopy reads a copy from one end to the other.
func checkCopy(ctx context.Context, path string) error {
	db, err := sql.Open("sqlite", dsn(copyDSN, path))
	if err != nil {
		return err
	}
	defer db.Close()
	if err := check(ctx, db, `PRAGMA integrity_check(1)`); err != nil {
		return fmt.Errorf("the copy %s is not good: %w", path, err)
	}
	have, err := schemaOf(ctx, db)
	if err != nil {
		return fmt.Errorf("the copy %s is not good: %w", path, err)
	}
	if err := notNewer(have.number, len(schemaFiles()), have.program); err != nil {
		return fmt.Errorf("the copy %s: %w", path, err)
	}
	return nil
}

// check runs one of the checks of SQLite, which answers ok or says what is wrong.
func check(ctx context.Context, db *sql.DB, pragma string) error {
	var says string
	if err := db.QueryRowContext(ctx, pragma).Scan(&says); err != nil {
		return err
	}
	if says != "ok" {
		return fmt.Errorf("%w: %s", ErrDamaged, says)
	}
	return nil
}

// place puts the bytes of one file where another is to be.
func place(from, to string) error {
	part, err := bring(from, to)
	if err != nil {
		return err
	}
	return name(part, to)
}

// bring puts the bytes of one file beside where another is to be, under a temporary name.
func bring(from, to string) (part string, err error) {
	in, err := os.Open(from)
	if err != nil {
		return "", err
	}
	defer in.Close()
	part = to + ".part"
	out, err := os.OpenFile(part, os.O_WRONLY|os.O_CREATE|os.O_TRUNC, 0o600)
	if err != nil {
		return "", err
	}
	_, err = io.Copy(out, in)
	if err := errors.Join(err, out.Close()); err != nil {
		os.Remove(part)
		return "", err
	}
	return part, nil
}

// Size is how much the store takes and how much is free beside it, in bytes.
func (s *Store) Size() (used, free int64, err error) {
	for _, suffix := range []string{"", "-wal"} {
		if info, err := os.Stat(s.path() + suffix); err == nil {
			used += info.Size()
		}
	}
	if free, err = s.freeIn(s.folder); err != nil {
		return used, 0, fmt.Errorf("ask how much is free in %s: %w", s.folder, err)
	}
	return used, free, nil
}

// freeIn is how many bytes are free for a user on the disk of a folder.
func freeIn(folder string) (bytes int64, err error) {
	var disk unix.Statfs_t
	err = unix.Statfs(folder, &disk)
	return int64(disk.Bavail) * int64(disk.Bsize), err
}
