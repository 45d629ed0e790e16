package client_test

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"net/http/httptest"
	"sync/atomic"
	"testing"

	"lidwright/api/client"
	"lidwright/api/wire"
)

// A client waits as long as it is told and sends the same again; it does not wait out a minute.
func TestClientWaits(t *testing.T) {
	var asked atomic.Int64
	after, bodies := "0", make(chan int64, 10)
	srv := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		bodies <- r.ContentLength
		if asked.Add(1) < 3 || after != "0" {
			w.Header().Set("Retry-After", after)
			w.Header().Set("Content-Type", "application/problem+json")
			w.WriteHeader(http.StatusTooManyRequests)
			fmt.Fprint(w, `{"type":"/problems/too-many-requests","title":"Too many at once","status":429}`)
			return
		}
		w.Write([]byte("{}"))
	}))
	defer srv.Close()
	c := client.Client{Site: srv.URL}
	if _, err := c.Put(t.Context(), "/v1/clays/tern", map[string]string{"name": "Tern"}); err != nil ||
		asked.Load() != 3 {
		t.Errorf("%v, asked %d times", err, asked.Load())
	}
	for range 3 {
		if n := <-bodies; n != int64(len(`{"name":"Tern"}`)) {
			t.Errorf("a body of %d bytes", n)
		}
	}
	after = "30"
	var p *wire.Problem
	if _, err := c.Get(t.Context(), "/v1/now", nil, ""); !errors.As(err, &p) ||
		p.Status != 429 || asked.Load() != 4 {
		t.Errorf("asked for half a minute: %v, asked %d times", err, asked.Load())
	}
}

// Without a daemon a handler of this program answers questions, and no fact is taken.
func ExampleClient_Get_inProcess() {
	answers := http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		fmt.Fprintf(w, "asked %s from %s", r.URL.Path, r.RemoteAddr)
	})
	c := client.Client{Site: "http://127.0.0.1", Handler: answers}
	b, err := c.Get(context.Background(), "/v1/clays", nil, "")
	fmt.Printf("%s %v\n", b, err)
	_, err = c.Put(context.Background(), "/v1/clays/tern", nil)
	fmt.Println(errors.Is(err, client.ErrNotReachable))
	// Output:
	// asked /v1/clays from 127.0.0.1:0 <nil>
	// true
}
