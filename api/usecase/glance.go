package usecase

import (
	"context"
	"time"

	"lidwright/kiln"
	"lidwright/kiln/heatwork"
	"lidwright/tiles"
)

// glance is an Archive and the probes of one moment for one look over many clays: what they all rest on is read
// once.
type glance struct {
	Storage
	Heat
	clays   map[tiles.ClayID]tiles.KeptClay
	batches []tiles.KeptBatch
	firings map[kiln.FiringFilter][]kiln.Firing
	lives   map[string]heatwork.ProbeLife
}

// Glancing answers as s does, with a glance in place of its Archive and Heat. It serves nobody over HTTP.
func (s Clays) Glancing(ctx context.Context) (*Studio, error) {
	g := &glance{Storage: s.Archive, Heat: s.Heat, lives: map[string]heatwork.ProbeLife{}, clays: map[tiles.ClayID]tiles.KeptClay{}, firings: map[kiln.FiringFilter][]kiln.Firing{}}
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
	site := s.Site
	site.MainKiln = s.MainKiln() // as it is with the settings and the order in which kilns were added
	return &Studio{Site: site, Archive: StorageOf(g), Heat: g, Kiln: s.AllKilns(), Shrink: s.Shrink, LidDefaults: s.LidDefaults, Codes: s.Codes, Now: s.Now}, nil
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
	f, err := g.Storage.Firings(ctx, w)
	if err == nil {
		g.firings[w] = f
	}
	return f, err
}

func (g *glance) Life(ctx context.Context, k kiln.KilnID, c kiln.ChannelID, at time.Time) (heatwork.ProbeLife, error) {
	name := heatwork.ProbeName(k, c, "")
	if l, ok := g.lives[name]; ok {
		return l, nil
	}
	l, err := g.Heat.Life(ctx, k, c, at)
	if err == nil {
		g.lives[name] = l
	}
	return l, err
}
