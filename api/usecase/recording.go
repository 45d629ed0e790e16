package usecase

import (
	"context"
	"errors"

	"github.com/google/uuid"

	"lidwright/api/wire"
	"lidwright/kiln"
	"lidwright/kiln/detect"
)

func (s Firings) Begin(ctx context.Context, id kiln.FiringID, k kiln.KilnID, kind kiln.Kind, atmosphere kiln.Atmosphere) (kiln.Firing, error) {
	if _, err := uuid.Parse(string(id)); err != nil {
		return kiln.Firing{}, refuse("out-of-range", "The id of a new firing must be a UUID.", wire.Field{Name: "id", Says: "is no UUID"})
	}
	f, err := s.FindFiring(ctx, id)
	switch {
	case err == nil && f.Kiln == k:
		return f, nil // asked again
	case err == nil:
		return f, refuse("id-already-used", "That firing is one of "+string(f.Kiln)+".", wire.Field{Name: "id", Says: "is used"})
	case !errors.Is(err, kiln.ErrNoFiring):
		return f, err
	}
	open, err := s.Recorder.Tell(ctx, detect.Fact{Kiln: k, What: detect.NewFiring, At: s.Now(), Firing: id, Kind: kind, Atmosphere: atmosphere})
	if err != nil {
		return f, err
	}
	if open != id {
		return f, refuse("kiln-not-heard", "Nothing good was heard of "+string(k)+" yet, so no firing can begin.", wire.Field{Name: "kiln", Says: "is not heard"})
	}
	return s.FindFiring(ctx, id)
}

func (s Firings) Stop(ctx context.Context, id kiln.FiringID) (kiln.Firing, error) {
	f, err := s.FindFiring(ctx, id)
	if err != nil || f.Status != kiln.Running {
		return f, err
	}
	if live, ok := s.Recorder.LiveCurve(f.Kiln); !ok || live.Firing.ID != id {
		return f, nil // its end is on its way to the store
	}
	if _, err := s.Recorder.Tell(ctx, detect.Fact{Kiln: f.Kiln, What: detect.StopRecording, At: s.Now()}); err != nil {
		return f, err
	}
	stopped, err := s.FindFiring(ctx, id)
	if errors.Is(err, kiln.ErrNoFiring) {
		return f, nil // stopped so soon that the store has not heard of it yet
	}
	return stopped, err
}
