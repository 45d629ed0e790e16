package daemon

import (
	"context"
	"fmt"
	"log/slog"
	"runtime/debug"
	"slices"
	"sync"
	"sync/atomic"
	"time"

	"lidwright/api/usecase"
	"lidwright/daemon/store"
	"lidwright/tiles"
	"lidwright/tiles/shrinkage"
)

// fitJob keeps the fit of shrink rates. A bar that something was said of is worked into it by
// whoever asks next, at the sds there are; in the background everything is fitted anew, one
// fit at a time, and takes its place. What is no bar's own (a clay, a firing that ended) has to
// wait for that: whoever asks waits a moment and is otherwise served the last good fit.
type fitJob struct {
	store   *store.Store
	channel usecase.Channels
	wake    chan struct{}
	// how long whoever asks waits for a fit
	patience time.Duration
	// what other studios tell; nil: nothing
	pools func() map[tiles.ClayID]shrinkage.Pooled
	// heats of what nobody told; nil: none
	assumed func(context.Context) (map[tiles.ClayID]tiles.Assumed, error)
	turn    chan struct{} // full while somebody works bars in
	// grows whenever an answer may come out otherwise
	revision atomic.Uint64

	mu     sync.Mutex // guards the fields below
	fit    *shrinkage.Fit
	asOf   time.Time
	err    error
	open   said           // what is not in fit
	since  said           // what was said since the background fit began to read
	anew   bool           // that fit is under way
	refits usecase.Refits // so far
	fresh  chan struct{}  // closed when everything was fitted anew
}

// said is what was said: about some bars, about anything else.
type said struct {
	bars []tiles.Code
	more bool
}

func (w *said) add(bars []tiles.Code) {
	for _, b := range bars {
		if !slices.Contains(w.bars, b) {
			w.bars = append(w.bars, b)
		}
	}
	w.more = w.more || len(bars) == 0
}

const (
	patience = 2 * time.Second
	refitGC  = 40 // per cent: a small machine has little memory, and a fit leaves little to collect
	mostBars = 30 // that are worked in one by one; of more it is quicker to fit anew
)

func newFitJob(s *store.Store, channel usecase.Channels) *fitJob {
	return &fitJob{store: s, channel: channel, patience: patience, wake: make(chan struct{}, 1),
		turn: make(chan struct{}, 1),
		open: said{more: true}, fresh: make(chan struct{})}
}

// Touch says that something was said that a rate may rest on: about these bars, or, with none
// named, about anything.
func (s *fitJob) Touch(bars ...tiles.Code) {
	s.mu.Lock()
	s.open.add(bars)
	s.since.add(bars)
	s.mu.Unlock()
	s.revision.Add(1)
	select {
	case s.wake <- struct{}{}:
	default:
	}
}

// Fit gives a fit with everything in it that was said so far, or, where that takes longer than
// patience, the last good one.
func (s *fitJob) Fit(ctx context.Context) (*shrinkage.Fit, time.Time, error) {
	ctx, cancel := context.WithTimeout(ctx, s.patience)
	defer cancel()
	for {
		s.workIn(ctx)
		s.mu.Lock()
		fresh, waits := s.fresh, s.open.more || s.fit == nil
		if !waits || ctx.Err() != nil {
			defer s.mu.Unlock()
			return s.latest()
		}
		s.mu.Unlock()
		select {
		case <-fresh:
		case <-ctx.Done():
		}
	}
}

// Latest gives the last good fit and waits for nothing.
func (s *fitJob) Latest() (*shrinkage.Fit, time.Time, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.latest()
}

// settled waits until everything that was said so far is in a fit made anew.
func (s *fitJob) settled(ctx context.Context) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	for s.anew || s.since.more || len(s.since.bars) > 0 || s.fit == nil {
		fresh := s.fresh
		s.mu.Unlock()
		select {
		case <-fresh:
		case <-ctx.Done():
		}
		s.mu.Lock()
		if ctx.Err() != nil {
			return fmt.Errorf("wait for the fit: %w", ctx.Err())
		}
	}
	return nil
}

func (s *fitJob) latest() (*shrinkage.Fit, time.Time, error) {
	switch {
	case s.fit != nil:
		return s.fit, s.asOf, nil
	case s.err != nil:
		return nil, time.Time{}, s.err
	}
	return nil, time.Time{}, fmt.Errorf("no fit yet: %w", usecase.ErrBusy)
}

// Refits tells how often everything was fitted anew, and how long that took.
func (s *fitJob) Refits() usecase.Refits {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.refits.Clone()
}

