package store

import (
	"context"
	"database/sql"
	"fmt"

	"lidwright/kiln"
	"lidwright/tiles"
)

type coneBody struct {
	Firing string   `json:"firing"`
	Cone   string   `json:"cone"`
	Series string   `json:"series"`
	Shelf  string   `json:"shelf"`
	Seen   string   `json:"seen"`
	Tilt   *float64 `json:"tilt_deg"`
	By     string   `json:"by"`
}

// PutCone keeps a witness cone as it stood. The errors are tiles.ErrIDUsed and trouble with
// the disk; whether the firing is known, the caller sees to.
func (s NoteStore) PutCone(ctx context.Context, c tiles.ConeSeen, at kiln.Stamp) (tiles.PutResult, error) {
	body := coneBody{string(c.Firing), c.Cone, c.Series, c.Shelf, c.Seen, nil, c.By}
	if c.Tilted {
		body.Tilt = &c.Tilt
	}
	return s.putFact(ctx, "cone", c.ID, at, body, func(tx *sql.Tx, seq int64) error {
		_, err := tx.ExecContext(ctx, `INSERT INTO cone (id, seq, firing, cone, series, shelf, seen, tilt_deg, by) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)`,
			c.ID, seq, c.Firing, c.Cone, c.Series, c.Shelf, c.Seen, body.Tilt, c.By)
		return err
	})
}

// StrikeCone crosses a cone out; it stays to be seen.
func (s NoteStore) StrikeCone(ctx context.Context, id, by, why string, at kiln.Stamp) error {
	return s.strike(ctx, "cone", `SELECT 1 FROM cone WHERE id = ?`, id, by, why, at, tiles.ErrNoCone)
}

// Cones gives the cones of a firing in the order in which they were told, struck ones too; of
// every firing if it is empty.
func (s NoteStore) Cones(ctx context.Context, firing kiln.FiringID) ([]tiles.ConeSeen, error) {
	rows, err := s.read.QueryContext(ctx, `
		SELECT k.id, k.firing, k.cone, k.series, k.shelf, k.seen, k.tilt_deg, k.by, c.at_ms, c.trusted, a.by, a.why, ac.at_ms
		FROM cone k JOIN change c ON c.seq = k.seq
			LEFT JOIN act a ON a.kind = 'cone' AND a.id = k.id AND a.op = 'strike' LEFT JOIN change ac ON ac.seq = a.seq
		WHERE ?1 = '' OR k.firing = ?1 ORDER BY k.seq`, firing)
	if err != nil {
		return nil, fmt.Errorf("read cones: %w", err)
	}
	return collect(rows, "cones", func(k *tiles.ConeSeen) error {
		var tilt sql.NullFloat64
		var at int64
		var struck struckRow
		err := rows.Scan(&k.ID, &k.Firing, &k.Cone, &k.Series, &k.Shelf, &k.Seen, &tilt, &k.By, &at, &k.Trusted, &struck.by, &struck.why, &struck.at)
		k.Tilt, k.Tilted, k.At, k.Struck = tilt.Float64, tilt.Valid, fromMilli(at), struck.act()
		return err
	})
}
