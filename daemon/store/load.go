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
	body := loadBody{string(l.Kiln), string(l.Kind), string(l.Atmosphere), []barSlot{}, string(l.Firing),
		l.PackedBy, l.Note, stated(l.Stated)}
	for _, b := range l.Bars {
		body.Bars = append(body.Bars, barSlot{string(b.Bar), b.Shelf})
	}
	return body
}

const insertLoad = `
	INSERT INTO load (id, number, kiln, kind, atmosphere, packed_by, note, heat_work_c, opened, rev)
	VALUES (?1, (SELECT coalesce(max(number), 0) + 1 FROM load), ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?8)
	ON CONFLICT (id) DO UPDATE SET kiln = excluded.kiln, kind = excluded.kind, atmosphere = excluded.atmosphere,
		packed_by = excluded.packed_by, note = excluded.note, heat_work_c = excluded.heat_work_c, rev = excluded.rev`

// PutLoad keeps a load or what is changed about it, and gives it its number. The errors are
// tiles.ErrNoBar, tiles.ErrChanged and trouble with the disk.
func (s LoadStore) PutLoad(ctx context.Context, l tiles.Load, m usecase.Precondition,
	at kiln.Stamp) (kept tiles.PutResult, err error) {
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
		if _, err = tx.ExecContext(ctx, insertLoad, l.ID, l.Kiln, l.Kind, l.Atmosphere, l.PackedBy, l.Note,
			orNull(stated(l.Stated)), kept.Revision); err != nil {
			return err
		}
		if l.Firing != "" {
			if err := attach(ctx, tx, l.ID, l.Firing, kept.Revision); err != nil {
				return err
			}
		}
		return placeBars(ctx, tx, l, kept.Revision)
	})
	if err != nil {
		return tiles.PutResult{}, fmt.Errorf("keep load %s: %w", l.ID, err)
	}
	return kept, nil
}

