package api

import (
	"context"
	"fmt"
	"math"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"

	"lidwright/api/caution"
	"lidwright/api/pages"
	"lidwright/api/usecase"
	"lidwright/api/web"
	"lidwright/api/wire"
	"lidwright/kiln"
	"lidwright/kiln/heatwork"
	"lidwright/kiln/message"
	"lidwright/kiln/record"
	"lidwright/tiles"
)

func (s kilnRoutes) getKilns(ctx context.Context, _ *struct{}) (*body[wire.Kilns], error) {
	j := wire.Kilns{Items: []wire.KilnJSON{}}
	var err error
	if j.Strays, err = s.Kilns().Strays(ctx); err != nil {
		return nil, err
	}
	if j.Says, err = s.Kilns().Beside(ctx); err != nil {
		return nil, err
	}
	for _, name := range kilnNames(s.KilnNames()) {
		k, err := s.Kilns().KilnOf(ctx, kiln.KilnID(name))
		if err != nil {
			return nil, err
		}
		j.Items = append(j.Items, k)
	}
	return &body[wire.Kilns]{j}, nil
}

func (s kilnRoutes) getKiln(ctx context.Context, in *wire.KilnPath) (*body[wire.KilnJSON], error) {
	return answer(s.Kilns().KilnOf(ctx, kiln.KilnID(in.Kiln)))
}

type putKilnInput struct {
	wire.KilnPath
	Body wire.KilnBody
}

// putKiln adds a kiln without a line.
func (s kilnRoutes) putKiln(ctx context.Context, in *putKilnInput) (*edited[wire.KilnJSON], error) {
	k, err := s.Kilns().Add(ctx, kiln.KilnID(in.Kiln), in.Body)
	if err != nil {
		return nil, err
	}
	j, err := s.Kilns().KilnOf(ctx, kiln.KilnID(in.Kiln))
	if err != nil {
		return nil, err
	}
	return &edited[wire.KilnJSON]{status(k), revision(k.Revision), j}, nil
}

type renameKilnInput struct {
	wire.KilnPath
	Body wire.RenameBody
}

// renameKiln puts all that was recorded of a kiln under the name that it has now.
func (s kilnRoutes) renameKiln(ctx context.Context, in *renameKilnInput) (*body[wire.RenamedKiln], error) {
	return answer(s.Kilns().Rename(ctx, kiln.KilnID(in.Kiln), kiln.KilnID(in.Body.To)))
}

type putUsualInput struct {
	wire.UsualPath
	Body wire.UsualBody
}

// putUsual keeps what a person says of a usual firing.
func (s kilnRoutes) putUsual(ctx context.Context, in *putUsualInput) (*kept[wire.KilnJSON], error) {
	k, err := s.Kilns().SayUsual(ctx, kiln.KilnID(in.Kiln), in.ID, in.Body)
	if err != nil {
		return nil, err
	}
	j, err := s.Kilns().KilnOf(ctx, kiln.KilnID(in.Kiln))
	if err != nil {
		return nil, err
	}
	return &kept[wire.KilnJSON]{status(k), j}, nil
}

// postUsual is the same from the page.
func (s kilnRoutes) postUsual(w http.ResponseWriter, r *http.Request) error {
	form, err := web.Form(r)
	if err != nil {
		return err
	}
	b := wire.UsualBody{Kind: form.Get("kind"), Atmosphere: form.Get("atmosphere"), What: form.Get("what"),
		Name: form.Get("name"), Cone: form.Get("cone")}
	id := kiln.KilnID(r.PathValue("kiln"))
	if err := s.usualUnchanged(r.Context(), id, form); err != nil {
		return err
	}
	if _, err := s.Kilns().SayUsual(r.Context(), id, form.Get("id"), b); err != nil {
		return s.showKilns(w, r, url.Values{}, s.refused(r.Context(), err))
	}
	http.Redirect(w, r, "/kilns", http.StatusSeeOther)
	return nil
}

