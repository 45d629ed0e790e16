package daemon

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"strings"
	"sync/atomic"
	"time"

	"github.com/google/uuid"

	"lidwright/api"
	"lidwright/config"
	"lidwright/daemon/notice"
	"lidwright/daemon/store"
	"lidwright/kiln"
	"lidwright/tiles"
)

// herald tells people what is worth telling. Whoever has something to tell hands it over and
// goes on: recording waits neither for the disk here nor for a receiver.
type herald struct {
	store *store.Store
	post  *notice.Post
	gate  notice.Gate
	now   func() kiln.Stamp
	zone  *time.Location
	site  string
	say   func(english string) string // in the language of the site
	at    time.Duration               // time of day of what can wait
	every time.Duration               // between copies

	news   chan kiln.Notice
	losing atomic.Bool       // news is full, and the log says so
	ended  func(kiln.Notice) // a firing is over
	studio func(context.Context) ([]api.StudioNews, error)
	unsent []notice.Message // the disk would not take them yet
	digest string           // day of the last digest
}

// mostUnsent are kept while the disk takes nothing; of more the oldest go.
const mostUnsent = 100

func newHerald(s *store.Store, cfg config.Config, zone *time.Location, now func() kiln.Stamp) (*herald, error) {
	h := &herald{store: s, now: now, zone: zone, site: cfg.Site.Name, at: time.Duration(cfg.Notice.DigestAt), every: cfg.Copy.Every,
		news: make(chan kiln.Notice, 256), ended: func(kiln.Notice) {},
		studio: func(context.Context) ([]api.StudioNews, error) { return nil, nil }}
	say, err := api.Sayer(cfg.Site.Language)
	if err != nil {
		return nil, err
	}
	h.say = say
	h.post = &notice.Post{Outbox: s, Now: func() time.Time { return now().Wall.In(zone) }}
	for _, w := range cfg.Notice.Webhooks {
		quiet := w.QuietHours
		if quiet == (config.Span{}) {
			quiet = cfg.Notice.QuietHours
		}
		r := notice.Receiver{Name: w.Name, URL: w.URL, On: w.On}
		if quiet != (config.Span{}) {
			r.Quiet = quiet.Holds
		}
		if w.SecretFile != "" {
			secret, err := os.ReadFile(w.SecretFile)
			if err != nil {
				return nil, fmt.Errorf("%w: notice.webhook.%s.secret_file: %v", ErrCannotStart, w.Name, err)
			}
			r.Secret = []byte(strings.TrimSpace(string(secret)))
			if len(r.Secret) == 0 {
				return nil, fmt.Errorf("%w: notice.webhook.%s.secret_file %s is empty", ErrCannotStart, w.Name, w.SecretFile)
			}
		}
		h.post.Receivers = append(h.post.Receivers, r)
	}
	return h, nil
}

// heed takes a notice of the recorder and never waits. Of a storm that the disk cannot follow the
// log has one line, whatever is lost.
func (h *herald) heed(n kiln.Notice) {
	select {
	case h.news <- n:
		h.losing.Store(false)
	default:
		if !h.losing.Swap(true) {
			slog.Warn("notices are lost: too many wait for the disk", "event", n.Event, "kiln", n.Kiln)
		}
	}
}

// run tells until ctx ends.
func (h *herald) run(ctx context.Context) error {
	if standing, err := h.store.StandingNotices(ctx); err != nil {
		slog.Warn("notices that stand cannot be read; one may be told twice", "err", err)
	} else {
		for _, m := range standing {
			h.gate.Restore(m, h.now())
		}
	}
	carried := make(chan error, 1)
	go func() { carried <- h.post.Run(ctx) }()
	minute := time.NewTicker(time.Minute)
	defer minute.Stop()
	for {
		select {
		case <-ctx.Done():
			return <-carried
		case n := <-h.news:
			slog.Info("notice", "event", n.Event, "state", n.State, "kiln", n.Kiln, "last_c", float64(n.T))
			if n.Event == kiln.FiringEndedNotice {
				h.ended(n)
			}
			h.tell(ctx, notice.OfKiln(n, newID(), h.site, h.zone))
		case <-minute.C:
			h.look(ctx)
		}
	}
}

// tell sends m if it is not told already.
func (h *herald) tell(ctx context.Context, m notice.Message) {
	if h.gate.Pass(m, h.now()) {
		h.send(ctx, m)
	}
}

func (h *herald) send(ctx context.Context, m notice.Message) {
	if err := h.post.Send(ctx, m.In(h.say)); err != nil && ctx.Err() == nil {
		slog.Warn("a notice waits for the disk", "event", m.Event, "err", err)
		if h.unsent = append(h.unsent, m); len(h.unsent) > mostUnsent {
			h.unsent = h.unsent[1:]
		}
	}
}

