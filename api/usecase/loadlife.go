package usecase

import (
	"context"
	"errors"
	"slices"
	"strings"
	"time"

	"lidwright/api/wire"
	"lidwright/kiln"
	"lidwright/kiln/detect"
	"lidwright/kiln/message"
	"lidwright/kiln/record"
	"lidwright/tiles"
)

// NameOf is what people call a load.
func NameOf(l tiles.Load) message.Message { return message.New("load {1}", l.Number) }

// liveOf is what a kiln does now; ok is false where nobody listens to it.
func (s *Studio) liveOf(id kiln.KilnID) (record.Live, bool) {
	if s.Recorder == nil {
		return record.Live{}, false
	}
	all := s.Recorder.Live()
	i := slices.IndexFunc(all, func(l record.Live) bool { return l.Kiln == id })
	if i < 0 {
		return record.Live{}, false
	}
	return all[i], true
}

// Unpack says that a load is out of its kiln. Where that kiln reads over 200 °C, its peak is not passed, or
// the load was never fired, it asks, unless the asker is sure. The record of a kiln that is still hot goes on
// to its own end all the same.
func (s Loads) Unpack(ctx context.Context, id string, at time.Time, by string,
	sure bool) (tiles.KeptLoad, error) {
	l, err := s.Archive.Load(ctx, id)
	if err != nil || !l.Unpacked.IsZero() {
		return l, err
	}
	if !sure {
		if err := s.reallyOut(l); err != nil {
			return l, err
		}
	}
	if err := s.Archive.CloseLoad(ctx, id, at, by, s.Now()); err != nil {
		return l, err
	}
	if _, ok := s.KilnNamed(l.Kiln); ok {
		s.TellKiln(ctx, detect.Fact{Kiln: l.Kiln, What: detect.Unpacked, At: s.Now(), Load: l.ID})
	}
	s.TellLoads(ctx, l.Kiln)
	s.Shrink.Touch()
	return s.Archive.Load(ctx, id)
}

// reallyOut asks where it is not plain that l is out of its kiln.
func (s Loads) reallyOut(l tiles.KeptLoad) error {
	ask := func(says message.Key, args ...any) error {
		return refuse("are-you-sure", message.New(says, args...),
			wire.Field{Name: "sure", Says: message.New("say so if it is")})
	}
	live, heard := s.liveOf(l.Kiln)
	if l.IsOpen() {
		return ask("No firing of {1} is known. Say which one it was in, or call it off if nobody fired it. Is it out all the same?", NameOf(l.Load))
	}
	if !heard {
		return nil
	}
	hot := live.Hottest
	if !hot.Known() {
		hot = live.LastT
	}
	switch {
	case hot >= detect.UnpackedBelow:
		return ask("{1} reads {2}. Is {3} really out?", l.Kiln, hot, NameOf(l.Load))
	case l.State() == tiles.LoadFiring && !live.TopPassed && live.Firing == l.Firing:
		return ask("The peak of {1} is not passed yet. Is {2} really out?", l.Kiln, NameOf(l.Load))
	}
	return nil
}

// ReadOut marks the loads unpacked of which a reading says that they are out: it is of the stage that they
// give, and was read after their peak. It ends no record, and asks nothing.
func (s Loads) ReadOut(ctx context.Context, b tiles.Bar, r tiles.Reading) error {
	for _, h := range b.Firings {
		l, err := s.Archive.Load(ctx, h.Load)
		if err != nil {
			if errors.Is(err, tiles.ErrNoLoad) {
				continue // of heat that is not a load's
			}
			return err
		}
		if !l.UnpackedBy(r) {
			continue
		}
		if err := s.Archive.CloseLoad(ctx, l.ID, r.At, r.By, s.Now()); err != nil {
			return err
		}
		s.TellLoads(ctx, l.Kiln)
	}
	return nil
}

