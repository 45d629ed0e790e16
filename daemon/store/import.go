package store

import (
	"cmp"
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"modernc.org/sqlite"

	"lidwright/api/usecase"
	"lidwright/kiln"
	"lidwright/tiles"
)

// sheetCache is how much of the file, in KiB, a table of bars may hold in memory while it is taken
// in: its rows go all over the indexes, and with the usual 2 MiB most of them are read twice.
const sheetCache = 24 << 10

// KeepSheet keeps bars with their readings and loads in one go: all or nothing. New bars, readings
// and loads must have been validated and must have ids that nothing stands under; Bars also names
// bars that are there, which get the readings alone. told hears how many rows are written, of how
// many, and must not wait for anybody: a firing cannot be written down meanwhile. Everything that
// can be made ready without the writer is made before it is asked for.
// The errors are tiles.ErrCodeTaken, tiles.ErrIDUsed and trouble with the disk.
func (s BarStore) KeepSheet(ctx context.Context, sheet tiles.Taken, at kiln.Stamp,
	told func(done, of int)) error {
	in, err := intakeOf(sheet)
	if err != nil {
		return fmt.Errorf("take in a table of bars: %w", err)
	}
	err = s.write(ctx, func(tx *sql.Tx) error {
		if _, err := tx.ExecContext(ctx, fmt.Sprintf(`PRAGMA cache_size = -%d`, sheetCache)); err != nil {
			return err
		}
		defer tx.ExecContext(ctx, `PRAGMA cache_size = -2000`)
		var last int64
		// AUTOINCREMENT never gives a number twice, not even one of a change that is gone.
		if err := tx.QueryRowContext(ctx, `SELECT max(coalesce((SELECT seq FROM sqlite_sequence WHERE name = 'change'), 0), coalesce((SELECT max(seq) FROM change), 0))`).Scan(&last); err != nil {
			return err
		}
		w := many{ctx: ctx, tx: tx, made: map[string]*sql.Stmt{}, of: in.rows(), told: told}
		defer w.close()
		return in.write(&w, at, last)
	})
	if err != nil {
		return fmt.Errorf("take in a table of bars: %w", err)
	}
	return nil
}

// toldBoot is the running of the machine of what is told with a time of its own: none, so that no clock that
// is put right moves it.
const toldBoot = usecase.TypedBoot

// intake is a table as it will be written: every fact with its place among the changes, from 1, and
// each kind in the order of its key, so that neighbours are written together.
type intake struct {
	said     []saidOf
	bars     []numbered[tiles.Bar]
	readings []numbered[tiles.Reading]
	loads    []numbered[tiles.Load]
	raised   []tiles.Code // bars that are there and change
	placed   []tiles.Code // bars of the loads
}

type saidOf struct {
	kind, id, body string
	at             time.Time // when it was so, as somebody told; zero: now
	trusted        bool      // by a clock that could be
}

type numbered[T any] struct {
	fact T
	nth  int64
}

func intakeOf(sheet tiles.Taken) (*intake, error) {
	in := &intake{}
	fresh := map[tiles.Code]bool{}
	for _, b := range sheet.Bars {
		if sheet.There[b.Code] {
			in.raised = append(in.raised, b.Code)
		} else {
			fresh[b.Code] = true
			nth, err := in.say("bar", string(b.Code), sayBar(b), time.Time{}, false)
			if err != nil {
				return nil, err
			}
			in.bars = append(in.bars, numbered[tiles.Bar]{b, nth})
		}
		for _, r := range b.Readings {
			nth, err := in.say("reading", r.ID, sayReading(r), r.At, r.Trusted)
			if err != nil {
				return nil, err
			}
			in.readings = append(in.readings, numbered[tiles.Reading]{r, nth})
		}
	}
	for _, l := range sheet.Loads {
		nth, err := in.say("load", l.ID, sayLoad(l), l.Opened, true)
		if err != nil {
			return nil, err
		}
		in.loads = append(in.loads, numbered[tiles.Load]{l, nth})
		for _, p := range l.Bars {
			in.placed = append(in.placed, p.Bar)
			if !fresh[p.Bar] {
				in.raised = append(in.raised, p.Bar)
			}
		}
	}
	slices.SortFunc(in.bars, func(a, b numbered[tiles.Bar]) int {
		return cmp.Compare(a.fact.Code, b.fact.Code)
	})
	slices.SortFunc(in.readings, func(a, b numbered[tiles.Reading]) int {
		return cmp.Compare(a.fact.ID, b.fact.ID)
	})
	return in, nil
}

