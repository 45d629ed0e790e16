package usecase

import (
	"cmp"
	"context"
	"errors"
	"log/slog"

	"lidwright/api/wire"
	"lidwright/kiln"
	"lidwright/kiln/detect"
	"lidwright/kiln/heatwork"
	"lidwright/kiln/message"
	"lidwright/tiles"
)

// stateWords are the states of a load as people read them.
var stateWords = map[tiles.LoadState]message.Key{tiles.LoadPacking: "packing",
	tiles.LoadPacked: "packed, not fired yet", tiles.LoadFiring: "firing",
	tiles.LoadFired: "fired", tiles.LoadUnpacked: "unpacked", tiles.LoadDone: "done",
	tiles.LoadCalledOff: "called off"}

// LoadJSON is a load as the API tells it, with its state in words.
func (s Loads) LoadJSON(l tiles.KeptLoad) wire.Load {
	j := wire.Load{ID: l.ID, Name: message.New("Load {1}", l.Number), State: string(l.State()),
		StateWords: message.New(stateWords[l.State()]), CalledOff: s.Moment(l.CalledOff), Firings: []string{},
		Measured: len(l.Bars) - l.Waiting, Waiting: l.Waiting, OpenedAt: s.Moment(l.Opened),
		Unpacked: s.Moment(l.Unpacked), UndoUntil: s.undoUntil(l),
		LoadBody: wire.LoadBody{Kiln: string(l.Kiln), Kind: string(l.Kind), Atmosphere: string(l.Atmosphere),
			Bars: []wire.Slot{}, Firing: string(l.Firing), PackedBy: l.PackedBy, Note: l.Note}}
	if l.Stated.Known() {
		j.HeatWorkC = float64(l.Stated)
	}
	for _, f := range l.Firings {
		j.Firings = append(j.Firings, string(f.ID))
	}
	for _, b := range l.Bars {
		j.Bars = append(j.Bars, wire.Slot{Bar: string(b.Bar), Shelf: b.Shelf})
	}
	return j
}

// undoUntil is until when it can be taken back that l was unpacked; nil where it cannot.
func (s Loads) undoUntil(l tiles.KeptLoad) *string {
	if until := l.UndoUntil(); s.Now().Wall.Before(until) {
		return s.Moment(until)
	}
	return nil
}

// KeepLoad keeps a load, or what is changed about it.
func (s Loads) KeepLoad(ctx context.Context, id string, b wire.LoadBody, m Precondition) (tiles.PutResult,
	error) {
	l, err := s.readLoad(ctx, id, b)
	if err != nil {
		return tiles.PutResult{}, err
	}
	k, err := s.Archive.PutLoad(ctx, l, m, s.Now())
	if err != nil {
		return k, err
	}
	if b.Move && k.New {
		if err := s.takeOut(ctx, l.ID, l.Bars); err != nil {
			return k, err
		}
	}
	s.Shrink.Touch()
	if k.New {
		s.TellLoads(ctx, l.Kiln)
	}
	return k, nil
}

// CheckLoad says what KeepLoad would refuse about a load, and keeps nothing.
func (s Loads) CheckLoad(ctx context.Context, id string, b wire.LoadBody) error {
	_, err := s.readLoad(ctx, id, b)
	return err
}

// readLoad is a load as it was told, with each of its bars known.
func (s Loads) readLoad(ctx context.Context, id string, b wire.LoadBody) (tiles.Load, error) {
	l := tiles.Load{ID: id, Kiln: kiln.KilnID(b.Kiln), Kind: kiln.Kind(b.Kind),
		Atmosphere: kiln.Atmosphere(b.Atmosphere), Firing: kiln.FiringID(b.Firing),
		PackedBy: b.PackedBy, Note: b.Note, Stated: kiln.NoTemperature()}
	if b.HeatWorkC != 0 {
		l.Stated = kiln.Celsius(b.HeatWorkC)
	}
	if b.Cone != "" {
		var err error
		if l.Stated, err = heatwork.MainConeScale().Parse(b.Cone); err != nil {
			return l, coneProblem("cone", err)
		}
		if b.HeatWorkC != 0 {
			return l, tiles.InvalidFields{{Field: "cone", Type: tiles.GivenTwice,
				Why: message.New("and heat_work_c say the same thing: give one")}}
		}
	}
	for _, p := range b.Bars {
		code, err := s.Codes.Parse("bars.bar", p.Bar)
		if err != nil {
			return l, err
		}
		l.Bars = append(l.Bars, tiles.Placed{Bar: code, Shelf: p.Shelf})
	}
	if b.Like != "" {
		if err := s.likeAnother(ctx, &l, b.Like); err != nil {
			return l, err
		}
	}
	if l.Atmosphere == "" {
		l.Atmosphere = s.Site.atmosphere()
	}
	if names := s.KilnNames(); l.Kiln == "" && len(names) == 1 {
		l.Kiln = names[0]
	}
	if err := l.Validate(); err != nil {
		return l, err
	}
	if _, ok := s.KilnNamed(l.Kiln); !ok && l.Firing == "" && !l.Stated.Known() {
		return l, refuse("unknown-kiln",
			message.New("No kiln {1} in the settings; for a kiln without a line give the cone that it reached.", b.Kiln), wire.Field{Name: "kiln", Says: message.New("not in the settings; if it has no line, give the cone that it reached")})
	}
	if err := s.knownBars(ctx, l.Bars); err != nil || b.Move {
		return l, err
	}
	return l, s.packedElsewhere(ctx, l)
}

