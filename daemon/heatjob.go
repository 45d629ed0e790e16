package daemon

import (
	"context"
	"fmt"
	"log/slog"
	"maps"
	"time"

	"lidwright/config"
	"lidwright/daemon/store"
	"lidwright/kiln"
	"lidwright/kiln/heatwork"
	"lidwright/kiln/thermocouple"
	"lidwright/tiles"
)

// heatJob keeps the heat work of firings that are over: of this model, and corrected by what the
// witness cones tell of each probe. It works in the background, a firing at a time.
type heatJob struct {
	store   *store.Store
	kilns   map[kiln.KilnID]kiln.Kiln
	fitted  map[kiln.KilnID][]heatwork.ProbeLife // the probes of the settings
	zone    *time.Location
	changed func(context.Context, kiln.KilnID) // told when heat works of a kiln became others
	asks    chan heatAsk
}

type heatAsk struct {
	kiln kiln.KilnID
	done chan struct{}
}

func newHeatJob(s *store.Store, cfg config.Config, zone *time.Location, changed func(context.Context,
	kiln.KilnID)) *heatJob {
	h := &heatJob{store: s, kilns: map[kiln.KilnID]kiln.Kiln{},
		fitted: map[kiln.KilnID][]heatwork.ProbeLife{}, zone: zone, changed: changed,
		asks: make(chan heatAsk, 64)}
	for _, k := range cfg.Kilns {
		h.kilns[k.ID] = k.Kiln()
		for _, p := range k.Probes {
			life := heatwork.ProbeLife{Channel: p.Channel, Type: p.Type.String(), Class: int(p.Class),
				Tolerance: classAtTop(p.Type, p.Class)}
			life.Fitted = h.date(string(p.FittedOn))
			h.fitted[k.ID] = append(h.fitted[k.ID], life)
		}
	}
	return h
}

// nearTop is where the tolerance of a couple is taken, °C: the end of the range of K and N.
const nearTop = 1200

func classAtTop(t thermocouple.Type, class thermocouple.Class) kiln.Celsius {
	c, _ := t.Tolerance(class, nearTop)
	return c
}

// Again has the heat works of a kiln worked out where its cones, its probes or its firings ask for
// others, and waits for it, two seconds at most.
func (h *heatJob) Again(ctx context.Context, k kiln.KilnID) {
	a := heatAsk{k, make(chan struct{})}
	wait := time.NewTimer(patience)
	defer wait.Stop()
	select {
	case h.asks <- a:
	case <-wait.C:
		return
	case <-ctx.Done():
		return
	}
	select {
	case <-a.done:
	case <-wait.C:
	case <-ctx.Done():
	}
}

// work is Again without a limit: it has ended, or ctx has.
func (h *heatJob) work(ctx context.Context, k kiln.KilnID) {
	a := heatAsk{k, make(chan struct{})}
	select {
	case h.asks <- a:
	case <-ctx.Done():
		return
	}
	select {
	case <-a.done:
	case <-ctx.Done():
	}
}

// settled looks through the kilns once more and waits for it, however long it takes.
func (h *heatJob) settled(ctx context.Context) error {
	for k := range h.kilns {
		a := heatAsk{k, make(chan struct{})}
		select {
		case h.asks <- a:
		case <-ctx.Done():
			return fmt.Errorf("wait for the heat works: %w", ctx.Err())
		}
		select {
		case <-a.done:
		case <-ctx.Done():
			return fmt.Errorf("wait for the heat works: %w", ctx.Err())
		}
	}
	return nil
}

// run looks through every firing once, for those of another model, and then does what is asked
// until ctx ends.
func (h *heatJob) run(ctx context.Context) error {
	firings, err := h.store.Firings(ctx, kiln.FiringFilter{})
	if err != nil && ctx.Err() == nil {
		slog.Error("looking through the heat works failed", "err", err)
	}
	seen := map[kiln.KilnID]bool{}
	for _, f := range firings {
		if !seen[f.Kiln] {
			seen[f.Kiln] = true
			h.look(ctx, f.Kiln)
		}
	}
	for {
		select {
		case <-ctx.Done():
			return nil
		case a := <-h.asks:
			h.look(ctx, a.kiln)
			close(a.done)
		}
	}
}

