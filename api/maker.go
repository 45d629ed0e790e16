package api

import (
	"context"

	"lidwright/tiles"
)

type forgetInput struct {
	Mark string `path:"mark" maxLength:"8" doc:"Maker's mark"`
	Body struct {
		Why string `json:"why,omitempty" maxLength:"500" doc:"For whoever asks; it is not kept, since it may name somebody"`
	}
}

type forgottenJSON struct {
	Mark string `json:"mark"`
	Rows int    `json:"rows" doc:"Facts that the mark stood on; they stay, without it"`
}

// forgetMaker blanks a maker's mark everywhere. What was measured stays.
func (s *Server) forgetMaker(ctx context.Context, in *forgetInput) (*body[forgottenJSON], error) {
	mark, err := tiles.Maker("mark", in.Mark)
	if err != nil {
		return nil, s.problemFrom(ctx, err)
	}
	rows, err := s.Archive.ForgetMaker(ctx, mark, s.Now())
	if err != nil {
		return nil, s.problemFrom(ctx, err)
	}
	return &body[forgottenJSON]{forgottenJSON{mark, rows}}, nil
}
