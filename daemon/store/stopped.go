package store

import (
	"context"
	"database/sql"
	"encoding/binary"
	"fmt"
	"time"

	"lidwright/daemon/store/codec"
	"lidwright/kiln"
	"lidwright/kiln/record"
)

// StopFiring closes a firing whose record a person ended, and keeps beside it that this can be taken back.
func (s FiringStore) StopFiring(ctx context.Context, f kiln.Firing, stopped record.Stopped) error {
	err := s.write(ctx, func(tx *sql.Tx) error {
		row, err := s.end(ctx, tx, f)
		if err != nil {
			return err
		}
		at, was := stopped.At, stopped.Firing
		_, err = tx.ExecContext(ctx, `
			INSERT INTO stopped (firing, boot, since_ms, at_ms, trusted, instead, load, summary) VALUES (?, ?, ?, ?, ?, ?, ?, ?)
			ON CONFLICT (firing) DO NOTHING`,
			row, at.Boot, at.Since.Milliseconds(), at.Wall.UnixMilli(), at.Trusted, stopped.Instead,
			stopped.Load, codec.WriteSummary(was))
		return err
	})
	if err != nil {
		return fmt.Errorf("stop firing %s: %w", f.ID, err)
	}
	return nil
}

// ReopenFiring has a stopped firing go on: its row, its samples and what lies beside them are those of a
// firing under way again. One that goes on already is left alone.
func (s FiringStore) ReopenFiring(ctx context.Context, f kiln.Firing) error {
	err := s.write(ctx, func(tx *sql.Tx) error {
		row, k, was, err := noLonger(ctx, tx, f.ID)
		if err != nil || !was {
			return err
		}
		if err := s.layApart(ctx, tx, row, k); err != nil {
			return err
		}
		f.Status, f.Over = kiln.Running, kiln.Stamp{}
		if f.Began, err = settled(ctx, tx, f.Began); err != nil {
			return err
		}
		began, _, trusted := codec.TimesOf(f)
		if _, err := tx.ExecContext(ctx, `
			UPDATE firing SET revision = revision + 1, status = ?, began_ms = ?, over_ms = NULL, trusted = ?, heat_model = ?, summary = ?, peak_c = ? WHERE row = ?`,
			f.Status, began, trusted, codec.ModelOf(f.HeatWork), codec.WriteSummary(f),
			peakOf(f), row); err != nil {
			return err
		}
		return tellFiring(ctx, tx, "correct", "undone", row, f, s.now())
	})
	if err != nil {
		return fmt.Errorf("reopen firing %s: %w", f.ID, err)
	}
	return nil
}

// noLonger strikes a firing from those whose stop can be taken back, and says whether it was one.
func noLonger(ctx context.Context, tx *sql.Tx, id kiln.FiringID) (row int64, k kiln.KilnID, was bool,
	err error) {
	if row, k, err = firingRow(ctx, tx, id); err != nil {
		return row, k, false, err
	}
	gone, err := tx.ExecContext(ctx, `DELETE FROM stopped WHERE firing = ?`, row)
	if err != nil {
		return row, k, false, err
	}
	n, err := gone.RowsAffected()
	return row, k, n > 0, err
}

// layApart puts the curve of a firing back into the blocks that it was made of, before what was heard since.
func (s FiringStore) layApart(ctx context.Context, tx *sql.Tx, row int64, k kiln.KilnID) error {
	type run struct {
		rows   int
		sealed bool
		data   []byte
		line   sql.NullString
	}
	var all []run
	var data []byte
	if err := tx.QueryRowContext(ctx, `SELECT coalesce((SELECT data FROM curve WHERE firing = ?), x'')`,
		row).Scan(&data); err != nil {
		return err
	}
	for len(data) > 0 {
		n, size := binary.Uvarint(data)
		if size <= 0 || n > uint64(len(data)-size) {
			n, size = uint64(len(data)), 0 // it will not decode, and is not lost
		}
		one := run{rows: 1, sealed: true, data: data[size : size+int(n)]}
		if samples, err := codec.Decode(one.data, k); err == nil && len(samples) > 0 {
			one.rows = len(samples)
		}
		all, data = append(all, one), data[size+int(n):]
	}
	rows, err := tx.QueryContext(ctx, `SELECT rows, sealed, data, line FROM run WHERE firing = ? ORDER BY row`, row)
	if err != nil {
		return err
	}
	since, err := collect(rows, "what was heard since",
		func(r *run) error { return rows.Scan(&r.rows, &r.sealed, &r.data, &r.line) })
	if err != nil {
		return err
	}
	for _, drop := range []string{`DELETE FROM run WHERE firing = ?`, `DELETE FROM curve WHERE firing = ?`,
		`DELETE FROM envelope WHERE firing = ?`} {
		if _, err := tx.ExecContext(ctx, drop, row); err != nil {
			return err
		}
	}
	for _, r := range append(all, since...) {
		if _, err := tx.ExecContext(ctx, `INSERT INTO run (firing, rows, sealed, data, line) VALUES (?, ?, ?, ?, ?)`, row, r.rows, r.sealed, r.data, r.line); err != nil {
			return err
		}
	}
	return nil
}

// SettleFiring lets a stopped firing be over for good: what was heard after its end is let go of.
func (s FiringStore) SettleFiring(ctx context.Context, id kiln.FiringID) error {
	err := s.write(ctx, func(tx *sql.Tx) error {
		row, _, was, err := noLonger(ctx, tx, id)
		if err != nil || !was {
			return err
		}
		_, err = tx.ExecContext(ctx, `DELETE FROM run WHERE firing = ?`, row)
		return err
	})
	if err != nil {
		return fmt.Errorf("settle firing %s: %w", id, err)
	}
	return nil
}

// stoppedFirings gives those whose record a person ended and which can still go on.
func (s FiringStore) stoppedFirings(ctx context.Context) ([]record.Unfinished, error) {
	rows, err := s.read.QueryContext(ctx, `
		SELECT f.id, s.boot, s.since_ms, s.at_ms, s.trusted, s.instead, s.load, s.summary FROM stopped s JOIN firing f ON f.row = s.firing ORDER BY s.at_ms`)
	if err != nil {
		return nil, fmt.Errorf("read what was stopped: %w", err)
	}
	all, err := collect(rows, "what was stopped", func(u *record.Unfinished) error {
		u.Stopped = &record.Stopped{}
		var since, at int64
		var summary []byte
		if err := rows.Scan(&u.Firing.ID, &u.Stopped.At.Boot, &since, &at, &u.Stopped.At.Trusted,
			&u.Stopped.Instead, &u.Stopped.Load, &summary); err != nil {
			return err
		}
		u.Stopped.At.Since, u.Stopped.At.Wall = time.Duration(since)*time.Millisecond, fromMilli(at)
		if was, err := codec.ReadSummary(summary); err == nil { // else it goes on as it ended
			u.Stopped.Firing = was
		}
		return nil
	})
	if err != nil {
		return nil, err
	}
	for i := range all {
		f, err := s.Firing(ctx, all[i].Firing.ID)
		if err != nil {
			return nil, err
		}
		was := &all[i].Stopped.Firing
		if was.ID == "" {
			*was = f
		}
		was.Number, was.Status, was.Load = f.Number, kiln.Running, f.Load
		all[i].Firing = *was
		if all[i].Stopped.At, err = settled(ctx, s.read, all[i].Stopped.At); err != nil {
			return nil, err
		}
	}
	return all, nil
}
