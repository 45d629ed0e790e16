package api

import (
	"bufio"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/http/httptest"
	"runtime"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"lidwright/api/usecase"
	"lidwright/api/wire"
	"lidwright/daemon/store"
	"lidwright/kiln"
	"lidwright/kiln/record"
	"lidwright/tiles"
)

// keptStudio is a studio with a real store, and a kiln that a test can heat.
type keptStudio struct {
	*httptest.Server
	s     *Server
	store *store.Store
}

// heated is a kiln at a temperature that the test sets.
type heated struct {
	nobody
	c atomic.Int64
}

func (h *heated) Live() []record.Live {
	return []record.Live{{Kiln: "big-blue", State: kiln.Rising, T: kiln.Celsius(h.c.Load()),
		LastT: kiln.Celsius(h.c.Load()), Fresh: true}}
}

func keptTestStudio(t testing.TB, set func(*Server)) *keptStudio {
	t.Helper()
	st, err := store.Open(context.Background(), t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	s := studioOfNobody()
	s.Archive, s.Site.ID = usecase.StorageOf(st), "0192a7f0-0000-7000-8000-000000000008"
	if set != nil {
		set(s)
	}
	h, err := s.Handler()
	if err != nil {
		t.Fatal(err)
	}
	srv := httptest.NewUnstartedServer(described(t, h))
	srv.Config.ConnContext = func(ctx context.Context, c net.Conn) context.Context {
		c.(*net.TCPConn).SetWriteBuffer(8 << 10) // so that a reader who stands still is felt
		return ctx
	}
	srv.Start()
	t.Cleanup(func() {
		srv.CloseClientConnections()
		srv.Close()
		st.Close()
	})
	return &keptStudio{srv, s, st}
}

// say keeps clays, each a change with its first batch.
func (k *keptStudio) say(t testing.TB, from, to int) {
	t.Helper()
	for i := from; i < to; i++ {
		if _, err := k.store.PutClay(context.Background(),
			tiles.Clay{ID: tiles.ClayID(fmt.Sprintf("clay-%d", i)), Name: fmt.Sprintf("Clay %d", i)},
			usecase.Precondition{}, k.s.Now()); err != nil {
			t.Fatal(err)
		}
	}
}

func (k *keptStudio) changes(t testing.TB, query string) wire.Changes {
	t.Helper()
	r, err := http.Get(k.URL + "/v1/changes" + query)
	if err != nil {
		t.Fatal(err)
	}
	defer r.Body.Close()
	var j wire.Changes
	if err := json.NewDecoder(r.Body).Decode(&j); err != nil || r.StatusCode != 200 {
		t.Fatalf("%s: %d %v", query, r.StatusCode, err)
	}
	return j
}

// Whoever asks after the number that the last answer gave misses nothing and sees nothing twice.
func TestChangesResume(t *testing.T) {
	k := keptTestStudio(t, nil)
	k.say(t, 0, 23)
	var seen []string
	after, asked := int64(0), 0
	for more := true; more; asked++ {
		j := k.changes(t, fmt.Sprintf("?after=%d&limit=5", after))
		for _, c := range j.Items {
			if c.Seq <= after || c.Kind != "clay" || c.Op != "put" ||
				c.Body["name"] == nil || j.Site != k.s.Site.ID {
				t.Errorf("%+v after %d", c, after)
			}
			after = c.Seq
			seen = append(seen, c.ID)
		}
		if j.Next != after {
			t.Errorf("next %d, last seen %d", j.Next, after)
		}
		more = j.More
	}
	if len(seen) != 23 || asked != 5 || seen[22] != "clay-22" {
		t.Errorf("%d changes in %d answers", len(seen), asked)
	}
	if j := k.changes(t, fmt.Sprintf("?after=%d", after)); len(j.Items) != 0 || j.Next != after || j.More {
		t.Errorf("nothing new: %+v", j)
	}
	for _, bad := range []string{"?after=-1", "?limit=0", "?limit=501", "?wait=61", "?after=x", "?since=3"} {
		if a, body := ask(t, "GET", k.URL+"/v1/changes"+bad, "", ""); a.StatusCode != 422 ||
			!strings.Contains(body, "/problems/") {
			t.Errorf("%s: %d", bad, a.StatusCode)
		}
	}
}

// A question that waits is answered when something is said.
func TestChangesWait(t *testing.T) {
	k := keptTestStudio(t, nil)
	k.say(t, 0, 1)
	first := k.changes(t, "").Next
	got := make(chan wire.Changes, 20)
	for range cap(got) {
		go func() { got <- k.changes(t, fmt.Sprintf("?after=%d&wait=60", first)) }()
	}
	for k.store.Written(); len(got) == 0; { // until all of them wait there is nothing to see from outside
		time.Sleep(20 * time.Millisecond)
		k.say(t, 1, 2)
	}
	for range cap(got) {
		if j := <-got; len(j.Items) != 1 || j.Items[0].ID != "clay-1" {
			t.Errorf("%+v", j)
		}
	}
}

// listener takes events off a stream.
type listener struct {
	t    testing.TB
	body io.ReadCloser
	in   *bufio.Scanner
}

func (k *keptStudio) stream(t testing.TB, query, last string) *listener {
	t.Helper()
	r, _ := http.NewRequest("GET", k.URL+"/v1/stream"+query, nil)
	if last != "" {
		r.Header.Set("Last-Event-ID", last)
	}
	a, err := http.DefaultClient.Do(r)
	if err != nil {
		t.Fatal(err)
	}
	if a.StatusCode != 200 || !strings.HasPrefix(a.Header.Get("Content-Type"), "text/event-stream") ||
		a.Header.Get("ETag") != "" {
		t.Fatalf("%d %v", a.StatusCode, a.Header)
	}
	t.Cleanup(func() { a.Body.Close() })
	return &listener{t, a.Body, bufio.NewScanner(a.Body)}
}

// next gives the next event of a kind: its id and its data.
func (r *listener) next(kind string) (id, data string) {
	r.t.Helper()
	var event string
	for r.in.Scan() {
		name, value, _ := strings.Cut(r.in.Text(), ": ")
		switch name {
		case "id":
			id = value
		case "event":
			event = value
		case "data":
			data = value
		case "":
			if event == kind {
				return id, data
			}
			id, event, data = "", "", ""
		}
	}
	r.t.Fatalf("the stream ended: %v", r.in.Err())
	return "", ""
}

func TestStream(t *testing.T) {
	kilns := &heated{}
	kilns.c.Store(600)
	k := keptTestStudio(t, func(s *Server) { s.Recorder = kilns })
	k.say(t, 0, 120)
	both := k.stream(t, "", "")
	var now wire.KilnNow
	if _, data := both.next("now"); json.Unmarshal([]byte(data), &now) != nil || now.Kiln != "big-blue" ||
		*now.TemperatureC != 600 {
		t.Errorf("%s", data)
	}
	k.say(t, 120, 121)
	id, data := both.next("change")
	if !strings.Contains(data, "clay-120") {
		t.Errorf("the first change told is %s", data)
	}
	kilns.c.Store(601)
	if _, data := both.next("now"); !strings.Contains(data, "601") {
		t.Errorf("%s", data)
	}
	both.body.Close()
	k.say(t, 121, 123)
	back := k.stream(t, "?kinds=changes", id)
	for _, want := range []string{"clay-121", "clay-122"} {
		if _, data := back.next("change"); !strings.Contains(data, want) {
			t.Errorf("after coming back: %s, want %s", data, want)
		}
	}
	all := k.stream(t, "?kinds=changes&after=0", "")
	for i := range 123 {
		if _, data := all.next("change"); !strings.Contains(data, fmt.Sprintf(`"clay-%d"`, i)) {
			t.Fatalf("change %d: %s", i, data)
		}
	}
	for _, bad := range [][]string{{"?kinds=then"}, {"?after=-2"}, {"", "Last-Event-ID", "x"},
		{"", "Last-Event-ID", "-1"}} {
		if a, _ := ask(t, "GET", k.URL+"/v1/stream"+bad[0], "", "", bad[1:]...); a.StatusCode != 422 {
			t.Errorf("%v: %d", bad, a.StatusCode)
		}
	}
}

// Readers that do not read, and readers that went away, hold nobody up and are let go.
func TestStreamSlowAndVanished(t *testing.T) {
	k := keptTestStudio(t, nil)
	k.s.streamTakes = 300 * time.Millisecond
	long := strings.Repeat("x", 480)
	for i := range 150 { // more than the kernel takes for a reader that stands still
		if _, err := k.store.PutClay(context.Background(), tiles.Clay{ID: "fat", Name: "Fat",
			Note: fmt.Sprintf("%d %s", i, long)}, usecase.Precondition{}, k.s.Now()); err != nil {
			t.Fatal(err)
		}
	}
	for i := range 20 {
		c, err := net.Dial("tcp", k.Listener.Addr().String())
		if err != nil {
			t.Fatal(err)
		}
		c.(*net.TCPConn).SetReadBuffer(4096)
		fmt.Fprintf(c, "GET /v1/stream?kinds=changes&after=0 HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n")
		if i%2 == 0 {
			defer c.Close() // stands still
		} else {
			c.Close()
		}
	}
	good := k.stream(t, "?kinds=changes&after=0", "")
	for range 150 {
		good.next("change")
	}
	k.say(t, 5000, 5001)
	if _, data := good.next("change"); !strings.Contains(data, "clay-5000") {
		t.Errorf("%s", data)
	}
	for k.s.streams.Load() > 1 { // both kinds are let go, and the good one stays
		time.Sleep(5 * time.Millisecond)
	}
	k.say(t, 5001, 5002)
	if _, data := good.next("change"); !strings.Contains(data, "clay-5001") {
		t.Errorf("%s", data)
	}
}

// Fifty viewers cost less than 10 MB, their own end of the lines included; the sixty-fifth is refused.
func TestStreamViewers(t *testing.T) {
	kilns := &heated{}
	kilns.c.Store(600)
	k := keptTestStudio(t, func(s *Server) { s.Recorder = kilns })
	size := func() uint64 {
		var m runtime.MemStats
		runtime.GC()
		runtime.ReadMemStats(&m)
		return m.HeapInuse + m.StackInuse
	}
	before := size()
	var all []*listener
	for range 50 {
		r := k.stream(t, "", "")
		r.next("now")
		all = append(all, r)
	}
	k.say(t, 0, 3)
	for _, r := range all {
		for range 3 {
			r.next("change")
		}
	}
	grown := int64(size()) - int64(before)
	t.Logf("50 viewers: %.1f MB", float64(grown)/1e6)
	if grown > 10e6 {
		t.Errorf("50 viewers take %.1f MB", float64(grown)/1e6)
	}
	for range mostStreams - 50 {
		all = append(all, k.stream(t, "", ""))
	}
	if a, body := ask(t, "GET", k.URL+"/v1/stream", "", ""); a.StatusCode != 503 ||
		!strings.Contains(body, "too-many-connections") {
		t.Errorf("one too many: %d %s", a.StatusCode, body)
	}
}
