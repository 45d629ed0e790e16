package api

import (
	"context"
	"crypto/hmac"
	"crypto/rand"
	"crypto/sha256"
	"encoding/base64"
	"log/slog"
	"net/http"
	"net/netip"
	"strconv"
	"strings"
	"sync"
	"time"

	"lidwright/api/web"

	"golang.org/x/time/rate"
)

// Access is who may do what. The zero value is for this machine alone: all may be read and
// written without a code.
type Access struct {
	// Codes gives what is kept of the two codes as they stand now. Nil: there are none.
	Codes         func() (bench, owner CodeHash, err error)
	ReadingOpen   bool // reading needs no code; otherwise it needs the bench code
	WritesASecond int  // from one address, with three times as many at once; 0: as many as come
}

// reads stands for what reading needs: no code or the bench's, as the settings say.
const reads Who = -1

// needed is whose code a route asks for.
func (e *entry) needed(readingOpen bool) Who {
	switch {
	case e.who != reads:
		return e.who
	case readingOpen:
		return Anyone
	}
	return Bench
}

// door knows who comes in.
type door struct {
	s        *Server
	guesses  ration        // wrong codes from one address
	allTries *rate.Limiter // from everywhere but where a code was right before
	turns    ration        // guesses beyond their ration, from where one was
	writes   ration
	secret   [32]byte   // of this running of the daemon
	slow     sync.Mutex // one hash at a time: guessing must not take the machine

	mu        sync.Mutex // guards the fields below
	right     map[Who]rightCode
	owners    map[string]ownerSession // by the hash of the cookie
	addresses map[string]bool         // familiar ones, by their key
}

// rightCode is a code that was worked out to be right, in a form that is cheap to compare.
type rightCode struct {
	mac  []byte
	mark string // of the hash that it fits
}

func (s *Server) newDoor() *door {
	d := &door{s: s, right: map[Who]rightCode{}, owners: map[string]ownerSession{}, addresses: map[string]bool{}}
	rand.Read(d.secret[:])
	d.guesses.each, d.guesses.burst = time.Minute/5, 5
	d.allTries = rate.NewLimiter(rate.Every(time.Minute/30), 30)
	d.turns.each, d.turns.burst = guessEach, 1
	if n := s.Access.WritesASecond; n > 0 {
		d.writes.each, d.writes.burst = time.Second/time.Duration(n), 3*n
	}
	return d
}

// codes are what is kept of the codes now, by whose they are.
func (d *door) codes() (map[Who]CodeHash, error) {
	bench, owner, err := d.s.Access.Codes()
	if err != nil {
		slog.Error("the access codes cannot be read; nobody can write until they can", "err", err)
		return nil, problem("codes-unreadable", "A code file went away or is damaged, so nobody's code can be looked at. Whoever looks after the machine makes it anew with: lidwright code new bench, or owner.")
	}
	return map[Who]CodeHash{Bench: bench, Owner: owner}, nil
}

// whose finds out whose a typed code is. Wrong ones are counted.
func (d *door) whose(ctx context.Context, typed string, from netip.Addr) (Who, *web.Problem) {
	now := d.s.Now().Since
	code := signsOf(typed)
	hashes, err := d.codes()
	if err != nil {
		return Anyone, d.s.problemFrom(ctx, err)
	}
	guess, wait := d.guesses.take(from, now)
	familiar := wait > 0 && d.familiar(ctx, from, hashes)
	switch {
	case familiar:
		if p := d.turn(ctx, from); p != nil {
			return Anyone, p
		}
	case wait > 0:
		return Anyone, tooMany("Too many wrong codes came from this address.", wait)
	}
	var who Who
	for w := range hashes {
		if len(code) == w.signs() {
			who = w
		}
	}
	if who == Anyone {
		return Anyone, codeNeeded("That code is not right.")
	}
	mac := hmac.New(sha256.New, d.secret[:])
	mac.Write([]byte(code))
	sum, mark := mac.Sum(nil), hashes[who].mark()
	d.mu.Lock()
	known := d.right[who]
	d.mu.Unlock()
	if known.mark != mark || !hmac.Equal(known.mac, sum) {
		try := d.allTries.ReserveN(onClock(now), 1)
		if wait := try.DelayFrom(onClock(now)); wait > 0 {
			try.CancelAt(onClock(now))
			if !familiar && !d.familiar(ctx, from, hashes) {
				return Anyone, tooMany("Too many wrong codes came in the last minute.", wait)
			}
			try = nil
		}
		d.slow.Lock()
		right := hashes[who].is(code)
		d.slow.Unlock()
		if !right {
			return Anyone, codeNeeded("That code is not right.")
		}
		giveBack(try, now)
		d.mu.Lock()
		d.right[who] = rightCode{sum, mark}
		d.mu.Unlock()
	}
	giveBack(guess, now)
	d.meet(ctx, from, mark)
	return who, nil
}

func codeNeeded(detail string) *web.Problem {
	p := problem("code-needed", detail)
	p.Header = http.Header{"Www-Authenticate": {"Bearer"}}
	return p
}

