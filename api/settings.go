package api

import (
	"context"
	"maps"
	"net/http"
	"slices"
	"strconv"
	"time"

	"lidwright/api/caution"
	"lidwright/api/pages"
	"lidwright/api/usecase"
	"lidwright/api/wire"
	"lidwright/kiln"
	"lidwright/kiln/message"
)

// settingsPage shows the settings in force and what every line heard in the last minute.
func (s studioRoutes) settingsPage(w http.ResponseWriter, r *http.Request) error {
	ctx := r.Context()
	wiring := pages.Cautions(caution.Texts(caution.Wiring...))
	for _, c := range wiring[2:] {
		wiring[1].More = append(append(wiring[1].More, c.Text), c.More...)
	}
	d := pages.SettingsPage{Frame: s.page(ctx, "more").Frame, Settings: s.Settings,
		Hot:       float64(kiln.ProbeHot),
		Receivers: s.Notices.Receivers(), Electric: caution.ElectricKilns, Wiring: wiring[:2],
		KeepShut: pages.Cautions(caution.Texts(caution.KeepShut))[0],
		Notices:  pages.Cautions(caution.Texts(caution.Nudge))[0]}
	for _, wired := range s.Wired {
		one, err := s.kilnSettings(ctx, wired)
		if err != nil {
			return err
		}
		d.Kilns = append(d.Kilns, one)
	}
	if s.Collector != nil {
		joined, err := s.Collector.Status(ctx)
		if err != nil {
			return err
		}
		if joined.Joined {
			d.Collector, d.Trouble = joined.URL, joined.Trouble
		}
	}
	return s.show(w, d)
}

// kilnSettings is how one kiln is connected, and what was said of it.
func (s studioRoutes) kilnSettings(ctx context.Context, wired usecase.Wired) (pages.KilnSettings, error) {
	one := pages.KilnSettings{Name: string(wired.Kiln), Speaks: wired.Speaks, Shelves: wired.Shelves,
		NewID: s.MakeID(), MarkID: s.MakeID()}
	for _, l := range s.Lines() {
		if l.Kiln == wired.Kiln {
			one.Sends = l.Sends
			for _, h := range l.Heard {
				if one.Heard = append(one.Heard, h.Says); h.Look {
					one.Look = append(one.Look, h.Says)
				}
			}
		}
	}
	m, err := s.Kilns().KeepShut(ctx, wired.Kiln)
	if err != nil {
		return one, err
	}
	one.Mark, one.MarkSeen = s.Kilns().KeepShutJSON(m), markOf(m.Mark, m.Reason)
	for _, c := range s.Known(wired.Kiln).Channels {
		if c.Role == kiln.RoleProbe {
			one.Probes = append(one.Probes, string(c.ID))
		}
	}
	for _, c := range wired.Channels {
		row := pages.ChannelRow{Name: string(c.Channel), Role: string(c.Role), From: c.From, Unit: c.Unit}
		if p := c.Couple; p != nil {
			row.Couple = &pages.CoupleRow{Type: p.Type, Class: strconv.Itoa(p.Class),
				Linearised: p.Linearised,
				Tolerance:  p.Tolerance}
		}
		one.Channels = append(one.Channels, row)
	}
	lives, err := s.Kilns().ProbeLives(ctx, wired)
	for _, l := range lives {
		one.Lives = append(one.Lives, pages.ProbeLife{ID: l.ID, Channel: l.Channel, Type: l.Type,
			Class: strconv.Itoa(l.Class), Fitted: l.Fitted, Removed: l.Removed, Hours: l.Hours})
	}
	one.Seen = probeMark(lives)
	return one, err
}

// ShelvesInWords are the shelves of a kiln with the probe whose heat their bars had.
func ShelvesInWords(k kiln.Kiln) []message.Message {
	var out []message.Message
	for _, shelf := range slices.Sorted(maps.Keys(k.Shelves)) {
		out = append(out, message.New("{1}: {2}", shelf, k.Shelves[shelf]))
	}
	if len(out) == 0 {
		return append(out, message.New("every shelf: {1}", k.Control))
	}
	return append(out, message.New("any other: {1}", k.Control))
}

