package api

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/google/uuid"

	"lidwright/api/caution"
	"lidwright/api/pages"
	"lidwright/api/usecase"
	"lidwright/api/web"
	"lidwright/api/wire"
	"lidwright/kiln"
	"lidwright/kiln/analysis"
	"lidwright/kiln/heatwork"
	"lidwright/kiln/message"
	"lidwright/tiles"
)

// beneath is what lies under the line of a firing: the usual ones, or one past firing as model.
type beneath struct {
	Band  []kiln.Envelope // at most one
	Model []kiln.Envelope // at most one
	Label message.Message
	Says  message.Message // for the reader
}

// beneath finds it: the firing of that id if one is named, else the usual firings of the kiln,
// kind and atmosphere. past is newest first.
func (s firingRoutes) beneath(ctx context.Context, f kiln.Firing, past []kiln.Firing,
	model kiln.FiringID) (beneath, error) {
	var b beneath
	control := []kiln.ChannelID{s.Known(f.Kiln).Control}
	curve := func(p kiln.Firing) (kiln.Envelope, error) {
		lines, _, err := s.Archive.Envelopes(ctx, p.ID, control, 5*time.Minute, 0)
		if err != nil || len(lines) == 0 {
			return kiln.Envelope{}, err
		}
		return lines[0], nil
	}
	if model != "" && model != f.ID {
		p, err := s.Archive.Firing(ctx, model)
		if err != nil {
			return b, err
		}
		e, err := curve(p)
		if err == nil && len(e.After) > 0 {
			b.Model, b.Label, b.Says = []kiln.Envelope{e}, message.Plain(p.Name()),
				message.New("The dashed line is {1}, chosen as model. Nothing is sent to the kiln.", p.Name())
		}
		return b, err
	}
	if f.Kind == "" {
		b.Says = message.New("Nobody has told which kind of firing this is, so no usual one lies beneath it.")
		return b, nil
	}
	var usual []kiln.Envelope
	for _, p := range past {
		if p.ID == f.ID || p.Kind != f.Kind || p.Atmosphere != f.Atmosphere || p.Status != kiln.Ended ||
			p.Kiln != f.Kiln || len(usual) == 4 || !p.Began.Wall.Before(f.Began.Wall) {
			continue
		}
		e, err := curve(p)
		if err != nil {
			return b, err
		}
		if len(e.After) > 0 {
			usual = append(usual, e)
		}
	}
	if band, ok := analysis.UsualBand(usual); ok {
		b.Band, b.Label = []kiln.Envelope{band}, message.New("usual")
		b.Says = message.New("The faint band is the last {1} firings of this kind and atmosphere ({2}, {3}).",
			len(usual), f.Kind, f.Atmosphere)
		if len(usual) == 1 {
			b.Says = message.New("The faint line is the last firing of this kind and atmosphere ({1}, {2}).",
				f.Kind,
				f.Atmosphere)
		}
	}
	return b, nil
}

// coneSeries are the series whose cones can be told, the studio's own first.
func coneSeries(own string) []string {
	all := []string{own}
	for _, c := range []kiln.Series{heatwork.SeriesSelfSupporting, heatwork.SeriesSelfSupportingIronFree,
		heatwork.SeriesPlaque, heatwork.SeriesPlaqueIronFree, heatwork.SeriesPlaqueOlder,
		heatwork.SeriesSmall} {
		if string(c) != own {
			all = append(all, string(c))
		}
	}
	return all
}

// usualHours is how long the last firings took that f is held against: those of past, newest first, before it
// that came to their end, of the same kind and atmosphere. The middle one of at most four.
func usualHours(f kiln.Firing, past []kiln.Firing) (u pages.Usual) {
	var toTop, cooling []float64
	for _, p := range past {
		if p.Kind != f.Kind || p.Atmosphere != f.Atmosphere || p.Status != kiln.Ended ||
			!p.Began.Wall.Before(f.Began.Wall) {
			continue
		}
		if len(toTop) < 4 && p.ToTop > 0 {
			toTop = append(toTop, p.ToTop.Hours())
		}
		if len(cooling) < 4 && p.ToTop > 0 {
			cooling = append(cooling, (p.Length - p.ToTop).Hours())
		}
	}
	return pages.Usual{ToTop: middle(toTop), Cooling: middle(cooling)}
}

