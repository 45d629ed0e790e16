package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"

	"lidwright/api/usecase"
	"lidwright/kiln"
	"lidwright/tiles"
)

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
func (s KilnStore) PutProbe(ctx context.Context, p tiles.ProbeLife, m usecase.Precondition, at kiln.Stamp) (kept tiles.PutResult, err error) {
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
		return rows.Scan(&p.ID, &p.Kiln, &p.Channel, &p.Type, &p.Class, &p.Fitted, &p.Removed, &p.Note, &p.Revision)
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
func (s KilnStore) PutKeepShut(ctx context.Context, m tiles.KeepShut, at kiln.Stamp) (tiles.PutResult, error) {
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
