// Package postgres keeps the records of studios in PostgreSQL, as they arrive. In flow pushes, curves and
// what kilns do, out flow answers about them. Each push has exactly one effect, whoever dies in the middle of
// it.
//
// It is the only package that speaks to PostgreSQL, and it knows nothing of HTTP.
package postgres

import (
	"context"
	"embed"
	"errors"
	"fmt"
	"io/fs"
	"net"
	"slices"
	"strings"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"
	"github.com/jackc/pgx/v5/pgxpool"

	"lidwright/api/collectorpages"
)

// ErrNewer means that the tables are those of a program that this one cannot work beside.
var ErrNewer = errors.New("the database is that of a newer program")

//go:embed schema/*.sql
var schema embed.FS

// worksFrom says for each schema file how many files a program must know at least to work on its tables:
// changes are additive for one release, so that two neighbouring versions run side by side.
var worksFrom = []int{1, 1, 1, 1}

// Store is the collector's database. Several may be open on the same one.
type Store struct {
	pool     *pgxpool.Pool
	patience time.Duration // with one piece of work, all its attempts together
	holder   string        // of leases
}

// Open connects and brings the tables up to date. The URL may name several hosts, with
// target_session_attrs=read-write. The error is ErrNewer where the tables are newer than works.
func Open(ctx context.Context, url string, connections int32) (*Store, error) {
	cfg, err := pgxpool.ParseConfig(url)
	if err != nil {
		return nil, fmt.Errorf("database.url: %w", errors.Unwrap(err))
	}
	if connections > 0 {
		cfg.MaxConns = connections
	}
	if cfg.ConnConfig.ConnectTimeout == 0 {
		cfg.ConnConfig.ConnectTimeout = 3 * time.Second
	}
	if cfg.ConnConfig.RuntimeParams["application_name"] == "" {
		cfg.ConnConfig.RuntimeParams["application_name"] = "lidwright-collect"
	}
	cfg.ConnConfig.RuntimeParams["timezone"] = "UTC"
	cfg.MaxConnLifetime, cfg.HealthCheckPeriod = 15*time.Minute, 5*time.Second
	pool, err := pgxpool.NewWithConfig(ctx, cfg)
	if err != nil {
		return nil, fmt.Errorf("open the database: %w", err)
	}
	s := &Store{pool: pool, patience: 10 * time.Second, holder: uuid.Must(uuid.NewV7()).String()}
	if err := s.migrate(ctx); err != nil {
		pool.Close()
		return nil, fmt.Errorf("bring the database up to date: %w", err)
	}
	return s, nil
}

// Close waits for what is under way.
func (s *Store) Close() { s.pool.Close() }

// Ready reports whether the database answers and takes writes.
func (s *Store) Ready(ctx context.Context) error {
	ctx, cancel := context.WithTimeout(ctx, 2*time.Second)
	defer cancel()
	var standby bool
	if err := s.pool.QueryRow(ctx, `SELECT pg_is_in_recovery()`).Scan(&standby); err != nil {
		return fmt.Errorf("the database does not answer: %w", err)
	}
	if standby {
		return errors.New("the database is a standby and takes nothing; add target_session_attrs=read-write to database.url")
	}
	return nil
}

// write runs f in one transaction and commits it. What the database cannot take now is tried again from the
// beginning until patience is over, and is then ErrBusy. f must have one effect however often it runs.
func (s *Store) write(ctx context.Context, f func(tx pgx.Tx) error) error {
	ctx, cancel := context.WithTimeout(ctx, s.patience)
	defer cancel()
	for pause := 10 * time.Millisecond; ; pause = min(2*pause, 500*time.Millisecond) {
		err := pgx.BeginTxFunc(ctx, s.pool, pgx.TxOptions{IsoLevel: pgx.ReadCommitted}, f)
		if err == nil || !passing(err) {
			return err
		}
		select {
		case <-ctx.Done():
			return fmt.Errorf("%w: %w", collectorpages.ErrBusy, err)
		case <-time.After(pause):
		}
	}
}

// read runs f on one connection, and tries again as write does.
func (s *Store) read(ctx context.Context, f func(q *pgxpool.Pool) error) error {
	ctx, cancel := context.WithTimeout(ctx, s.patience)
	defer cancel()
	for pause := 10 * time.Millisecond; ; pause = min(2*pause, 500*time.Millisecond) {
		err := f(s.pool)
		if err == nil || !passing(err) {
			return err
		}
		select {
		case <-ctx.Done():
			return fmt.Errorf("%w: %w", collectorpages.ErrBusy, err)
		case <-time.After(pause):
		}
	}
}

