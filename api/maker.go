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
	// Copied and what follows: forgetting is not done before the copies are.
	Copied bool       `json:"copied" doc:"The newest copy was made after it and has the mark nowhere; false: see copy_trouble, or the newest copy had everything"`
	Why    string     `json:"copy_trouble,omitempty" doc:"Why no copy could be made"`
	Older  []copyJSON `json:"older_copies" doc:"Copies of before that still have the mark of a forgotten maker; POST /v1/copies/renew takes it out"`
	Aside  []string   `json:"moved_aside" doc:"Files that were moved aside when the store was damaged or replaced, and may have the mark; delete them by hand when nobody needs them"`
}

// forgetMaker blanks a maker's mark everywhere and makes a copy without it. What was measured stays.
func (s *Server) forgetMaker(ctx context.Context, in *forgetInput) (*body[forgottenJSON], error) {
	mark, err := tiles.Maker("mark", in.Mark)
	if err != nil {
		return nil, s.problemFrom(ctx, err)
	}
	rows, err := s.Archive.ForgetMaker(ctx, mark, s.Now())
	if err != nil {
		return nil, s.problemFrom(ctx, err)
	}
	j := forgottenJSON{Mark: mark, Rows: rows, Older: []copyJSON{}, Aside: []string{}}
	if j.Copied, err = s.Copies.Make(context.WithoutCancel(ctx)); err != nil {
		j.Why = sentence(err.Error())
	}
	older, aside, err := s.Copies.WithForgotten(ctx)
	if err != nil {
		return nil, s.problemFrom(ctx, err)
	}
	j.Older, j.Aside = copyList(older, s.Site.Zone), append(j.Aside, aside...)
	return &body[forgottenJSON]{j}, nil
}
