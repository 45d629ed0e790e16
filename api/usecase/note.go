package usecase

import (
	"context"

	"lidwright/api/wire"
	"lidwright/kiln"
	"lidwright/tiles"
)

func (s Firings) noteJSON(n tiles.Note) wire.Note {
	j := wire.Note{ID: n.ID, Firing: string(n.Firing), Text: n.Text, At: s.Moment(n.At), Incident: n.Incident, By: n.By, ClockTrusted: n.Trusted}
	if n.Happened != "" {
		j.At = Text(n.Happened)
	}
	if a := n.Struck; a != nil {
		j.Struck = &wire.Act{By: a.By, Why: a.Why, At: s.Moment(a.At)}
	}
	return j
}

func (s Firings) KeepNote(ctx context.Context, p wire.NotePath, b wire.NoteBody) (tiles.PutResult, error) {
	f, err := s.FindFiring(ctx, kiln.FiringID(p.ID))
	if err != nil {
		return tiles.PutResult{}, err
	}
	n := tiles.Note{ID: p.Note, Firing: f.ID, Text: b.Text, Happened: b.At, Incident: b.Incident, By: b.By}
	if err := n.Validate(); err != nil {
		return tiles.PutResult{}, err
	}
	return s.Archive.PutNote(ctx, n, s.Now())
}

func (s Firings) Note(ctx context.Context, p wire.NotePath) (wire.Note, error) {
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
