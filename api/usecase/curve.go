package usecase

import (
	"context"
	"errors"
	"time"

	"lidwright/api/wire"
	"lidwright/kiln"
	"lidwright/kiln/detect"
)

// Firing is a stored firing, or how a running one stands now.
func (s Firings) Firing(f kiln.Firing, usual detect.Expected) wire.Firing {
	if f.Status == kiln.Running {
		if live, ok := s.Recorder.LiveCurve(f.Kiln); ok && live.Firing.ID == f.ID {
			number := f.Number
			f = live.Firing
			f.Number = number
		}
	}
	return s.firingJSON(f, s.ProbeOf(f), usual)
}

// FindFiring looks among the stored ones, then among those that have just begun.
func (s Firings) FindFiring(ctx context.Context, id kiln.FiringID) (kiln.Firing, error) {
	f, err := s.Archive.Firing(ctx, id)
	if errors.Is(err, kiln.ErrNoFiring) {
		for _, l := range s.Recorder.Live() {
			if l.Firing == id {
				if c, ok := s.Recorder.LiveCurve(l.Kiln); ok {
					return c.Firing, nil
				}
			}
		}
	}
	return f, err
}

// Envelopes is the curve of a firing in steps, or in at most points steps: of the named
// channels, of all that it has if none is named.
func (s Firings) Envelopes(ctx context.Context, f kiln.Firing, channels []kiln.ChannelID, points int, step time.Duration) ([]kiln.Envelope, []kiln.Gap, error) {
	if points == 0 && step == 0 {
		points = 400
	}
	live, running := s.Recorder.LiveCurve(f.Kiln)
	running = running && live.Firing.ID == f.ID
	if running && (step == 0 || step%time.Minute == 0) {
		var out []kiln.Envelope
		for _, e := range live.Minutes {
			if len(channels) == 0 || e.Channel == channels[0] {
				if points > 0 {
					e = e.Points(points)
				} else {
					e = e.Merge(int(step / time.Minute))
				}
				out = append(out, e)
			}
		}
		return out, live.Gaps, nil
	}
	if step == time.Second { // the readings themselves
		step = 0
	}
	lines, gaps, err := s.Archive.Envelopes(ctx, f.ID, channels, step, points)
	if running {
		gaps = live.Gaps // they are written down when the firing is over
	}
	return lines, gaps, err
}
