package auth

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"net/netip"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"lidwright/api/web"
	"lidwright/kiln"
)

// browsers keeps sessions in memory, as a store does on its disk.
type browsers struct {
	mu     sync.Mutex
	kept   map[string]session
	writes int
	fails  error
}

type session struct {
	mark  string
	until time.Time
}

func (b *browsers) Session(_ context.Context, key []byte) (string, time.Time, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	s := b.kept[string(key)]
	return s.mark, s.until, b.fails
}

func (b *browsers) KeepSession(_ context.Context, key []byte, mark string, until time.Time) error {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.writes++; b.fails == nil {
		b.kept[string(key)] = session{mark, until}
	}
	return b.fails
}

func (b *browsers) EndSession(_ context.Context, key []byte) error {
	b.mu.Lock()
	defer b.mu.Unlock()
	delete(b.kept, string(key))
	return b.fails
}

// door is a gate with a clock that a test sets, and codes whose hashes are quickly worked out.
type door struct {
	*Gate
	t            *testing.T
	at           time.Duration
	sessions     *browsers
	unasked      bool // the code that was typed is a field like another, since none was asked for
	bench, owner PasscodeHash
	damaged      error
}

const (
	benchCode = "KQ7T-3HVW"
	ownerCode = "ABCD-EFGH-JKLN"
)

var (
	fromBench    = netip.MustParseAddr("192.0.2.7") // RFC 5737: addresses for examples
	fromStranger = netip.MustParseAddr("198.51.100.66")
	anOpening    = time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC)
)

func quickHash(code string) PasscodeHash {
	h := PasscodeHash{rounds: 1000, salt: []byte("of a test")}
	h.sum = h.of(code)
	return h
}

func newDoor(t *testing.T) *door {
	d := &door{t: t, sessions: &browsers{kept: map[string]session{}}, bench: quickHash(benchCode),
		owner: quickHash(ownerCode), at: 90 * 24 * time.Hour}
	d.restart()
	return d
}

// restart is another running of the daemon on the same store.
func (d *door) restart() {
	d.Gate = NewGate(Access{Codes: func() (PasscodeHash, PasscodeHash, error) {
		return d.bench, d.owner,
			d.damaged
	}}, d.sessions,
		func() kiln.Stamp { return kiln.Stamp{Since: d.at, Wall: anOpening.Add(d.at)} }, Rules{
			Needs: func(r *http.Request) Who {
				for _, w := range []Who{Bench, Owner} {
					if strings.HasSuffix(r.URL.Path, w.String()) {
						return w
					}
				}
				return Anyone
			},
			Refuse: func(w http.ResponseWriter, r *http.Request, p *web.Problem) {
				for name, values := range p.Header {
					w.Header()[name] = values
				}
				w.Header().Set("Content-Type", "text/html")
				w.WriteHeader(p.Status)
				fmt.Fprintf(w, `%s <form method="post">`, p.Type)
			},
			Troubles: &web.Troubles{Since: func() time.Duration { return d.at }},
		})
}

// says is who a code is taken for, or the status of the refusal.
func (d *door) says(code string, from netip.Addr) string {
	d.t.Helper()
	who, p := d.Identify(d.t.Context(), code, from)
	if p != nil {
		if who != Anyone {
			d.t.Errorf("refused with %d, and let in as %v", p.Status, who)
		}
		return fmt.Sprint(p.Status)
	}
	return who.String()
}

func (d *door) want(want, code string, from netip.Addr, what string) {
	d.t.Helper()
	if got := d.says(code, from); got != want {
		d.t.Errorf("%s: %s, want %s", what, got, want)
	}
}

// nth is an address of a network that is set aside for tests (RFC 2544).
func nth(i int) netip.Addr { return netip.AddrFrom4([4]byte{198, 18, byte(i >> 8), byte(i)}) }

// wrongCode has the length of a bench passcode.
const wrongCode = "AAAA-AAAA"

