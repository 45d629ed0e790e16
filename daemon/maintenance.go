package daemon

import (
	"context"
	"errors"
	"log/slog"
	"strings"
	"sync"
	"time"

	"lidwright/api/usecase"
	"lidwright/config"
	"lidwright/daemon/notice"
	"lidwright/daemon/store"
	"lidwright/kiln"
	"lidwright/kiln/message"
	"lidwright/kiln/record"
)

// firstCopy is how long after a start a copy is made; it is skipped where nothing changed.
const firstCopy = 10 * time.Minute

// maintain looks after the store while it serves: a copy every day beside those at the end of a firing,
// raw lines let go when they are old, the times put right once the clock is trusted, and a big
// file read through behind the back of those who ask. An error means that the file is damaged and
// the daemon must start anew.
func (d *Daemon) maintain(ctx context.Context) error {
	if words := d.store.Report().Words(); !words.IsZero() {
		slog.Error("the store was put right at the start", "what", words.String())
		if d.notifier != nil {
			d.notifier.say(notice.StoreBack, record.NoticeOnce, words)
		}
	}
	checked := make(chan error, 1)
	if d.store.Report().Behind {
		var reading sync.WaitGroup
		reading.Go(func() { checked <- d.store.Check(ctx) })
		defer reading.Wait()
	}
	minute := d.Minute(ctx)
	d.copying.at(d.Now(), firstCopy)
	for {
		now := d.Now()
		if now.Trusted {
			if err := d.store.Trust(ctx, now); err != nil {
				slog.Warn("times are not put right yet", "err", err)
			}
		}
		if err := d.store.MarkHighWater(ctx); err != nil && ctx.Err() == nil {
			// Health keeps it before everyone's eyes
			slog.Warn("how far the store has come is not written down", "err", err)
		}
		if d.copying.due(now) {
			d.copy(ctx)
			d.dropLines(ctx, now)
			d.forgetMakers(ctx, now)
		}
		select {
		case <-ctx.Done():
			return nil
		case err := <-checked:
			if errors.Is(err, store.ErrDamaged) {
				return err
			}
			if err != nil && ctx.Err() == nil {
				slog.Warn("the store was not read through", "err", err)
			}
		case <-minute:
		}
	}
}

// placeEvery is how often it is looked whether the file of the store is still in its place, where
// nothing is written; each writing looks for itself.
const placeEvery = 5 * time.Second

// watchPlace tells everywhere when the file of the store is no longer in its place, copies once what is
// open, and tells when it is back.
func (d *Daemon) watchPlace(ctx context.Context) error {
	t := time.NewTicker(placeEvery)
	defer t.Stop()
	gone := false
	for {
		select {
		case <-ctx.Done():
			return nil
		case <-t.C:
		}
		if foreign, err := d.store.Foreign(ctx); err == nil && foreign {
			slog.Info("somebody wrote into the store beside the daemon, as carry take does")
			d.shrink.Touch()
			d.outbox.BodiesCarried()
		}
		err := d.store.InPlace(ctx)
		switch is := errors.Is(err, store.ErrGone); {
		case is && !gone:
			slog.Error("the store is gone from its folder", "folder", d.cfg.Store.Folder, "err", err)
			d.notifier.say(notice.StoreGone, record.NoticeBegan,
				message.New("the file of the store was removed or replaced while it was open; nothing can be kept until it is back or the daemon is started anew"))
			if err := d.store.Rescue(ctx); err != nil && ctx.Err() == nil {
				slog.Error("what was kept before is in no new copy", "err", err)
			} else if err == nil {
				slog.Warn("what was kept before is in a new copy, which the next start finds")
			}
		case !is && err == nil && gone:
			slog.Info("the store is in its folder again")
			d.notifier.say(notice.StoreGone, record.NoticeCleared,
				message.New("the file of the store is in its place again"))
		}
		gone = errors.Is(err, store.ErrGone)
	}
}

// lastCopy is when the store was last copied, or looked at for it, and how long until it is due again.
type lastCopy struct {
	mu    sync.Mutex // guards the fields below
	when  kiln.Stamp
	every time.Duration
}

