package collectorpages

import (
	"crypto/rand"
	"encoding/base64"
	"log/slog"
	"net/http"
	"strings"
	"time"

	"lidwright/api/caution"
	"lidwright/api/pages"
	"lidwright/kiln/message"
)

const (
	cookieName  = "lidwright_collect_session"
	ownerLasts  = 2 * time.Hour
	mostForm    = 4 << 10
	cookieSigns = 22
)

// frame is what every page has.
func (s *Server) frame(r *http.Request, here string) pages.Frame {
	tongue := s.Tongue
	for _, part := range strings.Split(r.Header.Get("Accept-Language"), ",") {
		tag, _, _ := strings.Cut(strings.TrimSpace(part), ";")
		base, _, _ := strings.Cut(tag, "-")
		known := false
		for _, t := range pages.Tongues {
			if t.Tag == base {
				tongue, known = base, true
			}
		}
		if known {
			break
		}
	}
	return pages.Frame{Site: s.Name, Here: here, Standing: caution.StandingLine, Version: s.Version,
		Speak: pages.Speak{Tongue: tongue, Unit: "mm"}}
}

// owners lets in who showed the owner's passcode: a browser by its session, a program as Authorization:
// Bearer.
func (s *Server) owners(next http.HandlerFunc) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		if s.Owner == nil {
			next(w, r)
			return
		}
		if code, is := strings.CutPrefix(r.Header.Get("Authorization"), "Bearer "); is {
			if fits, status, says := s.guess(r, code); !fits {
				http.Error(w, says.String(), status)
				return
			}
			next(w, r)
			return
		}
		in, err := s.session(r)
		if err != nil {
			s.trouble(w, r, err)
			return
		}
		if !in {
			s.askPasscode(w, r, http.StatusUnauthorized,
				&pages.Problem{Title: message.New("A passcode is needed"),
					Detail: message.New("This needs the owner passcode.")}, r.URL.Path)
			return
		}
		next(w, r)
	}
}

// session reports whether a browser was let in, and lets it in for another while.
func (s *Server) session(r *http.Request) (bool, error) {
	c, err := r.Cookie(cookieName)
	if err != nil || len(c.Value) != cookieSigns {
		return false, nil
	}
	mark, err := s.Shown.Session(r.Context(), c.Value)
	if err != nil || mark == "" {
		return false, err
	}
	now, err := s.OwnerMark()
	if err != nil || now != mark {
		return false, err
	}
	return true, s.Shown.KeepSession(r.Context(), c.Value, mark, ownerLasts)
}

// guess looks at a passcode, unless too many wrong ones came from there.
func (s *Server) guess(r *http.Request, code string) (fits bool, status int, says message.Message) {
	from, now := "page "+fromOf(r), s.Now()
	if !s.guesses.may(from, now) {
		return false, http.StatusTooManyRequests, message.New("Too many wrong codes came from this address.")
	}
	fits, _, err := s.Owner(code)
	if err != nil {
		slog.Error("the owner's passcode cannot be looked at", "err", err)
		return false, http.StatusServiceUnavailable,
			message.New("The code file cannot be read. Whoever looks after the machine makes it anew with: lidwright code new owner.")
	}
	if !fits {
		s.guesses.wrong(from, now)
		return false, http.StatusUnauthorized, message.New("That code is not right.")
	}
	return true, http.StatusOK, message.Message{}
}

func (s *Server) askPasscode(w http.ResponseWriter, r *http.Request, status int,
	p *pages.Problem, next string) {
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.WriteHeader(status)
	s.pages.ShowCollector(w, pages.PasscodePage{Frame: s.frame(r, ""), Problem: p, Action: "/passcode",
		Fields: []pages.Hidden{{Name: "next", Value: next}}})
}

func (s *Server) passcodePage(w http.ResponseWriter, r *http.Request) {
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	s.pages.ShowCollector(w, pages.PasscodePage{Frame: s.frame(r, ""),
		Open: s.Owner == nil, Action: "/passcode"})
}

func (s *Server) postPasscode(w http.ResponseWriter, r *http.Request) {
	r.Body = http.MaxBytesReader(w, r.Body, mostForm)
	if site := r.Header.Get("Sec-Fetch-Site"); site != "" && site != "same-origin" && site != "none" {
		http.Error(w, "This form was not made by this collector.", http.StatusForbidden)
		return
	}
	if err := r.ParseForm(); err != nil {
		http.Error(w, "The form cannot be read.", http.StatusBadRequest)
		return
	}
	next := r.PostForm.Get("next")
	if !strings.HasPrefix(next, "/") || strings.HasPrefix(next, "//") || strings.ContainsAny(next, "\\\r\n") {
		next = "/"
	}
	if s.Owner == nil {
		http.Redirect(w, r, next, http.StatusSeeOther)
		return
	}
	fits, status, says := s.guess(r, r.PostForm.Get("code"))
	if !fits {
		s.askPasscode(w, r, status, &pages.Problem{Title: message.New("A passcode is needed"), Detail: says},
			next)
		return
	}
	mark, err := s.OwnerMark()
	random := make([]byte, 16)
	rand.Read(random)
	c := &http.Cookie{Name: cookieName, Value: base64.RawURLEncoding.EncodeToString(random), Path: "/",
		HttpOnly: true, SameSite: http.SameSiteStrictMode, Secure: r.TLS != nil}
	if err == nil {
		err = s.Shown.KeepSession(r.Context(), c.Value, mark, ownerLasts)
	}
	if err != nil {
		s.trouble(w, r, err)
		return
	}
	http.SetCookie(w, c)
	http.Redirect(w, r, next, http.StatusSeeOther)
}