// usualMark is the mark of what was said of a usual firing.
func usualMark(u wire.Usual) string {
	pinned := ""
	if u.Pinned {
		pinned = u.Cone
	}
	return markOf(u.Pinned, u.Name, pinned, u.Asks)
}

// usualUnchanged refuses a form about a usual firing where somebody said something else of it since it was
// made.
func (s kilnRoutes) usualUnchanged(ctx context.Context, id kiln.KilnID, form url.Values) error {
	return unchanged(s.Server, ctx, form, func() (stale, error) {
		c := stale{mark: markOf(), page: "/kilns"}
		k, err := s.Kilns().KilnOf(ctx, id)
		now := message.New("by the firings")
		for _, u := range k.Usual {
			if u.Kind == form.Get("kind") && u.Atmosphere == form.Get("atmosphere") &&
				(u.Name == form.Get("name") || u.Asks) {
				if c.mark = usualMark(u); u.Pinned {
					now = message.New("cone {1}", u.Cone)
				}
				break
			}
		}
		yours := map[string]message.Message{"pin": message.New("cone {1}", form.Get("cone")),
			"release": message.New("by the firings"), "new": message.New("a new usual"),
			"second": message.New("a second one")}[form.Get("what")]
		c.both = []pages.Both{{Name: message.New("what is usual"), Now: now, Yours: yours}}
		return c, err
	})
}

// kilnUnchanged refuses a new kiln where there is one of its name by now with another fuel.
func (s kilnRoutes) kilnUnchanged(ctx context.Context, form url.Values) error {
	new := tiles.AddedKiln{ID: kiln.KilnID(form.Get("kiln")), Fuel: form.Get("fuel")}
	if err := new.Validate(); err != nil {
		return nil // it is told beside its field
	}
	return unchanged(s.Server, ctx, form, func() (stale, error) {
		c := stale{mark: pages.NoneYet, page: "/kilns"}
		k, there := s.KilnNamed(kiln.KilnID(form.Get("kiln")))
		if there && k.Fuel != form.Get("fuel") {
			c.mark = markOf(k.Fuel)
			c.both = []pages.Both{{Name: message.New("fuel"), Now: fuelWord(k.Fuel),
				Yours: fuelWord(form.Get("fuel"))}}
		}
		return c, nil
	})
}

func fuelWord(fuel string) message.Message {
	if fuel == "" {
		return message.New("not said")
	}
	return message.New("{1}", message.Word(fuel))
}

type putProbeInput struct {
	wire.ProbePath
	Body wire.ProbeBody
}

// putProbe keeps the life of a probe: a new one has nothing of what the cones told of the old one.
func (s kilnRoutes) putProbe(ctx context.Context, in *putProbeInput) (*edited[wire.KilnJSON], error) {
	k, err := s.Kilns().KeepProbe(ctx, in.ProbePath, in.Body)
	if err != nil {
		return nil, err
	}
	j, err := s.Kilns().KilnOf(ctx, kiln.KilnID(in.Kiln))
	if err != nil {
		return nil, err
	}
	return &edited[wire.KilnJSON]{status(k), revision(k.Revision), j}, nil
}

// kilnsPage lists the kilns that there are: what each does, what is usual there, and its probes.
func (s kilnRoutes) kilnsPage(w http.ResponseWriter, r *http.Request) error {
	return s.showKilns(w, r, url.Values{}, nil)
}

