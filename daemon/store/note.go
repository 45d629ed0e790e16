package store

import (
	"context"
	"database/sql"
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
		err := rows.Scan(&n.ID, &n.Firing, &n.Text, &n.Happened, &n.Incident, &n.By, &at, &n.Trusted, &struck.by, &struck.why, &struck.at)
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
