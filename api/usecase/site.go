package usecase

import (
	"cmp"
	"context"
)

// site gives the name of the record, of the settings or its own, and its life.
func (s *Studio) SiteRecord(ctx context.Context) (id, life string, err error) {
	id, life, err = s.Archive.Site(ctx)
	return cmp.Or(s.Site.ID, id), life, err
}
