package daemon

import (
	"context"
	"errors"
	"log/slog"
	"sync/atomic"
	"time"

	"lidwright/api"
	"lidwright/api/usecase"
	"lidwright/config"
	"lidwright/daemon/notice"
	"lidwright/daemon/store"
	"lidwright/kiln"
	"lidwright/kiln/message"
	"lidwright/kiln/record"
	"lidwright/tiles"
)

// notifier tells people what is worth telling. Whoever has something to tell hands it over and
// goes on: recording waits neither for the disk here nor for a receiver.
type notifier struct {
	store *store.Store
	post  *notice.Post
	gate  notice.Gate
	now   func() kiln.Stamp
	newID func() string
	zone  *time.Location
	site  string
	word  message.Reader           // in the language of the site
	bare  func(says string) string // takes server paths out of what readers see
	at    time.Duration            // time of day of what can wait
	every time.Duration            // between copies

	news   chan record.Notice
	losing atomic.Bool         // news is full, and the log says so
	said   chan notice.Message // of the studio, told as they come
	studio func(context.Context) ([]usecase.StudioNews, error)
	unsent []notice.Message // went out from memory; the disk has not taken them yet
	keeps  func() error     // why nothing can be kept; nil: it can
	full   int              // looks in a row at which it could not
	digest string           // day of the last digest
}

const (
	// are remembered for the list of notices while the disk takes nothing; of more the oldest go
	mostUnsent   = 100
	outboxWithin = 5 * time.Second // a message goes out without having been kept
	lookEvery    = 5 * time.Second // at whether anything can be kept
)

func newNotifier(s *store.Store, cfg config.Config, zone *time.Location, now func() kiln.Stamp,
	newID func() string) (*notifier, error) {
	h := &notifier{store: s, now: now, newID: newID, zone: zone, site: cfg.Site.Name,
		at: time.Duration(cfg.Notice.DigestAt), every: cfg.Copy.Every,
		bare: func(says string) string { return pathless(cfg, says) }, news: make(chan record.Notice, 256),
		said: make(chan notice.Message, 16), keeps: func() error { return nil },
		studio: func(context.Context) ([]usecase.StudioNews, error) { return nil, nil }}
	var err error
	if h.word, err = api.SiteReader(cfg.Site.Language, cfg.Units.Length, cfg.Site.Clock == 12,
		cfg.Units.Temperature == "f"); err != nil {
		return nil, err
	}
	h.post = &notice.Post{Outbox: s, Now: func() time.Time { return now().Wall.In(zone) }}
	h.post.Receivers, err = receiversOf(cfg, h.post.Now)
	return h, err
}

// receive takes a notice of the recorder and never waits. Of a storm that the disk cannot follow the
// log has one line, whatever is lost.
func (h *notifier) receive(n record.Notice) {
	select {
	case h.news <- n:
		h.losing.Store(false)
	default:
		if !h.losing.Swap(true) {
			slog.Warn("notices are lost: too many wait for the disk", "event", n.Event, "kiln", n.Kiln)
		}
	}
}

// run tells until ctx ends and recorded is closed; what the recorder told last is kept in the outbox, and
// sent after the next start.
func (h *notifier) run(ctx context.Context, recorded <-chan struct{}) error {
	if standing, err := h.store.StandingNotices(ctx); err != nil {
		slog.Warn("notices that stand cannot be read; one may be told twice", "err", err)
	} else {
		for _, m := range standing {
			h.gate.Restore(m, h.now())
		}
	}
	carried := make(chan error, 1)
	go func() { carried <- h.post.Run(ctx) }()
	minute, often := time.NewTicker(time.Minute), time.NewTicker(lookEvery)
	defer minute.Stop()
	defer often.Stop()
	// what is told in the moment of the end is kept too
	keeping, stop := context.WithCancel(context.WithoutCancel(ctx))
	defer stop()
	for {
		select {
		case <-ctx.Done():
			h.last(keeping, stop, recorded)
			return <-carried
		case n := <-h.news:
			h.tellOf(keeping, n)
		case m := <-h.said:
			h.tell(keeping, m)
		case <-often.C:
			h.disk(keeping)
		case <-minute.C:
			h.look(ctx)
		}
	}
}

// say tells something of the studio at once.
func (h *notifier) say(event string, state record.NoticeState, says message.Message) {
	select {
	case h.said <- notice.OfStudio(event, string(state), says, "/more", nil, h.now(),
		h.newID(), h.site, h.zone):
	default:
		slog.Warn("a notice is lost: too many wait", "event", event)
	}
}

// lastNotices is how long the outbox may take at the end for what was told last.
const lastNotices = time.Second

