package usecase

import (
	"context"
	"fmt"
	"log/slog"
	"time"

	"lidwright/api/wire"
	"lidwright/kiln"
	"lidwright/kiln/detect"
	"lidwright/kiln/heatwork"
	"lidwright/tiles"
)

func (s Loads) LoadJSON(l tiles.KeptLoad) wire.Load {
	j := wire.Load{ID: l.ID, Name: fmt.Sprintf("Load %d", l.Number), Measured: len(l.Bars) - l.Waiting, Waiting: l.Waiting, OpenedAt: s.Moment(l.Opened), Unpacked: s.Moment(l.Unpacked),
		LoadBody: wire.LoadBody{Kiln: string(l.Kiln), Kind: string(l.Kind), Atmosphere: string(l.Atmosphere), Bars: []wire.Slot{}, Firing: string(l.Firing), PackedBy: l.PackedBy, Note: l.Note}}
	if l.Stated.Known() {
		j.HeatWorkC = float64(l.Stated)
	}
	for _, b := range l.Bars {
		j.Bars = append(j.Bars, wire.Slot{Bar: string(b.Bar), Shelf: b.Shelf})
	}
	switch {
	case !l.Unpacked.IsZero():
		j.State = "unpacked"
	case l.Firing != "" || l.Stated.Known():
		j.State = "fired"
	default:
		j.State = "waiting for heat"
	}
	return j
}

func (s Loads) KeepLoad(ctx context.Context, id string, b wire.LoadBody, m Precondition) (tiles.PutResult, error) {
	l := tiles.Load{ID: id, Kiln: kiln.KilnID(b.Kiln), Kind: kiln.Kind(b.Kind), Atmosphere: kiln.Atmosphere(b.Atmosphere), Firing: kiln.FiringID(b.Firing),
		PackedBy: b.PackedBy, Note: b.Note, Stated: kiln.NoTemperature()}
	if b.HeatWorkC != 0 {
		l.Stated = kiln.Celsius(b.HeatWorkC)
	}
	if b.Cone != "" {
		var err error
		if l.Stated, err = heatwork.MainConeScale().Parse(b.Cone); err != nil {
			return tiles.PutResult{}, coneProblem("cone", err)
		}
		if b.HeatWorkC != 0 {
			return tiles.PutResult{}, tiles.InvalidFields{{Field: "cone", Type: tiles.GivenTwice, Why: "and heat_work_c say the same thing: give one"}}
		}
	}
	if l.Atmosphere == "" {
		l.Atmosphere = s.Site.atmosphere()
	}
	if names := s.KilnNames(); l.Kiln == "" && len(names) == 1 {
		l.Kiln = names[0]
	}
	for _, p := range b.Bars {
		code, err := s.Codes.Parse("bars.bar", p.Bar)
		if err != nil {
			return tiles.PutResult{}, err
		}
		l.Bars = append(l.Bars, tiles.Placed{Bar: code, Shelf: p.Shelf})
	}
	if err := l.Validate(); err != nil {
		return tiles.PutResult{}, err
	}
	if _, ok := s.KilnNamed(l.Kiln); !ok && l.Firing == "" && !l.Stated.Known() {
		return tiles.PutResult{}, refuse("unknown-kiln", "No kiln "+b.Kiln+" in the settings; for a kiln without a line give the cone that it reached.", wire.Field{Name: "kiln", Says: "not in the settings; if it has no line, give the cone that it reached"})
	}
	k, err := s.Archive.PutLoad(ctx, l, m, s.Now())
	if err != nil {
		return k, err
	}
	s.Shrink.Touch()
	if _, ok := s.KilnNamed(l.Kiln); ok && l.Firing == "" && k.New {
		s.TellKiln(ctx, detect.Fact{Kiln: l.Kiln, What: detect.LoadOpened, At: s.Now(), Kind: l.Kind, Atmosphere: l.Atmosphere, Load: l.ID})
	}
	return k, nil
}

// TellKiln tells the recorder what is kept already. What is kept is never answered with an error:
// if the recorder does not hear it, the log says so. A load is then joined with its firing by hand,
// and a mark holds from the next start on.
func (s Loads) TellKiln(ctx context.Context, f detect.Fact) {
	if _, err := s.Recorder.Tell(ctx, f); err != nil {
		slog.WarnContext(ctx, "the recorder did not hear what was kept", "kiln", f.Kiln, "what", f.What, "load", f.Load, "err", err)
	}
}

func (s Loads) Unpacked(ctx context.Context, id string, at time.Time, by string) (tiles.KeptLoad, error) {
	if err := s.Archive.CloseLoad(ctx, id, at, by, s.Now()); err != nil {
		return tiles.KeptLoad{}, err
	}
	l, err := s.Archive.Load(ctx, id)
	if err != nil {
		return l, err
	}
	if _, ok := s.KilnNamed(l.Kiln); ok {
		s.TellKiln(ctx, detect.Fact{Kiln: l.Kiln, What: detect.Unpacked, At: s.Now(), Load: l.ID})
	}
	s.Shrink.Touch()
	return l, nil
}
