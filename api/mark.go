package api

import (
	"context"
	"net/http"
	"net/url"

	"lidwright/kiln"
	"lidwright/tiles"
)

type markJSON struct {
	ID     *string  `json:"id" doc:"null: the one of the settings"`
	MarkC  *float64 `json:"unpacking_mark_c"`
	Reason string   `json:"unpacking_reason"`
	By     string   `json:"by"`
	At     *string  `json:"at"`
}

type markBody struct {
	ID     string  `json:"id" doc:"UUIDv7 made by the sender"`
	MarkC  float64 `json:"unpacking_mark_c" minimum:"20" maximum:"300"`
	Reason string  `json:"unpacking_reason,omitempty" maxLength:"500" doc:"Needed over 50 °C: who says so, and why"`
	By     string  `json:"by,omitempty" maxLength:"8"`
}

type putMarkInput struct {
	KilnPath
	Body markBody
}

// mark is the unpacking mark in force: the last that was told, else that of the settings.
func (s *Server) mark(ctx context.Context, id kiln.KilnID) (tiles.UnpackingMark, error) {
	k, ok := s.Kiln[id]
	if !ok {
		return tiles.UnpackingMark{}, kiln.ErrNoKiln
	}
	told, err := s.Archive.UnpackingMarks(ctx, id)
	switch {
	case err != nil:
		return tiles.UnpackingMark{}, err
	case len(told) > 0:
		return told[0], nil
	}
	return tiles.UnpackingMark{Kiln: id, Mark: k.Unpacking, Reason: k.UnpackingReason}, nil
}

func (s *Server) markJSON(m tiles.UnpackingMark) markJSON {
	return markJSON{text(m.ID), celsius(m.Mark), m.Reason, m.By, s.moment(m.At)}
}

// putMark keeps the site's own temperature for unpacking a kiln, from now on.
func (s *Server) putMark(ctx context.Context, in *putMarkInput) (*kept[markJSON], error) {
	k, err := s.keepMark(ctx, kiln.KilnID(in.Kiln), in.Body)
	var m tiles.UnpackingMark
	if err == nil {
		m, err = s.mark(ctx, kiln.KilnID(in.Kiln))
	}
	if err != nil {
		return nil, s.problemFrom(ctx, err)
	}
	return &kept[markJSON]{status(k), s.markJSON(m)}, nil
}

func (s *Server) keepMark(ctx context.Context, id kiln.KilnID, b markBody) (tiles.PutResult, error) {
	if _, ok := s.Kiln[id]; !ok {
		return tiles.PutResult{}, problem("unknown-kiln", "No kiln "+string(id)+" in the settings.", ProblemField{"kiln", "not in the settings"})
	}
	m := tiles.UnpackingMark{ID: b.ID, Kiln: id, Mark: kiln.Celsius(b.MarkC), Reason: b.Reason, By: b.By}
	if err := m.Validate(); err != nil {
		return tiles.PutResult{}, err
	}
	k, err := s.Archive.PutUnpackingMark(ctx, m, s.Now())
	if err != nil || !k.New {
		return k, err
	}
	s.tellKiln(ctx, kiln.Fact{Kiln: id, What: kiln.MarkSet, At: s.Now(), Mark: m.Mark})
	return k, nil
}

// postMark keeps it from the form on the page of the settings.
func (s *Server) postMark(w http.ResponseWriter, r *http.Request) error {
	form, err := sent(r)
	if err != nil {
		return err
	}
	rd := newReader(form, s.unit())
	c, ok := rd.number("unpacking_mark_c", 20, 300)
	if len(rd.wrong) > 0 {
		return rd.wrong
	}
	if !ok {
		return problem("missing", "Say the unpacking mark.", ProblemField{"unpacking_mark_c", "is needed"})
	}
	id := r.PathValue("kiln")
	if _, err := s.keepMark(r.Context(), kiln.KilnID(id), markBody{form.Get("id"), c, form.Get("unpacking_reason"), form.Get("by")}); err != nil {
		return err
	}
	http.Redirect(w, r, "/settings#kiln-"+url.PathEscape(id), http.StatusSeeOther)
	return nil
}

// postProbe keeps the life of a thermocouple from the form on the page of the settings.
func (s *Server) postProbe(w http.ResponseWriter, r *http.Request) error {
	form, err := sent(r)
	if err != nil {
		return err
	}
	rd := newReader(form, s.unit())
	class, _ := rd.number("class", 1, 2)
	if len(rd.wrong) > 0 {
		return rd.wrong
	}
	id := r.PathValue("kiln")
	b := probeBody{Channel: form.Get("channel"), Type: form.Get("type"), Class: int(class), FittedOn: form.Get("fitted_on"), RemovedOn: form.Get("removed_on"), Note: form.Get("note")}
	if _, err := s.keepProbe(r.Context(), ProbePath{KilnPath{id}, form.Get("id")}, b); err != nil {
		return err
	}
	http.Redirect(w, r, "/settings#kiln-"+url.PathEscape(id), http.StatusSeeOther)
	return nil
}