// noticesPage lists what was told to people, and who is told.
func (s studioRoutes) noticesPage(w http.ResponseWriter, r *http.Request) error {
	told, err := s.Notices.Last(r.Context(), lastNotices)
	if err != nil {
		return err
	}
	data := pages.NoticesPage{Frame: s.page(r.Context(), "more").Frame, Receivers: s.Notices.Receivers(),
		Caution: pages.Cautioned{Text: caution.Text(caution.Nudge), Open: true}}
	l := s.localeOf(r.Context())
	for _, n := range told {
		day := l.Day(n.At)
		if len(data.Days) == 0 || data.Days[len(data.Days)-1].Day != day {
			data.Days = append(data.Days, pages.NoticeDay{Day: day})
		}
		one := pages.ToldNotice{At: l.Hour(n.At), Link: n.Link, Says: n.Says, Cleared: n.State == "cleared"}
		for _, f := range n.Receivers {
			one.Taken = append(one.Taken, pages.NoticeTaken{Receiver: f.Receiver, Answer: f.Answer,
				Outcome: pages.Word(f.Outcome), Tries: f.Tries})
		}
		d := &data.Days[len(data.Days)-1]
		d.Told = append(d.Told, one)
	}
	return s.show(w, data)
}

type noticesAnswer struct {
	Body struct {
		Receivers []string             `json:"receivers" nullable:"false"`
		Items     []usecase.NoticeTold `json:"items" nullable:"false"`
	}
}

const lastNotices = 50 // that are listed

func (s studioRoutes) getNotices(ctx context.Context, _ *struct{}) (*noticesAnswer, error) {
	told, err := s.Notices.Last(ctx, lastNotices)
	if err != nil {
		return nil, err
	}
	a := &noticesAnswer{}
	a.Body.Receivers, a.Body.Items = append([]string{},
		s.Notices.Receivers()...), append([]usecase.NoticeTold{}, told...)
	for i, t := range a.Body.Items {
		a.Body.Items[i].Receivers = append([]usecase.NoticeFate{}, t.Receivers...)
	}
	return a, nil
}

// testNotice sends a test message to every receiver; what came of it stands in the list of notices.
func (s studioRoutes) testNotice(ctx context.Context, _ *struct{}) (*noticesAnswer, error) {
	if err := s.TestNotices(ctx); err != nil {
		return nil, err
	}
	return s.getNotices(ctx, nil)
}

// testNoticePage is the button of the page of notices.
func (s studioRoutes) testNoticePage(w http.ResponseWriter, r *http.Request) error {
	if err := s.TestNotices(r.Context()); err != nil {
		return err
	}
	http.Redirect(w, r, "/notices", http.StatusSeeOther)
	return nil
}

func (s studioRoutes) getCopies(ctx context.Context, _ *struct{}) (*body[wire.Copies], error) {
	return s.copies(ctx, nil)
}

func (s studioRoutes) postCopy(ctx context.Context, _ *struct{}) (*body[wire.Copies], error) {
	// on a slow card it may take longer than the asker waits
	made, err := s.Copies.Make(context.WithoutCancel(ctx))
	if err != nil {
		return nil, err
	}
	return s.copies(ctx, &made)
}

func (s studioRoutes) renewCopies(ctx context.Context, _ *struct{}) (*body[wire.Renewed], error) {
	n, err := s.Copies.Renew(context.WithoutCancel(ctx))
	if err != nil {
		return nil, err
	}
	return &body[wire.Renewed]{wire.Renewed{Renewed: n}}, nil
}

func (s studioRoutes) copies(ctx context.Context, made *bool) (*body[wire.Copies], error) {
	kept, err := s.Copies.List()
	if err != nil {
		return nil, err
	}
	kept = slices.Clone(kept)
	for i := range kept {
		kept[i].Folder = "" // the list is open to readers
	}
	return &body[wire.Copies]{CopiesJSON(made, kept, s.Site.Zone)}, nil
}

// CopiesJSON is the answer about copies, as the command prints it too where no daemon runs.
func CopiesJSON(made *bool, kept []usecase.CopyKept, zone *time.Location) wire.Copies {
	return wire.Copies{Made: made, Items: copyList(kept, zone)}
}

func copyList(kept []usecase.CopyKept, zone *time.Location) []wire.Copy {
	items := []wire.Copy{}
	for _, k := range kept {
		items = append(items, wire.Copy{Name: k.Name, Folder: k.Folder,
			At: k.At.In(zone).Format(time.RFC3339), Bytes: k.Bytes, Second: k.Second})
	}
	return items
}
