package api

import (
	"context"
	"encoding/json"
	"fmt"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"lidwright/api/usecase"
	"lidwright/daemon/store"
	"lidwright/kiln"
	"lidwright/tiles"
	"lidwright/tiles/lid"
	"lidwright/tiles/shrinkage"
)

// bench is a server on a real store, with a clock that goes a minute further at every look.
type bench struct {
	*httptest.Server
	t     testing.TB
	s     *Server
	store *store.Store
	ids   int
}

// fitting fits at once when it is asked.
type fitting struct {
	nobody
	store *store.Store
	mu    sync.Mutex
	fit   *shrinkage.Fit
}

func (f *fitting) Touch(...tiles.Code) {
	f.mu.Lock()
	f.fit = nil
	f.mu.Unlock()
}

func (f *fitting) Fit(ctx context.Context) (*shrinkage.Fit, time.Time, error) {
	f.mu.Lock()
	defer f.mu.Unlock()
	if f.fit != nil {
		return f.fit, time.Time{}, nil
	}
	var studio shrinkage.Studio
	clays, err := f.store.Clays(ctx)
	if err != nil {
		return nil, time.Time{}, err
	}
	for _, c := range clays {
		studio.Clays = append(studio.Clays, usecase.Matured(c.Clay))
	}
	batches, err := f.store.Batches(ctx)
	if err != nil {
		return nil, time.Time{}, err
	}
	for _, b := range batches {
		studio.Batches = append(studio.Batches, b.Batch)
	}
	bars, err := f.store.Bars(ctx, tiles.BarFilter{}, func(kiln.KilnID, string) kiln.ChannelID { return "1" })
	if err != nil {
		return nil, time.Time{}, err
	}
	for _, b := range bars {
		studio.Bars = append(studio.Bars, b.Bar)
	}
	f.fit, err = studio.Fit(context.Background(), nil)
	return f.fit, time.Time{}, err
}

func (f *fitting) Latest() (*shrinkage.Fit, time.Time, error) { return f.Fit(context.Background()) }

func newBench(t testing.TB) *bench {
	t.Helper()
	return benchIn(t, t.TempDir())
}

func benchIn(t testing.TB, folder string) *bench {
	t.Helper()
	st, err := store.Open(context.Background(), folder)
	if err != nil {
		t.Fatal(err)
	}
	b := &bench{t: t, store: st}
	var looks atomic.Int64
	began := time.Date(2026, 2, 2, 12, 0, 0, 0, time.UTC)
	b.s = &Server{Studio: &usecase.Studio{Site: usecase.Site{Name: "studio", Zone: time.UTC, Units: "mm",
		PublicURL: "http://kiln-pi.local:8573"}, Archive: usecase.StorageOf(st), Copies: noCopies{},
		Recorder: nobody{}, Heat: cold{}, Shrink: &fitting{store: st},
		Lines: func() []usecase.Line { return nil }, LidDefaults: lid.UsualDefaults(), Codes: tiles.Signs,
		Ready: func() error { return nil },
		Now: func() kiln.Stamp {
			n := time.Duration(looks.Add(1))
			return kiln.Stamp{Boot: "boot", Since: n * time.Minute,
				Wall: began.Add(n * time.Minute), Trusted: true}
		}}}
	h, err := b.s.Handler()
	if err != nil {
		t.Fatal(err)
	}
	b.Server = httptest.NewServer(h)
	t.Cleanup(b.close)
	return b
}

func (b *bench) close() {
	if b.Server != nil {
		b.Server.Close()
		b.store.Close()
		b.Server = nil
	}
}

// id makes a UUID.
func (b *bench) id() string {
	b.ids++
	return fmt.Sprintf("0193f0a0-0000-7000-8000-%012d", b.ids)
}

// json asks the API, wants the status, and gives the answer's members.
func (b *bench) json(method, path, body string, want int, header ...string) map[string]any {
	b.t.Helper()
	kind := ""
	if body != "" {
		kind = "application/json"
	}
	r, text := b.send(method, path, kind, body, header...)
	if r.StatusCode != want {
		b.t.Fatalf("%s %s: %d, want %d: %s", method, path, r.StatusCode, want, text)
	}
	var out map[string]any
	if err := json.Unmarshal([]byte(text), &out); err != nil {
		b.t.Fatalf("%s %s: %v in %s", method, path, err, text)
	}
	return out
}

// send asks for anything and gives the answer as it is read.
func (b *bench) send(method, path, kind, body string, header ...string) (*http.Response, string) {
	b.t.Helper()
	r, err := http.NewRequest(method, b.URL+path, strings.NewReader(body))
	if err != nil {
		b.t.Fatal(err)
	}
	if kind != "" {
		r.Header.Set("Content-Type", kind)
	}
	for i := 0; i+1 < len(header); i += 2 {
		r.Header.Set(header[i], header[i+1])
	}
	a, err := (&http.Client{CheckRedirect: func(*http.Request,
		[]*http.Request) error {
		return http.ErrUseLastResponse
	}}).Do(r)
	if err != nil {
		b.t.Fatal(err)
	}
	defer a.Body.Close()
	var text strings.Builder
	buf := make([]byte, 32<<10)
	for {
		n, err := a.Body.Read(buf)
		text.Write(buf[:n])
		if err != nil {
			break
		}
	}
	return a, asRead(text.String())
}

// post sends a form of a page.
func (b *bench) post(path string, form url.Values, want int) (*http.Response, string) {
	b.t.Helper()
	r, text := b.send("POST", path, "application/x-www-form-urlencoded", form.Encode())
	if r.StatusCode != want {
		b.t.Fatalf("POST %s: %d, want %d: %s", path, r.StatusCode, want, text)
	}
	return r, text
}

func (b *bench) page(path string) string {
	b.t.Helper()
	r, text := b.send("GET", path, "", "")
	if r.StatusCode != 200 {
		b.t.Fatalf("GET %s: %d: %s", path, r.StatusCode, text)
	}
	return text
}

// tern keeps a clay and the bars named.
func (b *bench) tern(codes ...string) {
	b.t.Helper()
	b.json("PUT", "/v1/clays/tern", `{"name":"Tern","matures_cone":"6"}`, 201)
	for _, code := range codes {
		b.json("PUT", "/v1/bars/"+code, fmt.Sprintf(`{"id":%q,"clay":"tern"}`, b.id()), 201)
	}
}

// read keeps a length in mm.
func (b *bench) read(code, stage, length string) map[string]any {
	b.t.Helper()
	return b.json("PUT", "/v1/bars/"+code+"/readings/"+b.id(),
		fmt.Sprintf(`{"stage":%q,"length":%q,"instrument":"calliper","by":"KT"}`, stage, length), 201)
}

func has(t testing.TB, text string, parts ...string) {
	t.Helper()
	for _, p := range parts {
		if !strings.Contains(text, p) {
			t.Errorf("%q is not in\n%s", p, text)
		}
	}
}
