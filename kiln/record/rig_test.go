package record

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"lidwright/kiln"
	"lidwright/kiln/heatwork"
	"lidwright/kiln/kilntest"
)

// memoryLog is a Log that keeps everything, and fails or blocks when told.
type memoryLog struct {
	mu        sync.Mutex
	fail      error
	block     chan struct{} // while set, no call returns before it is closed
	calls     int
	order     []kiln.FiringID
	firings   map[kiln.FiringID]kiln.Firing
	samples   map[kiln.FiringID][]kiln.Sample
	stopped   map[kiln.FiringID]Stopped
	batches   []time.Duration // since boot of the last sample of each batch
	unordered int
}

func newMemoryLog() *memoryLog {
	return &memoryLog{firings: map[kiln.FiringID]kiln.Firing{}, samples: map[kiln.FiringID][]kiln.Sample{},
		stopped: map[kiln.FiringID]Stopped{}}
}

func (l *memoryLog) enter(ctx context.Context) error {
	l.mu.Lock()
	block := l.block
	l.mu.Unlock()
	if block != nil {
		select {
		case <-block:
		case <-ctx.Done():
			l.mu.Lock()
			return ctx.Err()
		}
	}
	l.mu.Lock()
	l.calls++
	return l.fail
}

func (l *memoryLog) BeginFiring(ctx context.Context, f kiln.Firing, preroll []kiln.Sample) (int, error) {
	err := l.enter(ctx)
	defer l.mu.Unlock()
	if err != nil {
		return 0, err
	}
	l.order = append(l.order, f.ID)
	f.Number = len(l.order)
	l.firings[f.ID] = f
	l.samples[f.ID] = slices.Clone(preroll)
	return f.Number, nil
}

func (l *memoryLog) AppendCurve(ctx context.Context, id kiln.FiringID, batch []kiln.Sample) error {
	err := l.enter(ctx)
	defer l.mu.Unlock()
	if err != nil {
		return err
	}
	have, ok := l.samples[id]
	if !ok {
		return fmt.Errorf("no firing %s", id)
	}
	if n := len(have); n > 0 && have[n-1].At.Boot == batch[0].At.Boot &&
		have[n-1].At.Since >= batch[0].At.Since {
		l.unordered++
	}
	l.samples[id] = append(have, batch...)
	l.batches = append(l.batches, batch[len(batch)-1].At.Since)
	return nil
}

func (l *memoryLog) PassPeak(ctx context.Context, f kiln.Firing) error {
	err := l.enter(ctx)
	defer l.mu.Unlock()
	if err != nil {
		return err
	}
	if was, ok := l.firings[f.ID]; ok && was.Status == kiln.Running {
		f.Number, f.Status = was.Number, kiln.Running
		l.firings[f.ID] = f
	}
	return nil
}

func (l *memoryLog) EndFiring(ctx context.Context, f kiln.Firing) error {
	err := l.enter(ctx)
	defer l.mu.Unlock()
	if err != nil {
		return err
	}
	if _, ok := l.firings[f.ID]; !ok {
		return fmt.Errorf("no firing %s", f.ID)
	}
	l.firings[f.ID] = f
	return nil
}

func (l *memoryLog) Unfinished(ctx context.Context) ([]Unfinished, error) {
	err := l.enter(ctx)
	defer l.mu.Unlock()
	if err != nil {
		return nil, err
	}
	var out []Unfinished
	for _, id := range l.order {
		if f := l.firings[id]; f.Status == kiln.Running {
			out = append(out, Unfinished{Firing: f, Samples: slices.Clone(l.samples[id])})
		}
		if s, ok := l.stopped[id]; ok {
			out = append(out, Unfinished{Firing: s.Firing, Stopped: &s})
		}
	}
	return out, nil
}

func (l *memoryLog) set(fail error, block chan struct{}) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.fail, l.block = fail, block
}

func (l *memoryLog) stored(id kiln.FiringID) int {
	l.mu.Lock()
	defer l.mu.Unlock()
	return len(l.samples[id])
}

func (l *memoryLog) called() int {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.calls
}

// rig runs a recorder with a clock of its own.
type rig struct {
	t       *testing.T
	log     *memoryLog
	rec     *Recorder
	samples chan kiln.Sample
	ticks   chan time.Time
	cancel  context.CancelFunc
	done    chan error

	mu      sync.Mutex
	now     kiln.Stamp
	ids     int
	notices []Notice
}

