package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"strings"
	"time"

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
	By         string  `json:"by"`
	Supersedes string  `json:"supersedes"`
}

// PutBar keeps a bar or what is changed about it. The errors are tiles.ErrNoBatch,
// tiles.ErrCodeTaken (another bar has that code), tiles.ErrChanged and trouble with the disk.
func (s *Store) PutBar(ctx context.Context, b tiles.Bar, m tiles.Match, at kiln.Stamp) (kept tiles.Kept, err error) {
	flags := make([]string, len(b.Flags))
	for i, f := range b.Flags {
		flags[i] = string(f)
	}
	body := barBody{b.ID, string(b.Clay), string(b.Batch), string(b.Forming), float64(b.MarkLength), b.Marks, b.MadeOn, b.By, b.Practice, flags, b.Note}
	err = s.write(ctx, func(tx *sql.Tx) error {
		kept = tiles.Kept{}
		var id string
		err := tx.QueryRowContext(ctx, `SELECT id, rev FROM bar WHERE code = ?`, b.Code).Scan(&id, &kept.Revision)
		if err != nil && !errors.Is(err, sql.ErrNoRows) {
			return err
		}
		if err == nil && id != b.ID {
			return tiles.ErrCodeTaken
		}
		if err := batchThere(ctx, tx, b.BatchRef); err != nil {
			return err
		}
		again, err := mayEdit(ctx, tx, "bar", string(b.Code), kept.Revision, m, body)
		if again || err != nil {
			return err
		}
		kept.New = true
		if kept.Revision, err = record(ctx, tx, "bar", "put", string(b.Code), at, body); err != nil {
			return err
		}
		_, err = tx.ExecContext(ctx, `
			INSERT INTO bar (code, id, clay, batch, forming, mark_length_mm, marks, made_on, by, practice, flags, note, rev)
			VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)
			ON CONFLICT (code) DO UPDATE SET clay = excluded.clay, batch = excluded.batch, forming = excluded.forming,
				mark_length_mm = excluded.mark_length_mm, marks = excluded.marks, made_on = excluded.made_on, by = excluded.by,
				practice = excluded.practice, flags = excluded.flags, note = excluded.note, rev = excluded.rev`,
			b.Code, b.ID, b.Clay, b.Batch, b.Forming, float64(b.MarkLength), b.Marks, b.MadeOn, b.By, b.Practice, strings.Join(flags, " "), b.Note, kept.Revision)
		return err
	})
	if err != nil {
		return tiles.Kept{}, fmt.Errorf("keep bar %s: %w", b.Code, err)
	}
	return kept, nil
}

func batchThere(ctx context.Context, tx *sql.Tx, r tiles.BatchRef) error {
	var one int
	err := tx.QueryRowContext(ctx, `SELECT 1 FROM clay WHERE clay = ?`, r.Clay).Scan(&one)
	if err != nil {
		return missing(err, tiles.ErrNoClay)
	}
	err = tx.QueryRowContext(ctx, `SELECT 1 FROM batch WHERE clay = ? AND batch = ?`, r.Clay, r.Batch).Scan(&one)
	return missing(err, tiles.ErrNoBatch)
}

