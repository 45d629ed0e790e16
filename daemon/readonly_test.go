package daemon

import (
	"context"
	"errors"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"lidwright/api/client"
	"lidwright/config"
	"lidwright/daemon/store"
)

// A store that no daemon has open answers as the daemon would: byte for byte, but for what is told
// of now. It is not written to.
func TestReadStoreAnswersAsTheDaemon(t *testing.T) {
	cfg := config.Default()
	cfg.Store.Folder = t.TempDir()
	d, err := New(t.Context(), cfg, "test")
	if err != nil {
		t.Fatal(err)
	}
	d.Now = PracticeClock()
	if err := (&madeUp{d: d, of: PracticeStudios()[0], heat: map[string]float64{}}).clays(t.Context(),
		d.Now()); err != nil {
		t.Fatal(err)
	}
	handler, err := d.handler()
	if err != nil {
		t.Fatal(err)
	}
	ctx, stop := context.WithCancel(t.Context())
	fitted := make(chan struct{})
	go func() { defer close(fitted); d.shrink.run(ctx) }()
	running := &client.Client{Site: "http://127.0.0.1", Handler: handler}

	answers, done, err := ReadStore(t.Context(), cfg, "test", nil) // beside the one that has it open
	if err != nil {
		t.Fatal(err)
	}
	read := &client.Client{Site: "http://127.0.0.1", Handler: answers}
	for _, path := range []string{"/v1/clays", "/v1/clays/tern", "/v1/bars", "/v1/firings",
		"/v1/clays/tern/shrinkage"} {
		want, err1 := running.Get(t.Context(), path, nil, "application/json")
		got, err2 := read.Get(t.Context(), path, nil, "application/json")
		if err1 != nil || err2 != nil || string(got) != string(want) || !strings.Contains(string(want), "{") {
			t.Errorf("%s: %v, %v\n got %s\nwant %s", path, err1, err2, got, want)
		}
	}
	for _, c := range []struct{ method, path string }{{http.MethodPut, "/v1/clays/owl"},
		{http.MethodGet, "/v1/now"}, {http.MethodGet, "/v1/lines"}} {
		var err error
		if c.method == http.MethodPut {
			_, err = read.Put(t.Context(), c.path, map[string]any{"name": "Owl"})
		} else {
			_, err = read.Get(t.Context(), c.path, nil, "")
		}
		if !errors.Is(err, client.ErrNotReachable) {
			t.Errorf("%s %s of a store: %v", c.method, c.path, err)
		}
	}
	// Nor does it write when it is driven past the client.
	req, _ := http.NewRequest(http.MethodPut, "http://127.0.0.1/v1/clays/owl",
		strings.NewReader(`{"name":"Owl"}`))
	req.Header.Set("Content-Type", "application/json")
	if resp, err := (&http.Client{Transport: roundTrip(answers)}).Do(req); err != nil ||
		resp.StatusCode < 400 {
		t.Errorf("a write into a store that is only read: %v %v", resp, err)
	}
	done()
	stop()
	<-fitted
	d.store.Close()

	if _, _, err := ReadStore(t.Context(), config.Config{Store: config.Store{Folder: t.TempDir()}}, "test",
		nil); !errors.Is(err, store.ErrNoStore) {
		t.Errorf("an empty folder: %v", err)
	}
	bad := t.TempDir()
	os.WriteFile(filepath.Join(bad, "lidwright.db"),
		[]byte("this is no database, but long enough to be taken for one at first sight, is it not?"), 0o600)
	if _, _, err := ReadStore(t.Context(), config.Config{Store: config.Store{Folder: bad}},
		"test", nil); err == nil {
		t.Error("a file that is no store was read")
	}
}

func roundTrip(h http.Handler) http.RoundTripper { return client.InProcess(h) }