// CallOff says that nobody fired a load, and nobody will. One that was fired cannot be called off.
func (s Loads) CallOff(ctx context.Context, id, by string) (tiles.KeptLoad, error) {
	l, err := s.Archive.Load(ctx, id)
	if err != nil {
		return l, err
	}
	if !l.IsOpen() && l.State() != tiles.LoadCalledOff {
		return l, refuse("out-of-range", message.New("{1} is {2}, so it cannot be called off. If it was not in that firing, detach it first.", message.Capital(NameOf(l.Load)), message.New(stateWords[l.State()])),
			wire.Field{Name: "load", Says: message.New("was fired, so that it cannot be called off; detach it first if it was not in that firing")})
	}
	return s.changed(ctx, l, s.Archive.CallOffLoad(ctx, id, by, s.Now()))
}

// PutBack takes back that a load was called off, or, within ten minutes, that it was unpacked. A record that
// was ended by that goes on as if nobody had ended it.
func (s Loads) PutBack(ctx context.Context, id, by string) (tiles.KeptLoad, error) {
	l, err := s.Archive.Load(ctx, id)
	if err != nil {
		return l, err
	}
	unpacked := !l.Unpacked.IsZero() && l.CalledOff.IsZero()
	if unpacked && !s.Now().Wall.Before(l.UndoUntil()) {
		return l, tooLate("load", "{1} was said to be unpacked more than ten minutes ago, so that stays. If it goes into another firing, attach it to that one.",
			message.Capital(NameOf(l.Load)))
	}
	if l, err = s.changed(ctx, l, s.Archive.PutBackLoad(ctx, id, by, s.Now())); err != nil || !unpacked {
		return l, err
	}
	live, _ := s.liveOf(l.Kiln)
	for _, f := range l.Firings {
		if u := live.Undoable; f.ID == live.Firing || u != nil && u.Firing.ID == f.ID {
			if err := s.Firings().undo(ctx, f); err != nil {
				return l, err
			}
			return s.Archive.Load(ctx, id)
		}
	}
	return l, nil
}

// Attach says that a load went, or goes, through a firing of its kiln.
func (s Loads) Attach(ctx context.Context, id string, firing kiln.FiringID) (tiles.KeptLoad, error) {
	l, f, err := s.loadAndFiring(ctx, id, firing)
	if err != nil {
		return l, err
	}
	if l.Kiln != "" && f.Kiln != l.Kiln {
		return l, refuse("out-of-range", message.New("{1} was packed into {2}, and {3} is a firing of {4}.",
			message.Capital(NameOf(l.Load)), l.Kiln, f.Name(), f.Kiln),
			wire.Field{Name: "firing", Says: message.New("is of another kiln")})
	}
	if !l.CalledOff.IsZero() {
		return l, refuse("out-of-range", message.New("{1} was called off. Put it back first.",
			message.Capital(NameOf(l.Load))), wire.Field{Name: "load", Says: message.New("was called off")})
	}
	if err := s.Archive.AttachLoad(ctx, id, firing, s.Now()); err != nil {
		return l, err
	}
	s.joinRunning(ctx, f, detect.Fact{Load: l.ID, Kind: l.Kind, Atmosphere: l.Atmosphere})
	return s.changed(ctx, l, nil)
}

// Detach says that a load did not go through a firing.
func (s Loads) Detach(ctx context.Context, id string, firing kiln.FiringID) (tiles.KeptLoad, error) {
	l, f, err := s.loadAndFiring(ctx, id, firing)
	if err != nil {
		return l, err
	}
	if !slices.ContainsFunc(l.Firings, func(g kiln.Firing) bool { return g.ID == firing }) {
		return l, nil
	}
	if err := s.Archive.DetachLoad(ctx, id, firing, s.Now()); err != nil {
		return l, err
	}
	s.joinRunning(ctx, f, detect.Fact{})
	return s.changed(ctx, l, nil)
}

func (s Loads) loadAndFiring(ctx context.Context, id string, firing kiln.FiringID) (l tiles.KeptLoad,
	f kiln.Firing, err error) {
	if l, err = s.Archive.Load(ctx, id); err == nil {
		f, err = s.Firings().FindFiring(ctx, firing)
	}
	return l, f, err
}

