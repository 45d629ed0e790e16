// Package record writes firings down while they happen. One goroutine owns each kiln: samples go through
// kiln/faults and kiln/detect, the open firing grows by the good ones, and batches go to the Log without
// waiting for its disk. Out flow firings with their heat work, what every kiln does now (Live), and notices.
// After a restart the firings that were left open are read again and taken up.
//
// It opens no port and no file: samples come over a channel, and storage is whoever implements Log.
package record

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"sync"
	"sync/atomic"
	"time"

	"lidwright/kiln"
	"lidwright/kiln/detect"
	"lidwright/kiln/faults"
	"lidwright/kiln/heatwork"
	"lidwright/kiln/message"
)

// Log is where a Recorder writes a firing down while it happens. A call that gave an error is
// made again with the same arguments until it works, so a repeated one must do no harm: the
// first may have been committed all the same.
type Log interface {
	// BeginFiring opens a firing under the id made by the recorder, and gives its number.
	// The pre-roll comes with it, so that a firing is never on disk without its first points.
	BeginFiring(ctx context.Context, f kiln.Firing, preroll []kiln.Sample) (number int, err error)
	// AppendCurve writes a batch of samples, all of one kiln and in order, in one commit.
	AppendCurve(ctx context.Context, id kiln.FiringID, batch []kiln.Sample) error
	// PassPeak keeps what an open firing has reached when its peak is passed, or, with none in f, that it
	// was not passed after all.
	PassPeak(ctx context.Context, f kiln.Firing) error
	// EndFiring closes it with what was worked out. Samples written before may lie after
	// f.Over, where the end was seen only later: they are no part of the firing.
	EndFiring(ctx context.Context, f kiln.Firing) error
	// StopFiring closes it as EndFiring does, where a person ended its record: s is kept beside it, and
	// samples written later too, until it is reopened or settled.
	StopFiring(ctx context.Context, f kiln.Firing, s Stopped) error
	// ReopenFiring takes back that a person ended its record: it goes on, with every sample written.
	ReopenFiring(ctx context.Context, f kiln.Firing) error
	// SettleFiring lets it be over for good, without what was written after its end.
	SettleFiring(ctx context.Context, id kiln.FiringID) error
	// Unfinished gives the firings that a power cut or a stop left open, at most one a kiln, and those that
	// were stopped and neither reopened nor settled.
	Unfinished(ctx context.Context) ([]Unfinished, error)
}

// Unfinished is a firing left open, with every sample written so far, or one that a person stopped.
type Unfinished struct {
	Firing  kiln.Firing   // as the log has it, without an end
	Samples []kiln.Sample // every one written, oldest first
	Stopped *Stopped      // then there are no samples here; nil: it was left open
}

// What a Log gives as the reason where people can do something about it; any other error is told as a disk
// that does not take what is written.
var (
	ErrFull     = message.NewError("the disk is full")
	ErrReadOnly = message.NewError("the disk can be read and not written")
)

// ErrNoKiln is the answer about a kiln that the settings do not have.
var ErrNoKiln = message.NewError("no such kiln")

// Recorder writes the firings of all kilns down while they happen. One goroutine owns the
// growing firings; another hands what is new to the Log every five seconds, so that a slow or
// full disk never holds up what is heard. The exported fields are set before Run and left
// alone after.
type Recorder struct {
	Kilns  []kiln.Kiln                     // of the settings, in their order; AddKiln adds to them later
	Log    Log                             // written to by one goroutine alone
	Ladder *heatwork.ConeScale             // the scale that heat work is told by
	Rules  detect.Rules                    // zero: DefaultRules
	Past   map[kiln.KilnID]detect.Past     // of the firings so far; PastKnown changes it later
	Loads  map[kiln.KilnID][]detect.Load   // packed for a kiln or in it; LoadsKnown changes it later
	Zones  map[kiln.KilnID]faults.ZonePast // of the firings so far; the judges learn on from there
	Now    func() kiln.Stamp               // the clock
	NewID  func() kiln.FiringID            // makes UUIDv7
	Tick   <-chan time.Time                // about once a second; its value is not looked at
	Last   time.Duration                   // how long a stop waits for the Log to take what is left; 0: 1.5 s
	// told in order from a goroutine of its own, so it may block; nil: nobody
	Notify func(Notice)
	// told in order when the Log has taken PassPeak; it must not block; nil: nobody
	Peaked func(kiln.Firing)
	// told in order, when the Log has taken the end of a firing, or that it was reopened; it must not block;
	// nil: nobody
	Ended func(kiln.Firing)

	once       sync.Once
	facts      chan told
	writer     *writer
	notes      chan Notice
	rereadDone chan []*kilnState
	turns      atomic.Int64
	heeded     atomic.Uint64

	mu      sync.Mutex
	states  []*kilnState
	flushed kiln.Stamp // when the writer was last sent
}