// showKilns is that page; typed and wrong are of a form that was sent just now and refused.
func (s kilnRoutes) showKilns(w http.ResponseWriter, r *http.Request, typed url.Values,
	wrong *web.Problem) error {
	ctx := r.Context()
	data := pages.KilnsPage{Frame: s.page(ctx, "kiln").Frame, Fuels: tiles.Fuels(), Name: typed.Get("kiln"),
		Fuel: typed.Get("fuel")}
	live := map[string]string{}
	for _, k := range s.Kilns().KilnsNow(ctx) {
		live[k.Kiln] = k.State
	}
	lineless := map[kiln.KilnID]bool{}
	for _, l := range s.Lines() {
		lineless[l.Kiln] = l.Port == ""
	}
	for _, name := range s.KilnNames() {
		k, err := s.Kilns().KilnOf(ctx, name)
		if err != nil {
			return err
		}
		data.Kilns = append(data.Kilns, kilnOnPage(k, live[k.Kiln], lineless[name], s.MakeID))
	}
	strays, err := s.Kilns().Strays(ctx)
	if err != nil {
		return err
	}
	for _, k := range strays {
		data.Strays = append(data.Strays, pages.StrayKiln{Name: k.Kiln, Firings: k.Firings,
			Loads: k.Loads, Probes: k.Probes})
	}
	if data.Beside, err = s.Kilns().Beside(ctx); err != nil {
		return err
	}
	if wrong != nil {
		data.Problem = onPage(wrong)
		w.WriteHeader(wrong.Status)
	}
	return s.show(w, data)
}

func kilnOnPage(k wire.KilnJSON, state string, noLine bool, newID func() string) pages.OneKiln {
	one := pages.OneKiln{Name: k.Kiln, State: state, Fuel: k.Fuel, NoLine: noLine}
	if noLine {
		one.State = ""
	}
	for _, u := range k.Usual {
		f := pages.UsualFiring{Kind: u.Kind, Atmosphere: u.Atmosphere, Name: u.Name,
			Pinned: u.Pinned, Asks: u.Asks,
			Says: u.Says, ID: newID(), TopC: u.TopC, Hours: u.HoursToTop, Seen: usualMark(u)}
		if l := heatwork.MainConeScale(); u.HeatWorkC != nil {
			f.Cone = l.Words(l.Position(kiln.Celsius(*u.HeatWorkC)))
		}
		one.Usual = append(one.Usual, f)
	}
	for _, p := range k.Probes {
		one.Probes = append(one.Probes, pages.KilnProbe{Channel: p.Channel, Type: p.Type, Says: p.Says})
	}
	return one
}

// postKiln adds a kiln without a line.
func (s kilnRoutes) postKiln(w http.ResponseWriter, r *http.Request) error {
	form, err := web.Form(r)
	if err != nil {
		return err
	}
	if err := s.kilnUnchanged(r.Context(), form); err != nil {
		return err
	}
	if _, err := s.Kilns().Add(r.Context(), kiln.KilnID(form.Get("kiln")),
		wire.KilnBody{Fuel: form.Get("fuel")}); err != nil {
		return s.showKilns(w, r, form, s.refused(r.Context(), err))
	}
	http.Redirect(w, r, "/kilns", http.StatusSeeOther)
	return nil
}

// postRename says which kiln one of the record is now.
func (s kilnRoutes) postRename(w http.ResponseWriter, r *http.Request) error {
	form, err := web.Form(r)
	if err != nil {
		return err
	}
	if _, err := s.Kilns().Rename(r.Context(), kiln.KilnID(r.PathValue("kiln")),
		kiln.KilnID(form.Get("to"))); err != nil {
		return s.showKilns(w, r, url.Values{}, s.troubles.Problem(r.Context(), err))
	}
	http.Redirect(w, r, "/kilns", http.StatusSeeOther)
	return nil
}

type putKeepShutInput struct {
	wire.KilnPath
	Body wire.KeepShutBody
}

// putKeepShut has a kiln kept shut above a temperature, from now on.
func (s kilnRoutes) putKeepShut(ctx context.Context, in *putKeepShutInput) (*kept[wire.KeepShut], error) {
	k, err := s.Kilns().KeepKeepShut(ctx, kiln.KilnID(in.Kiln), in.Body)
	var m tiles.KeepShut
	if err == nil {
		m, err = s.Kilns().KeepShut(ctx, kiln.KilnID(in.Kiln))
	}
	if err != nil {
		return nil, err
	}
	return &kept[wire.KeepShut]{status(k), s.Kilns().KeepShutJSON(m)}, nil
}

