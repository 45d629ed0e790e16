package daemon

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"net"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"lidwright/api/usecase"
	"lidwright/config"
	"lidwright/daemon/store"
	"lidwright/kiln"
	"lidwright/tiles"
)

// phone is a receiver of notices, which it hands on.
func phone(t *testing.T) (url string, notices chan map[string]any) {
	notices = make(chan map[string]any, 64)
	srv := httptest.NewServer(http.HandlerFunc(func(_ http.ResponseWriter, r *http.Request) {
		var m map[string]any
		if json.NewDecoder(r.Body).Decode(&m) == nil {
			notices <- m
		}
	}))
	t.Cleanup(srv.Close)
	return srv.URL, notices
}

// toldOf waits for a notice of an event in a state.
func toldOf(t *testing.T, notices chan map[string]any, event, state string) {
	t.Helper()
	limit := time.After(2 * time.Minute)
	for {
		select {
		case m := <-notices:
			if m["event"] == event && m["state"] == state {
				return
			}
		case <-limit:
			t.Fatalf("no notice %s %s came", event, state)
		}
	}
}

const goneSettings = "[listen]\naddress = \"127.0.0.1:8439\"\n[store]\nfolder = %q\n[notice.webhook.phone]\nurl = %q\n"

// serve runs a daemon on a folder until the function that it gives is called.
func serve(t *testing.T, folder, receiver string) (d *Daemon, studio *studio, stop func()) {
	t.Helper()
	cfg, err := config.LoadText("lidwright.toml", fmt.Sprintf(goneSettings, folder, receiver), nil)
	if err != nil {
		t.Fatal(err)
	}
	if d, err = New(t.Context(), cfg, "test"); err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	address, done := make(chan string, 1), make(chan error, 1)
	d.Ready = func(a string) { address <- a }
	d.Listen = func(string) (net.Listener, error) { return net.Listen("tcp", "127.0.0.1:0") }
	go func() { done <- d.Run(ctx) }()
	return d, studioAt(t, "http://"+<-address), func() {
		cancel()
		if err := <-done; err != nil {
			t.Error(err)
		}
	}
}

func studioAt(t *testing.T, site string) *studio { return &studio{t: t, site: site} }

// text of a page, with its status.
func (s *studio) page(path string) (int, string) { return s.send("GET", path, nil) }

// TestStoreRemoved removes the store under the daemon, its log alone, the whole folder, and puts another
// file in its place: what is entered from then on is refused with 503, it is told everywhere, and
// the next start has every entry that was acknowledged.
func TestStoreRemoved(t *testing.T) {
	t.Parallel()
	for name, remove := range map[string]func(folder string) error{
		"the file": func(folder string) error { return os.Remove(filepath.Join(folder, "lidwright.db")) },
		"the log":  func(folder string) error { return os.Remove(filepath.Join(folder, "lidwright.db-wal")) },
		"the folder": func(folder string) (err error) {
			for range 1000 { // the daemon may write a file into it meanwhile
				if err = os.RemoveAll(folder); err == nil {
					break
				}
			}
			return err
		},
		"another": func(folder string) error {
			part := filepath.Join(folder, "x")
			return errors.Join(os.WriteFile(part, nil, 0o600),
				os.Rename(part, filepath.Join(folder, "lidwright.db")))
		},
	} {
		t.Run(name, func(t *testing.T) {
			folder := filepath.Join(t.TempDir(), "store")
			receiver, notices := phone(t)
			_, studio, stop := serve(t, folder, receiver)
			clay := func(id string) (int, string) {
				return studio.send("PUT", "/v1/clays/"+id,
					map[string]any{"name": "Tern stoneware", "matures_cone": "6"})
			}
			for i := range 20 {
				if status, answer := clay(fmt.Sprintf("clay-%d", i)); status != http.StatusCreated {
					t.Fatal(status, answer)
				}
			}
			if err := remove(folder); err != nil {
				t.Fatal(err)
			}
			if status, answer := clay("later"); status != http.StatusServiceUnavailable ||
				!strings.Contains(answer, "store-busy") {
				t.Errorf("an entry after it: %d %s", status, answer)
			}
			toldOf(t, notices, "store.gone", "began")
			if status, answer := studio.page("/readyz"); status != http.StatusServiceUnavailable ||
				!strings.Contains(answer, "removed or moved") {
				t.Errorf("/readyz: %d %s", status, answer)
			}
			for path, want := range map[string]string{"/": "removed or moved", "/more": "removed or moved",
				"/metrics": "\nlidwright_store_gone 1\n"} {
				if status, answer := studio.page(path); status != http.StatusOK ||
					!strings.Contains(answer, want) {
					t.Errorf("%s: %d, %q is not in it", path, status, want)
				}
			}
			stop()
			s, err := store.Open(t.Context(), folder)
			if errors.Is(err, store.ErrFolder) { // it is made by the daemon
				t.Fatal(err)
			} else if err != nil {
				t.Fatal(err)
			}
			defer s.Close()
			all, err := s.Clays(t.Context())
			if err != nil || len(all) != 20 {
				t.Errorf("%d clays were acknowledged, the next start has %d, %v; %s", 20, len(all),
					err, s.Report().Words())
			}
		})
	}
}

