package api

import (
	"context"
	"net/http"
	"time"

	"github.com/danielgtaylor/huma/v2"
	"github.com/danielgtaylor/huma/v2/adapters/humago"

	"lidwright/api/wire"
	"lidwright/tiles"
)

type changesInput struct {
	Patient
	After int64 `query:"after" minimum:"0" doc:"Number of the last change that is known; 0 for all"`
	Limit int   `query:"limit" default:"50" minimum:"1" maximum:"500"`
	Wait  int   `query:"wait" minimum:"0" maximum:"60" doc:"Seconds to wait for something new"`
}

// Patient is embedded where an answer may take longer than the server gives otherwise.
type Patient struct{ answer *http.ResponseController }

// Resolve is called by huma before the handler.
func (p *Patient) Resolve(c huma.Context) []error {
	_, w := humago.Unwrap(c)
	p.answer = http.NewResponseController(w)
	return nil
}

func (s studioRoutes) getChanges(ctx context.Context, in *changesInput) (*body[wire.Changes], error) {
	if in.Wait > 0 {
		// A writer that knows no deadline (a test's) is written to all the same.
		_ = in.answer.SetWriteDeadline(time.Now().Add(time.Duration(in.Wait)*time.Second + 10*time.Second))
	}
	waited, cancel := context.WithTimeout(ctx, time.Duration(in.Wait)*time.Second)
	defer cancel()
	for {
		news := s.Archive.News()
		found, err := s.Archive.Changes(ctx, in.After, in.Limit+1)
		if err != nil {
			return nil, s.problemFrom(ctx, err)
		}
		if len(found) > 0 || waited.Err() != nil {
			j := s.changesJSON(found, in)
			if j.Site, j.Life, err = s.SiteRecord(ctx); err != nil {
				return nil, s.problemFrom(ctx, err)
			}
			return &body[wire.Changes]{j}, nil
		}
		select {
		case <-news:
		case <-waited.Done():
		}
	}
}

func (s studioRoutes) changesJSON(found []tiles.Change, in *changesInput) wire.Changes {
	j := wire.Changes{Items: []wire.Change{}, Next: in.After, More: len(found) > in.Limit}
	for _, c := range found[:min(len(found), in.Limit)] {
		j.Items = append(j.Items, s.ChangeJSON(c))
		j.Next = c.Seq
	}
	return j
}

func (s studioRoutes) getSite(ctx context.Context, _ *struct{}) (*body[wire.Site], error) {
	j := wire.Site{Name: s.Site.Name, Version: s.Site.Version}
	var err error
	if j.Site, j.Life, err = s.SiteRecord(ctx); err == nil {
		j.Last, err = s.Archive.LastChange(ctx)
	}
	if err != nil {
		return nil, s.problemFrom(ctx, err)
	}
	return &body[wire.Site]{j}, nil
}