// middle is the median, nil of none.
func middle(v []float64) *float64 {
	if len(v) == 0 {
		return nil
	}
	slices.Sort(v)
	m := (v[(len(v)-1)/2] + v[len(v)/2]) / 2
	return &m
}

func (s firingRoutes) firingPage(w http.ResponseWriter, r *http.Request) error {
	return s.showFiring(w, r, pages.Form{})
}

// showFiring is the page of a firing; form is a cone that was sent and refused, if one was.
func (s firingRoutes) showFiring(w http.ResponseWriter, r *http.Request, form pages.Form) error {
	ctx, id := r.Context(), kiln.FiringID(r.PathValue("id"))
	f, err := s.Firings().FindFiring(ctx, id)
	if err != nil {
		return err
	}
	page := s.page(ctx, "kiln")
	d := pages.FiringPage{Frame: page.Frame, ID: page.ID, Form: form,
		Series:      coneSeries(s.Firings().ConeSeries()),
		VentCaution: caution.Text(caution.VentOn), Gaps: gapWords(f.Gaps), Seen: markOf(f.Kind, f.Atmosphere)}
	if form.Has("id") {
		d.ID = form.Get("id")
	}
	if d.Firing, err = s.Firings().WholeFiring(ctx, id); err != nil {
		return err
	}
	past, err := s.Archive.Firings(ctx, kiln.FiringFilter{Kiln: f.Kiln, Before: f.Began.Wall,
		Limit: usecase.UsualLook})
	if err != nil {
		return err
	}
	d.Usual = usualHours(f, past)
	under, err := s.beneath(ctx, f, past, "")
	if err != nil {
		return err
	}
	d.Beneath = under.Says
	if d.Curve, err = s.drawFiring(ctx, f, under, r.URL.Query()); err != nil {
		return err
	}
	if d.Start, err = s.Firings().CheckList(ctx, string(id)); err != nil {
		return err
	}
	if f.Load != "" {
		bars, err := s.Archive.Bars(ctx, tiles.BarFilter{Load: f.Load}, s.Channel)
		if err != nil {
			return err
		}
		for _, b := range bars {
			d.Bars = append(d.Bars, string(b.Code))
		}
	}
	if f.Atmosphere == kiln.Reduction {
		d.Cautions = reductionFolded()
	}
	return s.show(w, d)
}

// firingForm makes the handler of one form of the firing page.
func (s firingRoutes) firingForm(keep func(ctx context.Context, id wire.FiringPath,
	form url.Values) error) func(http.ResponseWriter, *http.Request) error {
	return func(w http.ResponseWriter, r *http.Request) error {
		form, err := web.Form(r)
		if err != nil {
			return err
		}
		id := wire.FiringPath{ID: r.PathValue("id")}
		if err := keep(r.Context(), id, form); err != nil {
			return err
		}
		http.Redirect(w, r, "/firing/"+url.PathEscape(id.ID)+form.Get("back"), http.StatusSeeOther)
		return nil
	}
}

// postCone keeps a cone; one that is refused is shown again as it was typed.
func (s firingRoutes) postCone(w http.ResponseWriter, r *http.Request) error {
	err := s.firingForm(s.formCone)(w, r)
	if err != nil {
		if p, ok := s.again(w, r, err); ok {
			return s.showFiring(w, r, pages.Form{Values: r.PostForm, Problem: p})
		}
	}
	return err
}

