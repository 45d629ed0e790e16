package daemon

import (
	"context"
	"sync"
	"time"

	"lidwright/kiln"
	"lidwright/kiln/record"
)

// probeHours adds up how long the probes of the kilns were over kiln.ProbeHot. What a firing that is over
// says is read once.
type probeHours struct {
	firings func(context.Context, kiln.FiringFilter) ([]kiln.Firing, error)
	minutes func(context.Context, kiln.FiringID) ([]kiln.Envelope, error)
	live    func(kiln.KilnID) (record.LiveCurve, bool)

	mu   sync.Mutex // guards over
	over map[kiln.FiringID]map[kiln.ChannelID]time.Duration
}

// of is how long each channel of a kiln was hot in the firings that began in the span; a zero end
// means until now.
func (h *probeHours) of(ctx context.Context, k kiln.KilnID, from,
	until time.Time) (map[kiln.ChannelID]time.Duration, error) {
	firings, err := h.firings(ctx, kiln.FiringFilter{Kiln: k})
	if err != nil {
		return nil, err
	}
	sum := map[kiln.ChannelID]time.Duration{}
	for _, f := range firings {
		if f.Began.Wall.Before(from) || !until.IsZero() && !f.Began.Wall.Before(until) {
			continue
		}
		h.mu.Lock()
		one, known := h.over[f.ID]
		h.mu.Unlock()
		if !known {
			if one, err = h.read(ctx, f); err != nil {
				return nil, err
			}
			if f.Status != kiln.Running {
				h.mu.Lock()
				h.over[f.ID] = one
				h.mu.Unlock()
			}
		}
		for c, d := range one {
			sum[c] += d
		}
	}
	return sum, nil
}

func (h *probeHours) read(ctx context.Context, f kiln.Firing) (map[kiln.ChannelID]time.Duration, error) {
	var minutes []kiln.Envelope
	if live, ok := h.live(f.Kiln); ok && live.Firing.ID == f.ID {
		minutes = live.Minutes
	} else {
		var err error
		if minutes, err = h.minutes(ctx, f.ID); err != nil {
			return nil, err
		}
	}
	out := map[kiln.ChannelID]time.Duration{}
	for _, e := range minutes {
		out[e.Channel] = e.Over(kiln.ProbeHot)
	}
	return out, nil
}
