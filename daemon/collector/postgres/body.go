package postgres

import (
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"

	"lidwright/api/collectorpages"
	"lidwright/api/wire"
)

// AddBody enters a body into the catalogue and gives its id.
func (s *Store) AddBody(ctx context.Context, b wire.CatalogueBody) (id string, err error) {
	made, err := uuid.NewV7()
	if err != nil {
		return "", err
	}
	return made.String(), s.write(ctx, func(tx pgx.Tx) error {
		_, err := tx.Exec(ctx, `INSERT INTO body (body, supplier, code, name, cone, matures_c) VALUES ($1, $2, $3, $4, $5, $6) ON CONFLICT DO NOTHING`,
			made.String(), b.Supplier, b.Number, b.Name, b.Cone, b.MaturesC)
		return err
	})
}

// MergeBody says that one body is another: summaries go there where the studio has none there yet, and
// studios send there from then on. A body of another maturing point is not the same; its summaries do not
// fit.
func (s *Store) MergeBody(ctx context.Context, body, into string) error {
	return s.write(ctx, func(tx pgx.Tx) error {
		tag, err := tx.Exec(ctx, `
			UPDATE body SET became = $2 WHERE body = $1 AND body <> $2
			AND EXISTS (SELECT FROM body o WHERE o.body = $2 AND o.became IS NULL AND o.matures_c = body.matures_c)`, body, into)
		if err != nil {
			return err
		}
		if tag.RowsAffected() == 0 {
			return fmt.Errorf("%w, or the two mature at other cones: %s and %s", collectorpages.ErrNoBody,
				body, into)
		}
		if _, err := tx.Exec(ctx, `UPDATE body SET became = $2 WHERE became = $1`, body, into); err != nil {
			return err
		}
		if _, err = tx.Exec(ctx, `
			INSERT INTO summary (body, model, site, bars, info, year, at) SELECT $2, model, site, bars, info, year, now() FROM summary WHERE body = $1 ON CONFLICT DO NOTHING`, body, into); err != nil {
			return err
		}
		for _, table := range []string{"summary", "pool", "prior", "pool_year"} {
			if _, err := tx.Exec(ctx, `DELETE FROM `+table+` WHERE body = $1`, body); err != nil {
				return err
			}
		}
		return nil
	})
}

// SplitBody begins a new body beside one: old summaries stay with the old, and studios pick the new one
// themselves.
func (s *Store) SplitBody(ctx context.Context, body, name string) (id string, err error) {
	all, err := s.Bodies(ctx)
	if err != nil {
		return "", err
	}
	for _, b := range all {
		if b.ID == body && b.Became == "" {
			b.Name = name
			return s.AddBody(ctx, b.CatalogueBody)
		}
	}
	return "", fmt.Errorf("%w: %s", collectorpages.ErrNoBody, body)
}

// Bodies is the catalogue, with how many studios told of each and the pool that is told now.
func (s *Store) Bodies(ctx context.Context) (all []collectorpages.Body, err error) {
	err = s.read(ctx, func(q *pgxpool.Pool) error {
		rows, err := q.Query(ctx, `
			SELECT b.body, b.supplier, b.code, b.name, b.cone, b.matures_c, b.became, coalesce(n.studios, 0)::int, coalesce(n.bars, 0)::int, p.made
			FROM body b
			LEFT JOIN LATERAL (SELECT count(DISTINCT site) AS studios, sum(bars) AS bars FROM summary WHERE summary.body = b.body) n ON true
			LEFT JOIN LATERAL (SELECT max(made) AS made FROM pool WHERE pool.body = b.body AND NOT back) p ON true
			ORDER BY b.supplier, b.name, b.body`)
		if err != nil {
			return err
		}
		all, err = pgx.CollectRows(rows, func(row pgx.CollectableRow) (b collectorpages.Body, err error) {
			var id uuid.UUID
			var became *uuid.UUID
			var made *time.Time
			err = row.Scan(&id, &b.Supplier, &b.Number, &b.Name, &b.Cone, &b.MaturesC, &became, &b.Studios,
				&b.Bars, &made)
			b.ID = id.String()
			if became != nil {
				b.Became = became.String()
			}
			if made != nil {
				b.Made = made.UTC()
			}
			return b, err
		})
		return err
	})
	return all, err
}

