package store

import (
	"context"
	"database/sql"
	"encoding/json"
	"fmt"
	"maps"
	"strings"

	"lidwright/kiln"
	"lidwright/tiles"
)

// KeepSheet keeps bars with their readings and loads in one go: all or nothing. New bars, readings
// and loads must have been validated and must have ids that nothing stands under; Bars also names
// bars that are there, which get the readings alone. told hears how many bars are in, of how many.
// The errors are tiles.ErrCodeTaken, tiles.ErrIDUsed and trouble with the disk.
func (s *Store) KeepSheet(ctx context.Context, sheet tiles.Taken, at kiln.Stamp, told func(done, of int)) error {
	err := s.write(ctx, func(tx *sql.Tx) error {
		in := intake{ctx: ctx, tx: tx, at: at, made: map[string]*sql.Stmt{}}
		defer in.close()
		for i, b := range sheet.Bars {
			if err := in.bar(b, sheet.There[b.Code]); err != nil {
				return fmt.Errorf("bar %s: %w", b.Code, err)
			}
			if told != nil && (i%500 == 499 || i == len(sheet.Bars)-1) {
				told(i+1, len(sheet.Bars))
			}
		}
		for _, l := range sheet.Loads {
			if err := in.load(l); err != nil {
				return err
			}
		}
		// Which loads wait for which bar is looked up once all is there.
		touched := maps.Clone(sheet.There)
		for _, l := range sheet.Loads {
			for _, p := range l.Bars {
				touched[p.Bar] = true
			}
		}
		for code, there := range touched {
			if !there {
				continue
			}
			if err := in.run(raiseBar, in.last, code); err != nil {
				return err
			}
			if err := in.run(measureLoads, code); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		return fmt.Errorf("take in a table of bars: %w", err)
	}
	return nil
}

// intake writes many facts in one transaction, each statement prepared once.
type intake struct {
	ctx  context.Context
	tx   *sql.Tx
	at   kiln.Stamp
	made map[string]*sql.Stmt
	last int64 // number of the last change
}

func (in *intake) close() {
	for _, s := range in.made {
		s.Close()
	}
}

func (in *intake) run(statement string, args ...any) error {
	p := in.made[statement]
	if p == nil {
		var err error
		if p, err = in.tx.PrepareContext(in.ctx, statement); err != nil {
			return err
		}
		in.made[statement] = p
	}
	_, err := p.ExecContext(in.ctx, args...)
	return err
}

func (in *intake) record(kind, id string, body any) error {
	said, err := json.Marshal(body)
	if err != nil {
		return err
	}
	in.last++
	return in.run(`INSERT INTO change (seq, kind, op, id, at_ms, trusted, boot, body) VALUES (?, ?, 'put', ?, ?, ?, ?, ?)`,
		in.last, kind, id, in.at.Wall.UnixMilli(), in.at.Trusted, string(in.at.Boot), string(said))
}

func (in *intake) bar(b tiles.Bar, there bool) error {
	if in.last == 0 {
		// AUTOINCREMENT never gives a number twice, not even one of a change that is gone.
		if err := in.tx.QueryRowContext(in.ctx, `SELECT max(coalesce((SELECT seq FROM sqlite_sequence WHERE name = 'change'), 0), coalesce((SELECT max(seq) FROM change), 0))`).Scan(&in.last); err != nil {
			return err
		}
	}
	if !there {
		body := sayBar(b)
		if err := in.record("bar", string(b.Code), body); err != nil {
			return err
		}
		if err := in.run(insertBar, b.Code, b.ID, b.Clay, b.Batch, b.Forming, float64(b.MarkLength), b.Marks, b.MadeOn, b.By, b.Practice, strings.Join(body.Flags, " "), b.Note, in.last); err != nil {
			return err
		}
	}
	for _, r := range b.Readings {
		if err := in.record("reading", r.ID, sayReading(r)); err != nil {
			return err
		}
		if err := in.run(insertReading, readingArgs(r, in.last)...); err != nil {
			return err
		}
	}
	return nil
}

// load puts bars into a load, which is made if it has no number yet.
func (in *intake) load(l tiles.Load) error {
	if err := in.record("load", l.ID, sayLoad(l)); err != nil {
		return err
	}
	if l.Number == 0 {
		if err := in.run(insertLoad, l.ID, l.Kiln, l.Kind, l.Atmosphere, orNull(l.Firing), l.PackedBy, l.Note, orNull(stated(l.Stated)), in.last); err != nil {
			return err
		}
	}
	for _, p := range l.Bars {
		if err := in.run(`INSERT INTO load_bar (load, bar, shelf, seq, measured) VALUES (?, ?, ?, ?, 0) ON CONFLICT (load, bar) DO NOTHING`, l.ID, p.Bar, p.Shelf, in.last); err != nil {
			return err
		}
	}
	return in.run(`UPDATE load SET rev = ? WHERE id = ?`, in.last, l.ID)
}
