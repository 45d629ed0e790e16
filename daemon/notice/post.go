package notice

import (
	"context"
	"encoding/json"
	"fmt"
	"log/slog"
	"maps"
	"slices"
	"sync"
	"time"
)

// Receiver is one that notices go to.
type Receiver struct {
	Name    string
	Carrier Carrier
	On      []string                // events; none means all
	Quiet   func(at time.Time) bool // its quiet hours; nil: none
	Wakes   []string                // events that are sent in them too
}

// Carrier brings one message to one receiver: one try.
type Carrier interface {
	// Carry says in a word or two what was answered, without an address or a secret, and whether the message
	// was taken. The try is over when ctx ends, at the latest.
	Carry(ctx context.Context, d Delivery) (answer string, taken bool)
}

func (r Receiver) wants(event string) bool {
	return event == Test || len(r.On) == 0 || slices.Contains(r.On, event)
}

// waits reports whether an event waits for the end of quiet hours.
func (r Receiver) waits(event string, at time.Time) bool {
	return event != Test && r.Quiet != nil && r.Quiet(at) && !slices.Contains(r.Wakes, event)
}

// Delivery is one message on its way to one receiver.
type Delivery struct {
	Notice   string // id of the message
	Receiver string
	Event    string
	Body     []byte // the message as JSON, the same at every try
	Tries    int

	unkept bool // the outbox does not have it
}

// Outcome of a delivery.
const (
	Waiting = "waiting"
	Sent    = "sent"
	GaveUp  = "gave_up"
)

// Outbox keeps messages until they are taken; it outlives a restart.
type Outbox interface {
	// PutNotice keeps a message and whom it goes to.
	PutNotice(ctx context.Context, m Message, body []byte, to []string) error
	// WaitingNotices are the deliveries that nobody has taken or given up, oldest first.
	WaitingNotices(ctx context.Context) ([]Delivery, error)
	// TriedNotice keeps what came of a try: Waiting, Sent or GaveUp, and what was answered.
	TriedNotice(ctx context.Context, notice, receiver, outcome, answer string, at time.Time) error
}

// Post brings messages to receivers. A receiver that hangs or refuses holds up nobody else.
type Post struct {
	Outbox    Outbox
	Receivers []Receiver
	Now       func() time.Time // in the studio's zone
	Pauses    []time.Duration  // before each try; none means usualPauses

	start   sync.Once
	letters map[string]chan Delivery

	mu      sync.Mutex // held while something is put into the outbox and handed on
	carries bool       // what is in the outbox when Run begins is handed on by it

	counting sync.Mutex
	counts   map[Count]uint64
}

// Count is what deliveries are counted by: the event, and whether they were Waiting when they began, Sent or
// GaveUp.
type Count struct{ Event, Outcome string }

// Counts counts deliveries since the program began: those that began, were taken, were given up.
func (p *Post) Counts() map[Count]uint64 {
	p.counting.Lock()
	defer p.counting.Unlock()
	return maps.Clone(p.counts)
}

func (p *Post) count(event, outcome string) {
	p.counting.Lock()
	defer p.counting.Unlock()
	if p.counts == nil {
		p.counts = map[Count]uint64{}
	}
	p.counts[Count{event, outcome}]++
}

// usualPauses are the waits before the tries of a delivery.
var usualPauses = []time.Duration{0, 10 * time.Second, time.Minute, 10 * time.Minute, time.Hour}

func (p *Post) prepare() {
	p.start.Do(func() {
		if p.Pauses == nil {
			p.Pauses = usualPauses
		}
		p.letters = map[string]chan Delivery{}
		for _, r := range p.Receivers {
			p.letters[r.Name] = make(chan Delivery, 1024)
		}
	})
}

