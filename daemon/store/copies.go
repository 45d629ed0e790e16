package store

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"time"

	"golang.org/x/sys/unix"

	"lidwright/api/usecase"
)

// WithForgotten lists the copies that still have the mark of a maker who was forgotten since, newest
// first, those of the second place last, and behind them the files that were moved aside, which nothing
// takes a mark out of.
func (s *Store) WithForgotten(ctx context.Context) (copies []CopyKept, aside []string, err error) {
	all, err := s.Copies()
	if err != nil {
		return nil, nil, err
	}
	gone, err := s.forgottenSince(ctx)
	if err != nil || len(gone) == 0 {
		return nil, nil, err
	}
	for _, c := range all {
		marks, err := marksIn(ctx, c.Path, gone)
		if err != nil {
			return copies, nil, fmt.Errorf("look for forgotten marks in %s: %w", filepath.Base(c.Path), err)
		}
		if len(marks) > 0 {
			copies = append(copies, c)
		}
	}
	aside, err = filepath.Glob(filepath.Join(s.folder, fileName+"*.*-[0-9]*T*Z*"))
	return copies, aside, err
}

// stood is where a mark stood in the record of changes.
type stood struct {
	kind, id string
	blanked
}

func (s *Store) forgottenSince(ctx context.Context) ([]stood, error) {
	rows, err := s.read.QueryContext(ctx, `SELECT kind, id, body FROM change WHERE op = 'forget'`)
	if err != nil {
		return nil, fmt.Errorf("look for makers that were forgotten: %w", err)
	}
	type change struct{ kind, id, body string }
	all, err := collect(rows, "makers that were forgotten", func(c *change) error {
		return rows.Scan(&c.kind, &c.id, &c.body)
	})
	var out []stood
	for _, c := range all {
		var f forgotten
		if json.Unmarshal([]byte(c.body), &f) == nil {
			for _, b := range f.Blanked {
				out = append(out, stood{c.kind, c.id, b})
			}
		}
	}
	return out, err
}

// marksIn gives the marks that stand in a copy where they were forgotten.
func marksIn(ctx context.Context, copied string, gone []stood) (marks []string, err error) {
	db, err := openCopy(copied)
	if err != nil {
		return nil, err
	}
	defer db.Close()
	look, err := db.PrepareContext(ctx, `SELECT coalesce(json_extract(body, '$.' || ?), '') FROM change WHERE seq = ? AND kind = ? AND id = ?`)
	if err != nil {
		return nil, err
	}
	defer look.Close()
	for _, p := range gone {
		var mark string
		err := look.QueryRowContext(ctx, p.Member, p.Seq, p.kind, p.id).Scan(&mark)
		if err != nil && !errors.Is(err, sql.ErrNoRows) {
			return marks, err
		}
		if mark != "" && !slices.Contains(marks, mark) {
			marks = append(marks, mark)
		}
	}
	return marks, nil
}

// RenewCopies takes the marks of forgotten makers out of the copies that still have them: each is written
// anew under its own name, everything else in it as it was. It gives how many those were.
func (s *Store) RenewCopies(ctx context.Context) (n int, err error) {
	s.copying.under.Lock()
	defer s.copying.under.Unlock()
	alone, err := lockFile(filepath.Join(s.folder, "copies.lock"), unix.LOCK_EX)
	if err != nil {
		return 0, err
	}
	defer alone.Close()
	copies, _, err := s.WithForgotten(ctx)
	if err != nil {
		return 0, err
	}
	gone, err := s.forgottenSince(ctx)
	if err != nil {
		return 0, err
	}
	for _, c := range copies {
		marks, err := marksIn(ctx, c.Path, gone)
		if err == nil {
			err = renewCopy(ctx, c.Path, marks)
		}
		if err != nil {
			return n, fmt.Errorf("take forgotten marks out of %s, which is as it was: %w", c.Path, busy(err))
		}
		n++
	}
	return n, nil
}

func renewCopy(ctx context.Context, copied string, marks []string) error {
	part, clean := copied+".part", filepath.Join(filepath.Dir(copied), copyTemp)
	defer os.Remove(part + "-journal")
	defer os.Remove(part)
	if err := discard(clean); err != nil {
		return err
	}
	if _, err := bring(copied, copied); err != nil {
		return err
	}
	db, err := sql.Open("sqlite", dsn(plainDSN+"&_pragma=secure_delete(1)&_pragma=temp_store(2)", part))
	if err != nil {
		return err
	}
	defer db.Close()
	db.SetMaxOpenConns(1)
	tx, err := db.BeginTx(ctx, nil)
	if err != nil {
		return err
	}
	defer tx.Rollback()
	for _, mark := range marks {
		facts, _, err := blankOut(ctx, tx, mark)
		if err != nil {
			return err
		}
		for _, f := range facts {
			if f.kind == "pot" {
				if err := wordsAnew(ctx, tx, f.id); err != nil {
					return err
				}
			}
		}
	}
	if err := tx.Commit(); err != nil {
		return err
	}
	if _, err := db.ExecContext(ctx, `VACUUM INTO ?`, clean); err != nil { // used pages alone
		return errors.Join(err, discard(clean))
	}
	if err := checkCopy(ctx, clean); err != nil {
		return errors.Join(err, discard(clean))
	}
	return name(clean, copied)
}

