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
		data.Crossed = append(data.Crossed,
			pages.CrossedOutRow{At: l.At(c.At), By: c.By, Why: c.Why, What: c.What, Link: c.Link})
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
	at := func(name, path, id string) pages.ChangedThing {
		return pages.ChangedThing{Name: name, Link: path + url.PathEscape(id)}
	}
	switch c.Kind + " " + c.Op {
	case "reading put", "reading supersede":
		says, thing = message.New("measured"), at(b.Bar, "/bar/", b.Bar)
	case "bar put":
		says, thing = message.New("new bars"), at(c.ID, "/bar/", c.ID)
	case "clay put":
		says, thing = message.New("clays"), at(c.ID, "/clay/", c.ID)
	case "batch put":
		clay, _, _ := strings.Cut(c.ID, "/")
		says, thing = message.New("new bags"), at(c.ID, "/clay/", clay)
	case "load put":
		says, thing = message.New("loads packed"), at(loadName(c.ID), "/load/", c.ID)
	case "load close":
		says, thing = message.New("loads unpacked"), at(loadName(c.ID), "/load/", c.ID)
	case "firing begin", "firing put":
		says, thing = message.New("firings begun"), at(b.firing(), "/firing/", c.ID)
	case "firing end":
		says, thing = message.New("firings over"), at(b.firing(), "/firing/", c.ID)
	case "cone put":
		says, thing = message.New("cones"), at(b.Cone, "/firing/", b.Firing)
	case "note put":
		says, thing = message.New("notes"), at(l.T("look"), "/firing/", b.Firing)
	case "pot put":
		says, thing = message.New("pot cards"), at(b.pot(), "/pot/", c.ID)
	case "lid_result put":
		says, thing = message.New("lid results"), at(cmp.Or(b.Form, b.Clay, l.T("look")), "/lid-results", "")
	case "probe put":
		says, thing = message.New("probes"), at(b.Kiln+"/"+b.Channel, "/kiln/", b.Kiln)
	case "kiln put":
		says, thing = message.New("kilns"), at(c.ID, "/kilns", "")
	case "mark put":
		says, thing = message.New("kept shut above another temperature"), at(b.Kiln, "/door/", b.Kiln)
	}
	return says, thing, cmp.Or(b.By, b.PackedBy)
}

// firing is a firing's kiln and number.
func (b changeBody) firing() string { return strings.TrimSpace(b.Kiln + " " + numberText(b.Number)) }

// pot is a pot by its form, mark and number.
func (b changeBody) pot() string {
	return strings.Join(strings.Fields(b.Form+" "+b.Mark+" "+numberText(b.Number)), " ")
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
