package api

import (
	"context"
	"net/http"

	"lidwright/api/wire"
)

func (s barRoutes) getStory(ctx context.Context, in *wire.BarPath) (*body[wire.Story], error) {
	j, err := s.Bars().Story(ctx, *in)
	if err != nil {
		return nil, s.problemFrom(ctx, err)
	}
	return &body[wire.Story]{j}, nil
}

func (s barRoutes) storyPage(w http.ResponseWriter, r *http.Request) error {
	j, err := s.Bars().Story(r.Context(), wire.BarPath{Bar: r.PathValue("bar")})
	if err != nil {
		return err
	}
	return s.render(w, "story", struct {
		page
		Story wire.Story
	}{s.page(r.Context(), "bars"), j})
}
