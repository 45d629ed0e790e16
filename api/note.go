package api

import (
	"context"

	"lidwright/kiln"
	"lidwright/tiles"
)

// noteJSON is a note of a firing.
type noteJSON struct {
	ID           string   `json:"id"`
	Firing       string   `json:"firing"`
	Text         string   `json:"text"`
	At           *string  `json:"at" doc:"The moment it speaks of, or when it was written"`
	Incident     bool     `json:"incident" doc:"Something that should not happen again"`
	By           string   `json:"by"`
	ClockTrusted bool     `json:"clock_trusted"`
	Struck       *actJSON `json:"struck"`
}

func (s *Server) noteJSON(n tiles.Note) noteJSON {
	j := noteJSON{ID: n.ID, Firing: string(n.Firing), Text: n.Text, At: s.moment(n.At), Incident: n.Incident, By: n.By, ClockTrusted: n.Trusted}
	if n.Happened != "" {
		j.At = text(n.Happened)
	}
	if a := n.Struck; a != nil {
		j.Struck = &actJSON{a.By, a.Why, s.moment(a.At)}
	}
	return j
}

type NotePath struct {
	FiringPath
	Note string `path:"note" doc:"UUIDv7 made by whoever writes it"`
}

type noteBody struct {
	Text     string `json:"text" maxLength:"500"`
	At       string `json:"at,omitempty" format:"date-time" doc:"The moment it speaks of; now if not said"`
	Incident bool   `json:"incident,omitempty"`
	By       string `json:"by,omitempty" maxLength:"8"`
}

type putNoteInput struct {
	NotePath
	Body noteBody
}

func (s *Server) putNote(ctx context.Context, in *putNoteInput) (*kept[noteJSON], error) {
	k, err := s.keepNote(ctx, in.NotePath, in.Body)
	if err != nil {
		return nil, s.problemFrom(ctx, err)
	}
	j, err := s.note(ctx, in.NotePath)
	if err != nil {
		return nil, s.problemFrom(ctx, err)
	}
	return &kept[noteJSON]{status(k), j}, nil
}

func (s *Server) keepNote(ctx context.Context, p NotePath, b noteBody) (tiles.PutResult, error) {
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

func (s *Server) note(ctx context.Context, p NotePath) (noteJSON, error) {
	notes, err := s.Archive.Notes(ctx, kiln.FiringID(p.ID))
	for _, n := range notes {
		if n.ID == p.Note {
			return s.noteJSON(n), nil
		}
	}
	if err == nil {
		err = tiles.ErrNoNote
	}
	return noteJSON{}, err
}

type strikeNoteInput struct {
	NotePath
	Body strikeBody
}

func (s *Server) strikeNote(ctx context.Context, in *strikeNoteInput) (*body[noteJSON], error) {
	_, err := s.note(ctx, in.NotePath)
	a := tiles.Act{By: in.Body.By, Why: in.Body.Why}
	if err == nil {
		err = a.Validate(true)
	}
	if err == nil {
		err = s.Archive.StrikeNote(ctx, in.Note, a.By, a.Why, s.Now())
	}
	var j noteJSON
	if err == nil {
		j, err = s.note(ctx, in.NotePath)
	}
	if err != nil {
		return nil, s.problemFrom(ctx, err)
	}
	return &body[noteJSON]{j}, nil
}