// UsedCodes gives every code that stands on a bar of this site.
func (s *Store) UsedCodes(ctx context.Context) (map[tiles.Code]bool, error) {
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

// PutReading keeps one reading for good, and strikes the one whose place it takes. The errors
// are tiles.ErrNoBar, tiles.ErrNoReading (of the one to supersede), tiles.ErrIDUsed and
// trouble with the disk. r must have been validated; Unusual, Outside and Question are what
// was asked about it.
func (s *Store) PutReading(ctx context.Context, r tiles.Reading, at kiln.Stamp) (kept tiles.Kept, err error) {
	body := readingBody{Bar: string(r.Bar), Mark: r.Mark, Stage: string(r.Stage), Length: r.AsTyped, Unit: r.Unit, Instrument: r.Instrument,
		Step: float64(r.Step), By: r.By, Supersedes: r.Supersedes}
	var dry, saturated, suspended, step any
	length := orNull(float64(r.Length))
	if m := r.Mass; m != nil {
		body.Dry, body.Saturated, body.Suspended = m.Dry, m.Saturated, m.Suspended
		dry, saturated, suspended, step = m.Dry, m.Saturated, orNull(m.Suspended), m.Step
		length = nil
	}
	at.Wall = at.Wall.Add(-r.Queued)
	err = s.write(ctx, func(tx *sql.Tx) error {
		kept = tiles.Kept{}
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
		if kept.Revision, err = record(ctx, tx, "reading", "put", r.ID, at, body); err != nil {
			return err
		}
		if r.Supersedes != "" {
			var bar tiles.Code
			if err := tx.QueryRowContext(ctx, `SELECT bar FROM reading WHERE id = ?`, r.Supersedes).Scan(&bar); err != nil {
				return missing(err, tiles.ErrNoReading)
			}
			if bar != r.Bar {
				return tiles.ErrNoReading
			}
			if err := act(ctx, tx, "reading", r.Supersedes, "strike", "supersede", r.By, "corrected", at); err != nil {
				return err
			}
			if _, err := tx.ExecContext(ctx, `UPDATE reading SET struck = 1 WHERE id = ?`, r.Supersedes); err != nil {
				return err
			}
		}
		if _, err = tx.ExecContext(ctx, `
			INSERT INTO reading (id, bar, seq, mark, stage, length_mm, as_typed, unit, instrument, step_mm, dry_g, saturated_g, suspended_g, step_g, by, queued_s, unusual, outside, question, supersedes)
			VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)`,
			r.ID, r.Bar, kept.Revision, r.Mark, r.Stage, length, r.AsTyped, r.Unit, r.Instrument, float64(r.Step), dry, saturated, suspended, step,
			r.By, r.Queued.Seconds(), r.Unusual, r.Outside, r.Question, orNull(r.Supersedes)); err != nil {
			return err
		}
		return touchBar(ctx, tx, r.Bar, kept.Revision)
	})
	if err != nil {
		return tiles.Kept{}, fmt.Errorf("keep a reading of bar %s: %w", r.Bar, err)
	}
	return kept, nil
}

// touchBar raises the revision of a bar and looks again which of its loads wait for its
// measure: a load waits until there is a length, not struck, of the stage that it gives.
func touchBar(ctx context.Context, tx *sql.Tx, code tiles.Code, seq int64) error {
	if _, err := tx.ExecContext(ctx, `UPDATE bar SET rev = ? WHERE code = ?`, seq, code); err != nil {
		return err
	}
	_, err := tx.ExecContext(ctx, `
		UPDATE load_bar SET measured = EXISTS (
			SELECT 1 FROM reading r JOIN load l ON l.id = load_bar.load
			WHERE r.bar = load_bar.bar AND r.struck = 0 AND r.length_mm IS NOT NULL
				AND r.stage = CASE l.kind WHEN 'bisque' THEN 'bisque' ELSE 'fired' END)
		WHERE bar = ?`, code)
	return err
}

// StrikeReading crosses a reading out; it stays to be seen.
func (s *Store) StrikeReading(ctx context.Context, bar tiles.Code, id, by, why string, at kiln.Stamp) error {
	return s.readingAct(ctx, bar, id, "strike", by, why, at)
}

// ConfirmReading says that an unusual reading was read right.
func (s *Store) ConfirmReading(ctx context.Context, bar tiles.Code, id, by, why string, at kiln.Stamp) error {
	return s.readingAct(ctx, bar, id, "confirm", by, why, at)
}

// CountReading lets a reading into the fit that lies outside 0.72 to 1.01 of the wet length.
func (s *Store) CountReading(ctx context.Context, bar tiles.Code, id, by, why string, at kiln.Stamp) error {
	return s.readingAct(ctx, bar, id, "count", by, why, at)
}

// readingAct does something to a reading, once; said again it changes nothing. The errors are
// tiles.ErrNoReading and trouble with the disk.
func (s *Store) readingAct(ctx context.Context, bar tiles.Code, id, op, by, why string, at kiln.Stamp) error {
	err := s.write(ctx, func(tx *sql.Tx) error {
		var of tiles.Code
		if err := tx.QueryRowContext(ctx, `SELECT bar FROM reading WHERE id = ?`, id).Scan(&of); err != nil {
			return missing(err, tiles.ErrNoReading)
		}
		if of != bar {
			return tiles.ErrNoReading
		}
		var done int
		err := tx.QueryRowContext(ctx, `SELECT 1 FROM act WHERE kind = 'reading' AND id = ? AND op = ?`, id, op).Scan(&done)
		if !errors.Is(err, sql.ErrNoRows) {
			return err
		}
		if err := act(ctx, tx, "reading", id, op, op, by, why, at); err != nil {
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

// act writes down what somebody did to a fact; change is the word for it in the record.
func act(ctx context.Context, tx *sql.Tx, kind, id, op, change, by, why string, at kiln.Stamp) error {
	seq, err := record(ctx, tx, kind, change, id, at, map[string]string{"by": by, "why": why})
	if err != nil {
		return err
	}
	_, err = tx.ExecContext(ctx, `INSERT INTO act (kind, id, op, by, why, seq) VALUES (?, ?, ?, ?, ?, ?) ON CONFLICT (kind, id, op) DO NOTHING`, kind, id, op, by, why, seq)
	return err
}

// Channels tells which channel of a kiln a bar of a shelf had its heat from.
type Channels = func(k kiln.KilnID, shelf string) kiln.ChannelID

// Bar gives one bar with its readings and firings, or tiles.ErrNoBar.
func (s *Store) Bar(ctx context.Context, code tiles.Code, channel Channels) (tiles.KeptBar, error) {
	all, err := s.Bars(ctx, tiles.BarFilter{Code: code}, channel)
	if err == nil && len(all) == 0 {
		err = tiles.ErrNoBar
	}
	if err != nil {
		return tiles.KeptBar{}, fmt.Errorf("bar %s: %w", code, err)
	}
	return all[0], nil
}

const barsWhere = `
	(?1 = '' OR b.clay = ?1) AND (?2 = '' OR b.batch = ?2) AND (?3 = '' OR b.code = ?3) AND b.code > ?4
	AND (?5 = '' OR EXISTS (SELECT 1 FROM load_bar x WHERE x.load = ?5 AND x.bar = b.code))
	AND (?6 = 0 OR EXISTS (SELECT 1 FROM load_bar x JOIN load l ON l.id = x.load WHERE x.bar = b.code AND x.measured = 0 AND (l.firing IS NOT NULL OR l.unpacked_ms IS NOT NULL)))`

// Bars gives the bars that the filter lets pass, by code, each with all its readings and with
// every firing it went through. channel tells whose heat work a shelf had.
func (s *Store) Bars(ctx context.Context, w tiles.BarFilter, channel Channels) ([]tiles.KeptBar, error) {
	limit := w.Limit
	if limit == 0 {
		limit = -1
	}
	args := []any{string(w.Clay), string(w.Batch), string(w.Code), string(w.After), w.Load, w.Waiting, limit}
	rows, err := s.read.QueryContext(ctx, `
		SELECT b.code, b.id, b.clay, b.batch, b.forming, b.mark_length_mm, b.marks, b.made_on, b.by, b.practice, b.flags, b.note, b.rev
		FROM bar b WHERE `+barsWhere+` ORDER BY b.code LIMIT ?7`, args...)
	if err != nil {
		return nil, fmt.Errorf("read bars: %w", err)
	}
	bars, err := collect(rows, "bars", func(b *tiles.KeptBar) error {
		var flags string
		err := rows.Scan(&b.Code, &b.ID, &b.Clay, &b.Batch, &b.Forming, &b.MarkLength, &b.Marks, &b.MadeOn, &b.By, &b.Practice, &flags, &b.Note, &b.Revision)
		for _, f := range strings.Fields(flags) {
			b.Flags = append(b.Flags, tiles.Flag(f))
		}
		return err
	})
	if err != nil {
		return nil, err
	}
	at := make(map[tiles.Code]int, len(bars))
	for i, b := range bars {
		at[b.Code] = i
	}
	if err := s.readings(ctx, bars, at, args[:6]); err != nil {
		return nil, err
	}
	if err := s.heats(ctx, bars, at, args[:6], channel); err != nil {
		return nil, err
	}
	return bars, nil
}

func (s *Store) readings(ctx context.Context, bars []tiles.KeptBar, at map[tiles.Code]int, args []any) error {
	rows, err := s.read.QueryContext(ctx, `
		SELECT r.id, r.bar, r.mark, r.stage, coalesce(r.length_mm, 0), r.as_typed, r.unit, r.instrument, r.step_mm, r.dry_g, r.saturated_g, r.suspended_g, r.step_g,
			r.by, r.queued_s, r.unusual, r.outside, r.question, coalesce(r.supersedes, ''), c.at_ms, c.trusted,
			s.by, s.why, sc.at_ms, f.by, f.why, fc.at_ms, n.by, n.why, nc.at_ms
		FROM bar b JOIN reading r ON r.bar = b.code JOIN change c ON c.seq = r.seq
			LEFT JOIN act s ON s.kind = 'reading' AND s.id = r.id AND s.op = 'strike' LEFT JOIN change sc ON sc.seq = s.seq
			LEFT JOIN act f ON f.kind = 'reading' AND f.id = r.id AND f.op = 'confirm' LEFT JOIN change fc ON fc.seq = f.seq
			LEFT JOIN act n ON n.kind = 'reading' AND n.id = r.id AND n.op = 'count' LEFT JOIN change nc ON nc.seq = n.seq
		WHERE `+barsWhere+` ORDER BY r.bar, r.seq`, args...)
	if err != nil {
		return fmt.Errorf("read readings: %w", err)
	}
	defer rows.Close()
	for rows.Next() {
		var r tiles.Reading
		var dry, saturated, suspended, step sql.NullFloat64
		var queued float64
		var ms int64
		var acts [3]struct {
			by, why sql.NullString
			at      sql.NullInt64
		}
		if err := rows.Scan(&r.ID, &r.Bar, &r.Mark, &r.Stage, &r.Length, &r.AsTyped, &r.Unit, &r.Instrument, &r.Step, &dry, &saturated, &suspended, &step,
			&r.By, &queued, &r.Unusual, &r.Outside, &r.Question, &r.Supersedes, &ms, &r.Trusted,
			&acts[0].by, &acts[0].why, &acts[0].at, &acts[1].by, &acts[1].why, &acts[1].at, &acts[2].by, &acts[2].why, &acts[2].at); err != nil {
			return fmt.Errorf("read readings: %w", err)
		}
		r.At, r.Queued = fromMilli(ms), time.Duration(queued*float64(time.Second))
		if dry.Valid {
			r.Mass = &tiles.Mass{Dry: dry.Float64, Saturated: saturated.Float64, Suspended: suspended.Float64, Step: step.Float64}
		}
		for i, to := range []**tiles.Act{&r.Struck, &r.Confirmed, &r.Counted} {
			if a := acts[i]; a.at.Valid {
				*to = &tiles.Act{By: a.by.String, Why: a.why.String, At: fromMilli(a.at.Int64)}
			}
		}
		if i, ok := at[r.Bar]; ok {
			bars[i].Readings = append(bars[i].Readings, r)
		}
	}
	return rows.Err()
}

// heats joins each bar with the firings of its loads: the heat work of the channel of its
// shelf, or what was stated for a load without a firing.
func (s *Store) heats(ctx context.Context, bars []tiles.KeptBar, at map[tiles.Code]int, args []any, channel Channels) error {
	rows, err := s.read.QueryContext(ctx, `
		SELECT b.code, l.id, x.shelf, l.kind, l.kiln, l.heat_work_c, coalesce(l.unpacked_ms, 0), coalesce(f.over_ms, 0), f.summary, coalesce(f.status, '')
		FROM bar b JOIN load_bar x ON x.bar = b.code JOIN load l ON l.id = x.load LEFT JOIN firing f ON f.id = l.firing
		WHERE `+barsWhere+` ORDER BY b.code, l.number`, args...)
	if err != nil {
		return fmt.Errorf("read the firings of bars: %w", err)
	}
	defer rows.Close()
	for rows.Next() {
		var code tiles.Code
		var h tiles.Heat
		var stated sql.NullFloat64
		var summary sql.NullString
		var unpacked, over int64
		var status kiln.Status
		if err := rows.Scan(&code, &h.Load, &h.Shelf, &h.Kind, &h.Kiln, &stated, &unpacked, &over, &summary, &status); err != nil {
			return fmt.Errorf("read the firings of bars: %w", err)
		}
		h.Work = kiln.NoTemperature()
		if over > 0 {
			h.At = fromMilli(over)
		}
		if unpacked > 0 && (over == 0 || unpacked < over) {
			h.At = fromMilli(unpacked)
		}
		if stated.Valid {
			h.Work, h.ExtraSD = kiln.Celsius(stated.Float64), statedHeatSD
		}
		if summary.Valid && status == kiln.Ended {
			f, err := readSummary(summary.String)
			if err != nil {
				return err
			}
			c := channel(h.Kiln, h.Shelf)
			if w, ok := f.HeatWork[c]; ok && w.C.Known() {
				h.Work, h.ExtraSD, h.Probe = w.C, w.GapSD, string(h.Kiln)+"/"+string(c)
			}
		}
		if i, ok := at[code]; ok {
			bars[i].Firings = append(bars[i].Firings, h)
		}
	}
	return rows.Err()
}

// statedHeatSD is the doubt of a heat work that was stated by hand, °C (own): half a cone.
const statedHeatSD = 12