// PutSummary keeps what a studio's bars say of a body, in the place of what they said. The same once more
// changes nothing.
func (s *Store) PutSummary(ctx context.Context, site, body string, in wire.PoolSummary) error {
	return s.write(ctx, func(tx pgx.Tx) error {
		// The row of the studio is held, so that none comes after it was forgotten.
		var there bool
		err := tx.QueryRow(ctx, `SELECT true FROM site WHERE site = $1 FOR SHARE`, site).Scan(&there)
		if errors.Is(err, pgx.ErrNoRows) {
			return collectorpages.ErrNoSite
		}
		if err != nil {
			return err
		}
		tag, err := tx.Exec(ctx, `
			INSERT INTO summary (body, model, site, bars, info, year, at)
			SELECT coalesce(became, body), $2, $3, $4, $5, $6, now() FROM body WHERE body = $1
			ON CONFLICT (body, model, site) DO UPDATE SET bars = excluded.bars, info = excluded.info, year = excluded.year,
				at = CASE WHEN summary.info = excluded.info AND summary.year = excluded.year THEN summary.at ELSE excluded.at END`,
			body, in.Model, site, in.Bars, in.Info, in.Year)
		if err == nil && tag.RowsAffected() == 0 {
			err = fmt.Errorf("%w: %s", collectorpages.ErrNoBody, body)
		}
		return err
	})
}

// DropSummary takes it back.
func (s *Store) DropSummary(ctx context.Context, site, body string) error {
	return s.write(ctx, func(tx pgx.Tx) error {
		_, err := tx.Exec(ctx, `DELETE FROM summary WHERE site = $2 AND body IN (SELECT coalesce(became, body) FROM body WHERE body = $1)`, body, site)
		return err
	})
}

// Pool is what the others say, to one studio. Errors: ErrNoBody, ErrTooFew.
func (s *Store) Pool(ctx context.Context, site, body, model string) (a wire.PoolAnswer, err error) {
	err = s.read(ctx, func(q *pgxpool.Pool) error {
		var own bool
		var id uuid.UUID
		err := q.QueryRow(ctx, `
			SELECT p.body, p.model, p.made, p.studios, p.bars, b.matures_c, r.prior, r.unlike, r.site = $2
			FROM body w JOIN body b ON b.body = coalesce(w.became, w.body) JOIN pool p ON p.body = b.body AND NOT p.back
			JOIN prior r ON r.body = p.body AND r.model = p.model AND r.made = p.made AND r.site IN ($2, $4)
			WHERE w.body = $1 AND p.model = $3 ORDER BY p.made DESC, r.site = $2 DESC LIMIT 1`, body, site, model, uuid.Nil.String()).
			Scan(&id, &a.Model, &a.Made, &a.Studios, &a.Bars, &a.MaturesC, &a.Prior, &a.Unlike, &own)
		a.Body = id.String()
		if own {
			a.Studios--
		}
		return err
	})
	if errors.Is(err, pgx.ErrNoRows) {
		return a, collectorpages.ErrTooFew
	}
	a.Made = a.Made.UTC()
	return a, err
}

// Told is the newest pool of a body in the first of these models that has one, as a studio is told it that
// sent nothing, and what each year's studios say; nil: there is none.
func (s *Store) Told(ctx context.Context, body string, models []string) (prior []byte,
	years []collectorpages.BodyYear, err error) {
	err = s.read(ctx, func(q *pgxpool.Pool) error {
		var model string
		var made time.Time
		if err := q.QueryRow(ctx, `
			SELECT r.prior, p.model, p.made FROM pool p JOIN prior r ON r.body = p.body AND r.model = p.model AND r.made = p.made AND r.site = $2
			WHERE p.body = $1 AND NOT p.back AND p.model = ANY($3) ORDER BY array_position($3::text[], p.model), p.made DESC LIMIT 1`,
			body, uuid.Nil.String(), models).Scan(&prior, &model, &made); err != nil {
			return err
		}
		rows, err := q.Query(ctx, `SELECT year, studios, mean, sd FROM pool_year WHERE body = $1 AND model = $2 AND made = $3 ORDER BY year`, body, model, made)
		if err != nil {
			return err
		}
		years, err = pgx.CollectRows(rows, pgx.RowToStructByPos[collectorpages.BodyYear])
		return err
	})
	if errors.Is(err, pgx.ErrNoRows) {
		return nil, nil, nil
	}
	return prior, years, err
}

