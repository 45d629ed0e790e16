package api

import (
	"context"

	"lidwright/kiln"
	"lidwright/kiln/detect"
	"lidwright/kiln/heatwork"
	"lidwright/kiln/record"
	"lidwright/tiles"
)

// kilnJSON is a kiln as the settings and the people have it.
type kilnJSON struct {
	Kiln           string            `json:"kiln"`
	LimitC         *float64          `json:"limit_c"`
	KeepShutAboveC *float64          `json:"keep_shut_above_c"`
	Reason         string            `json:"keep_shut_reason"`
	Control        string            `json:"control"`
	Shelves        map[string]string `json:"shelves" doc:"Probe whose heat a bar of that shelf had; others: control"`
	Probes         []probeJSON       `json:"probes" doc:"Lives of thermocouples, a life and shelf each"`
	Usual          []usualJSON       `json:"usual"`
}

type probeJSON struct {
	ID         *string   `json:"id" doc:"null for the one of the settings, and for one that nobody told of"`
	Channel    string    `json:"channel"`
	Shelf      string    `json:"shelf" doc:"Whose cones tell; empty: where most stood"`
	Type       string    `json:"type"`
	Class      int       `json:"class"`
	FittedOn   *string   `json:"fitted_on"`
	RemovedOn  *string   `json:"removed_on"`
	Firings    int       `json:"firings"`
	Bias       *biasJSON `json:"bias_c" doc:"true minus indicated near the top; null before the first cone"`
	Says       string    `json:"says"`
	Notable    bool      `json:"notable" doc:"More than 8 °C and two sds off after each of the last two firings: look at the probe"`
	ToleranceC *float64  `json:"tolerance_c" doc:"Of its type and class at 1200 °C, when new"`
}

type biasJSON struct {
	Value     *float64   `json:"value"`
	Likely    []*float64 `json:"likely" doc:"90 % range"`
	PerFiring *float64   `json:"drift_per_firing"`
	Drift     []*float64 `json:"drift_likely"`
	Cones     int        `json:"cones"`
}

type usualJSON struct {
	Kind       string   `json:"kind"`
	Atmosphere string   `json:"atmosphere"`
	HeatWorkC  *float64 `json:"heat_work_c"`
	Cone       string   `json:"cone"`
	TopC       *float64 `json:"top_c"`
	HoursToTop *float64 `json:"hours_to_top"`
	OfLast     int      `json:"of_last"`
}

type KilnPath struct {
	Kiln string `path:"kiln"`
}

type kilnsJSON struct {
	Items []kilnJSON `json:"items"`
	Next  *string    `json:"next" doc:"Always null: a studio has few kilns"`
}

func (s *Server) getKilns(ctx context.Context, _ *struct{}) (*body[kilnsJSON], error) {
	j := kilnsJSON{Items: []kilnJSON{}}
	for _, name := range s.kilnNames() {
		k, err := s.kilnOf(ctx, kiln.KilnID(name))
		if err != nil {
			return nil, s.problemFrom(ctx, err)
		}
		j.Items = append(j.Items, k)
	}
	return &body[kilnsJSON]{j}, nil
}

func (s *Server) getKiln(ctx context.Context, in *KilnPath) (*body[kilnJSON], error) {
	j, err := s.kilnOf(ctx, kiln.KilnID(in.Kiln))
	if err != nil {
		return nil, s.problemFrom(ctx, err)
	}
	return &body[kilnJSON]{j}, nil
}

func (s *Server) kilnOf(ctx context.Context, id kiln.KilnID) (kilnJSON, error) {
	k, ok := s.Kiln[id]
	if !ok {
		return kilnJSON{}, record.ErrNoKiln
	}
	m, err := s.keepShut(ctx, id)
	if err != nil {
		return kilnJSON{}, err
	}
	j := kilnJSON{Kiln: string(id), LimitC: celsius(k.Limit), KeepShutAboveC: celsius(m.Mark), Reason: m.Reason, Control: string(k.Control), Shelves: map[string]string{}, Probes: []probeJSON{}, Usual: []usualJSON{}}
	for shelf, c := range k.Shelves {
		j.Shelves[shelf] = string(c)
	}
	stories, err := s.Heat.Stories(ctx, id)
	if err != nil {
		return j, err
	}
	main := ""
	for _, st := range stories {
		if st.Shelf == "" || st.Of != main { // the shelf with most cones tells of the channel too
			j.Probes = append(j.Probes, s.probeJSON(st))
		}
		if st.Shelf == "" {
			main = st.Of
		}
	}
	firings, err := s.Archive.Firings(ctx, kiln.FiringFilter{Kiln: id, Status: kiln.Ended, Limit: newestKilns})
	if err != nil {
		return j, err
	}
	for _, e := range detect.PastOf(firings, k.Control).Usual {
		l := heatwork.MainConeScale()
		u := usualJSON{Kind: string(e.Kind), Atmosphere: string(e.Atmosphere), HeatWorkC: celsius(e.HeatWork), TopC: celsius(e.Top), OfLast: e.Of}
		if e.HeatWork.Known() {
			u.Cone = l.Text(l.Position(e.HeatWork))
		}
		if e.ToTop > 0 {
			u.HoursToTop = hours(e.ToTop)
		}
		j.Usual = append(j.Usual, u)
	}
	return j, nil
}

