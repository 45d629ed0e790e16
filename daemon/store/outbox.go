package store

import (
	"context"
	"database/sql"
	"encoding/binary"
	"encoding/json"
	"errors"
	"fmt"
	"hash/crc32"

	"lidwright/api/wire"
	"lidwright/daemon/store/codec"
	"lidwright/kiln"
	"lidwright/tiles"
)

// Outbox is the record as it is sent to a collector, and what the collector has of it.
type Outbox struct{ *Store }

// Sent gives how far a collector has this record: of which life, up to which change. Both are zero
// where it has none of it.
func (s Outbox) Sent(ctx context.Context, collector string) (life string, have int64, err error) {
	err = s.read.QueryRowContext(ctx, `SELECT life, have FROM outbox WHERE collector = ?`,
		collector).Scan(&life, &have)
	if err != nil && !errors.Is(err, sql.ErrNoRows) {
		return "", 0, fmt.Errorf("read how far the collector is: %w", busy(err))
	}
	return life, have, nil
}

// Save writes down how far a collector is. fresh begins anew: nothing of any firing is there. It is no
// news to whoever follows the record, and no answer rests on it.
func (s Outbox) Save(ctx context.Context, collector, life string, have int64, fresh bool,
	sent []wire.FiringMark, at kiln.Stamp) error {
	err := s.quietly(ctx, func(tx *sql.Tx) error {
		if fresh {
			if _, err := tx.ExecContext(ctx, `DELETE FROM outbox_firing WHERE collector = ?`,
				collector); err != nil {
				return err
			}
		}
		_, err := tx.ExecContext(ctx, `
			INSERT INTO outbox (collector, life, have, at_ms) VALUES (?, ?, ?, ?)
			ON CONFLICT (collector) DO UPDATE SET life = excluded.life, have = excluded.have, at_ms = excluded.at_ms`, collector, life, have, at.Wall.UnixMilli())
		if err != nil {
			return err
		}
		for _, m := range sent {
			if _, err := tx.ExecContext(ctx, `
				INSERT INTO outbox_firing (collector, firing, revision, curve) VALUES (?, ?, ?, ?)
				ON CONFLICT (collector, firing) DO UPDATE SET revision = excluded.revision, curve = excluded.curve`, collector, m.ID, m.Revision, m.Curve); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		return fmt.Errorf("write down how far the collector is: %w", err)
	}
	return nil
}

// Forget drops what was known of a collector.
func (s Outbox) Forget(ctx context.Context, collector string) error {
	err := s.quietly(ctx, func(tx *sql.Tx) error {
		for _, drop := range []string{`DELETE FROM outbox WHERE collector = ?`,
			`DELETE FROM outbox_firing WHERE collector = ?`} {
			if _, err := tx.ExecContext(ctx, drop, collector); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		return fmt.Errorf("forget how far the collector was: %w", err)
	}
	return nil
}

// quietly writes what is no fact: nobody who waits for news is told.
func (s Outbox) quietly(ctx context.Context, f func(tx *sql.Tx) error) error {
	if err := s.InPlace(ctx); err != nil {
		return err
	}
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

// SentFirings gives what is written down as being at a collector.
func (s Outbox) SentFirings(ctx context.Context, collector string) ([]wire.FiringMark, error) {
	rows, err := s.read.QueryContext(ctx, `SELECT firing, revision, curve FROM outbox_firing WHERE collector = ? ORDER BY firing`, collector)
	if err != nil {
		return nil, fmt.Errorf("read what firings the collector has: %w", busy(err))
	}
	return collect(rows, "what firings the collector has",
		func(m *wire.FiringMark) error { return rows.Scan(&m.ID, &m.Revision, &m.Curve) })
}

// FiringRevisions gives the revision of every firing by its id, in the order in which they were written.
func (s Outbox) FiringRevisions(ctx context.Context) ([]wire.FiringMark, error) {
	rows, err := s.read.QueryContext(ctx, `SELECT id, revision FROM firing ORDER BY row`)
	if err != nil {
		return nil, fmt.Errorf("read the revisions of firings: %w", busy(err))
	}
	return collect(rows, "the revisions of firings",
		func(m *wire.FiringMark) error { return rows.Scan(&m.ID, &m.Revision) })
}

// SentFiring gives a firing as it is sent to a collector, and its curve: the blocks one after another, the
// length before each, as the store keeps them. Of one under way the last block is made for this answer.
// kiln.ErrNoFiring if there is no such firing.
func (s Outbox) SentFiring(ctx context.Context, id string) (f wire.SentFiring, curve []byte, err error) {
	tx, err := s.read.BeginTx(ctx, &sql.TxOptions{ReadOnly: true}) // row and curve of one moment
	if err != nil {
		return f, nil, busy(err)
	}
	defer tx.Rollback()
	var row, began int64
	var over sql.NullInt64
	err = tx.QueryRowContext(ctx, `
		SELECT row, id, kiln, number, revision, status, source, began_ms, over_ms, trusted, heat_model,
			coalesce(said_kind, ''), coalesce(said_atmosphere, ''), coalesce(said_status, ''), coalesce(said_note, ''), summary
		FROM firing WHERE id = ?`, id).Scan(&row, &f.ID, &f.Kiln, &f.Number, &f.Revision, &f.Status, &f.Source, &began, &over, &f.TimesTrusted, &f.HeatModel,
		&f.SaidKind, &f.SaidAtmosphere, &f.SaidStatus, &f.SaidNote, &f.Summary)
	if err != nil {
		return f, nil, fmt.Errorf("read firing %s: %w", id, missing(err, kiln.ErrNoFiring))
	}
	f.BeganAt = fromMilli(began)
	if over.Valid {
		at := fromMilli(over.Int64)
		f.OverAt = &at
	}
	if f.Status != string(kiln.Running) {
		err = tx.QueryRowContext(ctx, `SELECT data FROM curve WHERE firing = ?`, row).Scan(&curve)
		if errors.Is(err, sql.ErrNoRows) {
			err = nil
		}
		return f, curve, busy(err)
	}
	rows, err := tx.QueryContext(ctx, `SELECT sealed, data FROM run WHERE firing = ? ORDER BY row`, row)
	if err != nil {
		return f, nil, busy(err)
	}
	type run struct {
		sealed bool
		data   []byte
	}
	runs, err := collect(rows, "a firing under way",
		func(r *run) error { return rows.Scan(&r.sealed, &r.data) })
	if err != nil {
		return f, nil, err
	}
	var open []kiln.Sample
	for _, r := range runs {
		if r.sealed {
			curve = append(binary.AppendUvarint(curve, uint64(len(r.data))), r.data...)
			continue
		}
		if part, err := codec.Decode(r.data, kiln.KilnID(f.Kiln)); err == nil {
			open = append(open, part...)
		}
	}
	if len(open) > 0 {
		block := codec.Encode(open, true)
		curve = append(binary.AppendUvarint(curve, uint64(len(block))), block...)
	}
	return f, curve, nil
}

// Found gives what the program found of facts when they came, by the number of the change, of those after one
// and up to another.
func (s Outbox) Found(ctx context.Context, after, upTo int64) (map[int64]*wire.PushFound, error) {
	all := map[int64]*wire.PushFound{}
	rows, err := s.read.QueryContext(ctx, `SELECT seq, as_typed, unit, coalesce(length_mm, 0), queued_s, unusual, outside, slip, question FROM reading WHERE seq > ? AND seq <= ?`, after, upTo)
	if err != nil {
		return nil, fmt.Errorf("read what was found of readings: %w", busy(err))
	}
	if _, err := collect(rows, "what was found of readings", func(*int) error {
		var seq int64
		var typed, unit string
		var length float64
		var f wire.PushFound
		if err := rows.Scan(&seq, &typed, &unit, &length, &f.QueuedS, &f.Unusual, &f.Outside, &f.Slip,
			&f.Question); err != nil {
			return err
		}
		if said := typedLength(typed, unit); length != 0 && float64(said) != length {
			f.LengthMM = &length
		}
		if f != (wire.PushFound{}) {
			all[seq] = &f
		}
		return nil
	}); err != nil {
		return nil, err
	}
	rows, err = s.read.QueryContext(ctx, `
		SELECT seq, least_play_mm, most_play_mm, bearing_mm, 0 FROM lid_result WHERE seq > ?1 AND seq <= ?2 AND least_play_mm IS NOT NULL
		UNION ALL SELECT c.seq, NULL, NULL, NULL, l.unpacked_ms FROM change c JOIN load l ON l.id = c.id
		WHERE c.seq > ?1 AND c.seq <= ?2 AND c.kind = 'load' AND c.op = 'close' AND l.unpacked_ms IS NOT NULL`, after, upTo)
	if err != nil {
		return nil, fmt.Errorf("read what was found of lids and loads: %w", busy(err))
	}
	_, err = collect(rows, "what was found of lids and loads", func(*int) error {
		var seq int64
		var f wire.PushFound
		err := rows.Scan(&seq, &f.LeastPlay, &f.MostPlay, &f.Bearing, &f.UnpackedMS)
		all[seq] = &f
		return err
	})
	return all, err
}

// typedLength is the length that was typed; 0 where it does not read.
func typedLength(typed, unit string) tiles.Millimetre {
	l, err := tiles.ParseLength("length", typed, tiles.LengthUnit(unit))
	if err != nil {
		return 0
	}
	return l.Millimetre()
}

// CurveSum is by which a curve is known to be the same; 0 of none.
func CurveSum(curve []byte) int64 {
	if len(curve) == 0 {
		return 0
	}
	return int64(crc32.Checksum(curve, crc32.MakeTable(crc32.Castagnoli)))
}

// Boots gives the runnings of the machine whose clock came to be trusted.
func (s Outbox) Boots(ctx context.Context) ([]wire.PushBoot, error) {
	rows, err := s.read.QueryContext(ctx, `SELECT id, offset_ms FROM boot ORDER BY offset_ms, id`)
	if err != nil {
		return nil, fmt.Errorf("read the runnings of the machine: %w", busy(err))
	}
	return collect(rows, "the runnings of the machine",
		func(b *wire.PushBoot) error { return rows.Scan(&b.ID, &b.OffsetMS) })
}

// ClayBodies gives which body of the collector's catalogue each clay is, and what other studios told of it.
func (s Outbox) ClayBodies(ctx context.Context) ([]wire.KeptBody, error) {
	rows, err := s.read.QueryContext(ctx, `SELECT clay, body, yes_life, sent, coalesce(told, 'null') FROM clay_body ORDER BY clay`)
	if err != nil {
		return nil, fmt.Errorf("read which bodies the clays are: %w", busy(err))
	}
	return collect(rows, "which bodies the clays are", func(b *wire.KeptBody) error {
		var body, told string
		if err := rows.Scan(&b.Clay, &body, &b.YesLife, &b.Sent, &told); err != nil {
			return err
		}
		return errors.Join(json.Unmarshal([]byte(body), &b.Body), json.Unmarshal([]byte(told), &b.Told))
	})
}

// SaveClayBodies puts all of them in the place of those that are kept. It is no news to whoever follows the
// record.
func (s Outbox) SaveClayBodies(ctx context.Context, all []wire.KeptBody) error {
	err := s.quietly(ctx, func(tx *sql.Tx) error {
		if _, err := tx.ExecContext(ctx, `DELETE FROM clay_body`); err != nil {
			return err
		}
		for _, b := range all {
			body, err := json.Marshal(b.Body)
			if err != nil {
				return err
			}
			var told any
			if b.Told != nil {
				text, err := json.Marshal(b.Told)
				if err != nil {
					return err
				}
				told = string(text)
			}
			if _, err := tx.ExecContext(ctx,
				`INSERT INTO clay_body (clay, body, yes_life, sent, told) VALUES (?, ?, ?, ?, ?)`,
				b.Clay, string(body), b.YesLife, b.Sent, told); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		return fmt.Errorf("keep which bodies the clays are: %w", err)
	}
	return nil
}
