package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"math"
	"time"

	"lidwright/api/usecase"
	"lidwright/kiln"
	"lidwright/tiles"
)

type loadBody struct {
	Kiln       string    `json:"kiln"`
	Kind       string    `json:"kind"`
	Atmosphere string    `json:"atmosphere"`
	Bars       []barSlot `json:"bars"`
	Firing     string    `json:"firing"`
	PackedBy   string    `json:"packed_by"`
	Note       string    `json:"note"`
	Stated     float64   `json:"heat_work_c,omitempty"`
}

type barSlot struct {
	Bar   string `json:"bar"`
	Shelf string `json:"shelf"`
}

func sayLoad(l tiles.Load) loadBody {
	body := loadBody{string(l.Kiln), string(l.Kind), string(l.Atmosphere), []barSlot{}, string(l.Firing), l.PackedBy, l.Note, stated(l.Stated)}
	for _, b := range l.Bars {
		body.Bars = append(body.Bars, barSlot{string(b.Bar), b.Shelf})
	}
	return body
}

const insertLoad = `
	INSERT INTO load (id, number, kiln, kind, atmosphere, firing, packed_by, note, heat_work_c, opened, rev)
	VALUES (?1, (SELECT coalesce(max(number), 0) + 1 FROM load), ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?9)
	ON CONFLICT (id) DO UPDATE SET kiln = excluded.kiln, kind = excluded.kind, atmosphere = excluded.atmosphere,
		firing = coalesce(excluded.firing, load.firing), packed_by = excluded.packed_by, note = excluded.note,
		heat_work_c = excluded.heat_work_c, rev = excluded.rev`

// PutLoad keeps a load or what is changed about it, and gives it its number. The errors are
// tiles.ErrNoBar, tiles.ErrChanged and trouble with the disk.
func (s LoadStore) PutLoad(ctx context.Context, l tiles.Load, m usecase.Precondition, at kiln.Stamp) (kept tiles.PutResult, err error) {
	body := sayLoad(l)
	err = s.write(ctx, func(tx *sql.Tx) error {
		kept = tiles.PutResult{}
		err := tx.QueryRowContext(ctx, `SELECT rev FROM load WHERE id = ?`, l.ID).Scan(&kept.Revision)
		if err != nil && !errors.Is(err, sql.ErrNoRows) {
			return err
		}
		again, err := mayEdit(ctx, tx, "load", l.ID, kept.Revision, m, body)
		if again || err != nil {
			return err
		}
		kept.New = true
		if kept.Revision, err = recordChange(ctx, tx, "load", "put", l.ID, at, body); err != nil {
			return err
		}
		if l.Firing != "" {
			if err := leaveFiring(ctx, tx, l.ID, l.Firing, kept.Revision); err != nil {
				return err
			}
		}
		if _, err = tx.ExecContext(ctx, insertLoad, l.ID, l.Kiln, l.Kind, l.Atmosphere, orNull(l.Firing), l.PackedBy, l.Note, orNull(stated(l.Stated)), kept.Revision); err != nil {
			return err
		}
		return placeBars(ctx, tx, l, kept.Revision)
	})
	if err != nil {
		return tiles.PutResult{}, fmt.Errorf("keep load %s: %w", l.ID, err)
	}
	return kept, nil
}

// leaveFiring takes the firing away from whatever other load had it: a firing has one load, and
// who names it last knows best.
func leaveFiring(ctx context.Context, tx *sql.Tx, id string, firing kiln.FiringID, seq int64) error {
	_, err := tx.ExecContext(ctx, `UPDATE load SET firing = NULL, rev = ? WHERE firing = ? AND id <> ?`, seq, firing, id)
	return err
}

func stated(t kiln.Celsius) float64 {
	if math.IsNaN(float64(t)) {
		return 0
	}
	return float64(t)
}

func placeBars(ctx context.Context, tx *sql.Tx, l tiles.Load, seq int64) error {
	list, err := jsonList(codesOf(l.Bars))
	if err != nil {
		return err
	}
	result, err := tx.QueryContext(ctx, `DELETE FROM load_bar WHERE load = ? AND bar NOT IN (SELECT value FROM json_each(?)) RETURNING bar`, l.ID, list)
	if err != nil {
		return err
	}
	gone, err := collect(result, "bars taken out", func(c *tiles.Code) error { return result.Scan(c) })
	if err != nil {
		return err
	}
	for _, code := range gone {
		if err := touchBar(ctx, tx, code, seq); err != nil {
			return err
		}
	}
	for _, b := range l.Bars {
		var one int
		if err := tx.QueryRowContext(ctx, `SELECT 1 FROM bar WHERE code = ?`, b.Bar).Scan(&one); err != nil {
			return fmt.Errorf("%s: %w", b.Bar, missing(err, tiles.ErrNoBar))
		}
		if _, err := tx.ExecContext(ctx, `
			INSERT INTO load_bar (load, bar, shelf, seq, measured) VALUES (?, ?, ?, ?, 0)
			ON CONFLICT (load, bar) DO UPDATE SET shelf = excluded.shelf`, l.ID, b.Bar, b.Shelf, seq); err != nil {
			return err
		}
		if err := touchBar(ctx, tx, b.Bar, seq); err != nil {
			return err
		}
	}
	return nil
}

func codesOf(bars []tiles.Placed) []string {
	var codes []string
	for _, b := range bars {
		codes = append(codes, string(b.Bar))
	}
	return codes
}

