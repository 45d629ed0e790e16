package api

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"math"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"time"

	"lidwright/api/caution"
	"lidwright/api/chart"
	"lidwright/api/pages"
	"lidwright/api/usecase"
	"lidwright/api/web"
	"lidwright/api/wire"
	"lidwright/kiln"
	"lidwright/kiln/detect"
	"lidwright/kiln/record"
)

// page is what every page has; each page's own data embeds it.
type page struct {
	pages.Frame
	Today time.Time
	// ClockUnset says that the machine's clock cannot be trusted: dates may be wrong.
	ClockUnset bool
	Error      *web.Problem // of a form sent just now; nil on a fresh page
	ID         string       // a new id for the entry that the page's form may send
}

func (s *Server) page(ctx context.Context, here string) page {
	speak, ok := ctx.Value(speakKey{}).(pages.Speak)
	if !ok {
		speak = pages.Speak{Tongue: "en", Unit: string(s.Unit())}
	}
	now := s.Now()
	frame := pages.Frame{Unrecorded: s.unrecorded(), Site: s.Site.Name, Here: here, Standing: caution.StandingLine, Version: s.Site.Version, Speak: speak}
	if now.Trusted {
		frame.Now = now.Wall
	}
	return page{Frame: frame, Today: now.Wall, ClockUnset: !now.Trusted, ID: s.MakeID()}
}

// hotAlone is from where on a kiln that heats with no firing open is not about to begin one, °C (own).
const hotAlone = 120

// unrecorded are the kilns that are hot with no firing open: somebody stopped the recording, or it never began.
func (s *Server) unrecorded() (kilns []string) {
	if s.Recorder == nil {
		return nil
	}
	for _, l := range s.Recorder.Live() {
		cools := l.State == kiln.Falling || l.State == kiln.Warm
		if l.Firing == "" && l.Fresh && (cools && l.LastT > 60 || l.LastT > hotAlone) {
			kilns = append(kilns, string(l.Kiln))
		}
	}
	return kilns
}

// The cautions of pages that always carry them: of dry clay, of what our numbers are not, of notices.
func (page) MixingCautions() []string { return caution.Texts(caution.Mixing) }
func (page) NumberCautions() []string {
	return caution.Texts(caution.ShrinkVaries, caution.NotFoodSafe)
}
func (page) NoticeCautions() []string { return caution.Texts(caution.Nudge) }

func (s homeRoutes) helpPage(w http.ResponseWriter, r *http.Request) error {
	return s.render(w, "help", s.page(r.Context(), "more"))
}

// render writes a page as it speaks to who asked.
func (s *Server) render(w http.ResponseWriter, name string, data pages.Data) error {
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	return s.pages.Render(w, name, data)
}

// show writes a compiled page as it speaks to who asked.
func (s *Server) show(w http.ResponseWriter, p pages.Page) error {
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	return s.pages.Show(w, p)
}

// problemPage shows a problem to a person.
func (s *Server) problemPage(w http.ResponseWriter, r *http.Request, p *web.Problem) {
	for k, v := range p.Header {
		w.Header()[k] = v
	}
	kind := strings.TrimPrefix(p.Type, "/problems/")
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.WriteHeader(p.Status)
	frame := s.page(r.Context(), "").Frame
	err := s.show(w, pages.ProblemPage{Frame: frame, Problem: *onPage(p), Help: web.Kinds[kind].Help})
	if err != nil {
		slog.ErrorContext(r.Context(), "showing a problem failed", "err", err)
	}
}

func (s homeRoutes) problemTypePage(w http.ResponseWriter, r *http.Request) error {
	k, ok := web.Kinds[r.PathValue("type")]
	if !ok {
		return problem("no-such-page", "No problem has this name.")
	}
	frame := s.page(r.Context(), "more").Frame
	return s.show(w, pages.ProblemPage{Frame: frame, Problem: pages.Problem{Title: k.Title}, Help: k.Help})
}

const (
	glareAbove = 600.0 // °C from which a chamber glows, so that a look into it needs a filter (practice)
	// °C from which a firing on its way up may be near its top, where its kind does not tell (own).
	nearTopAbove = 900.0
	steamBelow   = 100.0 // °C below which ware still dries
)

// hotCautions are the cautions that a kiln's state asks for on its own page.
func (s homeRoutes) hotCautions(k wire.KilnNow, atmosphere kiln.Atmosphere) []string {
	var numbers []caution.Number
	add := func(more ...caution.Number) { numbers = append(numbers, more...) }
	if k.OverLimit || k.StillHot {
		add(caution.StuckRelay, caution.OverLimit, caution.OwnProtection)
	}
	reads := math.NaN()
	if k.TemperatureC != nil {
		reads = *k.TemperatureC
	}
	switch kiln.State(k.State) {
	case kiln.Rising, kiln.Holding, kiln.Soaking:
		add(caution.StayNear, caution.VentOn)
		add(caution.CarbonMonoxide...)
		if reads < steamBelow {
			add(caution.BoneDry)
		}
		if kiln.State(k.State) == kiln.Soaking {
			add(caution.StuckRelay)
		}
		if h := s.Now().Wall.In(s.Site.Zone).Hour(); h >= 22 || h < 6 {
			add(caution.NobodyThere)
		}
	case kiln.Falling, kiln.Warm:
		add(caution.OneSpot, caution.KeepShut, caution.ReachIn)
		add(caution.CarbonMonoxide...)
	case kiln.Quiet:
		add(caution.Quiet, caution.OverLimit, caution.PowerCut)
	}
	if reads > glareAbove {
		add(caution.Glare)
	}
	if atmosphere == kiln.Reduction {
		add(reductionCautions...)
	}
	return caution.Texts(numbers...)
}