// TestStoreMovedAndBack: a folder that was moved away and back is as it was, and nothing is refused any
// more.
func TestStoreMovedAndBack(t *testing.T) {
	t.Parallel()
	folder := filepath.Join(t.TempDir(), "store")
	receiver, notices := phone(t)
	d, _, stop := serve(t, folder, receiver)
	defer stop()
	put := func(id tiles.ClayID) error {
		_, err := d.store.PutClay(t.Context(), tiles.Clay{ID: id, Name: "x"}, usecase.Precondition{},
			kiln.Stamp{Wall: time.Now()})
		return err
	}
	if err := errors.Join(put("one"), os.Rename(folder, folder+"-away")); err != nil {
		t.Fatal(err)
	}
	if err := put("two"); !errors.Is(err, usecase.ErrBusy) || !errors.Is(err, store.ErrGone) {
		t.Errorf("moved away: %v", err)
	}
	toldOf(t, notices, "store.gone", "began")
	os.RemoveAll(folder) // the copy that was rescued
	if err := errors.Join(os.Rename(folder+"-away", folder), put("two")); err != nil {
		t.Errorf("back again: %v", err)
	}
	if err := d.isReady(); err != nil {
		t.Error(err)
	}
}

// TestStoreWentBackIsTold starts a daemon on a store that has less than was written down: it says so on
// the first page, at /readyz, in the metrics and in a notice, and the feed has another life.
func TestStoreWentBackIsTold(t *testing.T) {
	t.Parallel()
	folder := filepath.Join(t.TempDir(), "store")
	receiver, notices := phone(t)
	_, studio, stop := serve(t, folder, receiver)
	var before, after struct {
		Site, Life string
		Last       int64 `json:"last_change"`
	}
	studio.get("/v1/site", &before)
	stop()
	older, err := os.ReadFile(filepath.Join(folder, "lidwright.db"))
	if err != nil {
		t.Fatal(err)
	}
	_, studio, stop = serve(t, folder, receiver)
	if status, answer := studio.send("PUT", "/v1/clays/tern",
		map[string]any{"name": "Tern stoneware"}); status != http.StatusCreated {
		t.Fatal(status, answer)
	}
	stop()
	// as a card does that dropped what it was told to keep
	if err := os.WriteFile(filepath.Join(folder, "lidwright.db"), older, 0o600); err != nil {
		t.Fatal(err)
	}
	_, studio, stop = serve(t, folder, receiver)
	defer stop()
	toldOf(t, notices, "store.back", "once")
	for path, want := range map[string]string{"/": "went back to an earlier moment",
		"/more": "went back to an earlier moment", "/readyz": "went back to an earlier moment",
		"/metrics": "\nlidwright_store_went_back 1\n"} {
		if status, answer := studio.page(path); status != http.StatusOK || !strings.Contains(answer, want) {
			t.Errorf("%s: %d, %q is not in it", path, status, want)
		}
	}
	studio.get("/v1/site", &after)
	var feed struct{ Site, Life string }
	studio.get("/v1/changes", &feed)
	if after.Site != before.Site || after.Life == before.Life || after.Life == "" ||
		feed.Life != after.Life || feed.Site != after.Site {
		t.Errorf("before %+v, after %+v, feed %+v", before, after, feed)
	}
}
