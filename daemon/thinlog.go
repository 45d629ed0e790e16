package daemon

import (
	"context"
	"log/slog"
	"sync"
	"time"
)

// A lasting fault is worth a line when it begins and one an hour; what flaps, a few.
const (
	thinSame  = 6  // lines an hour with one message about one kiln, receiver or event
	thinWhole = 90 // lines an hour of all of them
)

// ThinLog keeps a log from being flooded: of each message about one thing it lets thinSame lines an
// hour through, and thinWhole of all of them together; the first line after tells how many were left
// out. Lines below info are let through: who asked for them wants them. So is a line with a reference, which
// an answer names and which is written once an hour for what goes wrong in the same words. now is the clock
// of the hours.
func ThinLog(next slog.Handler, now func() time.Time) slog.Handler {
	return &thinLog{Handler: next, now: now, kept: &thinned{hours: map[string]*thinHour{}}}
}

type thinLog struct {
	slog.Handler
	now  func() time.Time
	kept *thinned // shared by the handlers that WithAttrs and WithGroup make
}

type thinned struct {
	mu    sync.Mutex
	hours map[string]*thinHour
	whole thinHour
}

// thinHour counts the lines of an hour, which begins with its first.
type thinHour struct {
	began     time.Time
	said, not int
}

// pass counts a line and says whether it is let through, and how many before it were not.
func (h *thinHour) pass(now time.Time, most int) (ok bool, leftOut int) {
	if ago := now.Sub(h.began); h.began.IsZero() || ago >= time.Hour || ago < 0 {
		leftOut = h.not
		*h = thinHour{began: now}
	}
	if h.said >= most {
		h.not++
		return false, 0
	}
	h.said++
	return true, leftOut
}

func (t *thinLog) Handle(ctx context.Context, r slog.Record) error {
	if r.Level < slog.LevelInfo {
		return t.Handler.Handle(ctx, r)
	}
	about, named := r.Message, false
	r.Attrs(func(a slog.Attr) bool {
		if a.Key == "kiln" || a.Key == "receiver" || a.Key == "event" {
			about += "\x00" + a.Value.String()
		}
		named = named || a.Key == "reference"
		return true
	})
	if named {
		return t.Handler.Handle(ctx, r)
	}
	t.kept.mu.Lock()
	now := t.now()
	if len(t.kept.hours) > 10*thinWhole { // of things that went by
		clear(t.kept.hours)
	}
	h := t.kept.hours[about]
	if h == nil {
		h = &thinHour{}
		t.kept.hours[about] = h
	}
	ok, same := h.pass(now, thinSame)
	var all int
	if ok {
		ok, all = t.kept.whole.pass(now, thinWhole)
	}
	t.kept.mu.Unlock()
	if !ok {
		return nil
	}
	if same > 0 {
		r.AddAttrs(slog.Int("left_out", same))
	}
	if all > 0 {
		r.AddAttrs(slog.Int("left_out_of_all", all))
	}
	return t.Handler.Handle(ctx, r)
}

func (t *thinLog) WithAttrs(attrs []slog.Attr) slog.Handler {
	return &thinLog{t.Handler.WithAttrs(attrs), t.now, t.kept}
}

func (t *thinLog) WithGroup(name string) slog.Handler {
	return &thinLog{t.Handler.WithGroup(name), t.now, t.kept}
}
