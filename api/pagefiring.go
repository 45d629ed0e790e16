package api

import (
	"context"
	"errors"
	"fmt"
	"html/template"
	"log/slog"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/google/uuid"

	"lidwright/api/caution"
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
		if p.ID == f.ID || p.Kind != f.Kind || p.Atmosphere != f.Atmosphere || p.Status != kiln.Ended || p.Kiln != f.Kiln || len(usual) == 4 || !p.Began.Wall.Before(f.Began.Wall) {
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

type firingPageData struct {
	page
	Gaps        []message.Message // in words
	Firing      wire.FiringWhole
	Range       string
	AsIndicated string // its range
	Curve       template.HTML
	Beneath     message.Message
	Cautions    []message.Message
	VentCaution message.Message
	Start       wire.CheckList // as it was ticked
	Series      []choice
	Tilts       []int
	Typed       url.Values // what a form was sent with, where it was refused
}

type choice struct{ Value, Says string }

// coneChoices are the series whose cones can be told, the studio's own first.
func coneChoices(own string) []choice {
	all := []choice{{own, seriesSays(own)}}
	for _, c := range []kiln.Series{heatwork.SeriesSelfSupporting, heatwork.SeriesSelfSupportingIronFree,
		heatwork.SeriesPlaque, heatwork.SeriesPlaqueIronFree, heatwork.SeriesPlaqueOlder,
		heatwork.SeriesSmall} {
		if string(c) != own {
			all = append(all, choice{string(c), seriesSays(string(c))})
		}
	}
	return all
}

// seriesSays is what a series of cones is called on pages.
func seriesSays(series string) string {
	switch series {
	case "large_self_supporting_iron_free":
		return "large self supporting, iron free"
	case "large_plaque_iron_free":
		return "large plaque, iron free"
	case "large_plaque_older":
		return "large plaque, older table"
	}
	return strings.ReplaceAll(series, "_", " ")
}

func rangeSays(l []*float64) string {
	switch {
	case len(l) != 2 || l[0] == nil && l[1] == nil:
		return ""
	case l[0] == nil:
		return fmt.Sprintf("less than %.0f", *l[1])
	case l[1] == nil:
		return fmt.Sprintf("at least %.0f", *l[0])
	}
	return fmt.Sprintf("%.0f to %.0f", *l[0], *l[1])
}

func (s firingRoutes) firingPageData(ctx context.Context, id kiln.FiringID, q url.Values) (d firingPageData,
	err error) {
	f, err := s.Firings().FindFiring(ctx, id)
	if err != nil {
		return d, err
	}
	d = firingPageData{page: s.page(ctx, "kiln"), Series: coneChoices(s.Firings().ConeSeries()),
		Tilts: []int{30, 45, 60, 75, 90}, Typed: url.Values{}, VentCaution: caution.Text(caution.VentOn)}
	if d.Firing, err = s.Firings().WholeFiring(ctx, id); err != nil {
		return d, err
	}
	past, err := s.Archive.Firings(ctx, kiln.FiringFilter{Kiln: f.Kiln, Before: f.Began.Wall,
		Limit: usecase.UsualLook})
	if err != nil {
		return d, err
	}
	under, err := s.beneath(ctx, f, past, "")
	if err != nil {
		return d, err
	}
	view, err := s.drawFiring(ctx, f, under, q)
	if err != nil {
		return d, err
	}
	d.Curve = template.HTML(s.pages.Curve(d.Speak, view))
	if d.Start, err = s.Firings().CheckList(ctx, string(id)); err != nil {
		return d, err
	}
	d.Gaps = gapWords(f.Gaps)
	d.Beneath, d.Range = under.Says, rangeSays(d.Firing.HeatLikely)
	if d.Firing.AsIndicated != nil {
		d.AsIndicated = rangeSays(d.Firing.AsIndicated.Likely)
	}
	if f.Atmosphere == kiln.Reduction {
		d.Cautions = caution.Texts(reductionCautions...)
	}
	return d, nil
}

func (s firingRoutes) firingPage(w http.ResponseWriter, r *http.Request) error {
	d, err := s.firingPageData(r.Context(), kiln.FiringID(r.PathValue("id")), r.URL.Query())
	if err != nil {
		return err
	}
	return s.render(w, "firing", d)
}

// firingForm makes the handler of one form of the firing page: what is refused is shown again as
// it was typed.
func (s firingRoutes) firingForm(keep func(ctx context.Context, id wire.FiringPath,
	form url.Values) error) func(http.ResponseWriter, *http.Request) error {
	return func(w http.ResponseWriter, r *http.Request) error {
		form, err := web.Form(r)
		if err != nil {
			return err
		}
		id := wire.FiringPath{ID: r.PathValue("id")}
		if err := keep(r.Context(), id, form); err != nil {
			d, dataErr := s.firingPageData(r.Context(), kiln.FiringID(id.ID), url.Values{})
			if dataErr != nil {
				return dataErr
			}
			d.Error, d.Typed = s.refused(r.Context(), err), form
			w.Header().Set("Content-Type", "text/html; charset=utf-8")
			w.WriteHeader(d.Error.Status)
			return s.render(w, "firing", d)
		}
		http.Redirect(w, r, "/firing/"+url.PathEscape(id.ID)+form.Get("back"), http.StatusSeeOther)
		return nil
	}
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
	return s.Firings().SayFiring(ctx, kiln.FiringID(id.ID), wire.FiringBody{Kind: form.Get("kind"),
		Atmosphere: form.Get("atmosphere"), By: form.Get("by")})
}

type byHandData struct {
	page
	Cautions []message.Message
	Kilns    []string
	Series   []choice
	Tilts    []int
	Typed    url.Values
	Rows     []int
	Loads    []choice        // packed and not fired yet
	Asks     bool            // whether it is another firing than one that went on at the time
	Twice    map[string]bool // fields of times that came twice, in the night in which the clock went back
}

func (s firingRoutes) byHandData(ctx context.Context) byHandData {
	d := byHandData{page: s.page(ctx, "kiln"), Series: coneChoices(s.Firings().ConeSeries()), Tilts: []int{30,
		45, 60, 75, 90}, Typed: url.Values{}, Rows: []int{1, 2, 3}, Cautions: caution.Texts(append([]caution.Number{caution.Glare}, reductionCautions...)...)}
	loads, err := s.Archive.Loads(ctx, tiles.LoadFilter{Open: true, Limit: 20})
	if err != nil {
		slog.WarnContext(ctx, "the loads cannot be listed", "err", err)
	}
	for _, l := range loads {
		d.Loads = append(d.Loads, choice{l.ID, fmt.Sprintf("Load %d, %s", l.Number, l.Kiln)})
	}
	for _, l := range s.Recorder.Live() {
		d.Kilns = append(d.Kilns, string(l.Kiln))
	}
	return d
}

func (s firingRoutes) byHandPage(w http.ResponseWriter, r *http.Request) error {
	d := s.byHandData(r.Context())
	d.Typed = r.URL.Query()
	return s.render(w, "byhand", d)
}

func (s firingRoutes) postByHand(w http.ResponseWriter, r *http.Request) error {
	form, err := web.Form(r)
	if err != nil {
		return err
	}
	if err = s.keepHandForm(r.Context(), form); err != nil {
		d := s.byHandData(r.Context())
		d.Error, d.Typed, d.ID = s.refused(r.Context(), err), form, form.Get("id")
		d.Twice = map[string]bool{}
		for _, field := range []string{"began_at", "ended_at", "dropped_at"} {
			d.Twice[field] = usecase.CameTwice(form.Get(field), s.Site.Zone)
		}
		d.Asks = slices.ContainsFunc(d.Error.Fields, func(f wire.Field) bool { return f.Name == "overlaps" })
		w.Header().Set("Content-Type", "text/html; charset=utf-8")
		w.WriteHeader(d.Error.Status)
		return s.render(w, "byhand", d)
	}
	http.Redirect(w, r, "/firing/"+url.PathEscape(form.Get("id")), http.StatusSeeOther)
	return nil
}

// keepHandForm keeps a firing by hand and the cones told with it. Sent again it keeps nothing twice.
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
	if _, err := s.Firings().KeepByHand(ctx, kiln.FiringID(form.Get("id")), b, len(cones) > 0); err != nil {
		return err
	}
	for i, c := range cones {
		if _, err := s.Firings().KeepCone(ctx, wire.ConePath{FiringPath: wire.FiringPath{ID: form.Get("id")},
			Cone: ids[i]}, c); err != nil {
			return err
		}
	}
	return nil
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
		f := strings.FieldsFunc(line, func(c rune) bool { return c == ' ' || c == '\t' || c == ';' || c == ',' })
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
