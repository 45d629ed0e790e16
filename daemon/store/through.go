package store

import (
	"context"
	"database/sql"
	"encoding/binary"
	"hash/crc32"

	"lidwright/kiln"
)

// readThrough reads a file from one end to the other: its form and its indexes, what refers to what, and
// the sums of curves and summaries. ErrDamaged where it is not whole; a curve that does not read back is no
// reason to put another file in its place, and Health tells of it. A fact has no sum of its own: Compare
// sees a bit that is another one inside a number or a text of it.
func (s *Store) readThrough(ctx context.Context, db *sql.DB) error {
	if err := check(ctx, db, `PRAGMA integrity_check(1)`); err != nil {
		return err
	}
	if err := check(ctx, db, `SELECT coalesce((SELECT 'a row of ' || "table" || ' refers to one of ' || parent || ' that is not there' FROM pragma_foreign_key_check LIMIT 1), 'ok')`); err != nil {
		return err
	}
	rows, err := db.QueryContext(ctx, `
		SELECT f.id, c.data FROM curve c JOIN firing f ON f.row = c.firing UNION ALL SELECT f.id, r.data FROM run r JOIN firing f ON f.row = r.firing
		UNION ALL SELECT id, summary FROM firing UNION ALL SELECT f.id, e.data FROM envelope e JOIN firing f ON f.row = e.firing`)
	if err != nil {
		return err
	}
	defer rows.Close()
	var id, data sql.RawBytes
	for rows.Next() {
		if err := rows.Scan(&id, &data); err != nil {
			return err
		}
		if !summed(data) && !allSummed(data) {
			s.harmed(kiln.FiringID(id), 1)
		}
	}
	return rows.Err()
}

// summed reports whether something coded has its right sum.
func summed(data []byte) bool {
	return len(data) > 4 && crc32.Checksum(data[:len(data)-4], crc32.MakeTable(crc32.Castagnoli)) == binary.LittleEndian.Uint32(data[len(data)-4:])
}

// allSummed is summed for each block of a curve that is over.
func allSummed(data []byte) bool {
	for len(data) > 0 {
		n, size := binary.Uvarint(data)
		if size <= 0 || n > uint64(len(data)-size) || !summed(data[size:size+int(n)]) {
			return false
		}
		data = data[size+int(n):]
	}
	return true
}