// postKeepShut keeps it from the form on the page of the settings.
func (s kilnRoutes) postKeepShut(w http.ResponseWriter, r *http.Request) error {
	form, err := web.Form(r)
	if err != nil {
		return err
	}
	rd := newReader(form, s.Unit())
	c, ok := rd.number("keep_shut_above_c", -math.MaxFloat64, math.MaxFloat64) // Validate knows the bounds
	if !ok {
		return web.NewProblem("out-of-range",
			message.New("The temperature above which the kiln is kept shut cannot be set so."),
			wire.Field{Name: "keep_shut_above_c", Says: message.New(tiles.KeepShutRange)})
	}
	if form.Get("degree") == "f" {
		c = math.Round((c-32)/1.8*10) / 10
	}
	id := r.PathValue("kiln")
	err = unchanged(s.Server, r.Context(), form, func() (stale, error) {
		m, err := s.Kilns().KeepShut(r.Context(), kiln.KilnID(id))
		return stale{mark: markOf(m.Mark, m.Reason), page: "/settings"}, err
	})
	if err != nil {
		return err
	}
	if _, err := s.Kilns().KeepKeepShut(r.Context(), kiln.KilnID(id), wire.KeepShutBody{ID: form.Get("id"),
		MarkC: c, Reason: form.Get("keep_shut_reason"), By: form.Get("by")}); err != nil {
		return err
	}
	http.Redirect(w, r, "/settings#kiln-"+url.PathEscape(id), http.StatusSeeOther)
	return nil
}

// postProbe keeps the life of a thermocouple from the form on the page of the settings.
func (s kilnRoutes) postProbe(w http.ResponseWriter, r *http.Request) error {
	form, err := web.Form(r)
	if err != nil {
		return err
	}
	rd := newReader(form, s.Unit())
	class, _ := rd.limited("class")
	if len(rd.wrong) > 0 {
		return rd.wrong
	}
	id := r.PathValue("kiln")
	b := wire.ProbeBody{Channel: form.Get("channel"), Type: form.Get("type"), Class: int(class),
		FittedOn: form.Get("fitted_on"), RemovedOn: form.Get("removed_on"), Note: form.Get("note")}
	if err := s.probeUnchanged(r.Context(), kiln.KilnID(id), form); err != nil {
		return err
	}
	if _, err := s.Kilns().KeepProbe(r.Context(), wire.ProbePath{KilnPath: wire.KilnPath{Kiln: id},
		Probe: form.Get("id")}, b); err != nil {
		return err
	}
	http.Redirect(w, r, "/settings#kiln-"+url.PathEscape(id), http.StatusSeeOther)
	return nil
}

func (s kilnRoutes) getShelves(ctx context.Context, in *wire.ShelvesPath) (*body[wire.Shelves], error) {
	k := kiln.KilnID(in.Kiln)
	if _, ours := s.KilnNamed(k); !ours {
		return nil, fmt.Errorf("%s: %w", k, record.ErrNoKiln)
	}
	return answer(s.Kilns().Shelves(ctx, k))
}

// ownAddress is the address that others reach the site by.
func (s kilnRoutes) ownAddress(r *http.Request) string {
	if s.Site.PublicURL != "" {
		return strings.TrimSuffix(s.Site.PublicURL, "/")
	}
	return "http://" + r.Host
}

// onFirstPage are the cautions of the first page of the door sheet, what matters most at the door.
var onFirstPage = []caution.Number{caution.StayNear, caution.VentOn, caution.GetOut, caution.COAlarm,
	caution.OverLimit, caution.OneSpot, caution.KeepShut, caution.ReachIn, caution.Port, caution.Classroom,
	caution.Students, caution.StuckRelay}

