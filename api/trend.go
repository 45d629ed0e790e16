package api

import (
	"context"
	"net/http"

	"lidwright/api/wire"
	"lidwright/kiln"
)

type trendInput struct {
	Kiln       string `query:"kiln" required:"true"`
	Kind       string `query:"kind" enum:"bisque,glaze,once,other" doc:"That of the newest firing if not said"`
	Atmosphere string `query:"atmosphere" enum:"oxidation,reduction,unknown" doc:"That of the newest firing of the kind if not said"`
	Years      int    `query:"years" default:"1" minimum:"1" maximum:"20"`
}

func (s firingRoutes) getTrend(ctx context.Context, in *trendInput) (*body[wire.Trend], error) {
	out, err := s.Firings().Trend(ctx, kiln.KilnID(in.Kiln), kiln.Kind(in.Kind), kiln.Atmosphere(in.Atmosphere), in.Years)
	if err != nil {
		return nil, s.problemFrom(ctx, err)
	}
	return &body[wire.Trend]{out}, nil
}

func (s firingRoutes) trendPage(w http.ResponseWriter, r *http.Request) error {
	q := r.URL.Query()
	t, err := s.Firings().Trend(r.Context(), kiln.KilnID(r.PathValue("kiln")), kiln.Kind(q.Get("kind")), kiln.Atmosphere(q.Get("atmosphere")), 1)
	if err != nil {
		return err
	}
	return s.render(w, "trend", struct {
		page
		Trend wire.Trend
		Kinds []kiln.Kind
	}{s.page(r.Context(), "kiln"), t, []kiln.Kind{kiln.Bisque, kiln.Glaze, kiln.Once, kiln.Other}})
}
