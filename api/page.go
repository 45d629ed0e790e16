package api

import (
	"context"
	"log/slog"
	"net/http"
	"strings"
	"time"

	"lidwright/api/caution"
	"lidwright/api/pages"
	"lidwright/api/topics"
	"lidwright/api/web"
	"lidwright/kiln"
	"lidwright/kiln/message"
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
func (page) MixingCautions() []message.Message { return caution.Texts(caution.Mixing) }
func (page) NumberCautions() []message.Message {
	return caution.Texts(caution.ShrinkVaries, caution.NotFoodSafe)
}
func (page) NoticeCautions() []message.Message { return caution.Texts(caution.Nudge) }

func (s homeRoutes) helpPage(w http.ResponseWriter, r *http.Request) error {
	p := s.page(r.Context(), "more")
	return s.render(w, "help", struct {
		page
		Topics []pages.HelpTopic
	}{p, helpTopics(p.Speak.Tongue, "")})
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
		return web.NewProblem("no-such-page", message.New("No topic of the help has this name; /help lists them."))
	}
	text, err := t.HTML()
	if err != nil {
		return err
	}
	topic := pages.HelpTopic{Name: t.Name, Title: t.Title, About: t.About}
	return s.show(w, pages.HelpTopicPage{Frame: frame, Topic: topic, Tongue: t.Tongue,
		OtherTongue: t.Tongue != frame.Speak.Tongue, HTML: pages.Drawn(text),
		Others: helpTopics(frame.Speak.Tongue, t.Name)})
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
	err := s.show(w, pages.ProblemPage{Frame: frame, Problem: *onPage(p),
		Help: message.New(web.Kinds[kind].Help)})
	if err != nil {
		slog.ErrorContext(r.Context(), "showing a problem failed", "err", err)
	}
}

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
var reductionCautions = []caution.Number{caution.StayNear, caution.VentOn, caution.COAlarm, caution.GetOut, caution.FuelKilns}

func (s homeRoutes) safetyPage(w http.ResponseWriter, r *http.Request) error {
	return s.render(w, "safety", struct {
		page
		Electric string
		Checked  string
		Cautions []caution.Caution
	}{s.page(r.Context(), "more"), caution.ElectricKilns, caution.Checked, caution.All})
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