// workIn brings the open bars into the fit, by code; whoever asks meanwhile waits for it. What cannot be
// worked in is left to the background. No lock is held while a bar is read and worked in: what is said of it
// then is worked in after it, and a fit that was made anew meanwhile stands in the place of the one that it
// went into.
func (s *fitJob) workIn(ctx context.Context) {
	select {
	case s.turn <- struct{}{}:
		defer func() { <-s.turn }()
	case <-ctx.Done():
		return
	}
	for ctx.Err() == nil {
		fit, bar, any := s.nextBar()
		if !any {
			return
		}
		b, err := s.store.Bar(ctx, bar, s.channel)
		var next *shrinkage.Fit
		if err == nil && ctx.Err() == nil {
			next, err = fit.With(b.Bar)
		}
		s.mu.Lock()
		switch {
		case ctx.Err() != nil:
			s.open.add([]tiles.Code{bar})
		case s.fit != fit: // it has this bar, or has it open again
		case err != nil:
			slog.Debug("a bar waits for the next fit", "bar", bar, "err", err)
			s.open.more = true
		default:
			s.fit, s.asOf = next, later(s.asOf, newestOf(b.Bar))
		}
		s.mu.Unlock()
	}
}

// nextBar takes the first of the open bars, and the fit that it goes into; none where there is nothing to do,
// or too much.
func (s *fitJob) nextBar() (fit *shrinkage.Fit, bar tiles.Code, any bool) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.fit == nil || len(s.open.bars) == 0 {
		return nil, "", false
	}
	if len(s.open.bars) > mostBars {
		s.open = said{more: true}
		return nil, "", false
	}
	slices.Sort(s.open.bars)
	bar, s.open.bars = s.open.bars[0], s.open.bars[1:]
	return s.fit, bar, true
}

// run fits again whenever something was said, until ctx ends.
func (s *fitJob) run(ctx context.Context) error {
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

func (s *fitJob) refit(ctx context.Context) {
	s.mu.Lock()
	before := s.fit
	s.since, s.anew = said{}, true
	s.mu.Unlock()
	began := time.Now()
	fit, asOf, err := s.make(ctx, before)
	if err != nil && ctx.Err() == nil {
		slog.Error("fitting the shrink rates failed; the last fit is served", "err", err)
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	s.anew = false
	if s.err = err; err == nil {
		s.fit, s.asOf = fit, asOf
		s.open.bars = slices.Clone(s.since.bars)
		s.refits.Add(time.Since(began))
	}
	s.open.more = s.since.more // nobody waits for a fit that failed, until something else is said
	s.revision.Add(1)
	close(s.fresh)
	s.fresh = make(chan struct{})
}

func (s *fitJob) make(ctx context.Context, before *shrinkage.Fit) (*shrinkage.Fit, time.Time, error) {
	studio, asOf, err := loadStudio(ctx, s.store, s.channel)
	if err != nil {
		return nil, asOf, err
	}
	if s.assumed != nil {
		if studio.Assumed, err = s.assumed(ctx); err != nil {
			return nil, asOf, err
		}
	}
	defer debug.SetGCPercent(debug.SetGCPercent(refitGC))
	if s.pools != nil {
		studio.Pools = s.pools()
	}
	fit, err := studio.FitWithPools(ctx, before)
	return fit, asOf, err
}

// loadStudio gathers everything that a fit rests on, and the time of the newest fact in it.
func loadStudio(ctx context.Context, st *store.Store, channel usecase.Channels) (shrinkage.Studio, time.Time,
	error) {
	var studio shrinkage.Studio
	var newest time.Time
	clays, err := st.Clays(ctx)
	if err != nil {
		return studio, newest, err
	}
	for _, c := range clays {
		studio.Clays = append(studio.Clays, usecase.Matured(c.Clay))
	}
	batches, err := st.Batches(ctx)
	if err != nil {
		return studio, newest, err
	}
	for _, b := range batches {
		studio.Batches = append(studio.Batches, b.Batch)
		newest = later(newest, b.Made)
	}
	bars, err := st.Bars(ctx, tiles.BarFilter{}, channel)
	if err != nil {
		return studio, newest, err
	}
	for _, b := range bars {
		studio.Bars = append(studio.Bars, b.Bar)
		newest = later(newest, newestOf(b.Bar))
	}
	studio.ProbeSD = tiles.ProbeDoubts(studio.Bars)
	return studio, newest, nil
}

// newestOf is the time of the newest fact about b's readings.
func newestOf(b tiles.Bar) (newest time.Time) {
	for _, r := range b.Readings {
		newest = later(newest, r.At)
		for _, act := range []*tiles.Act{r.Struck, r.Confirmed, r.Counted} {
			if act != nil {
				newest = later(newest, act.At)
			}
		}
	}
	return newest
}

func later(a, b time.Time) time.Time {
	if b.After(a) {
		return b
	}
	return a
}
