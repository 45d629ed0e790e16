package postgres

import (
	"context"
	"crypto/rand"
	"crypto/sha256"
	"encoding/base64"
	"errors"
	"fmt"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"

	"lidwright/api/collectorpages"
)

func hashOf(secret string) []byte {
	sum := sha256.Sum256([]byte(secret))
	return sum[:]
}

// goneMark is by which a key of a forgotten studio is known.
func goneMark(site string, token []byte) []byte {
	sum := sha256.Sum256(append([]byte(site), token...))
	return sum[:]
}

// Invite keeps a code for a day. site is "" for a studio that is not there yet.
func (s *Store) Invite(ctx context.Context, code, name, site string) error {
	var of *string
	if site != "" {
		of = &site
	}
	return s.write(ctx, func(tx pgx.Tx) error {
		if _, err := tx.Exec(ctx, `DELETE FROM invite WHERE until < now()`); err != nil {
			return err
		}
		_, err := tx.Exec(ctx, `INSERT INTO invite (code, name, site, until) VALUES ($1, $2, $3, now() + interval '24 hours')`, hashOf(code), name, of)
		return err
	})
}

// Join takes a code and gives the studio its key. Of a studio that is there already, only a code that was
// made for it is good. Errors: ErrNoCode, ErrThere.
func (s *Store) Join(ctx context.Context, code, site, life, version string) (token, name string, err error) {
	random := make([]byte, 32)
	rand.Read(random)
	token = base64.RawURLEncoding.EncodeToString(random)
	err = s.write(ctx, func(tx pgx.Tx) error {
		var of *uuid.UUID
		err := tx.QueryRow(ctx, `DELETE FROM invite WHERE code = $1 AND until >= now() RETURNING name, site`,
			hashOf(code)).Scan(&name, &of)
		if errors.Is(err, pgx.ErrNoRows) {
			return collectorpages.ErrNoCode
		}
		if err != nil {
			return err
		}
		if of != nil && of.String() != site {
			return collectorpages.ErrNoCode
		}
		again := ` ON CONFLICT (site) DO NOTHING`
		if of != nil {
			again = ` ON CONFLICT (site) DO UPDATE SET token = excluded.token, forked = NULL, revoked = NULL, open_until = NULL`
		}
		tag, err := tx.Exec(ctx, `INSERT INTO site (site, name, token, life, have, version) VALUES ($1, $2, $3, $4, 0, $5)`+again, site, name, hashOf(token), life, version)
		if err == nil && tag.RowsAffected() == 0 {
			return collectorpages.ErrThere
		}
		return err
	})
	if err != nil {
		return "", "", err
	}
	return token, name, nil
}

// Comes finds out whether a key is that of the studio. Errors: ErrNoKey, ErrElsewhere, ErrForgotten.
func (s *Store) Comes(ctx context.Context, site, token string) error {
	hash := hashOf(token)
	var whose uuid.UUID
	var revoked *time.Time
	err := s.read(ctx, func(q *pgxpool.Pool) error {
		return q.QueryRow(ctx, `SELECT site, revoked FROM site WHERE token = $1`, hash).Scan(&whose, &revoked)
	})
	switch {
	case err == nil && whose.String() != site:
		return collectorpages.ErrElsewhere
	case err == nil && revoked != nil:
		return collectorpages.ErrNoKey
	case err == nil:
		return nil
	case !errors.Is(err, pgx.ErrNoRows):
		return err
	}
	var gone, open bool
	err = s.read(ctx, func(q *pgxpool.Pool) error {
		return q.QueryRow(ctx, `SELECT EXISTS (SELECT 1 FROM gone WHERE mark = $1), EXISTS (SELECT 1 FROM site WHERE site = $2 AND token = '' AND open_until > now())`,
			goneMark(site, hash), site).Scan(&gone, &open)
	})
	switch {
	case err != nil:
		return err
	case gone:
		return collectorpages.ErrForgotten
	case !open:
		return collectorpages.ErrNoKey
	}
	return s.write(ctx, func(tx pgx.Tx) error {
		tag, err := tx.Exec(ctx, `UPDATE site SET token = $2, open_until = NULL WHERE site = $1 AND token = '' AND open_until > now()`, site, hash)
		if err == nil && tag.RowsAffected() == 0 {
			return collectorpages.ErrNoKey
		}
		return err
	})
}

// Sites are all studios, by name.
func (s *Store) Sites(ctx context.Context) (all []collectorpages.Site, err error) {
	err = s.read(ctx, func(q *pgxpool.Pool) error {
		rows, err := q.Query(ctx, `SELECT site, name, life, have, last, seen, forked, revoked, token = '', next_life IS NOT NULL, version FROM site ORDER BY name, site`)
		if err != nil {
			return err
		}
		all, err = pgx.CollectRows(rows, func(row pgx.CollectableRow) (one collectorpages.Site, err error) {
			var id, life uuid.UUID
			var seen, forked, revoked *time.Time
			err = row.Scan(&id, &one.Name, &life, &one.Have, &one.Last, &seen, &forked, &revoked, &one.Open,
				&one.Anew, &one.Version)
			one.ID, one.Life, one.Seen, one.Forked, one.Revoked = id.String(), life.String(), orZero(seen),
				orZero(forked), orZero(revoked)
			return one, err
		})
		return err
	})
	return all, err
}