// A code is whose length says and whose hash fits; one that was renewed is nobody's from then on.
func TestWhoseACodeIs(t *testing.T) {
	d := newDoor(t)
	d.want("bench", "kq7t 3hvw", fromBench, "the bench's, typed otherwise")
	d.want("owner", ownerCode, fromBench, "the owner's")
	for _, wrong := range []string{"", "KQ7T-3HV", "KQ7T-3HVWA", ownerCode[:9]} {
		d.want("401", wrong, netip.MustParseAddr("203.0.113.9"), fmt.Sprintf("%q", wrong))
	}
	d.bench = quickHash("XXXX-XXXX")
	d.want("401", benchCode, fromBench, "one that was renewed")
	d.want("bench", "XXXX-XXXX", fromBench, "the new one")
	d.damaged = errors.New("the file is gone")
	d.want("503", "XXXX-XXXX", fromBench, "while the codes cannot be read")
}

// Five wrong codes a minute are looked at from one address, then one in twelve seconds; right ones do not
// count.
func TestGuessesOfOneAddress(t *testing.T) {
	d := newDoor(t)
	for range 40 {
		d.want("bench", benchCode, fromBench, "a right one of many")
	}
	for i := range 5 {
		d.want("401", wrongCode, fromStranger, fmt.Sprint("guess ", i))
	}
	_, p := d.Identify(t.Context(), benchCode, fromStranger)
	// whole seconds, never too few (RFC 9110, 10.2.3)
	if p == nil || p.Status != 429 || p.Header.Get("Retry-After") != "13" {
		t.Fatalf("the sixth: %+v", p)
	}
	d.want("429", wrongCode, netip.MustParseAddr("::ffff:198.51.100.66").Unmap(),
		"the same address, written as IPv6")
	d.at += 11900 * time.Millisecond
	d.want("429", benchCode, fromStranger, "after 11.9 s")
	d.at += 100 * time.Millisecond
	d.want("401", wrongCode, fromStranger, "after 12 s")
	d.want("429", wrongCode, fromStranger, "and one more")
}

// Of all addresses together thirty a minute are worked out, and a right code that was worked out before is
// compared without; where a right code was before it is let in all the same.
func TestGuessesOfAllAddresses(t *testing.T) {
	d := newDoor(t)
	d.want("bench", benchCode, fromBench, "the bench")
	for i := range 30 {
		d.want("401", wrongCode, nth(i), fmt.Sprint("guess ", i))
	}
	d.want("429", wrongCode, nth(30), "the 31st")
	d.want("429", ownerCode, nth(31), "a right one that nobody typed yet, from elsewhere")
	d.want("bench", benchCode, nth(32), "the bench's from elsewhere, which is known")
	d.want("owner", ownerCode, fromBench, "the owner's where the bench's was")
	d.at += 1950 * time.Millisecond
	d.want("429", wrongCode, nth(33), "1.95 s later")
	d.at += 50 * time.Millisecond
	d.want("401", wrongCode, nth(33), "two seconds later")
	d.want("429", wrongCode, nth(34), "and one more")
	d.at += time.Minute // right ones take nothing of the thirty
	for i := range 30 {
		d.bench = quickHash(fmt.Sprintf("AAAA-AAB%c", codeAlphabet[i%len(codeAlphabet)]))
		d.want("bench", fmt.Sprintf("AAAA-AAB%c", codeAlphabet[i%len(codeAlphabet)]), nth(100+i),
			"a renewed code")
	}
	d.want("401", wrongCode, nth(200), "a guess after them")
	d.at += time.Minute // nor do those of a length that no code has, of which nothing is worked out
	for i := range 40 {
		d.want("401", "AAAA", nth(300+i), "a word")
	}
	d.want("401", wrongCode, nth(400), "a guess after them")
}

