package store

import (
	"context"
	"database/sql"
	"fmt"
)

// SiteID gives the name of this record; where it has none yet, fresh becomes it.
func (s *Store) SiteID(ctx context.Context, fresh string) (id string, err error) {
	err = s.write(ctx, func(tx *sql.Tx) error {
		if _, err := tx.ExecContext(ctx, `INSERT INTO site (one, id) VALUES (1, ?) ON CONFLICT DO NOTHING`, fresh); err != nil {
			return err
		}
		return tx.QueryRowContext(ctx, `SELECT id FROM site`).Scan(&id)
	})
	if err != nil {
		return "", fmt.Errorf("name the record: %w", err)
	}
	return id, nil
}
