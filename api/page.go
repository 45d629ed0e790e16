package api

import (
	"context"
	"log/slog"
	"math"
	"net/http"
	"strings"
	"time"

	"lidwright/api/caution"
	"lidwright/api/chart"
	"lidwright/api/pages"
	"lidwright/api/topics"
	"lidwright/api/web"
	"lidwright/kiln"
	"lidwright/kiln/message"
	"lidwright/tiles/lid"
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
		speak = pages.Speak{Tongue: "en", Unit: string(s.Unit()), Fahrenheit: s.Site.Fahrenheit}
	}
	now := s.Now()
	frame := pages.Frame{Unrecorded: s.unrecorded(), Site: s.Site.Name, Here: here,
		Standing: caution.StandingLine, Version: s.Site.Version, Speak: speak, Invented: s.Site.Practice}
	if s.Recorder != nil {
		for _, l := range s.Recorder.Live() {
			if u := s.Kilns().Stopped(l.Undoable); u != nil {
				frame.Undo = append(frame.Undo, pages.Undoable{Kiln: string(l.Kiln), Stopped: *u})
			}
		}
	}
	if now.Trusted {
		frame.Now = now.Wall
	}
	return page{Frame: frame, Today: now.Wall, ClockUnset: !now.Trusted, ID: s.MakeID()}
}

// hotAlone is from where on a kiln that heats with no firing open is not about to begin one, °C (own).
const hotAlone = 120

// unrecorded are the kilns that are hot with no firing open: somebody stopped the recording, or it never
// began.
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

func (s homeRoutes) helpPage(w http.ResponseWriter, r *http.Request) error {
	frame := s.page(r.Context(), "more").Frame
	all := helpTopics(frame.Speak.Tongue, "")
	return s.show(w, pages.HelpPage{Frame: frame, Jobs: all[:topics.Jobs], Others: all[topics.Jobs:],
		Picture: pages.Drawn(helpPicture(s.localeOf(r.Context()), "sizing"))})
}

// helpTopics names the topics of the help but one.
func helpTopics(tongue, but string) (all []pages.HelpTopic) {
	for _, t := range topics.All(tongue) {
		if t.Name != but {
			all = append(all, pages.HelpTopic{Name: t.Name, Title: t.Title, About: t.About})
		}
	}
	return all
}

func (s homeRoutes) helpTopicPage(w http.ResponseWriter, r *http.Request) error {
	frame := s.page(r.Context(), "more").Frame
	t, ok := topics.Find(r.PathValue("topic"), frame.Speak.Tongue)
	if !ok {
		return web.NewProblem("no-such-page",
			message.New("No topic of the help has this name; /help lists them."))
	}
	text, err := t.HTML(func(name string) string { return helpPicture(s.localeOf(r.Context()), name) })
	if err != nil {
		return err
	}
	topic := pages.HelpTopic{Name: t.Name, Title: t.Title, About: t.About}
	return s.show(w, pages.HelpTopicPage{Frame: frame, Topic: topic, Tongue: t.Tongue,
		OtherTongue: t.Tongue != frame.Speak.Tongue, HTML: pages.Drawn(text),
		Others: helpTopics(frame.Speak.Tongue, t.Name)})
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
	shown := *onPage(p)
	if name, says := p.About(); name != "" && strings.EqualFold(says.String(), p.Title.String()+".") {
		shown.Title, shown.Detail = message.New("{1}: {2}", name, says), message.Message{} // once is enough
	}
	err := s.show(w, pages.ProblemPage{Frame: frame, Problem: shown, Help: message.New(web.Kinds[kind].Help),
		List: listPage[kind]})
	if err != nil {
		slog.ErrorContext(r.Context(), "showing a problem failed", "err", err)
	}
}

// listPage are the pages that list what there is, where something is not.
var listPage = map[string]string{
	"unknown-bar": "/bars/all", "unknown-clay": "/clays", "unknown-kiln": "/kilns", "unknown-firing": "/kiln",
	"unknown-load": "/loads", "unknown-pot": "/pots", "unknown-lid-result": "/lid-results"}

func (s homeRoutes) problemTypePage(w http.ResponseWriter, r *http.Request) error {
	k, ok := web.Kinds[r.PathValue("type")]
	if !ok {
		return web.NewProblem("no-such-page", message.New("No problem has this name."))
	}
	frame := s.page(r.Context(), "more").Frame
	return s.show(w, pages.ProblemPage{Frame: frame, Problem: pages.Problem{Title: message.New(k.Title)},
		Help: message.New(k.Help)})
}

// reductionCautions are those of a firing by hand, and of one in which carbon monoxide is made on purpose.
var reductionCautions = []caution.Number{caution.StayNear, caution.VentOn, caution.COAlarm,
	caution.GetOut, caution.FuelKilns}

// reductionFolded are they on a page, and others behind them.
func reductionFolded(more ...caution.Number) []pages.Cautioned {
	seen := []caution.Number{caution.StayNear, caution.FuelKilns}
	return folded(seen, append(more, reductionCautions...), false)
}

func (s homeRoutes) safetyPage(w http.ResponseWriter, r *http.Request) error {
	data := pages.SafetyPage{Frame: s.page(r.Context(), "more").Frame, Electric: caution.ElectricKilns,
		Checked: caution.Checked}
	for _, c := range caution.All {
		if n := len(data.Places); n == 0 || data.Places[n-1].Name != c.Place {
			data.Places = append(data.Places, pages.CautionPlace{Name: c.Place})
		}
		last := &data.Places[len(data.Places)-1]
		last.All = append(last.All, numbered(c))
	}
	return s.show(w, data)
}

