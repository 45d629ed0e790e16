package daemon

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"slices"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"golang.org/x/sys/unix"

	"lidwright/api/usecase"
	"lidwright/config"
	"lidwright/daemon/notice"
	"lidwright/daemon/store"
	"lidwright/kiln"
	"lidwright/kiln/message"
	"lidwright/kiln/record"
	"lidwright/tiles"
)

// newsdesk is a notifier over a store of its own whose clock the test turns.
func newsdesk(t *testing.T, st *store.Store, at *kiln.Stamp) *notifier {
	t.Helper()
	cfg := config.Default()
	h, err := newNotifier(st, cfg, time.UTC, func() kiln.Stamp { return *at }, newID)
	if err != nil {
		t.Fatal(err)
	}
	return h
}

// sent lists what went out so far as event and state, oldest first.
func sent(t *testing.T, h *notifier) []string {
	t.Helper()
	all, err := h.Last(t.Context(), 1000)
	if err != nil {
		t.Fatal(err)
	}
	var out []string
	for _, m := range slices.Backward(all) {
		if want := map[bool]string{true: string(notice.Last),
			false: string(notice.Plain)}[m.Kiln != ""]; !strings.HasSuffix(m.Says, " "+want) {
			t.Errorf("%s does not end with the standing sentence: %s", m.Event, m.Says)
		}
		out = append(out, m.Event+" "+m.State)
	}
	return out
}

// What can wait comes with the digest, each thing once: not before the hour, not again on the same
// day or after a restart, and again only when there is something new.
func TestDigestTellsEachThingOnce(t *testing.T) {
	st, err := store.Open(t.Context(), t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { st.Close() })
	at := kiln.Stamp{Boot: "test", Since: time.Hour, Wall: time.Date(2026, 2, 3, 7, 0, 0, 0, time.UTC),
		Trusted: true}
	load := "0193a0b0-0000-7000-8000-00000000a001"
	if _, err := st.PutLoad(t.Context(), tiles.Load{ID: load, Kiln: "blue", Kind: kiln.Glaze,
		Atmosphere: kiln.UnknownAtmosphere, Stated: 1222}, usecase.Precondition{}, at); err != nil {
		t.Fatal(err)
	}
	if err := st.CloseLoad(t.Context(), load, at.Wall.Add(-time.Hour), "KT", at); err != nil {
		t.Fatal(err)
	}
	moved := at.Wall.Add(-2 * time.Hour)
	news := []usecase.StudioNews{
		{Event: notice.RateMoved, Link: "/clay/tern", Since: moved,
			Says: message.New("the rate of tern/B moved")},
		{Event: notice.RateStale, Link: "/clay/wren", Since: at.Wall.AddDate(-1, 0, 0),
			Says: message.New("the rate of wren/A is stale")},
		{Event: notice.BatchShifted, Link: "/clay/tern?batch=B",
			Says: message.New("batch B of tern shrinks more")},
		{Event: notice.ProbeBias, Link: "/kiln/blue", Kiln: "blue", Since: at.Wall.AddDate(0, 0, -90),
			Says: message.New("blue, probe 1 reads low")},
	}
	start := func() *notifier {
		h := newsdesk(t, st, &at)
		h.studio = func(context.Context) ([]usecase.StudioNews, error) { return news, nil }
		return h
	}
	h := start()
	h.look(t.Context())
	if got := sent(t, h); len(got) > 0 {
		t.Fatalf("before the hour of the digest: %v", got)
	}
	step := func(d time.Duration) { at.Wall, at.Since = at.Wall.Add(d), at.Since+d }
	step(2 * time.Hour)
	h.look(t.Context())
	want := []string{"load.unpacked once", "rate.moved once", "rate.stale once", "batch.shifted once",
		"probe.bias once"}
	if got := sent(t, h); !slices.Equal(got, want) {
		t.Fatalf("digest: %v\nwant %v", got, want)
	}
	h = start() // the same day after a restart, and the days after
	for range 4 {
		h.look(t.Context())
		step(24 * time.Hour)
	}
	news[0].Since = at.Wall.Add(-time.Hour) // it moved again
	h.look(t.Context())
	var clays []string
	for _, g := range sent(t, h)[len(want):] {
		if !strings.HasPrefix(g, "copy.old") { // nobody makes copies here
			clays = append(clays, g)
		}
	}
	if !slices.Equal(clays, []string{"rate.moved once"}) {
		t.Errorf("after that: %v; want the second move alone", clays)
	}
	news = nil
	h.studio = func(context.Context) ([]usecase.StudioNews, error) { return nil, usecase.ErrBusy }
	if err := h.clays(t.Context(), at); err != nil {
		t.Errorf("nothing fitted yet is no trouble: %v", err)
	}
	h.studio = func(context.Context) ([]usecase.StudioNews, error) { return nil, errors.New("no disk") }
	if err := h.clays(t.Context(), at); err == nil {
		t.Error("trouble is kept quiet")
	}
}

