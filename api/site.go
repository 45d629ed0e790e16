package api

import (
	"cmp"
	"context"
)

// siteJSON is what whoever follows a record asks first.
type siteJSON struct {
	Site    string `json:"site" doc:"UUID of the record"`
	Life    string `json:"life" doc:"UUIDv7; another one after the record went back to an earlier moment, such as a copy put in its place: numbers of changes then come again for other facts, and whoever follows begins at 0"`
	Name    string `json:"name" doc:"Of the studio, as in the settings"`
	Version string `json:"version" doc:"Of the program"`
	Last    int64  `json:"last_change" doc:"Number of the newest change; 0 if there is none"`
}

// site gives the name of the record, of the settings or its own, and its life.
func (s *Server) site(ctx context.Context) (id, life string, err error) {
	id, life, err = s.Archive.Site(ctx)
	return cmp.Or(s.Site.ID, id), life, err
}

func (s *Server) getSite(ctx context.Context, _ *struct{}) (*body[siteJSON], error) {
	j := siteJSON{Name: s.Site.Name, Version: s.Site.Version}
	var err error
	if j.Site, j.Life, err = s.site(ctx); err == nil {
		j.Last, err = s.Archive.LastChange(ctx)
	}
	if err != nil {
		return nil, s.problemFrom(ctx, err)
	}
	return &body[siteJSON]{j}, nil
}
