package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
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
