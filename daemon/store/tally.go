package store

import (
	"context"
	"fmt"

	"lidwright/tiles"
)

// Tally counts what was said about bars and lids so far. Its numbers never fall: what was struck
// was said all the same.
func (s *Store) Tally(ctx context.Context) (tiles.SaidSoFar, error) {
	t := tiles.SaidSoFar{Readings: map[string]int{}, Verdicts: map[string]int{}}
	var usual, unusual, let, struck, tooBig, tight, good, loose, drops, not int
	err := s.read.QueryRowContext(ctx, `SELECT count(*) FILTER (WHERE unusual = 0), count(*) FILTER (WHERE unusual = 1),
		(SELECT count(DISTINCT id) FROM act WHERE kind = 'reading' AND op IN ('confirm', 'count')),
		(SELECT count(*) FROM act WHERE kind = 'reading' AND op = 'strike') FROM reading`).Scan(&usual, &unusual, &let, &struck)
	if err != nil {
		return t, fmt.Errorf("count readings: %w", err)
	}
	err = s.read.QueryRowContext(ctx, `SELECT coalesce(sum(too_big), 0), coalesce(sum(tight), 0), coalesce(sum(good), 0), coalesce(sum(loose), 0),
		coalesce(sum(drops_in), 0), coalesce(sum(not_looked_at), 0) FROM verdict`).Scan(&tooBig, &tight, &good, &loose, &drops, &not)
	if err != nil {
		return t, fmt.Errorf("count verdicts: %w", err)
	}
	t.Readings["counted"], t.Readings["held"], t.Readings["struck"] = usual+let, unusual, struck
	t.Verdicts["too_big"], t.Verdicts["tight"], t.Verdicts["good"] = tooBig, tight, good
	t.Verdicts["loose"], t.Verdicts["drops_in"], t.Verdicts["not_looked_at"] = loose, drops, not
	return t, nil
}
