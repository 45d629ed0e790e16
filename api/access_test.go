package api

import (
	"context"
	"crypto/pbkdf2"
	"crypto/sha256"
	"encoding/base64"
	"errors"
	"html"
	"io"
	"maps"
	"math/rand/v2"
	"net/http"
	"net/http/httptest"
	"net/netip"
	"net/url"
	"os"
	"regexp"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"lidwright/api/auth"
	"lidwright/api/usecase"
	"lidwright/api/web"
	"lidwright/kiln"
)

// phones is a studio of nobody that keeps the sessions of phones.
type phones struct {
	nobody
	mu   sync.Mutex
	kept map[string]string
	ends map[string]time.Time
}

func (p *phones) Session(_ context.Context, key []byte) (string, time.Time, error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.kept[string(key)], p.ends[string(key)], nil
}

func (p *phones) KeepSession(_ context.Context, key []byte, mark string, until time.Time) error {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.kept[string(key)], p.ends[string(key)] = mark, until
	return nil
}

func (p *phones) EndSession(_ context.Context, key []byte) error {
	p.mu.Lock()
	defer p.mu.Unlock()
	delete(p.kept, string(key))
	return nil
}

// guardedStudio is a studio with both codes.
type guardedStudio struct {
	*httptest.Server
	s            *Server
	clock        *kiln.Stamp
	bench, owner string
	mu           sync.Mutex
	hashes       [2]auth.PasscodeHash
}

func guardedTestStudio(t *testing.T, set func(*Server)) *guardedStudio {
	t.Helper()
	g := &guardedStudio{s: studioOfNobody(), bench: auth.NewPasscode(Bench), owner: auth.NewPasscode(Owner)}
	g.hashes = [2]auth.PasscodeHash{quick(g.bench), quick(g.owner)}
	g.clock = &kiln.Stamp{Wall: time.Date(2026, 2, 2, 12, 0, 0, 0, time.UTC), Trusted: true}
	g.s.Now = func() kiln.Stamp { g.mu.Lock(); defer g.mu.Unlock(); return *g.clock }
	g.s.Archive = usecase.StorageOf(&phones{kept: map[string]string{}, ends: map[string]time.Time{}})
	g.s.Access = auth.Access{ReadingOpen: true, Codes: func() (auth.PasscodeHash, auth.PasscodeHash, error) {
		g.mu.Lock()
		defer g.mu.Unlock()
		return g.hashes[0], g.hashes[1], nil
	}}
	if set != nil {
		set(g.s)
	}
	g.Server = serve(t, g.s)
	return g
}

// atTheDoor puts a stub behind the door, so that a test sees who gets in and no more.
func (g *guardedStudio) atTheDoor(t *testing.T) {
	t.Helper()
	teapot := http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
		w.WriteHeader(http.StatusTeapot)
	})
	g.Server = httptest.NewServer(g.s.asked(g.s.guarded(g.s.gate.Handler(teapot))))
	t.Cleanup(g.Server.Close)
}

// quick is a hash of few rounds.
func quick(code string) auth.PasscodeHash {
	salt := []byte("salt of the test")
	signs := strings.ReplaceAll(strings.ToUpper(code), "-", "")
	sum, err := pbkdf2.Key(sha256.New, signs, salt, 1000, sha256.Size)
	if err != nil {
		panic(err)
	}
	e := base64.RawStdEncoding
	h, err := auth.ParsePasscodeHash("pbkdf2-sha256 1000 " + e.EncodeToString(salt) +
		" " + e.EncodeToString(sum))
	if err != nil {
		panic(err)
	}
	return h
}

func (g *guardedStudio) later(d time.Duration) {
	g.mu.Lock()
	defer g.mu.Unlock()
	g.clock.Since += d
	g.clock.Wall = g.clock.Wall.Add(d)
}

// addressOf makes an address of a pattern: each wildcard gets a word.
func addressOf(pattern string) (method, path string) {
	method, path, _ = strings.Cut(pattern, " ")
	var parts []string
	for part := range strings.SplitSeq(path, "/") {
		switch {
		case part == "{$}":
			part = ""
		case strings.HasPrefix(part, "{"):
			part = "0193c0c1-0000-7000-8000-000000000005"
		}
		parts = append(parts, part)
	}
	return method, strings.Join(parts, "/")
}

func knock(t *testing.T, site, method, path string, header ...string) (*http.Response, string) {
	t.Helper()
	contentType, body := "application/x-www-form-urlencoded", "x=y"
	switch {
	case !web.Unsafe(method):
		contentType, body = "", ""
	case path == "/import":
		contentType, body = "multipart/form-data; boundary=x", "--x--\r\n"
	case path == "/v1/import", method == http.MethodPost && strings.HasPrefix(path, "/v1/firings/"):
		contentType, body = "text/csv", "x\n"
	case web.IsAPI(path):
		contentType, body = "application/json", "{}"
	}
	return ask(t, method, site+path, contentType, body, header...)
}

