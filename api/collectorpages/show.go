package collectorpages

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"log/slog"
	"math"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"sync"
	"time"

	"lidwright/api/caution"
	"lidwright/api/pages"
	"lidwright/api/wire"
	"lidwright/kiln"
	"lidwright/kiln/message"
)

// silentAfter is how long a hot kiln may say nothing before it stands first.
const silentAfter = 2 * time.Minute

const (
	listedFirings = 500 // of a studio
	mostShown     = 200 // kilns on a page, the worst ones
	lookAt        = 3   // up to this place of worse somebody should look at the kiln
)

func silentHot(l Live) bool { return l.Hot && l.Silent > silentAfter }

// worse orders kilns: a silent hot one first of all, then over its limit, still hot after its end, silent,
// hot, the rest.
func worse(l Live) int {
	switch {
	case silentHot(l):
		return 0
	case l.OverLimit:
		return 1
	case l.StillHot:
		return 2
	case l.Hot && kiln.State(l.State) == kiln.Quiet:
		return 3
	case l.Hot:
		return 4
	case l.Silent > 15*time.Minute || kiln.State(l.State) == kiln.Quiet:
		return 5
	}
	return 6
}

// cautionsOf are those that the state of one kiln asks for beside its figure.
func cautionsOf(l Live) []message.Message {
	switch {
	case silentHot(l):
		return caution.Texts(caution.Quiet, caution.OverLimit)
	case l.OverLimit:
		return caution.Texts(caution.StuckRelay, caution.OverLimit)
	case l.StillHot:
		return caution.Texts(caution.StuckRelay)
	case l.Hot && kiln.State(l.State) == kiln.Quiet:
		return caution.Texts(caution.Quiet)
	}
	return nil // "Keep it shut." stands on every hot one, and the whole of it above them all
}

// stateWord is a state as a page says it.
func stateWord(s kiln.State) string { return strings.ReplaceAll(string(s), "_", " ") }

// narrowed counts the kilns of a page, and leaves those that were asked for.
func narrowed(d *pages.CollectorKilnsPage, kilns []Live) []Live {
	for _, l := range kilns {
		if l.Hot {
			d.Hot++
		}
		if worse(l) <= lookAt {
			d.ToLookAt++
		}
	}
	switch d.Only {
	case pages.KilnsHot:
		kilns = slices.DeleteFunc(kilns, func(l Live) bool { return !l.Hot })
	case pages.KilnsToLookAt:
		kilns = slices.DeleteFunc(kilns, func(l Live) bool { return worse(l) > lookAt })
	}
	if d.Filter == "" {
		return kilns
	}
	typed := strings.ToLower(d.Filter)
	return slices.DeleteFunc(kilns, func(l Live) bool {
		return !strings.Contains(strings.ToLower(l.Studio+" "+l.Kiln), typed)
	})
}

func (s *Server) kilnsPage(w http.ResponseWriter, r *http.Request) {
	kilns, err := s.Shown.Kilns(r.Context())
	if err != nil {
		s.trouble(w, r, err)
		return
	}
	d := pages.CollectorKilnsPage{Frame: s.frame(r, "kilns"), All: len(kilns),
		Filter: strings.TrimSpace(r.URL.Query().Get("q")),
		Only:   pages.ReadKilnsShown(r.URL.Query().Get("only"))}
	kilns = narrowed(&d, kilns)
	slices.SortStableFunc(kilns, func(a, b Live) int {
		return cmp.Or(cmp.Compare(worse(a), worse(b)), cmp.Compare(a.Studio, b.Studio),
			cmp.Compare(a.Kiln, b.Kiln))
	})
	if d.More = len(kilns) - mostShown; d.More > 0 {
		kilns = kilns[:mostShown]
	}
	curves, err := s.runningCurves(r.Context(), kilns)
	if err != nil {
		s.trouble(w, r, err)
		return
	}
	locale := s.pages.Locale(d.Speak)
	for _, l := range kilns {
		k := pages.CollectorKiln{Studio: l.Studio, Kiln: l.Kiln, Link: "/studios/" + l.Site,
			State: stateWord(kiln.State(l.State)),
			Hot:   l.Hot, SilentHot: silentHot(l), Cautions: cautionsOf(l)}
		if l.LastC != nil {
			k.Value = fmt.Sprintf("%.0f", *l.LastC)
		}
		k.Age = ago(locale, time.Duration(l.AgeS*float64(time.Second))+l.Silent)
		if l.Firing != "" {
			k.Running = fmt.Sprintf("%.1f", l.RunningForS/3600)
			k.Curve = curves[l.Firing]
		}
		switch worse(l) {
		case 0:
			k.State = stateWord(kiln.Quiet) // what it did then is not what it does now
			k.Wrong = "It was hot and nothing came since. Look at the kiln."
		case 1:
			k.Wrong = "It is over its limit. Look at the kiln."
		case 2:
			k.Wrong = "It is still hot long after its end, or climbs again. Look at the kiln."
		}
		d.Kilns = append(d.Kilns, k)
	}
	if slices.ContainsFunc(kilns, func(l Live) bool { return l.Hot }) {
		d.Cautions = caution.Texts(append([]caution.Number{caution.StayNear, caution.VentOn, caution.KeepShut,
			caution.OneSpot}, caution.CarbonMonoxide...)...)
	}
	s.show(w, r, d)
}