func (l *lastCopy) at(when kiln.Stamp, every time.Duration) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.when, l.every = when, every
}

func (l *lastCopy) due(now kiln.Stamp) bool {
	l.mu.Lock()
	defer l.mu.Unlock()
	since, _ := now.Sub(l.when)
	return since >= l.every
}

func (d *Daemon) copy(ctx context.Context) {
	d.compare(ctx)
	made, err := d.store.Copy(ctx)
	d.copying.at(d.Now(), d.cfg.Copy.Every)
	switch {
	case err != nil && ctx.Err() == nil:
		slog.Warn("no copy of the store", "err", err) // Health keeps it before everyone's eyes
	case made:
		slog.Info("copied the store")
	}
}

// compare holds the store against its newest copy before another is made: a damaged file would be copied
// as it is, and the oldest copies go.
func (d *Daemon) compare(ctx context.Context) {
	told, err := d.store.Compare(ctx)
	switch {
	case err != nil && ctx.Err() == nil:
		slog.Warn("the store is not compared with its newest copy", "err", err)
	case !told.IsZero():
		slog.Error("the store and its newest copy do not agree", "what", told.String())
		if d.notifier != nil {
			d.notifier.say(notice.StoreBack, record.NoticeOnce, told)
		}
	}
}

// dropLines lets raw lines go that are older than the settings say; never by a clock that may be
// wrong by years.
func (d *Daemon) dropLines(ctx context.Context, now kiln.Stamp) {
	if !now.Trusted || d.cfg.Keep.RawLinesDays == 0 {
		return
	}
	if err := d.store.DropRawLines(ctx, now.Wall.AddDate(0, 0, -d.cfg.Keep.RawLinesDays)); err != nil {
		slog.Warn("old raw lines are not let go", "err", err)
	}
}

// forgetMakers blanks the marks of makers who entered nothing for as long as the settings say; never by
// a clock that may be wrong by years.
func (d *Daemon) forgetMakers(ctx context.Context, now kiln.Stamp) {
	if !now.Trusted || d.cfg.Keep.MakersMonths == 0 {
		return
	}
	marks, err := d.store.MakersBefore(ctx, now.Wall.AddDate(0, -d.cfg.Keep.MakersMonths, 0))
	for _, mark := range marks {
		if err == nil {
			_, err = d.store.ForgetMaker(ctx, mark, now)
		}
	}
	if err != nil {
		slog.Warn("makers of long ago are not forgotten", "err", err)
	} else if len(marks) > 0 {
		slog.Info("makers of long ago are forgotten; what they measured stays", "makers", len(marks))
		d.copy(ctx)
		if older, _, err := d.store.WithForgotten(ctx); err == nil && len(older) > 0 {
			slog.Warn("older copies still have marks of forgotten makers; take them out with: lidwright copy renew",
				"copies", len(older), "oldest", older[len(older)-1].At.Format(time.RFC3339))
		}
	}
}

// health is how the store is, as the pages and the metrics tell it.
func (d *Daemon) health() (usecase.StoreHealth, error) {
	h, err := d.store.Health()
	for _, all := range [][]message.Message{h.Trouble, h.Alarm} {
		for i, says := range all {
			all[i] = says.Names(func(name string) string { return pathless(d.cfg, name) })
		}
	}
	return usecase.StoreHealth{Bytes: h.Bytes, Free: h.Free, Copies: h.Copies, LastCopy: h.LastCopy,
		Trouble: h.Trouble,
		Alarm:   h.Alarm, Gone: h.Gone, Back: h.Back}, err
}

// pathless takes the folders of the store and of the second place out of a name in a sentence that anybody
// may read, and leaves the names of the files in them; the log has the whole.
func pathless(cfg config.Config, says string) string {
	for _, folder := range []string{cfg.Store.Folder, cfg.Copy.Target} {
		if folder = strings.TrimRight(folder, "/"); folder != "" {
			says = strings.ReplaceAll(strings.ReplaceAll(says, folder+"/", ""), folder, "the folder")
		}
	}
	return says
}
