package api

import (
	"context"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"time"

	"golang.org/x/text/language"

	"lidwright/api/pages"
	"lidwright/api/web"
	"lidwright/kiln/message"
	"lidwright/tiles"
)

// How the pages speak to a person is kept by the person's own browser. Nothing of it changes what
// is kept here or what the API answers.
const (
	speakCookie = "lidwright_speak" // as de.32nds.12.f
	speakLasts  = 400 * 24 * time.Hour
)

var tongues = func() language.Matcher {
	var tags []language.Tag
	for _, t := range pages.Tongues {
		tags = append(tags, language.MustParse(t.Tag))
	}
	return language.NewMatcher(tags)
}()

// SiteReader reads messages in the language of a site, which is a tag as in its settings, English where we
// do not speak it, in its units and on its clock.
func SiteReader(tag, unit string, twelve, fahrenheit bool) (message.Reader, error) {
	_, at, _ := tongues.Match(language.Make(tag))
	return pages.Reader(pages.Speak{Tongue: pages.Tongues[at].Tag, Unit: unit, Twelve: twelve,
		Fahrenheit: fahrenheit})
}

// usualSpeak is how we speak to who has not said: in the language that the browser asks for, else in
// that of the studio, with the studio's units and clock; a browser of the United States is shown inches, °F
// and twelve hours where the studio itself works in millimetres and °C, which is as the settings come.
func (s *Server) usualSpeak(r *http.Request) pages.Speak {
	var asked []language.Tag // none where it is unreadable, or longer than any browser's
	if accept := r.Header.Get("Accept-Language"); len(accept) < 256 {
		asked, _, _ = language.ParseAcceptLanguage(accept)
	}
	_, at, how := tongues.Match(asked...)
	if how == language.No {
		_, at, _ = tongues.Match(language.Make(s.Site.Language))
	}
	p := pages.Speak{Tongue: pages.Tongues[at].Tag, Unit: string(s.Unit()), Twelve: s.Site.Clock == 12,
		Fahrenheit: s.Site.Fahrenheit}
	if how != language.No && len(asked) > 0 && s.Unit() == tiles.MM && !s.Site.Fahrenheit {
		if region, sure := asked[0].Region(); sure == language.Exact && region.String() == "US" {
			p.Unit, p.Fahrenheit, p.Twelve = string(tiles.Inch), true, true
		}
	}
	return p
}

// speakOf reads how a person wants to be spoken to. What is not known is as usual.
func (s *Server) speakOf(r *http.Request) pages.Speak {
	p := s.usualSpeak(r)
	c, err := r.Cookie(speakCookie)
	if err != nil {
		return p
	}
	part := strings.Split(c.Value, ".")
	return spoken(p, nth(part, 0), nth(part, 1), nth(part, 2), nth(part, 3))
}

func spoken(p pages.Speak, tongue, unit, clock, degree string) pages.Speak {
	for _, t := range pages.Tongues {
		if t.Tag == tongue {
			p.Tongue = tongue
		}
	}
	if slices.Contains(tiles.LengthUnits(), tiles.LengthUnit(unit)) {
		p.Unit = unit
	}
	if clock == "12" || clock == "24" {
		p.Twelve = clock == "12"
	}
	if degree == "c" || degree == "f" {
		p.Fahrenheit = degree == "f"
	}
	return p
}

func nth(v []string, n int) string {
	if n < len(v) {
		return v[n]
	}
	return ""
}

type speakKey struct{}

// spoken tells the pages whom they speak to, and keepers of copies that it depends on it.
func (s *Server) spoken(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if _, asset := s.pages.Asset(strings.TrimPrefix(r.URL.Path, "/")); !asset && !web.IsAPI(r.URL.Path) {
			w.Header().Add("Vary", "Accept-Language, Cookie")
			r = r.WithContext(context.WithValue(r.Context(), speakKey{}, s.speakOf(r)))
		}
		next.ServeHTTP(w, r)
	})
}

// unitOf is the unit in which a person is shown lengths, and in which bare ones are read from the
// pages' forms.
func (s *Server) unitOf(ctx context.Context) tiles.LengthUnit {
	if p, ok := ctx.Value(speakKey{}).(pages.Speak); ok {
		return tiles.LengthUnit(p.Unit)
	}
	return s.Unit()
}

// fieldUnit is the unit of the bare lengths in a question that a page shows again: what it says
// itself, else the studio's, as over the API; that of the person where nothing was asked yet.
func (s *Server) fieldUnit(ctx context.Context, q url.Values) tiles.LengthUnit {
	switch u := tiles.LengthUnit(q.Get("unit")); {
	case slices.Contains(tiles.LengthUnits(), u):
		return u
	case len(q) > 0:
		return s.Unit()
	}
	return s.unitOf(ctx)
}

// formReader reads a form of a page, whose bare lengths are in the unit that it was made with.
func (s *Server) formReader(ctx context.Context, form url.Values) *reader {
	unit, err := tiles.ParseLengthUnit("unit", form.Get("unit"), s.unitOf(ctx))
	rd := newReader(form, unit)
	if err != nil {
		rd.refuse(err)
	}
	return rd
}

func (s sessionRoutes) speakPage(w http.ResponseWriter, r *http.Request) error {
	data := pages.LanguagePage{Frame: s.page(r.Context(), "more").Frame, Next: r.URL.Query().Get("next")}
	for _, u := range tiles.LengthUnits() {
		data.Units = append(data.Units, string(u))
	}
	return s.show(w, data)
}

func (s sessionRoutes) postSpeak(w http.ResponseWriter, r *http.Request) error {
	form, err := web.Form(r)
	if err != nil {
		return err
	}
	p := spoken(s.speakOf(r), form.Get("language"), form.Get("unit"), form.Get("clock"), form.Get("degree"))
	clock := map[bool]string{false: "24", true: "12"}[p.Twelve]
	degree := map[bool]string{false: "c", true: "f"}[p.Fahrenheit]
	http.SetCookie(w, &http.Cookie{Name: speakCookie,
		Value: p.Tongue + "." + p.Unit + "." + clock + "." + degree, Path: "/",
		MaxAge: int(speakLasts / time.Second), HttpOnly: true, SameSite: http.SameSiteLaxMode,
		Secure: r.TLS != nil})
	next := form.Get("next")
	if !ourPath(next) {
		next = "/speak"
	}
	http.Redirect(w, r, next, http.StatusSeeOther)
	return nil
}
