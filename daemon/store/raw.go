package store

import (
	"context"
	"database/sql"
	"fmt"
	"strings"
	"time"

	"lidwright/daemon/store/codec"
	"lidwright/kiln"
)

// mostLines is how many bytes of raw lines are kept of one block: 1 MB a day at most.
const mostLines = 40 << 10

// addLines keeps the raw lines of an hour that is sealed.
func addLines(ctx context.Context, tx *sql.Tx, firing int64, at kiln.Stamp, lines []byte) error {
	if len(lines) == 0 {
		return nil
	}
	_, err := tx.ExecContext(ctx, `INSERT INTO raw (firing, at_ms, data) VALUES (?, ?, ?)`, firing,
		at.Wall.UnixMilli(), codec.Deflated(lines, codec.Searching))
	return err
}

// RawLines gives the lines kept of a firing's readings that were not good, as they came, each
// after the time since the start of the machine in seconds and a tab. Those of the hour under way
// are not among them.
func (s FiringStore) RawLines(ctx context.Context, id kiln.FiringID) ([]string, error) {
	rows, err := s.read.QueryContext(ctx, `SELECT data FROM raw WHERE firing = (SELECT row FROM firing WHERE id = ?) ORDER BY row`, id)
	if err != nil {
		return nil, fmt.Errorf("read raw lines of firing %s: %w", id, err)
	}
	parts, err := collect(rows, "raw lines", func(b *[]byte) error { return rows.Scan(b) })
	if err != nil {
		return nil, err
	}
	var lines []string
	for _, part := range parts {
		text, err := codec.Inflated(part)
		if err != nil {
			s.harmed(id, 1)
			continue
		}
		lines = append(lines, strings.Split(strings.TrimSuffix(string(text), "\n"), "\n")...)
	}
	return lines, nil
}

// DropRawLines lets raw lines of before a moment go. The caller sees to it that the clock can be
// trusted.
func (s FiringStore) DropRawLines(ctx context.Context, before time.Time) error {
	var any bool
	if err := s.read.QueryRowContext(ctx, `SELECT EXISTS (SELECT 1 FROM raw WHERE at_ms < ?)`,
		before.UnixMilli()).Scan(&any); err != nil || !any {
		return err // nothing to do writes nothing
	}
	return s.write(ctx, func(tx *sql.Tx) error {
		_, err := tx.ExecContext(ctx, `DELETE FROM raw WHERE at_ms < ?`, before.UnixMilli())
		return err
	})
}