// drawn are the curves of firings under way as they are drawn, each until another state of it arrives: a page
// of many kilns is asked for again and again.
type drawn struct {
	mu  sync.Mutex // guards the field below
	all map[string]drawnCurve
}

type drawnCurve struct {
	sum   int64
	curve pages.Drawing
}

// runningCurves draws the curves of the kilns that are shown, those alone of which another state arrived.
func (s *Server) runningCurves(ctx context.Context, kilns []Live) (map[string]pages.Drawing, error) {
	sums, err := s.Shown.RunningSums(ctx)
	if err != nil {
		return nil, err
	}
	out, fresh := map[string]pages.Drawing{}, []string{}
	s.drawn.mu.Lock()
	for _, l := range kilns {
		sum, there := sums[l.Firing]
		had, drawn := s.drawn.all[l.Firing]
		switch {
		case drawn && had.sum == sum:
			out[l.Firing] = had.curve
		case there:
			fresh = append(fresh, l.Firing)
		}
	}
	s.drawn.mu.Unlock()
	if len(fresh) == 0 {
		return out, nil
	}
	data, err := s.Shown.CurvesOf(ctx, fresh)
	if err != nil {
		return nil, err
	}
	s.drawn.mu.Lock()
	defer s.drawn.mu.Unlock()
	if s.drawn.all == nil {
		s.drawn.all = map[string]drawnCurve{}
	}
	for firing := range s.drawn.all { // of those that are over
		if _, on := sums[firing]; !on {
			delete(s.drawn.all, firing)
		}
	}
	for _, firing := range fresh {
		lines, err := s.Draw("", data[firing], 120)
		if err != nil {
			continue
		}
		out[firing] = draw(lines, 180, 60)
		s.drawn.all[firing] = drawnCurve{sums[firing], out[firing]}
	}
	return out, nil
}

// ago is how old something is, as a person says it.
func ago(l pages.Locale, d time.Duration) string {
	switch {
	case d >= 48*time.Hour:
		return l.T("{1} days ago", int(d.Hours()/24))
	case d >= 2*time.Hour:
		return l.T("{1} h ago", int(d.Hours()))
	case d >= 2*time.Minute:
		return l.T("{1} min ago", int(d.Minutes()))
	}
	return l.T("{1} s ago", int(d.Seconds()))
}

func (s *Server) studioOf(one Site, speak pages.Speak) pages.CollectorStudio {
	l := s.pages.Locale(speak)
	c := pages.CollectorStudio{Name: one.Name, ID: one.ID, Link: "/studios/" + one.ID,
		Have: fmt.Sprint(one.Have), Behind: fmt.Sprint(one.Behind()),
		Version: one.Version, Heard: l.T("never")}
	if !one.Seen.IsZero() {
		c.Heard = ago(l, s.Now().Sub(one.Seen))
	}
	switch {
	case !one.Forked.IsZero():
		c.Trouble = "Two machines say that they are this studio; nothing of either is taken. Find out which holds, and let it in again: lidwright-collect studio readmit."
	case !one.Revoked.IsZero():
		c.Trouble = "Its key was revoked: nothing comes any more."
	case one.Open:
		c.Trouble = "It is awaited: the first key that comes within a day is taken as its own."
	case one.Anew:
		c.Trouble = "Its record went back to an earlier moment and is sent anew; what is shown is of before."
	}
	return c
}

func (s *Server) studiosPage(w http.ResponseWriter, r *http.Request) {
	all, err := s.Shown.Sites(r.Context())
	if err != nil {
		s.trouble(w, r, err)
		return
	}
	d := pages.CollectorStudiosPage{Frame: s.frame(r, "studios")}
	for _, one := range all {
		d.Studios = append(d.Studios, s.studioOf(one, d.Speak))
	}
	s.show(w, r, d)
}

func (s *Server) firingOf(site string, f wire.SentFiring, speak pages.Speak) (pages.CollectorFiring, bool) {
	out := pages.CollectorFiring{Link: "/studios/" + site + "/firings/" + url.PathEscape(f.ID), Kiln: f.Kiln,
		Number: fmt.Sprint(f.Number),
		Began:  s.pages.At(speak, f.BeganAt), Status: f.Status, Kind: cmp.Or(f.SaidKind, "–"),
		Peak: "–", Lasted: "–"}
	whole, err := s.Summary(f.Summary)
	if err != nil {
		return out, false
	}
	if f.SaidKind == "" && whole.Kind != "" {
		out.Kind = string(whole.Kind)
	}
	if p := float64(whole.Peak); p > 0 && !math.IsInf(p, 0) {
		out.Peak = fmt.Sprintf("%.0f", p)
	}
	if whole.Length > 0 {
		out.Lasted = fmt.Sprintf("%.1f", whole.Length.Hours())
	}
	return out, true
}

