package auth

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
	"lidwright/kiln"
	"lidwright/kiln/message"

	"golang.org/x/time/rate"
)

// Access is who may do what. The zero value is for this machine alone: all may be read and
// written without a code.
type Access struct {
	// Codes gives what is kept of the two codes as they stand now. Nil: there are none.
	Codes         func() (bench, owner PasscodeHash, err error)
	ReadingOpen   bool // reading needs no code; otherwise it needs the bench passcode
	WritesASecond int  // from one address, with three times as many at once; 0: as many as come
}

// Sessions keeps what is known of browsers over restarts, under a key of 32 bytes.
type Sessions interface {
	// Session gives what was kept under a key; an empty mark if nothing was.
	Session(ctx context.Context, key []byte) (mark string, until time.Time, err error)
	KeepSession(ctx context.Context, key []byte, mark string, until time.Time) error
	EndSession(ctx context.Context, key []byte) error
}

// Rules are what a Gate is told of the routes behind it.
type Rules struct {
	Needs    func(*http.Request) Who                                      // whose passcode a request takes
	Refuse   func(w http.ResponseWriter, r *http.Request, p *web.Problem) // says no to whoever may not
	Troubles *web.Troubles
}

// Gate knows who comes in.
type Gate struct {
	Access
	Rules
	Sessions Sessions
	Now      func() kiln.Stamp

	guesses  rateLimit     // wrong codes from one address
	allTries *rate.Limiter // from everywhere but where a code was right before
	turns    rateLimit     // guesses beyond their rateLimit, from where one was
	writes   rateLimit
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

// NewGate is a gate that nobody has come through yet.
func NewGate(a Access, keeps Sessions, now func() kiln.Stamp, rules Rules) *Gate {
	g := &Gate{Access: a, Rules: rules, Sessions: keeps, Now: now, right: map[Who]rightCode{},
		owners: map[string]ownerSession{}, addresses: map[string]bool{}}
	rand.Read(g.secret[:])
	g.guesses.each, g.guesses.burst = time.Minute/5, 5
	g.allTries = rate.NewLimiter(rate.Every(time.Minute/30), 30)
	g.turns.each, g.turns.burst = guessEach, 1
	if n := a.WritesASecond; n > 0 {
		g.writes.each, g.writes.burst = time.Second/time.Duration(n), 3*n
	}
	return g
}

// codes are what is kept of the codes now, by whose they are.
func (g *Gate) codes() (map[Who]PasscodeHash, error) {
	bench, owner, err := g.Codes()
	if err != nil {
		slog.Error("the access codes cannot be read; nobody can write until they can", "err", err)
		return nil, web.NewProblem("codes-unreadable",
			message.New("A code file went away or is damaged, so nobody's code can be looked at. Whoever looks after the machine makes it anew with: lidwright code new bench, or owner."))
	}
	return map[Who]PasscodeHash{Bench: bench, Owner: owner}, nil
}

// Identify finds out whose a typed code is. Wrong ones are counted.
func (g *Gate) Identify(ctx context.Context, typed string, from netip.Addr) (Who, *web.Problem) {
	now := g.Now().Since
	code := normalise(typed)
	hashes, err := g.codes()
	if err != nil {
		return Anyone, g.Troubles.Problem(ctx, err)
	}
	guess, wait := g.guesses.take(from, now)
	familiar := wait > 0 && g.familiar(ctx, from, hashes)
	switch {
	case familiar:
		if p := g.turn(ctx, from); p != nil {
			return Anyone, p
		}
	case wait > 0:
		return Anyone, tooMany(message.New("Too many wrong codes came from this address."), wait)
	}
	var who Who
	for w := range hashes {
		if len(code) == w.length() {
			who = w
		}
	}
	if who == Anyone {
		return Anyone, CodeNeeded(message.New("That code is not right."))
	}
	mac := hmac.New(sha256.New, g.secret[:])
	mac.Write([]byte(code))
	sum, mark := mac.Sum(nil), hashes[who].mark()
	g.mu.Lock()
	known := g.right[who]
	g.mu.Unlock()
	if known.mark != mark || !hmac.Equal(known.mac, sum) {
		try := g.allTries.ReserveN(onClock(now), 1)
		if wait := try.DelayFrom(onClock(now)); wait > 0 {
			try.CancelAt(onClock(now))
			if !familiar && !g.familiar(ctx, from, hashes) {
				return Anyone, tooMany(message.New("Too many wrong codes came in the last minute."), wait)
			}
			try = nil
		}
		g.slow.Lock()
		right := hashes[who].is(code)
		g.slow.Unlock()
		if !right {
			return Anyone, CodeNeeded(message.New("That code is not right."))
		}
		giveBack(try, now)
		g.mu.Lock()
		g.right[who] = rightCode{sum, mark}
		g.mu.Unlock()
	}
	giveBack(guess, now)
	g.remember(ctx, from, mark)
	return who, nil
}

// CodeNeeded refuses for want of a passcode (RFC 9110, 15.5.2).
func CodeNeeded(detail message.Message) *web.Problem {
	p := web.NewProblem("code-needed", detail)
	p.Header = http.Header{"Www-Authenticate": {"Bearer"}}
	return p
}

func tooMany(detail message.Message, wait time.Duration) *web.Problem {
	p := web.NewProblem("too-many-requests", detail)
	p.Header = http.Header{"Retry-After": {strconv.Itoa(int(wait/time.Second) + 1)}}
	return p
}

// Caller is who asks.
type Caller struct {
	Who    Who
	cookie string // of the session, "" if there is none
}

// caller finds out who asks: by bearer token, or by the session's cookie.
func (g *Gate) caller(r *http.Request) (Caller, *web.Problem) {
	if a := r.Header.Get("Authorization"); a != "" {
		scheme, code, _ := strings.Cut(a, " ")
		if !strings.EqualFold(scheme, "Bearer") || len(r.Header["Authorization"]) > 1 {
			return Caller{}, CodeNeeded(message.New("Send the code as Authorization: Bearer."))
		}
		who, p := g.Identify(r.Context(), code, AddressOf(r))
		return Caller{Who: who}, p
	}
	c, err := r.Cookie(CookieName)
	if err != nil {
		return Caller{}, nil
	}
	who, err := g.Session(r.Context(), c.Value)
	if err != nil {
		return Caller{}, g.Troubles.Problem(r.Context(), err)
	}
	if who == Anyone {
		return Caller{}, nil
	}
	return Caller{who, c.Value}, nil
}

// Handler lets in who may do what is asked, and nobody else.
func (g *Gate) Handler(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if web.Unsafe(r.Method) {
			if _, wait := g.writes.take(AddressOf(r), g.Now().Since); wait > 0 {
				g.Refuse(w, r, tooMany(message.New("That many entries at once come from no bench."), wait))
				return
			}
		}
		if g.Codes == nil {
			next.ServeHTTP(w, r)
			return
		}
		need := g.Needs(r)
		c, p := g.caller(r)
		if p != nil && need != Anyone {
			g.Refuse(w, r, p)
			return
		}
		no := func(p *web.Problem) { // what it shows takes a code: that form is of this session too
			as := r.WithContext(context.WithValue(r.Context(), callerKey{}, c))
			Signed(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
				g.Refuse(w,
					r, p)
			})).ServeHTTP(w, as)
		}
		if web.Unsafe(r.Method) && c.cookie != "" {
			if p := g.ownForm(r, c.cookie); p != nil {
				g.Refuse(w, r, p)
				return
			}
		}
		// a page's form may bring the code along
		if c.Who < need && web.Unsafe(r.Method) && !web.IsAPI(r.URL.Path) {
			was := c
			if c, p = g.brought(w, r, c); p != nil {
				c = was
				no(p)
				return
			}
		}
		switch {
		case c.Who >= need:
			r = r.WithContext(context.WithValue(r.Context(), callerKey{}, c))
			next.ServeHTTP(w, r)
		case c.Who == Anyone:
			no(CodeNeeded(message.New("This needs the {1} code.", need.String())))
		default:
			no(web.NewProblem("code-too-weak", message.New("This needs the owner passcode.")))
		}
	})
}

