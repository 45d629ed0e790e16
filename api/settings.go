package api

import (
	"context"
	"maps"
	"net/http"
	"slices"
	"time"

	"lidwright/api/caution"
	"lidwright/api/usecase"
	"lidwright/api/wire"
	"lidwright/kiln"
	"lidwright/kiln/message"
)

type settingsPageKiln struct {
	usecase.Wired
	Line   usecase.Line
	Lives  []usecase.ProbeLifeRow
	MarkID string // for the form of a new mark
	Probes []kiln.ChannelID
	Limit  kiln.Celsius
	Mark   wire.KeepShut
	NewID  string // for the form of a new probe
}

// settingsPage shows the settings in force and what every line heard in the last minute.
func (s studioRoutes) settingsPage(w http.ResponseWriter, r *http.Request) error {
	lines := map[kiln.KilnID]usecase.Line{}
	for _, l := range s.Lines() {
		lines[l.Kiln] = l
	}
	var kilns []settingsPageKiln
	for _, wired := range s.Wired {
		one := settingsPageKiln{Wired: wired, Line: lines[wired.Kiln], Limit: s.Known(wired.Kiln).Limit, NewID: s.MakeID(), MarkID: s.MakeID()}
		m, err := s.Kilns().KeepShut(r.Context(), wired.Kiln)
		if err != nil {
			return err
		}
		one.Mark = s.Kilns().KeepShutJSON(m)
		for _, c := range s.Known(wired.Kiln).Channels {
			if c.Role == kiln.RoleProbe {
				one.Probes = append(one.Probes, c.ID)
			}
		}
		if one.Lives, err = s.Kilns().ProbeLives(r.Context(), wired); err != nil {
			return err
		}
		kilns = append(kilns, one)
	}
	told, err := s.Notices.Last(r.Context(), lastNotices)
	if err != nil {
		return err
	}
	var joined usecase.CollectorStatus
	if s.Collector != nil {
		if joined, err = s.Collector.Status(r.Context()); err != nil {
			return err
		}
	}
	return s.render(w, "settings", struct {
		page
		Kilns     []settingsPageKiln
		Settings  string
		Hot       kiln.Celsius
		Receivers []string
		Told      []usecase.NoticeTold
		Electric  string
		MarkWords message.Message
		Cautions  []message.Message
		Collector usecase.CollectorStatus
	}{s.page(r.Context(), "more"), kilns, s.Settings, kiln.ProbeHot, s.Notices.Receivers(), told, caution.ElectricKilns, caution.Text(caution.KeepShut), caution.Texts(caution.Wiring...), joined})
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

type noticesAnswer struct {
	Body struct {
		Receivers []string             `json:"receivers" nullable:"false"`
		Items     []usecase.NoticeTold `json:"items" nullable:"false"`
	}
}

const lastNotices = 20

func (s studioRoutes) getNotices(ctx context.Context, _ *struct{}) (*noticesAnswer, error) {
	told, err := s.Notices.Last(ctx, lastNotices)
	if err != nil {
		return nil, s.troubles.Problem(ctx, err)
	}
	a := &noticesAnswer{}
	a.Body.Receivers, a.Body.Items = append([]string{}, s.Notices.Receivers()...), append([]usecase.NoticeTold{}, told...)
	for i, t := range a.Body.Items {
		a.Body.Items[i].Receivers = append([]usecase.NoticeFate{}, t.Receivers...)
	}
	return a, nil
}

// testNotice sends a test message to every receiver; what came of it stands in the list of notices.
func (s studioRoutes) testNotice(ctx context.Context, _ *struct{}) (*noticesAnswer, error) {
	if err := s.TestNotices(ctx); err != nil {
		return nil, s.troubles.Problem(ctx, err)
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
	made, err := s.Copies.Make(context.WithoutCancel(ctx)) // on a slow card it may take longer than the asker waits
	if err != nil {
		return nil, s.troubles.Problem(ctx, err)
	}
	return s.copies(ctx, &made)
}

func (s studioRoutes) renewCopies(ctx context.Context, _ *struct{}) (*body[wire.Renewed], error) {
	n, err := s.Copies.Renew(context.WithoutCancel(ctx))
	if err != nil {
		return nil, s.troubles.Problem(ctx, err)
	}
	return &body[wire.Renewed]{wire.Renewed{Renewed: n}}, nil
}

func (s studioRoutes) copies(ctx context.Context, made *bool) (*body[wire.Copies], error) {
	kept, err := s.Copies.List()
	if err != nil {
		return nil, s.troubles.Problem(ctx, err)
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