func (s firingRoutes) formCone(ctx context.Context, id wire.FiringPath, form url.Values) error {
	b, err := coneOfForm(form)
	if err == nil {
		_, err = s.Firings().KeepCone(ctx, wire.ConePath{FiringPath: id, Cone: form.Get("id")}, b)
	}
	return err
}

// coneOfForm reads the fields of a cone; stood is upright, leaning, down or a tilt in degrees.
func coneOfForm(form url.Values) (wire.ConeBody, error) {
	b := wire.ConeBody{Cone: form.Get("cone"), Series: form.Get("series"), Shelf: form.Get("shelf"),
		By: form.Get("by")}
	b.Seen, b.TiltDeg = stood(form.Get("stood"))
	return b, nil
}

func stood(text string) (seen string, tilt *float64) {
	if t, err := strconv.ParseFloat(text, 64); err == nil {
		return "", &t
	}
	return text, nil
}

func (s firingRoutes) formStrikeCone(ctx context.Context, id wire.FiringPath, form url.Values) error {
	return s.Firings().StrikeConeOf(ctx, wire.ConePath{FiringPath: id, Cone: form.Get("cone")},
		wire.StrikeBody{Why: form.Get("why"), By: form.Get("by")})
}

// formNote keeps a note, or crosses one out.
func (s firingRoutes) formNote(ctx context.Context, id wire.FiringPath, form url.Values) error {
	if note := form.Get("strike"); note != "" {
		return s.crossOut(ctx, wire.NotePath{FiringPath: id, Note: note},
			wire.StrikeBody{Why: form.Get("why"),
				By: form.Get("by")})
	}
	_, err := s.Firings().KeepNote(ctx, wire.NotePath{FiringPath: id, Note: form.Get("id")},
		wire.NoteBody{Text: form.Get("text"), Incident: form.Get("incident") != "", By: form.Get("by")})
	return err
}

func (s firingRoutes) formSaid(ctx context.Context, id wire.FiringPath, form url.Values) error {
	err := unchanged(s.Server, ctx, form, func() (stale, error) {
		f, err := s.Firings().FindFiring(ctx, kiln.FiringID(id.ID))
		return stale{mark: markOf(f.Kind, f.Atmosphere), page: "/firing/" + url.PathEscape(id.ID)}, err
	})
	if err != nil {
		return err
	}
	return s.Firings().SayFiring(ctx, kiln.FiringID(id.ID), wire.FiringBody{Kind: form.Get("kind"),
		Atmosphere: form.Get("atmosphere"), By: form.Get("by")})
}

func (s firingRoutes) byHandPage(w http.ResponseWriter, r *http.Request) error {
	return s.showByHand(w, r, pages.Form{Values: r.URL.Query()})
}

// showByHand is the page on which a firing is logged; form is what was refused, or what the address asks for.
func (s firingRoutes) showByHand(w http.ResponseWriter, r *http.Request, form pages.Form) error {
	ctx := r.Context()
	page := s.page(ctx, "kiln")
	d := pages.LogFiringPage{Frame: page.Frame, ID: page.ID, Form: form,
		Series:   coneSeries(s.Firings().ConeSeries()),
		Cautions: reductionFolded(caution.Glare),
		Twice:    map[string]bool{}}
	if form.Sent() {
		d.ID = form.Get("id")
		for _, field := range []string{"began_at", "ended_at", "dropped_at"} {
			d.Twice[field] = usecase.CameTwice(form.Get(field), s.Site.Zone)
		}
		d.Asks, d.Moves = form.Asks("overlaps"), form.Asks("move")
	}
	loads, err := s.Archive.Loads(ctx, tiles.LoadFilter{Open: true, Limit: 20})
	if err != nil {
		slog.WarnContext(ctx, "the loads cannot be listed", "err", err)
	}
	l := s.pages.Locale(page.Speak)
	for _, o := range loads {
		d.Loads = append(d.Loads, pages.Named{ID: o.ID, Name: l.T("Load {1}, {2}", o.Number, o.Kiln)})
	}
	for _, k := range s.Recorder.Live() {
		d.Kilns = append(d.Kilns, string(k.Kiln))
	}
	return s.show(w, d)
}