// told is a fact on its way to the loop.
type told struct {
	fact  detect.Fact
	reply chan kiln.FiringID
}

// flushEvery is how often what is new is handed to the Log.
const flushEvery = 5 * time.Second

// prepare makes what Run and the calls beside it need, at the first of them.
func (r *Recorder) prepare() {
	r.once.Do(func() {
		if r.Rules == (detect.Rules{}) {
			r.Rules = detect.DefaultRules()
		}
		r.facts = make(chan told)
		r.notes = make(chan Notice, 256)
		r.rereadDone = make(chan []*kilnState, 1)
		r.Last = cmp.Or(r.Last, lastWrite)
		r.writer = newWriter(r.Log, r.Now)
		r.writer.ended, r.writer.peaked = r.Ended, r.Peaked
		for _, k := range r.Kilns {
			r.states = append(r.states, newKilnState(k, r))
		}
	})
}

// Run records until ctx ends, and then writes what is still in memory. The error says what
// could not be written then.
func (r *Recorder) Run(ctx context.Context, samples <-chan kiln.Sample) error {
	r.prepare()
	told := make(chan struct{})
	// notices have a goroutine of their own: whoever is told may block
	go func() {
		defer close(told)
		for n := range r.notes {
			if r.Notify != nil {
				r.Notify(n)
			}
		}
	}()
	stop := r.writer.start(ctx, r.Last)
	r.writer.send()
	// the one loop: it owns all kilns, and what it does never waits for a disk
	for ctx.Err() == nil {
		select {
		case s, ok := <-samples:
			if !ok {
				samples = nil
				continue
			}
			r.hear(s)
		case <-r.Tick:
			r.tick(r.Now())
		case f := <-r.facts:
			r.tell(f)
		case found := <-r.writer.found:
			go func() { r.rereadDone <- r.reread(found) }()
		case states := <-r.rereadDone:
			r.resume(states)
		case b := <-r.writer.begun:
			r.number(b)
		case <-ctx.Done():
		}
		r.turns.Add(1)
	}
	// what was on its way is heard and written, in the time that a stop has
	r.drain(samples)
	close(r.notes)
	end := time.NewTimer(r.Last)
	defer end.Stop()
	err := stop()
	select {
	case <-told:
	case <-end.C: // whoever is told does not answer
	}
	return err
}

// drain hears what was already on its way when the recorder was told to stop.
func (r *Recorder) drain(samples <-chan kiln.Sample) {
	for {
		select {
		case s, ok := <-samples:
			if ok {
				r.hear(s)
				continue
			}
		default:
		}
		break
	}
	r.mu.Lock()
	defer r.mu.Unlock()
	for _, d := range r.states {
		d.flush()
		d.settle()
	}
}

// Ready reports whether it is known what was left open, and that is taken up; until then samples wait in
// memory.
func (r *Recorder) Ready() bool {
	r.prepare()
	r.mu.Lock()
	defer r.mu.Unlock()
	return !slices.ContainsFunc(r.states, func(d *kilnState) bool { return d.taking })
}

// Turns counts the turns of the recording loop; a watchdog looks whether it grows. The loop
// turns with every tick, whether a kiln is heard or not.
func (r *Recorder) Turns() int64 { return r.turns.Load() }

