package usecase

import (
	"cmp"
	"context"
	"slices"
	"time"

	"lidwright/tiles"
)

// MostClays are in the metrics, those with the newest batches.
const MostClays = 100

// NewestClays are those with the newest batches, at most mostClays, newest first.
func (s Clays) NewestClays(ctx context.Context) ([]tiles.ClayID, error) {
	batches, err := s.Archive.Batches(ctx)
	if err != nil {
		return nil, err
	}
	newest := map[tiles.ClayID]time.Time{}
	var out []tiles.ClayID
	for _, b := range batches {
		at, seen := newest[b.Clay]
		if !seen {
			out = append(out, b.Clay)
		}
		if !seen || b.Made.After(at) {
			newest[b.Clay] = b.Made
		}
	}
	slices.SortFunc(out, func(a, b tiles.ClayID) int { return cmp.Or(newest[b].Compare(newest[a]), cmp.Compare(a, b)) })
	return out[:min(len(out), MostClays)], nil
}
