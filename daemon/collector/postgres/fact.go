package postgres

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"
	"github.com/jackc/pgx/v5/pgxpool"

	"lidwright/api/collectorpages"
	"lidwright/api/wire"
)

// Push keeps what a studio sends: all of it or nothing, and once, however often it comes. Errors: Gap,
// ErrFork, ErrNoSite, ErrWrong, ErrBusy.
func (s *Store) Push(ctx context.Context, site string, p *wire.Push) (taken collectorpages.Taken, err error) {
	err = s.write(ctx, func(tx pgx.Tx) (err error) {
		taken, err = push(ctx, tx, site, p)
		return err
	})
	if errors.Is(err, collectorpages.ErrFork) {
		if err := s.one(ctx, `UPDATE site SET forked = coalesce(forked, now()) WHERE site = $1`,
			site); err != nil {
			return collectorpages.Taken{}, err
		}
	}
	var pg *pgconn.PgError
	if errors.As(err, &pg) && strings.HasPrefix(pg.Code, "22") { // data that no type takes
		err = fmt.Errorf("%w: %s", collectorpages.ErrWrong, pg.Message)
	}
	if err != nil {
		return collectorpages.Taken{}, err
	}
	return taken, nil
}

func push(ctx context.Context, tx pgx.Tx, site string, p *wire.Push) (taken collectorpages.Taken, err error) {
	last := p.After
	if n := len(p.Facts); n > 0 {
		last = p.Facts[n-1].Seq
	}
	// This row is written for a repeat too, so that every answer waits for a synchronous standby: one made
	// from reading alone could acknowledge what a cut-off primary alone holds.
	err = tx.QueryRow(ctx, `
		UPDATE site SET have = greatest(have, $3), last = $5, seen = now(), form = $6, version = $7
		WHERE site = $1 AND life = $2 AND have >= $4 AND forked IS NULL RETURNING have`, site, p.Life, last, p.After, p.Last, p.Form, p.Version).Scan(&taken.Have)
	if errors.Is(err, pgx.ErrNoRows) {
		taken.Have, err = otherLife(ctx, tx, site, p, last)
	}
	if err != nil {
		return taken, err
	}
	if taken.Fresh, err = insertFacts(ctx, tx, site, p); err != nil {
		return taken, err
	}
	if err := insertBoots(ctx, tx, site, p); err != nil {
		return taken, err
	}
	for _, f := range p.Facts {
		if err := follow(ctx, tx, site, p.Life, f); err != nil {
			return taken, err
		}
	}
	if err := insertFirings(ctx, tx, site, p); err != nil {
		return taken, err
	}
	if taken.Want, err = missingFirings(ctx, tx, site, p); err != nil {
		return taken, err
	}
	if p.Left == 0 && taken.Have >= p.Last && len(taken.Want) == 0 {
		err = caughtUp(ctx, tx, site, p.Life)
	}
	return taken, err
}

// otherLife decides on a push that is not of the life that is shown, or leaves a gap.
func otherLife(ctx context.Context, tx pgx.Tx, site string, p *wire.Push,
	last int64) (have int64, err error) {
	var life uuid.UUID
	var next *uuid.UUID
	var nextHave int64
	var past []uuid.UUID
	var forked *time.Time
	err = tx.QueryRow(ctx, `SELECT life, have, next_life, next_have, past, forked FROM site WHERE site = $1 FOR UPDATE`, site).Scan(&life, &have, &next, &nextHave, &past, &forked)
	if errors.Is(err, pgx.ErrNoRows) {
		return 0, collectorpages.ErrNoSite
	}
	if err != nil {
		return 0, err
	}
	said, err := uuid.Parse(p.Life)
	if err != nil {
		return 0, fmt.Errorf("%w: life %q", collectorpages.ErrWrong, p.Life)
	}
	switch {
	case forked != nil, slices.Contains(past, said):
		// a machine that was put back goes on beside the one that took its place
		return 0, collectorpages.ErrFork
	case said == life:
		return 0, collectorpages.Gap{Have: have}
	case have == 0 && next == nil: // nothing came yet
		if p.After > 0 {
			return 0, collectorpages.Gap{Have: 0}
		}
		_, err := tx.Exec(ctx, `UPDATE site SET life = $2, have = $3, last = $4, seen = now(), form = $5, version = $6 WHERE site = $1`, site, p.Life, last, p.Last, p.Form, p.Version)
		return last, err
	case next == nil || *next != said: // the record went back
		if p.After > 0 {
			return 0, collectorpages.Gap{Have: 0}
		}
		if next != nil {
			if err := drop(ctx, tx, site, next.String()); err != nil {
				return 0, err
			}
		}
		nextHave = 0
	case p.After > nextHave:
		return 0, collectorpages.Gap{Have: nextHave}
	}
	have = max(nextHave, last)
	_, err = tx.Exec(ctx, `
		UPDATE site SET past = CASE WHEN next_life <> $2 THEN array_append(past, next_life) ELSE past END, next_life = $2, next_have = $3, last = $4, seen = now(), form = $5, version = $6
		WHERE site = $1`, site, p.Life, have, p.Last, p.Form, p.Version)
	return have, err
}