// An address where the right code was is never locked out: its guesses wait for their turn, 50 ms apart and
// ten seconds at most. It is known over a restart, for half a year, and until the code is renewed.
func TestFamiliarAddress(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		d := newDoor(t)
		began := time.Now()
		start := d.at
		now := d.Now
		d.Now = func() kiln.Stamp { d.at = start + time.Since(began); return now() }
		took := func(want time.Duration, f func()) {
			t.Helper()
			at := time.Now()
			if f(); time.Since(at) != want {
				t.Errorf("it took %v, want %v", time.Since(at), want)
			}
		}
		d.want("bench", benchCode, fromBench, "the bench")
		for range 5 {
			d.want("401", wrongCode, fromBench, "a guess")
		}
		took(0, func() { d.want("401", wrongCode, fromBench, "the first of those that wait") })
		took(50*time.Millisecond, func() { d.want("bench", benchCode, fromBench, "the right one") })
		for range 5 {
			d.want("401", wrongCode, fromStranger, "a stranger's")
		}
		d.want("429", benchCode, fromStranger, "the right one of a stranger, too late")

		ctx, cancel := context.WithCancel(t.Context())
		cancel()
		d.want("401", wrongCode, fromBench, "the next")
		if _, p := d.Identify(ctx, benchCode, fromBench); p == nil || p.Status != 429 {
			t.Errorf("who went away: %+v", p)
		}
		// 201 at once: the last of those that may wait comes after ten seconds, the others are sent away at
		// once.
		time.Sleep(5 * time.Second)
		d.guesses = rateLimit{each: time.Hour, burst: 1}
		d.guesses.take(fromBench, d.at)
		var answers sync.Map
		var all sync.WaitGroup
		at := time.Now()
		for i := range 203 {
			all.Go(func() {
				answers.Store(i, fmt.Sprint(d.says(wrongCode, fromBench), " ",
					time.Since(at) > 0))
			})
		}
		all.Wait()
		count := map[string]int{}
		answers.Range(func(_, a any) bool { count[a.(string)]++; return true })
		if last := time.Since(at); last != 10*time.Second || count["401 true"] != 200 ||
			count["401 false"] != 1 || count["429 false"] != 2 {
			t.Errorf("203 at once: %v, the last after %v", count, last)
		}
		took(50*time.Millisecond, func() {
			d.want("401", wrongCode, fromBench, "one more: those sent away took no turn")
		})
		d.sessions.fails = nil
	})
}

func TestFamiliarIsKept(t *testing.T) {
	d := newDoor(t)
	lockedOut := func() { // an address that has used its guesses up
		for d.says(wrongCode, fromStranger) == "401" {
		}
		d.guesses.share(network(fromBench), d.at).ReserveN(onClock(d.at), 5)
	}
	for range 3 {
		d.want("bench", benchCode, fromBench, "the bench")
	}
	if d.sessions.writes != 1 {
		t.Errorf("an address was written down %d times", d.sessions.writes)
	}
	d.restart()
	d.at += familiarHolds
	lockedOut()
	d.want("bench", benchCode, fromBench, "half a year later, after a restart")
	d.want("429", benchCode, fromStranger, "one that only guessed")
	d.sessions.kept[string(familiarKey(fromBench, d.bench.mark()))] = session{d.bench.mark(),
		anOpening.Add(d.at - 1)}
	d.restart()
	lockedOut()
	d.want("429", benchCode, fromBench, "a moment after half a year")
	d.at += time.Hour
	d.want("bench", benchCode, fromBench, "again")
	d.bench = quickHash("XXXX-XXXX")
	d.restart()
	lockedOut()
	d.want("429", "XXXX-XXXX", fromBench, "where another code was right")

	// A store that does not answer, and what it cannot keep: known until the next start alone.
	d.at += time.Hour
	d.sessions.fails = errors.New("no disk")
	d.want("bench", "XXXX-XXXX", fromBench, "while nothing can be kept")
	lockedOut()
	d.want("bench", "XXXX-XXXX", fromBench, "known from memory")
	d.restart()
	lockedOut()
	d.want("429", "XXXX-XXXX", fromBench, "after a restart, unknown")
}

// familiarHolds is how long an address is known: as a session of the bench.
const familiarHolds = 180 * 24 * time.Hour

// Of familiar addresses 1,024 are in memory; one that is forgotten there is found in the store.
func TestFamiliarAddressesAreBounded(t *testing.T) {
	d := newDoor(t)
	for i := range 1024 {
		d.want("bench", benchCode, nth(i), "a phone")
	}
	d.want("bench", benchCode, nth(0), "one of them again")
	if len(d.addresses) != 1024 || d.sessions.writes != 1024 {
		t.Errorf("%d in memory, %d written", len(d.addresses), d.sessions.writes)
	}
	d.want("bench", benchCode, nth(1024), "one more")
	if len(d.addresses) != 1 {
		t.Errorf("%d in memory after it", len(d.addresses))
	}
	d.guesses.share(network(nth(5)), d.at).ReserveN(onClock(d.at), 5)
	d.want("bench", benchCode, nth(5), "one that memory forgot")
}