func (in *intake) say(kind, id string, body any, at time.Time, trusted bool) (int64, error) {
	said, err := json.Marshal(body)
	in.said = append(in.said, saidOf{kind, id, string(said), at, trusted})
	return int64(len(in.said)), err
}

func (in *intake) rows() int { return len(in.said) + len(in.bars) + len(in.readings) }

// write writes everything behind the change numbered last.
func (in *intake) write(w *many, at kiln.Stamp, last int64) error {
	err := rows(w, `INSERT INTO change (seq, kind, op, id, at_ms, trusted, boot, body) VALUES `,
		len(in.said), func(i int) []any {
			c, at := in.said[i], at
			if !c.at.IsZero() && !c.at.Equal(at.Wall) {
				at = kiln.Stamp{Boot: toldBoot, Wall: c.at, Trusted: c.trusted}
			}
			return []any{last + int64(i) + 1, c.kind, "put", c.id, at.Wall.UnixMilli(), at.Trusted,
				string(at.Boot), c.body}
		})
	if err != nil {
		return err
	}
	err = rows(w, insertNewBar, len(in.bars), func(i int) []any {
		return barArgs(in.bars[i].fact, last+in.bars[i].nth)
	})
	if err != nil {
		return thereAlready(err, tiles.ErrCodeTaken)
	}
	err = rows(w, insertReading, len(in.readings), func(i int) []any {
		return readingArgs(in.readings[i].fact, last+in.readings[i].nth)
	})
	if err != nil {
		return thereAlready(err, tiles.ErrIDUsed)
	}
	for _, l := range in.loads {
		if err := w.load(l.fact, last+l.nth); err != nil {
			return err
		}
	}
	// Which loads wait for which bar is looked up once all is there.
	raised, err := jsonList(in.raised)
	if err != nil {
		return err
	}
	if err := w.run(raiseBars, last+int64(len(in.said)), raised); err != nil {
		return err
	}
	waiting, err := jsonList(append(in.placed, in.raised...))
	if err != nil {
		return err
	}
	return w.run(measureBars, waiting)
}

// thereAlready says in a word of the trade that a row stands where a new one should.
func thereAlready(err, word error) error {
	var e *sqlite.Error
	if errors.As(err, &e) && e.Code()&0xff == codeConstraint {
		return fmt.Errorf("%w: %w", word, err)
	}
	return err
}

// many writes many rows in one transaction, each statement prepared once.
type many struct {
	ctx      context.Context
	tx       *sql.Tx
	made     map[string]*sql.Stmt
	done, of int
	told     func(done, of int)
}

func (w *many) close() {
	for _, s := range w.made {
		s.Close()
	}
}

func (w *many) run(statement string, args ...any) error {
	p := w.made[statement]
	if p == nil {
		var err error
		if p, err = w.tx.PrepareContext(w.ctx, statement); err != nil {
			return err
		}
		w.made[statement] = p
	}
	_, err := p.ExecContext(w.ctx, args...)
	return err
}

// together is how many rows one statement writes: it opens the table and each index once for them.
const together = 64

// rows inserts n rows. insert ends in VALUES.
func rows(w *many, insert string, n int, row func(i int) []any) error {
	for i := 0; i < n; {
		var args []any
		var wide, tall int
		for ; i < n && tall < together; tall++ {
			one := row(i)
			wide = len(one)
			args = append(args, one...)
			i++
		}
		one := "(?" + strings.Repeat(", ?", wide-1) + ")"
		if err := w.run(insert+one+strings.Repeat(", "+one, tall-1), args...); err != nil {
			return err
		}
		w.done += tall
		if w.told != nil && (i == n || i%(together*64) == 0) {
			w.told(w.done, w.of)
		}
	}
	return nil
}

// load puts bars into a load, which is made if it has no number yet.
func (w *many) load(l tiles.Load, seq int64) error {
	if l.Number == 0 {
		if err := w.run(insertLoad, l.ID, l.Kiln, l.Kind, l.Atmosphere, l.PackedBy, l.Note,
			orNull(stated(l.Stated)), seq); err != nil {
			return err
		}
		if l.Firing != "" {
			if err := attach(w.ctx, w.tx, l.ID, l.Firing, seq); err != nil {
				return err
			}
		}
	}
	for _, p := range l.Bars {
		if err := w.run(`INSERT INTO load_bar (load, bar, shelf, seq, measured) VALUES (?, ?, ?, ?, 0) ON CONFLICT (load, bar) DO NOTHING`, l.ID, p.Bar, p.Shelf, seq); err != nil {
			return err
		}
	}
	return w.run(`UPDATE load SET rev = ? WHERE id = ?`, seq, l.ID)
}
