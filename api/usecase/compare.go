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
)

// Compared loads firings with the minutes of their control probes and lays them over one another.
func (s Firings) Compared(ctx context.Context, ids []string, at kiln.Celsius) ([]analysis.Compared, error) {
	ids = slices.DeleteFunc(slices.Clone(ids), func(id string) bool { return strings.TrimSpace(id) == "" })
	if n := len(ids); n < 1 || n > analysis.MostCompared {
		return nil, refuse("out-of-range", "One to four firings can be compared.", wire.Field{Name: "firings", Says: "one to four are needed"})
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
		return nil, refuse("out-of-range", Sentence(err.Error()), wire.Field{Name: "at_c", Says: "not every firing reached it"})
	}
	return all, err
}
