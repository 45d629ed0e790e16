package api

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"maps"
	"net/http"
	"net/url"
	"slices"
	"strings"

	"lidwright/api/auth"
	"lidwright/api/pages"
	"lidwright/api/web"
	"lidwright/api/wire"
	"lidwright/kiln/message"
	"lidwright/tiles"
)

// onPage is a problem as a page shows it.
func onPage(p *web.Problem) *pages.Problem {
	shown := &pages.Problem{Title: p.Title, Detail: p.Detail}
	if name, says := p.About(); name != "" {
		shown.Detail = message.New("{1}: {2}", name, says)
	}
	for _, f := range p.Fields {
		shown.Fields = append(shown.Fields, pages.FieldProblem(f))
	}
	return shown
}

// heldAnswer is an answer that is looked at before it is sent.
type heldAnswer struct {
	header http.Header
	status int
	body   bytes.Buffer
}

func (h *heldAnswer) Header() http.Header { return h.header }

func (h *heldAnswer) WriteHeader(status int) {
	if h.status == 0 {
		h.status = status
	}
}

func (h *heldAnswer) Write(b []byte) (int, error) {
	h.WriteHeader(http.StatusOK)
	return h.body.Write(b)
}

// refusedForms answers a form of a page, and sees to it that one that is refused comes back as it was typed,
// with what is wrong beside its fields: the page that it came from is shown again where the form shows none
// itself.
func (s *Server) refusedForms(w http.ResponseWriter, r *http.Request,
	f func(http.ResponseWriter, *http.Request) error) error {
	if r.Method != http.MethodPost || !strings.HasPrefix(r.Header.Get("Content-Type"),
		"application/x-www-form-urlencoded") {
		return f(w, r)
	}
	h, held := &heldAnswer{header: http.Header{}}, false
	ctx := context.WithValue(r.Context(), refusedKey{}, new(*web.Problem))
	ctx = context.WithValue(ctx, turnKey{}, &held)
	r = r.WithContext(ctx)
	err := func() error {
		defer func() {
			if held {
				s.turn.Unlock()
			}
		}()
		return f(h, r)
	}()
	if c := (*stale)(nil); errors.As(err, &c) {
		if ok, err := askBoth(s, w, r, c); ok || err != nil {
			return err
		}
	}
	p := *ctx.Value(refusedKey{}).(**web.Problem) // of a form that the page shows again itself
	if err != nil {
		p = s.troubles.Problem(ctx, err)
	}
	if p != nil && len(p.Fields) == 0 {
		// it is told by the field that names it
		if thing, ok := strings.CutPrefix(p.Type, "/problems/unknown-"); ok {
			named := *p
			named.Fields, p = []wire.Field{{Name: thing, Says: p.Title}}, &named
		}
	}
	page := h.body.Bytes()
	if err != nil && formFault(p) {
		page, _ = s.cameFrom(r, "")
	}
	if p != nil && formFault(p) && page != nil {
		if out, ok := s.pages.Refused(page, r.URL.EscapedPath(), r.PostForm, *onPage(p),
			s.page(ctx, "").Speak); ok {
			w.Header().Set("Content-Type", "text/html; charset=utf-8")
			w.WriteHeader(p.Status)
			_, err := w.Write(out)
			return err
		}
	}
	if err != nil {
		return err
	}
	maps.Copy(w.Header(), h.header)
	if h.status != 0 {
		w.WriteHeader(h.status)
	}
	_, err = w.Write(h.body.Bytes())
	return err
}

// formFault says that whoever filled a form in can mend it.
func formFault(p *web.Problem) bool {
	return slices.Contains([]int{http.StatusBadRequest, http.StatusNotFound, http.StatusConflict,
		http.StatusPreconditionFailed, http.StatusUnprocessableEntity}, p.Status)
}

type refusedKey struct{}

// refused is what is wrong with a form that its page shows again.
func (s *Server) refused(ctx context.Context, err error) *web.Problem {
	p := s.troubles.Problem(ctx, err)
	if at, ok := ctx.Value(refusedKey{}).(**web.Problem); ok {
		*at = p
	}
	return p
}