// whoMay is whose passcode each route asks for, written out by hand. To confirm in a word what a reading
// was asked about is the owner's; the bench measures again.
var whoMay = map[auth.Who]string{
	Anyone: `
		GET /healthz
		GET /readyz
		GET /session
		POST /session
		POST /v1/session
		DELETE /v1/session
		GET /style.css
		GET /app.js
		GET /icon.svg
		GET /help
		GET /help/safety
		GET /help/{topic}
		GET /speak
		POST /speak
		GET /problems/{type}`,
	// Nobody's where reading is open, else the bench's.
	reads: `
		GET /{$}
		GET /bar/{bar}
		GET /bar/{bar}/story
		GET /bars/all
		GET /bars/sheet
		GET /bars.csv
		GET /bars/measure
		GET /batches.csv
		GET /by-hand
		GET /clay/{clay}
		GET /clay/{clay}/bag
		GET /clays
		GET /clays.csv
		GET /compare
		GET /cones.csv
		GET /dips.csv
		GET /door/{kiln}
		GET /firing/{id}
		GET /firing/{id}/curve.svg
		GET /firings.csv
		GET /gaps.csv
		GET /gauge
		GET /gauge.svg
		GET /keep_shut.csv
		GET /kilns
		GET /wall
		GET /wall/{kiln}
		GET /lid
		GET /lid/board
		GET /load/{load}/packing
		GET /loads
		GET /load_bars.csv
		GET /loads.csv
		GET /metrics
		GET /more
		GET /changed
		GET /notices
		GET /notes.csv
		GET /pot/{pot}
		GET /pot/{pot}/sheet
		GET /pots
		GET /pots.csv
		GET /probes.csv
		GET /readings.csv
		GET /rule
		GET /rule.svg
		GET /sizes
		GET /kiln
		GET /kiln/{kiln}
		GET /trend/{kiln}
		GET /bars
		GET /load/{load}
		GET /lid-results
		GET /lid-results/board
		GET /lid_results.csv
		GET /year
		GET /v1/bars
		GET /v1/bars/free-codes
		GET /v1/bars/{bar}
		GET /v1/bars/{bar}/story
		GET /v1/changes
		GET /v1/clays
		GET /v1/clays/{clay}
		GET /v1/clays/{clay}/moves
		GET /v1/clays/{clay}/shrinkage
		GET /v1/compare
		GET /v1/copies
		GET /v1/crossed-out
		GET /v1/firings
		GET /v1/firings/{id}
		GET /v1/firings/{id}/curve
		GET /v1/firings/{id}/ticks
		GET /v1/kilns
		GET /v1/kilns/{kiln}
		GET /v1/kilns/{kiln}/shelves
		GET /v1/lid
		GET /v1/lids/board
		POST /v1/lids/board
		GET /v1/lines
		GET /v1/loads
		GET /v1/loads/{id}
		GET /v1/loads/{id}/ticks
		GET /v1/notices
		GET /v1/now
		GET /v1/now/{kiln}
		GET /v1/openapi.json
		GET /v1/openapi.yaml
		GET /v1/openapi-3.0.json
		GET /v1/openapi-3.0.yaml
		GET /v1/pots
		GET /v1/pots/{id}
		GET /v1/site
		GET /v1/size
		GET /v1/size/nest
		GET /v1/size/scale
		GET /v1/size/shared
		GET /v1/stream
		GET /v1/trend
		GET /v1/lid-results`,
	Bench: `
		POST /bar/{bar}
		POST /bar/{bar}/firing
		POST /bar/{bar}/flags
		POST /bar/{bar}/strike
		POST /by-hand
		POST /clay/{clay}/bars
		POST /firing/{id}/cones
		POST /firing/{id}/cones/strike
		POST /firing/{id}/notes
		POST /firing/{id}/said
		POST /load/{load}/life
		POST /load/{load}/ticks
		POST /loads
		POST /pot/{pot}/lid
		POST /pots
		POST /kiln/{kiln}/begin
		POST /kiln/{kiln}/stop
		POST /lid-results
		POST /lid-results/{id}/strike
		PUT /v1/bars/{bar}
		PUT /v1/bars/{bar}/flags
		PUT /v1/bars/{bar}/readings/{id}
		PUT /v1/bars/{bar}/readings/{id}/firing
		PUT /v1/bars/{bar}/readings/{id}/strike
		PUT /v1/firings/{id}
		PUT /v1/firings/{id}/begin
		PUT /v1/firings/{id}/cones/{cone}
		PUT /v1/firings/{id}/cones/{cone}/strike
		PUT /v1/firings/{id}/notes/{note}
		PUT /v1/firings/{id}/notes/{note}/strike
		PUT /v1/firings/{id}/stop
		DELETE /v1/firings/{id}/stop
		PUT /v1/firings/{id}/ticks/{tick}
		PUT /v1/loads/{id}
		POST /v1/crossed-out/{kind}/{id}/restore
		POST /v1/loads/{id}/called-off
		POST /v1/loads/{id}/move
		POST /v1/loads/{id}/unpacked
		DELETE /v1/loads/{id}/firings/{firing}
		DELETE /v1/loads/{id}/unpacked
		PUT /v1/loads/{id}/firings/{firing}
		PUT /v1/loads/{id}/ticks/{tick}
		PUT /v1/pots/{id}
		PUT /v1/lid-results/{id}
		PUT /v1/lid-results/{id}/strike`,
	Owner: `
		POST /bar/{bar}/confirm
		POST /bar/{bar}/count
		GET /import
		POST /import
		GET /class
		POST /class
		POST /class/bars
		POST /class/restore
		POST /clay/{clay}/bag
		POST /clays
		GET /people
		POST /people/forget
		POST /people/renew
		GET /settings
		GET /settings/collector
		POST /settings/collector
		GET /v1/collector
		GET /v1/collector/bodies
		GET /v1/collector/clays
		POST /v1/collector
		POST /v1/collector/leave
		POST /v1/collector/purposes
		PUT /v1/collector/clays/{clay}
		POST /settings/test
		POST /settings/{kiln}/mark
		POST /settings/{kiln}/probes
		PUT /v1/bars/{bar}/readings/{id}/confirm
		PUT /v1/bars/{bar}/readings/{id}/count
		PUT /v1/clays/{clay}
		PUT /v1/clays/{clay}/batches/{batch}
		POST /v1/copies
		POST /v1/copies/renew
		POST /v1/firings/{id}/curve
		POST /v1/import
		POST /kilns
		POST /kilns/{kiln}/rename
		PUT /v1/kilns/{kiln}
		POST /v1/kilns/{kiln}/rename
		POST /kilns/{kiln}/usual
		PUT /v1/kilns/{kiln}/usual/{usual}
		PUT /v1/kilns/{kiln}/keep-shut
		PUT /v1/kilns/{kiln}/probes/{probe}
		PUT /v1/makers/{mark}/forget
		POST /v1/notices/test`,
}