func numbered(c caution.Caution) pages.NumberedCaution {
	return pages.NumberedCaution{Number: int(c.Number), Text: c.Text, Source: c.Source}
}

func (s homeRoutes) morePage(w http.ResponseWriter, r *http.Request) error {
	var heard []message.Message
	for _, l := range s.Lines() {
		for _, r := range l.Heard {
			heard = append(heard, r.Says)
		}
	}
	store, trouble := s.StoreWords()
	clock := "set by the network"
	if !s.Now().Trusted {
		clock = "not set since the start; hours and heat work are right all the same"
	}
	return s.show(w, pages.MorePage{Frame: s.page(r.Context(), "more").Frame, Lines: heard, Tables: Tables(),
		Store: store, StoreTrouble: trouble, Clock: clock})
}

// helpPicture draws what a topic of the help shows, by its name there, with the drawings of the pages, in the
// reader's language and units. Its figures are made up.
func helpPicture(l pages.Locale, name string) string {
	per, unit := l.PerMM()
	switch name {
	case "sizing":
		return chart.Seat{Seat: lid.Inset, Collar: 104.5, Opening: 92.5, Lid: 102.5,
			Says: l.T("gallery {1}, ledge opening {2}, lid {3}",
				l.Length(104.5), l.Length(92.5), l.Length(102.5)),
			Texts: map[string]string{"collar": l.Length(104.5), "opening": l.Length(92.5),
				"lid": l.Length(102.5)}}.SVG()
	case "bar":
		return chart.Bar{Code: "BQ7", Apart: l.Length(100),
			Title: l.T("A bar with the code {1} and two lines {2} apart", "BQ7", l.Length(100))}.SVG()
	case "strip":
		d := chart.Strip{Width: 358, Low: per * 87.2, High: per * 87.9, Figure: l.Decimal,
			Title: l.T("Three bars at {1} to {2}", l.Length(87.4), l.Length(87.7))}
		for code, at := range map[string]float64{"BQ7": 87.4, "BQA": 87.55, "BQC": 87.7} {
			d.Dots = append(d.Dots, chart.StripDot{Name: code, At: per * at})
		}
		return d.SVG()
	case "bags":
		return chart.Ranges{Width: 358, Figure: l.Decimal, Rows: []chart.RangeRow{
			{Name: l.T("Bag {1}", "A"), At: per * 87.5, Low: per * 87.3, High: per * 87.7},
			{Name: l.T("Bag {1}", "B"), At: per * 87.6, Low: per * 87.4, High: per * 87.8},
			{Name: l.T("Bag {1}", "C"), At: per * 88.3, Low: per * 87.9, High: per * 88.7, Here: true}},
			Title: l.T("Bag {1}: {2}, bag {3}: {4}", "A", l.Length(87.5), "C", l.Length(88.3))}.SVG()
	case "results":
		return helpGaps(l, per, unit)
	case "firing":
		return helpFiring(l)
	}
	return ""
}

// helpGaps are the lids of one board on the scale of their gap.
func helpGaps(l pages.Locale, per float64, unit string) string {
	s := chart.GapScale{Width: 358, To: per * 3, Low: per * 1, High: per * 2.5, Unit: unit, Figure: l.Decimal,
		Tight: l.T("tight"), Good: l.T("good"), Loose: l.T("loose"),
		Said: l.T("predicted"), Predicted: per * 1.75}
	d := chart.GapStrip{GapScale: s, Title: l.T("Six lids: 1 tight, 4 good, 1 loose")}
	for _, gap := range []float64{0.8, 1.2, 1.5, 1.6, 2.1, 2.7} {
		d.Measured = append(d.Measured, per*gap)
	}
	return s.SVG() + d.SVG()
}

// helpFiring is a firing under way on its usual ones.
func helpFiring(l pages.Locale) string {
	const step = 10 * time.Minute
	at := func(hours float64) float64 { // °C: up to 1222 in eight hours and a half, and down again
		switch {
		case hours < 2:
			return 20 + 90*hours
		case hours < 8.5:
			return 200 + (hours-2)/6.5*1022
		}
		return 20 + 1202*math.Exp(-(hours-8.5)/4.5)
	}
	band, now := kiln.Envelope{Step: step}, kiln.Envelope{Step: step}
	for i := range 120 {
		age := time.Duration(i) * step
		t := at(age.Hours())
		band.Put(age, kiln.Celsius(t*0.97))
		band.Put(age, kiln.Celsius(t*1.02))
		if age < 6*time.Hour {
			now.Put(age, kiln.Celsius(t*1.01))
		}
	}
	d := chart.Today{Width: 358, Height: 170, Now: now, Usual: []kiln.Envelope{band},
		UsualSays: l.T("usual of {1}", 4), Peak: 1222, PeakAfter: 8*time.Hour + 30*time.Minute,
		Cones: []string{"022", "016", "010", "04", "1", "4", "6", "7"}, Reached: 3, Passed: "010",
		ConeSays: l.T("cone")}
	about := l.Hour(time.Date(2026, 11, 30, 2, 5, 0, 0, time.UTC))
	d.PeakSays = [2]string{l.Heat(1222.0), l.T("about {1}", about)}
	d.Title = l.T("Curve so far: {1} after {2} h", l.Heat(at(6)), l.Decimal(6, 1)) + ". " +
		l.T("Usual peak: {1} about {2}", d.PeakSays[0], l.T("two in the morning"))
	return d.SVG()
}