func (s firingRoutes) postByHand(w http.ResponseWriter, r *http.Request) error {
	form, err := web.Form(r)
	if err != nil {
		return err
	}
	if err = s.keepHandForm(r.Context(), form); err != nil {
		p, ok := s.again(w, r, err)
		if !ok {
			return err
		}
		return s.showByHand(w, r, pages.Form{Values: form, Problem: p})
	}
	http.Redirect(w, r, "/firing/"+url.PathEscape(form.Get("id")), http.StatusSeeOther)
	return nil
}

// keepHandForm keeps a firing by hand, the cones told with it and the bars that lay in it. Sent again it
// keeps nothing twice.
func (s firingRoutes) keepHandForm(ctx context.Context, form url.Values) error {
	b := wire.FiringBody{Source: "hand", Kiln: form.Get("kiln"), Kind: form.Get("kind"),
		Atmosphere: form.Get("atmosphere"), Note: form.Get("note"), By: form.Get("by"),
		IntendedCone: form.Get("intended_cone"), Load: form.Get("load"), Overlaps: form.Get("overlaps") != ""}
	var err error
	for _, t := range []struct {
		into *string
		name string
	}{{&b.BeganAt, "began_at"}, {&b.EndedAt, "ended_at"}} {
		if *t.into, err = s.localTime(form, t.name); err != nil {
			return err
		}
	}
	dropped, err := s.localTime(form, "dropped_at")
	if err != nil {
		return err
	}
	if cone := form.Get("sitter_cone"); cone != "" {
		b.Sitter = &wire.SitterBody{Cone: cone, DroppedAt: dropped}
	} else if dropped != "" {
		return &tiles.Invalid{Field: "sitter_cone", Type: tiles.Missing,
			Why: message.New("is needed: which cone was in it")}
	}
	if b.Typed, err = typedLines(form.Get("typed")); err != nil {
		return err
	}
	// The cones are looked at first, so that a firing is not kept with half of them.
	var cones []wire.ConeBody
	var ids []string
	for n := 1; n <= 3; n++ {
		at := strconv.Itoa(n)
		if form.Get("cone_"+at) == "" && form.Get("stood_"+at) != "" {
			return &tiles.Invalid{Field: "cone_" + at, Type: tiles.Missing,
				Why: message.New("is needed: which cone stood so")}
		}
		if form.Get("cone_"+at) == "" {
			continue
		}
		c := wire.ConeBody{Cone: form.Get("cone_" + at), Series: form.Get("series"), Shelf: form.Get("shelf"),
			By: b.By}
		c.Seen, c.TiltDeg = stood(form.Get("stood_" + at))
		seen, err := s.Firings().ReadCone(c, coneID(form.Get("id"), n), kiln.FiringID(form.Get("id")))
		if err == nil {
			err = seen.Validate()
		}
		if err != nil {
			return ofCone(s.troubles.Problem(ctx, err), at)
		}
		cones, ids = append(cones, c), append(ids, coneID(form.Get("id"), n))
	}
	load, err := handLoad(form)
	if err == nil && load != nil { // so are the bars
		err = s.Loads().CheckLoad(ctx, handLoadID(form.Get("id")), *load)
	}
	if err != nil {
		return err
	}
	if _, err := s.Firings().KeepByHand(ctx, kiln.FiringID(form.Get("id")), b, len(cones) > 0); err != nil {
		return err
	}
	for i, c := range cones {
		if _, err := s.Firings().KeepCone(ctx, wire.ConePath{FiringPath: wire.FiringPath{ID: form.Get("id")},
			Cone: ids[i]}, c); err != nil {
			return err
		}
	}
	if load != nil {
		_, err = s.Loads().KeepLoad(ctx, handLoadID(form.Get("id")), *load, usecase.Precondition{})
	}
	return err
}