// That what was recorded is in no copy is told once when it begins, also over a restart, and once
// when a copy has it.
func TestCopyTooOldBeginsAndClears(t *testing.T) {
	at := kiln.Stamp{Boot: "test", Since: time.Hour, Wall: time.Date(2026, 2, 3, 9, 0, 0, 0, time.UTC),
		Trusted: true}
	st, err := store.Settings{Now: func() kiln.Stamp { return at }}.Open(t.Context(), t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { st.Close() })
	step := func(d time.Duration) { at.Wall, at.Since = at.Wall.Add(d), at.Since+d }
	if _, err := st.PutClay(t.Context(), tiles.Clay{ID: "tern", Name: "Tern"},
		usecase.Precondition{}, at); err != nil {
		t.Fatal(err)
	}
	h := newsdesk(t, st, &at)
	for range 35 * 60 / 5 { // under a day and a half: nothing
		h.look(t.Context())
		step(5 * time.Minute)
	}
	if got := sent(t, h); len(got) > 0 {
		t.Fatalf("after 35 hours: %v", got)
	}
	days := func(n int) {
		for range n * 24 * 12 {
			h.look(t.Context())
			step(5 * time.Minute)
		}
	}
	days(4)
	want := []string{"copy.old began"}
	if got := sent(t, h); !slices.Equal(got, want) {
		t.Fatalf("after 5 days: %v, want %v", got, want)
	}
	h = newsdesk(t, st, &at) // a restart
	standing, err := st.StandingNotices(t.Context())
	if err != nil || len(standing) != 1 {
		t.Fatalf("%v stand, %v", standing, err)
	}
	h.gate.Restore(standing[0], at)
	days(2)
	if got := sent(t, h); !slices.Equal(got, want) {
		t.Fatalf("after a restart: %v, want %v", got, want)
	}
	if made, err := st.Copy(t.Context()); err != nil || !made {
		t.Fatalf("copy: %v %v", made, err)
	}
	days(2)
	want = append(want, "copy.old cleared")
	if got := sent(t, h); !slices.Equal(got, want) {
		t.Errorf("after a copy: %v, want %v", got, want)
	}
}

// Fired bars that nobody measures are told after three days, once in a fortnight, and not of a load
// whose bars are measured.
func TestBarsWaitingAreTold(t *testing.T) {
	at := kiln.Stamp{Boot: "test", Since: time.Hour, Wall: time.Date(2026, 2, 3, 9, 0, 0, 0, time.UTC),
		Trusted: true}
	st, err := store.Open(t.Context(), t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { st.Close() })
	step := func(d time.Duration) { at.Wall, at.Since = at.Wall.Add(d), at.Since+d }
	keep := func(_ tiles.PutResult, err error) {
		if err != nil {
			t.Fatal(err)
		}
	}
	keep(st.PutClay(t.Context(), tiles.Clay{ID: "tern", Name: "Tern"}, usecase.Precondition{}, at))
	keep(st.PutBatch(t.Context(), tiles.Batch{BatchRef: tiles.BatchRef{Clay: "tern", Batch: "A"},
		Kind: tiles.Bought, Open: true}, usecase.Precondition{}, at))
	load := "0193a0b0-0000-7000-8000-00000000a002"
	keep(st.PutBar(t.Context(), tiles.Bar{Code: "BQA", ID: "0193a0b0-0000-7000-8000-00000000b001",
		BatchRef: tiles.BatchRef{Clay: "tern", Batch: "A"}, Forming: tiles.ThrownRing, MarkLength: 100,
		Marks: 1}, usecase.Precondition{}, at))
	reading := func(id string, stage tiles.Stage, mm float64) {
		keep(st.PutReading(t.Context(), tiles.Reading{ID: "0193a0b0-0000-7000-8000-00000000c00" + id,
			Bar: "BQA", Mark: 1, Stage: stage, Length: tiles.Millimetre(mm), AsTyped: "x", Unit: "mm"}, at))
	}
	reading("1", tiles.Wet, 100)
	keep(st.PutLoad(t.Context(), tiles.Load{ID: load, Kiln: "blue", Kind: kiln.Glaze,
		Atmosphere: kiln.UnknownAtmosphere, Stated: 1222, Bars: []tiles.Placed{{Bar: "BQA"}}},
		usecase.Precondition{}, at))
	if err := st.CloseLoad(t.Context(), load, at.Wall, "KT", at); err != nil {
		t.Fatal(err)
	}
	h := newsdesk(t, st, &at)
	told := func() (n int) {
		for _, s := range sent(t, h) {
			if s == "bars.waiting once" {
				n++
			}
		}
		return n
	}
	days := func(n int) {
		for range n * 24 {
			h.look(t.Context())
			step(time.Hour)
		}
	}
	days(2)
	if told() != 0 {
		t.Error("told before three days are over")
	}
	days(12)
	if n := told(); n != 1 {
		t.Errorf("told %d times in a fortnight", n)
	}
	days(6)
	if n := told(); n != 2 {
		t.Errorf("told %d times in three weeks", n)
	}
	reading("2", tiles.Fired, 87.6)
	days(20)
	if n := told(); n != 2 {
		t.Errorf("told %d times: bars that are measured wait for nobody", n)
	}
}