// Send keeps m in the outbox and lets it go to whoever wants it. It waits for the disk, never for
// a receiver. The error says that m could not be kept; it goes out all the same, from memory, and is lost
// if the program ends before it was taken.
func (p *Post) Send(ctx context.Context, m Message) error {
	p.prepare()
	body, err := json.Marshal(m)
	if err != nil {
		return fmt.Errorf("write notice %s: %w", m.Event, err)
	}
	var to []string
	for _, r := range p.Receivers {
		if r.wants(m.Event) {
			to = append(to, r.Name)
		}
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	err = p.Outbox.PutNotice(ctx, m, body, to)
	for _, name := range to {
		p.count(m.Event, Waiting)
		if err != nil || p.carries {
			p.hand(Delivery{Notice: m.ID, Receiver: name, Event: m.Event, Body: body, unkept: err != nil})
		}
	}
	if err != nil {
		return fmt.Errorf("keep notice %s: %w", m.Event, err)
	}
	return nil
}

// Keep puts a message that Send could not keep into the outbox, as one that goes to nobody any more.
func (p *Post) Keep(ctx context.Context, m Message) error {
	body, err := json.Marshal(m)
	if err != nil {
		return fmt.Errorf("write notice %s: %w", m.Event, err)
	}
	return p.Outbox.PutNotice(ctx, m, body, nil)
}

// hand gives a delivery to its carrier; where too many wait already, it stays in the outbox
// until the next start.
func (p *Post) hand(d Delivery) {
	select {
	case p.letters[d.Receiver] <- d:
	default:
	}
}

// Run carries what waits until ctx ends.
func (p *Post) Run(ctx context.Context) error {
	p.prepare()
	var all sync.WaitGroup
	for _, r := range p.Receivers {
		all.Go(func() { p.carry(ctx, r) })
	}
	p.handWaiting(ctx)
	all.Wait()
	return nil
}

// handWaiting hands on what is in the outbox; from then on Send does.
func (p *Post) handWaiting(ctx context.Context) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.carries = true
	waiting, err := p.Outbox.WaitingNotices(ctx)
	if err != nil {
		slog.Warn("notices that wait cannot be read; they are sent after the next start", "err", err)
	}
	for _, d := range waiting {
		if _, known := p.letters[d.Receiver]; known {
			p.hand(d)
		}
	}
}

// carry brings one receiver its messages, the one that is due first at each turn.
func (p *Post) carry(ctx context.Context, r Receiver) {
	type letter struct {
		Delivery
		due time.Time
	}
	var bag []letter
	failing := false
	timer := time.NewTimer(time.Hour)
	defer timer.Stop()
	for {
		if len(bag) > 0 {
			timer.Reset(max(0, time.Until(bag[0].due)))
		}
		select {
		case <-ctx.Done():
			return
		case d := <-p.letters[r.Name]:
			bag = append(bag, letter{d, time.Now()})
		case <-timer.C:
			if len(bag) == 0 {
				break
			}
			l := bag[0]
			bag = bag[1:]
			if r.waits(l.Event, p.Now()) {
				l.due = time.Now().Add(time.Minute)
				bag = append(bag, l)
				break
			}
			answer, ok := r.Carrier.Carry(ctx, l.Delivery)
			if ctx.Err() != nil {
				return
			}
			l.Tries++
			outcome := Waiting
			switch {
			case ok:
				outcome = Sent
			case l.Tries >= len(p.Pauses):
				outcome = GaveUp
			default:
				l.due = time.Now().Add(p.Pauses[l.Tries])
				bag = append(bag, l)
			}
			if failing == ok { // a change of state is worth a line; its lasting is not
				failing = !ok
				slog.Info("notices", "receiver", r.Name, "taken", ok, "answer", answer)
			}
			if outcome != Waiting {
				p.count(l.Event, outcome)
			}
			if l.unkept {
				break
			}
			if err := p.Outbox.TriedNotice(ctx, l.Notice, r.Name, outcome, answer, p.Now()); err != nil &&
				ctx.Err() == nil {
				slog.Warn("what came of a notice is not kept; it may be sent again",
					"receiver", r.Name, "err", err)
			}
		}
		slices.SortStableFunc(bag, func(a, b letter) int { return a.due.Compare(b.due) })
	}
}

// Told is a message with what came of it at each receiver.
type Told struct {
	Message
	Fates []Fate
}

// Fate is what came of a message at one receiver.
type Fate struct {
	Receiver string
	Outcome  string // Waiting, Sent, GaveUp
	Tries    int
	Answer   string    // of the last try: a status, "no answer", ""
	At       time.Time // of the last try, or of the message
}
