package usecase

import (
	"context"
	"errors"

	"lidwright/tiles"
	"lidwright/tiles/shrinkage"
)

// BatchShift compares the newest open batch of a clay with the one before it.
type BatchShift struct {
	tiles.BatchRef
	Before tiles.BatchID
	shrinkage.Difference
}

// BatchShifts compares, for each of these clays, the newest open batch with the newest before it
// that has fired bars. A clay without two such batches is left out.
func (s Clays) BatchShifts(ctx context.Context, fit *shrinkage.Fit,
	clays []tiles.ClayID) ([]BatchShift, error) {
	batches, err := s.Archive.Batches(ctx)
	if err != nil {
		return nil, err
	}
	of := map[tiles.ClayID][]tiles.KeptBatch{}
	for _, b := range batches {
		of[b.Clay] = append(of[b.Clay], b)
	}
	var out []BatchShift
	for _, clay := range clays {
		now, before := newestTwo(of[clay], fit.Fired(clay))
		if before == "" {
			continue
		}
		a, err := s.AskRate(ctx, UsualRate(tiles.BatchRef{Clay: clay}))
		if err != nil || a.Batch != now {
			continue
		}
		other := a.Ask
		other.Batch = before
		d, err := fit.Compare(a.Ask, other)
		if errors.Is(err, context.Canceled) {
			return out, err
		}
		if err == nil {
			out = append(out, BatchShift{tiles.BatchRef{Clay: clay, Batch: now}, before, d})
		}
	}
	return out, nil
}

// newestTwo are the newest open batch and the one made before it; empty unless both were fired.
func newestTwo(all []tiles.KeptBatch, fired []tiles.BatchRef) (now, before tiles.BatchID) {
	seen := map[tiles.BatchID]bool{}
	for _, f := range fired {
		seen[f.Batch] = true
	}
	var newest, earlier *tiles.KeptBatch
	for i, b := range all {
		if b.Open && (newest == nil || b.InUse(newest.Batch)) {
			newest = &all[i]
		}
	}
	if newest == nil || !seen[newest.BatchRef.Batch] {
		return "", ""
	}
	for i, b := range all {
		if b.BatchRef != newest.BatchRef && seen[b.BatchRef.Batch] && !b.Made.After(newest.Made) &&
			(earlier == nil || !b.Made.Before(earlier.Made)) {
			earlier = &all[i]
		}
	}
	if earlier == nil {
		return "", ""
	}
	return newest.BatchRef.Batch, earlier.BatchRef.Batch
}
