package kiln

import "context"

// Log is where a Recorder writes a firing down while it happens.
type Log interface {
	// BeginFiring opens a firing under the id made by the recorder, and gives its number.
	// The pre-roll comes with it, so that a firing is never on disk without its first points.
	BeginFiring(ctx context.Context, f Firing, preroll []Sample) (number int, err error)
	// AppendCurve writes a batch of samples, all of one kiln and in order, in one commit.
	AppendCurve(ctx context.Context, id FiringID, batch []Sample) error
	// EndFiring closes it with what was worked out.
	EndFiring(ctx context.Context, f Firing) error
	// Unfinished gives the firings that a power cut or a stop left open, at most one a kiln.
	Unfinished(ctx context.Context) ([]Unfinished, error)
}

// Unfinished is a firing left open, with every sample written so far.
type Unfinished struct {
	Firing  Firing
	Samples []Sample
}