func openCopy(path string) (*sql.DB, error) { return sql.Open("sqlite", dsn(copyDSN, path)) }

// CopyDue tells since when, by the clock on the wall, something lies in the store that is in no
// copy: since the newest copy at the earliest. The zero time: the newest copy has everything.
func (s *Store) CopyDue(ctx context.Context) (time.Time, error) {
	state, err := stateOfStore(ctx, s.read)
	if err != nil {
		return time.Time{}, fmt.Errorf("ask what changed since the last copy: %w", err)
	}
	if state == s.stateOfCopy(ctx) {
		return time.Time{}, nil
	}
	copies, err := copiesOf(s.folder)
	if err != nil {
		return time.Time{}, err
	}
	if len(copies) > 0 {
		_, at, _ := parseCopy(filepath.Base(copies[0]))
		return at, nil
	}
	var first sql.NullInt64
	if err := s.read.QueryRowContext(ctx, `SELECT min(at_ms) FROM change WHERE boot <> ?`,
		toldBoot).Scan(&first); err != nil {
		return time.Time{}, fmt.Errorf("ask what changed since the last copy: %w", err)
	}
	if !first.Valid {
		return time.Time{}, nil // firings alone are copied when they end
	}
	return time.UnixMilli(first.Int64).UTC(), nil
}

// CopyKept is one copy of the store.
type CopyKept struct {
	Path   string
	At     time.Time // when it was made, by the clock of then
	Bytes  int64
	Second bool // it lies in the second place
}

// Copies lists the copies there are, newest first, those of the second place last.
func (s *Store) Copies() ([]CopyKept, error) { return CopiesOf(s.folder, s.second) }

// CopiesOf lists those of a store folder and of its second place ("": none); no store is opened.
func CopiesOf(folder, second string) ([]CopyKept, error) {
	here, err := copiesOf(folder)
	if err != nil {
		return nil, err
	}
	all := keptCopies(here, false)
	if second != "" {
		there, err := copiesIn(second)
		if err != nil {
			return all, err
		}
		all = append(all, keptCopies(there, true)...)
	}
	return all, nil
}

func keptCopies(paths []string, second bool) []CopyKept {
	var all []CopyKept
	for _, path := range paths {
		_, at, _ := parseCopy(filepath.Base(path))
		c := CopyKept{Path: path, At: at, Second: second}
		if info, err := os.Stat(path); err == nil {
			c.Bytes = info.Size()
		}
		all = append(all, c)
	}
	return all
}

// toSecond puts the newest copy in the second place too, checks it there, and lets the oldest go.
// The folder is never made: a stick that is not there must not become a folder on the card.
func (s *Store) toSecond(ctx context.Context) error {
	if s.second == "" {
		return nil
	}
	here, err := copiesOf(s.folder)
	if err != nil || len(here) == 0 {
		return err
	}
	there, err := copiesIn(s.second)
	if err != nil {
		return fmt.Errorf("%w: second place of copies %s: %w", usecase.ErrBusy, s.second, err)
	}
	to := filepath.Join(s.second, filepath.Base(here[0]))
	if slices.Contains(there, to) {
		return nil
	}
	part := filepath.Join(s.second, copyTemp)
	if there, err = overOldest(there, s.copies, part); err == nil {
		err = carryOver(here[0], part)
	}
	if err == nil {
		err = name(part, to)
	}
	if err != nil {
		return errors.Join(fmt.Errorf("%w: second place of copies %s: %w", usecase.ErrBusy, s.second, err),
			discard(part))
	}
	if err := checkCopy(ctx, to); err != nil {
		return errors.Join(fmt.Errorf("second place of copies: %w", err), os.Remove(to))
	}
	return letGo(there, s.copies)
}

// carryOver makes the file to hold what from does; where it holds much of it already, little is written.
func carryOver(from, to string) error {
	in, err := os.Open(from)
	if err != nil {
		return err
	}
	defer in.Close()
	room := make([]byte, 4096)
	_, err = renew(to, func([]byte) ([]byte, error) {
		n, err := io.ReadFull(in, room)
		if err == io.ErrUnexpectedEOF {
			err = nil
		}
		return room[:n], err
	})
	return err
}
