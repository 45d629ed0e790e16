package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"strings"

	"lidwright/kiln"
	"lidwright/tiles"
)

type readingBody struct {
	Bar        string  `json:"bar"`
	Mark       int     `json:"mark"`
	Stage      string  `json:"stage"`
	Length     string  `json:"length"`
	Unit       string  `json:"unit"`
	Instrument string  `json:"instrument"`
	Step       float64 `json:"step_mm"`
	Dry        float64 `json:"dry_g,omitempty"`
	Saturated  float64 `json:"saturated_g,omitempty"`
	Suspended  float64 `json:"suspended_g,omitempty"`
	StepG      float64 `json:"step_g,omitempty"`
	By         string  `json:"by"`
	Supersedes string  `json:"supersedes"`
}

func sayReading(r tiles.Reading) readingBody {
	body := readingBody{Bar: string(r.Bar), Mark: r.Mark, Stage: string(r.Stage), Length: r.AsTyped,
		Unit: r.Unit, Instrument: r.Instrument,
		Step: float64(r.Step), By: r.By, Supersedes: r.Supersedes}
	if m := r.Mass; m != nil {
		body.Dry, body.Saturated, body.Suspended, body.StepG = m.Dry, m.Saturated, m.Suspended, m.Step
	}
	return body
}

const insertReading = `
	INSERT INTO reading (id, bar, seq, mark, stage, length_mm, as_typed, unit, instrument, step_mm, dry_g, saturated_g, suspended_g, step_g, by, queued_s, unusual, outside, slip, question, supersedes)
	VALUES `

func readingArgs(r tiles.Reading, seq int64) []any {
	var dry, saturated, suspended, step any
	length := orNull(float64(r.Length))
	if m := r.Mass; m != nil {
		dry, saturated, suspended, step, length = m.Dry, m.Saturated, orNull(m.Suspended), m.Step, nil
	}
	return []any{r.ID, r.Bar, seq, r.Mark, r.Stage, length, r.AsTyped, r.Unit, r.Instrument, float64(r.Step),
		dry, saturated, suspended, step,
		r.By, r.Queued.Seconds(), r.Unusual, r.Outside, r.EntryError, r.Question.Kept(), orNull(r.Supersedes)}
}

// PutReading keeps one reading for good, strikes the one whose place it takes, and confirms itself and
// the one that it confirms. The errors are tiles.ErrNoBar, tiles.ErrNoReading (of the one to supersede),
// tiles.ErrIDUsed and trouble with the disk. r must have been validated; Unusual, Outside, EntryError and
// Question are what was asked about it.
func (s BarStore) PutReading(ctx context.Context, r tiles.Reading,
	at kiln.Stamp) (kept tiles.PutResult, err error) {
	body := sayReading(r)
	at.Wall = at.Wall.Add(-r.Queued)
	err = s.write(ctx, func(tx *sql.Tx) error {
		kept = tiles.PutResult{}
		again, err := mayKeep(ctx, tx, "reading", r.ID, body)
		if err != nil {
			return err
		}
		if again {
			return tx.QueryRowContext(ctx, `SELECT seq FROM reading WHERE id = ?`, r.ID).Scan(&kept.Revision)
		}
		var one int
		if err := tx.QueryRowContext(ctx, `SELECT 1 FROM bar WHERE code = ?`, r.Bar).Scan(&one); err != nil {
			return missing(err, tiles.ErrNoBar)
		}
		kept.New = true
		if kept.Revision, err = recordChange(ctx, tx, "reading", "put", r.ID, at, body); err != nil {
			return err
		}
		if r.Supersedes != "" {
			var bar tiles.Code
			if err := tx.QueryRowContext(ctx, `SELECT bar FROM reading WHERE id = ?`,
				r.Supersedes).Scan(&bar); err != nil {
				return missing(err, tiles.ErrNoReading)
			}
			if bar != r.Bar {
				return tiles.ErrNoReading
			}
			if err := act(ctx, tx, "reading", r.Supersedes, "strike", "supersede", r.By,
				"corrected", at); err != nil {
				return err
			}
			if _, err := tx.ExecContext(ctx, `UPDATE reading SET struck = 1 WHERE id = ?`,
				r.Supersedes); err != nil {
				return err
			}
		}
		if _, err = tx.ExecContext(ctx, insertReading+"(?"+strings.Repeat(", ?", 20)+")",
			readingArgs(r, kept.Revision)...); err != nil {
			return err
		}
		if err := confirmBoth(ctx, tx, r, at); err != nil {
			return err
		}
		return touchBar(ctx, tx, r.Bar, kept.Revision)
	})
	if err != nil {
		return tiles.PutResult{}, fmt.Errorf("keep a reading of bar %s: %w", r.Bar, err)
	}
	return kept, nil
}

// confirmBoth confirms the reading that r, entered afresh, agrees with, and r itself. Where that one
// was struck meanwhile there is nothing that r could agree with: it waits like any other.
func confirmBoth(ctx context.Context, tx *sql.Tx, r tiles.Reading, at kiln.Stamp) error {
	if r.Confirms == "" {
		return nil
	}
	var struck bool
	if err := tx.QueryRowContext(ctx, `SELECT struck FROM reading WHERE id = ? AND bar = ?`, r.Confirms,
		r.Bar).Scan(&struck); err != nil {
		return missing(err, tiles.ErrNoReading)
	}
	if struck {
		return nil
	}
	_, err := actOnce(ctx, tx, r.Confirms, "confirm", r.By, tiles.ReadAgain, at)
	if err == nil && r.Unusual {
		_, err = actOnce(ctx, tx, r.ID, "confirm", r.By, tiles.ReadAgain, at)
	}
	return err
}

