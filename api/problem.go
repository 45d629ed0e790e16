package api

import (
	"bytes"
	"context"
	"lidwright/api/auth"
	"lidwright/api/pages"
	"lidwright/api/web"
	"lidwright/api/wire"
	"lidwright/kiln/message"
	"maps"
	"net/http"
	"net/url"
	"slices"
	"strings"
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
func (s *Server) refusedForms(w http.ResponseWriter, r *http.Request, f func(http.ResponseWriter, *http.Request) error) error {
	if r.Method != http.MethodPost || !strings.HasPrefix(r.Header.Get("Content-Type"),
		"application/x-www-form-urlencoded") {
		return f(w, r)
	}
	h := &heldAnswer{header: http.Header{}}
	ctx := context.WithValue(r.Context(), refusedKey{}, new(*web.Problem))
	r = r.WithContext(ctx)
	err := f(h, r)
	p := *ctx.Value(refusedKey{}).(**web.Problem) // of a form that the page shows again itself
	if err != nil {
		p = s.troubles.Problem(ctx, err)
	}
	if p != nil && len(p.Fields) == 0 {
		if thing, ok := strings.CutPrefix(p.Type, "/problems/unknown-"); ok { // it is told by the field that names it
			named := *p
			named.Fields, p = []wire.Field{{Name: thing, Says: p.Title}}, &named
		}
	}
	page := h.body.Bytes()
	if err != nil && formFault(p) {
		page = s.cameFrom(r)
	}
	if p != nil && formFault(p) && page != nil {
		if out, ok := s.pages.Refused(page, r.URL.EscapedPath(), r.PostForm, *onPage(p), s.page(ctx, "").Speak); ok {
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
	return slices.Contains([]int{http.StatusBadRequest, http.StatusNotFound, http.StatusConflict, http.StatusPreconditionFailed, http.StatusUnprocessableEntity}, p.Status)
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

// cameFrom is the page that a form was sent from, as whoever sent it may see it; nil where it is none of
// ours.
func (s *Server) cameFrom(r *http.Request) []byte {
	from, err := url.Parse(r.Referer())
	if err != nil || from.Host != r.Host || !ourPath(from.Path) {
		return nil
	}
	get := r.Clone(r.Context())
	get.Method, get.Body, get.Form, get.PostForm, get.ContentLength = http.MethodGet, http.NoBody, nil, nil, 0
	get.URL = &url.URL{Path: from.Path, RawPath: from.RawPath, RawQuery: from.RawQuery}
	get.RequestURI = get.URL.RequestURI()
	e := s.routeAt(get)
	if e.class.traffic != webPage.traffic || s.Access.Codes != nil && e.needed(s.Access.ReadingOpen) > auth.CallerOf(r.Context()).Who {
		return nil
	}
	h := &heldAnswer{header: http.Header{}}
	s.mux.ServeHTTP(h, get.WithContext(context.WithValue(get.Context(), routeKey{}, e)))
	if h.status != http.StatusOK {
		return nil
	}
	return h.body.Bytes()
}
