package usecase

import (
	"cmp"
	"context"
	"errors"
	"net/url"
	"strings"

	"lidwright/api/wire"
	"lidwright/kiln"
	"lidwright/kiln/heatwork"
	"lidwright/kiln/message"
	"lidwright/tiles"
)

func (s Firings) coneJSON(f kiln.Firing, c tiles.ConeSeen, stories []heatwork.ProbeStory) wire.Cone {
	j := wire.Cone{ID: c.ID, Firing: string(c.Firing), Cone: c.Cone, Series: c.Series, Shelf: c.Shelf,
		Seen: c.Seen, By: c.By, At: s.Moment(c.At), ClockTrusted: c.Trusted}
	if c.Tilted {
		j.TiltDeg = Rounded(c.Tilt, 0)
	}
	var wrong message.Message
	if says, err := heatwork.MainConeScale().ReadCone(c.Reading()); err != nil {
		j.Says, wrong = message.Of(err), message.Of(err)
	} else {
		j.Words, j.HeatWorkC, j.HeatWorkSD = says.Words, Celsius(says.C), Rounded(says.SD, 1)
		j.Side = map[heatwork.ConeSide]string{heatwork.ConeAt: "at", heatwork.ConeUnder: "under",
			heatwork.ConeOver: "over"}[says.Side]
	}
	if a := c.Struck; a != nil {
		j.Struck = &wire.Act{By: a.By, Why: a.Why, At: s.Moment(a.At)}
		j.WhyNot = coneWhyNot(c, tiles.CrossedOut, message.New("It was crossed out."), "Tell it anew")
		return j
	}
	for _, st := range stories {
		if st.Of != c.Shelf {
			continue
		}
		for _, b := range st.After {
			if b.Firing != c.Firing {
				continue
			}
			j.ProbeSays = b.Says()
			for _, r := range b.Remarks {
				if r.Reading != c.ID {
					continue
				}
				j.Says = r.Says
				switch {
				case r.Counted, r.HeatAlone:
				case r.Says.IsZero():
					j.WhyNot = coneWhyNot(c, tiles.CheckOnly,
						message.New("It agrees with the curve, and stood so far from bending that it tells nothing more."), "")
				default:
					wrong = r.Says
				}
			}
		}
	}
	if !wrong.IsZero() {
		j.WhyNot = coneWhyNot(c, tiles.LooksWrong, wrong, "Cross it out, and tell it anew if it was another")
	}
	j.Counted = j.WhyNot == nil
	w, known := f.Work(s.Known(f.Kiln).Control)
	j.Pending = j.Counted && (f.Status == kiln.Running || !known || !w.C.Known())
	return j
}

// coneWhyNot is why a cone does not count.
func coneWhyNot(c tiles.ConeSeen, code tiles.NotCounted, says message.Message, fix message.Key) *wire.WhyNot {
	out := &wire.WhyNot{Code: string(code), Text: says}
	if fix != "" {
		out.Fix = &wire.Fix{Text: message.New(fix),
			Link: "/firing/" + url.PathEscape(string(c.Firing)) + "#cones"}
	}
	return out
}

// KeepCone keeps a cone if it is one that can be reckoned with, and has the heat works follow.
func (s Firings) KeepCone(ctx context.Context, p wire.ConePath, b wire.ConeBody) (tiles.PutResult, error) {
	f, err := s.FindFiring(ctx, kiln.FiringID(p.ID))
	if err != nil {
		return tiles.PutResult{}, err
	}
	c, err := s.ReadCone(b, p.Cone, f.ID)
	if err != nil {
		return tiles.PutResult{}, err
	}
	if err := c.Validate(); err != nil {
		return tiles.PutResult{}, err
	}
	k, err := s.Archive.PutCone(ctx, c, s.Now())
	if err == nil && k.New {
		s.Heat.Again(ctx, f.Kiln)
	}
	return k, err
}

// ReadCone looks whether a cone can be reckoned with, and says in words why not.
func (s Firings) ReadCone(b wire.ConeBody, id string, firing kiln.FiringID) (tiles.ConeSeen, error) {
	l := heatwork.MainConeScale()
	cone, err := l.Cone(b.Cone)
	if err != nil {
		return tiles.ConeSeen{}, coneProblem("cone", err)
	}
	c := tiles.ConeSeen{ID: id, Firing: firing, Cone: cone.Label, Series: cmp.Or(b.Series, s.ConeSeries()),
		Shelf: strings.TrimSpace(b.Shelf), Seen: b.Seen, By: b.By}
	if b.TiltDeg != nil {
		c.Tilt, c.Tilted = *b.TiltDeg, true
	}
	if c.Seen == "" && c.Tilted {
		c.Seen = string(heatwork.SeenAt(c.Tilt))
	}
	if _, err := l.ReadCone(c.Reading()); err != nil {
		field := "seen"
		var e *heatwork.ConeError
		if errors.As(err, &e) && (e.Text == c.Series || e.Series) {
			field = "series"
		}
		return c, coneProblem(field, err)
	}
	return c, nil
}

// coneProblem says in words why a cone cannot be used.
func coneProblem(field string, err error) error {
	var e *heatwork.ConeError
	if !errors.As(err, &e) {
		return err
	}
	return refuse("unknown-value", e.Says(), wire.Field{Name: field, Says: e.Says()})
}

// ConeSeries is the series of a cone of which nobody said it: that of the settings, else the main one.
func (s Firings) ConeSeries() string {
	return cmp.Or(s.Site.ConeSeries, string(heatwork.SeriesSelfSupporting))
}

// Cone is one cone of a firing as it stands now.
func (s Firings) Cone(ctx context.Context, p wire.ConePath) (wire.Cone, error) {
	f, err := s.FindFiring(ctx, kiln.FiringID(p.ID))
	if err != nil {
		return wire.Cone{}, err
	}
	cones, err := s.Archive.Cones(ctx, f.ID)
	if err != nil {
		return wire.Cone{}, err
	}
	stories, err := s.Heat.Stories(ctx, f.Kiln)
	if err != nil {
		return wire.Cone{}, err
	}
	for _, c := range cones {
		if c.ID == p.Cone {
			return s.coneJSON(f, c, stories), nil
		}
	}
	return wire.Cone{}, tiles.ErrNoCone
}

// StrikeConeOf crosses a cone of a firing out; a reason is needed. What the cones tell of the probe is
// worked out again.
func (s Firings) StrikeConeOf(ctx context.Context, p wire.ConePath, b wire.StrikeBody) error {
	j, err := s.Cone(ctx, p)
	if err != nil {
		return err
	}
	a := tiles.Act{By: b.By, Why: b.Why}
	if err := a.Validate(true); err != nil {
		return err
	}
	if err := s.Archive.StrikeCone(ctx, j.ID, a.By, a.Why, s.Now()); err != nil {
		return err
	}
	f, err := s.FindFiring(ctx, kiln.FiringID(p.ID))
	if err == nil {
		s.Heat.Again(ctx, f.Kiln)
	}
	return err
}