// Each route asks for the passcode that is written down for it, no more and no less. The walk goes over
// what is registered: a route that is not written down fails it.
func TestEveryRouteAsks(t *testing.T) {
	wanted := map[string]auth.Who{}
	for who, routes := range whoMay {
		for line := range strings.Lines(strings.TrimSpace(routes)) {
			wanted[strings.TrimSpace(line)] = who
		}
	}
	for _, readingOpen := range []bool{true, false} {
		g := guardedTestStudio(t, func(s *Server) { s.Access.ReadingOpen = readingOpen })
		g.atTheDoor(t)
		left := maps.Clone(wanted)
		for _, pattern := range g.s.patterns {
			need, known := wanted[pattern]
			delete(left, pattern)
			switch {
			case pattern == "/": // no route: it says so
				continue
			case !known:
				t.Errorf("%s: write down in whoMay whose passcode it asks for", pattern)
				continue
			case need == reads && readingOpen:
				need = Anyone
			case need == reads:
				need = Bench
			}
			method, path := addressOf(pattern)
			for who, header := range map[auth.Who][]string{Anyone: nil,
				Bench: {"Authorization", "Bearer " + g.bench},
				Owner: {"Authorization", "Bearer " + g.owner}} {
				want := http.StatusTeapot // let in
				switch {
				case who < need && who == Anyone:
					want = http.StatusUnauthorized
				case who < need:
					want = http.StatusForbidden
				}
				a, body := knock(t, g.URL, method, path, header...)
				if a.StatusCode != want {
					t.Errorf("%s, reading open %v, with the passcode of %v: %d, want %d %.200s", pattern,
						readingOpen, who, a.StatusCode, want, body)
				}
				if want == http.StatusUnauthorized && a.Header.Get("WWW-Authenticate") != "Bearer" {
					t.Errorf("%s does not say how a passcode is sent", pattern)
				}
			}
		}
		for pattern := range left {
			t.Errorf("%s is written down in whoMay and is no route", pattern)
		}
	}
}

// A route that the table forgot is the owner's, to read and to write.
func TestForgottenRoute(t *testing.T) {
	g := guardedTestStudio(t, nil)
	for _, pattern := range []string{"PUT /v1/something/new", "GET /v1/something/new", "POST /something"} {
		g.s.mux.HandleFunc(pattern, func(http.ResponseWriter, *http.Request) {})
		method, path, _ := strings.Cut(pattern, " ")
		r := httptest.NewRequest(method, path, nil)
		if e := g.s.routeAt(r); e.needed(true) != Owner {
			t.Errorf("%s: %v", pattern, e.who)
		}
	}
}