// newRig starts a recorder over log. It is to be used within a synctest bubble.
func newRig(t *testing.T, log *memoryLog, at kiln.Stamp, kilns ...kiln.Kiln) *rig {
	if len(kilns) == 0 {
		kilns = []kiln.Kiln{kilntest.BigBlue}
	}
	g := &rig{t: t, log: log, now: at, samples: make(chan kiln.Sample), ticks: make(chan time.Time),
		done: make(chan error, 1)}
	g.rec = &Recorder{Kilns: kilns, Log: log, Ladder: heatwork.MainConeScale(), Tick: g.ticks, Now: g.clock,
		NewID: func() kiln.FiringID {
			g.ids++
			return kiln.FiringID(fmt.Sprintf("%s firing %d", at.Boot, g.ids))
		},
		Notify: func(n Notice) {
			g.mu.Lock()
			defer g.mu.Unlock()
			g.notices = append(g.notices, n)
		}}
	ctx, cancel := context.WithCancel(t.Context())
	g.cancel = cancel
	go func() { g.done <- g.rec.Run(ctx, g.samples) }()
	synctest.Wait()
	return g
}

func (g *rig) clock() kiln.Stamp {
	g.mu.Lock()
	defer g.mu.Unlock()
	return g.now
}

func (g *rig) told(event string) (n int) {
	g.mu.Lock()
	defer g.mu.Unlock()
	for _, notice := range g.notices {
		if notice.Event == event {
			n++
		}
	}
	return n
}

// pass lets d go by on every clock.
func (g *rig) pass(d time.Duration) {
	g.mu.Lock()
	defer g.mu.Unlock()
	g.now.Since += d
	g.now.Wall = g.now.Wall.Add(d)
}

// second is one second in which the kiln says t, and a tick.
func (g *rig) second(t kiln.Celsius) { g.every(time.Second, t) }

func (g *rig) every(d time.Duration, t kiln.Celsius) {
	g.pass(d)
	g.samples <- kiln.Sample{Kiln: g.rec.Kilns[0].ID, At: g.clock(),
		Values: []kiln.Value{{Channel: "1", T: t}}}
	g.ticks <- time.Time{}
	if g.clock().Since%flushEvery == 0 {
		synctest.Wait() // a disk is quick beside a second
	}
}

// silence is d without a reading.
func (g *rig) silence(d time.Duration) {
	for range int(d / time.Second) {
		g.pass(time.Second)
		g.ticks <- time.Time{}
	}
	synctest.Wait()
}

// ramp goes from one temperature to another, a reading a second.
func (g *rig) ramp(from, to, perHour kiln.Celsius) {
	n := int(max(to-from, from-to) / perHour * 3600)
	for i := range n {
		g.second(from + (to-from)*kiln.Celsius(i)/kiln.Celsius(n))
	}
	synctest.Wait()
}

// hold stays at a temperature.
func (g *rig) hold(t kiln.Celsius, d time.Duration) {
	for range int(d / time.Second) {
		g.second(t)
	}
	synctest.Wait()
}

// stop ends the recorder and gives its error.
func (g *rig) stop() error {
	g.cancel()
	err := <-g.done
	synctest.Wait()
	return err
}

func (g *rig) live() Live { return g.rec.Live()[0] }

var errFull = errors.New("disk full")

func boot(name string, wall time.Time, trusted bool) kiln.Stamp {
	return kiln.Stamp{Boot: kiln.BootID(name), Since: 30 * time.Second, Wall: wall, Trusted: trusted}
}

func (l *memoryLog) StopFiring(ctx context.Context, f kiln.Firing, s Stopped) error {
	if err := l.EndFiring(ctx, f); err != nil {
		return err
	}
	l.mu.Lock()
	defer l.mu.Unlock()
	l.stopped[f.ID] = s
	return nil
}

func (l *memoryLog) ReopenFiring(ctx context.Context, f kiln.Firing) error {
	err := l.enter(ctx)
	defer l.mu.Unlock()
	if err != nil {
		return err
	}
	f.Number = l.firings[f.ID].Number
	l.firings[f.ID] = f
	delete(l.stopped, f.ID)
	return nil
}

func (l *memoryLog) SettleFiring(ctx context.Context, id kiln.FiringID) error {
	err := l.enter(ctx)
	defer l.mu.Unlock()
	if err != nil {
		return err
	}
	over := l.firings[id].Over
	l.samples[id] = slices.DeleteFunc(l.samples[id], func(s kiln.Sample) bool {
		return s.At.Boot == over.Boot && s.At.Since > over.Since
	})
	delete(l.stopped, id)
	return nil
}
