package usecase

import (
	"cmp"
	"context"
	"fmt"
	"maps"
	"slices"
	"strings"
	"sync"

	"lidwright/api/wire"
	"lidwright/kiln"
	"lidwright/kiln/detect"
	"lidwright/kiln/heatwork"
	"lidwright/kiln/message"
	"lidwright/kiln/record"
	"lidwright/tiles"
)

// addedKilns are the kilns that came after the start.
type addedKilns struct {
	mu    sync.RWMutex // guards the fields below
	of    map[kiln.KilnID]kiln.Kiln
	order []kiln.KilnID
}

// KilnNamed is the kiln of a name, and whether there is one: in the settings, or added by a person.
func (s *Studio) KilnNamed(id kiln.KilnID) (kiln.Kiln, bool) {
	s.added.mu.RLock()
	defer s.added.mu.RUnlock()
	if k, ok := s.added.of[id]; ok {
		return k, true
	}
	k, ok := s.Kiln[id]
	return k, ok
}

// Known is KilnNamed for who knows that there is one; the zero Kiln where there is none.
func (s *Studio) Known(id kiln.KilnID) kiln.Kiln {
	k, _ := s.KilnNamed(id)
	return k
}

// KnownOrRecorded is an error where neither the settings nor the record have a kiln. Empty is none at all.
func (s Kilns) KnownOrRecorded(ctx context.Context, id kiln.KilnID) error {
	if _, known := s.KilnNamed(id); known || id == "" {
		return nil
	}
	firings, err := s.Archive.Firings(ctx, kiln.FiringFilter{Kiln: id, Limit: 1})
	if err != nil || len(firings) > 0 {
		return err
	}
	loads, err := s.Archive.Loads(ctx, tiles.LoadFilter{Kiln: string(id), Limit: 1})
	if err != nil || len(loads) > 0 {
		return err
	}
	return fmt.Errorf("%s: %w", id, record.ErrNoKiln)
}

// AllKilns are the kilns that there are: a copy.
func (s *Studio) AllKilns() map[kiln.KilnID]kiln.Kiln {
	s.added.mu.RLock()
	defer s.added.mu.RUnlock()
	all := maps.Clone(s.Kiln)
	if all == nil {
		all = map[kiln.KilnID]kiln.Kiln{}
	}
	maps.Copy(all, s.added.of)
	return all
}

// KilnNames are their names in the order of the alphabet.
func (s *Studio) KilnNames() []kiln.KilnID { return slices.Sorted(maps.Keys(s.AllKilns())) }

// isWired reports whether the settings name a kiln.
func (s *Studio) isWired(id kiln.KilnID) bool {
	return slices.ContainsFunc(s.Wired, func(w Wired) bool { return w.Kiln == id }) && !s.FromRecord[id]
}

// Add keeps a kiln without a line. One that the settings name stays as they have it, field by field.
func (s Kilns) Add(ctx context.Context, id kiln.KilnID, b wire.KilnBody) (tiles.PutResult, error) {
	k := tiles.AddedKiln{ID: id, Fuel: b.Fuel}
	if err := k.Validate(); err != nil {
		return tiles.PutResult{}, err
	}
	former, err := s.Archive.FormerKilns(ctx)
	if err != nil {
		return tiles.PutResult{}, err
	}
	if now, ok := former[id]; ok {
		return tiles.PutResult{}, refuse("id-already-used",
			message.New("{1} is what {2} was called: a name is never used twice.", id, now),
			wire.Field{Name: "kiln", Says: message.New("was the name of another kiln")})
	}
	kept, err := s.Archive.PutKiln(ctx, k, PreconditionOf(ctx), s.Now())
	if err != nil {
		return kept, err
	}
	s.take(k)
	return kept, nil
}

// take has a kiln that was added known from now on.
func (s Kilns) take(k tiles.AddedKiln) {
	is, known := s.KilnNamed(k.ID)
	if !known {
		is = k.Kiln()
		if s.Recorder != nil {
			s.Recorder.AddKiln(is)
		}
	}
	if !s.isWired(k.ID) || is.Fuel == "" {
		is.Fuel = k.Fuel
	}
	s.added.mu.Lock()
	defer s.added.mu.Unlock()
	delete(s.FromRecord, k.ID)
	if s.added.of == nil {
		s.added.of = map[kiln.KilnID]kiln.Kiln{}
	}
	s.added.of[k.ID] = is
	if !slices.Contains(s.added.order, k.ID) {
		s.added.order = append(s.added.order, k.ID)
	}
}