// Every event of a kiln goes out when it begins or happens, and those that last clear.
func TestEveryKilnNoticeFiresAndClears(t *testing.T) {
	st, err := store.Open(t.Context(), t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { st.Close() })
	at := kiln.Stamp{Boot: "test", Since: time.Hour, Wall: time.Date(2026, 2, 3, 12, 0, 0, 0, time.UTC),
		Trusted: true}
	h := newsdesk(t, st, &at)
	say := func(event string, state record.NoticeState) {
		h.tell(t.Context(), notice.OfKiln(record.Notice{Event: event, State: state, Kiln: "blue", T: 900,
			At: at}, newID(), "studio", time.UTC))
	}
	var want []string
	for _, event := range []string{record.FiringStartedNotice, record.FiringEndedNotice,
		record.FellEarlyNotice, record.CooledNotice, record.StillFiringNotice} {
		say(event, record.NoticeOnce)
		want = append(want, event+" once")
	}
	for _, event := range []string{record.FiringLongNotice, record.QuietNotice, record.OverLimitNotice,
		record.StoppedClimbingNotice} {
		say(event, record.NoticeBegan)
		at.Wall, at.Since = at.Wall.Add(20*time.Minute), at.Since+20*time.Minute
		say(event, record.NoticeCleared)
		want = append(want, event+" began", event+" cleared")
	}
	if got := sent(t, h); !slices.Equal(got, want) {
		t.Errorf("%v\nwant %v", got, want)
	}
}

// A receiver that hangs keeps nobody waiting: a thousand notices are taken off the recorder's
// hands while it does, and what the queue cannot hold is dropped and said, not waited for.
func TestHangingReceiverDelaysNobody(t *testing.T) {
	asked, release := make(chan struct{}, 1000), make(chan struct{})
	srv := httptest.NewServer(http.HandlerFunc(func(http.ResponseWriter, *http.Request) {
		asked <- struct{}{}
		<-release
	}))
	t.Cleanup(srv.Close)
	t.Cleanup(func() { close(release) })
	st, err := store.Open(t.Context(), t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { st.Close() })
	at := kiln.Stamp{Boot: "test", Since: time.Hour, Wall: time.Date(2026, 2, 3, 12, 0, 0, 0, time.UTC),
		Trusted: true}
	h := newsdesk(t, st, &at)
	h.post.Receivers = []notice.Receiver{{Name: "slow", Carrier: notice.Webhook{URL: srv.URL}}}
	recorded := make(chan struct{})
	ctx, cancel := context.WithCancel(t.Context())
	over := make(chan error, 1)
	go func() { over <- h.run(ctx, recorded) }()
	h.receive(record.Notice{Event: record.FiringStartedNotice, State: record.NoticeOnce, Kiln: "blue", T: 70,
		At: at})
	<-asked // it hangs now, for as long as the test goes on
	for range 1000 {
		h.receive(record.Notice{Event: record.QuietNotice, State: record.NoticeBegan, Kiln: "blue", T: 900,
			At: at})
		h.receive(record.Notice{Event: record.QuietNotice, State: record.NoticeCleared, Kiln: "blue", T: 900,
			At: at})
	}
	for len(h.news) > 0 {
		time.Sleep(time.Millisecond)
	}
	h.receive(record.Notice{Event: record.FiringEndedNotice, State: record.NoticeOnce, Kiln: "blue", T: 40,
		At: at})
	for len(h.news) > 0 { // the news after the storm is heeded while the receiver still hangs
		time.Sleep(time.Millisecond)
	}
	cancel()
	// the recorder ends last
	h.receive(record.Notice{Event: record.OverLimitNotice, State: record.NoticeBegan,
		Kiln: "blue", T: 1300, At: at})
	close(recorded)
	if err := <-over; err != nil {
		t.Error(err)
	}
	if got := sent(t, h); !slices.Equal(got, []string{"firing.started once", "kiln.quiet began",
		"firing.ended once", "kiln.over_limit began"}) {
		t.Errorf("a storm is one notice, and what is told at the end is kept: %v", got)
	}
}

