package auth

import (
	"bytes"
	"context"
	"crypto/rand"
	"crypto/sha256"
	"encoding/base64"
	"log/slog"
	"net/http"
	"regexp"
	"strings"
	"time"

	"lidwright/api/web"
	"lidwright/kiln"
)

// A phone types the code once and then shows a cookie. Sessions are written down under the hash of the cookie
// and last over restarts: one of the bench half a year, one of the owner until two hours after its last use,
// which memory knows to the second and the store to a quarter of an hour.
const (
	CookieName = "lidwright_session"
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

// Session finds whose a cookie is; Anyone if it is nobody's, or over, or of a code that was renewed.
func (g *Gate) Session(ctx context.Context, cookie string) (Who, error) {
	if len(cookie) != 22 {
		return Anyone, nil
	}
	hashes, err := g.codes()
	if err != nil {
		return Anyone, err
	}
	key, now := sessionKey(cookie), g.Now()
	ownerMark := hashes[Owner].mark()
	g.mu.Lock()
	o, ok := g.owners[string(key)]
	over := ok && (o.mark != ownerMark || now.Since-o.used > ownerLasts)
	g.mu.Unlock()
	switch {
	case over:
		return Anyone, g.End(ctx, cookie)
	case ok:
		g.useOwner(ctx, key, o, now)
		return Owner, nil
	}
	mark, until, err := g.Sessions.Session(ctx, key)
	switch {
	case err != nil:
		return Anyone, err
	case mark == "" || now.Wall.After(until):
		return Anyone, nil
	case mark == hashes[Bench].mark():
		return Bench, nil
	case mark != ownerMark || until.Sub(now.Wall) > ownerLasts+24*time.Hour:
		// so far behind the clock tells nothing
		return Anyone, nil
	}
	left := min(until.Sub(now.Wall), ownerLasts) // it was opened before the last start
	g.useOwner(ctx, key, ownerSession{mark: mark, kept: now.Since - (ownerLasts - left)}, now)
	return Owner, nil
}

// useOwner has a session of the owner begin its two hours anew.
func (g *Gate) useOwner(ctx context.Context, key []byte, o ownerSession, now kiln.Stamp) {
	write := now.Since-o.kept > ownerKept
	if o.used = now.Since; write {
		o.kept = now.Since
	}
	g.mu.Lock()
	if _, ok := g.owners[string(key)]; !ok && len(g.owners) >= mostOwners {
		oldest := ""
		for k, one := range g.owners {
			if oldest == "" || one.used < g.owners[oldest].used {
				oldest = k
			}
		}
		delete(g.owners, oldest)
	}
	g.owners[string(key)] = o
	g.mu.Unlock()
	if !write {
		return
	}
	// The owner is let in beside a disk that is full, to make room on it.
	if err := g.Sessions.KeepSession(ctx, key, o.mark, now.Wall.Add(ownerLasts)); err != nil {
		slog.WarnContext(ctx, "a session of the owner will not last over a restart", "err", err)
	}
}

// Open begins a session of who.
func (g *Gate) Open(ctx context.Context, who Who, secure bool) (*http.Cookie, error) {
	random := make([]byte, 16)
	rand.Read(random)
	c := &http.Cookie{Name: CookieName, Value: base64.RawURLEncoding.EncodeToString(random), Path: "/",
		HttpOnly: true, SameSite: http.SameSiteStrictMode, Secure: secure}
	hashes, err := g.codes()
	if err != nil {
		return nil, err
	}
	key, now := sessionKey(c.Value), g.Now()
	if who == Bench {
		c.MaxAge = int(benchLasts / time.Second)
		return c, g.Sessions.KeepSession(ctx, key, hashes[Bench].mark(), now.Wall.Add(benchLasts))
	}
	g.useOwner(ctx, key, ownerSession{mark: hashes[Owner].mark(), kept: now.Since - ownerLasts}, now)
	return c, nil
}

// End ends a session wherever it is kept.
func (g *Gate) End(ctx context.Context, cookie string) error {
	key := sessionKey(cookie)
	g.mu.Lock()
	delete(g.owners, string(key))
	g.mu.Unlock()
	return g.Sessions.EndSession(ctx, key)
}

// EndedCookie has a browser forget its session.
func EndedCookie(secure bool) *http.Cookie {
	return &http.Cookie{Name: CookieName, Path: "/", MaxAge: -1, HttpOnly: true,
		SameSite: http.SameSiteStrictMode, Secure: secure}
}

var postForm = regexp.MustCompile(`(?i)<form\b[^>]*\bmethod="?post\b[^>]*>`)

// Signed puts the token of the session into every form of a page that is sent by POST. Pages
// need not think of it; what people typed cannot make a form, since it is escaped.
func Signed(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		cookie := CallerOf(r.Context()).cookie
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
			hidden := []byte(`<input type="hidden" name="token" value="` + FormToken(cookie) + `">`)
			body = postForm.ReplaceAllFunc(body, func(form []byte) []byte {
				return bytes.Join([][]byte{form, hidden}, nil)
			})
			w.Header().Del("Content-Length")
		}
		w.WriteHeader(h.Status())
		w.Write(body)
	})
}