func (d *door) open(who Who) string {
	d.t.Helper()
	c, err := d.Open(d.t.Context(), who, true)
	if err != nil {
		d.t.Fatal(err)
	}
	return c.Value
}

func (d *door) wantSession(want Who, cookie, what string) {
	d.t.Helper()
	if got, err := d.Session(d.t.Context(), cookie); got != want || err != nil {
		d.t.Errorf("%s: %v, want %v; %v", what, got, want, err)
	}
}

// A session of the bench lasts half a year, over restarts, and until its code is renewed.
func TestSessionOfTheBench(t *testing.T) {
	d := newDoor(t)
	c, err := d.Open(t.Context(), Bench, true)
	if err != nil || c.Name != "lidwright_session" || c.Path != "/" || !c.HttpOnly || !c.Secure ||
		c.SameSite != http.SameSiteStrictMode || c.MaxAge != 15_552_000 || len(c.Value) != 22 {
		t.Fatalf("%+v %v", c, err)
	}
	if plain, err := d.Open(t.Context(), Bench, false); err != nil || plain.Secure || plain.Value == c.Value {
		t.Errorf("%+v %v", plain, err)
	}
	d.wantSession(Bench, c.Value, "at once")
	d.wantSession(Anyone, strings.Repeat("A", 22), "made up")
	d.sessions.kept[string(sessionKey("short"))] = session{d.bench.mark(), anOpening.Add(d.at + time.Hour)}
	d.wantSession(Anyone, "short", "of another length")
	d.at += familiarHolds
	d.restart()
	d.wantSession(Bench, c.Value, "half a year later")
	d.at++
	d.wantSession(Anyone, c.Value, "a moment later")
	d.at--
	renewed, before := quickHash("XXXX-XXXX"), d.bench
	d.bench = renewed
	d.wantSession(Anyone, c.Value, "its code was renewed")
	d.bench = before
	if err := d.End(t.Context(), c.Value); err != nil {
		t.Fatal(err)
	}
	d.wantSession(Anyone, c.Value, "ended")
	if e := EndedCookie(true); e.MaxAge >= 0 || e.Name != c.Name || e.Path != c.Path ||
		!e.Secure || !e.HttpOnly {
		t.Errorf("%+v", e)
	}
	d.damaged = errors.New("the file is gone")
	if _, err := d.Session(t.Context(), c.Value); err == nil {
		t.Error("a session holds without codes")
	}
	if c, err := d.Open(t.Context(), Bench, true); err == nil || c != nil {
		t.Error("a session opens without codes")
	}
	d.damaged, d.sessions.fails = nil, errors.New("no disk")
	if _, err := d.Session(t.Context(), c.Value); err == nil {
		t.Error("a store that does not answer is nobody's session")
	}
}

// A session of the owner ends two hours after its last use, which the store knows to a quarter of an hour.
func TestSessionOfTheOwner(t *testing.T) {
	d := newDoor(t)
	cookie := d.open(Owner)
	if d.sessions.writes != 1 {
		t.Errorf("written %d times at the opening", d.sessions.writes)
	}
	d.at += 15 * time.Minute
	d.wantSession(Owner, cookie, "a quarter of an hour later")
	if d.sessions.writes != 1 {
		t.Errorf("written %d times within a quarter of an hour", d.sessions.writes)
	}
	d.at++
	d.wantSession(Owner, cookie, "a moment later")
	if d.sessions.writes != 2 {
		t.Errorf("written %d times after it", d.sessions.writes)
	}
	d.wantSession(Owner, cookie, "again")
	if d.sessions.writes != 2 {
		t.Errorf("written %d times for two uses at once", d.sessions.writes)
	}
	d.at += 2 * time.Hour
	d.wantSession(Owner, cookie, "two hours after its last use")
	d.at += 2*time.Hour + 1
	d.wantSession(Anyone, cookie, "more than two hours after it")
	if len(d.sessions.kept) != 0 || len(d.owners) != 0 {
		t.Errorf("what is over is kept: %v", d.sessions.kept)
	}

	cookie = d.open(Owner)
	d.restart()
	d.at += 2 * time.Hour
	d.wantSession(Owner, cookie, "after a restart")
	d.at += 90 * time.Minute
	d.wantSession(Owner, cookie, "used, it goes on in memory")
	d.restart()
	d.at += 2*time.Hour + 1
	d.wantSession(Anyone, cookie, "over, and the daemon began anew meanwhile")

	cookie = d.open(Owner)
	d.at -= 24*time.Hour - 1 // a clock that fell behind, as one of a Pi without a network
	d.restart()
	d.wantSession(Owner, cookie, "a day behind")
	d.at -= 2
	d.restart()
	cookie2 := d.open(Owner)
	d.at -= 24*time.Hour + 1
	d.restart()
	d.wantSession(Anyone, cookie2, "more than a day behind: it tells nothing")

	cookie = d.open(Owner)
	d.owner = quickHash("XXXX-XXXX-XXXX")
	d.wantSession(Anyone, cookie, "its code was renewed")
	cookie = d.open(Owner)
	d.restart()
	d.owner = quickHash("YYYY-YYYY-YYYY")
	d.wantSession(Anyone, cookie, "renewed before a restart")

	d.sessions.fails = errors.New("the disk is full")
	if c, err := d.Open(t.Context(), Owner, false); err != nil || c == nil || c.MaxAge != 0 {
		t.Errorf("the owner is not let in beside a full disk: %v", err)
	}
}

