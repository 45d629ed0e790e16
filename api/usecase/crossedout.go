package usecase

import (
	"context"
	"time"

	"lidwright/api/wire"
	"lidwright/kiln"
	"lidwright/kiln/message"
	"lidwright/tiles"
	"lidwright/tiles/lid"
)

// ThisEvening is how far back what was crossed out is listed where nobody says since when: a class, and the
// day before it. (own)
const ThisEvening = 12 * time.Hour

// CrossedOut lists what was crossed out since a moment and nobody restored, newest first, each with what it
// was.
func (s *Studio) CrossedOut(ctx context.Context, since time.Time) ([]wire.CrossedOut, error) {
	all, err := s.Archive.CrossedOut(ctx, since)
	if err != nil {
		return nil, err
	}
	out := make([]wire.CrossedOut, 0, len(all))
	for _, c := range all {
		j := wire.CrossedOut{Kind: c.Kind, ID: c.ID, By: c.By, Why: c.Why, At: s.Moment(c.At)}
		if j.What, j.Link, err = s.wasCrossedOut(ctx, c); err != nil {
			return nil, err
		}
		out = append(out, j)
	}
	return out, nil
}

// wasCrossedOut says what a thing was that is crossed out, and on which page it stands.
func (s *Studio) wasCrossedOut(ctx context.Context, c tiles.StruckFact) (what message.Message, link string,
	err error) {
	switch c.Kind {
	case "reading":
		bar, err := s.Archive.Bar(ctx, tiles.Code(c.Of), s.Channel)
		for _, r := range bar.Readings {
			if r.ID == c.ID {
				what = message.New("{1}: {2}", c.Of, readingWords(r))
			}
		}
		return what, "/bar/" + c.Of, err
	case "load":
		l, err := s.Archive.Load(ctx, c.ID)
		return message.New("{1}, called off", message.Capital(NameOf(l.Load))), "/load/" + c.ID, err
	case "lid_result":
		v, err := s.Archive.LidResult(ctx, c.ID)
		return lidWords(v), "/lid-results#boards", err
	}
	f, err := s.Firings().FindFiring(ctx, kiln.FiringID(c.Of))
	if err != nil {
		return what, "", err
	}
	what, err = s.seenWords(ctx, f, c)
	return what, "/firing/" + c.Of, err
}

// seenWords is a cone or a note of a firing in words.
func (s *Studio) seenWords(ctx context.Context, f kiln.Firing, c tiles.StruckFact) (message.Message, error) {
	if c.Kind == "cone" {
		cones, err := s.Archive.Cones(ctx, f.ID)
		for _, k := range cones {
			if k.ID == c.ID && k.Tilted {
				return message.New("cone {1} at {2}° of {3}", k.Cone, message.Figure(k.Tilt), f.Name()), err
			} else if k.ID == c.ID {
				return message.New("cone {1} {2} of {3}", k.Cone, k.Seen, f.Name()), err
			}
		}
		return message.Message{}, err
	}
	notes, err := s.Archive.Notes(ctx, f.ID)
	for _, n := range notes {
		if n.ID == c.ID {
			return message.New("a note of {1}: {2}", f.Name(), n.Text), err
		}
	}
	return message.Message{}, err
}

// lidWords is a board of lids in words.
func lidWords(v lid.Result) message.Message {
	if v.Form == "" {
		return message.New("lids of {1}: {2}", v.Lid.String(), v.Sat.Lids())
	}
	return message.New("lids of {1}, {2}: {3}", v.Lid.String(), v.Form, v.Sat.Lids())
}

// Restore takes back that something was crossed out, or that a load was called off: it counts as before.
func (s *Studio) Restore(ctx context.Context, kind, id, by string) error {
	a := tiles.Act{By: by}
	if err := a.Validate(false); err != nil {
		return err
	}
	if kind == "load" {
		l, err := s.Archive.Load(ctx, id)
		if err == nil && !l.CalledOff.IsZero() {
			_, err = s.Loads().PutBack(ctx, id, a.By)
		}
		return err
	}
	of, err := s.Archive.Restore(ctx, kind, id, a.By, s.Now())
	if err != nil {
		return err
	}
	switch kind {
	case "reading":
		s.Shrink.Touch(tiles.Code(of))
	case "cone":
		f, err := s.Firings().FindFiring(ctx, kiln.FiringID(of))
		if err != nil {
			return err
		}
		s.Heat.Again(ctx, f.Kiln)
	}
	return nil
}
