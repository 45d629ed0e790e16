package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"

	"lidwright/kiln"
	"lidwright/tiles"
)

// clayBody is what is said of a clay, as it stands in the changes.
type clayBody struct {
	Name        string  `json:"name"`
	MakerCode   string  `json:"maker_code"`
	MaturesCone string  `json:"matures_cone"`
	Stated      float64 `json:"stated_total_ratio"`
	StatedCone  string  `json:"stated_cone"`
	Grog        string  `json:"grog"`
	Note        string  `json:"note"`
}

type batchBody struct {
	Kind    string   `json:"kind"`
	Stamp   string   `json:"stamp"`
	Arrived string   `json:"arrived_on"`
	Parents []string `json:"parents"`
	Open    bool     `json:"open"`
	Note    string   `json:"note"`
}

// PutClay keeps a clay or what is changed about it. The errors are ErrChanged and trouble
// with the disk.
func (s ClayStore) PutClay(ctx context.Context, c tiles.Clay, m Match, at kiln.Stamp) (kept Kept, err error) {
	body := clayBody{c.Name, c.MakerCode, c.MaturesCone, float64(c.Stated), c.StatedCone, c.Grog, c.Note}
	err = s.write(ctx, func(tx *sql.Tx) error {
		kept = Kept{}
		err := tx.QueryRowContext(ctx, `SELECT rev FROM clay WHERE clay = ?`, c.ID).Scan(&kept.Revision)
		if err != nil && !errors.Is(err, sql.ErrNoRows) {
			return err
		}
		again, err := mayEdit(ctx, tx, "clay", string(c.ID), kept.Revision, m, body)
		if again || err != nil {
			return err
		}
		kept.New = true
		if kept.Revision, err = recordChange(ctx, tx, "clay", "put", string(c.ID), at, body); err != nil {
			return err
		}
		_, err = tx.ExecContext(ctx, `
			INSERT INTO clay (clay, name, maker_code, matures_cone, stated_total_ratio, stated_cone, grog, note, rev)
			VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)
			ON CONFLICT (clay) DO UPDATE SET name = excluded.name, maker_code = excluded.maker_code,
				matures_cone = excluded.matures_cone, stated_total_ratio = excluded.stated_total_ratio,
				stated_cone = excluded.stated_cone, grog = excluded.grog, note = excluded.note, rev = excluded.rev`,
			c.ID, c.Name, c.MakerCode, c.MaturesCone, float64(c.Stated), c.StatedCone,
			c.Grog, c.Note, kept.Revision)
		return err
	})
	if err != nil {
		return Kept{}, fmt.Errorf("keep clay %s: %w", c.ID, err)
	}
	return kept, nil
}

// PutBatch keeps a batch or what is changed about it. The errors are ErrNoClay, ErrNoBatch
// (a parent), ErrChanged, *tiles.Invalid (a batch made from itself) and trouble with the disk.
func (s ClayStore) PutBatch(ctx context.Context, b tiles.Batch, m Match,
	at kiln.Stamp) (kept Kept, err error) {
	body := batchBody{string(b.Kind), b.Stamp, b.Arrived, b.ParentTexts(), b.Open, b.Note}
	err = s.write(ctx, func(tx *sql.Tx) error {
		kept = Kept{}
		var clay int
		if err := tx.QueryRowContext(ctx, `SELECT 1 FROM clay WHERE clay = ?`,
			b.Clay).Scan(&clay); err != nil {
			return missing(err, tiles.ErrNoClay)
		}
		err := tx.QueryRowContext(ctx, `SELECT rev FROM batch WHERE clay = ? AND batch = ?`, b.Clay,
			b.Batch).Scan(&kept.Revision)
		if err != nil && !errors.Is(err, sql.ErrNoRows) {
			return err
		}
		again, err := mayEdit(ctx, tx, "batch", b.String(), kept.Revision, m, body)
		if again || err != nil {
			return err
		}
		if len(b.Parents) > 0 {
			known, err := batches(ctx, tx)
			if err != nil {
				return err
			}
			parents := make(map[tiles.BatchRef][]tiles.BatchRef, len(known))
			for _, k := range known {
				parents[k.BatchRef] = k.Parents
			}
			if err := b.Family(parents); err != nil {
				return err
			}
		}
		kept.New = true
		if kept.Revision, err = recordChange(ctx, tx, "batch", "put", b.String(), at, body); err != nil {
			return err
		}
		if _, err = tx.ExecContext(ctx, `
			INSERT INTO batch (clay, batch, kind, stamp, arrived_on, open, note, made, rev)
			VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?8)
			ON CONFLICT (clay, batch) DO UPDATE SET kind = excluded.kind, stamp = excluded.stamp,
				arrived_on = excluded.arrived_on, open = excluded.open, note = excluded.note, rev = excluded.rev`,
			b.Clay, b.Batch, b.Kind, b.Stamp, b.Arrived, b.Open, b.Note, kept.Revision); err != nil {
			return err
		}
		if _, err = tx.ExecContext(ctx, `DELETE FROM batch_parent WHERE clay = ? AND batch = ?`,
			b.Clay, b.Batch); err != nil {
			return err
		}
		for i, p := range b.Parents {
			if _, err = tx.ExecContext(ctx, `
				INSERT INTO batch_parent (clay, batch, place, parent_clay, parent_batch, share) VALUES (?, ?, ?, ?, ?, ?)`,
				b.Clay, b.Batch, i, p.Clay, p.Batch, toldShare(b, i)); err != nil {
				return err
			}
		}
		_, err = tx.ExecContext(ctx, `UPDATE clay SET rev = ? WHERE clay = ?`, kept.Revision, b.Clay)
		return err
	})
	if err != nil {
		return Kept{}, fmt.Errorf("keep batch %s: %w", b.BatchRef, err)
	}
	return kept, nil
}

