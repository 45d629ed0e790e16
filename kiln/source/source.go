// Package source listens to serial kiln controllers. It opens the port, cuts bytes into lines or
// frames, takes them apart and sends one kiln.Sample for each, stamped when it came. A line that
// makes no sense is counted and skipped; a port that goes away is opened again.
//
// What can be sent is fixed by the settings before the port is opened: Modbus requests that read
// registers (functions 03 and 04) and the poll strings that the owner listed. There is no function
// that writes to a controller.
//
// It does not judge whether a temperature can be believed (a couple that is open in so many words
// aside), does not know what a firing is, and keeps nothing on disk.
package source

import (
	"context"
	"errors"
	"strconv"
	"sync"
	"time"

	"lidwright/kiln"
	"lidwright/kiln/message"
)

// Pause between two attempts to open the port: from the first, doubling up to the last. The last
// is so short because a kiln should be heard again within 5 s of the device's return, and a polled
// device is given 2 s of them to start.
const (
	firstPause = 250 * time.Millisecond
	lastPause  = 2 * time.Second
)

// settle is how long a device that was just opened is left alone before it is asked: opening
// toggles DTR, which restarts some boards.
const settle = 2 * time.Second

// readTimeout is how long one look at the port waits; that and patience bound how long Run takes to end.
const readTimeout = 200 * time.Millisecond

// Source is one serial line. New fills the exported fields with the real ones; a test swaps them
// before Run.
type Source struct {
	// OpenPort, or openRecorded where a file is played
	Open  func(Settings) (Port, error)
	Now   func() kiln.Stamp                                // safe for use by several goroutines
	Sleep func(ctx context.Context, d time.Duration) error // waits, or gives ctx's error
	Out   chan<- kiln.Sample                               // where the samples go; Run waits for its reader

	// Changed is called from Run's goroutine when the port opens, goes or cannot be opened for
	// another reason than before. nil is fine.
	Changed func(Heard)

	// Trace is called from Run's goroutine for all that passes on the line, before it is looked at; the
	// bytes are good for as long as the call. nil is fine.
	Trace func(at kiln.Stamp, what Traced, bytes []byte)

	settings Settings
	// one a kiln, for Run's goroutine; what they learned of the lines outlasts an unplugging
	decoders []*decoder
	tallies  []*tally // one a kiln

	mu      sync.Mutex
	state   PortState
	waiting message.Message
	opened  int
	guess   message.Message
	began   kiln.Stamp // when Run was called
}

// New checks the settings and makes a Source that has not begun. now stamps what is heard; samples
// go to out. The error names every mistake in the settings.
func New(s Settings, now func() kiln.Stamp, out chan<- kiln.Sample) (*Source, error) {
	if err := s.Validate(); err != nil {
		return nil, err
	}
	src := &Source{Open: OpenPort, Now: now, Sleep: sleep, Out: out, settings: s, state: PortWaiting,
		waiting: message.Plain(s.Port)}
	if s.played() {
		src.Open = openRecorded
	}
	for _, k := range s.Kilns {
		f, err := newForm(k)
		if err != nil {
			return nil, err
		}
		t := newTally()
		src.tallies = append(src.tallies, t)
		src.decoders = append(src.decoders, &decoder{kiln: k, form: f, conv: newConverter(k), tally: t})
	}
	return src, nil
}

// Run reads until ctx is done, and then gives its error; it opens the port again and again. A
// recorded line ends it with nil. One call of Run at a time.
func (s *Source) Run(ctx context.Context) error {
	s.mu.Lock()
	s.began = s.Now()
	s.mu.Unlock()
	defer s.note(PortOver, message.New("no longer listened to"))
	pause := firstPause
	for ctx.Err() == nil {
		heard, err := s.once(ctx)
		if ctx.Err() != nil {
			break
		}
		if errors.Is(err, errOver) {
			s.note(PortOver, message.New("played to its end"))
			return nil
		}
		if heard {
			pause = firstPause
			s.note(PortGone, message.New("{1}: it went away, unplugged or without power ({2})",
				s.settings.Port, message.Of(err)))
		} else {
			s.note(s.closedState(), message.Of(err))
		}
		if err := s.Sleep(ctx, pause); err != nil {
			break
		}
		pause = min(2*pause, lastPause)
	}
	return ctx.Err()
}

