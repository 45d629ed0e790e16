package api

import (
	"context"

	"lidwright/api/wire"
	"lidwright/kiln"
	"lidwright/tiles"
)

func (s *Server) noteJSON(n tiles.Note) wire.Note {
	j := wire.Note{ID: n.ID, Firing: string(n.Firing), Text: n.Text, At: s.moment(n.At), Incident: n.Incident, By: n.By, ClockTrusted: n.Trusted}
	if n.Happened != "" {
		j.At = text(n.Happened)
	}
	if a := n.Struck; a != nil {
		j.Struck = &wire.Act{By: a.By, Why: a.Why, At: s.moment(a.At)}
	}
	return j
}

type putNoteInput struct {
	wire.NotePath
	Body wire.NoteBody
}

func (s *Server) putNote(ctx context.Context, in *putNoteInput) (*kept[wire.Note], error) {
	k, err := s.keepNote(ctx, in.NotePath, in.Body)
	if err != nil {
		return nil, s.problemFrom(ctx, err)
	}
	j, err := s.note(ctx, in.NotePath)
	if err != nil {
		return nil, s.problemFrom(ctx, err)
	}
	return &kept[wire.Note]{status(k), j}, nil
}

func (s *Server) keepNote(ctx context.Context, p wire.NotePath, b wire.NoteBody) (tiles.PutResult, error) {
	f, err := s.findFiring(ctx, kiln.FiringID(p.ID))
	if err != nil {
		return tiles.PutResult{}, err
	}
	n := tiles.Note{ID: p.Note, Firing: f.ID, Text: b.Text, Happened: b.At, Incident: b.Incident, By: b.By}
	if err := n.Validate(); err != nil {
		return tiles.PutResult{}, err
	}
	return s.Archive.PutNote(ctx, n, s.Now())
}

func (s *Server) note(ctx context.Context, p wire.NotePath) (wire.Note, error) {
	notes, err := s.Archive.Notes(ctx, kiln.FiringID(p.ID))
	for _, n := range notes {
		if n.ID == p.Note {
			return s.noteJSON(n), nil
		}
	}
	if err == nil {
		err = tiles.ErrNoNote
	}
	return wire.Note{}, err
}

type strikeNoteInput struct {
	wire.NotePath
	Body wire.StrikeBody
}

func (s *Server) strikeNote(ctx context.Context, in *strikeNoteInput) (*body[wire.Note], error) {
	_, err := s.note(ctx, in.NotePath)
	a := tiles.Act{By: in.Body.By, Why: in.Body.Why}
	if err == nil {
		err = a.Validate(true)
	}
	if err == nil {
		err = s.Archive.StrikeNote(ctx, in.Note, a.By, a.Why, s.Now())
	}
	var j wire.Note
	if err == nil {
		j, err = s.note(ctx, in.NotePath)
	}
	if err != nil {
		return nil, s.problemFrom(ctx, err)
	}
	return &body[wire.Note]{j}, nil
}
