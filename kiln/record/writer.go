package record

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"time"

	"lidwright/kiln"
	"lidwright/kiln/detect"
	"lidwright/kiln/message"
)

const (
	// waitingBytes bounds what is kept in memory while the Log fails: over four hours of one
	// kiln with three channels each second, and an hour of four such kilns.
	waitingBytes = 4 << 20
	batchSamples = 1000                    // written in one call at most, 16 min of one kiln
	lastWrite    = 1500 * time.Millisecond // of the two seconds that the program has to stop in
	silentLog    = 10 * time.Second        // a call that takes longer is trouble
)

// entry is one call of the Log that is still to be made.
type entry struct {
	begin   bool
	peak    bool
	end     bool
	reopen  bool
	settle  bool
	stopped *Stopped      // end: of a record that a person ended
	firing  kiln.Firing   // begin, peak, end, reopen; settle: its id
	samples []kiln.Sample // of firing.ID: the pre-roll, or a batch
}

// special reports whether e is more than samples.
func (e entry) special() bool { return e.begin || e.peak || e.end || e.reopen || e.settle }

// begunFiring tells the loop which number the store gave.
type begunFiring struct {
	id     kiln.FiringID
	number int
}

// writer makes the calls of a Log in order, each until it works.
type writer struct {
	log    Log
	now    func() kiln.Stamp
	wake   chan struct{}
	found  chan []Unfinished // what was left open, when asked
	begun  chan begunFiring
	ended  func(kiln.Firing)     // nil: nobody asks
	peaked func(kiln.Firing)     // nil: nobody asks
	named  map[kiln.FiringID]int // numbers of the firings begun here and not over

	mu      sync.Mutex
	queue   []entry
	bytes   int
	samples int
	thinned int
	ask     bool // ask the Log for the unfinished
	before  int  // entries that are to be written before it is asked
	under   bool // an entry is under way
	since   kiln.Stamp
	failed  error
	failing kiln.Stamp
}

// newWriter asks first what was left open.
func newWriter(log Log, now func() kiln.Stamp) *writer {
	return &writer{log: log, now: now, ask: true, wake: make(chan struct{}, 1),
		found: make(chan []Unfinished, 1), begun: make(chan begunFiring, 16),
		named: make(map[kiln.FiringID]int)}
}

// start runs the writer. stop writes what is left and waits for it, so long at most: a
// disk that does not answer shall not keep the program from ending.
func (w *writer) start(ctx context.Context, last time.Duration) (stop func() error) {
	ctx, cancel := context.WithCancel(context.WithoutCancel(ctx))
	quit, done := make(chan struct{}), make(chan struct{})
	go func() {
		defer close(done)
		for {
			select {
			case <-w.wake:
				w.work(ctx)
			case <-quit:
				w.write(ctx)
				return
			}
		}
	}()
	return func() error {
		defer cancel()
		close(quit)
		end := time.NewTimer(last)
		defer end.Stop()
		select {
		case <-done:
		case <-end.C:
			cancel()
		}
		return w.unwritten()
	}
}

// unwritten is the error of a stop that left something in memory.
func (w *writer) unwritten() error {
	w.mu.Lock()
	defer w.mu.Unlock()
	if len(w.queue) == 0 {
		return nil
	}
	err := w.failed
	if err == nil {
		err = errors.New("the store did not answer in time")
	}
	return fmt.Errorf("stopped with %d samples not written: %w", w.samples, err)
}

// send wakes the writer.
func (w *writer) send() {
	select {
	case w.wake <- struct{}{}:
	default:
	}
}

// pending reports whether there is anything to do.
func (w *writer) pending() bool {
	w.mu.Lock()
	defer w.mu.Unlock()
	return len(w.queue) > 0 || w.ask
}

// askAgain wants the unfinished once more, when all that waits now is written.
func (w *writer) askAgain() {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.ask, w.before = true, len(w.queue)
}

// add puts an entry at the end. Samples join the batch before them.
func (w *writer) add(e entry) {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.bytes, w.samples = w.bytes+sizeOf(e.samples), w.samples+len(e.samples)
	// samples join the newest batch of their firing, unless that is being written now
	if n := len(w.queue); n > 0 && !e.special() {
		last := &w.queue[n-1]
		busy := w.under && n == 1
		if !busy && !last.special() && last.firing.ID == e.firing.ID && len(last.samples) < batchSamples {
			last.samples = append(last.samples, e.samples...)
			w.makeRoom()
			return
		}
	}
	w.queue = append(w.queue, e)
	w.makeRoom()
}

// makeRoom thins the oldest batches when memory is full: one sample in 10 s is kept, then one
// in a minute, then none. Where a firing begins and ends is always kept.
func (w *writer) makeRoom() {
	for _, step := range []time.Duration{detect.BinLength, time.Minute, 0} {
		for i := range w.queue {
			if w.bytes <= waitingBytes {
				return
			}
			e := &w.queue[i]
			if e.special() || w.under && i == 0 {
				continue
			}
			size, n := sizeOf(e.samples), len(e.samples)
			e.samples = thinSamples(e.samples, step)
			w.bytes -= size - sizeOf(e.samples)
			w.samples -= n - len(e.samples)
			w.thinned += n - len(e.samples)
		}
	}
}

