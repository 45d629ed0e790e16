package daemon

import (
	"context"
	"log/slog"
	"slices"

	"lidwright/api/wire"
	"lidwright/kiln"
	"lidwright/tiles"
	"lidwright/tiles/shrinkage"
)

// summarise is what the studio's own bars of a clay tell, by the fit of now.
func (d *Daemon) summarise(ctx context.Context, clay tiles.ClayID, maturesC float64) (*wire.PoolSummary,
	error) {
	fit, _, err := d.shrink.Fit(ctx)
	if err != nil {
		return nil, err
	}
	s, bars, err := shrinkage.Summarise(ctx, fit, clay, kiln.Celsius(maturesC))
	if err != nil || bars == 0 {
		return nil, err
	}
	return &wire.PoolSummary{Model: shrinkage.Model, Bars: bars, Year: shrinkage.NewestBag(fit, clay),
		Info: s.Bytes()}, nil
}

// pooled is what other studios tell, by a model that is of use here.
func (d *Daemon) pooled() map[tiles.ClayID]shrinkage.Pooled {
	out := map[tiles.ClayID]shrinkage.Pooled{}
	for clay, told := range d.outbox.Pools() {
		prior, err := shrinkage.ReadPrior(told.Prior)
		if err != nil || !slices.Contains(shrinkage.PoolModels(), told.Model) ||
			!(told.MaturesC > 500 && told.MaturesC < 1500) {
			slog.Warn("what other studios tell of a clay is not used", "clay", clay, "model", told.Model,
				"err", err)
			continue
		}
		out[clay] = shrinkage.Pooled{Prior: prior, Matures: kiln.Celsius(told.MaturesC),
			Studios: told.Studios, Made: told.Made, Unlike: told.Unlike}
	}
	return out
}
