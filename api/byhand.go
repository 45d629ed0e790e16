package api

import (
	"context"

	"lidwright/api/wire"
	"lidwright/kiln"
	"lidwright/tiles"
)

type putFiringInput struct {
	wire.FiringPath
	Body wire.FiringBody
}

// putFiring keeps what a person says of a firing, over what was guessed, or a firing by hand.
func (s firingRoutes) putFiring(ctx context.Context, in *putFiringInput) (*kept[wire.FiringWhole], error) {
	id := kiln.FiringID(in.ID)
	var k tiles.PutResult
	var err error
	if in.Body.Source == "hand" {
		k, err = s.Firings().KeepByHand(ctx, id, in.Body, false)
	} else {
		err = s.Firings().SayFiring(ctx, id, in.Body)
	}
	var j wire.FiringWhole
	if err == nil {
		j, err = s.Firings().WholeFiring(ctx, id)
	}
	if err != nil {
		return nil, s.problemFrom(ctx, err)
	}
	return &kept[wire.FiringWhole]{status(k), j}, nil
}
