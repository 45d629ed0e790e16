package daemon

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"lidwright/api/auth"
	"lidwright/config"
	"lidwright/daemon/notice"
	"lidwright/daemon/store"
	"lidwright/kiln"
	"lidwright/kiln/practice"
	"lidwright/kiln/record"
)

// page takes what is logged.
type page struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (p *page) Write(b []byte) (int, error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.b.Write(b)
}

func (p *page) String() string {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.b.String()
}

func (p *page) lines() int { return strings.Count(p.String(), "\n") }

// logged has the log of a test go to a page, thinned by a clock.
func logged(t *testing.T, level slog.Level, now func() time.Time) *page {
	t.Helper()
	p, before := &page{}, slog.Default()
	slog.SetDefault(slog.New(ThinLog(slog.NewTextHandler(p, &slog.HandlerOptions{Level: level}), now)))
	t.Cleanup(func() { slog.SetDefault(before) })
	return p
}

func TestThinLog(t *testing.T) {
	at := time.Date(2026, 2, 3, 7, 0, 0, 0, time.UTC)
	p := logged(t, slog.LevelInfo, func() time.Time { return at })
	for range 3600 { // one fault, an hour, a line a second
		slog.Warn("no disk", "err", errors.New("full"))
		slog.Warn("no disk", "kiln", "blue") // of something else
		at = at.Add(time.Second)
	}
	if n := p.lines(); n != 2*thinSame {
		t.Errorf("%d lines in an hour of two faults, want %d", n, 2*thinSame)
	}
	slog.Warn("no disk", "err", errors.New("full"))
	if last := p.String()[strings.LastIndex(strings.TrimSpace(p.String()), "\n")+1:]; !strings.Contains(last,
		fmt.Sprintf("left_out=%d", 3600-thinSame)) {
		t.Errorf("the first line of the next hour: %s", last)
	}
	at = at.Add(time.Hour)
	before := p.lines()
	for i := range 5000 { // ever new ones
		slog.With("a", 1).WithGroup("g").Error(fmt.Sprintf("fault %d", i))
	}
	if n := p.lines() - before; n != thinWhole {
		t.Errorf("%d lines of 5000 faults at once, want %d", n, thinWhole)
	}
}

// Each single lasting fault, for six hours: at most a hundred lines an hour.
func TestAFaultThatLastsIsNoFlood(t *testing.T) {
	const hours = 6
	start := kiln.Stamp{Boot: "test", Since: time.Hour, Wall: time.Date(2026, 2, 3, 0, 0, 0, 0, time.UTC),
		Trusted: true}
	newStore := func(t *testing.T) *store.Store {
		st, err := store.Open(t.Context(), t.TempDir())
		if err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() { st.Close() })
		return st
	}
	for name, minute := range map[string]func(t *testing.T) func(at *kiln.Stamp){
		// The notifier keeps a hundred notices that it tries again each minute, the copies and the times too,
		// and twenty phones ask every second.
		"disk": func(t *testing.T) func(at *kiln.Stamp) {
			st := newStore(t)
			var now kiln.Stamp
			h := newsdesk(t, st, &now)
			d := &Daemon{Now: func() kiln.Stamp { return now }, store: st}
			st.Close() // every read and write fails from here on
			return func(at *kiln.Stamp) {
				now = *at
				for i := range 3 {
					h.tell(t.Context(), notice.OfKiln(record.Notice{Event: fmt.Sprintf("kiln.event-%d", i),
						State: record.NoticeOnce, Kiln: "blue", T: 900, At: now},
						newID(), "studio", time.UTC))
				}
				h.look(t.Context())
				d.copy(t.Context())
				d.dropLines(t.Context(), now)
				if err := d.store.Trust(t.Context(), now); err != nil {
					slog.Warn("times are not put right yet", "err", err)
				}
			}
		},
		"receiver": func(t *testing.T) func(at *kiln.Stamp) {
			fails := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
				w.WriteHeader(500)
			}))
			t.Cleanup(fails.Close)
			var now kiln.Stamp
			h := newsdesk(t, newStore(t), &now)
			h.post.Receivers, h.post.Pauses = []notice.Receiver{{Name: "phone",
				Carrier: notice.Webhook{URL: fails.URL}}}, []time.Duration{0, 0}
			ctx, stop := context.WithCancel(t.Context())
			done := make(chan error, 1)
			go func() { done <- h.post.Run(ctx) }()
			t.Cleanup(func() { stop(); <-done })
			return func(at *kiln.Stamp) {
				now = *at
				h.tell(t.Context(), notice.OfKiln(record.Notice{Event: record.FiringStartedNotice,
					State: record.NoticeOnce, Kiln: "blue", T: 900, At: now}, newID(), "studio", time.UTC))
			}
		},
		"storm": func(t *testing.T) func(at *kiln.Stamp) { // a plug that comes and goes
			st := newStore(t)
			var now kiln.Stamp
			h := newsdesk(t, st, &now)
			h.news = make(chan record.Notice) // nobody takes them
			return func(at *kiln.Stamp) {
				now = *at
				for range 60 {
					h.receive(record.Notice{Event: record.QuietNotice, State: record.NoticeBegan,
						Kiln: "blue", At: now})
					h.losing.Store(false)
				}
			}
		},
		"watcher": func(t *testing.T) func(at *kiln.Stamp) {
			return func(*kiln.Stamp) {
				ctx, stop := context.WithCancel(t.Context())
				stop()
				notice.Call(ctx, "http://127.0.0.1:1/", time.Minute,
					func() error { return errors.New("the recording loop stands still") })
			}
		},
	} {
		t.Run(name, func(t *testing.T) {
			at := start
			p := logged(t, slog.LevelInfo, func() time.Time { return at.Wall })
			step := minute(t)
			most, before := 0, 0
			for i := range hours * 60 {
				step(&at)
				at.Wall, at.Since = at.Wall.Add(time.Minute), at.Since+time.Minute
				if i%60 == 59 {
					most, before = max(most, p.lines()-before), p.lines()
				}
			}
			if most > 100 {
				t.Errorf("%d lines in an hour", most)
			}
			if name != "receiver" && p.lines() < hours {
				t.Errorf("%d lines in %d hours: the fault was not told every hour\n%s", p.lines(), hours, p)
			}
		})
	}
}