// caughtUp puts a new life in the place of the one that is shown, which is dropped.
func caughtUp(ctx context.Context, tx pgx.Tx, site, life string) error {
	var old uuid.UUID
	err := tx.QueryRow(ctx, `SELECT life FROM site WHERE site = $1 AND next_life = $2`, site, life).Scan(&old)
	if errors.Is(err, pgx.ErrNoRows) {
		return nil
	}
	if err != nil {
		return err
	}
	if _, err := tx.Exec(ctx, `UPDATE site SET past = array_append(past, life), life = next_life, have = next_have, next_life = NULL, next_have = 0 WHERE site = $1`, site); err != nil {
		return err
	}
	return drop(ctx, tx, site, old.String())
}

// drop deletes what is there of one life.
func drop(ctx context.Context, tx pgx.Tx, site, life string) error {
	for _, table := range tablesOfSite {
		if slices.Contains([]string{"live", "summary", "prior"}, table) { // of no life
			continue
		}
		if _, err := tx.Exec(ctx, `DELETE FROM `+table+` WHERE site = $1 AND life = $2`,
			site, life); err != nil {
			return err
		}
	}
	return nil
}

// columns of facts for unnest.
func columnsOf(facts []wire.PushFact) (seqs []int64, kinds, ops, ids []string, ats []time.Time,
	trusted []bool, boots, bodies []string, found []*string, err error) {
	for _, f := range facts {
		seqs, kinds, ops, ids = append(seqs, f.Seq), append(kinds, f.Kind),
			append(ops, f.Op), append(ids, f.ID)
		ats, trusted, boots, bodies = append(ats, f.At.UTC()), append(trusted, f.ClockTrusted),
			append(boots, f.Boot), append(bodies, string(f.Body))
		var one *string
		if f.Found != nil {
			text, err := json.Marshal(f.Found)
			if err != nil {
				return nil, nil, nil, nil, nil, nil, nil, nil, nil,
					fmt.Errorf("%w: %w", collectorpages.ErrWrong, err)
			}
			said := string(text)
			one = &said
		}
		found = append(found, one)
	}
	return seqs, kinds, ops, ids, ats, trusted, boots, bodies, found, nil
}

// insertFacts keeps those that are not there. Where some are, they must be the same: kind, op, id, and what
// was said but for marks of makers, which may have been blanked meanwhile.
func insertFacts(ctx context.Context, tx pgx.Tx, site string, p *wire.Push) (fresh int, err error) {
	if len(p.Facts) == 0 {
		return 0, nil
	}
	seqs, kinds, ops, ids, ats, trusted, boots, bodies, found, err := columnsOf(p.Facts)
	if err != nil {
		return 0, err
	}
	tag, err := tx.Exec(ctx, `
		INSERT INTO fact (site, life, seq, kind, op, id, at, trusted, boot, body, found)
		SELECT $1, $2, u.seq, u.kind, u.op, u.id, u.at, u.trusted, u.boot, u.body::jsonb, u.found::jsonb
		FROM unnest($3::bigint[], $4::text[], $5::text[], $6::text[], $7::timestamptz[], $8::bool[], $9::text[], $10::text[], $11::text[]) AS u (seq, kind, op, id, at, trusted, boot, body, found)
		ON CONFLICT DO NOTHING`, site, p.Life, seqs, kinds, ops, ids, ats, trusted, boots, bodies, found)
	if err != nil {
		return 0, err
	}
	fresh = int(tag.RowsAffected())
	if fresh == len(p.Facts) {
		return fresh, nil
	}
	var other int
	err = tx.QueryRow(ctx, `
		SELECT count(*) FROM fact f JOIN unnest($3::bigint[], $4::text[], $5::text[], $6::text[], $7::text[]) AS u (seq, kind, op, id, body) ON f.seq = u.seq
		WHERE f.site = $1 AND f.life = $2 AND (f.kind <> u.kind OR f.op <> u.op OR f.id <> u.id
			OR CASE WHEN jsonb_typeof(f.body) = 'object' AND jsonb_typeof(u.body::jsonb) = 'object' THEN f.body - $8::text[] <> u.body::jsonb - $8::text[] ELSE f.body <> u.body::jsonb END)`,
		site, p.Life, seqs, kinds, ops, ids, bodies, wire.MakerMembers).Scan(&other)
	if err == nil && other > 0 {
		err = collectorpages.ErrFork
	}
	return fresh, err
}