func tooMany(detail string, wait time.Duration) *web.Problem {
	p := problem("too-many-requests", detail)
	p.Header = http.Header{"Retry-After": {strconv.Itoa(int(wait/time.Second) + 1)}}
	return p
}

type caller struct {
	who    Who
	cookie string // of the session, "" if there is none
}

// comes finds out who asks: by bearer token, or by the session's cookie.
func (d *door) comes(r *http.Request) (caller, *web.Problem) {
	if a := r.Header.Get("Authorization"); a != "" {
		scheme, code, _ := strings.Cut(a, " ")
		if !strings.EqualFold(scheme, "Bearer") || len(r.Header["Authorization"]) > 1 {
			return caller{}, codeNeeded("Send the code as Authorization: Bearer.")
		}
		who, p := d.whose(r.Context(), code, fromOf(r))
		return caller{who: who}, p
	}
	c, err := r.Cookie(cookieName)
	if err != nil {
		return caller{}, nil
	}
	who, err := d.session(r.Context(), c.Value)
	if err != nil {
		return caller{}, d.s.problemFrom(r.Context(), err)
	}
	if who == Anyone {
		return caller{}, nil
	}
	return caller{who, c.Value}, nil
}

// kept lets in who may do what is asked, and nobody else.
func (d *door) kept(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if web.Unsafe(r.Method) {
			if _, wait := d.writes.take(fromOf(r), d.s.Now().Since); wait > 0 {
				d.refuse(w, r, tooMany("That many entries at once come from no bench.", wait))
				return
			}
		}
		if d.s.Access.Codes == nil {
			next.ServeHTTP(w, r)
			return
		}
		need := routeOf(r).needed(d.s.Access.ReadingOpen)
		c, p := d.comes(r)
		if p != nil && need != Anyone {
			d.refuse(w, r, p)
			return
		}
		if web.Unsafe(r.Method) && c.cookie != "" {
			if p := d.ownForm(r, c.cookie); p != nil {
				d.refuse(w, r, p)
				return
			}
		}
		if c.who < need && web.Unsafe(r.Method) && !web.IsAPI(r.URL.Path) { // a page's form may bring the code along
			if c, p = d.brought(w, r, c); p != nil {
				d.refuse(w, r, p)
				return
			}
		}
		switch {
		case c.who >= need:
			r = r.WithContext(context.WithValue(r.Context(), callerKey{}, c))
			next.ServeHTTP(w, r)
		case c.who == Anyone:
			d.refuse(w, r, codeNeeded("This needs the "+need.String()+" code."))
		default:
			d.refuse(w, r, problem("code-too-weak", "This needs the owner code."))
		}
	})
}

type callerKey struct{}

// callerOf is who asks, as the door found out.
func callerOf(ctx context.Context) caller {
	c, _ := ctx.Value(callerKey{}).(caller)
	return c
}

// ownForm refuses what a cookie alone does not prove: that one of our own pages asks.
func (d *door) ownForm(r *http.Request, cookie string) *web.Problem {
	if r.Header.Get("Origin") == "" && r.Header.Get("Sec-Fetch-Site") == "" {
		return problem("wrong-origin", "A session needs a browser that says where a request comes from; a tool sends Authorization: Bearer.")
	}
	if web.IsAPI(r.URL.Path) {
		return nil // a body of JSON cannot be sent by another site's form
	}
	form, err := sent(r)
	if err != nil {
		return d.s.problemFrom(r.Context(), err)
	}
	if !hmac.Equal([]byte(form.Get("token")), []byte(formToken(cookie))) {
		return problem("wrong-origin", "This form was not made for this session. Go back, reload the page and send it again.")
	}
	return nil
}

// formToken is what the forms of a session carry.
func formToken(cookie string) string {
	m := hmac.New(sha256.New, []byte(cookie))
	m.Write([]byte("form"))
	return base64.RawURLEncoding.EncodeToString(m.Sum(nil)[:18])
}

// brought takes a code that was typed beside a form's own fields, and opens a session with it.
func (d *door) brought(w http.ResponseWriter, r *http.Request, c caller) (caller, *web.Problem) {
	form, err := sent(r)
	if err != nil {
		return c, d.s.problemFrom(r.Context(), err)
	}
	code := form.Get("code")
	form.Del("code")
	r.Form.Del("code")
	if code == "" {
		return c, nil
	}
	who, p := d.whose(r.Context(), code, fromOf(r))
	if p != nil {
		return c, p
	}
	cookie, err := d.open(r.Context(), who, r.TLS != nil)
	if err != nil {
		return c, d.s.problemFrom(r.Context(), err)
	}
	http.SetCookie(w, cookie)
	return caller{who, cookie.Value}, nil
}

// refuse says no: to a tool as a problem, to a person with a place to type the code.
func (d *door) refuse(w http.ResponseWriter, r *http.Request, p *web.Problem) {
	switch {
	case web.IsAPI(r.URL.Path) || r.URL.Path == "/metrics":
		web.WriteProblem(w, r, p)
	case p.Status == http.StatusUnauthorized || p.Status == http.StatusForbidden && strings.HasSuffix(p.Type, "code-too-weak"):
		sessionRoutes{d.s}.askCode(w, r, p)
	default:
		d.s.problemPage(w, r, p)
	}
}