// joinRunning tells the recorder which load the firing that goes on has.
func (s Loads) joinRunning(ctx context.Context, f kiln.Firing, joined detect.Fact) {
	if live, ok := s.liveOf(f.Kiln); !ok || live.Firing != f.ID {
		return
	}
	joined.Kiln, joined.What, joined.At = f.Kiln, detect.LoadJoined, s.Now()
	s.TellKiln(ctx, joined)
}

// changed tells everybody that something about a load was said, where that was kept, and gives it as it is
// now.
func (s Loads) changed(ctx context.Context, l tiles.KeptLoad, err error) (tiles.KeptLoad, error) {
	if err != nil {
		return l, err
	}
	s.TellLoads(ctx, l.Kiln)
	s.Shrink.Touch()
	return s.Archive.Load(ctx, l.ID)
}

// Move brings bars of a load into another, or, where none is named, into a new one of the same kiln and kind.
// Where nothing is left in the first, and it was not fired, it is called off: the two are one load from now
// on.
func (s Loads) Move(ctx context.Context, id string, b wire.MoveBody) (tiles.KeptLoad, error) {
	from, err := s.Archive.Load(ctx, id)
	if err != nil {
		return from, err
	}
	to := tiles.KeptLoad{Load: tiles.Load{ID: s.MakeID(), Kiln: from.Kiln, Kind: from.Kind,
		Atmosphere: from.Atmosphere, PackedBy: b.By, Stated: kiln.NoTemperature()}}
	if b.To != "" {
		if to, err = s.Archive.Load(ctx, b.To); err != nil {
			return to, err
		}
	}
	var wrong tiles.Faults
	wrong.Text("shelf", &b.Shelf)
	wrong.Maker("by", &b.By)
	if err := wrong.Err(); err != nil {
		return to, err
	}
	moves, err := s.movesOf(from.Load, to.ID, b)
	if err != nil {
		return to, err
	}
	if b.To == "" {
		if _, err := s.Archive.PutLoad(ctx, to.Load, Precondition{New: true}, s.Now()); err != nil {
			return to, err
		}
	}
	if err := s.Archive.PlaceBars(ctx, moves, s.Now()); err != nil {
		return to, err
	}
	if left := len(from.Bars) - len(moves); left == 0 && from.IsOpen() {
		if err := s.Archive.CallOffLoad(ctx, from.ID, b.By, s.Now()); err != nil {
			return to, err
		}
	}
	s.TellLoads(ctx, from.Kiln)
	return s.changed(ctx, to, nil)
}

// movesOf are the moves of bars that b names out of a load: of those that lie in it.
func (s Loads) movesOf(from tiles.Load, to string, b wire.MoveBody) ([]tiles.BarMove, error) {
	if to == from.ID {
		return nil, refuse("out-of-range", message.New("They lie in that load already."),
			wire.Field{Name: "to", Says: message.New("is the load itself")})
	}
	var moves []tiles.BarMove
	named := map[tiles.Code]bool{}
	for _, text := range b.Bars {
		code, err := s.Codes.Parse("bars", text)
		if err != nil {
			return nil, err
		}
		if !slices.ContainsFunc(from.Bars, func(p tiles.Placed) bool { return p.Bar == code }) {
			return nil, refuse("unknown-bar", message.New("Bar {1} does not lie in {2}.", code, NameOf(from)),
				wire.Field{Name: "bars", Says: notInLoad(code, from)})
		}
		named[code] = true
	}
	for _, p := range from.Bars {
		if len(named) > 0 && !named[p.Bar] {
			continue
		}
		m := tiles.BarMove{Bar: p.Bar, From: from.ID, To: to, Shelf: p.Shelf}
		if b.Shelf != "" {
			m.Shelf = b.Shelf
		}
		moves = append(moves, m)
	}
	if len(moves) == 0 {
		return nil, refuse("missing", message.New("{1} has no bars.", message.Capital(NameOf(from))),
			wire.Field{Name: "bars", Says: message.New("has none")})
	}
	return moves, nil
}