// knownBars refuses bars that are not in the record.
func (s Loads) knownBars(ctx context.Context, bars []tiles.Placed) error {
	for _, p := range bars {
		_, err := s.Archive.Bar(ctx, p.Bar, s.Channel)
		if errors.Is(err, tiles.ErrNoBar) {
			return refuse("unknown-bar", message.New("Bar {1} is not in the record: make it on the page of its clay first.", p.Bar),
				wire.Field{Name: "bars.bar", Says: message.New("{1} is not in the record", p.Bar)})
		}
		if err != nil {
			return err
		}
	}
	return nil
}

// likeAnother takes kiln, kind, atmosphere and shelves from an earlier load where l has none: not its bars.
func (s Loads) likeAnother(ctx context.Context, l *tiles.Load, like string) error {
	var of tiles.KeptLoad
	if like == "last" {
		newest, err := s.Archive.Loads(ctx, tiles.LoadFilter{Limit: 1})
		if err != nil {
			return err
		}
		if len(newest) == 0 {
			return refuse("unknown-load", message.New("There is no load yet that this one could be like."),
				wire.Field{Name: "like", Says: message.New("there is no load yet")})
		}
		of = newest[0]
	} else {
		var err error
		if of, err = s.Archive.Load(ctx, like); err != nil {
			return err
		}
	}
	l.Kiln, l.Kind, l.Atmosphere = cmp.Or(l.Kiln, of.Kiln), cmp.Or(l.Kind, of.Kind), cmp.Or(l.Atmosphere,
		of.Atmosphere)
	for i := range l.Bars[:min(len(l.Bars), len(of.Bars))] {
		l.Bars[i].Shelf = cmp.Or(l.Bars[i].Shelf, of.Bars[i].Shelf)
	}
	return nil
}

// PackedLoads are the loads of a kiln that are neither unpacked nor called off, as the recorder wants them.
func PackedLoads(loads []tiles.KeptLoad) []detect.Load {
	var out []detect.Load
	for _, l := range loads {
		out = append(out, detect.Load{ID: l.ID, Kind: l.Kind, Atmosphere: l.Atmosphere, Fired: !l.IsOpen()})
	}
	return out
}

// TellLoads tells the recorder which loads a kiln has, now that what is kept of them changed.
func (s Loads) TellLoads(ctx context.Context, id kiln.KilnID) {
	if _, ok := s.KilnNamed(id); !ok {
		return
	}
	loads, err := s.Archive.Loads(ctx, tiles.LoadFilter{Kiln: string(id), In: true})
	if err != nil {
		slog.WarnContext(ctx, "the recorder did not hear which loads a kiln has", "kiln", id, "err", err)
		return
	}
	s.TellKiln(ctx, detect.Fact{Kiln: id, What: detect.LoadsKnown, At: s.Now(), Loads: PackedLoads(loads)})
}

// TellKiln tells the recorder what is kept already. What is kept is never answered with an error:
// if the recorder does not hear it, the log says so. A load is then joined with its firing by hand,
// and a mark holds from the next start on.
func (s Loads) TellKiln(ctx context.Context, f detect.Fact) {
	if _, err := s.Recorder.Tell(ctx, f); err != nil {
		slog.WarnContext(ctx, "the recorder did not hear what was kept", "kiln",
			f.Kiln, "what", f.What, "load",
			f.Load, "err", err)
	}
}
