package postgres

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"

	"lidwright/api/collectorpages"
	"lidwright/api/wire"
)

// insertFirings keeps firings; the revision of one rises only.
func insertFirings(ctx context.Context, tx pgx.Tx, site string, p *wire.Push) error {
	for _, f := range p.Firings {
		said, err := json.Marshal(f)
		if err != nil {
			return fmt.Errorf("%w: %w", collectorpages.ErrWrong, err)
		}
		_, err = tx.Exec(ctx, `
			INSERT INTO firing (site, life, firing, revision, kiln, began, over, summary) VALUES ($1, $2, $3, $4, $5, $6, $7, $8)
			ON CONFLICT (site, life, firing) DO UPDATE SET revision = excluded.revision, kiln = excluded.kiln, began = excluded.began, over = excluded.over, summary = excluded.summary
			WHERE firing.revision <= excluded.revision`, site, p.Life, f.ID, f.Revision, f.Kiln, f.BeganAt, f.OverAt, string(said))
		if err != nil {
			return err
		}
	}
	return nil
}

// missingFirings are those of which the studio believes that they are there, and which are not so.
func missingFirings(ctx context.Context, tx pgx.Tx, site string, p *wire.Push) ([]string, error) {
	if len(p.Has) == 0 {
		return nil, nil
	}
	var ids []string
	var revisions, sums []int64
	for _, h := range p.Has {
		ids, revisions, sums = append(ids, h.ID), append(revisions, h.Revision), append(sums, h.Curve)
	}
	rows, err := tx.Query(ctx, `
		SELECT u.id::text FROM unnest($3::uuid[], $4::bigint[], $5::bigint[]) AS u (id, revision, sum)
		LEFT JOIN firing f ON f.site = $1 AND f.life = $2 AND f.firing = u.id LEFT JOIN curve c ON c.site = $1 AND c.life = $2 AND c.firing = u.id
		WHERE f.revision IS NULL OR f.revision < u.revision OR u.sum <> 0 AND c.sum IS DISTINCT FROM u.sum`, site, p.Life, ids, revisions, sums)
	if err != nil {
		return nil, err
	}
	return pgx.CollectRows(rows, pgx.RowTo[string])
}

// PutCurve keeps the curve of a firing whose row came before. Errors: ErrLater, ErrNoSite where there is no
// such firing in a life that is taken now.
func (s *Store) PutCurve(ctx context.Context, site, firing string, revision, sum int64, data []byte) error {
	return s.write(ctx, func(tx pgx.Tx) error {
		rows, err := tx.Query(ctx, `
			SELECT f.life, f.revision FROM firing f JOIN site s ON s.site = f.site
			WHERE f.site = $1 AND f.firing = $2 AND s.forked IS NULL AND (f.life = s.next_life OR s.next_life IS NULL AND f.life = s.life)`, site, firing)
		if err != nil {
			return err
		}
		var life uuid.UUID
		var have int64
		switch _, err := pgx.CollectExactlyOneRow(rows, func(row pgx.CollectableRow) (int, error) {
			return 0,
				row.Scan(&life, &have)
		}); {
		case errors.Is(err, pgx.ErrNoRows):
			return fmt.Errorf("%w, or no such firing of it: %s", collectorpages.ErrNoSite, firing)
		case err != nil:
			return err
		case have > revision:
			return collectorpages.ErrLater
		}
		tag, err := tx.Exec(ctx, `
			INSERT INTO curve (site, life, firing, revision, sum, data) VALUES ($1, $2, $3, $4, $5, $6)
			ON CONFLICT (site, life, firing) DO UPDATE SET revision = excluded.revision, sum = excluded.sum, data = excluded.data WHERE curve.revision <= excluded.revision`,
			site, life.String(), firing, revision, sum, data)
		if err == nil && tag.RowsAffected() == 0 {
			return collectorpages.ErrLater
		}
		return err
	})
}

// Firings are a studio's firings, newest first, without their curves; all where limit is 0.
func (s *Store) Firings(ctx context.Context, site, life string,
	limit int) (all []wire.SentFiring, err error) {
	var most *int
	if limit > 0 {
		most = &limit
	}
	err = s.read(ctx, func(q *pgxpool.Pool) error {
		rows, err := q.Query(ctx, `SELECT summary::text FROM firing WHERE site = $1 AND life = $2 ORDER BY began DESC, firing LIMIT $3`, site, life, most)
		if err != nil {
			return err
		}
		all, err = pgx.CollectRows(rows, func(row pgx.CollectableRow) (f wire.SentFiring, err error) {
			var said string
			if err = row.Scan(&said); err == nil {
				err = json.Unmarshal([]byte(said), &f)
			}
			return f, err
		})
		return err
	})
	return all, err
}

