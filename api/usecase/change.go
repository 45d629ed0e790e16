package usecase

import (
	"cmp"
	"context"
	"encoding/json"

	"lidwright/api/wire"
	"lidwright/tiles"
)

func (s *Studio) ChangeJSON(c tiles.Change) wire.Change {
	j := wire.Change{Seq: c.Seq, Kind: c.Kind, Op: c.Op, ID: c.ID, At: s.Moment(c.At), ClockTrusted: c.Trusted, Boot: c.Boot, Body: map[string]any{}}
	json.Unmarshal([]byte(c.Body), &j.Body) // the store holds valid JSON; what is no object stays empty
	return j
}

// SiteRecord gives the name of the record, of the settings or its own, and its life.
func (s *Studio) SiteRecord(ctx context.Context) (id, life string, err error) {
	id, life, err = s.Archive.Site(ctx)
	return cmp.Or(s.Site.ID, id), life, err
}