// Where reading is not open, every page and answer asks for a code, but for those that say that
// the daemon lives, and the page that takes the code.
func TestReadingClosed(t *testing.T) {
	g := guardedTestStudio(t, func(s *Server) { s.Access.ReadingOpen = false })
	g.atTheDoor(t)
	always := map[string]bool{"GET /healthz": true, "GET /readyz": true, "GET /session": true,
		"GET /speak": true, "GET /style.css": true, "GET /app.js": true,
		"GET /icon.svg": true, "GET /help": true,
		"GET /help/safety": true, "GET /help/{topic}": true, "GET /problems/{type}": true}
	for _, pattern := range g.s.patterns {
		method, path := addressOf(pattern)
		if method != "GET" {
			continue
		}
		if strings.HasPrefix(pattern, "GET /help/") {
			continue
		}
		a, body := knock(t, g.URL, method, path)
		if open := a.StatusCode != http.StatusUnauthorized; open != always[pattern] {
			t.Errorf("%s without a code: %d %.100s", pattern, a.StatusCode, body)
		}
		for _, m := range []string{"HEAD", "GET"} {
			if a, _ := knock(t, g.URL, m, path, "Authorization",
				"Bearer "+g.owner); a.StatusCode != http.StatusTeapot {
				t.Errorf("%s %s with a code: %d", m, path, a.StatusCode)
			}
		}
	}
	for _, odd := range []string{"/v1//now", "/v1/./now", "/v1/lid/../now", "/v1/%6eow"} {
		r, _ := http.NewRequest("GET", g.URL, nil)
		r.URL.Opaque = odd
		a, err := http.DefaultTransport.RoundTrip(r)
		if err != nil {
			t.Fatal(err)
		}
		b, _ := io.ReadAll(a.Body)
		a.Body.Close()
		if a.StatusCode == http.StatusTeapot && g.s.routeAt(r).pattern != "" {
			t.Errorf("%s: %d %s", odd, a.StatusCode, b)
		}
	}
}

const aReading = "/v1/bars/BQ7/readings/0193c0c1-0000-7000-8000-000000000005"

// Five wrong codes a minute from one address, then none is looked at, right or wrong.
func TestGuessesRationed(t *testing.T) {
	g := guardedTestStudio(t, nil)
	put := func(code string) (*http.Response, string) {
		return knock(t, g.URL, "PUT", aReading, "Authorization", "Bearer "+code)
	}
	for i := range 5 {
		a, body := put(auth.NewPasscode(Bench))
		if a.StatusCode != 401 || strings.Contains(body, g.bench) {
			t.Fatalf("wrong code %d: %d %s", i, a.StatusCode, body)
		}
	}
	if a, _ := put(g.bench); a.StatusCode != 429 || a.Header.Get("Retry-After") == "" {
		t.Errorf("the sixth: %d, Retry-After %q", a.StatusCode, a.Header.Get("Retry-After"))
	}
	g.later(13 * time.Second)
	if a, _ := put(strings.ToLower(strings.ReplaceAll(g.bench, "-", " "))); a.StatusCode != 422 {
		t.Errorf("the right code after a while, written otherwise: %d", a.StatusCode)
	}
	for range 100 {
		if a, _ := put(g.bench); a.StatusCode != 422 {
			t.Fatalf("the right code again: %d", a.StatusCode)
		}
	}
	// From many addresses: thirty a minute in all are worked out.
	d := g.s.gate
	looked := 0
	for i := range 200 {
		if _, p := d.Identify(t.Context(), auth.NewPasscode(Bench),
			netip.AddrFrom4([4]byte{10, 0, 0, byte(i)})); p.Status == 401 {
			looked++
		}
	}
	if looked > 30 {
		t.Errorf("%d guesses were looked at in no time", looked)
	}
	for _, bad := range []string{"", "x", strings.Repeat("A", 10000), "\x00", g.bench + "A"} {
		if who, p := d.Identify(t.Context(), bad,
			netip.AddrFrom4([4]byte{10, 0, 1, byte(len(bad))})); p == nil || who != Anyone {
			t.Errorf("%.20q opens for %v", bad, who)
		}
	}
}

// restarted is the same studio after a restart of the daemon, on the same store.
func (g *guardedStudio) restarted(t *testing.T) {
	t.Helper()
	before := g.s
	g.s = studioOfNobody()
	g.s.Now, g.s.Archive, g.s.Access = before.Now, before.Archive, before.Access
	g.Server = serve(t, g.s)
}