// handLoad is the load of the bars that are told with a firing by hand; nil where none are.
func handLoad(form url.Values) (*wire.LoadBody, error) {
	bars := slotsIn(form.Get("bars"), "")
	if len(bars) == 0 {
		return nil, nil
	}
	if form.Get("load") != "" {
		return nil, &tiles.Invalid{Field: "bars", Type: tiles.GivenTwice,
			Why: message.New("and a load: choose the load, or write the bars")}
	}
	return &wire.LoadBody{Kiln: form.Get("kiln"), Kind: form.Get("kind"), Atmosphere: form.Get("atmosphere"),
		PackedBy: form.Get("by"), Firing: form.Get("id"), Bars: bars, Move: form.Get("move") != ""}, nil
}

// ofCone says of which cone of the form a fault is.
func ofCone(fault *web.Problem, at string) error {
	p := *fault
	p.Fields = slices.Clone(p.Fields)
	for i, f := range p.Fields {
		if of, ok := map[string]string{"cone": "cone_", "seen": "stood_", "tilt_deg": "stood_"}[f.Name]; ok {
			p.Fields[i].Name = of + at
		}
	}
	return &p
}

// localTime reads a time as the field of a page gives it, in the studio's zone.
func (s firingRoutes) localTime(form url.Values, field string) (string, error) {
	text := form.Get(field)
	if text == "" {
		return "", nil
	}
	t, err := usecase.LocalTime(field, text, s.Site.Zone, form.Get(field+"_which"))
	if err != nil {
		return "", err
	}
	return t.Format(time.RFC3339), nil
}

// typedLines reads a typed curve: hours and °C on each line, with a blank, a comma or a tab between;
// hours as 1.5 or 1:30.
func typedLines(text string) (*wire.TypedBody, error) {
	var t wire.TypedBody
	for n, line := range strings.Split(text, "\n") {
		line = strings.TrimSpace(line)
		if line == "" {
			continue
		}
		f := strings.FieldsFunc(line, func(c rune) bool {
			return c == ' ' || c == '\t' || c == ';' || c == ','
		})
		if len(f) != 2 {
			return nil, web.NewProblem("out-of-range",
				message.New("Line {1} of the readings is not two numbers.",
					n+1), wire.Field{Name: "typed", Says: message.New("line {1}: write hours, a blank, °C",
					n+1)})
		}
		h, err := hoursOf(f[0])
		c, err2 := strconv.ParseFloat(f[1], 64)
		if err := errors.Join(err, err2); err != nil {
			return nil, web.NewProblem("out-of-range",
				message.New("Line {1} of the readings is not two numbers.",
					n+1), wire.Field{Name: "typed", Says: message.New("line {1}: write hours, a blank, °C",
					n+1)})
		}
		t.Hours, t.TemperatureC = append(t.Hours, h), append(t.TemperatureC, c)
	}
	if len(t.Hours) == 0 {
		return nil, nil
	}
	return &t, nil
}

func hoursOf(text string) (float64, error) {
	h, m, clock := strings.Cut(text, ":")
	hours, err := strconv.ParseFloat(h, 64)
	if err != nil || !clock {
		return hours, err
	}
	minutes, err := strconv.ParseFloat(m, 64)
	return hours + minutes/60, err
}

// coneID makes an id for the n-th cone of a form out of that of the firing, so that a form sent
// twice tells of the same cones.
func coneID(firing string, n int) string {
	return uuid.NewSHA1(uuid.NameSpaceOID, fmt.Appendf(nil, "%s/cone/%d", firing, n)).String()
}

// handLoadID is the id of the load of the bars that are told with a firing.
func handLoadID(firing string) string {
	return uuid.NewSHA1(uuid.NameSpaceOID, fmt.Appendf(nil, "%s/load", firing)).String()
}
