package store

import (
	"context"
	"database/sql"
	"fmt"
	"time"

	"lidwright/api/usecase"
	"lidwright/kiln"
	"lidwright/tiles"
)

// blanks take a maker's mark out of every column that holds one. Each gives the kind and the
// id of the fact that it stood on. Texts of notes are left as they were written.
var blanks = [...]string{
	`UPDATE bar SET by = '' WHERE by = ? RETURNING 'bar', code`,
	`UPDATE reading SET by = '' WHERE by = ? RETURNING 'reading', id`,
	`UPDATE act SET by = '' WHERE by = ? RETURNING kind, id`,
	`UPDATE load SET packed_by = '' WHERE packed_by = ? RETURNING 'load', id`,
	`UPDATE load SET closed_by = '' WHERE closed_by = ? RETURNING 'load', id`,
	`UPDATE lid_result SET maker = '' WHERE maker = ? RETURNING 'lid_result', id`,
	`UPDATE lid_result SET by = '' WHERE by = ? RETURNING 'lid_result', id`,
	`UPDATE pot SET mark = '' WHERE mark = ? RETURNING 'pot', id`,
	`UPDATE cone SET by = '' WHERE by = ? RETURNING 'cone', id`,
	`UPDATE note SET by = '' WHERE by = ? RETURNING 'note', id`,
	`UPDATE tick SET by = '' WHERE by = ? RETURNING 'tick', id`,
	`UPDATE unpacking_mark SET by = '' WHERE by = ? RETURNING 'mark', id`,
}

// blanked is a member of the body of a change whose mark was taken out.
type blanked struct {
	Seq    int64  `json:"seq"`
	Member string `json:"member"`
}

// forgotten is what the record of changes says of a fact that lost a mark: where in the record it
// stood. The mark itself is in none of them.
type forgotten struct {
	Blanked []blanked `json:"blanked"`
}

// ForgetMaker blanks a maker's mark everywhere and gives how many facts it stood on. The
// facts stay. One change of kind and id each tells whoever follows to do the same.
func (s *Store) ForgetMaker(ctx context.Context, mark string, at kiln.Stamp) (rows int, err error) {
	if mark == "" {
		return 0, nil
	}
	err = s.write(ctx, func(tx *sql.Tx) error {
		order, where, err := blankOut(ctx, tx, mark)
		if err != nil {
			return err
		}
		for _, f := range order {
			seq, err := recordChange(ctx, tx, f.kind, "forget", f.id, at,
				forgotten{append([]blanked{}, where[f]...)})
			if err != nil {
				return err
			}
			if err := raise(ctx, tx, f.kind, f.id, seq); err != nil {
				return err
			}
		}
		rows = len(order)
		return nil
	})
	if err != nil {
		return 0, fmt.Errorf("forget a maker: %w", err)
	}
	if err := s.wipeLog(ctx); err != nil {
		return rows, fmt.Errorf("a maker is forgotten, and the log of the store still has the mark until the daemon stops: %w", err)
	}
	return rows, nil
}

// fact is one by its kind and id.
type fact struct{ kind, id string }

// blankOut takes a mark out of every column and of the record of changes. It gives the facts that it stood
// on, in order, and where in the record it stood on each.
func blankOut(ctx context.Context, tx *sql.Tx, mark string) (order []fact,
	where map[fact][]blanked, err error) {
	type said struct {
		fact
		seq int64
	}
	seen := map[fact]bool{}
	for _, blank := range blanks {
		result, err := tx.QueryContext(ctx, blank, mark)
		if err != nil {
			return nil, nil, err
		}
		touched, err := collect(result, "what was blanked", func(f *fact) error {
			return result.Scan(&f.kind, &f.id)
		})
		if err != nil {
			return nil, nil, err
		}
		for _, f := range touched {
			if !seen[f] {
				seen[f] = true
				order = append(order, f)
			}
		}
	}
	where = map[fact][]blanked{}
	for _, member := range makerMembers {
		// mark is a maker's in a pot card alone
		result, err := tx.QueryContext(ctx, `
			UPDATE change SET body = json_set(body, '$.' || ?1, '') WHERE json_extract(body, '$.' || ?1) = ?2 AND (?1 <> 'mark' OR kind = 'pot')
			RETURNING kind, id, seq`, member, mark)
		if err != nil {
			return nil, nil, err
		}
		touched, err := collect(result, "what was blanked", func(c *said) error {
			return result.Scan(&c.kind, &c.id, &c.seq)
		})
		if err != nil {
			return nil, nil, err
		}
		for _, c := range touched {
			if !seen[c.fact] {
				seen[c.fact] = true
				order = append(order, c.fact)
			}
			where[c.fact] = append(where[c.fact], blanked{c.seq, member})
		}
	}
	return order, where, nil
}

