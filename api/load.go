package api

import (
	"context"
	"errors"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"time"

	"lidwright/api/caution"
	"lidwright/api/pages"
	"lidwright/api/usecase"
	"lidwright/api/web"
	"lidwright/api/wire"
	"lidwright/kiln"
	"lidwright/kiln/message"
	"lidwright/tiles"

	"github.com/google/uuid"
)

type loadsInput struct {
	Kiln    string `query:"kiln"`
	Kind    string `query:"kind" enum:"bisque,glaze,once,other"`
	Waiting bool   `query:"waiting" doc:"Fired, with bars still to measure"`
	Open    bool   `query:"open" doc:"Packed and not fired yet"`
	In      bool   `query:"in" doc:"Packed or fired, and neither unpacked nor called off"`
	Number  int    `query:"number" minimum:"0" doc:"The one of this number"`
	After   string `query:"after" doc:"The next of the answer before"`
	Limit   int    `query:"limit" default:"50" minimum:"1" maximum:"500"`
}

func (s loadRoutes) getLoads(ctx context.Context, in *loadsInput) (*body[wire.List[wire.Load]], error) {
	all, err := s.Archive.Loads(ctx, tiles.LoadFilter{Kiln: in.Kiln, Kind: kiln.Kind(in.Kind),
		Waiting: in.Waiting, Open: in.Open, In: in.In, Number: in.Number,
		After: in.After, Limit: in.Limit + 1})
	if err == nil && len(all) == 0 {
		err = s.Kilns().KnownOrRecorded(ctx, kiln.KilnID(in.Kiln))
	}
	if err != nil {
		return nil, err
	}
	return listOf(all, in.Limit, func(l tiles.KeptLoad) string { return l.ID }, s.Loads().LoadJSON), nil
}

func (s loadRoutes) getLoad(ctx context.Context, in *wire.LoadPath) (*thing[wire.Load], error) {
	l, err := s.Archive.Load(ctx, in.ID)
	if err != nil {
		return nil, err
	}
	return &thing[wire.Load]{revision(l.Revision), s.Loads().LoadJSON(l)}, nil
}

type putLoadInput struct {
	wire.LoadPath
	Body wire.LoadBody
}

func (s loadRoutes) putLoad(ctx context.Context, in *putLoadInput) (*edited[wire.Load], error) {
	k, err := s.Loads().KeepLoad(ctx, in.ID, in.Body, usecase.PreconditionOf(ctx))
	if err != nil {
		return nil, err
	}
	l, err := s.Archive.Load(ctx, in.ID)
	if err != nil {
		return nil, err
	}
	return &edited[wire.Load]{status(k), revision(l.Revision), s.Loads().LoadJSON(l)}, nil
}

type unpackedInput struct {
	wire.LoadPath
	Body *wire.UnpackedBody
}

func (s loadRoutes) postUnpacked(ctx context.Context, in *unpackedInput) (*body[wire.Load], error) {
	at, told := s.Now().Wall, said(in.Body)
	if told.UnpackedAt != "" {
		t, err := time.Parse(time.RFC3339, told.UnpackedAt)
		if err != nil {
			return nil, web.NewProblem("out-of-range", message.New("unpacked_at is no time."),
				wire.Field{Name: "unpacked_at", Says: message.New("write 2026-01-14T13:00:00+01:00")})
		}
		at = t
	}
	return s.loadOf(ctx)(s.Loads().Unpack(ctx, in.ID, at, told.By, told.Sure))
}

type loadByInput struct {
	wire.LoadPath
	Body *wire.ByBody
}

func (s loadRoutes) deleteUnpacked(ctx context.Context, in *wire.LoadPath) (*body[wire.Load], error) {
	return s.loadOf(ctx)(s.Loads().PutBack(ctx, in.ID, ""))
}

func (s loadRoutes) postCalledOff(ctx context.Context, in *loadByInput) (*body[wire.Load], error) {
	return s.loadOf(ctx)(s.Loads().CallOff(ctx, in.ID, said(in.Body).By))
}

func (s loadRoutes) putLoadFiring(ctx context.Context, in *wire.LoadFiringPath) (*body[wire.Load], error) {
	return s.loadOf(ctx)(s.Loads().Attach(ctx, in.ID, kiln.FiringID(in.Firing)))
}

func (s loadRoutes) deleteLoadFiring(ctx context.Context, in *wire.LoadFiringPath) (*body[wire.Load], error) {
	return s.loadOf(ctx)(s.Loads().Detach(ctx, in.ID, kiln.FiringID(in.Firing)))
}

