package notice

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"os/exec"
	"runtime"
	"strings"
	"sync"
	"testing"
	"time"

	"lidwright/kiln"
	"lidwright/kiln/message"
	"lidwright/kiln/record"
)

// tray is an outbox in memory.
type tray struct {
	mu      sync.Mutex
	waiting []Delivery
	fates   []string
	changed chan struct{}
}

func newTray() *tray { return &tray{changed: make(chan struct{}, 100)} }

func (t *tray) PutNotice(_ context.Context, m Message, body []byte, to []string) error {
	t.mu.Lock()
	defer t.mu.Unlock()
	for _, r := range to {
		t.waiting = append(t.waiting, Delivery{Notice: m.ID, Receiver: r, Event: m.Event, Body: body})
	}
	return nil
}

func (t *tray) WaitingNotices(context.Context) ([]Delivery, error) {
	t.mu.Lock()
	defer t.mu.Unlock()
	return append([]Delivery{}, t.waiting...), nil
}

func (t *tray) TriedNotice(_ context.Context, id, receiver, outcome, answer string, _ time.Time) error {
	t.mu.Lock()
	t.fates = append(t.fates, receiver+" "+outcome+" "+answer)
	t.mu.Unlock()
	t.changed <- struct{}{}
	return nil
}

// until waits for so many tries.
func (t *tray) until(tb testing.TB, n int) []string {
	tb.Helper()
	deadline := time.After(5 * time.Minute)
	for {
		t.mu.Lock()
		if len(t.fates) >= n {
			defer t.mu.Unlock()
			return append([]string{}, t.fates...)
		}
		fates := append([]string{}, t.fates...)
		t.mu.Unlock()
		select {
		case <-t.changed:
		case <-deadline:
			tb.Fatalf("after %d tries nothing more came: %v", len(fates), fates)
		}
	}
}

func running(t *testing.T, p *Post) {
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() { done <- p.Run(ctx) }()
	t.Cleanup(func() {
		cancel()
		if err := <-done; err != nil {
			t.Error(err)
		}
	})
}

func aMessage(event string) Message {
	return OfStudio(event, "once", message.New("words"), "/x", nil,
		kiln.Stamp{Wall: time.Date(2026, 2, 1, 21, 0, 0, 0, time.UTC)}, "id-"+event, "studio", time.UTC)
}

// One that hangs, one that redirects, one that fails and one that takes: the last has its
// message while the others are still being tried, and each of those is given up after five tries.
func TestReceivers(t *testing.T) {
	release := make(chan struct{})
	hanging := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		select {
		case <-release:
		case <-r.Context().Done():
		}
	}))
	defer hanging.Close()
	defer close(release)
	var elsewhere int
	var mu sync.Mutex
	other := httptest.NewServer(http.HandlerFunc(func(http.ResponseWriter, *http.Request) {
		mu.Lock()
		elsewhere++
		mu.Unlock()
	}))
	defer other.Close()
	redirects := httptest.NewServer(http.RedirectHandler(other.URL, http.StatusTemporaryRedirect))
	defer redirects.Close()
	fails := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
		w.WriteHeader(500)
	}))
	defer fails.Close()
	type got struct {
		head http.Header
		body []byte
	}
	taken := make(chan got, 1)
	takes := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		b, _ := io.ReadAll(r.Body)
		taken <- got{r.Header.Clone(), b}
		w.WriteHeader(204)
	}))
	defer takes.Close()

	tray := newTray()
	p := &Post{Outbox: tray, Now: time.Now, Pauses: []time.Duration{0, 0, 0, 0, 0}, Receivers: []Receiver{
		{Name: "hangs", Carrier: Webhook{URL: hanging.URL, Patience: 100 * time.Millisecond}},
		{Name: "redirects", Carrier: Webhook{URL: redirects.URL}},
		{Name: "fails", Carrier: Webhook{URL: fails.URL}},
		{Name: "takes", Carrier: Webhook{URL: takes.URL, Secret: []byte("a secret"), Now: time.Now}},
		{Name: "other", Carrier: Webhook{URL: takes.URL}, On: []string{"copy.old"}}}}
	running(t, p)
	if err := p.Send(context.Background(), aMessage("kiln.quiet")); err != nil {
		t.Fatal(err)
	}
	g := <-taken
	at, signature := g.head.Get("Lidwright-Time"), g.head.Get("Lidwright-Signature")
	// HMAC-SHA256 by another hand: Python's hmac module (RFC 2104).
	out, err := exec.Command("python3", "-c",
		`import hmac,sys; print(hmac.new(b"a secret", sys.argv[1].encode()+b"."+sys.argv[2].encode(), "sha256").hexdigest())`, at, string(g.body)).CombinedOutput()
	if err != nil || signature != "sha256="+strings.TrimSpace(string(out)) {
		t.Errorf("signature %q; Python says %s (%v)", signature, out, err)
	}
	var m Message
	if err := json.Unmarshal(g.body, &m); err != nil || m.ID != "id-kiln.quiet" || !strings.HasSuffix(m.Says,
		string(Plain)) {
		t.Errorf("got %s", g.body)
	}
	fates := tray.until(t, 16)
	count := map[string]int{}
	for _, f := range fates {
		count[f]++
	}
	for want, n := range map[string]int{"takes sent 204": 1, "fails waiting 500": 4, "fails gave_up 500": 1,
		"redirects waiting 307": 4, "redirects gave_up 307": 1, "hangs waiting no answer": 4,
		"hangs gave_up no answer": 1} {
		if count[want] != n {
			t.Errorf("%q %d times, want %d; all: %v", want, count[want], n, count)
		}
	}
	mu.Lock()
	defer mu.Unlock()
	if elsewhere != 0 {
		t.Error("a redirection was followed")
	}
}