// TakeAdded has kilns that were added before the start known.
func (s Kilns) TakeAdded(all []tiles.AddedKiln) {
	for _, k := range all {
		s.take(k)
	}
}

// Added are the kilns without a line that people added, the first one first, but for those of the settings.
func (s *Studio) Added() (ids []kiln.KilnID) {
	s.added.mu.RLock()
	defer s.added.mu.RUnlock()
	for _, id := range s.added.order {
		if !s.isWired(id) {
			ids = append(ids, id)
		}
	}
	return ids
}

// Rename puts all that was recorded of a kiln under the name that it has now: firings, loads, probes, usual.
// The new name is that of a kiln here, the old one is not in the settings. Said again it does nothing.
func (s Kilns) Rename(ctx context.Context, was, now kiln.KilnID) (wire.RenamedKiln, error) {
	j := wire.RenamedKiln{Was: string(was), Kiln: string(now)}
	if _, ok := s.KilnNamed(now); !ok {
		if err := (&tiles.AddedKiln{ID: now}).Validate(); err != nil {
			return j, err
		}
	}
	former, err := s.Archive.FormerKilns(ctx)
	if err != nil {
		return j, err
	}
	switch to, renamed := former[was]; {
	case renamed && to == now:
		j.Says = message.New("{1} is {2} already.", was, now)
		return j, nil
	case s.isWired(was):
		return j, refuse("unknown-value", message.New("The settings still name {1}: give it its new name there first, and start the daemon anew.", was), wire.Field{Name: "kiln", Says: message.New("is in the settings still")})
	}
	added, err := s.Archive.AddedKilns(ctx)
	if err != nil {
		return j, err
	}
	at := slices.IndexFunc(added, func(k tiles.AddedKiln) bool { return k.ID == was })
	recorded, err := s.Archive.RecordedKilns(ctx)
	if err != nil {
		return j, err
	}
	if at < 0 && !slices.ContainsFunc(recorded, func(r tiles.RecordedKiln) bool { return r.ID == was }) {
		return j, fmt.Errorf("%s: %w", was, record.ErrNoKiln)
	}
	if _, ok := s.KilnNamed(now); !ok && at < 0 {
		return j, refuse("unknown-kiln", message.New("No kiln {1} here: name it in the settings and start the daemon anew, or add it without a line: lidwright kiln add {2}.", now, now), wire.Field{Name: "to", Says: message.New("no such kiln here")})
	}
	if l, ok := s.Recorder.LiveCurve(was); ok {
		return j, refuse("unknown-value", message.New("{1} fires now: wait for the end of {2}.", was,
			l.Firing.Name()), wire.Field{Name: "kiln", Says: message.New("fires now")})
	}
	moved, err := s.Archive.RenameKiln(ctx, was, now, s.Now())
	if err != nil {
		return j, err
	}
	s.forget(was)
	if at >= 0 {
		s.take(tiles.AddedKiln{ID: now, Fuel: added[at].Fuel})
	}
	j.Firings, j.Loads, j.Probes = moved.Firings, moved.Loads, moved.Probes
	j.Says = message.New("{1} is {2} now: {3} went along.", was, now, moved.Words())
	s.Heat.Again(ctx, now)
	if s.Learn != nil {
		s.Learn(ctx, now)
	}
	s.Shrink.Touch()
	return j, nil
}

// forget has a kiln that was renamed known no more under its old name.
func (s Kilns) forget(was kiln.KilnID) {
	s.added.mu.Lock()
	defer s.added.mu.Unlock()
	delete(s.added.of, was)
	s.added.order = slices.DeleteFunc(s.added.order, func(k kiln.KilnID) bool { return k == was })
	if s.Recorder != nil {
		s.Recorder.DropKiln(was)
	}
}

// Strays are the kilns of the record that are neither in the settings nor added by a person.
func (s Kilns) Strays(ctx context.Context) ([]wire.StrayKiln, error) {
	recorded, err := s.Archive.RecordedKilns(ctx)
	if err != nil {
		return nil, err
	}
	return s.StraysOf(recorded), nil
}