// attach says that a load went through a firing, and takes the firing away from whatever other load had it: a
// firing has one load, and who names it last knows best.
func attach(ctx context.Context, tx *sql.Tx, id string, firing kiln.FiringID, seq int64) error {
	if _, err := tx.ExecContext(ctx, `UPDATE load SET rev = ? WHERE id = (SELECT load FROM load_firing WHERE firing = ?) AND id <> ?`, seq, firing, id); err != nil {
		return err
	}
	_, err := tx.ExecContext(ctx, `INSERT INTO load_firing (firing, load) VALUES (?, ?) ON CONFLICT (firing) DO UPDATE SET load = excluded.load`, firing, id)
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
		if err := placeBar(ctx, tx, l.ID, b, seq); err != nil {
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
func (s LoadStore) CloseLoad(ctx context.Context, id string, unpacked time.Time, by string,
	at kiln.Stamp) error {
	return s.changeLoad(ctx, id, "unpack", func(tx *sql.Tx) error {
		var done sql.NullInt64
		if err := tx.QueryRowContext(ctx, `SELECT unpacked_ms FROM load WHERE id = ?`,
			id).Scan(&done); err != nil || done.Valid {
			return missing(err, tiles.ErrNoLoad)
		}
		seq, err := recordChange(ctx, tx, "load", "close", id, at,
			map[string]string{"by": by, "unpacked_at": unpacked.UTC().Format(time.RFC3339)})
		if err != nil {
			return err
		}
		_, err = tx.ExecContext(ctx, `UPDATE load SET unpacked_ms = ?, closed_by = ?, rev = ? WHERE id = ?`,
			unpacked.UnixMilli(), by, seq, id)
		return err
	})
}

// CallOffLoad says that nobody fired a load, and nobody will. Said again it changes nothing.
func (s LoadStore) CallOffLoad(ctx context.Context, id, by string, at kiln.Stamp) error {
	return s.changeLoad(ctx, id, "call off", func(tx *sql.Tx) error {
		var done sql.NullInt64
		if err := tx.QueryRowContext(ctx, `SELECT called_off_ms FROM load WHERE id = ?`,
			id).Scan(&done); err != nil || done.Valid {
			return missing(err, tiles.ErrNoLoad)
		}
		seq, err := recordChange(ctx, tx, "load", "strike", id, at, map[string]string{"by": by})
		if err != nil {
			return err
		}
		_, err = tx.ExecContext(ctx, `UPDATE load SET called_off_ms = ?, closed_by = ?, rev = ? WHERE id = ?`,
			at.Wall.UnixMilli(), by, seq, id)
		return err
	})
}

// PutBackLoad takes back that a load was unpacked or called off. Where it was neither it changes nothing.
func (s LoadStore) PutBackLoad(ctx context.Context, id, by string, at kiln.Stamp) error {
	return s.changeLoad(ctx, id, "put back", func(tx *sql.Tx) error {
		var over bool
		if err := tx.QueryRowContext(ctx, `SELECT unpacked_ms IS NOT NULL OR called_off_ms IS NOT NULL FROM load WHERE id = ?`, id).Scan(&over); err != nil || !over {
			return missing(err, tiles.ErrNoLoad)
		}
		seq, err := recordChange(ctx, tx, "load", "put", id, at,
			map[string]string{"by": by, "unpacked_at": ""})
		if err != nil {
			return err
		}
		_, err = tx.ExecContext(ctx, `UPDATE load SET unpacked_ms = NULL, called_off_ms = NULL, closed_by = '', rev = ? WHERE id = ?`, seq, id)
		return err
	})
}

// AttachLoad says that a load went through a firing. Said again it changes nothing.
func (s LoadStore) AttachLoad(ctx context.Context, id string, firing kiln.FiringID, at kiln.Stamp) error {
	return s.changeLoad(ctx, id, "attach", func(tx *sql.Tx) error {
		var has bool
		if err := tx.QueryRowContext(ctx, `SELECT EXISTS (SELECT 1 FROM load_firing lf WHERE lf.firing = ? AND lf.load = l.id) FROM load l WHERE l.id = ?`, firing, id).Scan(&has); err != nil || has {
			return missing(err, tiles.ErrNoLoad)
		}
		seq, err := recordChange(ctx, tx, "load", "put", id, at, map[string]string{"firing": string(firing)})
		if err != nil {
			return err
		}
		if err := attach(ctx, tx, id, firing, seq); err != nil {
			return err
		}
		return touchLoad(ctx, tx, id, seq)
	})
}

// DetachLoad says that a load did not go through a firing. Said again it changes nothing.
func (s LoadStore) DetachLoad(ctx context.Context, id string, firing kiln.FiringID, at kiln.Stamp) error {
	return s.changeLoad(ctx, id, "detach", func(tx *sql.Tx) error {
		gone, err := tx.ExecContext(ctx, `DELETE FROM load_firing WHERE firing = ? AND load = ?`, firing, id)
		if err != nil {
			return err
		}
		if n, err := gone.RowsAffected(); err != nil || n == 0 {
			return err
		}
		seq, err := recordChange(ctx, tx, "load", "put", id, at,
			map[string]string{"detached": string(firing)})
		if err != nil {
			return err
		}
		return touchLoad(ctx, tx, id, seq)
	})
}

// PlaceBars moves bars from loads into others, all in one commit. The errors are tiles.ErrNoLoad,
// tiles.ErrNoBar and trouble with the disk.
func (s LoadStore) PlaceBars(ctx context.Context, moves []tiles.BarMove, at kiln.Stamp) error {
	err := s.write(ctx, func(tx *sql.Tx) error {
		said := map[string]int64{}
		change := func(load string, body any) (int64, error) {
			if load == "" || said[load] > 0 {
				return said[load], nil
			}
			var one int
			if err := tx.QueryRowContext(ctx, `SELECT 1 FROM load WHERE id = ?`,
				load).Scan(&one); err != nil {
				return 0, missing(err, tiles.ErrNoLoad)
			}
			seq, err := recordChange(ctx, tx, "load", "put", load, at, body)
			if err == nil {
				_, err = tx.ExecContext(ctx, `UPDATE load SET rev = ? WHERE id = ?`, seq, load)
			}
			said[load] = seq
			return seq, err
		}
		for _, m := range moves {
			var of []barSlot // everything that is moved between these two
			for _, o := range moves {
				if o.From == m.From && o.To == m.To {
					of = append(of, barSlot{string(o.Bar), o.Shelf})
				}
			}
			body := map[string]any{"bars": of, "from": m.From, "to": m.To}
			seq, err := change(m.From, body)
			if err != nil {
				return err
			}
			if m.From != "" {
				if _, err := tx.ExecContext(ctx, `DELETE FROM load_bar WHERE load = ? AND bar = ?`,
					m.From, m.Bar); err != nil {
					return err
				}
			}
			if m.To != "" {
				if seq, err = change(m.To, body); err != nil {
					return err
				}
				if err := placeBar(ctx, tx, m.To, tiles.Placed{Bar: m.Bar, Shelf: m.Shelf}, seq); err != nil {
					return err
				}
			}
			if err := touchBar(ctx, tx, m.Bar, seq); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		return fmt.Errorf("move bars: %w", err)
	}
	return nil
}

// placeBar lays a bar into a load, on a shelf.
func placeBar(ctx context.Context, tx *sql.Tx, load string, b tiles.Placed, seq int64) error {
	var one int
	if err := tx.QueryRowContext(ctx, `SELECT 1 FROM bar WHERE code = ?`, b.Bar).Scan(&one); err != nil {
		return fmt.Errorf("%s: %w", b.Bar, missing(err, tiles.ErrNoBar))
	}
	_, err := tx.ExecContext(ctx, `
		INSERT INTO load_bar (load, bar, shelf, seq, measured) VALUES (?, ?, ?, ?, 0)
		ON CONFLICT (load, bar) DO UPDATE SET shelf = excluded.shelf`, load, b.Bar, b.Shelf, seq)
	return err
}

// touchLoad raises the revision of a load and of its bars.
func touchLoad(ctx context.Context, tx *sql.Tx, id string, seq int64) error {
	if _, err := tx.ExecContext(ctx, `UPDATE load SET rev = ? WHERE id = ?`, seq, id); err != nil {
		return err
	}
	_, err := tx.ExecContext(ctx, `UPDATE bar SET rev = ? WHERE code IN (SELECT bar FROM load_bar WHERE load = ?)`, seq, id)
	return err
}

// changeLoad does something to a load in one commit. The errors are tiles.ErrNoLoad and trouble with the
// disk.
func (s LoadStore) changeLoad(ctx context.Context, id, what string, do func(tx *sql.Tx) error) error {
	if err := s.write(ctx, do); err != nil {
		return fmt.Errorf("%s load %s: %w", what, id, err)
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

// What became of a load l: tiles.KeptLoad.State says the same of one that was read.
const (
	loadRuns  = `EXISTS (SELECT 1 FROM load_firing lf JOIN firing f ON f.id = lf.firing WHERE lf.load = l.id AND f.status = 'running')`
	loadFired = `(l.heat_work_c IS NOT NULL OR EXISTS (SELECT 1 FROM load_firing lf LEFT JOIN firing f ON f.id = lf.firing WHERE lf.load = l.id AND coalesce(f.stands, 'ended') = 'ended' AND coalesce(f.peak_c, 550) >= 550))`
	loadIn    = `(l.unpacked_ms IS NULL AND l.called_off_ms IS NULL)`
	// for its bars to be measured
	loadWaits = `(l.called_off_ms IS NULL AND (l.unpacked_ms IS NOT NULL OR ` + loadFired +
		` AND NOT ` + loadRuns + `))`
	loadIsOpen  = `(` + loadIn + ` AND NOT ` + loadFired + ` AND NOT ` + loadRuns + `)`
	barsToGauge = `(SELECT count(*) FROM load_bar x JOIN bar b ON b.code = x.bar WHERE x.load = l.id AND x.measured = 0 AND b.flags = '')`
)

// Loads gives the loads that the filter lets pass, newest first, with their bars and firings.
func (s LoadStore) Loads(ctx context.Context, w tiles.LoadFilter) ([]tiles.KeptLoad, error) {
	rows, err := s.read.QueryContext(ctx, `
		SELECT l.id, l.number, l.kiln, l.kind, l.atmosphere, l.packed_by, l.note, l.heat_work_c, c.at_ms, l.unpacked_ms, l.called_off_ms, l.rev, `+barsToGauge+`,
			(SELECT max(at_ms) FROM change WHERE id = l.id AND kind = 'load' AND op = 'close')
		FROM load l JOIN change c ON c.seq = l.opened
		WHERE (?1 = '' OR l.id = ?1) AND (?2 = '' OR l.kiln = ?2)
			AND (?3 = 0 OR `+barsToGauge+` > 0 AND `+loadWaits+`)
			AND (?4 = 0 OR `+loadIsOpen+`) AND (?8 = 0 OR `+loadIn+`)
			AND (?6 = '' OR l.kind = ?6) AND (?7 = '' OR l.number < (SELECT number FROM load WHERE id = ?7)) AND (?9 = 0 OR l.number = ?9)
		ORDER BY l.number DESC LIMIT ?5`, w.ID, w.Kiln, w.Waiting, w.Open, limited(w.Limit), w.Kind, w.After, w.In, w.Number)
	if err != nil {
		return nil, fmt.Errorf("read loads: %w", err)
	}
	loads, err := collect(rows, "loads", func(l *tiles.KeptLoad) error {
		var heat sql.NullFloat64
		var opened int64
		var unpacked, off, said sql.NullInt64
		err := rows.Scan(&l.ID, &l.Number, &l.Kiln, &l.Kind, &l.Atmosphere, &l.PackedBy, &l.Note, &heat,
			&opened, &unpacked, &off, &l.Revision, &l.Waiting, &said)
		l.Opened, l.Stated = fromMilli(opened), kiln.NoTemperature()
		if heat.Valid {
			l.Stated = kiln.Celsius(heat.Float64)
		}
		if unpacked.Valid {
			l.Unpacked = fromMilli(unpacked.Int64)
			if said.Valid {
				l.Said = fromMilli(said.Int64)
			}
		}
		if off.Valid {
			l.CalledOff = fromMilli(off.Int64)
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
	if err := s.firingsOfLoads(ctx, at, list); err != nil {
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
	places, err := collect(rows, "loads", func(p *place) error {
		return rows.Scan(&p.load, &p.Bar, &p.Shelf)
	})
	for _, p := range places {
		at[p.load].Bars = append(at[p.load].Bars, p.Placed)
	}
	return loads, err
}

// firingsOfLoads gives each load of the list (JSON) the firings that it went through, oldest first.
func (s LoadStore) firingsOfLoads(ctx context.Context, at map[string]*tiles.KeptLoad, list string) error {
	known, _, err := FiringStore(s).firings(ctx, len(at),
		`WHERE f.id IN (SELECT firing FROM load_firing WHERE load IN (SELECT value FROM json_each(?)))
		ORDER BY +f.began_ms, +f.row`, list) // + keeps SQLite from reading every firing in that order
	if err != nil {
		return fmt.Errorf("read the firings of loads: %w", err)
	}
	rows, err := s.read.QueryContext(ctx, `
		SELECT load, firing FROM load_firing WHERE load IN (SELECT value FROM json_each(?)) AND firing NOT IN (SELECT id FROM firing)`, list)
	if err != nil {
		return fmt.Errorf("read the firings of loads: %w", err)
	}
	elsewhere, err := collect(rows, "firings of loads", func(f *kiln.Firing) error {
		f.Peak = kiln.NoTemperature()
		return rows.Scan(&f.Load, &f.ID)
	})
	for _, f := range append(elsewhere, known...) {
		l := at[f.Load]
		l.Firings, l.Firing = append(l.Firings, f), f.ID
	}
	return err
}