type callerKey struct{}

// CallerOf is who asks, as the gate found out.
func CallerOf(ctx context.Context) Caller {
	c, _ := ctx.Value(callerKey{}).(Caller)
	return c
}

// ownForm refuses what a cookie alone does not prove: that one of our own pages asks.
func (g *Gate) ownForm(r *http.Request, cookie string) *web.Problem {
	if r.Header.Get("Origin") == "" && r.Header.Get("Sec-Fetch-Site") == "" {
		return web.NewProblem("wrong-origin",
			message.New("A session needs a browser that says where a request comes from; a tool sends Authorization: Bearer."))
	}
	if web.IsAPI(r.URL.Path) {
		return nil // a body of JSON cannot be sent by another site's form
	}
	form, err := web.Form(r)
	if err != nil {
		return g.Troubles.Problem(r.Context(), err)
	}
	if !hmac.Equal([]byte(form.Get("token")), []byte(FormToken(cookie))) {
		return web.NewProblem("wrong-origin",
			message.New("This form was not made for this session. Go back, reload the page and send it again."))
	}
	return nil
}

// FormToken is what the forms of a session carry.
func FormToken(cookie string) string {
	m := hmac.New(sha256.New, []byte(cookie))
	m.Write([]byte("form"))
	return base64.RawURLEncoding.EncodeToString(m.Sum(nil)[:18])
}

// brought takes a code that was typed beside a form's own fields, and opens a session with it.
func (g *Gate) brought(w http.ResponseWriter, r *http.Request, c Caller) (Caller, *web.Problem) {
	form, err := web.Form(r)
	if err != nil {
		return c, g.Troubles.Problem(r.Context(), err)
	}
	code := form.Get("code")
	form.Del("code")
	r.Form.Del("code")
	if code == "" {
		return c, nil
	}
	who, p := g.Identify(r.Context(), code, AddressOf(r))
	if p != nil {
		return c, p
	}
	cookie, err := g.Open(r.Context(), who, r.TLS != nil)
	if err != nil {
		return c, g.Troubles.Problem(r.Context(), err)
	}
	http.SetCookie(w, cookie)
	return Caller{who, cookie.Value}, nil
}