// cameFrom is the page that a form was sent from, or else the one at usual, as whoever sent it may see it,
// and its address; nil where it is none of ours.
func (s *Server) cameFrom(r *http.Request, usual string) (page []byte, at string) {
	from, err := url.Parse(r.Referer())
	if err != nil || from.Host != r.Host || !ourPath(from.Path) {
		if from, err = url.Parse(usual); err != nil || usual == "" {
			return nil, ""
		}
	}
	get := r.Clone(r.Context())
	get.Method, get.Body, get.Form, get.PostForm, get.ContentLength = http.MethodGet, http.NoBody, nil, nil, 0
	get.URL = &url.URL{Path: from.Path, RawPath: from.RawPath, RawQuery: from.RawQuery}
	get.RequestURI = get.URL.RequestURI()
	e := s.routeAt(get)
	if e.class.traffic != webPage.traffic ||
		s.Access.Codes != nil && e.needed(s.Access.ReadingOpen) > auth.CallerOf(r.Context()).Who {
		return nil, ""
	}
	h := &heldAnswer{header: http.Header{}}
	s.mux.ServeHTTP(h, get.WithContext(context.WithValue(get.Context(), routeKey{}, e)))
	if h.status != http.StatusOK {
		return nil, ""
	}
	return h.body.Bytes(), get.RequestURI
}

// A form that changes what is kept carries, in its field revision, the mark of what it showed when it was
// made. Where that stands otherwise by now nothing is kept: the page comes back with both values, and
// whoever sent the form says which of them holds.

// markOf is a short mark of some values: the same values have the same mark. It is of the values and not of a
// count of changes, so that who changed something else about the thing is in nobody's way.
func markOf(values ...any) string {
	sum := sha256.New()
	for _, v := range values {
		fmt.Fprintf(sum, "%q\x00", fmt.Sprint(v))
	}
	return hex.EncodeToString(sum.Sum(nil))[:12]
}

// stale is what a form is refused with where what it changes stands otherwise by now.
type stale struct {
	mark string       // of how it stands now
	both []pages.Both // what stands there and what was sent; none: read off the fields of the form
	send url.Values   // fields that are sent otherwise, once the answer is to keep what was typed
	page string       // where the form is, should nobody say which page it came from
}

func (*stale) Error() string { return tiles.ErrChanged.Error() }
func (*stale) Unwrap() error { return tiles.ErrChanged }

type turnKey struct{}

// takeTurn has no other form change anything until the one of this request is answered.
func takeTurn(s *Server, ctx context.Context) {
	if held, ok := ctx.Value(turnKey{}).(*bool); ok && !*held {
		s.turn.Lock()
		*held = true
	}
}

// unchanged refuses a form that was made when what it changes stood otherwise; now tells how it stands. No
// other form changes anything until this one is answered. A form that carries no mark asks nothing.
func unchanged(s *Server, ctx context.Context, form url.Values, now func() (stale, error)) error {
	takeTurn(s, ctx)
	seen := form.Get("revision")
	if seen == "" {
		return nil
	}
	c, err := now()
	if err != nil || c.mark == seen {
		return err
	}
	return &c
}

// askBoth shows the page of a form that was refused because somebody else changed what it changes, with both
// values; it is not ok where there is no such page.
func askBoth(s *Server, w http.ResponseWriter, r *http.Request, c *stale) (ok bool, err error) {
	page, at := s.cameFrom(r, c.page)
	if page == nil {
		return false, nil
	}
	send := maps.Clone(r.PostForm)
	maps.Copy(send, c.send)
	send.Set("revision", c.mark)
	out, ok := s.pages.Stale(page, r.URL.EscapedPath(), pages.StaleForm{Sent: r.PostForm, Send: send,
		Both: c.both, Page: at}, s.page(r.Context(), "").Speak)
	if !ok {
		return false, nil
	}
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.WriteHeader(http.StatusPreconditionFailed)
	_, err = w.Write(out)
	return true, err
}