// Wrong guesses, of whoever and however many, lock nobody out at whose address the right code was before: not
// from elsewhere, not from that address, not after a restart. An address that guessed alone stays locked out.
func TestGuessesLockNobodyOut(t *testing.T) {
	g := guardedTestStudio(t, nil)
	bench, owner, stranger := netip.MustParseAddr("192.0.2.7"), netip.MustParseAddr("2001:db8:7::1"),
		netip.MustParseAddr("192.0.2.66")
	try := func(code string, from netip.Addr) (auth.Who, int) {
		who, p := g.s.gate.Identify(t.Context(), code, from)
		if p == nil {
			return who, 200
		}
		return who, p.Status
	}
	both := func(when string) {
		t.Helper()
		if who, status := try(g.bench, bench); who != Bench || status != 200 {
			t.Errorf("%s: the bench passcode where it was right before: %v, %d", when, who, status)
		}
		if who, status := try(g.owner, netip.MustParseAddr("2001:db8:7::2")); who != Owner || status != 200 {
			t.Errorf("%s: the owner passcode from the network where it was right before: %v, %d", when, who,
				status)
		}
	}
	guess := func(addresses int) {
		for i := range addresses {
			try(auth.NewPasscode(Bench), netip.AddrFrom4([4]byte{10, 1, byte(i >> 8), byte(i)}))
			try(auth.NewPasscode(Owner), netip.AddrFrom4([4]byte{10, 1, byte(i >> 8), byte(i)}))
		}
	}
	try(g.bench, bench)
	try(g.owner, owner)
	guess(100)
	both("guesses from a hundred addresses")
	g.restarted(t)
	guess(100)
	if _, status := try(g.bench, stranger); status != 429 {
		t.Errorf("the right code from a strange address in the midst of it: %d, want 429", status)
	}
	both("after a restart")
	g.restarted(t)
	guess(2 * 1024)
	both("more addresses than are remembered")
	for range 8 {
		try(auth.NewPasscode(Bench), bench)
		try(auth.NewPasscode(Owner), owner)
	}
	both("wrong ones from the same address")
	for range 8 {
		try(auth.NewPasscode(Bench), stranger)
	}
	if _, status := try(g.bench, stranger); status != 429 {
		t.Errorf("from where only wrong ones came: %d, want 429", status)
	}
	g.mu.Lock()
	renewed := auth.NewPasscode(Bench)
	g.hashes = [2]auth.PasscodeHash{quick(renewed), quick(auth.NewPasscode(Owner))}
	g.mu.Unlock()
	guess(100)
	for range 8 {
		try(auth.NewPasscode(Bench), bench)
	}
	if _, status := try(renewed, bench); status != 429 {
		t.Errorf("an address of a code that was renewed: %d, want 429", status)
	}
}

// A session of the owner outlasts a restart and ends two hours after its last use all the same.
func TestOwnerSessionOverARestart(t *testing.T) {
	g := guardedTestStudio(t, nil)
	who := func(cookie string) auth.Who {
		t.Helper()
		w, err := g.s.gate.Session(t.Context(), cookie)
		if err != nil {
			t.Fatal(err)
		}
		return w
	}
	open := func() string {
		t.Helper()
		c, err := g.s.gate.Open(t.Context(), Owner, false)
		if err != nil {
			t.Fatal(err)
		}
		return c.Value
	}
	cookie, idle, ended := open(), open(), open()
	for key := range g.s.Archive.SessionStore.(*phones).kept {
		if strings.Contains(key, cookie) || strings.Contains(key, idle) {
			t.Error("the cookie stands in the store as it is")
		}
	}
	for range 6 { // five hours, used each 50 minutes
		g.later(50 * time.Minute)
		if got := who(cookie); got != Owner {
			t.Fatalf("used within two hours: %v", got)
		}
	}
	if got := who(idle); got != Anyone {
		t.Errorf("not used for five hours: %v", got)
	}
	if err := g.s.gate.End(t.Context(), ended); err != nil {
		t.Fatal(err)
	}
	idle = open()
	g.restarted(t)
	g.later(100 * time.Minute)
	if got := who(cookie); got != Owner {
		t.Errorf("after a restart, 100 minutes after the last use: %v", got)
	}
	if got := who(ended); got != Anyone {
		t.Errorf("one that was ended, after a restart: %v", got)
	}
	g.later(100 * time.Minute)
	if got := who(cookie); got != Owner {
		t.Errorf("100 minutes later: %v", got)
	}
	if got := who(idle); got != Anyone {
		t.Errorf("200 minutes after the last use, over a restart: %v", got)
	}
	g.restarted(t)
	g.mu.Lock()
	g.clock.Wall = g.clock.Wall.AddDate(-20, 0, 0)
	g.mu.Unlock()
	if got := who(cookie); got != Anyone {
		t.Errorf("under a clock that is twenty years behind: %v", got)
	}
	g.mu.Lock()
	g.clock.Wall = g.clock.Wall.AddDate(20, 0, 0)
	g.hashes[1] = quick(auth.NewPasscode(Owner))
	g.mu.Unlock()
	if got := who(cookie); got != Anyone {
		t.Errorf("of a code that was renewed: %v", got)
	}
}

