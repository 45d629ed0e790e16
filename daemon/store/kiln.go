package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"

	"lidwright/api/usecase"
	"lidwright/daemon/store/codec"
	"lidwright/kiln"
	"lidwright/tiles"
)

type kilnBody struct {
	Kiln string `json:"kiln"`
	Fuel string `json:"fuel,omitempty"`
	Was  string `json:"was,omitempty"` // of a kiln that was renamed
}

// PutKiln keeps a kiln without a line, or what is changed about it. The errors are tiles.ErrChanged and
// trouble with the disk.
func (s KilnStore) PutKiln(ctx context.Context, k tiles.AddedKiln, m Match,
	at kiln.Stamp) (kept tiles.PutResult, err error) {
	body := kilnBody{Kiln: string(k.ID), Fuel: k.Fuel}
	err = s.write(ctx, func(tx *sql.Tx) error {
		kept = tiles.PutResult{}
		err := tx.QueryRowContext(ctx, `SELECT rev FROM kiln WHERE kiln = ?`, k.ID).Scan(&kept.Revision)
		if err != nil && !errors.Is(err, sql.ErrNoRows) {
			return err
		}
		again, err := mayEdit(ctx, tx, "kiln", string(k.ID), kept.Revision, m, body)
		if again || err != nil {
			return err
		}
		kept.New = true
		if kept.Revision, err = recordChange(ctx, tx, "kiln", "put", string(k.ID), at, body); err != nil {
			return err
		}
		_, err = tx.ExecContext(ctx, `INSERT INTO kiln (kiln, fuel, rev) VALUES (?, ?, ?)
			ON CONFLICT (kiln) DO UPDATE SET fuel = excluded.fuel, rev = excluded.rev`, k.ID, k.Fuel, kept.Revision)
		return err
	})
	if err != nil {
		return tiles.PutResult{}, fmt.Errorf("keep kiln %s: %w", k.ID, err)
	}
	return kept, nil
}

// AddedKilns are the kilns that people added, the first added first.
func (s KilnStore) AddedKilns(ctx context.Context) ([]tiles.AddedKiln, error) {
	rows, err := s.read.QueryContext(ctx, `
		SELECT k.kiln, k.fuel, k.rev FROM kiln k
		ORDER BY (SELECT min(seq) FROM change WHERE kind = 'kiln' AND id = k.kiln), k.kiln`)
	if err != nil {
		return nil, fmt.Errorf("read kilns: %w", err)
	}
	return collect(rows, "kilns", func(k *tiles.AddedKiln) error {
		return rows.Scan(&k.ID, &k.Fuel, &k.Revision)
	})
}

// RecordedKilns are the kilns that firings, loads and probes are of, by name.
func (s KilnStore) RecordedKilns(ctx context.Context) ([]tiles.RecordedKiln, error) {
	return recordedKilns(ctx, s.read, "")
}

func recordedKilns(ctx context.Context, q querier, of kiln.KilnID) ([]tiles.RecordedKiln, error) {
	rows, err := q.QueryContext(ctx, `
		SELECT kiln, sum(f), sum(l), sum(p) FROM (
			SELECT kiln, 1 AS f, 0 AS l, 0 AS p FROM firing UNION ALL SELECT kiln, 0, 1, 0 FROM load WHERE kiln <> ''
			UNION ALL SELECT kiln, 0, 0, 1 FROM probe)
		WHERE ?1 = '' OR kiln = ?1 GROUP BY kiln ORDER BY kiln`, of)
	if err != nil {
		return nil, fmt.Errorf("read kilns: %w", err)
	}
	return collect(rows, "kilns", func(k *tiles.RecordedKiln) error {
		return rows.Scan(&k.ID, &k.Firings, &k.Loads, &k.Probes)
	})
}

