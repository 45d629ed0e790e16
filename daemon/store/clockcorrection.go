package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"time"

	"lidwright/daemon/store/codec"
	"lidwright/kiln"
)

// Trust tells the store that a machine's clock can be trusted at a moment. The first such moment
// of each running of the machine puts right what was written down before it in that running:
// readings when they are read, firings and facts at once. Later ones change nothing. Only the wall
// times move; ages, rates and heat work never came from them.
func (s FiringStore) Trust(ctx context.Context, at kiln.Stamp) error {
	one := []kiln.Sample{{At: at}}
	if !s.news(one) {
		return nil
	}
	err := s.write(ctx, func(tx *sql.Tx) error { return s.trust(ctx, tx, one) })
	if err != nil {
		return fmt.Errorf("put the times of boot %s right: %w", at.Boot, err)
	}
	s.trusts(one)
	return nil
}

// news reports whether samples say of a machine's clock for the first time that it is trusted.
func (s FiringStore) news(samples []kiln.Sample) bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	for i := range samples {
		if samples[i].At.Trusted && !s.trusted[samples[i].At.Boot] {
			return true
		}
	}
	return false
}

// trusts remembers what trust wrote, once that is committed.
func (s FiringStore) trusts(samples []kiln.Sample) {
	if !s.news(samples) {
		return
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	for _, smp := range samples {
		if smp.At.Trusted {
			s.trusted[smp.At.Boot] = true
		}
	}
}

// trust writes down the first trusted moment of each boot among samples, and puts right what was
// written before it.
func (s FiringStore) trust(ctx context.Context, tx *sql.Tx, samples []kiln.Sample) error {
	if !s.news(samples) {
		return nil
	}
	var last kiln.BootID
	for _, smp := range samples {
		at := smp.At
		if !at.Trusted || at.Boot == last {
			continue
		}
		last = at.Boot
		result, err := tx.ExecContext(ctx,
			`INSERT INTO boot (id, offset_ms) VALUES (?, ?) ON CONFLICT (id) DO NOTHING`,
			string(at.Boot), codec.OffsetOf(at))
		if err != nil {
			return err
		}
		if n, err := result.RowsAffected(); err != nil || n == 0 {
			continue
		}
		if err := s.rightFirings(ctx, tx, at); err != nil {
			return err
		}
		if s.opened.Boot == at.Boot && !s.opened.Trusted {
			by := codec.OffsetOf(at) - codec.OffsetOf(s.opened)
			if _, err := tx.ExecContext(ctx,
				`UPDATE change SET at_ms = at_ms + ? WHERE boot = ? AND trusted = 0`, by,
				string(at.Boot)); err != nil {
				return err
			}
			righted, err := tx.ExecContext(ctx,
				`UPDATE change SET trusted = 1 WHERE boot = ? AND trusted = 0`,
				string(at.Boot))
			if err != nil {
				return err
			}
			if n, err := righted.RowsAffected(); err != nil {
				return err
			} else if n > 0 {
				if _, err := recordChange(ctx, tx, "boot", "correct", string(at.Boot), at,
					bootRighted{codec.OffsetOf(at), by, n}); err != nil {
					return err
				}
			}
		}
	}
	return nil
}

// bootRighted is what the record of changes says of a boot whose clock was put right: at of each of
// its changes that was not trusted moved by ByMS, and is trusted.
type bootRighted struct {
	OffsetMS int64 `json:"offset_ms"` // wall clock less time since the start, ms since 1970 UTC
	ByMS     int64 `json:"by_ms"`
	Changes  int64 `json:"changes"`
}

// rightFirings puts the times of firings right that began or ended in the boot of now before its clock
// was trusted, and tells of each. Where a gap of one was of unknown length its ages move: its envelope is
// made anew.
func (s FiringStore) rightFirings(ctx context.Context, tx *sql.Tx, now kiln.Stamp) error {
	boot := now.Boot
	rows, err := tx.QueryContext(ctx, `SELECT row, status, summary FROM firing WHERE trusted = 0`)
	if err != nil {
		return err
	}
	type firing struct {
		row    int64
		status kiln.Status
		data   []byte
	}
	all, err := collect(rows, "firings", func(f *firing) error {
		return rows.Scan(&f.row, &f.status, &f.data)
	})
	if err != nil {
		return err
	}
	for _, one := range all {
		f, err := codec.ReadSummary(one.data)
		if err != nil {
			s.harmed(f.ID, 1)
			continue
		}
		if f.Began.Boot != boot && f.Over.Boot != boot {
			continue
		}
		for _, at := range []*kiln.Stamp{&f.Began, &f.Over} {
			if *at, err = settled(ctx, tx, *at); err != nil {
				return err
			}
		}
		began, over, trusted := codec.TimesOf(f)
		if _, err := tx.ExecContext(ctx, `UPDATE firing SET revision = revision + 1, began_ms = ?, over_ms = ?, trusted = ?, summary = ? WHERE row = ?`,
			began, over, trusted, codec.WriteSummary(f), one.row); err != nil {
			return err
		}
		if err := tellFiring(ctx, tx, "correct", "clock", one.row, f, now); err != nil {
			return err
		}
		if one.status == kiln.Running || f.Began.Boot == f.Over.Boot {
			continue
		}
		blocks, err := s.blocks(ctx, tx, one.row)
		if err != nil {
			return err
		}
		if err := s.envelop(ctx, tx, one.row, f, blocks); err != nil {
			return err
		}
	}
	return nil
}

// settled is a stamp with its wall time put right, if its boot came to be trusted.
func settled(ctx context.Context, q querier, at kiln.Stamp) (kiln.Stamp, error) {
	if at.Trusted || at.Boot == "" {
		return at, nil
	}
	var offset int64
	err := q.QueryRowContext(ctx, `SELECT offset_ms FROM boot WHERE id = ?`, string(at.Boot)).Scan(&offset)
	if errors.Is(err, sql.ErrNoRows) {
		return at, nil
	}
	if err != nil {
		return at, fmt.Errorf("look up boot %s: %w", at.Boot, err)
	}
	at.Wall, at.Trusted = time.UnixMilli(offset+at.Since.Milliseconds()).UTC(), true
	return at, nil
}

// settle puts the wall times of a block right.
func settle(ctx context.Context, q querier, b *codec.Block) error {
	for i := range b.Stretches {
		s := &b.Stretches[i]
		at, err := settled(ctx, q, s.Stamp(0))
		if err != nil {
			return err
		}
		s.Offset, s.Trusted = codec.OffsetOf(at), at.Trusted
	}
	return nil
}
