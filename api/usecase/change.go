package usecase

import (
	"cmp"
	"context"
	"encoding/json"
	"log/slog"
	"math"
	"slices"
	"strings"
	"sync"
	"time"

	"lidwright/api/wire"
	"lidwright/kiln"
	"lidwright/kiln/heatwork"
	"lidwright/kiln/message"
	"lidwright/tiles"
	"lidwright/tiles/shrinkage"
)

// ChangeJSON is a change as the API tells it.
func (s *Studio) ChangeJSON(c tiles.Change) wire.Change {
	j := wire.Change{Seq: c.Seq, Kind: c.Kind, Op: c.Op, ID: c.ID, At: s.Moment(c.At),
		ClockTrusted: c.Trusted,
		Boot:         c.Boot, Body: map[string]any{}}
	json.Unmarshal([]byte(c.Body), &j.Body) // the store holds valid JSON; what is no object stays empty
	return j
}

// SiteRecord gives the name of the record, of the settings or its own, and its life.
func (s *Studio) SiteRecord(ctx context.Context) (id, life string, err error) {
	id, life, err = s.Archive.Site(ctx)
	return cmp.Or(s.Site.ID, id), life, err
}

// StudioNews is one thing about clays and probes that is worth a person's time, though not tonight.
type StudioNews struct {
	Event string // rate.moved, rate.stale, batch.shifted, probe.bias
	Link  string // page that it speaks of
	Kiln  kiln.KilnID
	Since time.Time       // it is news unless it was told of that page after this
	Says  message.Message // a sentence without its full stop
	Data  map[string]any
}

const (
	movedLately = 36 * time.Hour       // a move before that was in an earlier digest
	biasAgain   = 90 * 24 * time.Hour  // a probe that stays off is told again
	staleAgain  = 365 * 24 * time.Hour // and a rate that stays old
)

// StudioNews looks for what is worth telling: rates that moved by a step of the callipers on a lid
// of 150 mm, rates gone old, batches that differ from the one before, probes that cones or bars
// find off.
func (s Clays) StudioNews(ctx context.Context) ([]StudioNews, error) {
	out, err := s.clayNews(ctx)
	if err != nil {
		return nil, err
	}
	probes, err := s.probeNews(ctx)
	return append(out, probes...), err
}

// newsboard is the news that the Wareboard shows. It is looked for again when something was said or
// fitted since, or on another day, and not at every look.
type newsboard struct {
	mu       sync.Mutex
	known    bool
	revision uint64
	day      string
	news     []StudioNews
}

const newsShown = 3 // on the Wareboard

// NewsOnBoard are the first few; none while somebody else looks for them anew.
func (s Clays) NewsOnBoard(ctx context.Context) []StudioNews {
	b := &s.newsboard
	if s.Noted == nil || !b.mu.TryLock() {
		return nil
	}
	defer b.mu.Unlock()
	revision, day := s.Noted(), s.Now().Wall.Format(time.DateOnly)
	if !b.known || b.revision != revision || b.day != day {
		news, err := s.StudioNews(ctx)
		if err != nil {
			slog.WarnContext(ctx, "the news could not be looked for", "err", err)
			return nil
		}
		b.known, b.revision, b.day, b.news = true, revision, day, news[:min(len(news), newsShown)]
	}
	return b.news
}

