package api

import (
	"context"

	"lidwright/api/usecase"
	"lidwright/api/wire"
	"lidwright/tiles"
)

type forgetInput struct {
	Mark string `path:"mark" maxLength:"8" doc:"Maker's mark"`
	Body struct {
		Why string `json:"why,omitempty" maxLength:"500" doc:"For whoever asks; it is not kept, since it may name somebody"`
	}
}

// forgetMaker blanks a maker's mark everywhere and makes a copy without it. What was measured stays.
func (s studioRoutes) forgetMaker(ctx context.Context, in *forgetInput) (*body[wire.Forgotten], error) {
	mark, err := tiles.Maker("mark", in.Mark)
	if err != nil {
		return nil, s.problemFrom(ctx, err)
	}
	rows, err := s.Archive.ForgetMaker(ctx, mark, s.Now())
	if err != nil {
		return nil, s.problemFrom(ctx, err)
	}
	j := wire.Forgotten{Mark: mark, Rows: rows, Older: []wire.Copy{}, Aside: []string{}}
	if j.Copied, err = s.Copies.Make(context.WithoutCancel(ctx)); err != nil {
		j.Why = usecase.Sentence(err.Error())
	}
	older, aside, err := s.Copies.WithForgotten(ctx)
	if err != nil {
		return nil, s.problemFrom(ctx, err)
	}
	j.Older, j.Aside = copyList(older, s.Site.Zone), append(j.Aside, aside...)
	return &body[wire.Forgotten]{j}, nil
}
