package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"strings"

	"lidwright/api/usecase"
	"lidwright/kiln"
	"lidwright/tiles"
)

// barBody is what was said of a bar, as it stands in the record of changes.
type barBody struct {
	ID         string   `json:"id"`
	Clay       string   `json:"clay"`
	Batch      string   `json:"batch"`
	Forming    string   `json:"forming"`
	MarkLength float64  `json:"mark_length_mm"`
	Marks      int      `json:"marks"`
	MadeOn     string   `json:"made_on"`
	By         string   `json:"by"`
	Practice   bool     `json:"practice"`
	Flags      []string `json:"flags"`
	Note       string   `json:"note"`
}

func sayBar(b tiles.Bar) barBody {
	flags := make([]string, len(b.Flags))
	for i, f := range b.Flags {
		flags[i] = string(f)
	}
	return barBody{b.ID, string(b.Clay), string(b.Batch), string(b.Forming), float64(b.MarkLength), b.Marks,
		b.MadeOn, b.By, b.Practice, flags, b.Note}
}

const (
	insertNewBar = `
	INSERT INTO bar (code, id, clay, batch, forming, mark_length_mm, marks, made_on, by, practice, flags, note, rev)
	VALUES `
	insertBar = insertNewBar + `(?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)
	ON CONFLICT (code) DO UPDATE SET clay = excluded.clay, batch = excluded.batch, forming = excluded.forming,
		mark_length_mm = excluded.mark_length_mm, marks = excluded.marks, made_on = excluded.made_on, by = excluded.by,
		practice = excluded.practice, flags = excluded.flags, note = excluded.note, rev = excluded.rev`
)

func barArgs(b tiles.Bar, rev int64) []any {
	return []any{b.Code, b.ID, b.Clay, b.Batch, b.Forming, float64(b.MarkLength), b.Marks, b.MadeOn, b.By,
		b.Practice, strings.Join(sayBar(b).Flags, " "), b.Note, rev}
}

// PutBar keeps a bar or what is changed about it. The errors are tiles.ErrNoBatch,
// tiles.ErrCodeTaken (another bar has that code), tiles.ErrIDUsed (a bar of another code has that id),
// tiles.ErrChanged and trouble with the disk.
func (s BarStore) PutBar(ctx context.Context, b tiles.Bar, m usecase.Precondition,
	at kiln.Stamp) (kept tiles.PutResult, err error) {
	body := sayBar(b)
	err = s.write(ctx, func(tx *sql.Tx) error {
		kept = tiles.PutResult{}
		var id string
		err := tx.QueryRowContext(ctx, `SELECT id, rev FROM bar WHERE code = ?`, b.Code).Scan(&id,
			&kept.Revision)
		if err != nil && !errors.Is(err, sql.ErrNoRows) {
			return err
		}
		if err == nil && id != b.ID {
			return tiles.ErrCodeTaken
		}
		var code string
		err = tx.QueryRowContext(ctx, `SELECT code FROM bar WHERE id = ? AND code <> ?`,
			b.ID, b.Code).Scan(&code)
		if err == nil {
			return fmt.Errorf("bar %s: %w", code, tiles.ErrIDUsed)
		}
		if !errors.Is(err, sql.ErrNoRows) {
			return err
		}
		if err := batchThere(ctx, tx, b.BatchRef); err != nil {
			return err
		}
		again, err := mayEdit(ctx, tx, "bar", string(b.Code), kept.Revision, m, body)
		if again || err != nil {
			return err
		}
		kept.New = true
		if kept.Revision, err = recordChange(ctx, tx, "bar", "put", string(b.Code), at, body); err != nil {
			return err
		}
		_, err = tx.ExecContext(ctx, insertBar, barArgs(b, kept.Revision)...)
		return err
	})
	if err != nil {
		return tiles.PutResult{}, fmt.Errorf("keep bar %s: %w", b.Code, err)
	}
	return kept, nil
}

func batchThere(ctx context.Context, tx *sql.Tx, r tiles.BatchRef) error {
	var one int
	err := tx.QueryRowContext(ctx, `SELECT 1 FROM clay WHERE clay = ?`, r.Clay).Scan(&one)
	if err != nil {
		return missing(err, tiles.ErrNoClay)
	}
	err = tx.QueryRowContext(ctx, `SELECT 1 FROM batch WHERE clay = ? AND batch = ?`,
		r.Clay, r.Batch).Scan(&one)
	return missing(err, tiles.ErrNoBatch)
}

// UsedCodes gives every code that stands on a bar of this site.
func (s BarStore) UsedCodes(ctx context.Context) (map[tiles.Code]bool, error) {
	rows, err := s.read.QueryContext(ctx, `SELECT code FROM bar`)
	if err != nil {
		return nil, fmt.Errorf("read codes: %w", err)
	}
	codes, err := collect(rows, "codes", func(c *tiles.Code) error { return rows.Scan(c) })
	used := make(map[tiles.Code]bool, len(codes))
	for _, c := range codes {
		used[c] = true
	}
	return used, err
}