// A daemon whose port is away, or says garbage, whose clock is not trusted, for hours of a clock that
// runs 3600 times as fast: next to nothing is logged, and no secret at any level.
func TestTheLogOfADaemon(t *testing.T) {
	const webhookSecret, token, deadman = "wh-secret-6mVb", "owner-token-Qx83", "dead-man-token-77Fe"
	folder := t.TempDir()
	file := func(name, text string) string {
		path := filepath.Join(folder, name)
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		return path
	}
	fails := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		w.WriteHeader(500)
	}))
	t.Cleanup(fails.Close)
	started := time.Now()
	fast := func() kiln.Stamp {
		since := time.Since(started) * 3600
		return kiln.Stamp{Boot: "fast", Since: since, Wall: started.Add(since).UTC()} // never trusted
	}
	p := logged(t, slog.LevelDebug, func() time.Time { return fast().Wall })
	bench, owner := filepath.Join(folder, "bench"), filepath.Join(folder, "owner")
	var codes []string
	for who, path := range map[auth.Who]string{auth.Bench: bench, auth.Owner: owner} {
		code, err := NewCode(who, path)
		if err != nil {
			t.Fatal(err)
		}
		codes = append(codes, code)
	}
	line, err := practice.OpenPty()
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { line.Close() })
	settings := file("lidwright.toml", fmt.Sprintf(`[store]
folder = %q
[listen]
address = "127.0.0.1:8573"
[codes]
bench_file = %q
owner_file = %q
[notice]
deadman_url = "%s/ping/%s"
[notice.webhook.phone]
url = "%s/hook/%s"
secret_file = %q
[kiln.away]
port = "/dev/serial/by-id/usb-away"
reply = "columns"
limit_c = 1290
channel.1 = { from = "1", unit = "c" }
probe.1.type = "K"
[kiln.garbled]
port = %q
reply = "columns"
limit_c = 1290
channel.1 = { from = "1", unit = "c" }
probe.1.type = "K"
`, filepath.Join(folder, "store"), bench, owner, fails.URL, deadman, fails.URL, token, file("secret", webhookSecret), line.Path))
	cfg, err := config.Load(settings, nil, nil)
	if err != nil {
		t.Fatal(err)
	}
	d, err := New(t.Context(), cfg, "test")
	if err != nil {
		t.Fatal(err)
	}
	d.Now = fast
	d.Listen = func(string) (net.Listener, error) { return net.Listen("tcp", "127.0.0.1:0") }
	address := make(chan string, 1)
	d.Ready = func(a string) { address <- a }
	ctx, stop := context.WithCancel(t.Context())
	ended := make(chan error, 1)
	go func() { ended <- d.Run(ctx) }()
	site := "http://" + <-address
	ask := func(method, path, bearer, body string) int {
		req, _ := http.NewRequest(method, site+path, strings.NewReader(body))
		req.Header.Set("Authorization", "Bearer "+bearer)
		req.Header.Set("Content-Type", "application/json")
		resp, err := http.DefaultClient.Do(req)
		if err != nil {
			t.Fatal(err)
		}
		resp.Body.Close()
		return resp.StatusCode
	}
	for _, code := range append(codes, "wrong-"+codes[0]) {
		ask(http.MethodPut, "/v1/clays/tern", code, `{"name":"Tern"}`)
		ask(http.MethodPut, "/v1/clays/tern?code="+code, code, `{"name":`)
		ask(http.MethodGet, "/v1/bars?code="+code, code, "")
		ask(http.MethodPost, "/code", code, "code="+code)
	}
	d.notifier.Test(ctx)
	for since := fast().Since; fast().Since-since < 2*time.Hour; time.Sleep(20 * time.Millisecond) {
		line.Write([]byte("rub\x01bish\n"))
	}
	stop()
	if err := <-ended; err != nil {
		t.Error(err)
	}
	hours := fast().Since.Hours()
	if n := p.lines(); float64(n) > 100*hours || n > 100 {
		t.Errorf("%d lines in %.1f h:\n%s", n, hours, p)
	}
	for _, secret := range append(codes, webhookSecret, token, deadman) {
		for _, form := range []string{secret, strings.ReplaceAll(secret, "-", "")} {
			if strings.Contains(p.String(), form) {
				t.Errorf("the log tells %q:\n%s", form, p)
			}
		}
	}
	if !strings.Contains(p.String(), "receiver=phone") {
		t.Errorf("nothing of the receiver that fails:\n%s", p)
	}
}