// notInLoad names the bars of a load in place of one that does not lie in it.
func notInLoad(code tiles.Code, l tiles.Load) message.Message {
	var there []string
	for _, p := range l.Bars {
		there = append(there, string(p.Bar))
	}
	if len(there) == 0 {
		return message.New("{1} is not in it, and no other bar either", string(code))
	}
	return message.New("{1} is not in it; there are {2}", string(code), strings.Join(there, ", "))
}

// packedElsewhere asks about bars of l that are packed in another load that nobody fired yet.
func (s Loads) packedElsewhere(ctx context.Context, l tiles.Load) error {
	if len(l.Bars) == 0 {
		return nil
	}
	open, err := s.Archive.Loads(ctx, tiles.LoadFilter{Open: true})
	if err != nil {
		return err
	}
	var says []message.Message
	for _, o := range open {
		var both []string
		for _, p := range o.Bars {
			if o.ID != l.ID && slices.ContainsFunc(l.Bars,
				func(q tiles.Placed) bool { return q.Bar == p.Bar }) {
				both = append(both, string(p.Bar))
			}
		}
		if len(both) > 0 {
			says = append(says, packedIn(both, NameOf(o.Load)))
		}
	}
	if len(says) == 0 {
		return nil
	}
	return refuse("are-you-sure", message.New("{1}. Take them out there and pack them here?",
		message.Capital(message.Join("; ", says...))),
		wire.Field{Name: "move", Says: message.New("say so to move them")})
}

// takeOut takes bars out of whatever other load they are packed in and nobody fired yet.
func (s Loads) takeOut(ctx context.Context, id string, bars []tiles.Placed) error {
	open, err := s.Archive.Loads(ctx, tiles.LoadFilter{Open: true})
	if err != nil {
		return err
	}
	var moves []tiles.BarMove
	for _, o := range open {
		for _, p := range o.Bars {
			if o.ID != id && slices.ContainsFunc(bars, func(q tiles.Placed) bool { return q.Bar == p.Bar }) {
				moves = append(moves, tiles.BarMove{Bar: p.Bar, From: o.ID})
			}
		}
	}
	if len(moves) == 0 {
		return nil
	}
	return s.Archive.PlaceBars(ctx, moves, s.Now())
}

// packedIn says that bars lie in a load that nobody fired.
func packedIn(bars []string, load message.Message) message.Message {
	if n := len(bars); n > 1 {
		return message.New("{1} and {2} are packed in {3} already", strings.Join(bars[:n-1], ", "), bars[n-1],
			load)
	}
	return message.New("{1} is packed in {2} already", bars[0], load)
}

// LoadAsk is what is asked of a load where its kiln is shown.
type LoadAsk struct {
	Load tiles.KeptLoad
	// out: is it unpacked; still_in: is it in the kiln that is fired again; which: is it what is fired
	Ask    string
	Firing kiln.FiringID // still_in, which: the firing that goes on
}

// askedFor is how long after its peak a load that nobody called unpacked is asked about (own).
const askedFor = 14 * 24 * time.Hour

// Asks are the questions about loads that one tap answers, by kiln, the newest load first.
func (s Loads) Asks(ctx context.Context) ([]LoadAsk, error) {
	loads, err := s.loadsIn.Of(s.Noted, func() ([]tiles.KeptLoad, error) {
		return s.Archive.Loads(ctx, tiles.LoadFilter{In: true})
	})
	if err != nil {
		return nil, err
	}
	var out []LoadAsk
	for _, l := range loads {
		live, heard := s.liveOf(l.Kiln)
		fires := heard && live.Firing != ""
		lately := l.Opened
		for _, f := range l.Firings {
			lately = later(lately, f.PeakPassed())
		}
		switch state := l.State(); {
		case state == tiles.LoadFired && s.Now().Wall.Sub(lately) > askedFor:
		case state == tiles.LoadFired && fires && live.Load != l.ID:
			out = append(out, LoadAsk{l, "still_in", live.Firing})
		case state == tiles.LoadFired, state == tiles.LoadFiring && fires && live.TopPassed:
			out = append(out, LoadAsk{Load: l, Ask: "out"})
		case l.IsOpen() && fires && live.Load == "":
			out = append(out, LoadAsk{l, "which", live.Firing})
		}
	}
	return out, nil
}