// Trouble says why what is heard cannot be written down, and whether there is such a reason.
func (r *Recorder) Trouble() (StoreTrouble, bool) {
	r.prepare()
	return r.writer.trouble(r.Now())
}

// Heeded grows with all that Tell, AddKiln and DropKiln changed, before they return: an answer about the
// kilns that was made at a lower count may not know of it.
func (r *Recorder) Heeded() uint64 { return r.heeded.Load() }

// Tell hands a fact to the recorder and gives the firing that is open after it, "" if none.
// It waits for the loop, and not for the disk.
func (r *Recorder) Tell(ctx context.Context, f detect.Fact) (kiln.FiringID, error) {
	r.prepare()
	r.mu.Lock()
	none := r.stateOf(f.Kiln) == nil
	r.mu.Unlock()
	if none {
		return "", fmt.Errorf("tell kiln %s: %w", f.Kiln, ErrNoKiln)
	}
	// the loop takes it, and answers when the kiln's state holds it
	t := told{fact: f, reply: make(chan kiln.FiringID, 1)}
	select {
	case r.facts <- t:
	case <-ctx.Done():
		return "", fmt.Errorf("tell kiln %s: %w", f.Kiln, context.Cause(ctx))
	}
	select {
	case id := <-t.reply:
		r.heeded.Add(1)
		return id, nil
	case <-ctx.Done():
		return "", fmt.Errorf("tell kiln %s: %w", f.Kiln, context.Cause(ctx))
	}
}

// AddKiln takes in a kiln without a line; one that is there already stays as it is.
func (r *Recorder) AddKiln(k kiln.Kiln) {
	r.prepare()
	defer r.heeded.Add(1)
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.stateOf(k.ID) == nil {
		d := newKilnState(k, r)
		d.taking = false // nothing of it was left open
		r.states = append(r.states, d)
	}
}

// DropKiln lets go of a kiln without a line that has no firing open.
func (r *Recorder) DropKiln(id kiln.KilnID) {
	r.prepare()
	defer r.heeded.Add(1)
	r.mu.Lock()
	defer r.mu.Unlock()
	r.states = slices.DeleteFunc(r.states, func(d *kilnState) bool {
		return d.kiln.ID == id && len(d.kiln.Channels) == 0 && d.growing == nil
	})
}

// stateOf is that of a kiln, nil if there is none. The mutex is held.
func (r *Recorder) stateOf(id kiln.KilnID) *kilnState {
	for _, d := range r.states {
		if d.kiln.ID == id {
			return d
		}
	}
	return nil
}

// hear takes one sample off the line. One of an unknown kiln is passed over.
func (r *Recorder) hear(s kiln.Sample) {
	r.mu.Lock()
	defer r.mu.Unlock()
	if d := r.stateOf(s.Kiln); d != nil {
		d.hear(s)
	}
}

// tick lets time go by, and sends the writer when five seconds have.
func (r *Recorder) tick(now kiln.Stamp) {
	r.mu.Lock()
	for _, d := range r.states {
		d.tick(now)
	}
	since, known := now.Sub(r.flushed)
	due := r.flushed == (kiln.Stamp{}) || !known || since >= flushEvery
	if due {
		r.flushed = now
	}
	r.mu.Unlock()
	if due && r.writer.pending() {
		r.writer.send()
	}
}

// tell gives a fact to its kiln, on the loop's goroutine; a button is written at once.
func (r *Recorder) tell(t told) {
	r.mu.Lock()
	defer r.mu.Unlock()
	d := r.stateOf(t.fact.Kiln)
	if d == nil { // dropped meanwhile
		t.reply <- ""
		return
	}
	d.tell(t)
	if r.writer.pending() && t.fact.What.ByHand() {
		r.writer.send()
	}
}

// number keeps the number that the store gave a firing.
func (r *Recorder) number(b begunFiring) {
	r.mu.Lock()
	defer r.mu.Unlock()
	for _, d := range r.states {
		if d.growing != nil && d.growing.firing.ID == b.id {
			d.growing.firing.Number = b.number
		}
		if d.stopped != nil && d.stopped.Firing.ID == b.id {
			d.stopped.Firing.Number = b.number
		}
	}
}
