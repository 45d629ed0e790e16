package usecase

import (
	"context"
	"errors"

	"github.com/google/uuid"

	"lidwright/api/wire"
	"lidwright/kiln"
	"lidwright/kiln/detect"
	"lidwright/kiln/message"
	"lidwright/kiln/record"
)

// Begin begins a firing at once, under an id that the asker made. Where one is being recorded, it asks,
// unless the asker is sure: the record of that one ends.
func (s Firings) Begin(ctx context.Context, id kiln.FiringID, k kiln.KilnID, kind kiln.Kind,
	atmosphere kiln.Atmosphere, sure bool) (kiln.Firing, error) {
	if _, err := uuid.Parse(string(id)); err != nil {
		return kiln.Firing{}, refuse("out-of-range", message.New("The id of a new firing must be a UUID."),
			wire.Field{Name: "id", Says: message.New("is no UUID, such as 0193c0c1-0000-7000-8000-000000000001")})
	}
	f, err := s.FindFiring(ctx, id)
	switch {
	case err == nil && f.Kiln == k:
		return f, nil // asked again
	case err == nil:
		return f, refuse("id-already-used", message.New("That firing is one of {1}.", string(f.Kiln)),
			wire.Field{Name: "id", Says: message.New("is used")})
	case !errors.Is(err, kiln.ErrNoFiring):
		return f, err
	}
	if live, _ := s.liveOf(k); live.Firing != "" && !sure {
		was := kiln.Firing{Kiln: k, Number: live.Number}
		return f, refuse("are-you-sure", message.New("{1} is being recorded. End its record, and begin another one?", was.Name()), wire.Field{Name: "sure", Says: message.New("say so to begin another")})
	}
	open, err := s.Recorder.Tell(ctx, detect.Fact{Kiln: k, What: detect.NewFiring, At: s.Now(), Firing: id,
		Kind: kind, Atmosphere: atmosphere})
	if err != nil {
		return f, err
	}
	if open != id {
		return f, refuse("kiln-not-heard",
			message.New("Nothing good was received from {1} yet, so no firing can begin.",
				string(k)), wire.Field{Name: "kiln", Says: message.New("nothing is received from it")})
	}
	return s.FindFiring(ctx, id)
}

// Stop ends the record of a firing, unless it is over already. It asks, unless the asker is sure.
func (s Firings) Stop(ctx context.Context, id kiln.FiringID, sure bool) (kiln.Firing, error) {
	f, err := s.FindFiring(ctx, id)
	if err != nil {
		return f, err
	}
	live, ok := s.liveOf(f.Kiln)
	if !ok || live.Firing != id {
		return f, nil // it is over, be it that its end is on its way to the store
	}
	if !sure {
		says := message.New("Stop recording {1}?", f.Name())
		if live.LastT.Known() {
			says = message.New("{1} reads {2}. Stop recording all the same? From then on nobody sees what it does.",
				f.Kiln, live.LastT)
		}
		return f, refuse("are-you-sure", says, wire.Field{Name: "sure", Says: message.New("say so to stop")})
	}
	if _, err := s.Recorder.Tell(ctx, detect.Fact{Kiln: f.Kiln, What: detect.StopRecording,
		At: s.Now()}); err != nil {
		return f, err
	}
	stopped, err := s.FindFiring(ctx, id)
	if errors.Is(err, kiln.ErrNoFiring) {
		return f, nil // stopped so soon that the store has not heard of it yet
	}
	return stopped, err
}

// GoOn takes back, within ten minutes, that a person ended the record of a firing: it goes on as if nobody
// had. One that goes on stays as it is.
func (s Firings) GoOn(ctx context.Context, id kiln.FiringID) (kiln.Firing, error) {
	f, err := s.justStopped(ctx, id)
	if err != nil {
		return f, err
	}
	live, _ := s.liveOf(f.Kiln)
	if live.Firing == id {
		return f, nil
	}
	u := live.Undoable
	if u == nil || u.Firing.ID != id {
		return f, tooLate(f.Name()+" was not stopped within the last ten minutes, so its record stays ended. A new firing can be begun.", "firing")
	}
	if u.Load != "" {
		if _, err := s.Loads().PutBack(ctx, u.Load, ""); err != nil {
			return f, err
		}
	} else if err := s.undo(ctx, f); err != nil {
		return f, err
	}
	f.Status, f.Over = kiln.Running, kiln.Stamp{}
	return f, nil
}

// justStopped is the firing of that id as the recorder stopped it, else as the store has it: one that was
// stopped a moment ago may not be in the store yet.
func (s Firings) justStopped(ctx context.Context, id kiln.FiringID) (kiln.Firing, error) {
	for _, name := range s.KilnNames() {
		if live, _ := s.liveOf(name); live.Undoable != nil && live.Undoable.Firing.ID == id {
			return live.Undoable.Firing, nil
		}
	}
	return s.FindFiring(ctx, id)
}

// undo has the recorder go on with a firing.
func (s Firings) undo(ctx context.Context, f kiln.Firing) error {
	open, err := s.Recorder.Tell(ctx, detect.Fact{Kiln: f.Kiln, What: detect.Undone, At: s.Now(),
		Firing: f.ID})
	if err == nil && open != f.ID {
		err = tooLate("firing", "Another firing of {1} has begun since, so the record of {2} stays ended.",
			f.Kiln, f.Name())
	}
	return err
}

func tooLate(field string, says message.Key, args ...any) *Refusal {
	return refuse("too-late", message.New(says, args...),
		wire.Field{Name: field, Says: message.New("cannot be taken back any more")})
}

// Stopped is the firing of a kiln whose record a person ended, while that can be taken back; nil else.
func (s Kilns) Stopped(u *record.Stopped) *wire.Stopped {
	if u == nil {
		return nil
	}
	return &wire.Stopped{Firing: string(u.Firing.ID), Name: u.Firing.Name(), Load: u.Load,
		At: s.Moment(u.At.Wall), UndoUntil: s.Moment(u.At.Wall.Add(kiln.UndoFor))}
}
