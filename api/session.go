package api

import (
	"bytes"
	"context"
	"crypto/rand"
	"crypto/sha256"
	"encoding/base64"
	"log/slog"
	"net/http"
	"net/netip"
	"net/url"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"lidwright/api/pages"
	"lidwright/api/web"
	"lidwright/kiln"
)

// A phone types the code once and then shows a cookie. Sessions are written down under the hash of the cookie and
// last over restarts: one of the bench half a year, one of the owner until two hours after its last use,
// which memory knows to the second and the store to a quarter of an hour.
const (
	cookieName = "lidwright_session"
	benchLasts = 180 * 24 * time.Hour
	ownerLasts = 2 * time.Hour
	ownerKept  = 15 * time.Minute // how old the last use may be in the store
	mostOwners = 100              // sessions of the owner in memory at once
)

type ownerSession struct {
	mark string // of the code's hash
	used time.Duration
	kept time.Duration // the use that the store knows of
}

func sessionKey(cookie string) []byte {
	sum := sha256.Sum256([]byte(cookie))
	return sum[:]
}

// session finds whose a cookie is; Anyone if it is nobody's, or over, or of a code that was renewed.
func (d *door) session(ctx context.Context, cookie string) (Who, error) {
	if len(cookie) != 22 {
		return Anyone, nil
	}
	hashes, err := d.codes()
	if err != nil {
		return Anyone, err
	}
	key, now := sessionKey(cookie), d.s.Now()
	ownerMark := hashes[Owner].mark()
	d.mu.Lock()
	o, ok := d.owners[string(key)]
	over := ok && (o.mark != ownerMark || now.Since-o.used > ownerLasts)
	d.mu.Unlock()
	switch {
	case over:
		return Anyone, d.end(ctx, cookie)
	case ok:
		d.useOwner(ctx, key, o, now)
		return Owner, nil
	}
	mark, until, err := d.s.Archive.Session(ctx, key)
	switch {
	case err != nil:
		return Anyone, err
	case mark == "" || now.Wall.After(until):
		return Anyone, nil
	case mark == hashes[Bench].mark():
		return Bench, nil
	case mark != ownerMark || until.Sub(now.Wall) > ownerLasts+24*time.Hour: // so far behind the clock tells nothing
		return Anyone, nil
	}
	left := min(until.Sub(now.Wall), ownerLasts) // it was opened before the last start
	d.useOwner(ctx, key, ownerSession{mark: mark, kept: now.Since - (ownerLasts - left)}, now)
	return Owner, nil
}

// useOwner has a session of the owner begin its two hours anew.
func (d *door) useOwner(ctx context.Context, key []byte, o ownerSession, now kiln.Stamp) {
	write := now.Since-o.kept > ownerKept
	if o.used = now.Since; write {
		o.kept = now.Since
	}
	d.mu.Lock()
	if _, ok := d.owners[string(key)]; !ok && len(d.owners) >= mostOwners {
		oldest := ""
		for k, one := range d.owners {
			if oldest == "" || one.used < d.owners[oldest].used {
				oldest = k
			}
		}
		delete(d.owners, oldest)
	}
	d.owners[string(key)] = o
	d.mu.Unlock()
	if !write {
		return
	}
	// The owner is let in beside a disk that is full, to make room on it.
	if err := d.s.Archive.KeepSession(ctx, key, o.mark, now.Wall.Add(ownerLasts)); err != nil {
		slog.WarnContext(ctx, "a session of the owner will not last over a restart", "err", err)
	}
}

// open begins a session of who.
func (d *door) open(ctx context.Context, who Who, secure bool) (*http.Cookie, error) {
	random := make([]byte, 16)
	rand.Read(random)
	c := &http.Cookie{Name: cookieName, Value: base64.RawURLEncoding.EncodeToString(random), Path: "/", HttpOnly: true, SameSite: http.SameSiteStrictMode, Secure: secure}
	hashes, err := d.codes()
	if err != nil {
		return nil, err
	}
	key, now := sessionKey(c.Value), d.s.Now()
	if who == Bench {
		c.MaxAge = int(benchLasts / time.Second)
		return c, d.s.Archive.KeepSession(ctx, key, hashes[Bench].mark(), now.Wall.Add(benchLasts))
	}
	d.useOwner(ctx, key, ownerSession{mark: hashes[Owner].mark(), kept: now.Since - ownerLasts}, now)
	return c, nil
}

