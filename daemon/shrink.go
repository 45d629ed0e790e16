package daemon

import (
	"context"
	"fmt"
	"log/slog"
	"sync"
	"sync/atomic"
	"time"

	"lidwright/api"
	"lidwright/daemon/store"
	"lidwright/tiles"
)

// shrink keeps the fit of shrink rates. Something said marks it as old; whoever asks next
// waits a moment for the new one and is otherwise served the last good one.
type shrink struct {
	store   *store.Store
	channel api.Channels
	wake    chan struct{}
	made    atomic.Uint64 // fits so far

	mu    sync.Mutex // guards the fields below
	fit   *tiles.Fit
	asOf  time.Time
	err   error
	said  int           // how often something was said
	upTo  int           // how much of it is in fit
	fresh chan struct{} // closed when another fit is there
}

const patience = 2 * time.Second

func newShrink(s *store.Store, channel api.Channels) *shrink {
	return &shrink{store: s, channel: channel, wake: make(chan struct{}, 1), said: 1, fresh: make(chan struct{})}
}

// Touch says that something was said that a rate may rest on.
func (s *shrink) Touch() {
	s.mu.Lock()
	s.said++
	s.mu.Unlock()
	select {
	case s.wake <- struct{}{}:
	default:
	}
}

// Fit gives the newest fit. It waits until what was said before is in it, two seconds at most.
func (s *shrink) Fit(ctx context.Context) (*tiles.Fit, time.Time, error) {
	ctx, cancel := context.WithTimeout(ctx, patience)
	defer cancel()
	s.mu.Lock()
	defer s.mu.Unlock()
	want := s.said
	for s.upTo < want && ctx.Err() == nil {
		fresh := s.fresh
		s.mu.Unlock()
		select {
		case <-fresh:
		case <-ctx.Done():
		}
		s.mu.Lock()
	}
	if s.fit == nil {
		if s.err != nil {
			return nil, time.Time{}, s.err
		}
		return nil, time.Time{}, fmt.Errorf("no fit yet: %w", tiles.ErrBusy)
	}
	return s.fit, s.asOf, nil
}

// run fits again whenever something was said, until ctx ends.
func (s *shrink) run(ctx context.Context) error {
	s.refit(ctx)
	for {
		select {
		case <-ctx.Done():
			return nil
		case <-s.wake:
			s.refit(ctx)
		}
	}
}

func (s *shrink) refit(ctx context.Context) {
	s.mu.Lock()
	upTo, before := s.said, s.fit
	s.mu.Unlock()
	fit, asOf, err := s.make(ctx, before)
	if err != nil && ctx.Err() == nil {
		slog.Error("fitting the shrink rates failed; the last fit is served", "err", err)
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	if err == nil {
		s.fit, s.asOf = fit, asOf
	}
	s.err, s.upTo = err, upTo
	s.made.Add(1)
	close(s.fresh)
	s.fresh = make(chan struct{})
}

func (s *shrink) make(ctx context.Context, before *tiles.Fit) (*tiles.Fit, time.Time, error) {
	studio, asOf, err := loadStudio(ctx, s.store, s.channel)
	if err != nil {
		return nil, asOf, err
	}
	fit, err := studio.Fit(before)
	return fit, asOf, err
}

// loadStudio gathers everything that a fit rests on, and the time of the newest fact in it.
func loadStudio(ctx context.Context, st *store.Store, channel api.Channels) (tiles.Studio, time.Time, error) {
	var studio tiles.Studio
	var newest time.Time
	clays, err := st.Clays(ctx)
	if err != nil {
		return studio, newest, err
	}
	for _, c := range clays {
		studio.Clays = append(studio.Clays, api.Matured(c.Clay))
	}
	batches, err := st.Batches(ctx)
	if err != nil {
		return studio, newest, err
	}
	for _, b := range batches {
		studio.Batches = append(studio.Batches, b.Batch)
		if b.Made.After(newest) {
			newest = b.Made
		}
	}
	bars, err := st.Bars(ctx, tiles.BarFilter{}, channel)
	if err != nil {
		return studio, newest, err
	}
	for _, b := range bars {
		studio.Bars = append(studio.Bars, b.Bar)
		for _, r := range b.Readings {
			if r.At.After(newest) {
				newest = r.At
			}
			if r.Struck != nil && r.Struck.At.After(newest) {
				newest = r.Struck.At
			}
		}
	}
	return studio, newest, nil
}
