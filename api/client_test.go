package api

import (
	"errors"
	"net/http"
	"net/http/httptest"
	"sync/atomic"
	"testing"
)

// A client waits as long as it is told and sends the same again; it does not wait out a minute.
func TestClientWaits(t *testing.T) {
	var asked atomic.Int64
	after, bodies := "0", make(chan int64, 10)
	srv := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		bodies <- r.ContentLength
		if asked.Add(1) < 3 || after != "0" {
			p := tooMany("Too many at once.", 0)
			p.header = http.Header{"Retry-After": {after}}
			writeProblem(w, r, p)
			return
		}
		w.Write([]byte("{}"))
	}))
	defer srv.Close()
	c := Client{Site: srv.URL}
	if _, err := c.Put(t.Context(), "/v1/clays/tern", map[string]string{"name": "Tern"}); err != nil || asked.Load() != 3 {
		t.Errorf("%v, asked %d times", err, asked.Load())
	}
	for range 3 {
		if n := <-bodies; n != int64(len(`{"name":"Tern"}`)) {
			t.Errorf("a body of %d bytes", n)
		}
	}
	after = "30"
	var p *Problem
	if _, err := c.Get(t.Context(), "/v1/now", nil, ""); !errors.As(err, &p) || p.Status != 429 || asked.Load() != 4 {
		t.Errorf("asked for half a minute: %v, asked %d times", err, asked.Load())
	}
}