// wipeLog brings the log into the file and leaves it empty, once nobody reads what is in it any more.
func (s *Store) wipeLog(ctx context.Context) error {
	for until := time.Now().Add(wipePatience); ; {
		var busyNow, frames, moved int
		err := s.writer.QueryRowContext(ctx, `PRAGMA wal_checkpoint(TRUNCATE)`).Scan(&busyNow, &frames,
			&moved)
		if err == nil && busyNow == 0 {
			return nil
		}
		if err == nil {
			err = fmt.Errorf("%w: somebody is reading it", usecase.ErrBusy)
		}
		if time.Now().After(until) || ctx.Err() != nil {
			return busy(err)
		}
	}
}

const wipePatience = 20 * time.Second

// marksSaid are the marks of makers by the changes that they stand on.
const marksSaid = `
	SELECT json_extract(body, '$.by') AS mark, at_ms, trusted FROM change
	UNION ALL SELECT json_extract(body, '$.packed_by'), at_ms, trusted FROM change WHERE kind = 'load'
	UNION ALL SELECT json_extract(body, '$.maker'), at_ms, trusted FROM change WHERE kind = 'lid_result'
	UNION ALL SELECT json_extract(body, '$.mark'), at_ms, trusted FROM change WHERE kind = 'pot'`

// MakersBefore gives the marks of makers that stand on nothing said since before, in order. What was
// said by a clock that was not trusted counts as said since.
func (s *Store) MakersBefore(ctx context.Context, before time.Time) ([]string, error) {
	rows, err := s.read.QueryContext(ctx, `
		SELECT mark FROM (`+marksSaid+`)
		WHERE mark <> '' GROUP BY mark HAVING max(CASE WHEN trusted THEN at_ms ELSE ?1 END) < ?1 ORDER BY mark`, before.UnixMilli())
	if err != nil {
		return nil, fmt.Errorf("look for makers of long ago: %w", err)
	}
	return collect(rows, "makers", func(mark *string) error { return rows.Scan(mark) })
}

// raise gives what is edited its new revision, so that nobody takes an old copy for a fresh one.
func raise(ctx context.Context, tx *sql.Tx, kind, id string, seq int64) error {
	var err error
	switch kind {
	case "bar":
		_, err = tx.ExecContext(ctx, `UPDATE bar SET rev = ? WHERE code = ?`, seq, id)
	case "reading":
		_, err = tx.ExecContext(ctx, `UPDATE bar SET rev = ? WHERE code = (SELECT bar FROM reading WHERE id = ?)`, seq, id)
	case "load":
		_, err = tx.ExecContext(ctx, `UPDATE load SET rev = ? WHERE id = ?`, seq, id)
	case "pot":
		if _, err = tx.ExecContext(ctx, `UPDATE pot SET rev = ? WHERE id = ?`, seq, id); err == nil {
			err = wordsAnew(ctx, tx, id)
		}
	}
	return err
}

// wordsAnew puts down again by which words a pot card is found.
func wordsAnew(ctx context.Context, tx *sql.Tx, pot string) error {
	var mark, number, form, made string
	if err := tx.QueryRowContext(ctx, `SELECT mark, number, form, made_on FROM pot WHERE id = ?`,
		pot).Scan(&mark, &number, &form, &made); err != nil {
		return err
	}
	_, err := tx.ExecContext(ctx, `UPDATE pot SET words = ? WHERE id = ?`,
		potWords(mark, number, form, made), pot)
	return err
}

// Makers lists the marks of makers that the record has, by name, with how many entries each stands on and
// when the newest was made.
func (s *Store) Makers(ctx context.Context) ([]tiles.MakerSeen, error) {
	rows, err := s.read.QueryContext(ctx, `
		SELECT mark, count(*), max(at_ms) FROM (`+marksSaid+`) WHERE mark <> '' GROUP BY mark ORDER BY mark`)
	if err != nil {
		return nil, fmt.Errorf("list makers: %w", err)
	}
	return collect(rows, "makers", func(m *tiles.MakerSeen) error {
		var ms int64
		err := rows.Scan(&m.Mark, &m.Entries, &ms)
		m.Last = fromMilli(ms)
		return err
	})
}
