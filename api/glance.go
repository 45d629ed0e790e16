package api

import (
	"context"

	"lidwright/kiln"
	"lidwright/tiles"
)

// glance is an Archive of one moment for one look over many clays: what they all rest on is read
// once.
type glance struct {
	Archive
	clays   map[tiles.ClayID]tiles.KeptClay
	batches []tiles.KeptBatch
	firings map[kiln.FiringFilter][]kiln.Firing
}

// glancing answers as s does, with a glance in place of its Archive. It serves nobody over HTTP.
func (s *Server) glancing(ctx context.Context) (*Server, error) {
	g := &glance{Archive: s.Archive, clays: map[tiles.ClayID]tiles.KeptClay{}, firings: map[kiln.FiringFilter][]kiln.Firing{}}
	clays, err := s.Archive.Clays(ctx)
	if err != nil {
		return nil, err
	}
	for _, c := range clays {
		g.clays[c.ID] = c
	}
	if g.batches, err = s.Archive.Batches(ctx); err != nil {
		return nil, err
	}
	return &Server{Site: s.Site, Archive: g, Kiln: s.Kiln, Shrink: s.Shrink, Lids: s.Lids, Codes: s.Codes, Now: s.Now}, nil
}

func (g *glance) Clay(_ context.Context, id tiles.ClayID) (tiles.KeptClay, error) {
	c, ok := g.clays[id]
	if !ok {
		return c, tiles.ErrNoClay
	}
	return c, nil
}

func (g *glance) Batches(context.Context) ([]tiles.KeptBatch, error) { return g.batches, nil }

func (g *glance) Firings(ctx context.Context, w kiln.FiringFilter) ([]kiln.Firing, error) {
	if f, ok := g.firings[w]; ok {
		return f, nil
	}
	f, err := g.Archive.Firings(ctx, w)
	if err == nil {
		g.firings[w] = f
	}
	return f, err
}