// After a restart the two hours go on from the last use that the store knows of, and are written anew a
// quarter of an hour after it.
func TestOwnerKeptOverARestart(t *testing.T) {
	d := newDoor(t)
	cookie := d.open(Owner)
	d.at += 10 * time.Minute
	d.restart()
	d.wantSession(Owner, cookie, "ten minutes later")
	if d.sessions.writes != 1 {
		t.Errorf("written %d times within a quarter of an hour", d.sessions.writes)
	}
	d.at += 5 * time.Minute
	if d.wantSession(Owner, cookie, "a quarter of an hour later"); d.sessions.writes != 1 {
		t.Errorf("written %d times in a quarter of an hour", d.sessions.writes)
	}
	d.at++
	d.wantSession(Owner, cookie, "after a quarter of an hour")
	if d.sessions.writes != 2 {
		t.Errorf("written %d times after a quarter of an hour", d.sessions.writes)
	}
}

// A session of the owner that the store has for more than a day beyond its two hours tells that the clock is
// far behind: it lets nobody in.
func TestOwnerByAClockThatIsBehind(t *testing.T) {
	for beyond, want := range map[time.Duration]Who{0: Owner, 1: Anyone} {
		d := newDoor(t)
		cookie := d.open(Owner)
		d.sessions.kept[string(sessionKey(cookie))] = session{d.owner.mark(),
			anOpening.Add(d.at + 26*time.Hour + beyond)}
		d.restart()
		d.wantSession(want, cookie, fmt.Sprint("26 h and ", beyond))
	}
}

// What a disk did not keep is told in the log, and nothing where it did: that the owner's session, and that
// an address is known, will not outlast the daemon.
func TestLogTellsWhatIsNotKept(t *testing.T) {
	var said bytes.Buffer
	before := slog.Default()
	slog.SetDefault(slog.New(slog.NewTextHandler(&said, nil)))
	defer slog.SetDefault(before)
	d := newDoor(t)
	for _, fails := range []error{nil, errors.New("the disk is full")} {
		d.sessions.fails = fails
		for what, act := range map[string]func(){
			"will not last over a restart": func() { d.open(Owner) },
			"known until the next start alone": func() {
				d.want("bench", benchCode, nth(len(d.addresses)), "the bench")
			},
		} {
			said.Reset()
			if act(); strings.Contains(said.String(), what) != (fails != nil) ||
				fails == nil && said.Len() > 0 {
				t.Errorf("with %v the log says %q", fails, said.String())
			}
		}
	}
}

// A hundred sessions of the owner are in memory; the one that was used longest ago goes.
func TestOwnersAreBounded(t *testing.T) {
	d := newDoor(t)
	cookies := make([]string, 100)
	for i := range cookies {
		d.at += time.Second
		cookies[i] = d.open(Owner)
	}
	d.at += time.Second
	d.wantSession(Owner, cookies[0], "the first, used again")
	if len(d.owners) != 100 {
		t.Errorf("%d in memory", len(d.owners))
	}
	d.open(Owner)
	in := func(c string) bool { _, ok := d.owners[string(sessionKey(c))]; return ok }
	if len(d.owners) != 100 || !in(cookies[0]) || in(cookies[1]) || !in(cookies[2]) {
		t.Errorf("%d in memory; %v %v %v", len(d.owners), in(cookies[0]), in(cookies[1]), in(cookies[2]))
	}
	d.wantSession(Owner, cookies[1], "the one that went, from the store")
}

