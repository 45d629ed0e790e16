package api

import (
	"context"

	"lidwright/api/usecase"
	"lidwright/api/wire"
	"lidwright/tiles"
)

// kept is what a PUT answers: 201 when it was kept now, 200 when the very same was said before.
type kept[T any] struct {
	Status int
	Body   T
}

func status(k tiles.PutResult) int {
	if k.New {
		return 201
	}
	return 200
}

func (s *Server) getClays(ctx context.Context, _ *struct{}) (*body[wire.List[wire.ClayJSON]], error) {
	all, err := s.clays(ctx)
	if err != nil {
		return nil, s.problemFrom(ctx, err)
	}
	return &body[wire.List[wire.ClayJSON]]{wire.List[wire.ClayJSON]{Items: all}}, nil
}

func (s *Server) clays(ctx context.Context) ([]wire.ClayJSON, error) {
	clays, err := s.Archive.Clays(ctx)
	if err != nil {
		return nil, err
	}
	batches, err := s.Archive.Batches(ctx)
	if err != nil {
		return nil, err
	}
	out := []wire.ClayJSON{}
	for _, c := range clays {
		out = append(out, s.clayJSON(c.Clay, batches))
	}
	return out, nil
}

func (s *Server) clayJSON(c tiles.Clay, batches []tiles.KeptBatch) wire.ClayJSON {
	j := wire.ClayJSON{Clay: string(c.ID), Batches: []wire.Batch{},
		ClayBody: wire.ClayBody{Name: c.Name, MakerCode: c.MakerCode, MaturesCone: c.MaturesCone, Stated: float64(c.Stated), StatedCone: c.StatedCone, Grog: c.Grog, Note: c.Note}}
	for _, b := range batches {
		if b.Clay != c.ID {
			continue
		}
		bj := wire.Batch{Batch: string(b.BatchRef.Batch), Revision: b.Revision, Made: s.moment(b.Made), BatchBody: wire.BatchBody{Kind: string(b.Kind), Stamp: b.Stamp, Arrived: b.Arrived, Parents: []string{}, Open: b.Open, Note: b.Note}}
		for _, p := range b.Parents {
			bj.Parents = append(bj.Parents, p.String())
		}
		j.Batches = append(j.Batches, bj)
	}
	return j
}

func (s *Server) getClay(ctx context.Context, in *wire.ClayPath) (*thing[wire.ClayJSON], error) {
	j, err := s.oneClay(ctx, tiles.ClayID(in.Clay))
	if err != nil {
		return nil, s.problemFrom(ctx, err)
	}
	return &thing[wire.ClayJSON]{revision(j.Revision), j}, nil
}

func (s *Server) oneClay(ctx context.Context, id tiles.ClayID) (wire.ClayJSON, error) {
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

type putClayInput struct {
	wire.ClayPath
	Body wire.ClayBody
}

// putClay keeps a clay. A new one gets a first batch, A, so that bars can be made of it at once.
func (s *Server) putClay(ctx context.Context, in *putClayInput) (*edited[wire.ClayJSON], error) {
	k, err := s.keepClay(ctx, in.Clay, in.Body)
	if err != nil {
		return nil, s.problemFrom(ctx, err)
	}
	j, err := s.oneClay(ctx, tiles.ClayID(in.Clay))
	if err != nil {
		return nil, s.problemFrom(ctx, err)
	}
	return &edited[wire.ClayJSON]{status(k), revision(j.Revision), j}, nil
}

const firstBatch = tiles.BatchID("A")

func (s *Server) keepClay(ctx context.Context, id string, b wire.ClayBody) (tiles.PutResult, error) {
	c := tiles.Clay{ID: tiles.ClayID(id), Name: b.Name, MakerCode: b.MakerCode, MaturesCone: b.MaturesCone, Stated: tiles.Ratio(b.Stated),
		StatedCone: b.StatedCone, Grog: b.Grog, Note: b.Note}
	if err := c.Validate(); err != nil {
		return tiles.PutResult{}, err
	}
	k, err := s.Archive.PutClay(ctx, c, matchOf(ctx), s.Now())
	if err != nil {
		return k, err
	}
	j, err := s.oneClay(ctx, c.ID)
	if err != nil {
		return k, err
	}
	if len(j.Batches) == 0 {
		first := tiles.Batch{BatchRef: tiles.BatchRef{Clay: c.ID, Batch: firstBatch}, Kind: tiles.Bought, Open: true}
		if _, err := s.Archive.PutBatch(ctx, first, usecase.Precondition{}, s.Now()); err != nil {
			return k, err
		}
	}
	s.Shrink.Touch()
	return k, nil
}

type putBatchInput struct {
	wire.ClayPath
	Batch string `path:"batch" maxLength:"16"`
	Body  wire.BatchBody
}

func (s *Server) putBatch(ctx context.Context, in *putBatchInput) (*edited[wire.ClayJSON], error) {
	b := tiles.Batch{BatchRef: tiles.BatchRef{Clay: tiles.ClayID(in.Clay), Batch: tiles.BatchID(in.Batch)}, Kind: tiles.BatchKind(in.Body.Kind),
		Stamp: in.Body.Stamp, Arrived: in.Body.Arrived, Open: in.Body.Open, Note: in.Body.Note}
	for _, p := range in.Body.Parents {
		b.Parents = append(b.Parents, parseRef(p))
	}
	if err := b.Validate(); err != nil {
		return nil, s.problemFrom(ctx, err)
	}
	k, err := s.Archive.PutBatch(ctx, b, matchOf(ctx), s.Now())
	if err != nil {
		return nil, s.problemFrom(ctx, err)
	}
	s.Shrink.Touch()
	j, err := s.oneClay(ctx, b.Clay)
	if err != nil {
		return nil, s.problemFrom(ctx, err)
	}
	return &edited[wire.ClayJSON]{status(k), revision(j.Revision), j}, nil
}
