package api

import (
	"cmp"
	"encoding/json"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"

	"lidwright/api/caution"
	"lidwright/api/pages"
	"lidwright/api/usecase"
	"lidwright/kiln/message"
	"lidwright/tiles"
)

const (
	changesRead  = 400                 // of the newest changes that the page is made of
	thingsNamed  = 12                  // of like things of one day
	daysShown    = 14                  // with entries
	crossedSince = 30 * 24 * time.Hour // whose crossed out entries are listed
)

// changedPage tells what is worth a look, what was entered lately, and what was crossed out.
func (s homeRoutes) changedPage(w http.ResponseWriter, r *http.Request) error {
	ctx := r.Context()
	data := pages.ChangedPage{Frame: s.page(ctx, "more").Frame}
	news, err := s.Clays().StudioNews(ctx)
	if err != nil {
		return err
	}
	for _, n := range news {
		data.News = append(data.News, pages.HomeNews{Says: n.Says, Link: n.Link})
	}
	last, err := s.Archive.LastChange(ctx)
	if err != nil {
		return err
	}
	changes, err := s.Archive.Changes(ctx, max(0, last-changesRead), changesRead)
	if err != nil {
		return err
	}
	l := s.localeOf(ctx)
	data.Days = changedDays(changes, l, s.Site.Zone, func(load string) string {
		if kept, err := s.Archive.Load(ctx, load); err == nil {
			return l.Tell(usecase.NameOf(kept.Load)) + comma(string(kept.Kiln))
		}
		return l.T("look") // crossed out, or gone with a copy that was put back
	})
	crossed, err := s.CrossedOut(ctx, s.Now().Wall.Add(-crossedSince))
	if err != nil {
		return err
	}
	for _, c := range crossed {
		data.Crossed = append(data.Crossed, pages.CrossedOutRow{At: l.At(c.At), By: c.By, Why: c.Why, What: c.What,
			Link: c.Link})
	}
	return s.show(w, data)
}

// changedDays puts changes under their days, the newest first, and like things of a day together.
// loadName names a load.
func changedDays(changes []tiles.Change, l pages.Locale, zone *time.Location,
	loadName func(string) string) (days []pages.ChangedDay) {
	slices.SortStableFunc(changes, func(a, b tiles.Change) int { return b.At.Compare(a.At) })
	for _, c := range changes {
		says, thing, by := changeWords(c, l, loadName)
		if says.IsZero() {
			continue
		}
		day := l.Day(c.At.In(zone))
		if !c.Trusted {
			day = l.T("on a day that is not certain")
		}
		if len(days) == 0 || days[len(days)-1].Day != day {
			if len(days) == daysShown {
				return days
			}
			days = append(days, pages.ChangedDay{Day: day})
		}
		d := &days[len(days)-1]
		i := slices.IndexFunc(d.Entries, func(e pages.Changed) bool { return e.Says.Key == says.Key })
		if i < 0 {
			i = len(d.Entries)
			d.Entries = append(d.Entries, pages.Changed{Says: says})
		}
		e := &d.Entries[i]
		switch {
		case slices.Contains(e.Things, thing):
		case len(e.Things) < thingsNamed:
			e.Things = append(e.Things, thing)
		default:
			e.More++
		}
		if by != "" && !slices.Contains(strings.Split(e.By, ", "), by) {
			e.By = strings.TrimPrefix(e.By+", "+by, ", ")
		}
	}
	return days
}

// changeBody are the members of a change that the page tells of.
type changeBody struct {
	Bar, By, Clay, Kiln, Kind, Form, Mark, Cone, Firing, Channel string
	PackedBy                                                     string `json:"packed_by"`
	Number                                                       any
	Load                                                         string
}

// changeWords say what happened, to which thing, and by whom; nothing where it is of no use to a potter.
func changeWords(c tiles.Change, l pages.Locale, loadName func(string) string) (says message.Message,
	thing pages.ChangedThing, by string) {
	var b changeBody
	if json.Unmarshal([]byte(c.Body), &b) != nil {
		return message.Message{}, thing, ""
	}
	by = cmp.Or(b.By, b.PackedBy)
	path := func(before, name string) string { return before + url.PathEscape(name) }
	switch c.Kind + " " + c.Op {
	case "reading put", "reading supersede":
		return message.New("measured"), pages.ChangedThing{Name: b.Bar, Link: path("/bar/", b.Bar)}, by
	case "bar put":
		return message.New("new bars"), pages.ChangedThing{Name: c.ID, Link: path("/bar/", c.ID)}, by
	case "clay put":
		return message.New("clays"), pages.ChangedThing{Name: c.ID, Link: path("/clay/", c.ID)}, by
	case "batch put":
		clay, _, _ := strings.Cut(c.ID, "/")
		return message.New("new bags"), pages.ChangedThing{Name: c.ID, Link: path("/clay/", clay)}, by
	case "load put":
		return message.New("loads packed"), pages.ChangedThing{Name: loadName(c.ID), Link: path("/load/", c.ID)}, by
	case "load close":
		return message.New("loads unpacked"), pages.ChangedThing{Name: loadName(c.ID), Link: path("/load/", c.ID)}, by
	case "firing begin", "firing put":
		return message.New("firings begun"), firingThing(c, b), by
	case "firing end":
		return message.New("firings over"), firingThing(c, b), by
	case "cone put":
		return message.New("cones"), pages.ChangedThing{Name: b.Cone, Link: path("/firing/", b.Firing)}, by
	case "note put":
		return message.New("notes"), pages.ChangedThing{Name: l.T("look"), Link: path("/firing/", b.Firing)}, by
	case "pot put":
		name := strings.TrimSpace(b.Form + " " + numberText(b.Mark) + " " + numberText(b.Number))
		return message.New("pot cards"), pages.ChangedThing{Name: name, Link: path("/pot/", c.ID)}, by
	case "lid_result put":
		return message.New("lid results"), pages.ChangedThing{Name: cmp.Or(b.Form, b.Clay, l.T("look")), Link: "/lid-results"}, by
	case "probe put":
		return message.New("probes"), pages.ChangedThing{Name: b.Kiln + "/" + b.Channel, Link: path("/kiln/", b.Kiln)}, by
	case "kiln put":
		return message.New("kilns"), pages.ChangedThing{Name: c.ID, Link: "/kilns"}, by
	case "mark put":
		return message.New("kept shut above another temperature"), pages.ChangedThing{Name: b.Kiln,
			Link: path("/door/", b.Kiln)}, by
	}
	return message.Message{}, thing, ""
}

func firingThing(c tiles.Change, b changeBody) pages.ChangedThing {
	return pages.ChangedThing{Name: strings.TrimSpace(b.Kiln + " " + numberText(b.Number)),
		Link: "/firing/" + url.PathEscape(c.ID)}
}

// numberText is a number of JSON, or a text, as it stands.
func numberText(v any) string {
	switch n := v.(type) {
	case string:
		return n
	case float64:
		return strconv.FormatFloat(n, 'f', -1, 64)
	}
	return ""
}

func comma(text string) string {
	if text == "" {
		return ""
	}
	return ", " + text
}

// noticesPage lists what was told to people, and who is told.
func (s studioRoutes) noticesPage(w http.ResponseWriter, r *http.Request) error {
	told, err := s.Notices.Last(r.Context(), noticesListed)
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

const noticesListed = 50