// A session stands for the code until it ends, the code is renewed, or its time is over.
func TestSessions(t *testing.T) {
	g := guardedTestStudio(t, nil)
	open := func(code string) string {
		t.Helper()
		a, body := ask(t, "POST", g.URL+"/v1/session", "application/json", `{"code":"`+code+`"}`)
		c := a.Cookies()
		if a.StatusCode != 204 || len(c) != 1 || !c[0].HttpOnly || c[0].SameSite != http.SameSiteStrictMode ||
			c[0].Path != "/" || len(c[0].Value) != 22 || body != "" {
			t.Fatalf("%d %v %s", a.StatusCode, c, body)
		}
		return auth.CookieName + "=" + c[0].Value
	}
	put := func(path, cookie string, header ...string) int {
		t.Helper()
		a, _ := knock(t, g.URL, "PUT", path, append([]string{"Cookie", cookie}, header...)...)
		return a.StatusCode
	}
	own := []string{"Sec-Fetch-Site", "same-origin"}
	bench, owner := open(g.bench), open(g.owner)
	if got := put(aReading, bench, own...); got != 422 {
		t.Errorf("a reading in a session of the bench: %d", got)
	}
	if got := put("/v1/clays/tern", bench, own...); got != 403 {
		t.Errorf("a clay in a session of the bench: %d", got)
	}
	if got := put("/v1/clays/tern", owner, own...); got != 422 {
		t.Errorf("an empty clay in a session of the owner: %d", got)
	}
	if got := put(aReading, bench); got != 403 {
		t.Errorf("a cookie that comes from nowhere: %d", got)
	}
	if got := put(aReading, bench, "Sec-Fetch-Site", "cross-site"); got != 403 {
		t.Errorf("another site's request: %d", got)
	}
	g.later(3 * time.Hour)
	if got := put("/v1/clays/tern", owner, own...); got != 401 {
		t.Errorf("the owner's session after three hours: %d", got)
	}
	if got := put(aReading, bench, own...); got != 422 {
		t.Errorf("the bench's session after three hours: %d", got)
	}
	if a, _ := ask(t, "DELETE", g.URL+"/v1/session", "", "", "Cookie", bench, "Sec-Fetch-Site",
		"same-origin"); a.StatusCode != 204 || a.Cookies()[0].MaxAge >= 0 {
		t.Errorf("end: %d", a.StatusCode)
	}
	if got := put(aReading, bench, own...); got != 401 {
		t.Errorf("a session that was ended: %d", got)
	}
	bench, owner = open(g.bench), open(g.owner)
	g.mu.Lock()
	g.hashes = [2]auth.PasscodeHash{quick("AAAA-BBBB"), quick("AAAA-BBBB-CCCC")}
	g.mu.Unlock()
	for _, cookie := range []string{bench, owner} {
		if got := put(aReading, cookie, own...); got != 401 {
			t.Errorf("a session of a code that was renewed: %d", got)
		}
	}
	if a, _ := knock(t, g.URL, "PUT", aReading, "Authorization", "Bearer "+g.bench); a.StatusCode != 401 {
		t.Errorf("the old code: %d", a.StatusCode)
	}
	bench = open("aaaabbbb")
	g.later(181 * 24 * time.Hour)
	if got := put(aReading, bench, own...); got != 401 {
		t.Errorf("the bench's session after half a year: %d", got)
	}
}