// TestWhatWakes: by itself a receiver is woken by what cannot wait until morning, most firings going on at
// night; its own list says otherwise.
func TestWhatWakes(t *testing.T) {
	got := make(chan string, 100)
	srv := httptest.NewServer(http.HandlerFunc(func(_ http.ResponseWriter, r *http.Request) {
		var m notice.Message
		json.NewDecoder(r.Body).Decode(&m)
		got <- strings.TrimPrefix(r.URL.Path, "/") + " " + m.Event
	}))
	t.Cleanup(srv.Close)
	cfg, err := config.LoadText("lidwright.toml", fmt.Sprintf(`
[notice]
quiet_hours = "22:00-07:00"
[notice.webhook.usual]
url = "%[1]s/usual"
[notice.webhook.limit]
url = "%[1]s/limit"
wakes = ["kiln.over_limit"]
[notice.webhook.nothing]
url = "%[1]s/nothing"
wakes = []
`, srv.URL), nil)
	if err != nil {
		t.Fatal(err)
	}
	st, err := store.Open(t.Context(), t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { st.Close() })
	at := kiln.Stamp{Boot: "test", Since: time.Hour, Wall: time.Date(2026, 2, 3, 2, 30, 0, 0, time.UTC),
		Trusted: true}
	h, err := newNotifier(st, cfg, time.UTC, func() kiln.Stamp { return at }, newID)
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	recorded, over := make(chan struct{}), make(chan error, 1)
	go func() { over <- h.run(ctx, recorded) }()
	want := map[string]bool{"limit kiln.over_limit": true, "usual test": true, "limit test": true,
		"nothing test": true}
	for _, event := range []string{record.FiringStartedNotice, record.QuietNotice, record.OverLimitNotice,
		record.StoppedClimbingNotice, record.StandsLowNotice, record.FellEarlyNotice, record.CooledNotice,
		notice.NotWriting, notice.CopyOld} {
		h.send(ctx, notice.OfStudio(event, "began", message.New("words"), "/", nil, at, newID(), "studio",
			time.UTC))
		switch event {
		case record.QuietNotice, record.OverLimitNotice, record.StoppedClimbingNotice,
			record.FellEarlyNotice, notice.NotWriting:
			want["usual "+event] = true
		}
	}
	if err := h.Test(ctx); err != nil {
		t.Fatal(err)
	}
	for range len(want) { // a test comes last to each of them
		e := <-got
		if !want[e] {
			t.Errorf("%s in quiet hours", e)
		}
		delete(want, e)
	}
	if len(want) > 0 {
		t.Errorf("did not come in quiet hours: %v", want)
	}
	cancel()
	close(recorded)
	if err := <-over; err != nil {
		t.Error(err)
	}
}