// last keeps what the recorder tells until it has ended; stop ends ctx.
func (h *notifier) last(ctx context.Context, stop func(), recorded <-chan struct{}) {
	for over := false; ; {
		select {
		case n := <-h.news:
			h.tellOf(ctx, n)
			continue
		default:
		}
		if over {
			return
		}
		select {
		case n := <-h.news:
			h.tellOf(ctx, n)
		case <-recorded:
			over = true
			time.AfterFunc(lastNotices, stop)
		}
	}
}

func (h *notifier) tellOf(ctx context.Context, n record.Notice) {
	slog.Info("notice", "event", n.Event, "state", n.State, "kiln", n.Kiln, "last_c", float64(n.T))
	h.tell(ctx, notice.OfKiln(n, h.newID(), h.site, h.zone))
}

// tell sends m if it is not told already.
func (h *notifier) tell(ctx context.Context, m notice.Message) {
	if h.gate.Pass(m, h.now()) {
		h.send(ctx, m)
	}
}

func (h *notifier) send(ctx context.Context, m notice.Message) {
	one, cancel := context.WithTimeout(ctx, outboxWithin)
	defer cancel()
	h.keepUnsent(one)
	if err := h.post.Send(one, m.In(h.word)); err != nil && ctx.Err() == nil {
		slog.Warn("a notice goes out from memory: the disk does not take it", "event", m.Event, "err", err)
		if h.unsent = append(h.unsent, m); len(h.unsent) > mostUnsent {
			h.unsent = h.unsent[1:]
		}
	}
}

// keepUnsent puts what went out from memory into the list of notices, the oldest first.
func (h *notifier) keepUnsent(ctx context.Context) {
	for len(h.unsent) > 0 && h.post.Keep(ctx, h.unsent[0]) == nil {
		h.unsent = h.unsent[1:]
	}
}

// disk tells that nothing can be kept, once it was so at two looks, and when it can be again.
func (h *notifier) disk(ctx context.Context) {
	err := h.keeps()
	tell := func(state record.NoticeState, says message.Message) {
		h.tell(ctx, notice.OfStudio(notice.NotWriting, string(state), says, "/more", nil, h.now(), h.newID(),
			h.site, h.zone))
	}
	switch {
	case err == nil && h.full >= 2:
		slog.Info("everything can be kept again")
		tell(record.NoticeCleared, message.New("what is recorded and entered can be kept again"))
	case err != nil && h.full == 1:
		slog.Error("nothing can be kept", "why", err)
		tell(record.NoticeBegan, message.New("nothing can be kept: {1} Readings wait in memory, entries are refused; make room on the disk or look at the machine", message.Stopped(message.Of(err))))
	}
	if h.full++; err == nil {
		h.full = 0
	}
}

// look sends what is due: clearings, what the disk did not take, and once a day what can wait.
func (h *notifier) look(ctx context.Context) {
	now := h.now()
	h.keepUnsent(ctx)
	if h.gate.Stands(notice.CopyOld) {
		if err := h.copies(ctx, now); err != nil && ctx.Err() == nil {
			slog.Warn("a look for what is worth telling failed", "err", err)
		}
	}
	for _, m := range h.gate.Look(now) {
		if m.ID == "" {
			m.ID, m.At, m.ClockTrusted = h.newID(), now.Wall.In(h.zone).Format(time.RFC3339), now.Trusted
		}
		h.send(ctx, m)
	}
	wall := now.Wall.In(h.zone)
	day := wall.Format(time.DateOnly)
	if h.digest == "" { // at the first look of a run, what today's digest may have told already
		h.digest = "none"
	}
	// by the clock on the wall
	due := time.Date(wall.Year(), wall.Month(), wall.Day(), int(h.at.Hours()), int(h.at.Minutes())%60,
		0, 0, h.zone)
	if day == h.digest || wall.Before(due) {
		return
	}
	h.digest = day
	for _, news := range []func(context.Context, kiln.Stamp) error{h.unpacked, h.bars, h.copies, h.clays} {
		if err := news(ctx, now); err != nil && ctx.Err() == nil {
			slog.Warn("a look for what is worth telling failed", "err", err)
		}
	}
}

// once tells something of the studio unless it was told of that page since.
func (h *notifier) once(ctx context.Context, event, link string, since time.Time, says message.Message,
	data map[string]any) error {
	now := h.now()
	told, err := h.store.ToldSince(ctx, event, link, since)
	if err != nil || told {
		return err
	}
	h.send(ctx, notice.OfStudio(event, string(record.NoticeOnce), says, link, data, now, h.newID(), h.site,
		h.zone))
	return nil
}

const longWaiting = 3 * 24 * time.Hour

