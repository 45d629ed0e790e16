package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"time"
)

// SiteID gives the name of this record; where it has none yet, fresh becomes it.
func (s SiteStore) SiteID(ctx context.Context, fresh string) (id string, err error) {
	err = s.write(ctx, func(tx *sql.Tx) error {
		if _, err := tx.ExecContext(ctx, `INSERT INTO site (one, id, life) VALUES (1, ?, ?) ON CONFLICT DO NOTHING`, fresh, s.newLife()); err != nil {
			return err
		}
		return tx.QueryRowContext(ctx, `SELECT id FROM site`).Scan(&id)
	})
	if err != nil {
		return "", fmt.Errorf("name the record: %w", err)
	}
	return id, nil
}

// Site gives the name of this record and its life: another one after it went back to an earlier
// moment, because the numbers of its changes then come again for other facts. Both are empty before
// SiteID.
func (s SiteStore) Site(ctx context.Context) (id, life string, err error) {
	err = s.read.QueryRowContext(ctx, `SELECT id, life FROM site`).Scan(&id, &life)
	if err != nil && !errors.Is(err, sql.ErrNoRows) {
		return "", "", fmt.Errorf("read the name of the record: %w", busy(err))
	}
	return id, life, nil
}

// liveAnew begins another life, or the first of a record of before there were any.
func (s SiteStore) liveAnew(ctx context.Context) error {
	return s.write(ctx, func(tx *sql.Tx) error {
		_, err := tx.ExecContext(ctx, `UPDATE site SET life = ?`, s.newLife())
		return err
	})
}

const (
	mostSessions = 500 // of one code; beyond them the one that ends first is dropped
	longestEnd   = 181 // days that no session ends after the newest
)

// Session gives the mark that a session was opened under and when it ends; no mark if there is
// none of that key.
func (s SessionStore) Session(ctx context.Context, key []byte) (mark string, until time.Time, err error) {
	var ms int64
	err = s.read.QueryRowContext(ctx, `SELECT mark, until_ms FROM session WHERE key = ?`, key).Scan(&mark,
		&ms)
	if errors.Is(err, sql.ErrNoRows) {
		return "", time.Time{}, nil
	}
	if err != nil {
		return "", time.Time{}, fmt.Errorf("read a session: %w", busy(err))
	}
	return mark, fromMilli(ms), nil
}

// KeepSession keeps a session under the hash of its cookie, or when one that is there is to end.
func (s SessionStore) KeepSession(ctx context.Context, key []byte, mark string, until time.Time) error {
	return s.write(ctx, func(tx *sql.Tx) error {
		if _, err := tx.ExecContext(ctx, `INSERT INTO session (key, mark, until_ms) VALUES (?, ?, ?)
			ON CONFLICT (key) DO UPDATE SET mark = excluded.mark, until_ms = excluded.until_ms`, key, mark, until.UnixMilli()); err != nil {
			return fmt.Errorf("keep a session: %w", err)
		}
		_, err := tx.ExecContext(ctx, `DELETE FROM session WHERE until_ms < ?
			OR key IN (SELECT key FROM session WHERE mark = ? ORDER BY until_ms DESC LIMIT -1 OFFSET ?)`,
			until.AddDate(0, 0, -longestEnd).UnixMilli(), mark, mostSessions)
		return err
	})
}

// EndSession forgets a session; one that is not there is no error.
func (s SessionStore) EndSession(ctx context.Context, key []byte) error {
	return s.write(ctx, func(tx *sql.Tx) error {
		_, err := tx.ExecContext(ctx, `DELETE FROM session WHERE key = ?`, key)
		return err
	})
}