// A phone without script: the refused form takes the code, keeps what was typed, and from then
// on every form carries the session's token.
func TestFormsAndCodes(t *testing.T) {
	g := guardedTestStudio(t, nil)
	const form = "application/x-www-form-urlencoded"
	own := []string{"Origin", g.URL}
	a, body := ask(t, "POST", g.URL+"/clays", form, "name=Tern+%22%3E%3Cscript%3E&matures_cone=6", own...)
	if a.StatusCode != 401 || !strings.Contains(body, `action="/clays"`) ||
		!strings.Contains(body, `name="code"`) || strings.Contains(body, "<script>") ||
		!strings.Contains(body, "Tern &#34;&gt;&lt;script&gt;") {
		t.Fatalf("%d %s", a.StatusCode, body)
	}
	german := append([]string{"Accept-Language", "de"}, own...)
	a, body = ask(t, "POST", g.URL+"/clay/a%2Fb%20%3Fc/bars", form, "name=dry", german...)
	for _, want := range []string{`action="/clay/a%2Fb%20%3Fc/bars"`, `name="name" value="dry"`} {
		if a.StatusCode != 401 || !strings.Contains(body, want) || strings.Contains(body, "trocken") {
			t.Errorf("a form in German has no %s: %d %s", want, a.StatusCode, body)
		}
	}
	if a, body := ask(t, "POST", g.URL+"/clays", form, "name=Tern&code="+g.bench,
		own...); a.StatusCode != 403 || !strings.Contains(body, `name="code"`) {
		t.Errorf("with the bench passcode: %d", a.StatusCode)
	}
	stay := func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }
	client := &http.Client{CheckRedirect: stay}
	r, _ := http.NewRequest("POST", g.URL+"/session",
		strings.NewReader(url.Values{"code": {g.bench}, "next": {"/bars"}}.Encode()))
	r.Header.Set("Content-Type", form)
	r.Header.Set("Origin", g.URL)
	a, err := client.Do(r)
	if err != nil {
		t.Fatal(err)
	}
	a.Body.Close()
	if a.StatusCode != 303 || a.Header.Get("Location") != "/bars" || len(a.Cookies()) != 1 {
		t.Fatalf("%d %v", a.StatusCode, a.Header)
	}
	cookie := []string{"Cookie", auth.CookieName + "=" + a.Cookies()[0].Value, "Origin", g.URL}
	token := auth.FormToken(a.Cookies()[0].Value)
	_, body = ask(t, "GET", g.URL+"/clays", "", "", cookie...)
	if n := strings.Count(body, `name="token" value="`+token+`"`); n == 0 ||
		n != strings.Count(body, `method="post"`) {
		t.Errorf("%d tokens in %d forms", n, strings.Count(body, `method="post"`))
	}
	if _, body := ask(t, "GET", g.URL+"/clays", "", ""); strings.Contains(body, "token") {
		t.Error("a token without a session")
	}
	for _, c := range []struct {
		token string
		want  int
	}{{"", 403}, {"wrong", 403}, {token, 404}} {
		if a, body := ask(t, "POST", g.URL+"/bar/BQ7", form, "stage=wet&length=100&token="+c.token,
			cookie...); a.StatusCode != c.want {
			t.Errorf("token %q: %d %.200s", c.token, a.StatusCode, body)
		}
	}
	for _, next := range []string{"http://evil.example/", "//evil.example", "/\\evil.example",
		"javascript:alert(1)", "/a\r\nX: y"} {
		if ourPath(next) {
			t.Errorf("%q is taken for our own", next)
		}
	}
}

// TestFromBenchToOwner: a browser that has shown the bench passcode is asked for the owner's, by a form that
// is of its session, and goes on where it was going; what a form had in it goes along.
func TestFromBenchToOwner(t *testing.T) {
	g := guardedTestStudio(t, func(s *Server) {})
	client := &http.Client{CheckRedirect: func(*http.Request, []*http.Request) error {
		return http.ErrUseLastResponse
	}}
	cookie := ""
	ask := func(method, path string, form url.Values, want int) (*http.Response, string) {
		t.Helper()
		r, _ := http.NewRequest(method, g.URL+path, strings.NewReader(form.Encode()))
		r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
		r.Header.Set("Origin", g.URL)
		if cookie != "" {
			r.Header.Set("Cookie", auth.CookieName+"="+cookie)
		}
		a, err := client.Do(r)
		if err != nil {
			t.Fatal(err)
		}
		defer a.Body.Close()
		body, _ := io.ReadAll(a.Body)
		if a.StatusCode != want {
			t.Fatalf("%s %s: %d, want %d: %.300s", method, path, a.StatusCode, want, body)
		}
		for _, c := range a.Cookies() {
			cookie = c.Value
		}
		return a, string(body)
	}
	hidden := func(page string) url.Values { // the form that takes the code
		form := url.Values{}
		for _, m := range regexp.MustCompile(`<input type="hidden" name="([^"]*)" value="([^"]*)"`).FindAllStringSubmatch(page, -1) {
			form.Set(m[1], html.UnescapeString(m[2]))
		}
		return form
	}
	bench := func() { cookie = ""; ask("POST", "/session", url.Values{"code": {g.bench}}, 303) }

	bench()
	_, page := ask("GET", "/class", nil, 403)
	form := hidden(page)
	form.Set("code", g.owner)
	if a, _ := ask("POST", "/session", form, 303); a.Header.Get("Location") != "/class" {
		t.Errorf("led to %s", a.Header.Get("Location"))
	}
	ask("GET", "/class", nil, 200)

	bench()
	_, page = ask("GET", "/clays", nil, 200)
	typed := hidden(page)
	typed.Set("name", "Reed")
	typed.Set("matures_cone", "no cone")
	_, page = ask("POST", "/clays", typed, 403)
	form = hidden(page)
	if form.Get("name") != "Reed" {
		t.Errorf("what was typed does not go along: %v", form)
	}
	form.Set("code", "not right")
	_, page = ask("POST", "/clays", form, 401)
	form = hidden(page)
	form.Set("code", g.owner)
	ask("POST", "/clays", form, 422) // it came as far as the cone
}

