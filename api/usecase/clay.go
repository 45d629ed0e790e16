package usecase

import (
	"cmp"
	"context"
	"slices"
	"time"

	"lidwright/api/wire"
	"lidwright/tiles"
)

// List gives every clay, the one that was worked with last first, the others by their ids.
func (s Clays) List(ctx context.Context) ([]wire.ClayJSON, error) {
	clays, err := s.Archive.Clays(ctx)
	if err != nil {
		return nil, err
	}
	batches, err := s.Archive.Batches(ctx)
	if err != nil {
		return nil, err
	}
	last, err := s.Archive.LastUsed(ctx)
	if err != nil {
		return nil, err
	}
	out := []wire.ClayJSON{}
	for _, c := range clays {
		one := s.clayJSON(c.Clay, batches)
		if c.Clay.ID == last {
			out = slices.Insert(out, 0, one)
		} else {
			out = append(out, one)
		}
	}
	return out, nil
}

func (s Clays) clayJSON(c tiles.Clay, batches []tiles.KeptBatch) wire.ClayJSON {
	j := wire.ClayJSON{Clay: string(c.ID), Batches: []wire.Batch{},
		ClayBody: wire.ClayBody{Name: c.Name, MakerCode: c.MakerCode, MaturesCone: c.MaturesCone,
			Stated: float64(c.Stated), StatedCone: c.StatedCone, Grog: c.Grog, Note: c.Note}}
	for _, b := range batches {
		if b.Clay != c.ID {
			continue
		}
		bj := wire.Batch{Batch: string(b.BatchRef.Batch), Revision: b.Revision, Made: s.Moment(b.Made),
			BatchBody: wire.BatchBody{Kind: string(b.Kind), Stamp: b.Stamp,
				Arrived: b.Arrived, Parents: []string{},
				Open: b.Open, Note: b.Note}}
		bj.Parents = b.ParentTexts()
		j.Batches = append(j.Batches, bj)
	}
	return j
}

// Known is an error where there is no such clay. Empty is none at all.
func (s Clays) Known(ctx context.Context, id tiles.ClayID) error {
	if id == "" {
		return nil
	}
	_, err := s.Archive.Clay(ctx, id)
	return err
}

// OneClay is a clay with its batches; ErrNoClay where there is none.
func (s Clays) OneClay(ctx context.Context, id tiles.ClayID) (wire.ClayJSON, error) {
	c, err := s.Archive.Clay(ctx, id)
	if err != nil {
		return wire.ClayJSON{}, err
	}
	batches, err := s.Archive.Batches(ctx)
	if err != nil {
		return wire.ClayJSON{}, err
	}
	j := s.clayJSON(c.Clay, batches)
	j.Revision = c.Revision
	return j, nil
}

const FirstBatch = tiles.BatchID("A")

// KeepClay keeps a clay as it is told. The error is InvalidFields, or ErrChanged where another change
// came between.
func (s Clays) KeepClay(ctx context.Context, id string, b wire.ClayBody) (tiles.PutResult, error) {
	c := tiles.Clay{ID: tiles.ClayID(id), Name: b.Name, MakerCode: b.MakerCode, MaturesCone: b.MaturesCone,
		Stated:     tiles.Ratio(b.Stated),
		StatedCone: b.StatedCone, Grog: b.Grog, Note: b.Note}
	if err := c.Validate(); err != nil {
		return tiles.PutResult{}, err
	}
	k, err := s.Archive.PutClay(ctx, c, PreconditionOf(ctx), s.Now())
	if err != nil {
		return k, err
	}
	j, err := s.OneClay(ctx, c.ID)
	if err != nil {
		return k, err
	}
	if len(j.Batches) == 0 {
		first := tiles.Batch{BatchRef: tiles.BatchRef{Clay: c.ID, Batch: FirstBatch},
			Kind: tiles.Bought, Open: true}
		if _, err := s.Archive.PutBatch(ctx, first, Precondition{}, s.Now()); err != nil {
			return k, err
		}
	}
	s.Shrink.Touch()
	return k, nil
}

// KeepBatch keeps a batch of a clay: a bag, or a mix.
func (s Clays) KeepBatch(ctx context.Context, b tiles.Batch, m Precondition) (tiles.PutResult, error) {
	if err := b.Validate(); err != nil {
		return tiles.PutResult{}, err
	}
	k, err := s.Archive.PutBatch(ctx, b, m, s.Now())
	if err == nil {
		s.Shrink.Touch()
	}
	return k, err
}

// NextBatch is a name for the next batch of a clay that has these: the letter after the last one that is a
// single letter, or empty where nothing follows.
func NextBatch(batches []wire.Batch) string {
	last := byte('A' - 1)
	for _, b := range batches {
		if len(b.Batch) == 1 && b.Batch[0] >= 'A' && b.Batch[0] <= 'Z' {
			last = max(last, b.Batch[0])
		}
	}
	if last >= 'Z' {
		return ""
	}
	return string(last + 1)
}

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
	slices.SortFunc(out, func(a, b tiles.ClayID) int {
		return cmp.Or(newest[b].Compare(newest[a]), cmp.Compare(a, b))
	})
	return out[:min(len(out), MostClays)], nil
}