// once opens the port and reads until it goes. heard says that it was open and gave something, so
// that the next attempt need not wait long.
func (s *Source) once(ctx context.Context) (heard bool, err error) {
	port, err := s.Open(s.settings)
	if err != nil {
		return false, err
	}
	defer port.Close()
	s.trace(TracedOpened, nil)
	defer func() {
		if ctx.Err() == nil { // it went, and was not closed by us
			s.trace(TracedGone, nil)
		}
	}()
	if err := port.SetReadTimeout(readTimeout); err != nil {
		return false, message.WrapError(err, "{1}: its read time-out cannot be set: {2}", s.settings.Port,
			message.Of(err))
	}
	s.note(PortOpen, message.Message{})
	l := &line{Source: s, port: port, guard: newSendAllowlist(port, s.settings)}
	l.guard.trace = func(b []byte) { s.trace(TracedSent, b) }
	switch {
	case s.settings.Kilns[0].modbus():
		err = l.askModbus(ctx)
	case len(s.settings.Kilns[0].Poll) > 0:
		err = l.ask(ctx)
	default:
		err = l.listen(ctx)
	}
	return l.heard, err
}

// Traced is what Trace tells of.
type Traced int

// A port opened or went away, bytes came or are about to be sent.
const (
	TracedOpened Traced = iota
	TracedGone
	TracedReceived
	TracedSent
)

// trace tells whoever follows the line, if anyone does.
func (s *Source) trace(what Traced, b []byte) {
	if s.Trace != nil {
		s.Trace(s.Now(), what, b)
	}
}

// line is one opening of the port.
type line struct {
	*Source
	port  Port
	guard sendAllowlist
	heard bool // anything came
}

// read gives the bytes that came within the port's read time-out, none for silence.
func (l *line) read(b []byte) (int, error) {
	n, err := l.port.Read(b)
	if n > 0 {
		l.heard = true
		l.trace(TracedReceived, b[:n])
	}
	return n, err
}

// closedState tells a port that was never there from one that went away.
func (s *Source) closedState() PortState {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.opened > 0 {
		return PortGone
	}
	return PortWaiting
}

// note keeps the state of the port and tells Changed if it is another.
func (s *Source) note(state PortState, waiting message.Message) {
	s.mu.Lock()
	changed := s.state != state || s.waiting.String() != waiting.String()
	if s.state == PortOver && state == PortOver { // the first reason stays
		changed, waiting = false, s.waiting
	}
	s.state, s.waiting = state, waiting
	if state == PortOpen {
		s.opened++
	}
	s.mu.Unlock()
	if changed && s.Changed != nil {
		s.Changed(s.Heard())
	}
}

// Heard is what was heard so far. It may be called at any time.
func (s *Source) Heard() Heard {
	now := s.Now()
	s.mu.Lock()
	h := Heard{Port: s.settings.Port, State: s.state, Waiting: s.waiting, Opened: s.opened, Guess: s.guess}
	if s.began != (kiln.Stamp{}) {
		h.For = max(0, now.Since-s.began.Since)
	}
	s.mu.Unlock()
	if !s.settings.played() {
		h.Warning = warnName(s.settings.Port)
	}
	for i, k := range s.settings.Kilns {
		heard := s.tallies[i].read(k.ID, now)
		heard.Sends = sendsOf(k)
		for _, c := range k.Channels {
			if c.Role == kiln.RoleVent {
				heard.bare = append(heard.bare, c.ID)
			}
		}
		if heard.GoodMinute > 0 {
			heard.Absent = k.absentInWords(s.tallies[i].absent(k.Channels, now))
		}
		heard.Window = min(h.For, minute)
		if heard.Ever {
			heard.Question = k.question(heard.Last)
		}
		h.Sends = append(h.Sends, heard.Sends...)
		h.Kilns = append(h.Kilns, heard)
	}
	return h
}

// sendsOf says all that is ever sent for a kiln.
func sendsOf(k Kiln) []message.Message {
	var out []message.Message
	for _, p := range k.Poll {
		out = append(out, message.New("{1}: sends {2} every {3}", k.ID, strconv.Quote(p), k.Every.String()))
	}
	if k.modbus() {
		for _, r := range plan(k) {
			out = append(out, message.New("{1}: reads {2} every {3}", k.ID, r.Says(), k.Every.String()))
		}
	}
	return out
}

// send gives a sample to its reader, which may be slow.
func (s *Source) send(ctx context.Context, sample kiln.Sample) error {
	select {
	case s.Out <- sample:
		return nil
	case <-ctx.Done():
		return ctx.Err()
	}
}

// sleep waits for d, or gives ctx's error.
func sleep(ctx context.Context, d time.Duration) error {
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-ctx.Done():
		return ctx.Err()
	case <-t.C:
		return nil
	}
}
