package usecase

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"time"

	"lidwright/kiln"
	"lidwright/kiln/analysis"
	"lidwright/kiln/detect"
	"lidwright/kiln/faults"
	"lidwright/kiln/record"

	"golang.org/x/sync/singleflight"
)

// forecastFrom is how long a firing goes on before its usual ones say when it will be over (own).
const forecastFrom = 30 * time.Minute

// foreseeable reports whether a kiln's reading can be gone by: it is read, no jump is held aside, it lies
// within the limit, the kiln does what it should, and no probe is in doubt.
func foreseeable(l record.Live) bool {
	if !l.Fresh || !l.Hottest.Known() || l.Aside.Held() || l.OverLimit || l.StillHot {
		return false
	}
	for _, c := range l.Channels {
		if c.Channel == l.HottestOf && c.Still != (kiln.Stamp{}) {
			return false
		}
	}
	return !in(l.Disagree, l.Probe) && !in(l.Disagree, l.HottestOf)
}

func in(off []faults.Disagreement, c kiln.ChannelID) bool {
	for _, d := range off {
		if d.Channel == c {
			return true
		}
	}
	return false
}

// usualCurves are the curves of the usual firing of one kind, read once until the record changes.
type usualCurves struct {
	working singleflight.Group // one reads them, those who ask meanwhile wait for that

	mu   sync.Mutex // guards last
	last map[usualKey]usualRead
}

func (u *usualCurves) kept(key usualKey) (usualRead, bool) {
	u.mu.Lock()
	defer u.mu.Unlock()
	r, ok := u.last[key]
	return r, ok
}

func (u *usualCurves) keep(key usualKey, r usualRead) {
	u.mu.Lock()
	defer u.mu.Unlock()
	if u.last == nil {
		u.last = map[usualKey]usualRead{}
	}
	u.last[key] = r
}

type usualKey struct {
	kiln       kiln.KilnID
	kind       kiln.Kind
	atmosphere kiln.Atmosphere
}

type usualRead struct {
	change   int64
	curves   []kiln.Envelope
	expected detect.Expected
}

// Usual is the usual firing that one under way is laid on.
type Usual struct {
	detect.Expected
	Band []kiln.Envelope // low and high of its firings at equal hours; at most one
}

// Usual is the usual firing of the kind of a firing; of none where nobody told the kind, or there is no usual
// one yet.
func (s Firings) Usual(ctx context.Context, f kiln.Firing) (Usual, error) {
	if f.Kind == "" {
		return Usual{}, nil
	}
	read, err := s.usualOf(ctx, usualKey{f.Kiln, f.Kind, f.Atmosphere})
	if err != nil {
		return Usual{}, err
	}
	u := Usual{Expected: read.expected}
	if band, ok := analysis.UsualBand(read.curves); ok {
		u.Band = []kiln.Envelope{band}
	}
	return u, nil
}

// heating is what the usual firings say of a firing on its way up; Known is false while nobody can tell.
func (s Firings) heating(ctx context.Context, l record.Live) (analysis.HeatingForecast, error) {
	if l.Firing == "" || l.TopPassed || l.Kind == "" || l.Elapsed < forecastFrom || l.Stalled ||
		l.FellEarly || !foreseeable(l) {
		return analysis.HeatingForecast{}, nil
	}
	usual, err := s.usualOf(ctx, usualKey{l.Kiln, l.Kind, l.Atmosphere})
	return analysis.ForecastHeating(l.Elapsed, l.T, usual.curves, l.KeepShut), err
}

func (s Firings) usualOf(ctx context.Context, key usualKey) (usualRead, error) {
	change, err := s.Archive.LastChange(ctx)
	if err != nil {
		return usualRead{}, err
	}
	if r, ok := s.usuals.kept(key); ok && r.change == change {
		return r, nil
	}
	return together(ctx, &s.usuals.working, fmt.Sprint(key, change), func() (usualRead, error) {
		curves, usual, err := s.readUsual(ctx, key)
		if err != nil {
			return usualRead{}, err
		}
		read := usualRead{change, curves, usual}
		s.usuals.keep(key, read)
		return read, nil
	})
}

// readUsual reads the curves of the firings that are usual.
func (s Firings) readUsual(ctx context.Context, key usualKey) ([]kiln.Envelope, detect.Expected, error) {
	control := s.Known(key.kiln).Control
	firings, err := s.Archive.Firings(ctx, kiln.FiringFilter{Kiln: key.kiln,
		Status: kiln.Ended, Limit: newestKilns})
	if err != nil {
		return nil, detect.Expected{}, err
	}
	past, err := s.pastOf(ctx, key.kiln, firings)
	if err != nil {
		return nil, detect.Expected{}, err
	}
	usual, _ := past.UsualOf(key.kind, key.atmosphere)
	var curves []kiln.Envelope
	for _, id := range usual.IDs {
		lines, _, err := s.Archive.Envelopes(ctx, id, []kiln.ChannelID{control}, 5*time.Minute, 0)
		if err != nil && !errors.Is(err, kiln.ErrNoFiring) {
			return nil, detect.Expected{}, err
		}
		if len(lines) > 0 && len(lines[0].After) > 0 {
			curves = append(curves, lines[0])
		}
	}
	return curves, usual, nil
}
