package usecase

import (
	"context"

	"lidwright/tiles"
	"lidwright/tiles/shrinkage"
)

// Heated finds a clay's batch, the fit, and the firing that a question is about.
func (s Lids) Heated(ctx context.Context, ref *tiles.BatchRef, at FiringAsk) (*shrinkage.Fit, FiringMeant, error) {
	clay, err := s.clay(ctx, ref)
	if err != nil {
		return nil, FiringMeant{}, err
	}
	fit, asOf, err := s.Shrink.Fit(ctx)
	if err != nil {
		return nil, FiringMeant{}, err
	}
	m, err := s.meant(ctx, at, clay)
	m.AsOf, m.Model = asOf, shrinkage.Model
	return fit, m, err
}