// What was in the outbox when the program ended is sent by the next one, with what is left of its tries.
func TestOutboxOutlives(t *testing.T) {
	tries := make(chan struct{}, 10)
	s := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
		tries <- struct{}{}
		w.WriteHeader(500)
	}))
	defer s.Close()
	tray := newTray()
	tray.waiting = []Delivery{{Notice: "n", Receiver: "phone", Event: "kiln.quiet", Body: []byte("{}"),
		Tries: 3}, {Notice: "m", Receiver: "gone from the settings", Body: []byte("{}")}}
	running(t, &Post{Outbox: tray, Now: time.Now, Pauses: []time.Duration{0, 0, 0, 0, 0},
		Receivers: []Receiver{{Name: "phone", Carrier: Webhook{URL: s.URL}}}})
	if got := strings.Join(tray.until(t, 2), "; "); got != "phone waiting 500; phone gave_up 500" {
		t.Error(got)
	}
}

// blackHole is an outbox that keeps nothing and counts what came of the tries.
type blackHole struct {
	tried chan string
	asked chan struct{} // closed when the poster looks what waits: from then on Send hands on
}

func (blackHole) PutNotice(context.Context, Message, []byte, []string) error { return nil }
func (b blackHole) WaitingNotices(context.Context) ([]Delivery, error) {
	close(b.asked)
	return nil, nil
}
func (b blackHole) TriedNotice(_ context.Context, _, _, outcome, _ string, _ time.Time) error {
	b.tried <- outcome
	return nil
}

// TestPosterKeepsNothing: a message that was taken leaves nothing behind in memory.
func TestPosterKeepsNothing(t *testing.T) {
	s := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		io.Copy(io.Discard, r.Body)
	}))
	defer s.Close()
	box := blackHole{make(chan string, 1), make(chan struct{})}
	p := &Post{Outbox: box, Now: time.Now,
		Receivers: []Receiver{{Name: "phone", Carrier: Webhook{URL: s.URL}}}}
	running(t, p)
	<-box.asked
	heap := func() uint64 {
		var m runtime.MemStats
		runtime.GC()
		runtime.ReadMemStats(&m)
		return m.HeapAlloc
	}
	send := func(n int) {
		for i := range n {
			m := aMessage("kiln.quiet")
			m.ID = fmt.Sprint(i, strings.Repeat("-", 8<<10))
			for p.Send(t.Context(), m) != nil {
				t.Fatal("not sent")
			}
			<-box.tried
		}
	}
	send(50)
	before := heap()
	send(1000) // 8 MB of ids
	if after := heap(); after > before+2<<20 {
		t.Errorf("%d kB are held after 1,000 messages were taken", (after-before)>>10)
	}
}