// doorPage is the sheet for the door of the kiln room: all cautions in the order of their numbers, the
// temperature above which it is kept shut, and what a phone opens there. It is for print, so what is foreseen
// of the kiln stands on the screen alone.
func (s kilnRoutes) doorPage(w http.ResponseWriter, r *http.Request) error {
	id := r.PathValue("kiln")
	m, err := s.Kilns().KeepShut(r.Context(), kiln.KilnID(id))
	if err != nil {
		return err
	}
	loads, err := s.Archive.Loads(r.Context(), tiles.LoadFilter{Kiln: id, In: true, Limit: 1})
	if err != nil {
		return err
	}
	p, l := s.page(r.Context(), "kiln"), s.localeOf(r.Context())
	data := pages.DoorPage{Frame: p.Frame, Kiln: id, Mark: s.Kilns().KeepShutJSON(m),
		Electric: caution.ElectricKilns,
		LookAt:   s.ownAddress(r) + "/kiln/" + url.PathEscape(id),
		OutAt:    s.ownAddress(r) + "/bars?kiln=" + url.QueryEscape(id),
		Printed: message.Time{At: p.Today.In(s.Site.Zone), Day: "2 Jan 2006",
			Quiet: true}.Render(l.Reader())}
	for _, c := range caution.All {
		if slices.Contains(onFirstPage, c.Number) {
			data.First = append(data.First, numbered(c))
		} else {
			data.Rest = append(data.Rest, numbered(c))
		}
	}
	byNumber := func(a, b pages.NumberedCaution) int { return a.Number - b.Number }
	slices.SortFunc(data.First, byNumber)
	slices.SortFunc(data.Rest, byNumber)
	if k, err := kilnNamed(s.Kilns().KilnsNow(r.Context()), id); err == nil {
		data.Now = &k
	}
	for _, l := range loads {
		j := s.Loads().LoadJSON(l)
		data.Load = &j
	}
	look, err := qrSVG(data.LookAt, l.T("opens the page of this kiln"))
	if err != nil {
		return err
	}
	out, err := qrSVG(data.OutAt, l.T("opens the bars to measure of this kiln"))
	if err != nil {
		return err
	}
	data.Look, data.Out = pages.Drawn(look), pages.Drawn(out)
	return s.show(w, data)
}

// probeMark is the mark of what was said of the thermocouples of a kiln.
func probeMark(lives []usecase.ProbeLifeRow) string {
	var all []any
	for _, l := range lives {
		all = append(all, l.ID, l.Channel, l.Type, l.Class, l.Fitted, l.Removed)
	}
	return markOf(all...)
}

// probeUnchanged refuses a form about a thermocouple where somebody said something else of those of the kiln
// since it was made.
func (s kilnRoutes) probeUnchanged(ctx context.Context, id kiln.KilnID, form url.Values) error {
	return unchanged(s.Server, ctx, form, func() (stale, error) {
		at := slices.IndexFunc(s.Wired, func(w usecase.Wired) bool { return w.Kiln == id })
		if at < 0 {
			return stale{}, record.ErrNoKiln
		}
		wired := s.Wired[at]
		lives, err := s.Kilns().ProbeLives(ctx, wired)
		c := stale{mark: probeMark(lives), page: "/settings"}
		says := func(kind, class, fitted, removed string) message.Message {
			all := []message.Message{message.New("type {1}, class {2}", kind, class)}
			if fitted != "" {
				all = append(all, message.New("fitted on {1}", fitted))
			}
			if removed != "" {
				all = append(all, message.New("removed on {1}", removed))
			}
			return message.Join(", ", all...)
		}
		for _, l := range lives {
			if l.Channel == form.Get("channel") {
				c.both = append(c.both, pages.Both{Name: message.New("thermocouple {1}", l.Channel),
					Now: says(l.Type, strconv.Itoa(l.Class), l.Fitted, l.Removed)})
			}
		}
		if n := len(c.both); n > 0 {
			c.both[n-1].Yours = says(form.Get("type"), form.Get("class"),
				form.Get("fitted_on"), form.Get("removed_on"))
		}
		return c, err
	})
}
