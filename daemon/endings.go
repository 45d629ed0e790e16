package daemon

import (
	"context"
	"log/slog"
	"sync"

	"lidwright/kiln"
	"lidwright/kiln/detect"
)

// endings are the kilns whose firings are over, one entry a firing, in the order in which the store took
// the ends. None is dropped. What is left at a stop is done by the next start, which works out all heat
// works, learns of every kiln, fits anew and copies what is in no copy.
type endings struct {
	mu    sync.Mutex // guards the field below
	list  []kiln.KilnID
	added chan struct{}
}

func newEndings() *endings { return &endings{added: make(chan struct{}, 1)} }

func (e *endings) add(k kiln.KilnID) {
	e.mu.Lock()
	e.list = append(e.list, k)
	e.mu.Unlock()
	select {
	case e.added <- struct{}{}:
	default:
	}
}

// next waits for the next ending; ok is false when ctx has ended.
func (e *endings) next(ctx context.Context) (k kiln.KilnID, ok bool) {
	for {
		e.mu.Lock()
		if len(e.list) > 0 && ctx.Err() == nil {
			k, e.list = e.list[0], e.list[1:]
			e.mu.Unlock()
			return k, true
		}
		e.mu.Unlock()
		select {
		case <-e.added:
		case <-ctx.Done():
			return "", false
		}
	}
}

// endings does what the end of a firing asks for, one after another until ctx ends: its heat work beside
// what cones tell, which loads its kiln has now, what its kiln is expected to do from now on, the rates of
// its bars, and a copy.
func (d *Daemon) endings(ctx context.Context) {
	for {
		k, ok := d.over.next(ctx)
		if !ok {
			return
		}
		d.heat.work(ctx, k)
		d.server.Loads().TellLoads(ctx, k)
		d.relearn(ctx, k)
		d.copy(ctx)
	}
}

// relearn tells the recorder what the firings of a kiln lead to expect now, and has the rates fitted
// again: a firing ended, or heat works became others.
func (d *Daemon) relearn(ctx context.Context, id kiln.KilnID) {
	d.learn(ctx, id)
	d.shrink.Touch()
}

// learn tells the recorder what the firings of a kiln lead to expect. Whatever is told later was read
// later.
func (d *Daemon) learn(ctx context.Context, id kiln.KilnID) {
	d.learning.Lock()
	defer d.learning.Unlock()
	k, ok := d.server.KilnNamed(id)
	if !ok {
		return
	}
	p, err := d.past(ctx, id, k.Control)
	if err == nil {
		p.Probes = d.witnessed(ctx, id)
		d.holds(ctx, k, &p)
		_, err = d.recorder.Tell(ctx, detect.Fact{Kiln: id, What: detect.PastKnown, Past: p})
	}
	if err != nil && ctx.Err() == nil {
		slog.Warn("what a kiln is expected to do is as it was before its last firing", "kiln", id, "err", err)
	}
}