// touchBar raises the revision of a bar and looks again which of its loads wait for its
// measure: a load waits until there is a length, not struck, of the stage that it gives. Of
// several loads of one sort the later ones want a length entered after them. A load of
// another kind wants none.
func touchBar(ctx context.Context, tx *sql.Tx, code tiles.Code, seq int64) error {
	if _, err := tx.ExecContext(ctx, raiseBar, seq, code); err != nil {
		return err
	}
	_, err := tx.ExecContext(ctx, measureLoads, code)
	return err
}

const (
	raiseBar  = `UPDATE bar SET rev = ? WHERE code = ?`
	raiseBars = `UPDATE bar SET rev = ? WHERE code IN (SELECT value FROM json_each(?))`

	measureLoads = measure + ` WHERE bar = ?`
	measureBars  = measure + ` WHERE bar IN (SELECT value FROM json_each(?))`
	measure      = `
		UPDATE load_bar SET measured = (
			SELECT l.kind = 'other' OR EXISTS (
				SELECT 1 FROM reading r
				WHERE r.bar = load_bar.bar AND r.struck = 0 AND r.length_mm IS NOT NULL
					AND r.stage = CASE l.kind WHEN 'bisque' THEN 'bisque' ELSE 'fired' END
					AND (r.seq > load_bar.seq OR NOT EXISTS (
						SELECT 1 FROM load_bar e JOIN load el ON el.id = e.load
						WHERE e.bar = load_bar.bar AND e.seq < load_bar.seq AND el.kind <> 'other'
							AND (el.kind = 'bisque') = (l.kind = 'bisque'))))
			FROM load l WHERE l.id = load_bar.load)`
)

// StrikeReading crosses a reading out; it stays to be seen.
func (s BarStore) StrikeReading(ctx context.Context, bar tiles.Code, id, by, why string,
	at kiln.Stamp) error {
	return s.readingAct(ctx, bar, id, "strike", by, why, at)
}

// ConfirmReading says in a word, without a second reading, that an unusual reading was read right.
func (s BarStore) ConfirmReading(ctx context.Context, bar tiles.Code, id, by, why string,
	at kiln.Stamp) error {
	return s.readingAct(ctx, bar, id, "confirm", by, why, at)
}

// CountReading lets a reading into the fit that lies outside 0.72 to 1.01 of the wet length.
func (s BarStore) CountReading(ctx context.Context, bar tiles.Code, id, by, why string, at kiln.Stamp) error {
	return s.readingAct(ctx, bar, id, "count", by, why, at)
}

// readingAct does something to a reading, once; said again it changes nothing. The errors are
// tiles.ErrNoReading and trouble with the disk.
func (s BarStore) readingAct(ctx context.Context, bar tiles.Code, id, op, by, why string,
	at kiln.Stamp) error {
	err := s.write(ctx, func(tx *sql.Tx) error {
		var of tiles.Code
		if err := tx.QueryRowContext(ctx, `SELECT bar FROM reading WHERE id = ?`, id).Scan(&of); err != nil {
			return missing(err, tiles.ErrNoReading)
		}
		if of != bar {
			return tiles.ErrNoReading
		}
		if fresh, err := actOnce(ctx, tx, id, op, by, why, at); err != nil || !fresh {
			return err
		}
		if op == "strike" {
			if _, err := tx.ExecContext(ctx, `UPDATE reading SET struck = 1 WHERE id = ?`, id); err != nil {
				return err
			}
		}
		var seq int64
		if err := tx.QueryRowContext(ctx, `SELECT max(seq) FROM change`).Scan(&seq); err != nil {
			return err
		}
		return touchBar(ctx, tx, bar, seq)
	})
	if err != nil {
		return fmt.Errorf("%s a reading of bar %s: %w", op, bar, err)
	}
	return nil
}

// actOnce does something to a reading; where it was done before it changes nothing and is not fresh.
func actOnce(ctx context.Context, tx *sql.Tx, id, op, by, why string, at kiln.Stamp) (fresh bool, err error) {
	var done int
	err = tx.QueryRowContext(ctx, `SELECT 1 FROM act WHERE kind = 'reading' AND id = ? AND op = ?`, id,
		op).Scan(&done)
	if !errors.Is(err, sql.ErrNoRows) {
		return false, err
	}
	return true, act(ctx, tx, "reading", id, op, op, by, why, at)
}

// act writes down what somebody did to a fact; change is the word for it in the record.
func act(ctx context.Context, tx *sql.Tx, kind, id, op, change, by, why string, at kiln.Stamp) error {
	seq, err := recordChange(ctx, tx, kind, change, id, at, map[string]string{"by": by, "why": why})
	if err != nil {
		return err
	}
	_, err = tx.ExecContext(ctx, `INSERT INTO act (kind, id, op, by, why, seq) VALUES (?, ?, ?, ?, ?, ?) ON CONFLICT (kind, id, op) DO NOTHING`, kind, id, op, by, why, seq)
	return err
}