func (s Clays) clayNews(ctx context.Context) ([]StudioNews, error) {
	fit, _, err := s.Shrink.Fit(ctx)
	if err != nil {
		return nil, err
	}
	g, err := s.Snapshot(ctx)
	if err != nil {
		return nil, err
	}
	clays, err := g.Clays().NewestClays(ctx)
	if err != nil {
		return nil, err
	}
	now := s.Now().Wall
	var out []StudioNews
	for _, clay := range clays {
		if len(fit.Fired(clay)) == 0 {
			continue
		}
		a, err := g.Clays().AskRate(ctx, UsualRate(tiles.BatchRef{Clay: clay}))
		if err != nil {
			return out, err
		}
		sh, err := fit.Rate(a.Ask, tiles.Fired)
		if err != nil { // no heat to ask at
			continue
		}
		link, name := "/clay/"+string(clay), sh.At.BatchRef.String()
		if sh.Standing.Trust == shrinkage.Old {
			out = append(out, StudioNews{Event: "rate.stale", Link: link, Since: now.Add(-staleAgain),
				Says: message.New("the rate of {1} is old: {2}. A new bar or two would tell whether it still holds", name,
					sh.Standing.Why), Data: map[string]any{"clay": string(clay),
					"batch": string(sh.At.Batch)}})
		}
		moves, err := fit.RateHistory(a.Ask)
		if err != nil {
			return out, err
		}
		for _, m := range moves {
			if by := shrinkage.TellingLid * tiles.Millimetre(m.Now-m.Was); now.Sub(m.At) < movedLately &&
				math.Abs(float64(by)) >= float64(s.LidDefaults.Step) {
				j := s.moveJSON(ctx, m, a)
				out = append(out, StudioNews{Event: "rate.moved", Link: link, Since: m.At,
					Says: message.New("the rate of {1} moved from {2} to {3} %, because of {4}", name,
						message.Percent(float64(m.Was), 1), message.Percent(float64(m.Now), 1),
						message.Join(", ", j.Because...)),
					Data: map[string]any{"clay": string(clay),
						"batch": string(m.Batch.Batch), "was_ratio": j.Was,
						"now_ratio": j.Now}})
				break // the newest of them; the page has the others
			}
		}
	}
	shifts, err := g.Clays().BatchShifts(ctx, fit, clays)
	for _, b := range shifts {
		if !b.Differ || math.Abs(float64(b.OnLid)) < float64(s.LidDefaults.Step) {
			continue
		}
		out = append(out, StudioNews{Event: "batch.shifted",
			Link: "/clay/" + string(b.Clay) + "?batch=" + string(b.Batch),
			Says: message.New(oneOf(b.OnLid > 0, "bag {1} of {2} shrinks {3} more than {4} on a lid of {5}",
				"bag {1} of {2} shrinks {3} less than {4} on a lid of {5}"),
				b.Batch, b.Clay, tiles.Measured{Length: tiles.Millimetre(math.Abs(float64(b.OnLid))),
					Unit:   tiles.MM,
					Places: 1}, b.Before, tiles.Measured{Length: shrinkage.TellingLid, Unit: tiles.MM,
					Places: -1}), Data: map[string]any{"clay": string(b.Clay), "batch": string(b.Batch),
				"before": string(b.Before), "more_mm": LengthMM(b.OnLid)}})
	}
	return out, err
}

func (s Clays) probeNews(ctx context.Context) ([]StudioNews, error) {
	said := map[kiln.KilnID][]message.Message{}
	for _, id := range s.KilnNames() {
		stories, err := s.Heat.Stories(ctx, id)
		if err != nil {
			return nil, err
		}
		for _, st := range stories {
			if st.Shelf == "" && st.Life.Removed.IsZero() && heatwork.NotableTwice(st.After) {
				said[id] = append(said[id], st.Last().SaysOf(st.Channel))
			}
		}
	}
	fit, _, err := s.Shrink.Latest()
	if err != nil {
		return nil, err
	}
	for _, w := range fit.LoadHeats() {
		id, channel, _ := strings.Cut(w.Probe, "/")
		if _, ours := s.KilnNamed(kiln.KilnID(id)); !ours || !w.Disagree {
			continue
		}
		off, more, less := w.Drift, message.Key("probe {1}: the bars of its last loads say that the loads had {2} more than was recorded"),
			message.Key("probe {1}: the bars of its last loads say that the loads had {2} less than was recorded")
		if math.Abs(w.Shift) > math.Abs(off) {
			off, more, less = w.Shift, "probe {1}: the bars of its loads say, against other probes, that the loads had {2} more than was recorded",
				"probe {1}: the bars of its loads say, against other probes, that the loads had {2} less than was recorded"
		}
		said[kiln.KilnID(id)] = append(said[kiln.KilnID(id)], message.New(oneOf(off > 0, more, less), channel,
			kiln.Warmer(math.Abs(off))))
	}
	var out []StudioNews
	for id, words := range said {
		slices.SortFunc(words, func(a, b message.Message) int {
			return strings.Compare(a.String(),
				b.String())
		})
		out = append(out, StudioNews{Event: "probe.bias", Link: "/kiln/" + string(id), Kiln: id,
			Since: s.Now().Wall.Add(-biasAgain),
			Says: message.New("{1}, {2}. Look at the probe, and set witness cones in the next firing", id,
				message.Join("; ", words...)), Data: map[string]any{"kiln": string(id)}})
	}
	slices.SortFunc(out, func(a, b StudioNews) int { return strings.Compare(a.Link, b.Link) })
	return out, nil
}