// Curve gives the curve of a firing as it was sent; nil where there is none.
func (s *Store) Curve(ctx context.Context, site, life, firing string) (data []byte, err error) {
	err = s.read(ctx, func(q *pgxpool.Pool) error {
		return q.QueryRow(ctx, `SELECT data FROM curve WHERE site = $1 AND life = $2 AND firing = $3`, site,
			life, firing).Scan(&data)
	})
	if errors.Is(err, pgx.ErrNoRows) {
		return nil, nil
	}
	return data, err
}

// PutLive keeps what the kilns of a studio do now, in the place of what they did. Errors: Gap, ErrFork,
// ErrNoSite.
func (s *Store) PutLive(ctx context.Context, site string, l *wire.LivePush) error {
	return s.write(ctx, func(tx pgx.Tx) error {
		var have int64
		var forked bool
		err := tx.QueryRow(ctx, `
			UPDATE site SET seen = now() WHERE site = $1 RETURNING CASE WHEN life = $2 THEN have WHEN next_life = $2 THEN next_have ELSE 0 END, forked IS NOT NULL OR $2 = ANY (past)`,
			site, l.Life).Scan(&have, &forked)
		switch {
		case errors.Is(err, pgx.ErrNoRows):
			return collectorpages.ErrNoSite
		case err != nil:
			return err
		case forked:
			return collectorpages.ErrFork
		case l.After > have:
			return collectorpages.Gap{Have: have}
		}
		var kilns, said []string
		for _, k := range l.Kilns {
			one, err := json.Marshal(k)
			if err != nil {
				return fmt.Errorf("%w: %w", collectorpages.ErrWrong, err)
			}
			kilns, said = append(kilns, k.Kiln), append(said, string(one))
		}
		if _, err := tx.Exec(ctx, `DELETE FROM live WHERE site = $1 AND kiln <> ALL ($2)`,
			site, kilns); err != nil {
			return err
		}
		_, err = tx.Exec(ctx, `
			INSERT INTO live (site, kiln, at, said) SELECT $1, u.kiln, now(), u.said::jsonb FROM unnest($2::text[], $3::text[]) AS u (kiln, said) ORDER BY u.kiln
			ON CONFLICT (site, kiln) DO UPDATE SET at = excluded.at, said = excluded.said`, site, kilns, said)
		return err
	})
}

// Kilns are all kilns of all studios, as they were heard last.
func (s *Store) Kilns(ctx context.Context) (all []collectorpages.Live, err error) {
	err = s.read(ctx, func(q *pgxpool.Pool) error {
		rows, err := q.Query(ctx, `
			SELECT l.site, s.name, extract(epoch FROM now() - l.at)::float8, l.said::text FROM live l JOIN site s ON s.site = l.site WHERE s.revoked IS NULL ORDER BY s.name, l.kiln`)
		if err != nil {
			return err
		}
		all, err = pgx.CollectRows(rows, func(row pgx.CollectableRow) (l collectorpages.Live, err error) {
			var site uuid.UUID
			var silent float64
			var said string
			if err = row.Scan(&site, &l.Studio, &silent, &said); err == nil {
				err = json.Unmarshal([]byte(said), &l.LiveKiln)
			}
			l.Site, l.Silent = site.String(), time.Duration(max(silent, 0)*float64(time.Second))
			return l, err
		})
		return err
	})
	return all, err
}

// RunningSums tells by which the curves of the firings under way are known to be the same, by firing.
func (s *Store) RunningSums(ctx context.Context) (map[string]int64, error) {
	all := map[string]int64{}
	err := s.read(ctx, func(q *pgxpool.Pool) error {
		rows, err := q.Query(ctx, `
			SELECT c.firing, c.sum FROM live l JOIN site s ON s.site = l.site
			JOIN curve c ON c.site = l.site AND c.life = s.life AND c.firing = (l.said ->> 'firing')::uuid WHERE coalesce(l.said ->> 'firing', '') <> ''`)
		if err != nil {
			return err
		}
		_, err = pgx.CollectRows(rows, func(row pgx.CollectableRow) (int, error) {
			var id uuid.UUID
			var sum int64
			err := row.Scan(&id, &sum)
			all[id.String()] = sum
			return 0, err
		})
		return err
	})
	return all, err
}

// CurvesOf are the curves of some firings under way as they were sent, by firing.
func (s *Store) CurvesOf(ctx context.Context, firings []string) (map[string][]byte, error) {
	all := map[string][]byte{}
	err := s.read(ctx, func(q *pgxpool.Pool) error {
		rows, err := q.Query(ctx, `
			SELECT c.firing, c.data FROM site s JOIN curve c ON c.site = s.site AND c.life = s.life WHERE c.firing = ANY ($1::uuid[])`, firings)
		if err != nil {
			return err
		}
		_, err = pgx.CollectRows(rows, func(row pgx.CollectableRow) (int, error) {
			var id uuid.UUID
			var data []byte
			err := row.Scan(&id, &data)
			all[id.String()] = data
			return 0, err
		})
		return err
	})
	return all, err
}