func (h *heatJob) look(ctx context.Context, k kiln.KilnID) {
	n, err := h.renew(ctx, k)
	if err != nil && ctx.Err() == nil {
		slog.Error("working out heat works failed; the last ones stand", "kiln", k, "err", err)
	}
	if n > 0 {
		slog.Info("heat works worked out", "kiln", k, "firings", n, "model", kiln.HeatWorkModel)
		h.changed(ctx, k)
	}
}

// renew works out what is not as it should be, and gives how many firings that were.
func (h *heatJob) renew(ctx context.Context, id kiln.KilnID) (n int, err error) {
	firings, cones, err := h.facts(ctx, id)
	if err != nil {
		return 0, err
	}
	for i, f := range firings {
		if f.Status == kiln.Running || ctx.Err() != nil {
			continue
		}
		if works, ok, err := h.indicated(ctx, f, cones[f.ID]); err != nil {
			return n, err
		} else if ok {
			if err := h.store.SetHeatWork(ctx, f.ID, works, nil); err != nil {
				return n, err
			}
			firings[i].HeatWork, firings[i].Corrected = works, nil
			n++
		}
	}
	stories, err := h.stories(ctx, id, firings, cones)
	if err != nil {
		return n, err
	}
	for _, f := range firings {
		if f.Status == kiln.Running || ctx.Err() != nil {
			continue
		}
		corrected, ok, err := h.corrected(ctx, f, heatwork.Corrections(stories, f))
		if err == nil && ok {
			n++
			err = h.store.SetHeatWork(ctx, f.ID, f.HeatWork, corrected)
		}
		if err != nil {
			return n, err
		}
	}
	return n, ctx.Err()
}

// indicated works a firing out as its probes indicate it, or as what was told of it by hand gives
// it; ok says that this is not what it has.
func (h *heatJob) indicated(ctx context.Context, f kiln.Firing,
	cones []heatwork.ConeReading) (works map[kiln.ChannelID]kiln.HeatWork, ok bool, err error) {
	k := h.kiln(f.Kiln)
	if f.Source == "hand" {
		typed, err := h.store.Curve(ctx, f.ID, nil, 24*time.Hour)
		if err != nil {
			return nil, false, err
		}
		w, _ := heatwork.HandWork(f, cones, typed, k.Limit)
		was, has := f.HeatWork[kiln.ByHandChannel]
		return map[kiln.ChannelID]kiln.HeatWork{kiln.ByHandChannel: w}, !has || !sameWork(w, was), nil
	}
	works = maps.Clone(f.HeatWork)
	var curve kiln.Curve
	for c, w := range f.HeatWork {
		if w.From != kiln.FromCurve || w.Model == kiln.HeatWorkModel {
			continue
		}
		if curve.After == nil {
			if curve, err = h.store.Curve(ctx, f.ID, nil, k.GapAfter()); err != nil || len(curve.After) == 0 {
				return nil, false, err
			}
		}
		works[c], ok = atLeast(f, heatwork.CurveHeatWork(curve, c, k.Limit, 0)), true
	}
	return works, ok, nil
}

// corrected works a firing out with what the cones say; ok says that this is not what it has.
func (h *heatJob) corrected(ctx context.Context, f kiln.Firing,
	by map[kiln.Place]heatwork.Correction) (works map[kiln.Place]kiln.HeatWork, ok bool, err error) {
	works = map[kiln.Place]kiln.HeatWork{}
	var curve kiln.Curve
	k := h.kiln(f.Kiln)
	for p, c := range by {
		if was, has := f.Corrected[p]; has && !c.Differs(was) {
			works[p] = was
			continue
		}
		if curve.After == nil {
			if curve, err = h.store.Curve(ctx, f.ID, nil, k.GapAfter()); err != nil || len(curve.After) == 0 {
				return nil, false, err
			}
		}
		works[p], ok = atLeast(f, heatwork.CorrectedHeatWork(curve, p.Channel, k.Limit, c)), true
	}
	return works, ok || len(works) != len(f.Corrected), nil
}

