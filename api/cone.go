package api

import (
	"context"
	"errors"
	"strings"

	"lidwright/kiln"
	"lidwright/kiln/heatwork"
	"lidwright/tiles"
)

// coneJSON is a witness cone as it stood, and what it says.
type coneJSON struct {
	ID           string   `json:"id"`
	Firing       string   `json:"firing"`
	Cone         string   `json:"cone"`
	Series       string   `json:"series"`
	Shelf        string   `json:"shelf"`
	Seen         string   `json:"seen"`
	TiltDeg      *float64 `json:"tilt_deg"`
	Words        string   `json:"words" example:"cone 6 at 45°"`
	HeatWorkC    *float64 `json:"heat_work_c" doc:"What it shows, or the bound of it"`
	HeatWorkSD   *float64 `json:"heat_work_sd_c"`
	Side         string   `json:"side" enum:"at,under,over" doc:"under: upright, so the heat work was less; over: down, so it was more"`
	Says         string   `json:"says" doc:"What the reading asks, or why it does not count; empty if nothing is odd about it"`
	ProbeSays    string   `json:"probe_says" doc:"What the cones of this shelf told of the probe by the end of this firing"`
	By           string   `json:"by"`
	At           *string  `json:"at"`
	ClockTrusted bool     `json:"clock_trusted"`
	Struck       *actJSON `json:"struck"`
}

func (s *Server) coneJSON(c tiles.ConeSeen, stories []heatwork.ProbeStory) coneJSON {
	j := coneJSON{ID: c.ID, Firing: string(c.Firing), Cone: c.Cone, Series: c.Series, Shelf: c.Shelf, Seen: c.Seen, By: c.By, At: s.moment(c.At), ClockTrusted: c.Trusted}
	if c.Tilted {
		j.TiltDeg = rounded(c.Tilt, 0)
	}
	if says, err := heatwork.MainConeScale().ReadCone(c.Reading()); err != nil {
		j.Says = err.Error()
	} else {
		j.Words, j.HeatWorkC, j.HeatWorkSD = says.Words, celsius(says.C), rounded(says.SD, 1)
		j.Side = map[heatwork.ConeSide]string{heatwork.ConeAt: "at", heatwork.ConeUnder: "under", heatwork.ConeOver: "over"}[says.Side]
	}
	if a := c.Struck; a != nil {
		j.Struck = &actJSON{a.By, a.Why, s.moment(a.At)}
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
				if r.Reading == c.ID {
					j.Says = r.Says
				}
			}
		}
	}
	return j
}

type ConePath struct {
	FiringPath
	Cone string `path:"cone" doc:"UUIDv7 made by whoever tells of the cone"`
}

type coneBody struct {
	Cone    string   `json:"cone" doc:"As pressed into it: 06 is not 6" example:"6"`
	Series  string   `json:"series,omitempty" doc:"The studio's usual series if not said"`
	Shelf   string   `json:"shelf,omitempty"`
	Seen    string   `json:"seen,omitempty" enum:"upright,leaning,down"`
	TiltDeg *float64 `json:"tilt_deg,omitempty" minimum:"0" maximum:"180" doc:"From upright: level is 90"`
	By      string   `json:"by,omitempty" maxLength:"8"`
}

type putConeInput struct {
	ConePath
	Body coneBody
}

func (s *Server) putCone(ctx context.Context, in *putConeInput) (*kept[coneJSON], error) {
	k, err := s.keepCone(ctx, in.ConePath, in.Body)
	if err != nil {
		return nil, s.problemFrom(ctx, err)
	}
	j, err := s.cone(ctx, in.ConePath)
	if err != nil {
		return nil, s.problemFrom(ctx, err)
	}
	return &kept[coneJSON]{status(k), j}, nil
}

// keepCone keeps a cone if it is one that can be reckoned with, and has the heat works follow.
func (s *Server) keepCone(ctx context.Context, p ConePath, b coneBody) (tiles.PutResult, error) {
	f, err := s.findFiring(ctx, kiln.FiringID(p.ID))
	if err != nil {
		return tiles.PutResult{}, err
	}
	c, err := s.readCone(b, p.Cone, f.ID)
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

// readCone looks whether a cone can be reckoned with, and says in words why not.
func (s *Server) readCone(b coneBody, id string, firing kiln.FiringID) (tiles.ConeSeen, error) {
	l := heatwork.MainConeScale()
	cone, err := l.Cone(b.Cone)
	if err != nil {
		return tiles.ConeSeen{}, coneProblem("cone", err)
	}
	c := tiles.ConeSeen{ID: id, Firing: firing, Cone: cone.Label, Series: first(b.Series, s.coneSeries()), Shelf: strings.TrimSpace(b.Shelf), Seen: b.Seen, By: b.By}
	if b.TiltDeg != nil {
		c.Tilt, c.Tilted = *b.TiltDeg, true
	}
	if c.Seen == "" && c.Tilted {
		c.Seen = string(heatwork.SeenAt(c.Tilt))
	}
	if _, err := l.ReadCone(c.Reading()); err != nil {
		field := "seen"
		var e *heatwork.ConeError
		if errors.As(err, &e) && (e.Text == c.Series || strings.HasPrefix(e.Why, "The table of")) {
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
	return problem("unknown-value", e.Error(), ProblemField{field, e.Error()})
}

func (s *Server) coneSeries() string {
	return first(s.Site.ConeSeries, string(heatwork.SeriesSelfSupporting))
}

// cone is one cone of a firing as it stands now.
func (s *Server) cone(ctx context.Context, p ConePath) (coneJSON, error) {
	f, err := s.findFiring(ctx, kiln.FiringID(p.ID))
	if err != nil {
		return coneJSON{}, err
	}
	cones, err := s.Archive.Cones(ctx, f.ID)
	if err != nil {
		return coneJSON{}, err
	}
	stories, err := s.Heat.Stories(ctx, f.Kiln)
	if err != nil {
		return coneJSON{}, err
	}
	for _, c := range cones {
		if c.ID == p.Cone {
			return s.coneJSON(c, stories), nil
		}
	}
	return coneJSON{}, tiles.ErrNoCone
}

type strikeBody struct {
	Why string `json:"why" maxLength:"500"`
	By  string `json:"by,omitempty" maxLength:"8"`
}

type strikeConeInput struct {
	ConePath
	Body strikeBody
}

func (s *Server) strikeCone(ctx context.Context, in *strikeConeInput) (*body[coneJSON], error) {
	err := s.strikeConeOf(ctx, in.ConePath, in.Body)
	var j coneJSON
	if err == nil {
		j, err = s.cone(ctx, in.ConePath)
	}
	if err != nil {
		return nil, s.problemFrom(ctx, err)
	}
	return &body[coneJSON]{j}, nil
}

func (s *Server) strikeConeOf(ctx context.Context, p ConePath, b strikeBody) error {
	j, err := s.cone(ctx, p)
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
	f, err := s.findFiring(ctx, kiln.FiringID(p.ID))
	if err == nil {
		s.Heat.Again(ctx, f.Kiln)
	}
	return err
}
