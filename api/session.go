package api

import (
	"context"
	"net/http"
	"net/netip"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"lidwright/api/auth"
	"lidwright/api/pages"
	"lidwright/api/web"
	"lidwright/kiln/message"
)

// From is embedded where a handler needs to know where a request came from.
type From struct {
	address netip.Addr
	secure  bool
}

// Resolve is called by huma before the handler.
func (f *From) Resolve(c huma.Context) []error {
	f.address, f.secure = auth.AddressIn(c.RemoteAddr()), c.TLS() != nil
	return nil
}

type sessionInput struct {
	From
	Body struct {
		Code string `json:"code" doc:"Bench or owner passcode; hyphens, spaces and case do not count" maxLength:"40"`
	}
}

type cookieAnswer struct {
	Status    int
	SetCookie http.Cookie `header:"Set-Cookie"`
}

func (s sessionRoutes) postSession(ctx context.Context, in *sessionInput) (*cookieAnswer, error) {
	if s.Access.Codes == nil {
		return nil, auth.CodeNeeded(message.New("This machine has no codes; everything is open."))
	}
	who, p := s.gate.Identify(ctx, in.Body.Code, in.address)
	if p != nil {
		return nil, p
	}
	c, err := s.gate.Open(ctx, who, in.secure)
	if err != nil {
		return nil, err
	}
	return &cookieAnswer{http.StatusNoContent, *c}, nil
}

type endSessionInput struct {
	From
	Cookie string `cookie:"lidwright_session"`
}

func (s sessionRoutes) deleteSession(ctx context.Context, in *endSessionInput) (*cookieAnswer, error) {
	if in.Cookie != "" {
		if err := s.gate.End(ctx, in.Cookie); err != nil {
			return nil, err
		}
	}
	return &cookieAnswer{http.StatusNoContent, *auth.EndedCookie(in.secure)}, nil
}

func (s sessionRoutes) sessionPage(w http.ResponseWriter, r *http.Request) error {
	frame := s.page(r.Context(), "more").Frame
	data := pages.PasscodePage{Frame: frame, Open: s.Access.Codes == nil, Action: "/session"}
	if who := auth.CallerOf(r.Context()).Who; who != auth.Anyone {
		data.Who = who.String()
	}
	if next := r.URL.Query().Get("next"); ourPath(next) {
		data.Fields = []pages.Hidden{{Name: "next", Value: next}}
	}
	return s.show(w, data)
}

// ourPath reports whether next leads to a page of our own.
func ourPath(next string) bool {
	u, err := url.Parse(next)
	return err == nil && u.Scheme == "" && u.Host == "" && strings.HasPrefix(next, "/") &&
		!strings.HasPrefix(next, "//") && !strings.ContainsAny(next, "\\\r\n")
}

// postSessionPage opens a session for who shows a code, or ends the one that the cookie names.
func (s sessionRoutes) postSessionPage(w http.ResponseWriter, r *http.Request) error {
	form, err := web.Form(r)
	if err != nil {
		return err
	}
	if form.Get("end") != "" {
		if c, err := r.Cookie(auth.CookieName); err == nil {
			if err := s.gate.End(r.Context(), c.Value); err != nil {
				return err
			}
		}
		http.SetCookie(w, auth.EndedCookie(r.TLS != nil))
		http.Redirect(w, r, "/session", http.StatusSeeOther)
		return nil
	}
	if s.Access.Codes != nil {
		who, p := s.gate.Identify(r.Context(), form.Get("code"), auth.AddressOf(r))
		if p != nil {
			s.askCode(w, r, p)
			return nil
		}
		c, err := s.gate.Open(r.Context(), who, r.TLS != nil)
		if err != nil {
			return err
		}
		http.SetCookie(w, c)
	}
	next := form.Get("next")
	if !ourPath(next) {
		next = "/"
	}
	http.Redirect(w, r, next, http.StatusSeeOther)
	return nil
}

const mostFields = 64 // of a form that waits for a code

// askCode shows why a page was refused and takes the code. What a form had in it goes along,
// so that nothing is typed twice.
func (s sessionRoutes) askCode(w http.ResponseWriter, r *http.Request, p *web.Problem) {
	data := pages.PasscodePage{Frame: s.page(r.Context(), "").Frame, Problem: onPage(p), Action: "/session"}
	switch {
	case r.Method == http.MethodGet:
		data.Fields = []pages.Hidden{{Name: "next", Value: r.URL.RequestURI()}}
	case routeOf(r).class.takes == aFile: // a file stays where it was chosen
		data.Fields = []pages.Hidden{{Name: "next", Value: r.URL.EscapedPath()}}
	case r.URL.Path == "/session":
		data.Fields = []pages.Hidden{{Name: "next", Value: r.PostForm.Get("next")}}
	default:
		data.Action = r.URL.EscapedPath()
		for name, values := range r.PostForm {
			for _, v := range values {
				if name != "code" && name != "token" && len(data.Fields) < mostFields {
					data.Fields = append(data.Fields, pages.Hidden{Name: name, Value: v})
				}
			}
		}
		slices.SortFunc(data.Fields, func(a, b pages.Hidden) int { return strings.Compare(a.Name, b.Name) })
	}
	for k, v := range p.Header {
		w.Header()[k] = v
	}
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.Header().Set("Cache-Control", "no-store")
	w.WriteHeader(p.Status)
	s.show(w, data)
}

// peoplePage is who may write, and whose marks the record has.
func (s studioRoutes) peoplePage(w http.ResponseWriter, r *http.Request) error {
	d := pages.PeoplePage{Frame: s.page(r.Context(), "more").Frame, Open: s.Access.Codes == nil,
		ReadingOpen: s.Access.ReadingOpen}
	if who := auth.CallerOf(r.Context()).Who; who != auth.Anyone {
		d.Who = who.String()
	}
	makers, err := s.Archive.Makers(r.Context())
	if err != nil {
		return err
	}
	for _, m := range makers {
		d.Makers = append(d.Makers, pages.MakerRow{Mark: m.Mark, Entries: m.Entries,
			Last: m.Last.In(s.Site.Zone).Format(time.RFC3339)})
	}
	older, _, err := s.Copies.WithForgotten(r.Context())
	if err != nil {
		return err
	}
	q := r.URL.Query()
	if rows, err := strconv.Atoi(q.Get("gone")); err == nil || len(older) > 0 {
		d.Gone = &pages.Gone{Rows: rows, Copies: len(older), NoCopy: q.Get("copied") == "no"}
	}
	return s.show(w, d)
}

// postForget takes a maker's mark out of the record.
func (s studioRoutes) postForget(w http.ResponseWriter, r *http.Request) error {
	form, err := web.Form(r)
	if err != nil {
		return err
	}
	gone, err := s.forget(r.Context(), form.Get("mark"))
	if err != nil {
		return err
	}
	q := url.Values{"gone": {strconv.Itoa(gone.Rows)}}
	if gone.Why != "" {
		q.Set("copied", "no")
	}
	http.Redirect(w, r, "/people?"+q.Encode()+"#makers", http.StatusSeeOther)
	return nil
}

// postRenew takes the marks of forgotten makers out of the copies of before.
func (s studioRoutes) postRenew(w http.ResponseWriter, r *http.Request) error {
	if _, err := s.renewCopies(r.Context(), nil); err != nil {
		return err
	}
	http.Redirect(w, r, "/people#makers", http.StatusSeeOther)
	return nil
}
