package api

import (
	"bufio"
	"bytes"
	"compress/gzip"
	"encoding/json"
	"fmt"
	"io"
	"math/rand/v2"
	"net"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"runtime"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"lidwright/api/web"
)

// hostileTexts are what people and programs send where a word or a number belongs.
var hostileTexts = []string{
	"", " ", "0", "-1", "1e309", "-0", "NaN", "Inf", "1.234,5", "3 23/32", "104.5mm", "1/0",
	"99999999999999999999999", "0x10", "6%", "tern", "A", "BQ7", "big-blue", "wet", "fired", "glaze",
	"<script>alert(1)</script>", `"><img src=x onerror=alert(1)>`, "'; DROP TABLE clay; --",
	"../../etc/passwd", "..%2f..%2f", "%00", "\x00", "\r\nSet-Cookie: x=y", "=cmd|' /C calc'!A0",
	"\u202etern", "te\u0301rn", "\ufeff", "\xff\xfe", "💥", strings.Repeat("a", 5000),
	strings.Repeat("9", 400), "null", "true", "[]", "{}", "0193c0c1-0000-7000-8000-000000000005", "6+0.1",
	"022", "2026-13-45", "2026-02-02T12:00:00Z",
}

var hostileNames = []string{"id", "clay", "batch", "forming", "stage", "length", "unit", "kind", "kiln",
	"name", "matures_cone", "stated_total_ratio", "note", "by", "why", "mark_length_mm", "marks",
	"bars", "firing", "atmosphere",
	"heat_work_c", "cone", "collar", "collar_mm", "opening", "lid_mm", "play", "seat", "collar_stage", "lids",
	"body_drying_ratio", "body_firing_ratio", "step_mm", "after", "limit", "wait", "points", "channel",
	"code", "queued_s", "supersedes", "mass_g", "parents", "open", "__proto__", "NAME", "id\x00"}

// hostile makes requests by chance, from a seed, so that one that hurt can be made again.
type hostile struct {
	*rand.Rand
	patterns []string
}

func (h hostile) of(list []string) string { return list[h.IntN(len(list))] }

func (h hostile) value(depth int) string {
	switch h.IntN(7) {
	case 0:
		return fmt.Sprint(h.NormFloat64() * 1e6)
	case 1:
		return h.of([]string{"null", "true", "1e400", "-1", "0", "[", "}", "\"\\ud800\"", "1 2", ""})
	case 2:
		if depth < 40 {
			return "[" + h.value(depth+1) + "," + h.value(depth+1) + "]"
		}
	case 3:
		if depth < 40 {
			return h.object(depth + 1)
		}
	}
	b, _ := json.Marshal(h.of(hostileTexts))
	return string(b)
}

func (h hostile) object(depth int) string {
	var members []string
	for range h.IntN(6) {
		name, _ := json.Marshal(h.of(hostileNames))
		members = append(members, string(name)+":"+h.value(depth))
	}
	return "{" + strings.Join(members, ",") + "}"
}

func (h hostile) request() *http.Request {
	method, path, _ := strings.Cut(h.of(h.patterns), " ")
	if path == "" {
		method, path = "GET", "/nothing"
	}
	var parts []string
	for part := range strings.SplitSeq(path, "/") {
		if strings.HasPrefix(part, "{") {
			part = url.PathEscape(h.of(hostileTexts))
		}
		parts = append(parts, part)
	}
	if h.IntN(20) == 0 {
		method = h.of([]string{"GET", "PUT", "POST", "DELETE", "PATCH", "HEAD", "OPTIONS", "TRACE", "BREW"})
	}
	query := url.Values{}
	for range h.IntN(4) {
		query.Add(h.of(hostileNames), h.of(hostileTexts))
	}
	query.Del("wait")
	u := &url.URL{Path: "/", RawQuery: query.Encode()}
	if h.IntN(30) == 0 {
		u.RawQuery = h.of([]string{"%", "a=%zz", ";", "&&&", strings.Repeat("a=b&", 2000)})
	}
	u.Opaque = strings.Join(parts, "/")
	body, kind := "", ""
	if web.Unsafe(method) {
		body, kind = h.object(0), "application/json"
		if !strings.HasPrefix(path, "/v1/") {
			form := url.Values{}
			for range h.IntN(8) {
				form.Add(h.of(hostileNames), h.of(hostileTexts))
			}
			body, kind = form.Encode(), "application/x-www-form-urlencoded"
		}
		if h.IntN(20) == 0 {
			kind = h.of([]string{"", "text/plain", "text/csv", "application/json; charset=utf-7",
				"multipart/form-data; boundary=x", "\x00"})
		}
	}
	r := httptest.NewRequest(http.MethodGet, "http://localhost/", strings.NewReader(body))
	r.Method, r.URL = method, u
	if p, err := url.PathUnescape(u.Opaque); err == nil {
		r.URL.Path, r.URL.RawPath, r.URL.Opaque = p, u.Opaque, ""
	}
	r.RequestURI = r.URL.RequestURI()
	r.Header.Set("Content-Type", kind)
	for range h.IntN(3) {
		r.Header.Set(h.of([]string{"Accept", "If-None-Match", "If-Match", "Last-Event-ID", "Content-Encoding",
			"Authorization", "Cookie", "Origin", "Range", "X-Forwarded-For"}),
			h.of([]string{"", "*", `"x"`, "W/\"x\", *", "text/plain", "text/csv", "gzip", "Bearer x",
				"lidwright_session=x", "http://localhost", "bytes=0-1", "null", strings.Repeat("x", 3000)}))
	}
	return r
}

