// Package outbox sends a studio's record to the collector that its owner joined, and is the only code that
// knows one. The record of changes is the queue: nothing is copied. In flow the store and what the kilns do
// now, out flow requests; nothing of a collector's answer but how far it is ever comes in.
//
// It asks a collector for no answer to any question, and nobody waits for it: where the collector is
// gone, the studio goes on as if it had never been there.
package outbox

import (
	"context"
	"encoding/json"
	"errors"
	"log/slog"
	"math/rand/v2"
	"net/http"
	"sync"
	"sync/atomic"
	"time"

	"lidwright/api/usecase"
	"lidwright/api/wire"
	"lidwright/kiln"
	"lidwright/kiln/message"
	"lidwright/tiles"
)

// Store is what of the record is sent, and where a cursor is kept.
type Store interface {
	Site(ctx context.Context) (id, life string, err error)
	Changes(ctx context.Context, after int64, limit int) ([]tiles.Change, error)
	LastChange(ctx context.Context) (int64, error)
	Found(ctx context.Context, after, upTo int64) (map[int64]*wire.PushFound, error)
	Boots(ctx context.Context) ([]wire.PushBoot, error)
	Sent(ctx context.Context, collector string) (life string, have int64, err error)
	Save(ctx context.Context, collector, life string, have int64, fresh bool,
		sent []wire.FiringMark, at kiln.Stamp) error
	Forget(ctx context.Context, collector string) error
	News() <-chan struct{}
	FiringStore
	BodyStore
}

// FiringStore has the firings as they are sent, and which of them were.
type FiringStore interface {
	FiringRevisions(ctx context.Context) ([]wire.FiringMark, error)
	SentFiring(ctx context.Context, id string) (wire.SentFiring, []byte, error)
	SentFirings(ctx context.Context, collector string) ([]wire.FiringMark, error)
}

// BodyStore keeps which body of the collector each clay is, and what other studios told of it.
type BodyStore interface {
	ClayBodies(ctx context.Context) ([]wire.KeptBody, error)
	SaveClayBodies(ctx context.Context, all []wire.KeptBody) error
}

// Outbox is the sender. New fills the fields that a test may change before Run.
type Outbox struct {
	Store    Store
	Live     func() []wire.LiveKiln
	Now      func() kiln.Stamp
	Folder   string // of the file with the token
	Version  string
	CurveSum func(curve []byte) int64
	Form     int // of what is sent

	Patience    time.Duration // with one answer
	First, Most time.Duration // the pause after trouble begins with the one and doubles to the other
	SaveEach    time.Duration // between two writings of a cursor
	LiveFiring  time.Duration // between two tellings of what the kilns do while one fires
	LiveElse    time.Duration // and while none does
	CurveEach   time.Duration // between two sendings of the curve of a firing under way
	PoolEach    time.Duration // between two askings what other studios tell
	// since the start of the machine, for which facts of a clock that is not trusted wait
	TrustWait time.Duration

	// Summarise is what the studio's own bars of a clay tell, for a maturing point; nil: no bar does.
	// PoolsChanged says that other studios tell something else now. ShrinkModels are the numbers of the
	// models by which others may tell, the first before the next.
	Summarise    func(ctx context.Context, clay tiles.ClayID, maturesC float64) (*wire.PoolSummary, error)
	PoolsChanged func()
	ShrinkModels []string

	tellPool chan struct{} // something was picked, or carried in
	carried  atomic.Bool   // somebody else wrote into the store: bodies are to be read again
	pool     sync.Mutex    // held while bodies are told of, and while one is picked

	wake chan struct{} // the joining or the purposes changed
	one  sync.Mutex    // held while something is sent, and while the joining changes

	mu        sync.Mutex // guards the fields below
	joined    joined
	bodies    map[tiles.ClayID]pooledClay
	life      string               // of the record
	catalogue []wire.CatalogueBody // as it was heard last
	broken    error                // the file of the joining does not read
	trouble   string
	lastOK    time.Time
	body      string
	atLife    string // of the record that atHave belongs to; "": nothing was sent since the start
	atHave    int64  // change up to which the collector has it
	refused   uint64
	stopTurn  func() // ends what is being sent
}

// New makes the sender of the record in a folder.
func New(store Store, folder, version string, now func() kiln.Stamp, live func() []wire.LiveKiln,
	sum func([]byte) int64) *Outbox {
	return &Outbox{Store: store, Live: live, Now: now, Folder: folder, Version: version,
		CurveSum: sum,
		Form:     wire.PushForm,
		Patience: 15 * time.Second, First: time.Second, Most: time.Hour, SaveEach: time.Minute,
		LiveFiring: 30 * time.Second, LiveElse: 5 * time.Minute, CurveEach: 5 * time.Minute,
		TrustWait: 24 * time.Hour, PoolEach: time.Hour, tellPool: make(chan struct{}, 1),
		Summarise: func(context.Context, tiles.ClayID, float64) (*wire.PoolSummary, error) {
			return nil,
				nil
		}, PoolsChanged: func() {},
		wake: make(chan struct{}, 1)}
}