func orZero(t *time.Time) time.Time {
	if t == nil {
		return time.Time{}
	}
	return t.UTC()
}

// Site finds one by its id.
func (s *Store) Site(ctx context.Context, id string) (collectorpages.Site, error) {
	all, err := s.Sites(ctx)
	if err != nil {
		return collectorpages.Site{}, err
	}
	for _, one := range all {
		if one.ID == id {
			return one, nil
		}
	}
	return collectorpages.Site{}, fmt.Errorf("%w: %s", collectorpages.ErrNoSite, id)
}

// Revoke ends the key of a studio. What came of it stays.
func (s *Store) Revoke(ctx context.Context, site string) error {
	return s.one(ctx, `UPDATE site SET revoked = now() WHERE site = $1`, site)
}

// Readmit lets a studio in again: its mark of two machines and of a revoked key go. One that is not there,
// because the database was lost, is made, and for a day takes the first key that comes as its own.
func (s *Store) Readmit(ctx context.Context, site, name string) error {
	return s.write(ctx, func(tx pgx.Tx) error {
		_, err := tx.Exec(ctx, `
			INSERT INTO site (site, name, token, open_until, life, have) VALUES ($1, $2, '', now() + interval '24 hours', $3, 0)
			ON CONFLICT (site) DO UPDATE SET forked = NULL, revoked = NULL, open_until = CASE WHEN site.token = '' THEN excluded.open_until END`, site, name, uuid.Nil.String())
		return err
	})
}

func (s *Store) one(ctx context.Context, statement, site string, more ...any) error {
	return s.write(ctx, func(tx pgx.Tx) error {
		tag, err := tx.Exec(ctx, statement, append([]any{site}, more...)...)
		if err == nil && tag.RowsAffected() == 0 {
			return fmt.Errorf("%w: %s", collectorpages.ErrNoSite, site)
		}
		return err
	})
}

// tablesOfSite hold what belongs to one studio.
var tablesOfSite = []string{"fact", "boot", "firing", "curve", "live", "summary", "prior"}

// Forget deletes everything of a studio, a transaction a table, so that none holds up the others. Its key is
// known as forgotten from the beginning on, so that nothing comes meanwhile.
func (s *Store) Forget(ctx context.Context, site string) error {
	err := s.write(ctx, func(tx pgx.Tx) error {
		var token []byte
		err := tx.QueryRow(ctx, `DELETE FROM site WHERE site = $1 RETURNING token`, site).Scan(&token)
		if errors.Is(err, pgx.ErrNoRows) {
			return nil // an attempt before this one; the tables are looked through all the same
		}
		if err != nil {
			return err
		}
		if _, err := tx.Exec(ctx, `DELETE FROM invite WHERE site = $1`, site); err != nil {
			return err
		}
		_, err = tx.Exec(ctx, `INSERT INTO gone (mark, at) VALUES ($1, now()) ON CONFLICT DO NOTHING`,
			goneMark(site, token))
		return err
	})
	for _, table := range tablesOfSite {
		if err != nil {
			break
		}
		err = s.write(ctx, func(tx pgx.Tx) error {
			_, err := tx.Exec(ctx, `DELETE FROM `+table+` WHERE site = $1`, site)
			return err
		})
	}
	if err != nil {
		return fmt.Errorf("forget studio %s: %w", site, err)
	}
	return nil
}

// Session gives the mark under which an owner's browser was let in; "" if it was not, or no longer is.
func (s *Store) Session(ctx context.Context, cookie string) (mark string, err error) {
	err = s.read(ctx, func(q *pgxpool.Pool) error {
		return q.QueryRow(ctx, `SELECT mark FROM session WHERE cookie = $1 AND until > now()`,
			hashOf(cookie)).Scan(&mark)
	})
	if errors.Is(err, pgx.ErrNoRows) {
		return "", nil
	}
	return mark, err
}

// KeepSession lets an owner's browser in for a while.
func (s *Store) KeepSession(ctx context.Context, cookie, mark string, lasts time.Duration) error {
	return s.write(ctx, func(tx pgx.Tx) error {
		if _, err := tx.Exec(ctx, `DELETE FROM session WHERE until < now()`); err != nil {
			return err
		}
		_, err := tx.Exec(ctx, `INSERT INTO session (cookie, mark, until) VALUES ($1, $2, now() + $3) ON CONFLICT (cookie) DO UPDATE SET until = excluded.until`, hashOf(cookie), mark, lasts)
		return err
	})
}

// EndSession forgets a browser.
func (s *Store) EndSession(ctx context.Context, cookie string) error {
	return s.write(ctx, func(tx pgx.Tx) error {
		_, err := tx.Exec(ctx, `DELETE FROM session WHERE cookie = $1`, hashOf(cookie))
		return err
	})
}

// Rows counts what is there of a studio, by table; tables without any are left out.
func (s *Store) Rows(ctx context.Context, site string) (map[string]int, error) {
	rows := map[string]int{}
	for _, table := range append([]string{"site"}, tablesOfSite...) {
		var n int
		err := s.read(ctx, func(q *pgxpool.Pool) error {
			return q.QueryRow(ctx, `SELECT count(*) FROM `+table+` WHERE site = $1`, site).Scan(&n)
		})
		if err != nil {
			return nil, err
		}
		if n > 0 {
			rows[table] = n
		}
	}
	return rows, nil
}