type moveInput struct {
	wire.LoadPath
	Body wire.MoveBody
}

func (s loadRoutes) postMove(ctx context.Context, in *moveInput) (*body[wire.Load], error) {
	return s.loadOf(ctx)(s.Loads().Move(ctx, in.ID, in.Body))
}

// loadOf answers with a load.
func (s loadRoutes) loadOf(ctx context.Context) func(l tiles.KeptLoad, err error) (*body[wire.Load], error) {
	return func(l tiles.KeptLoad, err error) (*body[wire.Load], error) {
		if err != nil {
			return nil, err
		}
		return &body[wire.Load]{s.Loads().LoadJSON(l)}, nil
	}
}

// packingPage is for print: what lies on which shelf of a load, in the order of packing, with what
// must be seen before the kiln is closed.
func (s loadRoutes) packingPage(w http.ResponseWriter, r *http.Request) error {
	l, err := s.Archive.Load(r.Context(), r.PathValue("load"))
	if err != nil {
		return err
	}
	bars, err := s.Archive.Bars(r.Context(), tiles.BarFilter{Load: l.ID}, s.Channel)
	if err != nil {
		return err
	}
	by := map[tiles.Code]wire.BarJSON{}
	for _, b := range bars {
		by[b.Code] = s.Bars().BarJSON(b.Bar)
	}
	data := pages.PackingPage{Frame: s.page(r.Context(), "bars").Frame, Load: s.Loads().LoadJSON(l),
		Cautions: caution.Texts(caution.BoneDry, caution.Pinhole, caution.HeavyShelves)}
	at := map[string]int{}
	for _, p := range l.Bars {
		i, ok := at[p.Shelf]
		if !ok {
			i = len(data.Shelves)
			at[p.Shelf] = i
			data.Shelves = append(data.Shelves, pages.ShelfPacked{Shelf: p.Shelf})
		}
		data.Shelves[i].Bars = append(data.Shelves[i].Bars, by[p.Bar])
	}
	if data.Spread, err = s.Kilns().Shelves(r.Context(), l.Kiln); err != nil {
		data.Spread = wire.Shelves{} // the list serves without it
	}
	if l.Kind != "bisque" {
		data.Cautions = append([]message.Message{caution.Text(caution.WillFuse)}, data.Cautions...)
	}
	if l.Atmosphere == "reduction" {
		data.Cautions = append(data.Cautions, caution.Text(caution.FuelKilns))
	}
	return s.show(w, data)
}

// loadPage shows a load: before its fire what lies in it, after it the bars to measure.
func (s loadRoutes) loadPage(w http.ResponseWriter, r *http.Request) error {
	return s.showLoad(w, r, message.Message{}, pages.Form{})
}

// postLife keeps what a form says of the life of a load; what is unlikely is asked on the load's page first.
func (s loadRoutes) postLife(w http.ResponseWriter, r *http.Request) error {
	form, err := web.Form(r)
	if err != nil {
		return err
	}
	id, firing, by := r.PathValue("load"), kiln.FiringID(form.Get("firing")), form.Get("by")
	if err := s.loadUnchanged(r.Context(), id, form); err != nil {
		return err
	}
	switch form.Get("do") {
	case "unpacked":
		_, err = s.Loads().Unpack(r.Context(), id, s.Now().Wall, by, form.Get("sure") != "")
	case "attach":
		_, err = s.Loads().Attach(r.Context(), id, firing)
	case "detach":
		_, err = s.Loads().Detach(r.Context(), id, firing)
	case "call_off":
		_, err = s.Loads().CallOff(r.Context(), id, by)
	case "back":
		_, err = s.Loads().PutBack(r.Context(), id, by)
	case "move":
		id, err = s.moveBars(r.Context(), id, form)
	default:
		err = usecase.UnknownWord("do", form.Get("do"), "unpacked", "attach", "detach", "call_off", "back",
			"move")
	}
	var asked *usecase.Refusal
	if errors.As(err, &asked) && asked.Kind == "are-you-sure" {
		return s.showLoad(w, r, asked.Says, pages.Form{})
	}
	if err != nil && form.Get("do") == "move" {
		if p, ok := s.again(w, r, err); ok {
			return s.showLoad(w, r, message.Message{}, pages.Form{Values: form, Problem: p})
		}
	}
	if err != nil {
		return err
	}
	http.Redirect(w, r, "/load/"+url.PathEscape(id), http.StatusSeeOther)
	return nil
}