// reductionCautions are those of a firing by hand, and of one in which carbon monoxide is made on purpose.
var reductionCautions = []caution.Number{caution.StayNear, caution.VentOn, caution.COAlarm, caution.GetOut, caution.FuelKilns}

type tableRow struct{ Hours, Low, High float64 }

// tableOf is a curve in figures, a row each 15 minutes.
func tableOf(lines []kiln.Envelope) []tableRow {
	if len(lines) == 0 {
		return nil
	}
	e := lines[0]
	if e.Step > 0 {
		e = e.Merge(int(15 * time.Minute / e.Step))
	}
	var rows []tableRow
	for i, a := range e.After {
		rows = append(rows, tableRow{a.Hours(), float64(e.Low[i]), float64(e.High[i])})
	}
	return rows
}

// drawFiring draws a firing over what lies beneath it, and gives the same in figures.
func (s *Server) drawFiring(ctx context.Context, f kiln.Firing, under beneath) (string, []tableRow, error) {
	lines, gaps, err := s.Firings().Envelopes(ctx, f, nil, 400, 0)
	if errors.Is(err, kiln.ErrNoFiring) { // it began a moment ago
		return "", nil, nil
	}
	if err != nil || len(lines) == 0 || len(lines[0].After) == 0 {
		return "", nil, err
	}
	control := s.Firings().ProbeOf(f)
	slices.SortStableFunc(lines, func(a, b kiln.Envelope) int {
		return map[bool]int{true: 0, false: 1}[a.Channel == control] - map[bool]int{true: 0, false: 1}[b.Channel == control]
	})
	d := chart.Curve{Lines: lines, Gaps: gaps, Band: under.Band, Model: under.Model, Under: under.Label, Zone: s.Site.Zone, Title: "Temperature of " + string(f.Kiln) + " over the hours since the first rise"}
	if f.Began.Trusted {
		d.Began = f.Began.Wall
	}
	return d.SVG(), tableOf(lines), nil
}

func (s homeRoutes) spyhole(w http.ResponseWriter, r *http.Request) error {
	kilns := s.Kilns().KilnsNow(r.Context())
	name := r.PathValue("kiln")
	at := slices.IndexFunc(kilns, func(k wire.KilnNow) bool { return k.Kiln == name || name == "" })
	if at < 0 {
		if name == "" {
			return s.homePage(w, r)
		}
		return fmt.Errorf("%s: %w", name, record.ErrNoKiln)
	}
	k := kilns[at]
	data := struct {
		page
		Kiln     wire.KilnNow
		Firing   *wire.Firing
		Drawing  string
		Table    []tableRow
		Cautions []string
		Past     []wire.Firing
		Beneath  string
		Open     string   // the firing under way, "" if there is none
		Gaps     []string // of the firing shown, in words
		Model    string   // id of the past firing chosen as model
		Why      string   // reason of what it is kept shut above, while it counts
	}{page: s.page(r.Context(), "kiln"), Kiln: k, Model: r.URL.Query().Get("model")}
	past, err := s.Archive.Firings(r.Context(), kiln.FiringFilter{Kiln: kiln.KilnID(k.Kiln), Limit: 20 + usecase.UsualLook})
	if err != nil {
		return err
	}
	shown := kiln.Firing{}
	if live, ok := s.Recorder.LiveCurve(kiln.KilnID(k.Kiln)); ok {
		shown = live.Firing
		data.Open = string(shown.ID)
	} else if len(past) > 0 {
		shown = past[0]
	}
	if shown.ID != "" {
		j := s.Firings().Firing(shown, detect.Expected{})
		data.Firing, data.Gaps = &j, gapWords(shown.Gaps)
		under, err := firingRoutes{s.Server}.beneath(r.Context(), shown, past, kiln.FiringID(data.Model))
		if err != nil {
			return err
		}
		data.Beneath = under.Says
		if data.Drawing, data.Table, err = s.drawFiring(r.Context(), shown, under); err != nil {
			return err
		}
	}
	for i, f := range past {
		if f.Status != kiln.Running && len(data.Past) < 20 {
			data.Past = append(data.Past, s.Firings().Firing(f, detect.UsualBefore(past, i, s.Known(f.Kiln).Control)))
		}
	}
	data.Cautions = s.hotCautions(k, shown.Atmosphere)
	if k.State == string(kiln.Falling) || k.State == string(kiln.Warm) {
		m, err := s.Kilns().KeepShut(r.Context(), kiln.KilnID(k.Kiln))
		if err != nil && !errors.Is(err, record.ErrNoKiln) { // one that is heard, and no longer in the settings
			return err
		}
		data.Why = m.Reason
	}
	return s.render(w, "spyhole", data)
}

func (s homeRoutes) safetyPage(w http.ResponseWriter, r *http.Request) error {
	return s.render(w, "safety", struct {
		page
		Electric string
		Checked  string
		Cautions []caution.Caution
	}{s.page(r.Context(), "more"), caution.ElectricKilns, caution.Checked, caution.All})
}

func (s homeRoutes) morePage(w http.ResponseWriter, r *http.Request) error {
	var words []string
	for _, l := range s.Lines() {
		words = append(words, l.Words...)
	}
	store, trouble := s.StoreWords()
	clock := "set by the network"
	if !s.Now().Trusted {
		clock = "not set since the start; hours and heat work are right all the same"
	}
	return s.render(w, "more", struct {
		page
		Lines        []string
		Tables       []string
		Store        []string
		StoreTrouble []string
		Clock        string
	}{s.page(r.Context(), "more"), words, Tables(), store, trouble, clock})
}

// sent reads a form; a member that is not there is empty.
func sent(r *http.Request) (url.Values, error) { return web.Form(r) }
