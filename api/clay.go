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

func (s clayRoutes) getClays(ctx context.Context, _ *struct{}) (*body[wire.List[wire.ClayJSON]], error) {
	all, err := s.Clays().List(ctx)
	if err != nil {
		return nil, s.problemFrom(ctx, err)
	}
	return &body[wire.List[wire.ClayJSON]]{wire.List[wire.ClayJSON]{Items: all}}, nil
}

func (s clayRoutes) getClay(ctx context.Context, in *wire.ClayPath) (*thing[wire.ClayJSON], error) {
	j, err := s.Clays().OneClay(ctx, tiles.ClayID(in.Clay))
	if err != nil {
		return nil, s.problemFrom(ctx, err)
	}
	return &thing[wire.ClayJSON]{revision(j.Revision), j}, nil
}

type putClayInput struct {
	wire.ClayPath
	Body wire.ClayBody
}

// putClay keeps a clay. A new one gets a first batch, A, so that bars can be made of it at once.
func (s clayRoutes) putClay(ctx context.Context, in *putClayInput) (*edited[wire.ClayJSON], error) {
	k, err := s.Clays().KeepClay(ctx, in.Clay, in.Body)
	if err != nil {
		return nil, s.problemFrom(ctx, err)
	}
	j, err := s.Clays().OneClay(ctx, tiles.ClayID(in.Clay))
	if err != nil {
		return nil, s.problemFrom(ctx, err)
	}
	return &edited[wire.ClayJSON]{status(k), revision(j.Revision), j}, nil
}

type putBatchInput struct {
	wire.ClayPath
	Batch string `path:"batch" maxLength:"16"`
	Body  wire.BatchBody
}

func (s clayRoutes) putBatch(ctx context.Context, in *putBatchInput) (*edited[wire.ClayJSON], error) {
	b := tiles.Batch{BatchRef: tiles.BatchRef{Clay: tiles.ClayID(in.Clay), Batch: tiles.BatchID(in.Batch)}, Kind: tiles.BatchKind(in.Body.Kind),
		Stamp: in.Body.Stamp, Arrived: in.Body.Arrived, Open: in.Body.Open, Note: in.Body.Note}
	for _, p := range in.Body.Parents {
		b.Parents = append(b.Parents, parseRef(p))
	}
	if err := b.Validate(); err != nil {
		return nil, s.problemFrom(ctx, err)
	}
	k, err := s.Archive.PutBatch(ctx, b, usecase.PreconditionOf(ctx), s.Now())
	if err != nil {
		return nil, s.problemFrom(ctx, err)
	}
	s.Shrink.Touch()
	j, err := s.Clays().OneClay(ctx, b.Clay)
	if err != nil {
		return nil, s.problemFrom(ctx, err)
	}
	return &edited[wire.ClayJSON]{status(k), revision(j.Revision), j}, nil
}
