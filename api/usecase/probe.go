package usecase

import (
	"cmp"
	"context"

	"lidwright/api/wire"
	"lidwright/kiln"
	"lidwright/kiln/detect"
	"lidwright/kiln/heatwork"
	"lidwright/kiln/record"
	"lidwright/tiles"
)

func (s Kilns) KilnOf(ctx context.Context, id kiln.KilnID) (wire.KilnJSON, error) {
	k, ok := s.Kiln[id]
	if !ok {
		return wire.KilnJSON{}, record.ErrNoKiln
	}
	m, err := s.KeepShut(ctx, id)
	if err != nil {
		return wire.KilnJSON{}, err
	}
	j := wire.KilnJSON{Kiln: string(id), LimitC: Celsius(k.Limit), KeepShutAboveC: Celsius(m.Mark), Reason: m.Reason, Control: string(k.Control), Shelves: map[string]string{}, Probes: []wire.Probe{}, Usual: []wire.Usual{}}
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
		if !e.Settled {
			continue
		}
		l := heatwork.MainConeScale()
		u := wire.Usual{Kind: string(e.Kind), Atmosphere: string(e.Atmosphere), HeatWorkC: Celsius(e.HeatWork), TopC: Celsius(e.Top), OfLast: e.Of}
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

func (s Kilns) probeJSON(st heatwork.ProbeStory) wire.Probe {
	b := st.Last()
	j := wire.Probe{ID: Text(st.Life.ID), Channel: string(st.Channel), Shelf: st.Of, Type: st.Life.Type, Class: st.Life.Class, FittedOn: s.Moment(st.Life.Fitted), RemovedOn: s.Moment(st.Life.Removed),
		Firings: len(st.After), Says: b.Says(), Notable: heatwork.NotableTwice(st.After), ToleranceC: Celsius(st.Life.Tolerance)}
	for _, day := range []**string{&j.FittedOn, &j.RemovedOn} {
		if *day != nil {
			short := (**day)[:10]
			*day = &short
		}
	}
	if b.Cones > 0 {
		low, high := b.Likely()
		const z90 = 1.645
		j.Bias = &wire.Bias{Value: Celsius(b.Bias), Likely: []*float64{Celsius(low), Celsius(high)}, PerFiring: Rounded(b.Drift, 2), Drift: []*float64{Rounded(b.Drift-z90*b.DriftSD, 2), Rounded(b.Drift+z90*b.DriftSD, 2)}, Cones: b.Cones}
	}
	return j
}

func (s Kilns) KeepProbe(ctx context.Context, path wire.ProbePath, b wire.ProbeBody) (tiles.PutResult, error) {
	k, ok := s.Kiln[kiln.KilnID(path.Kiln)]
	if !ok {
		return tiles.PutResult{}, refuse("unknown-kiln", "No kiln "+path.Kiln+" in the settings.", wire.Field{Name: "kiln", Says: "not in the settings"})
	}
	p := tiles.ProbeLife{ID: path.Probe, Kiln: k.ID, Channel: kiln.ChannelID(cmp.Or(b.Channel, string(k.Control))), Type: b.Type, Class: b.Class, Fitted: b.FittedOn, Removed: b.RemovedOn, Note: b.Note}
	if p.Class == 0 {
		p.Class = 2
	}
	has := false
	for _, c := range k.Channels {
		has = has || c.ID == p.Channel && c.Role == kiln.RoleProbe
	}
	if !has {
		return tiles.PutResult{}, refuse("unknown-value", "The kiln has no probe "+string(p.Channel)+".", wire.Field{Name: "channel", Says: "is no probe of this kiln"})
	}
	if err := p.Validate(); err != nil {
		return tiles.PutResult{}, err
	}
	kept, err := s.Archive.PutProbe(ctx, p, PreconditionOf(ctx), s.Now())
	if err == nil && kept.New {
		s.Heat.Again(ctx, k.ID)
	}
	return kept, err
}
