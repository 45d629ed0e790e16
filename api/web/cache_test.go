package web

import (
	"fmt"
	"net/http"
	"net/http/httptest"
	"strings"
	"sync/atomic"
	"testing"
)

// An answer is kept as long as nothing changed, and never under a revision that came after
// it was begun.
func TestAnswersKept(t *testing.T) {
	var revision atomic.Uint64 // from 0 on: nothing was written yet
	asked := 0
	a := &Cache{Most: 4096, Revision: revision.Load}
	h := Tagged(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		asked++
		if r.URL.Query().Get("meanwhile") != "" {
			revision.Add(1)
		}
		w.Header().Set("Content-Type", "text/plain")
		fmt.Fprintf(w, "answer %d%s", asked, strings.Repeat(" ", len(r.URL.Query().Get("pad"))))
	}), func(r *http.Request) *Cache { return map[string]*Cache{"/kept": a}[r.URL.Path] })
	get := func(path, tag string) (int, string, http.Header) {
		r := httptest.NewRequest("GET", path, nil)
		if tag != "" {
			r.Header.Set("If-None-Match", tag)
		}
		w := httptest.NewRecorder()
		h.ServeHTTP(w, r)
		return w.Code, strings.TrimSpace(w.Body.String()), w.Header()
	}
	_, first, header := get("/kept?x=1", "")
	if _, again, same := get("/kept?x=1", ""); again != first || same.Get("ETag") != header.Get("ETag") ||
		same.Get("Content-Type") != "text/plain" || asked != 1 {
		t.Errorf("asked again: %q after %q, %v, made %d times", again, first, same, asked)
	}
	if code, body, h := get("/kept?x=1", header.Get("ETag")); code != 304 || body != "" ||
		h.Get("ETag") != header.Get("ETag") || h.Get("Content-Type") != "" {
		t.Errorf("not modified: %d %q %v", code, body, h)
	}
	if _, other, _ := get("/kept?x=2", ""); other == first {
		t.Error("another question got the same answer")
	}
	revision.Add(1)
	if _, later, _ := get("/kept?x=1", ""); later == first {
		t.Error("an old answer after a change")
	}
	_, during, _ := get("/kept?meanwhile=1", "")
	if _, after, _ := get("/kept?meanwhile=1", ""); after == during {
		t.Error("an answer begun before a change was given after it")
	}
	for i := range 200 {
		get(fmt.Sprintf("/kept?n=%d&pad=%s", i, strings.Repeat("x", 100)), "")
		if a.bytes > a.Most {
			t.Fatalf("%d bytes kept, limit %d", a.bytes, a.Most)
		}
	}
	before := len(a.kept)
	if get("/kept?pad="+strings.Repeat("x", 4000), ""); len(a.kept) > before {
		t.Error("a question beyond the limit was kept")
	}
	get("/open", "")
	if before := asked; func() bool { get("/open", ""); return asked == before }() {
		t.Error("an address that is not remembered was")
	}
}