func insertBoots(ctx context.Context, tx pgx.Tx, site string, p *wire.Push) error {
	if len(p.Boots) == 0 {
		return nil
	}
	var ids []string
	var offsets []int64
	for _, b := range p.Boots {
		ids, offsets = append(ids, b.ID), append(offsets, b.OffsetMS)
	}
	_, err := tx.Exec(ctx, `
		INSERT INTO boot (site, life, boot, offset_ms) SELECT $1, $2, u.boot, u.offset_ms FROM unnest($3::text[], $4::bigint[]) AS u (boot, offset_ms) ON CONFLICT DO NOTHING`,
		site, p.Life, ids, offsets)
	return err
}

// follow does what a fact asks of those before it: times of a clock that was put right move, a forgotten
// maker's mark is blanked. Done again it changes nothing.
func follow(ctx context.Context, tx pgx.Tx, site, life string, f wire.PushFact) error {
	switch {
	case f.Kind == "boot" && f.Op == "correct":
		var said struct {
			ByMS int64 `json:"by_ms"`
		}
		if err := json.Unmarshal(f.Body, &said); err != nil {
			return nil
		}
		_, err := tx.Exec(ctx, `UPDATE fact SET at = at + make_interval(secs => $5::float8 / 1000), trusted = true WHERE site = $1 AND life = $2 AND boot = $3 AND NOT trusted AND seq < $4`,
			site, life, f.ID, f.Seq, said.ByMS)
		return err
	case f.Op == "forget":
		var said struct {
			Blanked []struct {
				Seq    int64  `json:"seq"`
				Member string `json:"member"`
			} `json:"blanked"`
		}
		if err := json.Unmarshal(f.Body, &said); err != nil {
			return nil
		}
		for _, b := range said.Blanked {
			if !slices.Contains(wire.MakerMembers, b.Member) {
				continue
			}
			_, err := tx.Exec(ctx, `UPDATE fact SET body = jsonb_set(body, ARRAY[$4], '""') WHERE site = $1 AND life = $2 AND seq = $3 AND body ? $4`, site, life, b.Seq, b.Member)
			if err != nil {
				return err
			}
		}
	}
	return nil
}

// Facts hands over the facts of a studio that come after one, in order, at most limit.
func (s *Store) Facts(ctx context.Context, site, life string, after int64,
	limit int) (facts []wire.PushFact, err error) {
	err = s.read(ctx, func(q *pgxpool.Pool) error {
		rows, err := q.Query(ctx, `SELECT seq, kind, op, id, at, trusted, boot, body::text, found::text FROM fact WHERE site = $1 AND life = $2 AND seq > $3 ORDER BY seq LIMIT $4`, site, life, after, limit)
		if err != nil {
			return err
		}
		facts, err = pgx.CollectRows(rows, func(row pgx.CollectableRow) (f wire.PushFact, err error) {
			var body string
			var found *string
			err = row.Scan(&f.Seq, &f.Kind, &f.Op, &f.ID, &f.At, &f.ClockTrusted, &f.Boot, &body, &found)
			f.At, f.Body = f.At.UTC(), json.RawMessage(body)
			if err == nil && found != nil {
				err = json.Unmarshal([]byte(*found), &f.Found)
			}
			return f, err
		})
		return err
	})
	return facts, err
}

// Boots gives the runnings of a studio's machine whose clock came to be trusted.
func (s *Store) Boots(ctx context.Context, site, life string) (boots []wire.PushBoot, err error) {
	err = s.read(ctx, func(q *pgxpool.Pool) error {
		rows, err := q.Query(ctx, `SELECT boot, offset_ms FROM boot WHERE site = $1 AND life = $2 ORDER BY offset_ms, boot`, site, life)
		if err != nil {
			return err
		}
		boots, err = pgx.CollectRows(rows, func(row pgx.CollectableRow) (b wire.PushBoot, err error) {
			err = row.Scan(&b.ID, &b.OffsetMS)
			return b, err
		})
		return err
	})
	return boots, err
}
