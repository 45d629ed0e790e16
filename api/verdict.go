package api

import (
	"context"

	"lidwright/api/wire"
	"lidwright/tiles"
	"lidwright/tiles/lid"
)

type verdictsInput struct {
	Form  string `query:"form"`
	Clay  string `query:"clay" doc:"Of body or lid"`
	Load  string `query:"load"`
	After string `query:"after" doc:"The next of the answer before"`
	Limit int    `query:"limit" default:"50" minimum:"1" maximum:"500"`
}

func (s resultRoutes) getVerdicts(ctx context.Context, in *verdictsInput) (*body[wire.Verdicts], error) {
	j, err := s.Lids().Verdicts(ctx, lid.ResultFilter{Form: in.Form, Clay: tiles.ClayID(in.Clay), Load: in.Load, After: in.After, Limit: in.Limit})
	if err != nil {
		return nil, s.problemFrom(ctx, err)
	}
	return &body[wire.Verdicts]{j}, nil
}

type putVerdictInput struct {
	wire.VerdictPath
	Body wire.VerdictBody
}

func (s resultRoutes) putVerdict(ctx context.Context, in *putVerdictInput) (*kept[wire.VerdictKept], error) {
	k, j, err := s.Lids().KeepVerdict(ctx, in.ID, in.Body)
	if err != nil {
		return nil, s.problemFrom(ctx, err)
	}
	return &kept[wire.VerdictKept]{status(k), j}, nil
}

type strikeVerdictInput struct {
	wire.VerdictPath
	Body struct {
		Why string `json:"why" minLength:"1" maxLength:"500"`
		By  string `json:"by,omitempty" maxLength:"8"`
	}
}

func (s resultRoutes) strikeVerdict(ctx context.Context, in *strikeVerdictInput) (*body[wire.VerdictKept], error) {
	if err := s.Archive.StrikeVerdict(ctx, in.ID, in.Body.By, in.Body.Why, s.Now()); err != nil {
		return nil, s.problemFrom(ctx, err)
	}
	j, err := s.Lids().VerdictKept(ctx, in.ID)
	if err != nil {
		return nil, s.problemFrom(ctx, err)
	}
	return &body[wire.VerdictKept]{j}, nil
}
