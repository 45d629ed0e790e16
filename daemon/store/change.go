package store

import (
	"bytes"
	"context"
	"database/sql"
	"encoding/json"
	"fmt"
	"reflect"
	"time"

	"lidwright/api/usecase"
	"lidwright/kiln"
	"lidwright/tiles"
)

// What is kept and what is refused is said in the words of the trade.
type (
	// Kept is what became of a write: the revision after it, and whether anything was written at all.
	Kept = tiles.PutResult
	// Match is what an edit asks of what stands there, such as the revision that the asker saw.
	Match = usecase.Precondition
)

// querier is a transaction or the pool of readers.
type querier interface {
	QueryContext(ctx context.Context, query string, args ...any) (*sql.Rows, error)
	QueryRowContext(ctx context.Context, query string, args ...any) *sql.Row
}

// Changes gives at most limit changes after the one numbered after, in order.
func (s ChangeStore) Changes(ctx context.Context, after int64, limit int) ([]tiles.Change, error) {
	rows, err := s.read.QueryContext(ctx, `
		SELECT seq, kind, op, id, at_ms, trusted, boot, body FROM change WHERE seq > ? ORDER BY seq LIMIT ?`, after, limit)
	if err != nil {
		return nil, fmt.Errorf("read changes: %w", err)
	}
	return collect(rows, "changes", func(c *tiles.Change) error {
		var at int64
		err := rows.Scan(&c.Seq, &c.Kind, &c.Op, &c.ID, &at, &c.Trusted, &c.Boot, &c.Body)
		c.At = fromMilli(at)
		return err
	})
}

// LastChange is the number of the newest change, 0 if there is none.
func (s ChangeStore) LastChange(ctx context.Context) (int64, error) {
	var seq int64
	err := s.read.QueryRowContext(ctx, `SELECT coalesce(max(seq), 0) FROM change`).Scan(&seq)
	return seq, err
}

// record writes one change and gives its number. Whatever else the transaction writes
// refers to it.
func recordChange(ctx context.Context, tx *sql.Tx, kind, op, id string, at kiln.Stamp,
	body any) (seq int64, err error) {
	said, err := json.Marshal(body)
	if err != nil {
		return 0, fmt.Errorf("write down %s %s: %w", kind, id, err)
	}
	err = tx.QueryRowContext(ctx, `
		INSERT INTO change (kind, op, id, at_ms, trusted, boot, body) VALUES (?, ?, ?, ?, ?, ?, ?) RETURNING seq`,
		kind, op, id, at.Wall.UnixMilli(), at.Trusted, string(at.Boot), string(said)).Scan(&seq)
	if err != nil {
		return 0, fmt.Errorf("write down %s %s: %w", kind, id, err)
	}
	return seq, nil
}

// saying is how something said now stands to what was said before under the same id.
type saying int

const (
	never   saying = iota // nothing was said under this id
	other                 // something else was
	earlier               // this was said, and something else after it
	last                  // this is what was said last
)

// heard looks body up among what was said of id.
func heard(ctx context.Context, tx *sql.Tx, kind, id string, body any) (saying, error) {
	said, err := json.Marshal(body)
	if err != nil {
		return never, fmt.Errorf("compare %s %s: %w", kind, id, err)
	}
	rows, err := tx.QueryContext(ctx, `
		SELECT body FROM change WHERE id = ? AND kind = ? AND op = 'put' ORDER BY seq DESC`, id, kind)
	if err != nil {
		return never, fmt.Errorf("compare %s %s: %w", kind, id, err)
	}
	defer rows.Close()
	found, first := never, true
	for rows.Next() {
		var before string
		if err := rows.Scan(&before); err != nil {
			return never, fmt.Errorf("compare %s %s: %w", kind, id, err)
		}
		switch {
		case !sameSaying([]byte(before), said):
			found = max(found, other)
		case first:
			return last, rows.Err()
		default:
			return earlier, rows.Err()
		}
		first = false
	}
	return found, rows.Err()
}

// makerMembers are the members of a body that hold a maker's mark.
var makerMembers = []string{"by", "packed_by", "maker", "mark"}

// sameSaying compares what was said before with what is said now. A mark that was
// forgotten meanwhile stands for any.
func sameSaying(before, now []byte) bool {
	if bytes.Equal(before, now) {
		return true
	}
	var a, b map[string]any
	if json.Unmarshal(before, &a) != nil || json.Unmarshal(now, &b) != nil {
		return false
	}
	for _, member := range makerMembers {
		if a[member] == "" {
			b[member] = ""
			if _, had := a[member]; !had {
				delete(b, member)
			}
		}
	}
	return reflect.DeepEqual(a, b)
}

// mayKeep decides on a fact, which is never edited: keep it, or it was kept before.
func mayKeep(ctx context.Context, tx *sql.Tx, kind, id string, body any) (again bool, err error) {
	switch heard, err := heard(ctx, tx, kind, id, body); {
	case err != nil:
		return false, err
	case heard == never:
		return false, nil
	case heard == last:
		return true, nil
	default:
		return false, fmt.Errorf("%s %s: %w", kind, id, tiles.ErrIDUsed)
	}
}

// mayEdit decides on a clay, batch, bar, load or pot card, whose revision is rev (0: not
// there yet): keep what is said now, or it was said before. A form that got no answer and
// is sent again must not undo what somebody else changed meanwhile, so that something said
// earlier is kept again only by who names the revision that stands.
func mayEdit(ctx context.Context, tx *sql.Tx, kind, id string, rev int64, m Match,
	body any) (again bool, err error) {
	heard, err := heard(ctx, tx, kind, id, body)
	switch matches := m.Takes(rev); {
	case err != nil:
		return false, err
	case heard == last, heard == earlier && (!m.Names() || !matches):
		return true, nil
	case !matches:
		return false, fmt.Errorf("%s %s: %w", kind, id, tiles.ErrChanged)
	}
	return false, nil
}

// collect scans all rows and closes them.
func collect[T any](rows *sql.Rows, what string, scan func(*T) error) ([]T, error) {
	return collectInto(nil, rows, what, scan)
}

// collectInto is collect for who knows about how many there are.
func collectInto[T any](all []T, rows *sql.Rows, what string, scan func(*T) error) ([]T, error) {
	defer rows.Close()
	for rows.Next() {
		var none T
		all = append(all, none)
		if err := scan(&all[len(all)-1]); err != nil {
			return nil, fmt.Errorf("read %s: %w", what, err)
		}
	}
	if err := rows.Err(); err != nil {
		return nil, fmt.Errorf("read %s: %w", what, err)
	}
	return all, nil
}

func fromMilli(ms int64) time.Time { return time.UnixMilli(ms).UTC() }

// orNull gives NULL for the zero value.
func orNull[T comparable](v T) any {
	var zero T
	if v == zero {
		return nil
	}
	return v
}

// jsonList writes a list for json_each and for columns that hold one; never null.
func jsonList[T any](list []T) (string, error) {
	if len(list) == 0 {
		return "[]", nil
	}
	text, err := json.Marshal(list)
	return string(text), err
}