// Matures is the heat at which a body matures, °C. Errors: ErrNoBody.
func (s *Store) Matures(ctx context.Context, body string) (c float64, err error) {
	err = s.read(ctx, func(q *pgxpool.Pool) error {
		return q.QueryRow(ctx, `SELECT matures_c FROM body WHERE body = $1`, body).Scan(&c)
	})
	if errors.Is(err, pgx.ErrNoRows) {
		err = fmt.Errorf("%w: %s", collectorpages.ErrNoBody, body)
	}
	return c, err
}

// Due are bodies of which so much changed since the last pool that another is due: five studios or a
// hundredth of them came or came anew, one went, or there is none yet; never twice within every.
func Due(ctx context.Context, s *Store, least int, every time.Duration) (due []PoolKey, err error) {
	err = s.read(ctx, func(q *pgxpool.Pool) error {
		rows, err := q.Query(ctx, `
			SELECT n.body, n.model, coalesce(g.gone > 0, false) FROM (
				SELECT k.body, k.model, (SELECT max(made) FROM pool p WHERE p.body = k.body AND p.model = k.model) AS made
				FROM (SELECT body, model FROM summary UNION SELECT body, model FROM pool) k) n
			LEFT JOIN LATERAL (SELECT count(*) AS all_of, count(*) FILTER (WHERE n.made IS NULL OR at > n.made) AS fresh FROM summary s WHERE s.body = n.body AND s.model = n.model) c ON true
			LEFT JOIN LATERAL (SELECT (SELECT max(p.studios) FROM pool p WHERE p.body = n.body AND p.model = n.model AND p.made = n.made) - count(*) AS gone
				FROM prior r JOIN summary s ON s.body = r.body AND s.model = r.model AND s.site = r.site
				WHERE r.body = n.body AND r.model = n.model AND r.made = n.made AND r.site <> $3) g ON true -- rows of a forgotten studio are gone from both
			WHERE (n.made IS NULL AND c.all_of >= $1) OR (n.made < now() - $2::interval AND (g.gone > 0 OR c.fresh >= 5 OR c.fresh > 0 AND c.fresh * 100 > c.all_of))`,
			least, every, uuid.Nil.String())
		if err != nil {
			return err
		}
		due, err = pgx.CollectRows(rows, func(row pgx.CollectableRow) (k PoolKey, err error) {
			var id uuid.UUID
			err = row.Scan(&id, &k.Model, &k.Gone)
			k.Body = id.String()
			return k, err
		})
		return err
	})
	return due, err
}

// PoolKey names the pools of one body in one model.
type PoolKey struct {
	Body, Model string
	Gone        bool // a studio of the newest pool took its summary back
}

// OneSummary is what one studio says.
type OneSummary struct {
	Site string
	Bars int
	Year int
	Info []byte
}

// Summaries are what all studios say of a body, in a fixed order.
func Summaries(ctx context.Context, s *Store, k PoolKey) (all []OneSummary, err error) {
	err = s.read(ctx, func(q *pgxpool.Pool) error {
		rows, err := q.Query(ctx, `SELECT site, bars, year, info FROM summary WHERE body = $1 AND model = $2 ORDER BY site`, k.Body, k.Model)
		if err != nil {
			return err
		}
		all, err = pgx.CollectRows(rows, func(row pgx.CollectableRow) (o OneSummary, err error) {
			var site uuid.UUID
			err = row.Scan(&site, &o.Bars, &o.Year, &o.Info)
			o.Site = site.String()
			return o, err
		})
		return err
	})
	return all, err
}