// TestSentBeforeTheStart: what is put into the outbox before the poster runs is sent once.
func TestSentBeforeTheStart(t *testing.T) {
	got := make(chan struct{}, 10)
	s := httptest.NewServer(http.HandlerFunc(func(http.ResponseWriter, *http.Request) { got <- struct{}{} }))
	defer s.Close()
	tray := newTray()
	p := &Post{Outbox: tray, Now: time.Now,
		Receivers: []Receiver{{Name: "phone", Carrier: Webhook{URL: s.URL}}}}
	for _, e := range []string{"kiln.quiet", "copy.old"} {
		if err := p.Send(t.Context(), aMessage(e)); err != nil {
			t.Fatal(err)
		}
		if e == "kiln.quiet" {
			running(t, p)
			<-got
		}
	}
	<-got
	if fates := tray.until(t, 2); len(fates) != 2 || len(got) > 0 {
		t.Errorf("%v, and %d more", fates, len(got))
	}
}

// TestQuietHours: in them a receiver gets what wakes it and a test, and the others afterwards.
func TestQuietHours(t *testing.T) {
	got := make(chan string, 10)
	s := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		var m Message
		json.NewDecoder(r.Body).Decode(&m)
		got <- m.Event
	}))
	defer s.Close()
	tray := newTray()
	p := &Post{Outbox: tray, Now: time.Now,
		Receivers: []Receiver{{Name: "phone", Carrier: Webhook{URL: s.URL},
			Wakes: []string{record.QuietNotice, record.OverLimitNotice},
			Quiet: func(time.Time) bool { return true }}}}
	running(t, p)
	for _, e := range []string{record.FiringEndedNotice, record.OverLimitNotice, CopyOld,
		record.QuietNotice, Test} {
		if err := p.Send(context.Background(), aMessage(e)); err != nil {
			t.Fatal(err)
		}
	}
	for _, want := range []string{record.OverLimitNotice, record.QuietNotice, Test} {
		if e := <-got; e != want {
			t.Errorf("%s came in quiet hours, want %s", e, want)
		}
	}
	tray.until(t, 3)
	if len(got) > 0 {
		t.Errorf("%s came too", <-got)
	}
}

func TestWords(t *testing.T) {
	for event, words := range what {
		for _, state := range []record.NoticeState{record.NoticeBegan, record.NoticeCleared} {
			if state == record.NoticeCleared && len(words[1]) == 0 {
				continue
			}
			m := OfKiln(record.Notice{Event: event, State: state, Kiln: "big-blue", T: 1043,
				Age: 6 * time.Minute}, "id", "studio", time.UTC)
			if !strings.HasSuffix(m.Says, string(Last)) || !strings.Contains(m.Says, "ig-blue") ||
				strings.Contains(m.Says, "%") || !strings.Contains(m.Says, "1043 °C, 6 min ago") {
				t.Errorf("%s %s says %q", event, state, m.Says)
			}
		}
	}
}

func TestDeadman(t *testing.T) {
	calls := make(chan struct{}, 100)
	s := httptest.NewServer(http.HandlerFunc(func(http.ResponseWriter, *http.Request) {
		calls <- struct{}{}
	}))
	defer s.Close()
	ctx, cancel := context.WithCancel(context.Background())
	asked := make(chan struct{}, 100)
	var ill error
	var mu sync.Mutex
	done := make(chan error, 1)
	go func() {
		done <- Call(ctx, s.URL, 5*time.Millisecond, func() error {
			mu.Lock()
			defer mu.Unlock()
			asked <- struct{}{}
			return ill
		})
	}()
	<-calls
	mu.Lock()
	ill = io.ErrUnexpectedEOF
	for len(asked) > 0 {
		<-asked
	}
	mu.Unlock()
	<-asked
	for len(calls) > 0 {
		<-calls
	}
	for range 5 {
		<-asked
	}
	if len(calls) > 0 {
		t.Error("the watcher was called while not all was well")
	}
	cancel()
	if err := <-done; err != nil {
		t.Error(err)
	}
}