// StraysOf are those of the kilns in the record that the settings do not name.
func (s Kilns) StraysOf(recorded []tiles.RecordedKiln) []wire.StrayKiln {
	out := []wire.StrayKiln{}
	for _, r := range recorded {
		if _, ok := s.KilnNamed(r.ID); ok && !s.FromRecord[r.ID] {
			continue
		}
		says := message.New("{1} is in the record with {2} and not in the settings. "+
			"If it has another name now: lidwright kiln rename {1} NEW-NAME. If it has no line: lidwright kiln add {1}.", r.ID, r.Words())
		out = append(out, wire.StrayKiln{Kiln: string(r.ID), Firings: r.Firings, Loads: r.Loads,
			Probes: r.Probes, Says: says})
	}
	return out
}

// UsualSaid is what was said of usual firings, as the detector of firings takes it.
func UsualSaid(said []tiles.UsualSaid) []detect.UsualSaid {
	out := make([]detect.UsualSaid, len(said))
	for i, u := range said {
		out[i] = detect.UsualSaid{Kind: u.Kind, Atmosphere: u.Atmosphere, What: u.What, Name: u.Name,
			HeatWork: u.HeatWork, At: u.At}
	}
	return out
}

// pastOf is what the firings of a kiln lead to expect, with what was said of the usual ones.
func (s *Studio) pastOf(ctx context.Context, id kiln.KilnID, firings []kiln.Firing) (detect.Past, error) {
	said, err := s.Archive.Usuals(ctx, id)
	return detect.PastOf(firings, s.Known(id).Control, UsualSaid(said)...), err
}

// SayUsual keeps what a person says of a usual firing. A second one that is named without its heat is that of
// the last firings, which lay beside the first.
func (s Kilns) SayUsual(ctx context.Context, id kiln.KilnID, said string,
	b wire.UsualBody) (tiles.PutResult, error) {
	if _, ok := s.KilnNamed(id); !ok {
		return tiles.PutResult{}, fmt.Errorf("%s: %w", id, record.ErrNoKiln)
	}
	u := tiles.UsualSaid{ID: said, Kiln: id, Kind: kiln.Kind(b.Kind),
		Atmosphere: kiln.Atmosphere(b.Atmosphere),
		What:       b.What, Name: b.Name, HeatWork: kiln.NoTemperature(), By: b.By}
	firings, err := s.Archive.Firings(ctx,
		kiln.FiringFilter{Kiln: id, Status: kiln.Ended, Limit: newestKilns})
	if err != nil {
		return tiles.PutResult{}, err
	}
	if u.Atmosphere == "" {
		u.Atmosphere = s.usualAtmosphere(firings, u.Kind)
	}
	past, err := s.pastOf(ctx, id, firings)
	if err != nil {
		return tiles.PutResult{}, err
	}
	e, _ := past.UsualOf(u.Kind, u.Atmosphere)
	switch {
	case b.Cone != "":
		if u.HeatWork, err = heatwork.MainConeScale().Parse(b.Cone); err != nil {
			return tiles.PutResult{}, coneProblem("cone", err)
		}
	case b.HeatWorkC != 0:
		u.HeatWork = kiln.Celsius(b.HeatWorkC)
	case u.What == tiles.UsualSecond && e.Last != 0:
		u.HeatWork = e.Last
	}
	if err := u.Validate(); err != nil {
		return tiles.PutResult{}, err
	}
	if u.What == tiles.UsualNew && len(e.Beside) == 0 {
		return tiles.PutResult{}, refuse("unknown-value",
			message.New("The last firings are as usual: none lies beside it."),
			wire.Field{Name: "what", Says: message.New("no firing lies beside the usual one")})
	}
	kept, err := s.Archive.PutUsual(ctx, u, s.Now())
	if err == nil && kept.New {
		if s.Learn != nil {
			s.Learn(ctx, id)
		}
		s.Shrink.Touch()
	}
	return kept, err
}

// Beside says what of the kilns that people added stands otherwise in the settings, where theirs holds.
func (s Kilns) Beside(ctx context.Context) ([]message.Message, error) {
	added, err := s.Archive.AddedKilns(ctx)
	if err != nil {
		return nil, err
	}
	says := []message.Message{}
	for _, a := range added {
		k, _ := s.KilnNamed(a.ID)
		switch {
		case !s.isWired(a.ID):
		case k.Fuel != "" && a.Fuel != "" && k.Fuel != a.Fuel:
			says = append(says, message.New("{1} was added as {2} and is {3} in the settings: theirs holds.",
				a.ID, message.Word(a.Fuel), message.Word(k.Fuel)))
		default:
			says = append(says, message.New("{1} was added on the page and is in the settings too: it is one kiln, and theirs holds field by field.", a.ID))
		}
	}
	return says, nil
}

