package api

import (
	"context"

	"lidwright/api/wire"
)

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