// bars tells of fired bars that nobody measured for three days.
func (h *notifier) bars(ctx context.Context, now kiln.Stamp) error {
	loads, err := h.store.Loads(ctx, tiles.LoadFilter{Waiting: true})
	if err != nil {
		return err
	}
	for _, l := range loads {
		since := l.Unpacked
		if since.IsZero() {
			since = l.Opened
		}
		if l.Waiting == 0 || now.Wall.Sub(since) < longWaiting {
			continue
		}
		err := h.once(ctx, notice.BarsWaiting, "/load/"+l.ID, now.Wall.AddDate(0, 0, -14),
			message.New("{1} fired bars of load {2} have waited to be measured for {3} days",
				l.Waiting, l.Number, message.Number{Value: now.Wall.Sub(since).Hours() / 24}),
			map[string]any{"load": l.ID, "waiting": l.Waiting})
		if err != nil {
			return err
		}
	}
	return nil
}

const lately = 36 * time.Hour // what is older was in an earlier digest

// unpacked tells of loads that were unpacked since the last digest.
func (h *notifier) unpacked(ctx context.Context, now kiln.Stamp) error {
	loads, err := h.store.Loads(ctx, tiles.LoadFilter{})
	if err != nil {
		return err
	}
	for _, l := range loads {
		if l.Unpacked.IsZero() || now.Wall.Sub(l.Unpacked) > lately {
			continue
		}
		says := message.New("load {1} is unpacked", l.Number)
		if l.Waiting > 0 {
			says = message.New("load {1} is unpacked; bars of it to measure: {2}", l.Number, l.Waiting)
		}
		if err := h.once(ctx, notice.LoadUnpacked, "/load/"+l.ID, l.Unpacked, says,
			map[string]any{"load": l.ID, "waiting": l.Waiting}); err != nil {
			return err
		}
	}
	return nil
}

// clays tells what is new of rates, batches and probes.
func (h *notifier) clays(ctx context.Context, _ kiln.Stamp) error {
	news, err := h.studio(ctx)
	if errors.Is(err, usecase.ErrBusy) { // nothing is fitted yet; tomorrow
		return nil
	}
	for _, n := range news {
		if err := h.once(ctx, n.Event, n.Link, n.Since, n.Says, n.Data); err != nil {
			return err
		}
	}
	return err
}

// copies tells that what was recorded is in no copy, and when it is in one again.
func (h *notifier) copies(ctx context.Context, now kiln.Stamp) error {
	due, err := h.store.CopyDue(ctx)
	if err != nil {
		return err
	}
	state, says, data := record.NoticeCleared, message.New("everything that was recorded is in a copy again"),
		map[string]any{}
	if !due.IsZero() && now.Wall.Sub(due) >= h.every*3/2 {
		state, says = record.NoticeBegan, message.New("what was recorded since {1} is in no copy",
			message.At(due.In(h.zone), "2 Jan"))
		data["since"] = due.UTC().Format(time.RFC3339)
	}
	h.tell(ctx, notice.OfStudio(notice.CopyOld, string(state), says, "/more", data, now, h.newID(), h.site,
		h.zone))
	return nil
}

// Test sends a test notice to every receiver.
func (h *notifier) Test(ctx context.Context) error {
	m := notice.OfStudio(notice.Test, string(record.NoticeOnce),
		message.New("this is a test of the notices of {1}", h.site), "/settings", nil, h.now(), h.newID(),
		h.site, h.zone)
	return h.post.Send(ctx, m.In(h.word))
}

// Last gives the newest notices with what came of them.
func (h *notifier) Last(ctx context.Context, limit int) ([]usecase.NoticeTold, error) {
	told, err := h.store.Notices(ctx, limit)
	if err != nil {
		return nil, err
	}
	out := make([]usecase.NoticeTold, len(told))
	for i, t := range told {
		out[i] = usecase.NoticeTold{ID: t.ID, Event: t.Event, State: t.State, At: t.At, Kiln: t.Kiln,
			Says: h.bare(t.Says), Link: t.Link}
		for _, f := range t.Fates {
			out[i].Receivers = append(out[i].Receivers, usecase.NoticeFate{Receiver: f.Receiver,
				Outcome: f.Outcome, Tries: f.Tries, Answer: f.Answer, At: f.At})
		}
	}
	return out, nil
}

// Receivers are the names of those that notices go to.
func (h *notifier) Receivers() []string {
	var names []string
	for _, r := range h.post.Receivers {
		names = append(names, r.Name)
	}
	return names
}

// Counts counts deliveries since the start by event and outcome; one that began counts as told.
func (h *notifier) Counts() map[[2]string]uint64 {
	out := map[[2]string]uint64{}
	for c, n := range h.post.Counts() {
		outcome := c.Outcome
		if outcome == notice.Waiting {
			outcome = "told"
		}
		out[[2]string{c.Event, outcome}] = n
	}
	return out
}