// knock asks the door, and gives the answer and who came through (-1: nobody).
func (d *door) knock(method, path, body string, header ...string) (*httptest.ResponseRecorder, Who) {
	d.t.Helper()
	r := httptest.NewRequest(method, path, strings.NewReader(body))
	r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	for i := 0; i+1 < len(header); i += 2 {
		r.Header.Add(header[i], header[i+1])
	}
	through := Who(-1)
	w := httptest.NewRecorder()
	d.Handler(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		through = CallerOf(r.Context()).Who
		if r.ParseForm(); !d.unasked && (r.Form.Get("code") != "" || r.PostForm.Get("code") != "") {
			d.t.Errorf("%s %s: the code goes on to what answers", method, path)
		}
		w.WriteHeader(http.StatusTeapot)
	})).ServeHTTP(w, r)
	return w, through
}

const nobody = Who(-1)

// Who may come through, by the code or the session that they show.
func TestWhoComesThrough(t *testing.T) {
	d := newDoor(t)
	bench, owner := "lidwright_session="+d.open(Bench), "lidwright_session="+d.open(Owner)
	over := "lidwright_session=" + strings.Repeat("x", 22)
	const ours = "Sec-Fetch-Site"
	for _, c := range []struct {
		method, path string
		header       []string
		status       int
		through      Who
	}{
		{"GET", "/open", nil, 418, Anyone},
		{"GET", "/v1/bench", nil, 401, nobody},
		{"PUT", "/v1/bench", nil, 401, nobody},
		{"PUT", "/v1/bench", []string{"Authorization", "bearer " + benchCode}, 418, Bench},
		{"PUT", "/v1/bench", []string{"Authorization", "Bearer " + ownerCode}, 418, Owner},
		{"PUT", "/v1/owner", []string{"Authorization", "Bearer " + benchCode}, 403, nobody},
		{"PUT", "/v1/owner", []string{"Authorization", "Bearer " + ownerCode}, 418, Owner},
		{"PUT", "/v1/bench", []string{"Authorization", "Basic " + benchCode}, 401, nobody},
		{"PUT", "/v1/bench", []string{"Authorization", "Bearer " + benchCode, "Authorization",
			"Bearer " + benchCode}, 401, nobody},
		// what is open is open
		{"GET", "/open", []string{"Authorization", "Bearer " + wrongCode}, 418, Anyone},
		{"GET", "/bench", []string{"Cookie", bench}, 418, Bench},
		{"GET", "/owner", []string{"Cookie", bench}, 403, nobody},
		{"GET", "/owner", []string{"Cookie", owner}, 418, Owner},
		{"GET", "/bench", []string{"Cookie", "lidwright_session=nobodys"}, 401, nobody},
		{"PUT", "/v1/bench", []string{"Cookie", bench}, 403, nobody}, // no word of whose page it was
		{"PUT", "/v1/bench", []string{"Cookie", bench, ours, "same-origin"}, 418, Bench},
		{"PUT", "/v1/bench", []string{"Cookie", bench, "Origin", "http://kiln.local"}, 418, Bench},
		{"PUT", "/v1/owner", []string{"Cookie", bench, ours, "same-origin"}, 403, nobody},
		// a form without its token
		{"POST", "/bench", []string{"Cookie", bench, ours, "same-origin"}, 403, nobody},
		// One whose session is over is as anyone: asked for the code, and not told off for another's form.
		{"POST", "/bench", []string{"Cookie", over}, 401, nobody},
		{"POST", "/open", []string{"Cookie", over}, 418, Anyone},
	} {
		w, through := d.knock(c.method, c.path, "", c.header...)
		if w.Code != c.status || through != c.through {
			t.Errorf("%s %s %v: %d as %v, want %d as %v", c.method, c.path, c.header, w.Code, through,
				c.status, c.through)
		}
		if w.Code == 401 && w.Header().Get("Www-Authenticate") != "Bearer" { // RFC 9110, 11.6.1
			t.Errorf("%s %s: no word of how to ask", c.method, c.path)
		}
	}
	d.damaged = errors.New("the file is gone")
	for _, header := range [][]string{{"Cookie", bench}, {"Authorization", "Bearer " + benchCode}} {
		if w, through := d.knock("GET", "/bench", "", header...); w.Code != 503 || through != nobody {
			t.Errorf("without codes to hold it against, %s: %d", header[0], w.Code)
		}
	}
	d.Codes = nil
	if w, through := d.knock("PUT", "/v1/owner", ""); w.Code != 418 || through != Anyone {
		t.Errorf("a machine without codes: %d", w.Code)
	}
}