// Run sends until ctx ends. Trouble with a collector is told in the status and never ends it.
func (o *Outbox) Run(ctx context.Context) error {
	j, err := readJoined(o.Folder)
	o.mu.Lock()
	o.joined, o.broken = j, err
	o.mu.Unlock()
	if err != nil {
		slog.Warn("nothing is sent to the collector", "err", err)
	}
	pooled := make(chan struct{})
	go func() { defer close(pooled); o.runPool(ctx) }()
	defer func() { <-pooled }()
	var s *sender
	defer func() {
		if s != nil {
			s.save(context.WithoutCancel(ctx), true)
			s.http.close()
		}
	}()
	for ctx.Err() == nil {
		news := o.Store.News() // before the record is read, so that none is missed
		turn, stop := context.WithCancel(ctx)
		o.mu.Lock()
		o.stopTurn = stop
		o.mu.Unlock()
		o.one.Lock()
		s = o.current(ctx, s)
		wait := o.turn(turn, s)
		o.one.Unlock()
		stop()
		if s == nil || s.pausing {
			news = nil
		}
		timer := time.NewTimer(max(wait, 0))
		if wait < 0 {
			timer.Stop()
		}
		select {
		case <-ctx.Done():
		case <-o.wake:
		case <-news:
		case <-timer.C:
		}
		timer.Stop()
	}
	return nil
}

// current is the sender for the collector that is joined now; nil where nothing is to be sent.
func (o *Outbox) current(ctx context.Context, s *sender) *sender {
	o.mu.Lock()
	j := o.joined
	o.mu.Unlock()
	if s != nil && s.joined == j {
		return s
	}
	if s != nil {
		s.save(context.WithoutCancel(ctx), true)
		s.http.close()
	}
	if j.URL == "" || !j.Keep {
		return nil
	}
	c, err := newClient(j, o.Patience)
	if err != nil {
		o.tell(err)
		return nil
	}
	return &sender{Outbox: o, joined: j, http: c}
}

// turn sends once and gives how long to wait for the next time; negative: until something happens.
func (o *Outbox) turn(ctx context.Context, s *sender) time.Duration {
	if s == nil {
		return -1
	}
	err := s.turn(ctx)
	if ctx.Err() != nil {
		return -1
	}
	if s.pausing = err != nil; err == nil {
		s.failed = 0
		o.mu.Lock()
		o.trouble = ""
		o.mu.Unlock()
		return s.next()
	}
	o.tell(err)
	var no *refused
	pause := min(o.First<<min(s.failed, 30), o.Most)
	s.failed++
	if errors.As(err, &no) {
		o.mu.Lock()
		o.refused++
		o.mu.Unlock()
		if no.after > 0 {
			pause = max(pause, min(no.after, o.Most))
		}
		switch no.Why {
		case "forgotten", "fork", "form":
			pause = o.Most // somebody must act first
		}
	}
	return pause/2 + rand.N(pause+1) // half to one and a half
}

// tell keeps what is wrong for the page of the settings.
func (o *Outbox) tell(err error) {
	said := message.Stopped(message.Of(err)).String()
	o.mu.Lock()
	defer o.mu.Unlock()
	if said != o.trouble {
		slog.Warn("the collector takes nothing; what is recorded stays here and is sent later", "err", err)
	}
	o.trouble = said
}

// Status is how the studio stands to its collector.
func (o *Outbox) Status(ctx context.Context) (usecase.CollectorStatus, error) {
	site, life, err := o.Store.Site(ctx)
	if err != nil {
		return usecase.CollectorStatus{}, err
	}
	o.mu.Lock()
	st := usecase.CollectorStatus{Site: site, Joined: o.joined.URL != "", URL: o.joined.URL,
		Name: o.joined.Name, Keep: o.joined.Keep, Makers: o.joined.Makers,
		LastOK: o.lastOK, Trouble: o.trouble, LastBody: o.body, Refused: o.refused}
	if o.broken != nil {
		st.Trouble = message.Stopped(message.Of(o.broken)).String()
	}
	o.mu.Unlock()
	if !st.Joined || !st.Keep {
		return st, nil
	}
	had, have, err := o.Store.Sent(ctx, st.URL)
	if err != nil {
		return st, err
	}
	o.mu.Lock()
	if o.atLife != "" { // the cursor is written down once in a while
		had, have = o.atLife, o.atHave
	}
	o.mu.Unlock()
	if had != life {
		have = 0
	}
	last, err := o.Store.LastChange(ctx)
	st.Behind = max(0, last-have)
	return st, err
}