// end ends a session wherever it is kept.
func (d *door) end(ctx context.Context, cookie string) error {
	key := sessionKey(cookie)
	d.mu.Lock()
	delete(d.owners, string(key))
	d.mu.Unlock()
	return d.s.Archive.EndSession(ctx, key)
}

func endedCookie(secure bool) *http.Cookie {
	return &http.Cookie{Name: cookieName, Path: "/", MaxAge: -1, HttpOnly: true, SameSite: http.SameSiteStrictMode, Secure: secure}
}

// From is embedded where a handler needs to know where a request came from.
type From struct {
	address netip.Addr
	secure  bool
}

// Resolve is called by huma before the handler.
func (f *From) Resolve(c huma.Context) []error {
	f.address, f.secure = addrIn(c.RemoteAddr()), c.TLS() != nil
	return nil
}

type sessionInput struct {
	From
	Body struct {
		Code string `json:"code" doc:"Bench or owner code; hyphens, spaces and case do not count" maxLength:"40"`
	}
}

type cookieAnswer struct {
	Status    int
	SetCookie http.Cookie `header:"Set-Cookie"`
}

func (s sessionRoutes) postSession(ctx context.Context, in *sessionInput) (*cookieAnswer, error) {
	if s.Access.Codes == nil {
		return nil, codeNeeded("This machine has no codes; everything is open.")
	}
	who, p := s.door.whose(ctx, in.Body.Code, in.address)
	if p != nil {
		return nil, p
	}
	c, err := s.door.open(ctx, who, in.secure)
	if err != nil {
		return nil, s.problemFrom(ctx, err)
	}
	return &cookieAnswer{http.StatusNoContent, *c}, nil
}

type endSessionInput struct {
	From
	Cookie string `cookie:"lidwright_session"`
}

func (s sessionRoutes) deleteSession(ctx context.Context, in *endSessionInput) (*cookieAnswer, error) {
	if in.Cookie != "" {
		if err := s.door.end(ctx, in.Cookie); err != nil {
			return nil, s.problemFrom(ctx, err)
		}
	}
	return &cookieAnswer{http.StatusNoContent, *endedCookie(in.secure)}, nil
}

func (s sessionRoutes) sessionPage(w http.ResponseWriter, r *http.Request) error {
	frame := s.page(r.Context(), "more").Frame
	data := pages.PasscodePage{Frame: frame, Open: s.Access.Codes == nil, Action: "/session"}
	if who := callerOf(r.Context()).who; who != Anyone {
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
	return err == nil && u.Scheme == "" && u.Host == "" && strings.HasPrefix(next, "/") && !strings.HasPrefix(next, "//") && !strings.ContainsAny(next, "\\\r\n")
}

func (s sessionRoutes) postSessionPage(w http.ResponseWriter, r *http.Request) error {
	form, err := sent(r)
	if err != nil {
		return err
	}
	if form.Get("end") != "" {
		if c, err := r.Cookie(cookieName); err == nil {
			if err := s.door.end(r.Context(), c.Value); err != nil {
				return err
			}
		}
		http.SetCookie(w, endedCookie(r.TLS != nil))
		http.Redirect(w, r, "/session", http.StatusSeeOther)
		return nil
	}
	if s.Access.Codes != nil {
		who, p := s.door.whose(r.Context(), form.Get("code"), fromOf(r))
		if p != nil {
			s.askCode(w, r, p)
			return nil
		}
		c, err := s.door.open(r.Context(), who, r.TLS != nil)
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

var postForm = regexp.MustCompile(`(?i)<form\b[^>]*\bmethod="?post\b[^>]*>`)

// signed puts the token of the session into every form of a page that is sent by POST. Pages
// need not think of it; what people typed cannot make a form, since it is escaped.
func signed(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		cookie := callerOf(r.Context()).cookie
		if cookie == "" || web.IsAPI(r.URL.Path) {
			next.ServeHTTP(w, r)
			return
		}
		h := web.Hold(w)
		next.ServeHTTP(h, r)
		if h.Through() {
			return
		}
		body := h.Body()
		if strings.HasPrefix(w.Header().Get("Content-Type"), "text/html") {
			hidden := []byte(`<input type="hidden" name="token" value="` + formToken(cookie) + `">`)
			body = postForm.ReplaceAllFunc(body, func(form []byte) []byte { return bytes.Join([][]byte{form, hidden}, nil) })
			w.Header().Del("Content-Length")
		} else if len(body) > 0 && w.Header().Get("Content-Length") != "" {
			w.Header().Set("Content-Length", strconv.Itoa(len(body)))
		}
		w.WriteHeader(h.Status())
		w.Write(body)
	})
}