// loadMark is the mark of what people say of a load: out, called off, in which firings, with which bars. That
// a firing goes on meanwhile is no change.
func loadMark(l tiles.Load) string {
	var firings []kiln.FiringID
	for _, f := range l.Firings {
		firings = append(firings, f.ID)
	}
	return markOf(l.Unpacked.IsZero(), l.CalledOff.IsZero(), firings, l.Bars)
}

// loadActs are what the forms about the life of a load say, as their answer does where somebody else said
// something meanwhile.
var loadActs = map[string]message.Message{
	"unpacked": message.New("unpacked"), "call_off": message.New("called off"),
	"back": message.New("taken back"), "attach": message.New("was in a firing"),
	"detach": message.New("was not in a firing"), "move": message.New("bars move"),
}

// loadUnchanged refuses a form about the life of a load where somebody said something else of it since it was
// made.
func (s loadRoutes) loadUnchanged(ctx context.Context, id string, form url.Values) error {
	return unchanged(s.Server, ctx, form, func() (stale, error) {
		l, err := s.Archive.Load(ctx, id)
		now, yours := []message.Message{s.Loads().LoadJSON(l).StateWords},
			[]message.Message{loadActs[form.Get("do")]}
		for _, f := range l.Firings {
			now = append(now, message.Plain(f.Name()))
		}
		if f, err := s.Archive.Firing(ctx, kiln.FiringID(form.Get("firing"))); err == nil {
			yours = append(yours, message.Plain(f.Name()))
		}
		both := []pages.Both{{Name: message.New("the load"), Now: message.Join(", ", now...),
			Yours: message.Join(", ", yours...)}}
		if form.Get("do") == "move" {
			var codes []string
			for _, b := range l.Bars {
				codes = append(codes, string(b.Bar))
			}
			both = append(both, pages.Both{Name: message.New("bars"),
				Now:   message.Plain(strings.Join(codes, " ")),
				Yours: message.Plain(form.Get("bars"))})
		}
		return stale{mark: loadMark(l.Load), both: both, page: "/load/" + url.PathEscape(id)}, err
	})
}

// moveBars takes the bars that a form names out of a load, and gives the load that they lie in then; where it
// is refused, the one that they lay in.
func (s loadRoutes) moveBars(ctx context.Context, id string, form url.Values) (string, error) {
	b := wire.MoveBody{Bars: codesIn(form.Get("bars")), To: form.Get("to"),
		Shelf: strings.TrimSpace(form.Get("shelf")), By: form.Get("by")}
	if len(b.Bars) == 0 { // by a form nobody means all of them
		return id, &tiles.Invalid{Field: "bars", Type: tiles.Missing,
			Why: message.New("is needed: the codes of the bars that move")}
	}
	to, err := s.Loads().Move(ctx, id, b)
	if err != nil {
		return id, err
	}
	return to.ID, nil
}

// loadFirings are the firings of a load, and the newest of its kiln that it may have gone through too.
func (s loadRoutes) loadFirings(ctx context.Context, l tiles.KeptLoad) (had, may []pages.Named, err error) {
	for _, f := range l.Firings {
		had = append(had, pages.Named{ID: string(f.ID), Name: f.Name()})
	}
	newest, err := s.Archive.Firings(ctx, kiln.FiringFilter{Kiln: l.Kiln, Limit: 10})
	for _, f := range newest {
		if f.Load == "" && len(may) < 3 && l.Kiln != "" {
			may = append(may, pages.Named{ID: string(f.ID), Name: f.Name()})
		}
	}
	return had, may, err
}