// toldShare is the share of a parent as it is kept: 0 where nobody told any.
func toldShare(b tiles.Batch, i int) float64 {
	if len(b.Shares) == 0 {
		return 0
	}
	return float64(b.Shares[i])
}

// missing turns "no rows" into an error of the trade.
func missing(err, what error) error {
	if errors.Is(err, sql.ErrNoRows) {
		return what
	}
	return err
}

// Clay gives one clay, or ErrNoClay. Matures is left unknown: the cone on the bag says it.
func (s ClayStore) Clay(ctx context.Context, id tiles.ClayID) (tiles.KeptClay, error) {
	all, err := clays(ctx, s.read)
	if err != nil {
		return tiles.KeptClay{}, err
	}
	for _, c := range all {
		if c.ID == id {
			return c, nil
		}
	}
	return tiles.KeptClay{}, fmt.Errorf("%s: %w", id, tiles.ErrNoClay)
}

// Clays gives every clay by id.
func (s ClayStore) Clays(ctx context.Context) ([]tiles.KeptClay, error) { return clays(ctx, s.read) }

// Batches gives every batch of every clay, by clay and batch.
func (s ClayStore) Batches(ctx context.Context) ([]tiles.KeptBatch, error) {
	return batches(ctx, s.read)
}

func clays(ctx context.Context, q querier) ([]tiles.KeptClay, error) {
	rows, err := q.QueryContext(ctx, `
		SELECT clay, name, maker_code, matures_cone, stated_total_ratio, stated_cone, grog, note, rev FROM clay ORDER BY clay`)
	if err != nil {
		return nil, fmt.Errorf("read clays: %w", err)
	}
	return collect(rows, "clays", func(c *tiles.KeptClay) error {
		c.Matures = kiln.NoTemperature()
		return rows.Scan(&c.ID, &c.Name, &c.MakerCode, &c.MaturesCone, &c.Stated, &c.StatedCone, &c.Grog,
			&c.Note, &c.Revision)
	})
}

func batches(ctx context.Context, q querier) ([]tiles.KeptBatch, error) {
	rows, err := q.QueryContext(ctx, `
		SELECT b.clay, b.batch, b.kind, b.stamp, b.arrived_on, b.open, b.note, b.rev, c.at_ms
		FROM batch b JOIN change c ON c.seq = b.made ORDER BY b.clay, b.batch`)
	if err != nil {
		return nil, fmt.Errorf("read batches: %w", err)
	}
	all, err := collect(rows, "batches", func(b *tiles.KeptBatch) error {
		var made int64
		err := rows.Scan(&b.Clay, &b.Batch.Batch, &b.Kind, &b.Stamp, &b.Arrived, &b.Open, &b.Note,
			&b.Revision, &made)
		b.Made = fromMilli(made)
		return err
	})
	if err != nil {
		return nil, err
	}
	at := make(map[tiles.BatchRef]int, len(all))
	for i, b := range all {
		at[b.BatchRef] = i
	}
	rows, err = q.QueryContext(ctx, `
		SELECT clay, batch, parent_clay, parent_batch, share FROM batch_parent ORDER BY clay, batch, place`)
	if err != nil {
		return nil, fmt.Errorf("read parents of batches: %w", err)
	}
	type pair struct {
		child, parent tiles.BatchRef
		share         tiles.Ratio
	}
	pairs, err := collect(rows, "parents of batches", func(p *pair) error {
		return rows.Scan(&p.child.Clay, &p.child.Batch, &p.parent.Clay, &p.parent.Batch, &p.share)
	})
	for _, p := range pairs {
		b := &all[at[p.child]]
		if b.Parents = append(b.Parents, p.parent); p.share > 0 {
			b.Shares = append(b.Shares, p.share)
		}
	}
	return all, err
}

// KilnOfClay is the kiln where the bars of a clay that were fired last came from; empty if none did.
func (s ClayStore) KilnOfClay(ctx context.Context, clay tiles.ClayID) (k kiln.KilnID, err error) {
	err = s.read.QueryRowContext(ctx, `
		SELECT l.kiln FROM bar b JOIN reading r ON r.bar = b.code AND r.stage = 'fired' AND r.struck = 0 JOIN change c ON c.seq = r.seq
			JOIN load_bar p ON p.bar = b.code JOIN load l ON l.id = p.load AND l.kiln <> '' AND l.kind <> 'bisque'
		WHERE b.clay = ? ORDER BY c.at_ms DESC, r.seq DESC, l.number DESC LIMIT 1`, clay).Scan(&k)
	if errors.Is(err, sql.ErrNoRows) {
		return "", nil
	}
	if err != nil {
		return "", fmt.Errorf("look for the kiln of clay %s: %w", clay, err)
	}
	return k, nil
}

// LastUsed is the clay that was worked with last: that of the bar or the pot card of which something was said
// last, learners' bars apart; empty where there is neither.
func (s ClayStore) LastUsed(ctx context.Context) (clay tiles.ClayID, err error) {
	err = s.read.QueryRowContext(ctx, `
		SELECT clay FROM (SELECT clay, rev FROM bar WHERE practice = 0
			UNION ALL SELECT body_clay, rev FROM pot) ORDER BY rev DESC LIMIT 1`).Scan(&clay)
	if err != nil && !errors.Is(err, sql.ErrNoRows) {
		return "", fmt.Errorf("look for the clay that was used last: %w", err)
	}
	return clay, nil
}