// passing reports whether an error may be over soon: the connection died, the server stops or starts, its
// disk is full, two transactions were in each other's way, or it is a standby by now. Codes are those of the
// manual's appendix A.
func passing(err error) bool {
	var pg *pgconn.PgError
	if errors.As(err, &pg) {
		switch pg.Code {
		case "40001", "40P01", "25006", "57014", "58030":
			return true
		}
		return strings.HasPrefix(pg.Code, "57P") || strings.HasPrefix(pg.Code, "08") ||
			strings.HasPrefix(pg.Code, "53")
	}
	var connect *pgconn.ConnectError
	var op net.Error
	return errors.As(err, &connect) || errors.As(err, &op) || pgconn.SafeToRetry(err) ||
		errors.Is(err, context.DeadlineExceeded) ||
		strings.Contains(err.Error(), "unexpected EOF") || strings.Contains(err.Error(), "conn closed") ||
		strings.Contains(err.Error(), "closed pool")
}

// migrate applies the schema files that the database has not had, one transaction each, while it holds a
// lease.
func (s *Store) migrate(ctx context.Context) error {
	names, err := fs.Glob(schema, "schema/*.sql")
	if err != nil {
		return err
	}
	slices.Sort(names)
	first := []string{
		`CREATE TABLE IF NOT EXISTS job (name text PRIMARY KEY, holder uuid, until timestamptz NOT NULL)`,
		`CREATE TABLE IF NOT EXISTS schema (number int PRIMARY KEY, works_from int NOT NULL, at timestamptz NOT NULL)`,
	}
	for _, make := range first {
		if _, err := s.pool.Exec(ctx, make); err != nil && !madeMeanwhile(err) {
			return err
		}
	}
	release, err := s.lease(ctx, "schema")
	if err != nil {
		return err
	}
	defer release()
	var have, from int
	if err := s.pool.QueryRow(ctx, `SELECT coalesce(max(number), 0), coalesce(max(works_from), 0) FROM schema`).Scan(&have, &from); err != nil {
		return err
	}
	if from > len(names) {
		return fmt.Errorf("%w: its tables need a program that knows %d schema files, this one knows %d; install the newer one", ErrNewer, from, len(names))
	}
	for n := have; n < len(names); n++ {
		text, err := schema.ReadFile(names[n])
		if err != nil {
			return err
		}
		err = pgx.BeginFunc(ctx, s.pool, func(tx pgx.Tx) error {
			if _, err := tx.Exec(ctx, string(text)); err != nil {
				return err
			}
			_, err := tx.Exec(ctx, `INSERT INTO schema (number, works_from, at) VALUES ($1, $2, now())`, n+1,
				worksFrom[n])
			return err
		})
		if err != nil {
			return fmt.Errorf("%s: %w", names[n], err)
		}
	}
	return nil
}

// madeMeanwhile reports whether another program made the same table at the same moment.
func madeMeanwhile(err error) bool {
	var pg *pgconn.PgError
	return errors.As(err, &pg) && (pg.Code == "23505" || pg.Code == "42P07" || pg.Code == "42710")
}

const leaseLasts = time.Minute

// lease waits until nobody else holds it. It ends by itself where its holder dies.
func (s *Store) lease(ctx context.Context, name string) (release func(), err error) {
	for {
		tag, err := s.pool.Exec(ctx, `
			INSERT INTO job (name, holder, until) VALUES ($1, $2, now() + $3)
			ON CONFLICT (name) DO UPDATE SET holder = excluded.holder, until = excluded.until WHERE job.until < now() OR job.holder IS NULL`, name, s.holder, leaseLasts)
		if err != nil {
			return nil, err
		}
		if tag.RowsAffected() == 1 {
			return func() {
				s.pool.Exec(context.WithoutCancel(ctx),
					`UPDATE job SET holder = NULL WHERE name = $1 AND holder = $2`, name, s.holder)
			}, nil
		}
		select {
		case <-ctx.Done():
			return nil, fmt.Errorf("another program works on %s: %w", name, ctx.Err())
		case <-time.After(50 * time.Millisecond):
		}
	}
}
