package api

import (
	"context"
	"fmt"

	"lidwright/api/wire"
	"lidwright/kiln"
	"lidwright/kiln/record"
)

func (s kilnRoutes) getShelves(ctx context.Context, in *wire.ShelvesPath) (*body[wire.Shelves], error) {
	k := kiln.KilnID(in.Kiln)
	if _, ours := s.KilnNamed(k); !ours {
		return nil, s.problemFrom(ctx, fmt.Errorf("%s: %w", k, record.ErrNoKiln))
	}
	j, err := s.Kilns().Shelves(ctx, k)
	if err != nil {
		return nil, s.problemFrom(ctx, err)
	}
	return &body[wire.Shelves]{j}, nil
}
