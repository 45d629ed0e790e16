package usecase

import (
	"context"
	"errors"
	"slices"
	"strings"
	"time"

	"lidwright/api/wire"
	"lidwright/kiln"
	"lidwright/kiln/analysis"
	"lidwright/kiln/detect"
	"lidwright/kiln/message"
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
func (s Firings) Envelopes(ctx context.Context, f kiln.Firing, channels []kiln.ChannelID, points int,
	step time.Duration) ([]kiln.Envelope, []kiln.Gap, error) {
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

// Compared loads firings with the minutes of their control probes and lays them over one another.
func (s Firings) Compared(ctx context.Context, ids []string, at kiln.Celsius) ([]analysis.Compared, error) {
	ids = slices.DeleteFunc(slices.Clone(ids), func(id string) bool { return strings.TrimSpace(id) == "" })
	if n := len(ids); n < 1 || n > analysis.MostCompared {
		return nil, refuse("out-of-range", message.New("One to four firings can be compared."),
			wire.Field{Name: "firings", Says: message.New("one to four are needed")})
	}
	var all []analysis.Compared
	for _, id := range ids {
		f, err := s.FindFiring(ctx, kiln.FiringID(strings.TrimSpace(id)))
		if err != nil {
			return nil, err
		}
		if live, ok := s.Recorder.LiveCurve(f.Kiln); ok && live.Firing.ID == f.ID {
			number := f.Number
			f = live.Firing
			f.Number = max(f.Number, number)
		}
		c := analysis.Compared{Firing: f}
		lines, _, err := s.Envelopes(ctx, f, []kiln.ChannelID{s.Known(f.Kiln).Control}, 0, time.Minute)
		if err != nil {
			return nil, err
		}
		if len(lines) > 0 {
			c.Curve = lines[0]
		}
		all = append(all, c)
	}
	all, err := analysis.Align(all, at)
	if errors.Is(err, analysis.ErrNeverReached) {
		return nil, refuse("out-of-range", message.Stopped(message.Of(err)),
			wire.Field{Name: "at_c", Says: message.New("not every firing reached it")})
	}
	return all, err
}