// Ten thousand requests that nobody means well (a hundred thousand in the long campaign): none
// breaks anything, each gets an answer that the document describes, and none comes back in it.
func TestHostileRequests(t *testing.T) {
	k := keptTestStudio(t, func(s *Server) { s.Heat = cold{} }) // a kiln may come to be added
	k.s.streamTakes = 10 * time.Millisecond
	h, err := k.s.Handler()
	if err != nil {
		t.Fatal(err)
	}
	held := described(t, h)
	n := 10_000
	if os.Getenv("LIDWRIGHT_SOAK") != "" {
		n = 100_000
	}
	var patterns []string
	for _, p := range k.s.patterns {
		if p != "GET /v1/stream" { // has no end; its own tests
			patterns = append(patterns, p)
		}
	}
	status := map[int]int{}
	for seed := range uint64(n) {
		r := hostile{rand.New(rand.NewPCG(14, seed)), patterns}.request()
		w := httptest.NewRecorder()
		held.ServeHTTP(w, r)
		status[w.Code]++
		if w.Code >= 500 && w.Code != 503 {
			t.Errorf("request %d: %s %q: %d %s", seed, r.Method, r.RequestURI, w.Code, w.Body.String())
		}
		if got := w.Body.String(); strings.Contains(got, "<script>alert") ||
			strings.Contains(got, "<img src=x") {
			if strings.HasPrefix(w.Header().Get("Content-Type"), "text/html") {
				t.Errorf("request %d: %s %q: what was typed is markup", seed, r.Method, r.RequestURI)
			}
		}
		for name, values := range w.Header() {
			if strings.ContainsAny(name+strings.Join(values, ""), "\r\n\x00") {
				t.Errorf("request %d: a header is split: %s %q", seed, name, values)
			}
		}
		if t.Failed() && seed > 20 {
			break
		}
	}
	t.Logf("%d hostile requests: %v", n, status)
}

// besieged is a studio behind the real limits, with somebody who goes on asking all the while.
func besieged(t *testing.T) (address string, check func()) {
	t.Helper()
	k := keptTestStudio(t, nil)
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	h, err := k.s.Handler()
	if err != nil {
		t.Fatal(err)
	}
	srv := k.s.httpServer(h)
	go srv.Serve(web.Limit(l, 128, 16))
	t.Cleanup(func() { srv.Close() })
	var before runtime.MemStats
	runtime.GC()
	runtime.ReadMemStats(&before)
	var asked, failed atomic.Int64
	stop, stopped, in := make(chan struct{}), make(chan struct{}), make(chan struct{})
	go func() {
		defer close(stopped)
		from := &http.Transport{DialContext: (&net.Dialer{LocalAddr: &net.TCPAddr{IP: net.IPv4(127,
			0, 0, 99)}}).DialContext}
		defer from.CloseIdleConnections()
		for {
			r, err := (&http.Client{Transport: from}).Get("http://" + l.Addr().String() + "/v1/now")
			if err != nil || r.StatusCode != 200 {
				failed.Add(1)
			}
			if err == nil {
				io.Copy(io.Discard, r.Body)
				r.Body.Close()
			}
			if asked.Add(1) == 1 {
				close(in)
			}
			select {
			case <-stop:
				return
			case <-time.After(2 * time.Millisecond):
			}
		}
	}()
	<-in // who was in had a place before the others came
	return l.Addr().String(), func() {
		close(stop)
		<-stopped
		var after runtime.MemStats
		runtime.GC()
		runtime.ReadMemStats(&after)
		grown := float64(int64(after.HeapInuse+after.StackInuse)-int64(before.HeapInuse+
			before.StackInuse)) / 1e6
		t.Logf("asked %d times meanwhile, %d failed; memory grew by %.1f MB",
			asked.Load(), failed.Load(), grown)
		if failed.Load() > 0 || asked.Load() == 0 {
			t.Errorf("who was in was held up: %d of %d", failed.Load(), asked.Load())
		}
		if grown > 10 {
			t.Errorf("memory grew by %.1f MB", grown)
		}
	}
}