// look sends what is due: clearings, what the disk did not take, and once a day what can wait.
func (h *herald) look(ctx context.Context) {
	now := h.now()
	unsent := h.unsent
	h.unsent = nil
	for _, m := range unsent {
		h.send(ctx, m)
	}
	if h.gate.Stands(notice.CopyOld) {
		if err := h.copies(ctx, now); err != nil && ctx.Err() == nil {
			slog.Warn("a look for what is worth telling failed", "err", err)
		}
	}
	for _, m := range h.gate.Look(now) {
		if m.ID == "" {
			m.ID, m.At, m.ClockTrusted = newID(), now.Wall.In(h.zone).Format(time.RFC3339), now.Trusted
		}
		h.send(ctx, m)
	}
	wall := now.Wall.In(h.zone)
	day := wall.Format(time.DateOnly)
	if h.digest == "" { // at the first look of a run, what today's digest may have told already
		h.digest = "none"
	}
	if day == h.digest || wall.Sub(time.Date(wall.Year(), wall.Month(), wall.Day(), 0, 0, 0, 0, h.zone)) < h.at {
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
func (h *herald) once(ctx context.Context, event, link string, since time.Time, says string, data map[string]any) error {
	now := h.now()
	told, err := h.store.ToldSince(ctx, event, link, since)
	if err != nil || told {
		return err
	}
	h.send(ctx, notice.OfStudio(event, string(kiln.NoticeOnce), says, link, data, now, newID(), h.site, h.zone))
	return nil
}

const longWaiting = 3 * 24 * time.Hour

// bars tells of fired bars that nobody measured for three days.
func (h *herald) bars(ctx context.Context, now kiln.Stamp) error {
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
		err := h.once(ctx, notice.BarsWaiting, "/unpack/"+l.ID, now.Wall.AddDate(0, 0, -14), fmt.Sprintf("%d fired bars of load %d have waited to be measured for %.0f days",
			l.Waiting, l.Number, now.Wall.Sub(since).Hours()/24), map[string]any{"load": l.ID, "waiting": l.Waiting})
		if err != nil {
			return err
		}
	}
	return nil
}

const lately = 36 * time.Hour // what is older was in an earlier digest

// unpacked tells of loads that were unpacked since the last digest.
func (h *herald) unpacked(ctx context.Context, now kiln.Stamp) error {
	loads, err := h.store.Loads(ctx, tiles.LoadFilter{})
	if err != nil {
		return err
	}
	for _, l := range loads {
		if l.Unpacked.IsZero() || now.Wall.Sub(l.Unpacked) > lately {
			continue
		}
		says := fmt.Sprintf("load %d is unpacked", l.Number)
		if l.Waiting > 0 {
			says += fmt.Sprintf("; bars of it to measure: %d", l.Waiting)
		}
		if err := h.once(ctx, notice.LoadUnpacked, "/unpack/"+l.ID, l.Unpacked, says, map[string]any{"load": l.ID, "waiting": l.Waiting}); err != nil {
			return err
		}
	}
	return nil
}

// clays tells what is new of rates, batches and probes.
func (h *herald) clays(ctx context.Context, _ kiln.Stamp) error {
	news, err := h.studio(ctx)
	if errors.Is(err, tiles.ErrBusy) { // nothing is fitted yet; tomorrow
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
func (h *herald) copies(ctx context.Context, now kiln.Stamp) error {
	due, err := h.store.CopyDue(ctx)
	if err != nil {
		return err
	}
	state, says, data := kiln.NoticeCleared, "everything that was recorded is in a copy again", map[string]any{}
	if !due.IsZero() && now.Wall.Sub(due) >= h.every*3/2 {
		state, says = kiln.NoticeBegan, fmt.Sprintf("what was recorded since %s is in no copy", due.In(h.zone).Format("2 Jan 15:04"))
		data["since"] = due.UTC().Format(time.RFC3339)
	}
	h.tell(ctx, notice.OfStudio(notice.CopyOld, string(state), says, "/more", data, now, newID(), h.site, h.zone))
	return nil
}

// Test sends a test notice to every receiver.
func (h *herald) Test(ctx context.Context) error {
	m := notice.OfStudio(notice.Test, string(kiln.NoticeOnce), "this is a test of the notices of "+h.site, "/settings", nil, h.now(), newID(), h.site, h.zone)
	return h.post.Send(ctx, m.In(h.say))
}

// Last gives the newest notices with what came of them.
func (h *herald) Last(ctx context.Context, limit int) ([]api.NoticeTold, error) {
	told, err := h.store.Notices(ctx, limit)
	if err != nil {
		return nil, err
	}
	out := make([]api.NoticeTold, len(told))
	for i, t := range told {
		out[i] = api.NoticeTold{ID: t.ID, Event: t.Event, State: t.State, At: t.At, Kiln: t.Kiln, Says: t.Says, Link: t.Link}
		for _, f := range t.Fates {
			out[i].Receivers = append(out[i].Receivers, api.NoticeFate{Receiver: f.Receiver, Outcome: f.Outcome, Tries: f.Tries, Answer: f.Answer, At: f.At})
		}
	}
	return out, nil
}

// Receivers are the names of those that notices go to.
func (h *herald) Receivers() []string {
	var names []string
	for _, r := range h.post.Receivers {
		names = append(names, r.Name)
	}
	return names
}

// Counts counts deliveries by event and outcome.
func (h *herald) Counts(ctx context.Context) (map[[2]string]int, error) {
	return h.store.NoticeCounts(ctx)
}

func newID() string { return uuid.Must(uuid.NewV7()).String() }
