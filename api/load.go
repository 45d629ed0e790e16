package api

import (
	"context"
	"time"

	"lidwright/api/usecase"
	"lidwright/api/wire"
	"lidwright/kiln"
	"lidwright/tiles"
)

type loadsInput struct {
	Kiln    string `query:"kiln"`
	Kind    string `query:"kind" enum:"bisque,glaze,once,other"`
	Waiting bool   `query:"waiting" doc:"Fired, with bars still to measure"`
	Open    bool   `query:"open" doc:"Not fired and not unpacked"`
	After   string `query:"after" doc:"The next of the answer before"`
	Limit   int    `query:"limit" default:"50" minimum:"1" maximum:"500"`
}

func (s loadRoutes) getLoads(ctx context.Context, in *loadsInput) (*body[wire.List[wire.Load]], error) {
	all, err := s.Archive.Loads(ctx, tiles.LoadFilter{Kiln: in.Kiln, Kind: kiln.Kind(in.Kind), Waiting: in.Waiting, Open: in.Open, After: in.After, Limit: in.Limit + 1})
	if err != nil {
		return nil, s.problemFrom(ctx, err)
	}
	return listOf(all, in.Limit, func(l tiles.KeptLoad) string { return l.ID }, s.Loads().LoadJSON), nil
}

func (s loadRoutes) getLoad(ctx context.Context, in *wire.LoadPath) (*thing[wire.Load], error) {
	l, err := s.Archive.Load(ctx, in.ID)
	if err != nil {
		return nil, s.problemFrom(ctx, err)
	}
	return &thing[wire.Load]{revision(l.Revision), s.Loads().LoadJSON(l)}, nil
}

type putLoadInput struct {
	wire.LoadPath
	Body wire.LoadBody
}

func (s loadRoutes) putLoad(ctx context.Context, in *putLoadInput) (*edited[wire.Load], error) {
	k, err := s.Loads().KeepLoad(ctx, in.ID, in.Body, usecase.PreconditionOf(ctx))
	if err != nil {
		return nil, s.problemFrom(ctx, err)
	}
	l, err := s.Archive.Load(ctx, in.ID)
	if err != nil {
		return nil, s.problemFrom(ctx, err)
	}
	return &edited[wire.Load]{status(k), revision(l.Revision), s.Loads().LoadJSON(l)}, nil
}

type closeLoadInput struct {
	wire.LoadPath
	Body struct {
		UnpackedAt string `json:"unpacked_at,omitempty" format:"date-time"`
		By         string `json:"by,omitempty" maxLength:"8"`
	}
}

func (s loadRoutes) closeLoad(ctx context.Context, in *closeLoadInput) (*body[wire.Load], error) {
	at := s.Now().Wall
	if in.Body.UnpackedAt != "" {
		t, err := time.Parse(time.RFC3339, in.Body.UnpackedAt)
		if err != nil {
			return nil, problem("out-of-range", "unpacked_at is no time.", wire.Field{Name: "unpacked_at", Says: "write 2026-01-14T13:00:00+01:00"})
		}
		at = t
	}
	l, err := s.Loads().Unpacked(ctx, in.ID, at, in.Body.By)
	if err != nil {
		return nil, s.problemFrom(ctx, err)
	}
	return &body[wire.Load]{s.Loads().LoadJSON(l)}, nil
}
