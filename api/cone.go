package api

import (
	"context"

	"lidwright/api/wire"
)

type putConeInput struct {
	wire.ConePath
	Body wire.ConeBody
}

func (s firingRoutes) putCone(ctx context.Context, in *putConeInput) (*kept[wire.Cone], error) {
	k, err := s.Firings().KeepCone(ctx, in.ConePath, in.Body)
	if err != nil {
		return nil, s.problemFrom(ctx, err)
	}
	j, err := s.Firings().Cone(ctx, in.ConePath)
	if err != nil {
		return nil, s.problemFrom(ctx, err)
	}
	return &kept[wire.Cone]{status(k), j}, nil
}

type strikeConeInput struct {
	wire.ConePath
	Body wire.StrikeBody
}

func (s firingRoutes) strikeCone(ctx context.Context, in *strikeConeInput) (*body[wire.Cone], error) {
	err := s.Firings().StrikeConeOf(ctx, in.ConePath, in.Body)
	var j wire.Cone
	if err == nil {
		j, err = s.Firings().Cone(ctx, in.ConePath)
	}
	if err != nil {
		return nil, s.problemFrom(ctx, err)
	}
	return &body[wire.Cone]{j}, nil
}
