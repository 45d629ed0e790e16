package api

import (
	"bytes"
	"errors"
	"strings"

	"github.com/danielgtaylor/huma/v2"

	"lidwright/tiles"
)

// Edit is what an edit may say of what it was made from.
type Edit struct {
	IfMatch     string `header:"If-Match" doc:"ETag of the answer that the edit was made from; 412 if somebody changed it meanwhile"`
	IfNoneMatch string `header:"If-None-Match" doc:"*: only if there is nothing yet"`
}

// match turns the headers into what the store is to hold the edit against. now gives the answer that
// a GET has now, and its revision.
func (e Edit) match(now func() (any, int64, error)) (tiles.Match, error) {
	m := tiles.Match{New: strings.TrimSpace(e.IfNoneMatch) == "*"}
	if e.IfMatch == "" {
		return m, nil
	}
	answer, revision, err := now()
	switch {
	case errors.Is(err, tiles.ErrNoBar), errors.Is(err, tiles.ErrNoLoad), errors.Is(err, tiles.ErrNoClay):
		return m, tiles.ErrChanged
	case err != nil:
		return m, err
	}
	var b bytes.Buffer
	if err := huma.DefaultJSONFormat.Marshal(&b, answer); err != nil {
		return m, err
	}
	if !matches(e.IfMatch, tagOf(b.Bytes())) {
		return m, tiles.ErrChanged
	}
	m.Revision = revision
	return m, nil
}