// OnePrior is a pool as one studio is told it.
type OnePrior struct {
	Site   string // empty: one that sent nothing
	Prior  []byte
	Unlike float64
}

// keptPools is how many pools of a body are kept.
const keptPools = 10

// PutPool keeps a pool as the newest, and the nine before it. No priors: there are too few studios by now,
// and nothing is told of the body any more.
func PutPool(ctx context.Context, s *Store, k PoolKey, bars int, priors []OnePrior,
	years []collectorpages.BodyYear) error {
	return s.write(ctx, func(tx pgx.Tx) error {
		if len(priors) == 0 {
			for _, table := range []string{"pool", "prior", "pool_year"} {
				if _, err := tx.Exec(ctx, `DELETE FROM `+table+` WHERE body = $1 AND model = $2`,
					k.Body, k.Model); err != nil {
					return err
				}
			}
			return nil
		}
		var made time.Time
		err := tx.QueryRow(ctx, `INSERT INTO pool (body, model, made, studios, bars) VALUES ($1, $2, now(), $3, $4) RETURNING made`, k.Body, k.Model, len(priors)-1, bars).Scan(&made)
		if err != nil {
			return err
		}
		rows := make([][]any, len(priors))
		for i, p := range priors {
			site := uuid.Nil
			if p.Site != "" {
				site = uuid.MustParse(p.Site)
			}
			rows[i] = []any{uuid.MustParse(k.Body), k.Model, made, site, p.Prior, p.Unlike}
		}
		if _, err := tx.CopyFrom(ctx, pgx.Identifier{"prior"}, []string{"body", "model", "made", "site",
			"prior", "unlike"}, pgx.CopyFromRows(rows)); err != nil {
			return err
		}
		for _, y := range years {
			if _, err := tx.Exec(ctx, `INSERT INTO pool_year (body, model, made, year, studios, mean, sd) VALUES ($1, $2, $3, $4, $5, $6, $7)`,
				k.Body, k.Model, made, y.Year, y.Studios, y.Mean, y.SD); err != nil {
				return err
			}
		}
		for _, table := range []string{"prior", "pool_year", "pool"} {
			_, err := tx.Exec(ctx, `DELETE FROM `+table+
				` WHERE body = $1 AND model = $2 AND made < (SELECT min(made) FROM (SELECT made FROM pool WHERE body = $1 AND model = $2 ORDER BY made DESC LIMIT $3) t)`, k.Body, k.Model, keptPools)
			if err != nil {
				return err
			}
		}
		return nil
	})
}

// PoolBack goes back to the pool before the one that is told of a body, in every model. The next comes when
// studios send something new.
func (s *Store) PoolBack(ctx context.Context, body string) error {
	return s.write(ctx, func(tx pgx.Tx) error {
		tag, err := tx.Exec(ctx, `
			UPDATE pool p SET back = true WHERE p.body = $1 AND NOT p.back AND p.made = (SELECT max(made) FROM pool o WHERE o.body = p.body AND o.model = p.model AND NOT o.back)
			AND EXISTS (SELECT FROM pool o WHERE o.body = p.body AND o.model = p.model AND NOT o.back AND o.made < p.made)`, body)
		if err == nil && tag.RowsAffected() == 0 {
			return errors.New("there is no pool of it before this one")
		}
		return err
	})
}

// WithLease does something while this program alone holds the lease of that name; nothing where another does.
func (s *Store) WithLease(ctx context.Context, name string, do func(context.Context) error) error {
	soon, cancel := context.WithTimeout(ctx, time.Second)
	defer cancel()
	release, err := s.lease(soon, name)
	if err != nil {
		if soon.Err() != nil && ctx.Err() == nil {
			return nil
		}
		return err
	}
	defer release()
	held, end := context.WithTimeout(ctx, leaseLasts-5*time.Second)
	defer end()
	return do(held)
}