// TestNothingCanBeKept: a disk that takes nothing is told at once, from memory, with one line in the log
// when it begins and one when it ends, however long it lasts; what was told stands in the list afterwards.
func TestNothingCanBeKept(t *testing.T) {
	got := make(chan notice.Message, 100)
	srv := httptest.NewServer(http.HandlerFunc(func(_ http.ResponseWriter, r *http.Request) {
		var m notice.Message
		json.NewDecoder(r.Body).Decode(&m)
		got <- m
	}))
	t.Cleanup(srv.Close)
	var lines bytes.Buffer
	old := slog.Default()
	slog.SetDefault(slog.New(slog.NewTextHandler(&lines, nil)))
	t.Cleanup(func() { slog.SetDefault(old) })
	st, err := store.Open(t.Context(), t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { st.Close() })
	at := kiln.Stamp{Boot: "test", Since: time.Hour, Wall: time.Date(2026, 2, 3, 7, 0, 0, 0, time.UTC),
		Trusted: true}
	h := newsdesk(t, st, &at)
	full := &fullOutbox{Store: st}
	h.post.Outbox, h.post.Receivers = full, []notice.Receiver{{Name: "phone",
		Carrier: notice.Webhook{URL: srv.URL}}}
	ctx, cancel := context.WithCancel(t.Context())
	carried := make(chan error, 1)
	go func() { carried <- h.post.Run(ctx) }()
	full.refuses.Store(true)
	h.keeps = func() error { return record.ErrFull }
	for range 500 {
		h.disk(ctx)
		h.look(ctx)
		at.Since, at.Wall = at.Since+5*time.Second, at.Wall.Add(5*time.Second)
	}
	m := <-got
	if m.Event != notice.NotWriting || m.State != "began" || !strings.Contains(m.Says, "the disk is full") {
		t.Errorf("told %+v", m)
	}
	full.refuses.Store(false)
	h.keeps = func() error { return nil }
	for range 500 {
		h.disk(ctx)
		h.look(ctx)
	}
	if m := <-got; m.Event != notice.NotWriting || m.State != "cleared" {
		t.Errorf("told %+v", m)
	}
	if list := sent(t, h); !slices.Equal(list, []string{"store.not_writing began",
		"store.not_writing cleared"}) {
		t.Errorf("listed %v", list)
	}
	cancel()
	<-carried
	for _, want := range []string{"nothing can be kept", "everything can be kept again"} {
		if n := strings.Count(lines.String(), want); n != 1 {
			t.Errorf("%d lines say %q:\n%s", n, want, lines.String())
		}
	}
	if len(got) > 0 {
		t.Errorf("told too: %+v", <-got)
	}
}

// fullOutbox is that of a store, on a disk that takes nothing while told so.
type fullOutbox struct {
	*store.Store
	refuses atomic.Bool
}

func (f *fullOutbox) PutNotice(ctx context.Context, m notice.Message, body []byte, to []string) error {
	if f.refuses.Load() {
		return record.ErrFull
	}
	return f.Store.PutNotice(ctx, m, body, to)
}

// TestReasonsWhyNotReady: while nothing can be kept the daemon is not ready and not well, and says why.
func TestReasonsWhyNotReady(t *testing.T) {
	b := newHeatBench(t)
	var disk atomic.Pointer[unix.Statfs_t] // nil: it does not answer
	good := unix.Statfs_t{Bsize: 4096, Blocks: 1 << 20, Bavail: 1 << 19}
	disk.Store(&good)
	b.d.statfs = func(_ string, d *unix.Statfs_t) error {
		now := disk.Load()
		if now == nil {
			return unix.EIO
		}
		*d = *now
		return nil
	}
	b.run()
	if err := b.d.isWell(); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		disk *unix.Statfs_t
		says string
	}{
		{&unix.Statfs_t{Bsize: 4096, Blocks: 1 << 20, Bavail: 10}, "the disk is full"},
		{&unix.Statfs_t{Bsize: 4096, Blocks: 1 << 20, Bavail: 1 << 19, Flags: unix.ST_RDONLY},
			"the disk can be read and not written"},
		{nil, "the folder of the store does not answer"},
	} {
		disk.Store(c.disk)
		if err := b.d.isReady(); err == nil || !strings.Contains(err.Error(),
			"nothing can be kept: "+c.says) {
			t.Errorf("%s: %v", c.says, err)
		}
		status, text := b.ask("GET", "/readyz", nil, nil)
		if status != 503 || !strings.Contains(text, c.says) {
			t.Errorf("%s: /readyz %d %s", c.says, status, text)
		}
		if _, text := b.ask("GET", "/metrics", nil, nil); !strings.Contains(text, "\nlidwright_ready 0\n") {
			t.Errorf("%s: the metrics say nothing of it", c.says)
		}
	}
	disk.Store(&good)
	if status, text := b.ask("GET", "/readyz", nil, nil); status != 200 {
		t.Errorf("/readyz %d %s", status, text)
	}
}