// A page's form carries the token of its session; who has none yet may type the code beside its fields.
func TestFormsOfPages(t *testing.T) {
	d := newDoor(t)
	value := d.open(Bench)
	cookie, token := "lidwright_session="+value, FormToken(value)
	if len(token) != 24 || token == FormToken("another") || strings.Contains(token, value[:8]) {
		t.Errorf("token %q", token)
	}
	mine := []string{"Cookie", cookie, "Sec-Fetch-Site", "same-origin"}
	for _, c := range []struct {
		path, body string
		header     []string
		status     int
		through    Who
		opens      bool
	}{
		{"/bench", "token=" + token, mine, 418, Bench, false},
		{"/bench", "token=" + FormToken("another"), mine, 403, nobody, false},
		{"/bench", "token=%zz", mine, 400, nobody, false},
		{"/bench", "", nil, 401, nobody, false},
		{"/bench", "code=" + benchCode, nil, 418, Bench, true},
		{"/bench", "code=" + wrongCode, nil, 401, nobody, false},
		{"/bench", "code=%zz", nil, 400, nobody, false},
		{"/bench?code=" + benchCode, "", nil, 401, nobody, false}, // never in an address
		{"/v1/bench", "code=" + benchCode, nil, 401, nobody, false},
		{"/owner", "code=" + ownerCode + "&token=" + token, mine, 418, Owner, true},
		{"/owner", "code=" + benchCode + "&token=" + token, mine, 403, nobody, true},
	} {
		w, through := d.knock("POST", c.path, c.body, c.header...)
		if opened := len(w.Result().Cookies()) > 0; w.Code != c.status ||
			through != c.through || opened != c.opens {
			t.Errorf("POST %s %q: %d as %v, opens %v; want %d as %v, %v", c.path, c.body, w.Code, through,
				opened, c.status, c.through, c.opens)
		}
	}
	d.unasked = true
	if w, through := d.knock("POST", "/bench", "code="+ownerCode+"&token="+token, mine...); w.Code != 418 ||
		through != Bench || len(w.Result().Cookies()) > 0 {
		t.Errorf("a code that nothing asked for: %d as %v", w.Code, through)
	}
	d.unasked = false
	// The form by which a refusal asks for the code is one of this session too.
	if w, _ := d.knock("POST", "/owner", "token="+token, mine...); w.Code != 403 ||
		!strings.Contains(w.Body.String(), token) {
		t.Errorf("%d %s", w.Code, w.Body)
	}
	if w, _ := d.knock("POST", "/owner", "code="+wrongCode+"&token="+token, mine...); w.Code != 401 ||
		!strings.Contains(w.Body.String(), token) {
		t.Errorf("a wrong code: %d %s", w.Code, w.Body)
	}
	// What opens a session and cannot be kept is said.
	d.sessions.fails = errors.New("no disk")
	if w, through := d.knock("POST", "/bench", "code="+benchCode); w.Code < 500 || through != nobody ||
		len(w.Result().Cookies()) > 0 {
		t.Errorf("a session that cannot be kept: %d", w.Code)
	}
}

// The cookie of a session that a form opened goes over TLS alone where the form came by it.
func TestCookieOfAForm(t *testing.T) {
	d := newDoor(t)
	for _, tls := range []bool{false, true} {
		site := map[bool]string{false: "http://kiln.example", true: "https://kiln.example"}[tls]
		w, through := d.knock("POST", site+"/bench", "code="+benchCode)
		if c := w.Result().Cookies(); through != Bench || len(c) != 1 || c[0].Secure != tls {
			t.Errorf("by TLS %v: %d as %v, %v", tls, w.Code, through, c)
		}
	}
}

