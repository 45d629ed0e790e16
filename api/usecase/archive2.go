package usecase

import (
	"context"
	"maps"
	"time"

	"lidwright/kiln"
	"lidwright/kiln/detect"
	"lidwright/kiln/record"
	"lidwright/tiles"
	"lidwright/tiles/shrinkage"
)

// Kilns is what the kilns do now: the recorder.
type Recorder interface {
	Live() []record.Live
	LiveCurve(id kiln.KilnID) (record.LiveCurve, bool)
	Tell(ctx context.Context, f detect.Fact) (kiln.FiringID, error)
	Trouble() (record.StoreTrouble, bool)
}

// Shrink is the fit of shrink rates, kept up to date by the daemon.
type Shrink interface {
	Fit(ctx context.Context) (fit *shrinkage.Fit, asOf time.Time, err error) // with everything said so far
	Latest() (fit *shrinkage.Fit, asOf time.Time, err error)                 // the last one, without waiting
	Refits() Refits
	Touch(bars ...tiles.Code) // something it rests on was said: of these bars, or, none named, of anything
}

// Refits counts the fits that were made anew.
type Refits struct {
	Count   uint64
	Seconds float64
	Under   map[float64]uint64 // how many took at most so many seconds
}

// Add counts one.
func (r *Refits) Add(took time.Duration) {
	if r.Under == nil {
		r.Under = map[float64]uint64{}
	}
	r.Count++
	r.Seconds += took.Seconds()
	for _, limit := range []float64{0.1, 0.5, 1, 5, 10, 30, 60} {
		if r.Under[limit] += 0; took.Seconds() <= limit {
			r.Under[limit]++
		}
	}
}

// Clone is a copy of its own.
func (r Refits) Clone() Refits {
	r.Under = maps.Clone(r.Under)
	return r
}
