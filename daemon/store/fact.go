package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"

	"lidwright/kiln"
	"lidwright/tiles"
)

// putFact keeps a fact, which is never edited: keep writes its row under the number of its
// change. The same fact said again is answered as the first time and writes nothing; another
// one under its id is tiles.ErrIDUsed.
func (s *handle) putFact(ctx context.Context, kind, id string, at kiln.Stamp, body any, keep func(tx *sql.Tx, seq int64) error) (kept tiles.PutResult, err error) {
	err = s.write(ctx, func(tx *sql.Tx) error {
		kept = tiles.PutResult{}
		again, err := mayKeep(ctx, tx, kind, id, body)
		if err != nil {
			return err
		}
		if again {
			return tx.QueryRowContext(ctx, `SELECT seq FROM change WHERE id = ? AND kind = ? AND op = 'put'`, id, kind).Scan(&kept.Revision)
		}
		kept.New = true
		if kept.Revision, err = recordChange(ctx, tx, kind, "put", id, at, body); err != nil {
			return err
		}
		return keep(tx, kept.Revision)
	})
	if err != nil {
		return tiles.PutResult{}, fmt.Errorf("keep %s %s: %w", kind, id, err)
	}
	return kept, nil
}

// strike crosses a fact out, once; said again it changes nothing. there finds the fact by its
// id; none is what is said if it does not.
func (s *handle) strike(ctx context.Context, kind, there, id, by, why string, at kiln.Stamp, none error) error {
	err := s.write(ctx, func(tx *sql.Tx) error {
		var one int
		if err := tx.QueryRowContext(ctx, there, id).Scan(&one); err != nil {
			return missing(err, none)
		}
		err := tx.QueryRowContext(ctx, `SELECT 1 FROM act WHERE kind = ? AND id = ? AND op = 'strike'`, kind, id).Scan(&one)
		if !errors.Is(err, sql.ErrNoRows) {
			return err
		}
		return act(ctx, tx, kind, id, "strike", "strike", by, why, at)
	})
	if err != nil {
		return fmt.Errorf("strike %s %s: %w", kind, id, err)
	}
	return nil
}

// struckRow is the strike of a fact as it is joined to it; all NULL if there is none.
type struckRow struct {
	by, why sql.NullString
	at      sql.NullInt64
}

func (r struckRow) act() *tiles.Act {
	if !r.at.Valid {
		return nil
	}
	return &tiles.Act{By: r.by.String, Why: r.why.String, At: fromMilli(r.at.Int64)}
}

// limited turns "all" into SQL's word for it.
func limited(n int) int {
	if n == 0 {
		return -1
	}
	return n
}

func floats[T ~float64](list []T) []float64 {
	out := make([]float64, len(list))
	for i, v := range list {
		out[i] = float64(v)
	}
	return out
}
