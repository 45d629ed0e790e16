package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"

	"lidwright/kiln"
	"lidwright/tiles"
)

type noteBody struct {
	Firing   string `json:"firing"`
	Text     string `json:"text"`
	At       string `json:"at"`
	Incident bool   `json:"incident"`
	By       string `json:"by"`
}

// PutNote keeps a note or an incident of a firing. The errors are tiles.ErrIDUsed and trouble
// with the disk; whether the firing is known, the caller sees to.
func (s NoteStore) PutNote(ctx context.Context, n tiles.Note, at kiln.Stamp) (tiles.PutResult, error) {
	body := noteBody{string(n.Firing), n.Text, n.Happened, n.Incident, n.By}
	return s.putFact(ctx, "note", n.ID, at, body, func(tx *sql.Tx, seq int64) error {
		_, err := tx.ExecContext(ctx, `INSERT INTO note (id, seq, firing, text, happened, incident, by) VALUES (?, ?, ?, ?, ?, ?, ?)`,
			n.ID, seq, n.Firing, n.Text, n.Happened, n.Incident, n.By)
		return err
	})
}

// StrikeNote crosses a note out; it stays to be seen.
func (s NoteStore) StrikeNote(ctx context.Context, id, by, why string, at kiln.Stamp) error {
	return s.strike(ctx, "note", `SELECT 1 FROM note WHERE id = ?`, id, by, why, at, tiles.ErrNoNote)
}

// Notes gives the notes of a firing in the order in which they were written, struck ones too;
// of every firing if it is empty.
func (s NoteStore) Notes(ctx context.Context, firing kiln.FiringID) ([]tiles.Note, error) {
	rows, err := s.read.QueryContext(ctx, `
		SELECT n.id, n.firing, n.text, n.happened, n.incident, n.by, c.at_ms, c.trusted, a.by, a.why, ac.at_ms
		FROM note n JOIN change c ON c.seq = n.seq
			LEFT JOIN act a ON a.kind = 'note' AND a.id = n.id AND a.op = 'strike' LEFT JOIN change ac ON ac.seq = a.seq
		WHERE ?1 = '' OR n.firing = ?1 ORDER BY n.seq`, firing)
	if err != nil {
		return nil, fmt.Errorf("read notes: %w", err)
	}
	return collect(rows, "notes", func(n *tiles.Note) error {
		var at int64
		var struck struckRow
		err := rows.Scan(&n.ID, &n.Firing, &n.Text, &n.Happened, &n.Incident, &n.By,
			&at, &n.Trusted, &struck.by,
			&struck.why, &struck.at)
		n.At, n.Struck = fromMilli(at), struck.act()
		return err
	})
}

type tickBody struct {
	Subject string `json:"subject"`
	Item    string `json:"item"`
	Done    bool   `json:"done"`
	By      string `json:"by"`
}

// PutTick keeps one line of a check list, done or taken back. The errors are tiles.ErrIDUsed
// and trouble with the disk.
func (s NoteStore) PutTick(ctx context.Context, t tiles.Tick, at kiln.Stamp) (tiles.PutResult, error) {
	body := tickBody{t.Subject, t.Item, t.Done, t.By}
	return s.putFact(ctx, "tick", t.ID, at, body, func(tx *sql.Tx, seq int64) error {
		_, err := tx.ExecContext(ctx, `INSERT INTO tick (id, seq, subject, item, done, by) VALUES (?, ?, ?, ?, ?, ?)`, t.ID, seq, t.Subject, t.Item, t.Done, t.By)
		return err
	})
}

// Ticks gives the check list of a firing, with what was ticked on its load before it began, or
// of a load alone: the last word on each line.
func (s NoteStore) Ticks(ctx context.Context, subject string) ([]tiles.Tick, error) {
	rows, err := s.read.QueryContext(ctx, `
		SELECT t.id, t.subject, t.item, t.done, t.by, max(t.seq), c.at_ms, c.trusted
		FROM tick t JOIN change c ON c.seq = t.seq
		WHERE t.subject = ?1 OR t.subject = (SELECT load FROM load_firing WHERE firing = ?1)
		GROUP BY t.item ORDER BY t.item`, subject) // SQLite takes the other columns from the row that has the maximum
	if err != nil {
		return nil, fmt.Errorf("read the check list: %w", err)
	}
	return collect(rows, "the check list", func(t *tiles.Tick) error {
		var seq, at int64
		err := rows.Scan(&t.ID, &t.Subject, &t.Item, &t.Done, &t.By, &seq, &at, &t.Trusted)
		t.At = fromMilli(at)
		return err
	})
}

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
		err := rows.Scan(&k.ID, &k.Firing, &k.Cone, &k.Series, &k.Shelf, &k.Seen,
			&tilt, &k.By, &at, &k.Trusted,
			&struck.by, &struck.why, &struck.at)
		k.Tilt, k.Tilted, k.At, k.Struck = tilt.Float64, tilt.Valid, fromMilli(at), struck.act()
		return err
	})
}

// putFact keeps a fact, which is never edited: keep writes its row under the number of its
// change. The same fact said again is answered as the first time and writes nothing; another
// one under its id is tiles.ErrIDUsed.
func (s *handle) putFact(ctx context.Context, kind, id string, at kiln.Stamp, body any,
	keep func(tx *sql.Tx, seq int64) error) (kept tiles.PutResult, err error) {
	err = s.write(ctx, func(tx *sql.Tx) error {
		kept = tiles.PutResult{}
		again, err := mayKeep(ctx, tx, kind, id, body)
		if err != nil {
			return err
		}
		if again {
			return tx.QueryRowContext(ctx, `SELECT seq FROM change WHERE id = ? AND kind = ? AND op = 'put'`,
				id,
				kind).Scan(&kept.Revision)
		}
		kept.New = true
		if kept.Revision, err = recordChange(ctx, tx, kind, "put", id, at, body); err != nil {
			return err
		}
		return keep(tx, kept.Revision)
	})
	if err != nil {
		return tiles.PutResult{}, fmt.Errorf("keep %s %s: %w", kind, id, err)
	}
	return kept, nil
}

// strike crosses a fact out, once; said again it changes nothing. there finds the fact by its
// id; none is what is said if it does not.
func (s *handle) strike(ctx context.Context, kind, there, id, by, why string, at kiln.Stamp,
	none error) error {
	err := s.write(ctx, func(tx *sql.Tx) error {
		var one int
		if err := tx.QueryRowContext(ctx, there, id).Scan(&one); err != nil {
			return missing(err, none)
		}
		err := tx.QueryRowContext(ctx, `SELECT 1 FROM act WHERE kind = ? AND id = ? AND op = 'strike'`, kind,
			id).Scan(&one)
		if !errors.Is(err, sql.ErrNoRows) {
			return err
		}
		return act(ctx, tx, kind, id, "strike", "strike", by, why, at)
	})
	if err != nil {
		return fmt.Errorf("strike %s %s: %w", kind, id, err)
	}
	return nil
}

// struckRow is the strike of a fact as it is joined to it; all NULL if there is none.
type struckRow struct {
	by, why sql.NullString
	at      sql.NullInt64
}

func (r struckRow) act() *tiles.Act {
	if !r.at.Valid {
		return nil
	}
	return &tiles.Act{By: r.by.String, Why: r.why.String, At: fromMilli(r.at.Int64)}
}

// limited turns "all" into SQL's word for it.
func limited(n int) int {
	if n == 0 {
		return -1
	}
	return n
}

func floats[T ~float64](list []T) []float64 {
	out := make([]float64, len(list))
	for i, v := range list {
		out[i] = float64(v)
	}
	return out
}