// KilnOf is a kiln with its limit, what it is kept shut above, its probes and its usual firings;
// ErrNoKiln where there is none of that name.
func (s Kilns) KilnOf(ctx context.Context, id kiln.KilnID) (wire.KilnJSON, error) {
	k, ok := s.KilnNamed(id)
	if !ok {
		return wire.KilnJSON{}, fmt.Errorf("%s: %w", id, record.ErrNoKiln)
	}
	m, err := s.KeepShut(ctx, id)
	if err != nil {
		return wire.KilnJSON{}, err
	}
	j := wire.KilnJSON{Kiln: string(id), Fuel: k.Fuel, LimitC: Celsius(k.Limit),
		KeepShutAboveC: Celsius(m.Mark),
		Reason:         m.Reason, Control: string(k.Control),
		Shelves: map[string]string{}, Probes: []wire.Probe{},
		Usual: []wire.Usual{}}
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
	firings, err := s.Archive.Firings(ctx,
		kiln.FiringFilter{Kiln: id, Status: kiln.Ended, Limit: newestKilns})
	if err != nil {
		return j, err
	}
	past, err := s.pastOf(ctx, id, firings)
	if err != nil {
		return j, err
	}
	for _, e := range past.Usual {
		if !e.Settled {
			continue
		}
		l := heatwork.MainConeScale()
		u := wire.Usual{Name: e.Name, Pinned: e.Pinned, Asks: e.MovesAfter() > 0, Says: usualSays(e),
			Kind: string(e.Kind), Atmosphere: string(e.Atmosphere), HeatWorkC: Celsius(e.HeatWork),
			TopC: Celsius(e.Top), OfLast: e.Of}
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
	j := wire.Probe{ID: Text(st.Life.ID), Channel: string(st.Channel), Shelf: st.Of, Type: st.Life.Type,
		Class: st.Life.Class, FittedOn: s.Moment(st.Life.Fitted), RemovedOn: s.Moment(st.Life.Removed),
		Firings: len(st.After), Says: b.Says(), Notable: heatwork.NotableTwice(st.After),
		ToleranceC: Celsius(st.Life.Tolerance)}
	for _, day := range []**string{&j.FittedOn, &j.RemovedOn} {
		if *day != nil {
			short := (**day)[:10]
			*day = &short
		}
	}
	if b.Cones > 0 {
		low, high := b.Likely()
		const z90 = 1.645
		j.Bias = &wire.Bias{Value: Celsius(b.Bias), Likely: []*float64{Celsius(low), Celsius(high)},
			PerFiring: Rounded(b.Drift, 2), Drift: []*float64{Rounded(b.Drift-z90*b.DriftSD, 2),
				Rounded(b.Drift+z90*b.DriftSD, 2)}, Cones: b.Cones}
	}
	return j
}

// KeepProbe keeps the life of a probe as it is told: the control probe where no channel is named, class 2
// where none is.
func (s Kilns) KeepProbe(ctx context.Context, path wire.ProbePath,
	b wire.ProbeBody) (tiles.PutResult, error) {
	k, ok := s.KilnNamed(kiln.KilnID(path.Kiln))
	if !ok {
		return tiles.PutResult{}, refuse("unknown-kiln",
			message.New("No kiln {1} in the settings.", path.Kiln),
			wire.Field{Name: "kiln", Says: message.New("not in the settings")})
	}
	p := tiles.ProbeLife{ID: path.Probe, Kiln: k.ID,
		Channel: kiln.ChannelID(cmp.Or(b.Channel, string(k.Control))), Type: b.Type, Class: b.Class,
		Fitted: b.FittedOn, Removed: b.RemovedOn, Note: b.Note}
	if p.Class == 0 {
		p.Class = 2
	}
	var probes []string
	for _, c := range k.Channels {
		if c.Role == kiln.RoleProbe {
			probes = append(probes, string(c.ID))
		}
	}
	if !slices.Contains(probes, string(p.Channel)) {
		return tiles.PutResult{}, refuse("unknown-value",
			message.New("The kiln has no probe {1}.", string(p.Channel)),
			wire.Field{Name: "channel", Says: message.New("is no probe of this kiln; it has {1}",
				cmp.Or(strings.Join(probes, ", "), "-"))})
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
