package store

import (
	"context"
	"database/sql"
	"fmt"
	"path/filepath"
	"time"
)

// CopyDue tells since when, by the clock on the wall, something lies in the store that is in no
// copy: since the newest copy at the earliest. The zero time: the newest copy has everything.
func (s *Store) CopyDue(ctx context.Context) (time.Time, error) {
	state, err := stateOfStore(ctx, s.read)
	if err != nil {
		return time.Time{}, fmt.Errorf("ask what changed since the last copy: %w", err)
	}
	if state == s.stateOfCopy(ctx) {
		return time.Time{}, nil
	}
	copies, err := copiesOf(s.folder)
	if err != nil {
		return time.Time{}, err
	}
	if len(copies) > 0 {
		_, at, _ := parseCopy(filepath.Base(copies[0]))
		return at, nil
	}
	var first sql.NullInt64
	if err := s.read.QueryRowContext(ctx, `SELECT min(at_ms) FROM change WHERE boot <> ?`, toldBoot).Scan(&first); err != nil {
		return time.Time{}, fmt.Errorf("ask what changed since the last copy: %w", err)
	}
	if !first.Valid {
		return time.Time{}, nil // firings alone are copied when they end
	}
	return time.UnixMilli(first.Int64).UTC(), nil
}
