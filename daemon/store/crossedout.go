package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"time"

	"lidwright/kiln"
	"lidwright/tiles"
	"lidwright/tiles/lid"
)

// mostCrossedOut bounds a list of what was crossed out.
const mostCrossedOut = 500

// CrossedOut gives what people crossed out since a moment and nobody restored, newest first: readings, cones,
// notes, boards of lids, and loads that were called off. A reading whose place another took was corrected,
// and is not among them.
func (s ChangeStore) CrossedOut(ctx context.Context, since time.Time) ([]tiles.StruckFact, error) {
	rows, err := s.read.QueryContext(ctx, `
		SELECT a.kind, a.id, coalesce(r.bar, k.firing, n.firing, ''), a.by, a.why, c.at_ms, c.seq
		FROM act a JOIN change c ON c.seq = a.seq AND c.op = 'strike'
			LEFT JOIN reading r ON a.kind = 'reading' AND r.id = a.id
			LEFT JOIN cone k ON a.kind = 'cone' AND k.id = a.id
			LEFT JOIN note n ON a.kind = 'note' AND n.id = a.id
		WHERE a.op = 'strike' AND c.at_ms >= ?1
		UNION ALL SELECT 'load', id, '', closed_by, '', called_off_ms, rev FROM load WHERE called_off_ms >= ?1
		ORDER BY 6 DESC, 7 DESC LIMIT ?2`, since.UnixMilli(), mostCrossedOut)
	if err != nil {
		return nil, fmt.Errorf("read what was crossed out: %w", err)
	}
	return collect(rows, "what was crossed out", func(c *tiles.StruckFact) error {
		var at, seq int64
		err := rows.Scan(&c.Kind, &c.ID, &c.Of, &c.By, &c.Why, &at, &seq)
		c.At = fromMilli(at)
		return err
	})
}

// whereStruck finds a fact that can be crossed out: what it belongs to, and what is said where it is not
// there.
var whereStruck = map[string]struct {
	query string
	none  error
}{
	"reading":    {`SELECT bar FROM reading WHERE id = ?`, tiles.ErrNoReading},
	"cone":       {`SELECT firing FROM cone WHERE id = ?`, tiles.ErrNoCone},
	"note":       {`SELECT firing FROM note WHERE id = ?`, tiles.ErrNoNote},
	"lid_result": {`SELECT '' FROM lid_result WHERE id = ?`, lid.ErrNoResult},
}

// Restore takes back that a reading, a cone, a note or a board of lids was crossed out, and gives what it
// belongs to: the bar or the firing. The record keeps both words. Where it stands already nothing changes.
// The errors are those of things that are not there, tiles.ErrReplaced and trouble with the disk.
func (s ChangeStore) Restore(ctx context.Context, kind, id, by string, at kiln.Stamp) (of string, err error) {
	fact, known := whereStruck[kind]
	if !known {
		return "", tiles.ErrNotCrossedOut
	}
	err = s.write(ctx, func(tx *sql.Tx) error {
		if err := tx.QueryRowContext(ctx, fact.query, id).Scan(&of); err != nil {
			return missing(err, fact.none)
		}
		var one int
		err := tx.QueryRowContext(ctx, `SELECT 1 FROM act WHERE kind = ? AND id = ? AND op = 'strike'`, kind,
			id).Scan(&one)
		if errors.Is(err, sql.ErrNoRows) {
			return nil
		}
		if err != nil {
			return err
		}
		seq, err := recordChange(ctx, tx, kind, "restore", id, at, map[string]string{"by": by})
		if err != nil {
			return err
		}
		if _, err := tx.ExecContext(ctx, `DELETE FROM act WHERE kind = ? AND id = ? AND op = 'strike'`, kind,
			id); err != nil || kind != "reading" {
			return err
		}
		if err := tx.QueryRowContext(ctx, `SELECT count(*) FROM reading WHERE supersedes = ? AND struck = 0`,
			id).Scan(&one); err != nil {
			return err
		}
		if one > 0 {
			return tiles.ErrReplaced
		}
		if _, err := tx.ExecContext(ctx, `UPDATE reading SET struck = 0 WHERE id = ?`, id); err != nil {
			return err
		}
		return touchBar(ctx, tx, tiles.Code(of), seq)
	})
	if errors.Is(err, tiles.ErrReplaced) {
		return "", tiles.ErrReplaced
	}
	if err != nil {
		return "", fmt.Errorf("restore %s %s: %w", kind, id, err)
	}
	return of, nil
}

// TakenBack gives each crossing out of a bar's readings that was restored, in order of time.
func (s ChangeStore) TakenBack(ctx context.Context, bar tiles.Code) ([]tiles.TakenBack, error) {
	rows, err := s.read.QueryContext(ctx, `
		SELECT c.id, c.op, c.at_ms, coalesce(c.body ->> 'by', ''), coalesce(c.body ->> 'why', '')
		FROM change c JOIN reading r ON r.id = c.id
		WHERE r.bar = ? AND c.kind = 'reading' AND c.op IN ('strike', 'restore') ORDER BY c.seq`, string(bar))
	if err != nil {
		return nil, fmt.Errorf("read what was restored of bar %s: %w", bar, err)
	}
	var all []tiles.TakenBack
	struck := map[string]tiles.Act{}
	_, err = collect(rows, "what was restored", func(*struct{}) error {
		var id, op string
		var at int64
		var a tiles.Act
		if err := rows.Scan(&id, &op, &at, &a.By, &a.Why); err != nil {
			return err
		}
		a.At = fromMilli(at)
		if op == "strike" {
			struck[id] = a
		} else if was, is := struck[id]; is {
			all = append(all, tiles.TakenBack{Reading: id, Struck: was, Restored: a})
			delete(struck, id)
		}
		return nil
	})
	return all, err
}
