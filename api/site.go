package api

import (
	"cmp"
	"context"

	"lidwright/api/wire"
)

// site gives the name of the record, of the settings or its own, and its life.
func (s *Server) site(ctx context.Context) (id, life string, err error) {
	id, life, err = s.Archive.Site(ctx)
	return cmp.Or(s.Site.ID, id), life, err
}

func (s *Server) getSite(ctx context.Context, _ *struct{}) (*body[wire.Site], error) {
	j := wire.Site{Name: s.Site.Name, Version: s.Site.Version}
	var err error
	if j.Site, j.Life, err = s.site(ctx); err == nil {
		j.Last, err = s.Archive.LastChange(ctx)
	}
	if err != nil {
		return nil, s.problemFrom(ctx, err)
	}
	return &body[wire.Site]{j}, nil
}