// thinSamples keeps the first sample of each step, none if step is 0.
func thinSamples(samples []kiln.Sample, step time.Duration) []kiln.Sample {
	if step == 0 {
		return nil
	}
	var kept []kiln.Sample
	for _, s := range samples {
		if n := len(kept); n == 0 || kept[n-1].At.Boot != s.At.Boot ||
			kept[n-1].At.Since/step != s.At.Since/step {
			kept = append(kept, s)
		}
	}
	return kept
}

// sizeOf is about what samples take in memory.
func sizeOf(samples []kiln.Sample) int {
	n := 0
	for _, s := range samples {
		n += 112 + 40*len(s.Values) + len(s.Raw)
	}
	return n
}

// work writes what there is, and asks for the unfinished if all is written.
func (w *writer) work(ctx context.Context) {
	if !w.write(ctx) {
		return
	}
	w.mu.Lock()
	// asked once all that was to be written first is
	ask := w.ask && w.before <= 0
	w.ask = w.ask && !ask
	w.since, w.under = w.now(), ask
	w.mu.Unlock()
	if !ask {
		return
	}
	found, err := w.log.Unfinished(ctx)
	w.mu.Lock()
	w.settle(err)
	w.mu.Unlock()
	if err != nil {
		w.askAgain()
		return
	}
	w.found <- found
}

// write makes the calls that there are, in order, until one fails. What comes meanwhile waits
// for the next time, so that a slow disk gets no more commits than a quick one.
func (w *writer) write(ctx context.Context) (all bool) {
	w.mu.Lock()
	n := len(w.queue)
	w.mu.Unlock()
	// the entry stays at the front until its call worked: order is kept whatever fails
	for range n {
		w.mu.Lock()
		e := w.queue[0]
		w.under, w.since = true, w.now()
		w.mu.Unlock()
		err := w.call(ctx, e)
		w.mu.Lock()
		w.settle(err)
		if err == nil {
			w.queue[0] = entry{}
			w.queue = w.queue[1:]
			w.before--
			w.bytes, w.samples = w.bytes-sizeOf(e.samples), w.samples-len(e.samples)
		}
		w.mu.Unlock()
		if err != nil {
			return false
		}
	}
	return true
}

// settle keeps how the last call went; the mutex is held.
func (w *writer) settle(err error) {
	w.under = false
	if err != nil && w.failed == nil {
		w.failing = w.since
	}
	w.failed = err
}

// call makes the call of the Log that an entry stands for. An error leaves everything as it was, so that
// the same call can be made again.
func (w *writer) call(ctx context.Context, e entry) error {
	switch {
	case e.begin:
		number, err := w.log.BeginFiring(ctx, e.firing, e.samples)
		if err != nil {
			return fmt.Errorf("begin firing %s: %w", e.firing.ID, err)
		}
		w.named[e.firing.ID] = number
		select {
		case w.begun <- begunFiring{e.firing.ID, number}:
		default: // more firings than the loop has taken note of: the page shows no number
		}
	case e.peak:
		if err := w.log.PassPeak(ctx, e.firing); err != nil {
			return fmt.Errorf("keep the peak of firing %s: %w", e.firing.ID, err)
		}
		if w.peaked != nil {
			w.peaked(e.firing)
		}
	case e.end:
		if number, ok := w.named[e.firing.ID]; ok {
			e.firing.Number = number
		}
		if err := w.end(ctx, e); err != nil {
			return fmt.Errorf("end firing %s: %w", e.firing.ID, err)
		}
		delete(w.named, e.firing.ID)
		if w.ended != nil {
			w.ended(e.firing)
		}
	case e.reopen:
		if err := w.log.ReopenFiring(ctx, e.firing); err != nil {
			return fmt.Errorf("reopen firing %s: %w", e.firing.ID, err)
		}
		if w.ended != nil {
			w.ended(e.firing)
		}
	case e.settle:
		if err := w.log.SettleFiring(ctx, e.firing.ID); err != nil {
			return fmt.Errorf("settle firing %s: %w", e.firing.ID, err)
		}
	default:
		if len(e.samples) == 0 {
			return nil
		}
		if err := w.log.AppendCurve(ctx, e.firing.ID, e.samples); err != nil {
			return fmt.Errorf("append curve of firing %s: %w", e.firing.ID, err)
		}
	}
	return nil
}

// end closes a firing, as one that a person stopped where that is so.
func (w *writer) end(ctx context.Context, e entry) error {
	if e.stopped == nil {
		return w.log.EndFiring(ctx, e.firing)
	}
	s := *e.stopped
	s.Firing.Number = e.firing.Number
	return w.log.StopFiring(ctx, e.firing, s)
}

// trouble is that of now, if there is any.
func (w *writer) trouble(now kiln.Stamp) (StoreTrouble, bool) {
	w.mu.Lock()
	defer w.mu.Unlock()
	t := StoreTrouble{Since: w.failing, Waiting: w.samples, Thinned: w.thinned}
	if w.failed != nil {
		t.Why, t.Err = message.New("the disk does not take what is written: it may be worn out or loose"),
			w.failed
		switch {
		case errors.Is(w.failed, ErrFull):
			t.Why = message.New("the disk is full")
		case errors.Is(w.failed, ErrReadOnly):
			t.Why = message.New("the disk can be read and not written")
		}
		return t, true
	}
	if took, _ := now.Sub(w.since); w.under && took > silentLog {
		t.Since, t.Why = w.since, message.New("the disk has not answered for a while")
		return t, true
	}
	return StoreTrouble{}, false
}