func dialFrom(t testing.TB, last byte, address string) net.Conn {
	t.Helper()
	c, err := (&net.Dialer{LocalAddr: &net.TCPAddr{IP: net.IPv4(127, 0, 0, last)}}).Dial("tcp", address)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

// Two hundred who send a header letter by letter, from ten addresses: the limits hold, and who
// is in goes on being answered.
func TestSlowConnections(t *testing.T) {
	address, check := besieged(t)
	refused := 0
	for i := range 200 {
		c := dialFrom(t, byte(1+i%10), address)
		defer c.Close()
		fmt.Fprintf(c, "GET /v1/now HTTP/1.1\r\nHost: 127.0.0.1\r\nX-Slow: ")
		patience := 20 * time.Millisecond // nothing is expected to come
		if i >= 128 {
			patience = 5 * time.Minute // against hanging: each of these is refused
		}
		c.SetReadDeadline(time.Now().Add(patience))
		line, _ := bufio.NewReader(c).ReadString('\n')
		if strings.Contains(line, "503") {
			refused++
		} else if line != "" {
			t.Errorf("a slow one got %q", line)
		}
	}
	if refused < 200-128 {
		t.Errorf("only %d of 200 were refused", refused)
	}
	check()
}

// Bodies that are too much, each way there is: refused early, and memory does not grow.
func TestGreatBodies(t *testing.T) {
	address, check := besieged(t)
	keys := func(n int) string {
		var b strings.Builder
		b.WriteString("{")
		for i := range n {
			fmt.Fprintf(&b, `"k%d":1,`, i)
		}
		return b.String() + `"z":1}`
	}
	var bomb bytes.Buffer
	z := gzip.NewWriter(&bomb)
	z.Write(make([]byte, 10<<20))
	z.Close()
	for _, c := range []struct {
		name, body, header string
		want               []string
	}{
		{"10 MB", strings.Repeat(" ", 10<<20), "", []string{"413"}},
		{"10 MB in pieces of unknown number", strings.Repeat(" ", 10<<20), "Transfer-Encoding: chunked",
			[]string{"413", "400"}},
		{"100,000 deep", strings.Repeat("[", 100_000), "", []string{"413"}},
		{"30,000 deep", strings.Repeat("[", 30_000) + strings.Repeat("]", 30_000), "", []string{"400"}},
		{"30,000 objects deep", strings.Repeat(`{"a":`, 12_000), "", []string{"400"}},
		{"a million names", keys(1_000_000), "", []string{"413"}},
		{"5,000 names", keys(5_000), "", []string{"422"}},
		{"a compressed bomb", bomb.String(), "Content-Encoding: gzip", []string{"415"}},
		{"said longer than it is", "{}", "Content-Length: 60000", []string{"400"}},
	} {
		for i := range 5 {
			conn := dialFrom(t, byte(20+i), address)
			conn.SetDeadline(time.Now().Add(5 * time.Minute))
			head := "PUT /v1/clays/tern HTTP/1.1\r\nHost: 127.0.0.1\r\nContent-Type: application/json\r\n"
			go func() {
				switch {
				case strings.HasPrefix(c.header, "Transfer"):
					fmt.Fprintf(conn, "%s%s\r\n\r\n%x\r\n%s\r\n0\r\n\r\n", head,
						c.header, len(c.body), c.body)
				case strings.HasPrefix(c.header, "Content-Length"):
					fmt.Fprintf(conn, "%s%s\r\n\r\n%s", head, c.header, c.body)
					conn.(*net.TCPConn).CloseWrite()
				default:
					fmt.Fprintf(conn, "%s%sContent-Length: %d\r\n\r\n%s", head,
						strings.TrimSuffix(c.header+"\r\n", "\r\n")+
							map[bool]string{true: "\r\n"}[c.header != ""], len(c.body), c.body)
				}
			}()
			line, err := bufio.NewReader(conn).ReadString('\n')
			got := false
			for _, w := range c.want {
				got = got || strings.Contains(line, " "+w+" ")
			}
			if !got {
				t.Errorf("%s: %q, %v; want %v", c.name, line, err, c.want)
			}
			conn.Close()
		}
	}
	check()
}

// A thousand clients from eighty addresses at once: each is answered or refused at once with 503.
func TestThousandClients(t *testing.T) {
	address, check := besieged(t)
	var answered, refused, other atomic.Int64
	var wg sync.WaitGroup
	for i := range 1000 {
		wg.Go(func() {
			c, err := (&net.Dialer{LocalAddr: &net.TCPAddr{IP: net.IPv4(127, 0, 0,
				byte(1+i%80))}}).Dial("tcp", address)
			if err != nil {
				other.Add(1)
				return
			}
			defer c.Close()
			c.SetDeadline(time.Now().Add(5 * time.Minute))
			fmt.Fprintf(c, "GET /v1/now HTTP/1.1\r\nHost: 127.0.0.1\r\nConnection: close\r\n\r\n")
			line, _ := bufio.NewReader(c).ReadString('\n')
			switch {
			case strings.Contains(line, " 200 "):
				answered.Add(1)
			case strings.Contains(line, " 503 "):
				refused.Add(1)
			default: // a refused one may find its line reset before it reads
				other.Add(1)
			}
		})
	}
	wg.Wait()
	t.Logf("%d answered, %d refused, %d reset", answered.Load(), refused.Load(), other.Load())
	if answered.Load() == 0 || other.Load() > refused.Load()+answered.Load() {
		t.Error("too few got an answer")
	}
	check()
}