// FormerKilns are names that kilns had, with those that they have now.
func (s KilnStore) FormerKilns(ctx context.Context) (map[kiln.KilnID]kiln.KilnID, error) {
	rows, err := s.read.QueryContext(ctx, `SELECT was, kiln FROM kiln_was`)
	if err != nil {
		return nil, fmt.Errorf("read names that kilns had: %w", err)
	}
	type pair struct{ was, now kiln.KilnID }
	pairs, err := collect(rows, "names that kilns had", func(p *pair) error {
		return rows.Scan(&p.was, &p.now)
	})
	if err != nil {
		return nil, err
	}
	out := make(map[kiln.KilnID]kiln.KilnID, len(pairs))
	for _, p := range pairs {
		out[p.was] = p.now
	}
	return out, nil
}

// RenameKiln puts all that was said of a kiln under another name, and tells how much that was. Its firings
// keep their numbers; those that the new name has already are counted on behind them. What stands in the
// record of changes stays as it was said. Said again it does nothing.
func (s KilnStore) RenameKiln(ctx context.Context, was, now kiln.KilnID,
	at kiln.Stamp) (moved tiles.RecordedKiln, err error) {
	err = s.write(ctx, func(tx *sql.Tx) error {
		moved = tiles.RecordedKiln{ID: now}
		var is kiln.KilnID
		err := tx.QueryRowContext(ctx, `SELECT kiln FROM kiln_was WHERE was = ?`, was).Scan(&is)
		if err == nil || !errors.Is(err, sql.ErrNoRows) {
			return err
		}
		of, err := recordedKilns(ctx, tx, was)
		if err != nil {
			return err
		}
		if len(of) > 0 {
			moved = of[0]
			moved.ID = now
		}
		seq, err := recordChange(ctx, tx, "kiln", "put", string(now), at,
			kilnBody{Kiln: string(now), Was: string(was)})
		if err != nil {
			return err
		}
		if err := renameFirings(ctx, tx, was, now); err != nil {
			return err
		}
		for _, do := range []string{
			`UPDATE load SET kiln = ?2, rev = ?3 WHERE kiln = ?1`,
			`UPDATE probe SET kiln = ?2, rev = ?3 WHERE kiln = ?1`,
			`UPDATE unpacking_mark SET kiln = ?2 WHERE kiln = ?1 AND ?3 > 0`,
			`UPDATE usual SET kiln = ?2 WHERE kiln = ?1 AND ?3 > 0`,
			`UPDATE notice SET kiln = ?2 WHERE kiln = ?1 AND ?3 > 0`,
			`INSERT INTO kiln (kiln, fuel, rev) SELECT ?2, fuel, ?3 FROM kiln WHERE kiln = ?1 ON CONFLICT DO NOTHING`,
			`DELETE FROM kiln WHERE kiln = ?1 AND ?2 <> '' AND ?3 > 0`,
			`UPDATE kiln_was SET kiln = ?2 WHERE kiln = ?1 AND ?3 > 0`,
			`INSERT INTO kiln_was (was, kiln, rev) VALUES (?1, ?2, ?3)`,
			`DELETE FROM kiln_was WHERE was = ?2 AND ?1 <> ?2 AND ?3 > 0`, // it has that name again
		} {
			if _, err := tx.ExecContext(ctx, do, was, now, seq); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		return tiles.RecordedKiln{}, fmt.Errorf("rename kiln %s: %w", was, err)
	}
	return moved, nil
}

// renameFirings puts the firings of a kiln under another name.
func renameFirings(ctx context.Context, tx *sql.Tx, was, now kiln.KilnID) error {
	var last int
	if err := tx.QueryRowContext(ctx, `SELECT coalesce(max(number), 0) FROM firing WHERE kiln = ?`,
		was).Scan(&last); err != nil {
		return err
	}
	for _, do := range []string{ // by way of numbers that none has, because they are unique
		`UPDATE firing SET number = number + 1000000000 WHERE kiln = ?1 AND ?2 > 0`,
		`UPDATE firing SET number = number - 1000000000 + ?2, revision = revision + 1 WHERE kiln = ?1 AND ?2 > 0`,
	} {
		if _, err := tx.ExecContext(ctx, do, now, last); err != nil {
			return err
		}
	}
	type one struct {
		row  int64
		data []byte
	}
	rows, err := tx.QueryContext(ctx, `SELECT row, summary FROM firing WHERE kiln = ? ORDER BY row`, was)
	if err != nil {
		return err
	}
	firings, err := collect(rows, "firings", func(f *one) error { return rows.Scan(&f.row, &f.data) })
	if err != nil {
		return err
	}
	for _, f := range firings {
		data := f.data
		// one that does not read back is told as damaged when it is read
		if read, err := codec.ReadSummary(data); err == nil {
			read.Kiln = now
			data = codec.WriteSummary(read)
		}
		if _, err := tx.ExecContext(ctx, `UPDATE firing SET kiln = ?, summary = ?, revision = revision + 1 WHERE row = ?`, now, data, f.row); err != nil {
			return err
		}
	}
	return nil
}

type usualBody struct {
	Kiln       string   `json:"kiln"`
	Kind       string   `json:"kind"`
	Atmosphere string   `json:"atmosphere"`
	What       string   `json:"usual"`
	Name       string   `json:"name"`
	HeatWork   *float64 `json:"heat_work_c"`
	By         string   `json:"by"`
}

// PutUsual keeps what was said of a usual firing. The errors are tiles.ErrIDUsed and trouble with the disk.
func (s KilnStore) PutUsual(ctx context.Context, u tiles.UsualSaid, at kiln.Stamp) (tiles.PutResult, error) {
	body := usualBody{string(u.Kiln), string(u.Kind), string(u.Atmosphere), u.What, u.Name, nil, u.By}
	if u.HeatWork.Known() {
		work := float64(u.HeatWork)
		body.HeatWork = &work
	}
	return s.putFact(ctx, "kiln", u.ID, at, body, func(tx *sql.Tx, seq int64) error {
		_, err := tx.ExecContext(ctx, `INSERT INTO usual (id, seq, kiln, kind, atmosphere, what, name, heat_work_c, by) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)`,
			u.ID, seq, u.Kiln, u.Kind, u.Atmosphere, u.What, u.Name, body.HeatWork, u.By)
		return err
	})
}

// Usuals is what was said of the usual firings of a kiln, the oldest first; of every kiln if it is empty.
func (s KilnStore) Usuals(ctx context.Context, k kiln.KilnID) ([]tiles.UsualSaid, error) {
	rows, err := s.read.QueryContext(ctx, `
		SELECT u.id, u.kiln, u.kind, u.atmosphere, u.what, u.name, u.heat_work_c, u.by, c.at_ms FROM usual u JOIN change c ON c.seq = u.seq
		WHERE ?1 = '' OR u.kiln = ?1 ORDER BY u.seq`, k)
	if err != nil {
		return nil, fmt.Errorf("read usual firings: %w", err)
	}
	return collect(rows, "usual firings", func(u *tiles.UsualSaid) error {
		var work sql.NullFloat64
		var at int64
		err := rows.Scan(&u.ID, &u.Kiln, &u.Kind, &u.Atmosphere, &u.What, &u.Name, &work, &u.By, &at)
		if u.HeatWork, u.At = kiln.NoTemperature(), fromMilli(at); work.Valid {
			u.HeatWork = kiln.Celsius(work.Float64)
		}
		return err
	})
}

type probeBody struct {
	Kiln    string `json:"kiln"`
	Channel string `json:"channel"`
	Type    string `json:"type"`
	Class   int    `json:"class"`
	Fitted  string `json:"fitted_on"`
	Removed string `json:"removed_on"`
	Note    string `json:"note"`
}

// PutProbe keeps the life of a probe or what is changed about it, such as its removal. The
// errors are tiles.ErrChanged and trouble with the disk.
func (s KilnStore) PutProbe(ctx context.Context, p tiles.ProbeLife, m usecase.Precondition,
	at kiln.Stamp) (kept tiles.PutResult, err error) {
	body := probeBody{string(p.Kiln), string(p.Channel), p.Type, p.Class, p.Fitted, p.Removed, p.Note}
	err = s.write(ctx, func(tx *sql.Tx) error {
		kept = tiles.PutResult{}
		err := tx.QueryRowContext(ctx, `SELECT rev FROM probe WHERE id = ?`, p.ID).Scan(&kept.Revision)
		if err != nil && !errors.Is(err, sql.ErrNoRows) {
			return err
		}
		again, err := mayEdit(ctx, tx, "probe", p.ID, kept.Revision, m, body)
		if again || err != nil {
			return err
		}
		kept.New = true
		if kept.Revision, err = recordChange(ctx, tx, "probe", "put", p.ID, at, body); err != nil {
			return err
		}
		_, err = tx.ExecContext(ctx, `
			INSERT INTO probe (id, kiln, channel, type, class, fitted_on, removed_on, note, rev) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)
			ON CONFLICT (id) DO UPDATE SET kiln = excluded.kiln, channel = excluded.channel, type = excluded.type, class = excluded.class,
				fitted_on = excluded.fitted_on, removed_on = excluded.removed_on, note = excluded.note, rev = excluded.rev`,
			p.ID, p.Kiln, p.Channel, p.Type, p.Class, p.Fitted, p.Removed, p.Note, kept.Revision)
		return err
	})
	if err != nil {
		return tiles.PutResult{}, fmt.Errorf("keep probe %s: %w", p.ID, err)
	}
	return kept, nil
}

// Probes gives the lives of the probes of a kiln, by channel and the day of fitting; of every
// kiln if it is empty.
func (s KilnStore) Probes(ctx context.Context, k kiln.KilnID) ([]tiles.KeptProbe, error) {
	rows, err := s.read.QueryContext(ctx, `
		SELECT id, kiln, channel, type, class, fitted_on, removed_on, note, rev FROM probe
		WHERE ?1 = '' OR kiln = ?1 ORDER BY kiln, channel, fitted_on, id`, k)
	if err != nil {
		return nil, fmt.Errorf("read probes: %w", err)
	}
	return collect(rows, "probes", func(p *tiles.KeptProbe) error {
		return rows.Scan(&p.ID, &p.Kiln, &p.Channel, &p.Type, &p.Class, &p.Fitted,
			&p.Removed, &p.Note, &p.Revision)
	})
}

// markBody and its table keep the names that they were stored under first.
type markBody struct {
	Kiln   string  `json:"kiln"`
	Mark   float64 `json:"unpacking_mark_c"`
	Reason string  `json:"unpacking_reason"`
	By     string  `json:"by"`
}

// PutKeepShut keeps the temperature above which a kiln is kept shut, from now on. The
// errors are tiles.ErrIDUsed and trouble with the disk.
func (s KilnStore) PutKeepShut(ctx context.Context, m tiles.KeepShut,
	at kiln.Stamp) (tiles.PutResult, error) {
	body := markBody{string(m.Kiln), float64(m.Mark), m.Reason, m.By}
	return s.putFact(ctx, "mark", m.ID, at, body, func(tx *sql.Tx, seq int64) error {
		_, err := tx.ExecContext(ctx, `INSERT INTO unpacking_mark (id, seq, kiln, mark_c, reason, by) VALUES (?, ?, ?, ?, ?, ?)`,
			m.ID, seq, m.Kiln, float64(m.Mark), m.Reason, m.By)
		return err
	})
}

// KeepShuts gives every one that was ever set for a kiln, the one in force first; of
// every kiln if it is empty.
func (s KilnStore) KeepShuts(ctx context.Context, k kiln.KilnID) ([]tiles.KeepShut, error) {
	rows, err := s.read.QueryContext(ctx, `
		SELECT m.id, m.kiln, m.mark_c, m.reason, m.by, c.at_ms, c.trusted FROM unpacking_mark m JOIN change c ON c.seq = m.seq
		WHERE ?1 = '' OR m.kiln = ?1 ORDER BY m.seq DESC`, k)
	if err != nil {
		return nil, fmt.Errorf("read what kilns are kept shut above: %w", err)
	}
	return collect(rows, "temperatures that kilns are kept shut above", func(m *tiles.KeepShut) error {
		var at int64
		err := rows.Scan(&m.ID, &m.Kiln, &m.Mark, &m.Reason, &m.By, &at, &m.Trusted)
		m.At = fromMilli(at)
		return err
	})
}
