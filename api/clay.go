package api

import (
	"context"

	"lidwright/api/usecase"
	"lidwright/tiles"
)

type clayBody struct {
	Name        string  `json:"name" maxLength:"60"`
	MakerCode   string  `json:"maker_code,omitempty" maxLength:"60"`
	MaturesCone string  `json:"matures_cone,omitempty" doc:"Cone on the bag: 022 to 14"`
	Stated      float64 `json:"stated_total_ratio,omitempty" minimum:"0" maximum:"0.3" doc:"Supplier's total shrinkage, share of the wet length; 0: not stated"`
	StatedCone  string  `json:"stated_cone,omitempty"`
	Grog        string  `json:"grog,omitempty" maxLength:"60"`
	Note        string  `json:"note,omitempty" maxLength:"500"`
}

type clayJSON struct {
	revision int64
	Clay     string `json:"clay"`
	clayBody
	Batches []batchJSON `json:"batches"`
}

type batchBody struct {
	Kind    string   `json:"kind" enum:"bought,reclaim,blend,repugged"`
	Stamp   string   `json:"stamp,omitempty" maxLength:"60"`
	Arrived string   `json:"arrived_on,omitempty" doc:"Date, 2026-01-08"`
	Parents []string `json:"parents,omitempty" doc:"tern/A"`
	Open    bool     `json:"open"`
	Note    string   `json:"note,omitempty" maxLength:"500"`
}

type batchJSON struct {
	Batch string `json:"batch"`
	batchBody
	Made     *string `json:"made_at"`
	Revision int64   `json:"revision" doc:"For If-Match on the next change of the batch, in quotes"`
}

type ClayPath struct {
	Clay string `path:"clay" pattern:"^[a-z0-9-]{1,32}$"`
}

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

func (s *Server) getClays(ctx context.Context, _ *struct{}) (*body[listJSON[clayJSON]], error) {
	all, err := s.clays(ctx)
	if err != nil {
		return nil, s.problemFrom(ctx, err)
	}
	return &body[listJSON[clayJSON]]{listJSON[clayJSON]{Items: all}}, nil
}

func (s *Server) clays(ctx context.Context) ([]clayJSON, error) {
	clays, err := s.Archive.Clays(ctx)
	if err != nil {
		return nil, err
	}
	batches, err := s.Archive.Batches(ctx)
	if err != nil {
		return nil, err
	}
	out := []clayJSON{}
	for _, c := range clays {
		out = append(out, s.clayJSON(c.Clay, batches))
	}
	return out, nil
}

func (s *Server) clayJSON(c tiles.Clay, batches []tiles.KeptBatch) clayJSON {
	j := clayJSON{Clay: string(c.ID), Batches: []batchJSON{},
		clayBody: clayBody{c.Name, c.MakerCode, c.MaturesCone, float64(c.Stated), c.StatedCone, c.Grog, c.Note}}
	for _, b := range batches {
		if b.Clay != c.ID {
			continue
		}
		bj := batchJSON{Batch: string(b.BatchRef.Batch), Revision: b.Revision, Made: s.moment(b.Made), batchBody: batchBody{string(b.Kind), b.Stamp, b.Arrived, []string{}, b.Open, b.Note}}
		for _, p := range b.Parents {
			bj.Parents = append(bj.Parents, p.String())
		}
		j.Batches = append(j.Batches, bj)
	}
	return j
}

func (s *Server) getClay(ctx context.Context, in *ClayPath) (*thing[clayJSON], error) {
	j, err := s.oneClay(ctx, tiles.ClayID(in.Clay))
	if err != nil {
		return nil, s.problemFrom(ctx, err)
	}
	return &thing[clayJSON]{revision(j.revision), j}, nil
}

func (s *Server) oneClay(ctx context.Context, id tiles.ClayID) (clayJSON, error) {
	c, err := s.Archive.Clay(ctx, id)
	if err != nil {
		return clayJSON{}, err
	}
	batches, err := s.Archive.Batches(ctx)
	if err != nil {
		return clayJSON{}, err
	}
	j := s.clayJSON(c.Clay, batches)
	j.revision = c.Revision
	return j, nil
}

type putClayInput struct {
	ClayPath
	Body clayBody
}

// putClay keeps a clay. A new one gets a first batch, A, so that bars can be made of it at once.
func (s *Server) putClay(ctx context.Context, in *putClayInput) (*edited[clayJSON], error) {
	k, err := s.keepClay(ctx, in.Clay, in.Body)
	if err != nil {
		return nil, s.problemFrom(ctx, err)
	}
	j, err := s.oneClay(ctx, tiles.ClayID(in.Clay))
	if err != nil {
		return nil, s.problemFrom(ctx, err)
	}
	return &edited[clayJSON]{status(k), revision(j.revision), j}, nil
}

const firstBatch = tiles.BatchID("A")

func (s *Server) keepClay(ctx context.Context, id string, b clayBody) (tiles.PutResult, error) {
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
	ClayPath
	Batch string `path:"batch" maxLength:"16"`
	Body  batchBody
}

func (s *Server) putBatch(ctx context.Context, in *putBatchInput) (*edited[clayJSON], error) {
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
	return &edited[clayJSON]{status(k), revision(j.revision), j}, nil
}