func (s *Server) studioPage(w http.ResponseWriter, r *http.Request) {
	if !isID(r.PathValue("site")) {
		nothingHere(w, r)
		return
	}
	one, err := s.Shown.Site(r.Context(), r.PathValue("site"))
	if errors.Is(err, ErrNoSite) {
		nothingHere(w, r)
		return
	}
	var firings []wire.SentFiring
	if err == nil {
		firings, err = s.Shown.Firings(r.Context(), one.ID, one.Life, listedFirings+1)
	}
	if err != nil {
		s.trouble(w, r, err)
		return
	}
	d := pages.CollectorStudioPage{Frame: s.frame(r, "studios"), More: len(firings) > listedFirings,
		Own: s.Mirror != nil}
	d.Studio = s.studioOf(one, d.Speak)
	for _, f := range firings[:min(len(firings), listedFirings)] {
		row, _ := s.firingOf(one.ID, f, d.Speak)
		d.Firings = append(d.Firings, row)
	}
	s.show(w, r, d)
}

func (s *Server) firingPage(w http.ResponseWriter, r *http.Request) {
	if !isID(r.PathValue("site")) || !isID(r.PathValue("firing")) {
		nothingHere(w, r)
		return
	}
	one, err := s.Shown.Site(r.Context(), r.PathValue("site"))
	var firings []wire.SentFiring
	if err == nil {
		firings, err = s.Shown.Firings(r.Context(), one.ID, one.Life, 0)
	}
	at := slices.IndexFunc(firings, func(f wire.SentFiring) bool { return f.ID == r.PathValue("firing") })
	if errors.Is(err, ErrNoSite) || err == nil && at < 0 {
		nothingHere(w, r)
		return
	}
	var data []byte
	if err == nil {
		data, err = s.Shown.Curve(r.Context(), one.ID, one.Life, firings[at].ID)
	}
	if err != nil {
		s.trouble(w, r, err)
		return
	}
	d := pages.CollectorFiringPage{Frame: s.frame(r, "studios"), Note: firings[at].SaidNote}
	d.Studio = s.studioOf(one, d.Speak)
	d.Firing, _ = s.firingOf(one.ID, firings[at], d.Speak)
	if s.Mirror != nil {
		d.Own = "/studios/" + one.ID + "/record/firing/" + url.PathEscape(firings[at].ID)
	}
	if firings[at].Status == string(kiln.Running) {
		d.Cautions = caution.Texts(caution.StayNear, caution.VentOn, caution.KeepShut)
	}
	if len(data) > 0 {
		if lines, err := s.Draw(firings[at].Kiln, data, 600); err == nil {
			d.Curve = draw(lines, 900, 360)
		}
	}
	s.show(w, r, d)
}

// draw is a curve to be drawn: a line a channel through the highest of each step.
func draw(lines []kiln.Envelope, width, height int) pages.Drawing {
	end, top := time.Duration(0), 0.0
	for _, e := range lines {
		if n := len(e.After); n > 0 {
			end = max(end, e.After[n-1])
		}
		for _, t := range e.High {
			if v := float64(t); !math.IsNaN(v) {
				top = max(top, v)
			}
		}
	}
	d := pages.Drawing{Width: width, Height: height, Says: fmt.Sprintf("%.0f °C, %.1f h", top, end.Hours())}
	if end <= 0 || top <= 0 {
		return d
	}
	for _, e := range lines {
		var b strings.Builder
		for i, a := range e.After {
			if v := float64(e.High[i]); !math.IsNaN(v) {
				fmt.Fprintf(&b, "%.1f,%.1f ", float64(width)*float64(a)/float64(end),
					float64(height)-2-float64(height-6)*max(v, 0)/top)
			}
		}
		d.Lines = append(d.Lines, strings.TrimSpace(b.String()))
	}
	return d
}

func (s *Server) show(w http.ResponseWriter, r *http.Request, p pages.Page) {
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	if err := s.pages.ShowCollector(w, p); err != nil {
		slog.ErrorContext(r.Context(), "a page was not shown", "path", r.URL.Path, "err", err)
	}
}

// trouble is a page in place of one that cannot be shown.
func (s *Server) trouble(w http.ResponseWriter, r *http.Request, err error) {
	slog.Error("a page cannot be shown", "path", r.URL.Path, "err", err)
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.Header().Set("Retry-After", "5")
	w.WriteHeader(http.StatusServiceUnavailable)
	s.pages.ShowCollector(w, pages.ProblemPage{Frame: s.frame(r, ""),
		Problem: pages.Problem{Title: message.New("The database does not answer"),
			Detail: message.New("Studios keep what they record and send it later. Look at the kilns themselves.")}})
}