// CloseLoad says that a load was unpacked. Said again it changes nothing.
func (s LoadStore) CloseLoad(ctx context.Context, id string, unpacked time.Time, by string, at kiln.Stamp) error {
	err := s.write(ctx, func(tx *sql.Tx) error {
		var done sql.NullInt64
		if err := tx.QueryRowContext(ctx, `SELECT unpacked_ms FROM load WHERE id = ?`, id).Scan(&done); err != nil {
			return missing(err, tiles.ErrNoLoad)
		}
		if done.Valid {
			return nil
		}
		seq, err := recordChange(ctx, tx, "load", "close", id, at, map[string]string{"by": by, "unpacked_at": unpacked.UTC().Format(time.RFC3339)})
		if err != nil {
			return err
		}
		_, err = tx.ExecContext(ctx, `UPDATE load SET unpacked_ms = ?, closed_by = ?, rev = ? WHERE id = ?`, unpacked.UnixMilli(), by, seq, id)
		return err
	})
	if err != nil {
		return fmt.Errorf("close load %s: %w", id, err)
	}
	return nil
}

// AttachLoad joins a load with its firing, or with none if firing is empty. The errors are tiles.ErrNoLoad and trouble with
// the disk.
func (s LoadStore) AttachLoad(ctx context.Context, id string, firing kiln.FiringID, at kiln.Stamp) error {
	err := s.write(ctx, func(tx *sql.Tx) error {
		var have sql.NullString
		if err := tx.QueryRowContext(ctx, `SELECT firing FROM load WHERE id = ?`, id).Scan(&have); err != nil {
			return missing(err, tiles.ErrNoLoad)
		}
		if have.String == string(firing) {
			return nil
		}
		seq, err := recordChange(ctx, tx, "load", "put", id, at, map[string]string{"firing": string(firing)})
		if err != nil {
			return err
		}
		if err := leaveFiring(ctx, tx, id, firing, seq); err != nil {
			return err
		}
		_, err = tx.ExecContext(ctx, `UPDATE load SET firing = ?, rev = ? WHERE id = ?`, orNull(firing), seq, id)
		return err
	})
	if err != nil {
		return fmt.Errorf("attach load %s: %w", id, err)
	}
	return nil
}

// Load gives one load, or tiles.ErrNoLoad.
func (s LoadStore) Load(ctx context.Context, id string) (tiles.KeptLoad, error) {
	all, err := s.Loads(ctx, tiles.LoadFilter{ID: id})
	if err == nil && len(all) == 0 {
		err = tiles.ErrNoLoad
	}
	if err != nil {
		return tiles.KeptLoad{}, fmt.Errorf("load %s: %w", id, err)
	}
	return all[0], nil
}

// Loads gives the loads that the filter lets pass, newest first, with their bars.
func (s LoadStore) Loads(ctx context.Context, w tiles.LoadFilter) ([]tiles.KeptLoad, error) {
	rows, err := s.read.QueryContext(ctx, `
		SELECT l.id, l.number, l.kiln, l.kind, l.atmosphere, coalesce(l.firing, ''), l.packed_by, l.note, l.heat_work_c, c.at_ms, l.unpacked_ms, l.rev,
			(SELECT count(*) FROM load_bar x JOIN bar b ON b.code = x.bar WHERE x.load = l.id AND x.measured = 0 AND b.flags = '')
		FROM load l JOIN change c ON c.seq = l.opened
		WHERE (?1 = '' OR l.id = ?1) AND (?2 = '' OR l.kiln = ?2)
			AND (?3 = 0 OR (l.unpacked_ms IS NOT NULL OR l.firing IS NOT NULL AND NOT EXISTS (SELECT 1 FROM firing f WHERE f.id = l.firing AND f.status = 'running')) AND EXISTS (
				SELECT 1 FROM load_bar x JOIN bar b ON b.code = x.bar WHERE x.load = l.id AND x.measured = 0 AND b.flags = ''))
			AND (?4 = 0 OR l.firing IS NULL AND l.unpacked_ms IS NULL)
			AND (?6 = '' OR l.kind = ?6) AND (?7 = '' OR l.number < (SELECT number FROM load WHERE id = ?7))
		ORDER BY l.number DESC LIMIT ?5`, w.ID, w.Kiln, w.Waiting, w.Open, limited(w.Limit), w.Kind, w.After)
	if err != nil {
		return nil, fmt.Errorf("read loads: %w", err)
	}
	loads, err := collect(rows, "loads", func(l *tiles.KeptLoad) error {
		var heat sql.NullFloat64
		var opened int64
		var unpacked sql.NullInt64
		err := rows.Scan(&l.ID, &l.Number, &l.Kiln, &l.Kind, &l.Atmosphere, &l.Firing, &l.PackedBy, &l.Note, &heat, &opened, &unpacked, &l.Revision, &l.Waiting)
		l.Opened, l.Stated = fromMilli(opened), kiln.NoTemperature()
		if heat.Valid {
			l.Stated = kiln.Celsius(heat.Float64)
		}
		if unpacked.Valid {
			l.Unpacked = fromMilli(unpacked.Int64)
		}
		return err
	})
	if err != nil {
		return nil, err
	}
	ids := make([]string, len(loads))
	at := make(map[string]*tiles.KeptLoad, len(loads))
	for i := range loads {
		ids[i], at[loads[i].ID] = loads[i].ID, &loads[i]
	}
	list, err := jsonList(ids)
	if err != nil {
		return nil, err
	}
	rows, err = s.read.QueryContext(ctx, `
		SELECT load, bar, shelf FROM load_bar WHERE load IN (SELECT value FROM json_each(?)) ORDER BY load, seq, bar`, list)
	if err != nil {
		return nil, fmt.Errorf("read loads: %w", err)
	}
	type place struct {
		load string
		tiles.Placed
	}
	places, err := collect(rows, "loads", func(p *place) error { return rows.Scan(&p.load, &p.Bar, &p.Shelf) })
	for _, p := range places {
		at[p.load].Bars = append(at[p.load].Bars, p.Placed)
	}
	return loads, err
}