// loadsPage lists loads, newest first: of a kiln, of a kind, or those with bars to measure.
func (s loadRoutes) loadsPage(w http.ResponseWriter, r *http.Request) error {
	q := r.URL.Query()
	data := pages.LoadsPage{Frame: s.page(r.Context(), "bars").Frame, Some: q.Get("kiln")+q.Get("kind") != ""}
	l := s.pages.Locale(data.Frame.Speak)
	data.Waiting = []pages.Tab{tab(r.URL, "waiting", "", l.T("all")),
		tab(r.URL, "waiting", "yes", l.T("bars to measure"))}
	data.Kilns = []pages.Tab{tab(r.URL, "kiln", "", l.T("every kiln"))}
	for _, k := range kilnNames(s.KilnNames()) {
		one := tab(r.URL, "kiln", k, k)
		one.Name = true
		data.Kilns = append(data.Kilns, one)
	}
	data.Kinds = []pages.Tab{tab(r.URL, "kind", "", l.T("every kind"))}
	for _, k := range []string{"bisque", "glaze", "once", "other"} {
		data.Kinds = append(data.Kinds, tab(r.URL, "kind", k, l.Say(k)))
	}
	loads, err := s.Archive.Loads(r.Context(), tiles.LoadFilter{Kiln: q.Get("kiln"),
		Kind: kiln.Kind(q.Get("kind")), Waiting: q.Get("waiting") == "yes", After: q.Get("after"),
		Limit: listed + 1})
	if err != nil {
		return err
	}
	for i, one := range loads {
		if i == listed {
			data.More = withQuery(r.URL.String(), "after", data.Loads[i-1].ID)
			break
		}
		data.Loads = append(data.Loads, s.Loads().LoadJSON(one))
	}
	return s.show(w, data)
}

type putLoadTickInput struct {
	wire.LoadTickPath
	Body wire.TickBody
}

func (s checkRoutes) getLoadTicks(ctx context.Context, in *wire.LoadPath) (*body[wire.CheckList], error) {
	l, err := s.Archive.Load(ctx, in.ID)
	if err != nil {
		return nil, err
	}
	return answer(s.Firings().CheckList(ctx, l.ID))
}

func (s checkRoutes) putLoadTick(ctx context.Context, in *putLoadTickInput) (*kept[wire.CheckList], error) {
	l, err := s.Archive.Load(ctx, in.ID)
	if err != nil {
		return nil, err
	}
	return s.ticked(ctx, l.ID, in.Tick, in.Body)
}

type putFiringTickInput struct {
	wire.FiringTickPath
	Body wire.TickBody
}

func (s checkRoutes) getFiringTicks(ctx context.Context, in *wire.FiringPath) (*body[wire.CheckList],
	error) {
	f, err := s.Firings().FindFiring(ctx, kiln.FiringID(in.ID))
	if err != nil {
		return nil, err
	}
	return answer(s.Firings().CheckList(ctx, string(f.ID)))
}

func (s checkRoutes) putFiringTick(ctx context.Context, in *putFiringTickInput) (*kept[wire.CheckList],
	error) {
	f, err := s.Firings().FindFiring(ctx, kiln.FiringID(in.ID))
	if err != nil {
		return nil, err
	}
	return s.ticked(ctx, string(f.ID), in.Tick, in.Body)
}

func (s checkRoutes) ticked(ctx context.Context, subject, id string, b wire.TickBody) (*kept[wire.CheckList],
	error) {
	k, err := s.Firings().KeepTick(ctx, subject, id, b)
	if err != nil {
		return nil, err
	}
	j, err := s.Firings().CheckList(ctx, subject)
	if err != nil {
		return nil, err
	}
	return &kept[wire.CheckList]{status(k), j}, nil
}

// postTicks keeps what changed on the check list of a load. A form sent twice keeps it once. Two people can
// tick at the same time: each changes what it ticked itself.
func (s checkRoutes) postTicks(w http.ResponseWriter, r *http.Request) error {
	form, err := web.Form(r)
	if err != nil {
		return err
	}
	l, err := s.Archive.Load(r.Context(), r.PathValue("load"))
	if err != nil {
		return err
	}
	now, err := s.Firings().CheckList(r.Context(), l.ID)
	if err != nil {
		return err
	}
	base, err := uuid.Parse(form.Get("id"))
	if err != nil {
		return web.NewProblem("missing", message.New("The form has lost its id; open the load again."),
			wire.Field{Name: "id", Says: message.New("no UUID")})
	}
	if _, err := tiles.Maker("by", form.Get("by")); err != nil && form.Get("by") != "" {
		return err
	}
	for _, t := range now.Items {
		done := form.Get(t.Item) == "yes"
		if form.Has("revision") && done == slices.Contains(form["ticked"], t.Item) {
			continue // as it was when the form was made: what somebody else said of it since holds
		}
		if done != t.Done {
			id := uuid.NewSHA1(base, []byte(t.Item)).String()
			if _, err := s.Firings().KeepTick(r.Context(), l.ID, id, wire.TickBody{Item: t.Item, Done: done,
				By: form.Get("by")}); err != nil {
				return err
			}
		}
	}
	http.Redirect(w, r, "/load/"+url.PathEscape(l.ID)+"#start", http.StatusSeeOther)
	return nil
}
