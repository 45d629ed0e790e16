package api

import (
	"context"

	"lidwright/api/chart"
	"lidwright/api/usecase"
	"lidwright/api/wire"
	"lidwright/tiles"
	"lidwright/tiles/shrinkage"
)

func (s clayRoutes) getMoves(ctx context.Context, in *RateQuery) (*body[wire.Why], error) {
	fit, asOf, err := s.Shrink.Fit(ctx)
	if err != nil {
		return nil, s.problemFrom(ctx, err)
	}
	q, err := readRate(tiles.ClayID(in.Clay), in.values, s.Unit())
	if err != nil {
		return nil, s.problemFrom(ctx, err)
	}
	a, err := s.Clays().AskRate(ctx, q)
	if err != nil {
		return nil, s.problemFrom(ctx, err)
	}
	j, err := s.Clays().Why(ctx, fit, a)
	if err != nil {
		return nil, s.problemFrom(ctx, err)
	}
	j.AsOf = s.Moment(asOf)
	return &body[wire.Why]{j}, nil
}

// curveOf draws the shrink that was asked about over heat work.
func (s clayRoutes) curveOf(fit *shrinkage.Fit, a usecase.RateAsked) (chart.Shrinkage, error) {
	d := chart.Shrinkage{Clay: string(a.Clay), From: a.Stage, To: a.To, Asked: a.Work}
	if a.To == tiles.Biscuit {
		d.Asked = a.BisqueWork
	}
	low, high := fit.Span(a.Clay, d.Asked)
	var err error
	d.Points, d.Dots, err = fit.Curve(a.Ask, a.To, low, high, curvePoints)
	return d, err
}

const curvePoints = 61