func (s *Server) probeJSON(st heatwork.ProbeStory) probeJSON {
	b := st.Last()
	j := probeJSON{ID: text(st.Life.ID), Channel: string(st.Channel), Shelf: st.Of, Type: st.Life.Type, Class: st.Life.Class, FittedOn: s.moment(st.Life.Fitted), RemovedOn: s.moment(st.Life.Removed),
		Firings: len(st.After), Says: b.Says(), Notable: heatwork.NotableTwice(st.After), ToleranceC: celsius(st.Life.Tolerance)}
	for _, day := range []**string{&j.FittedOn, &j.RemovedOn} {
		if *day != nil {
			short := (**day)[:10]
			*day = &short
		}
	}
	if b.Cones > 0 {
		low, high := b.Likely()
		const z90 = 1.645
		j.Bias = &biasJSON{celsius(b.Bias), []*float64{celsius(low), celsius(high)}, rounded(b.Drift, 2), []*float64{rounded(b.Drift-z90*b.DriftSD, 2), rounded(b.Drift+z90*b.DriftSD, 2)}, b.Cones}
	}
	return j
}

type ProbePath struct {
	KilnPath
	Probe string `path:"probe" doc:"UUIDv7 made by whoever tells of the probe"`
}

type probeBody struct {
	Channel   string `json:"channel,omitempty" doc:"The control probe if not said"`
	Type      string `json:"type" enum:"B,E,J,K,N,R,S,T"`
	Class     int    `json:"class,omitempty" enum:"0,1,2" doc:"Tolerance class; 2 if not said"`
	FittedOn  string `json:"fitted_on" doc:"Day" example:"2026-01-06"`
	RemovedOn string `json:"removed_on,omitempty"`
	Note      string `json:"note,omitempty" maxLength:"500"`
}

type putProbeInput struct {
	ProbePath
	Body probeBody
}

// putProbe keeps the life of a probe: a new one has nothing of what the cones told of the old one.
func (s *Server) putProbe(ctx context.Context, in *putProbeInput) (*edited[kilnJSON], error) {
	k, err := s.keepProbe(ctx, in.ProbePath, in.Body)
	if err != nil {
		return nil, s.problemFrom(ctx, err)
	}
	j, err := s.kilnOf(ctx, kiln.KilnID(in.Kiln))
	if err != nil {
		return nil, s.problemFrom(ctx, err)
	}
	return &edited[kilnJSON]{status(k), revision(k.Revision), j}, nil
}

func (s *Server) keepProbe(ctx context.Context, path ProbePath, b probeBody) (tiles.PutResult, error) {
	k, ok := s.Kiln[kiln.KilnID(path.Kiln)]
	if !ok {
		return tiles.PutResult{}, problem("unknown-kiln", "No kiln "+path.Kiln+" in the settings.", ProblemField{"kiln", "not in the settings"})
	}
	p := tiles.ProbeLife{ID: path.Probe, Kiln: k.ID, Channel: kiln.ChannelID(first(b.Channel, string(k.Control))), Type: b.Type, Class: b.Class, Fitted: b.FittedOn, Removed: b.RemovedOn, Note: b.Note}
	if p.Class == 0 {
		p.Class = 2
	}
	has := false
	for _, c := range k.Channels {
		has = has || c.ID == p.Channel && c.Role == kiln.RoleProbe
	}
	if !has {
		return tiles.PutResult{}, problem("unknown-value", "The kiln has no probe "+string(p.Channel)+".", ProblemField{"channel", "is no probe of this kiln"})
	}
	if err := p.Validate(); err != nil {
		return tiles.PutResult{}, err
	}
	kept, err := s.Archive.PutProbe(ctx, p, matchOf(ctx), s.Now())
	if err == nil && kept.New {
		s.Heat.Again(ctx, k.ID)
	}
	return kept, err
}