// From one address so many entries a second come in, three times as many at once; reading is not rationed.
func TestEntriesAreRationed(t *testing.T) {
	d := newDoor(t)
	d.Gate = NewGate(Access{WritesASecond: 2}, d.sessions, d.Now, d.Rules)
	status := func(method string) int { w, _ := d.knock(method, "/v1/bench", ""); return w.Code }
	for i := range 6 {
		if got := status("PUT"); got != 418 {
			t.Fatalf("entry %d: %d", i, got)
		}
	}
	if got := status("PUT"); got != 429 {
		t.Errorf("the seventh: %d", got)
	}
	if got := status("GET"); got != 418 {
		t.Errorf("a question: %d", got)
	}
	d.at += 500 * time.Millisecond
	if a, b := status("DELETE"), status("PUT"); a != 418 || b != 429 {
		t.Errorf("half a second later: %d, %d", a, b)
	}
	d.Gate = NewGate(Access{WritesASecond: 1}, d.sessions, d.Now, d.Rules)
	for i, want := range []int{418, 418, 418, 429} {
		if got := status("PUT"); got != want {
			t.Errorf("entry %d of one a second: %d", i, got)
		}
	}
	d.Gate = NewGate(Access{}, d.sessions, d.Now, d.Rules)
	for range 100 {
		if got := status("PUT"); got != 418 {
			t.Fatalf("without a ration: %d", got)
		}
	}
}

// Pages of a session have its token in each form that is sent by POST, and are else as they were.
func TestSignedPages(t *testing.T) {
	d := newDoor(t)
	value := d.open(Bench)
	hidden := `<input type="hidden" name="token" value="` + FormToken(value) + `">`
	const page = `<form method="get"><form class="x" METHOD=POST action="/y">a</form><form method="post">`
	for _, c := range []struct{ path, kind, cookie, want string }{
		{"/bench", "text/html; charset=utf-8", value,
			`<form method="get"><form class="x" METHOD=POST action="/y">` + hidden +
				`a</form><form method="post">` + hidden},
		{"/bench", "text/html", "", page},
		{"/v1/bench", "text/html", value, page},
		{"/bench", "text/plain", value, page},
	} {
		w := httptest.NewRecorder()
		r := httptest.NewRequest("GET", c.path, nil)
		r = r.WithContext(context.WithValue(r.Context(), callerKey{}, Caller{Bench, c.cookie}))
		Signed(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
			w.Header().Set("Content-Type", c.kind)
			w.Header().Set("Content-Length", fmt.Sprint(len(page)))
			w.WriteHeader(http.StatusAccepted)
			w.Write([]byte(page))
		})).ServeHTTP(w, r)
		length := w.Header().Get("Content-Length")
		if w.Body.String() != c.want || w.Code != http.StatusAccepted ||
			length != "" && length != fmt.Sprint(w.Body.Len()) {
			t.Errorf("%s %s: %d, length %q\n%s", c.path, c.kind, w.Code, length, w.Body)
		}
	}
	// A head has no body and keeps its length; what streams goes out once, as it comes.
	for _, streams := range []bool{false, true} {
		w := &onceAnswered{httptest.NewRecorder(), 0}
		r := httptest.NewRequest("GET", "/bench", nil)
		r = r.WithContext(context.WithValue(r.Context(), callerKey{}, Caller{Bench, value}))
		Signed(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
			w.Header().Set("Content-Type", "text/plain")
			if !streams {
				w.Header().Set("Content-Length", "700")
				return
			}
			w.Write([]byte("one "))
			http.NewResponseController(w).Flush()
			w.Write([]byte("two"))
		})).ServeHTTP(w, r)
		if want := map[bool]string{false: "", true: "one two"}[streams]; w.Body.String() != want ||
			!streams && w.Header().Get("Content-Length") != "700" {
			t.Errorf("streams %v: %q, length %s", streams, w.Body, w.Header().Get("Content-Length"))
		}
		if w.headers != 1 {
			t.Errorf("streams %v: its head was sent %d times", streams, w.headers)
		}
	}
}

// onceAnswered counts how often the head of an answer is sent.
type onceAnswered struct {
	*httptest.ResponseRecorder
	headers int
}

func (o *onceAnswered) WriteHeader(status int) { o.headers++; o.ResponseRecorder.WriteHeader(status) }