// Writes are rationed by address, reads are not.
func TestWritesRationed(t *testing.T) {
	g := guardedTestStudio(t, func(s *Server) { s.Access.WritesASecond = 20; s.Access.Codes = nil })
	done := 0
	for range 100 {
		if a, _ := knock(t, g.URL, "PUT", aReading); a.StatusCode != 429 {
			done++
		} else if a.Header.Get("Retry-After") == "" {
			t.Fatal("429 without Retry-After")
		}
	}
	if done != 60 {
		t.Errorf("%d writes in no time, want 60", done)
	}
	for range 100 {
		if a, _ := knock(t, g.URL, "GET", "/v1/now"); a.StatusCode != 200 {
			t.Fatalf("a read: %d", a.StatusCode)
		}
	}
	g.later(time.Second)
	if a, _ := knock(t, g.URL, "PUT", aReading); a.StatusCode == 429 {
		t.Error("still refused a second later")
	}
}

// While a code file cannot be read nobody gets in, and is told why; reading goes on.
func TestCodesUnreadable(t *testing.T) {
	var broken atomic.Bool
	g := guardedTestStudio(t, func(s *Server) {
		codes := s.Access.Codes
		s.Access.Codes = func() (auth.PasscodeHash, auth.PasscodeHash, error) {
			if broken.Load() {
				return auth.PasscodeHash{}, auth.PasscodeHash{},
					errors.New("the code file /secret/place: no such file")
			}
			return codes()
		}
	})
	a, _ := ask(t, "POST", g.URL+"/v1/session", "application/json", `{"code":"`+g.bench+`"}`)
	if a.StatusCode != 204 {
		t.Fatal(a.Status)
	}
	cookie := auth.CookieName + "=" + a.Cookies()[0].Value
	broken.Store(true)
	for _, header := range [][]string{{"Authorization", "Bearer " + g.bench},
		{"Authorization", "Bearer " + auth.NewPasscode(Bench)},
		{"Cookie", cookie, "Sec-Fetch-Site", "same-origin"}} {
		if a, body := knock(t, g.URL, "PUT", aReading, header...); a.StatusCode != 503 ||
			!strings.Contains(body, "/problems/codes-unreadable") || strings.Contains(body, "/secret") {
			t.Errorf("%v: %d %s", header, a.StatusCode, body)
		}
	}
	if a, body := ask(t, "POST", g.URL+"/session", "application/x-www-form-urlencoded", "code="+g.bench,
		"Origin", g.URL); a.StatusCode != 503 || !strings.Contains(body, "lidwright code new") {
		t.Errorf("the page: %d", a.StatusCode)
	}
	if a, _ := knock(t, g.URL, "GET", "/v1/now"); a.StatusCode != 200 {
		t.Errorf("a read: %d", a.StatusCode)
	}
	broken.Store(false)
	if a, _ := knock(t, g.URL, "PUT", aReading, "Authorization", "Bearer "+g.bench); a.StatusCode != 422 {
		t.Errorf("whole again: %d", a.StatusCode)
	}
}

// Requests that nobody means well, at a door with codes (two thousand; a hundred thousand in the
// long campaign): nothing that writes gets in
// without a code, and nothing breaks.
func TestHostileAtTheDoor(t *testing.T) {
	g := guardedTestStudio(t, nil)
	held := g.s.asked(g.s.guarded(g.s.gate.Handler(http.HandlerFunc(func(w http.ResponseWriter,
		r *http.Request) {
		if web.Unsafe(r.Method) && routeOf(r).needed(true) != Anyone {
			t.Errorf("%s %q got in", r.Method, r.RequestURI)
		}
		w.WriteHeader(http.StatusTeapot)
	}))))
	status, n := map[int]int{}, 2_000
	if os.Getenv("LIDWRIGHT_SOAK") != "" {
		n = 100_000
	}
	for seed := range uint64(n) {
		h := hostile{rand.New(rand.NewPCG(15, seed)), g.s.patterns}
		r := h.request()
		name := h.of([]string{"Authorization", "Cookie", "X-Forwarded-For", "Authorization"})
		r.Header.Set(name, h.of([]string{"Bearer ", "bearer " + auth.NewPasscode(Bench),
			"Bearer " + strings.Repeat("A", 4000), "Basic eDp5", "Bearer \x00", "Bearer \u202e",
			auth.CookieName + "=" + strings.Repeat("A", 22), auth.CookieName + "=" + h.of(hostileTexts),
			auth.CookieName + "=a; " + auth.CookieName + "=b", "127.0.0.1"}))
		r.RemoteAddr = h.of([]string{"127.0.0.1:1", "[::1]:2", "192.0.2.7:9", "no address", ""})
		w := httptest.NewRecorder()
		held.ServeHTTP(w, r)
		status[w.Code]++
		if w.Code >= 500 && w.Code != 503 {
			t.Errorf("request %d: %s %q: %d %s", seed, r.Method, r.RequestURI, w.Code, w.Body.String())
		}
		g.later(time.Second)
	}
	t.Logf("%d hostile requests at the door: %v", n, status)
	if status[401]+status[429] == 0 {
		t.Error("nobody was refused")
	}
}