func atLeast(f kiln.Firing, w kiln.HeatWork) kiln.HeatWork {
	if f.AtLeast {
		w.High = kiln.NoTemperature()
	}
	return w
}

// sameWork compares two heat works, of which NaN is one value.
func sameWork(a, b kiln.HeatWork) bool {
	same := func(x, y kiln.Celsius) bool { return x == y || !x.Known() && !y.Known() }
	return same(a.C, b.C) && same(a.Low, b.Low) && same(a.High, b.High) &&
		same(kiln.Celsius(a.Position), kiln.Celsius(b.Position)) && a.From == b.From &&
		a.Estimate == b.Estimate
}

// kiln of the settings; one that they do not have has no probes.
func (h *heatJob) kiln(id kiln.KilnID) kiln.Kiln {
	if k, ok := h.kilns[id]; ok {
		return k
	}
	return kiln.Kiln{ID: id, Limit: kiln.NoTemperature(), KeepShut: kiln.NoTemperature()}
}

// Stories is what the cones tell of the probes of a kiln.
func (h *heatJob) Stories(ctx context.Context, id kiln.KilnID) ([]heatwork.ProbeStory, error) {
	firings, cones, err := h.facts(ctx, id)
	if err != nil {
		return nil, err
	}
	return h.stories(ctx, id, firings, cones)
}

func (h *heatJob) facts(ctx context.Context, id kiln.KilnID) ([]kiln.Firing,
	map[kiln.FiringID][]heatwork.ConeReading, error) {
	firings, err := h.store.Firings(ctx, kiln.FiringFilter{Kiln: id})
	if err != nil {
		return nil, nil, err
	}
	cones, err := h.store.Cones(ctx, "")
	return firings, tiles.ConeReadings(cones), err
}

func (h *heatJob) stories(ctx context.Context, id kiln.KilnID, firings []kiln.Firing,
	cones map[kiln.FiringID][]heatwork.ConeReading) ([]heatwork.ProbeStory, error) {
	lives, err := h.lives(ctx, id)
	if err != nil {
		return nil, err
	}
	return heatwork.StoriesOf(heatwork.MainConeScale(), h.kiln(id), lives, firings, cones), nil
}

// Life is the life that the probe of a channel has at a moment.
func (h *heatJob) Life(ctx context.Context, id kiln.KilnID, c kiln.ChannelID,
	at time.Time) (heatwork.ProbeLife, error) {
	lives, err := h.lives(ctx, id)
	return heatwork.LifeAt(c, lives, at), err
}

// lives are those of the settings and those that people told of.
func (h *heatJob) lives(ctx context.Context, id kiln.KilnID) ([]heatwork.ProbeLife, error) {
	told, err := h.store.Probes(ctx, id)
	if err != nil {
		return nil, err
	}
	lives := append([]heatwork.ProbeLife(nil), h.fitted[id]...)
	for _, p := range told {
		life := heatwork.ProbeLife{ID: p.ID, Channel: p.Channel, Type: p.Type, Class: p.Class,
			Fitted: h.date(p.Fitted), Removed: h.date(p.Removed), Tolerance: kiln.NoTemperature()}
		if t, err := thermocouple.ParseType(p.Type); err == nil {
			life.Tolerance = classAtTop(t, thermocouple.Class(p.Class))
		}
		lives = append(lives, life)
	}
	return lives, nil
}

// date is the start of a day in the studio's zone; zero if it is not told.
func (h *heatJob) date(text string) time.Time {
	t, err := time.ParseInLocation(time.DateOnly, text, h.zone)
	if err != nil {
		return time.Time{}
	}
	return t
}