// Join exchanges a code for a token and keeps it. Nothing is sent before the owner says so by Set.
func (o *Outbox) Join(ctx context.Context, address, code, caFile string) error {
	j := joined{URL: address, CAFile: caFile}
	u, err := checkURL(address)
	if err != nil {
		return &tiles.Invalid{Type: "unknown-value", Field: "url", Why: message.Stopped(message.Of(err))}
	}
	j.URL = u.String()
	c, err := newClient(j, o.Patience)
	if err != nil {
		return &tiles.Invalid{Type: "unknown-value", Field: "ca_file", Why: message.Stopped(message.Of(err))}
	}
	defer c.close()
	site, life, err := o.Store.Site(ctx)
	if err != nil {
		return err
	}
	body, err := json.Marshal(wire.JoinAsk{Code: code, Site: site, Life: life, Version: o.Version})
	if err != nil {
		return err
	}
	var taken wire.JoinTaken
	if err := c.send(ctx, http.MethodPost, "/v1/join", jsonType, body, false, &taken); err != nil {
		var no *refused
		if errors.As(err, &no) {
			return &tiles.Invalid{Type: "unknown-value", Field: "code",
				Why: message.Stopped(message.Plain(no.Says))}
		}
		return &tiles.Invalid{Type: "unknown-value", Field: "url", Why: message.Stopped(message.Of(err))}
	}
	if len(taken.Token) < 32 || len(taken.Token) > 200 {
		return &tiles.Invalid{Type: "unknown-value", Field: "url",
			Why: message.Stopped(message.Of(errStrange))}
	}
	j.Name, j.Token = taken.Name, taken.Token
	defer o.alone()()
	if err := o.Store.Forget(ctx, j.URL); err != nil {
		return err
	}
	return o.keep(j)
}

// Set is the owner's yes or no to each purpose.
func (o *Outbox) Set(_ context.Context, keep, makers bool) error {
	o.mu.Lock()
	j := o.joined
	o.mu.Unlock()
	if j.URL == "" {
		return &tiles.Invalid{Type: "unknown-value", Field: "keep",
			Why: message.New("No collector is joined; join one first.")}
	}
	j.Keep, j.Makers = keep, makers
	defer o.alone()()
	return o.keep(j)
}

// Leave ends the joining. forget asks the collector first to delete all that it has of this studio; where
// it does not answer, the studio stays joined.
func (o *Outbox) Leave(ctx context.Context, forget bool) error {
	o.mu.Lock()
	j := o.joined
	o.mu.Unlock()
	defer o.alone()()
	if forget && j.URL != "" {
		c, err := newClient(j, o.Patience)
		if err != nil {
			return err
		}
		defer c.close()
		site, _, err := o.Store.Site(ctx)
		if err != nil {
			return err
		}
		err = c.send(ctx, http.MethodDelete, "/v1/studios/"+site, "", nil, false, nil)
		var no *refused
		if errors.As(err, &no) && no.Why == "forgotten" {
			err = nil // it was asked before
		}
		if err != nil {
			return &tiles.Invalid{Type: "unknown-value", Field: "forget",
				Why: message.New("the collector did not delete anything: {1}. Leave without deleting, or try again.",
					message.Of(err))}
		}
	}
	if err := removeJoined(o.Folder); err != nil {
		return err
	}
	if j.URL != "" {
		if err := o.Store.Forget(ctx, j.URL); err != nil {
			return err
		}
	}
	o.changed(joined{})
	o.pool.Lock()
	defer o.pool.Unlock()
	o.takeCarried(ctx)
	if len(o.picked()) == 0 {
		return nil
	}
	err := o.keepBodies(ctx, map[tiles.ClayID]pooledClay{}) // what its studios told goes with it
	o.PoolsChanged()
	return err
}

// alone ends what is being sent and keeps the sender waiting until what it gives back is called.
func (o *Outbox) alone() (done func()) {
	o.mu.Lock()
	stop := o.stopTurn
	o.mu.Unlock()
	if stop != nil {
		stop()
	}
	o.one.Lock()
	return o.one.Unlock
}

// keep writes a joining down, from then on in force.
func (o *Outbox) keep(j joined) error {
	if err := j.write(o.Folder); err != nil {
		return err
	}
	o.changed(j)
	return nil
}

func (o *Outbox) changed(j joined) {
	o.mu.Lock()
	o.joined, o.broken, o.trouble, o.atLife = j, nil, "", ""
	if j.URL == "" {
		o.catalogue = nil
		o.lastOK, o.body = time.Time{}, ""
	}
	o.mu.Unlock()
	select {
	case o.wake <- struct{}{}:
	default:
	}
}
