package api

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net/http/httptest"
	"net/url"
	"strings"
	"sync"
	"testing"
	"time"

	"lidwright/api/usecase"
	"lidwright/daemon/store"
	"lidwright/kiln"
	"lidwright/tiles"
	"lidwright/tiles/lid"
	"lidwright/tiles/shrinkage"
)

// studio is a server over a store of its own, with the clay tern, its batch B, one fired glaze
// load, and no bars.
type studio struct {
	*httptest.Server
	store *store.Store
	t     testing.TB
}

func (nobody) Pots(context.Context, lid.PotFilter) ([]lid.KeptPot, error) { return nil, nil }
func (nobody) Ticks(context.Context, string) ([]tiles.Tick, error)        { return nil, nil }
func (nobody) Pot(context.Context, string) (lid.KeptPot, error) {
	return lid.KeptPot{}, lid.ErrNoPot
}
func (nobody) LidResults(context.Context, lid.ResultFilter) ([]lid.Result, error) {
	return nil, nil
}
func (nobody) Tallies(context.Context) ([]lid.GroupCount, error) { return nil, nil }
func (nobody) Tally(context.Context) (tiles.SaidSoFar, error)    { return tiles.SaidSoFar{}, nil }
func (nobody) Site(context.Context) (id, life string, err error) { return "", "", nil }
func (nobody) LastChange(context.Context) (int64, error)         { return 0, nil }

// barless is the fit of a store's clays without any bar.
type barless struct{ s *store.Store }

func (b barless) Touch(...tiles.Code)                        {}
func (b barless) Latest() (*shrinkage.Fit, time.Time, error) { return b.Fit(context.Background()) }
func (b barless) Refits() usecase.Refits                     { return usecase.Refits{} }
func (b barless) Fit(ctx context.Context) (*shrinkage.Fit, time.Time, error) {
	if fits[b.s] == nil {
		clays, err := b.s.Clays(ctx)
		if err != nil {
			return nil, time.Time{}, err
		}
		batches, err := b.s.Batches(ctx)
		if err != nil {
			return nil, time.Time{}, err
		}
		var studio shrinkage.Studio
		for _, c := range clays {
			studio.Clays = append(studio.Clays, usecase.Matured(c.Clay))
		}
		for _, one := range batches {
			studio.Batches = append(studio.Batches, one.Batch)
		}
		if fits[b.s], err = studio.Fit(context.Background(), nil); err != nil {
			return nil, time.Time{}, err
		}
	}
	return fits[b.s], time.Time{}, nil
}

var fits = map[*store.Store]*shrinkage.Fit{}

const glazeLoad = "0193a0b0-0000-7000-8000-00000000a001"

// aMinuteOn is a clock on which a minute passes whenever it is read, by several at once too.
func aMinuteOn(at kiln.Stamp) func() kiln.Stamp {
	var mu sync.Mutex // guards at
	return func() kiln.Stamp {
		mu.Lock()
		defer mu.Unlock()
		at.Since, at.Wall = at.Since+time.Minute, at.Wall.Add(time.Minute)
		return at
	}
}

func testStudio(t testing.TB) *studio {
	t.Helper()
	ctx := context.Background()
	st, err := store.Open(ctx, t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	now := kiln.Stamp{Boot: "test", Since: time.Hour, Wall: time.Date(2026, 2, 2, 12, 0, 0, 0, time.UTC),
		Trusted: true}
	s := &Server{Studio: &usecase.Studio{Site: usecase.Site{Name: "studio", Zone: time.UTC, Units: "mm",
		Version: "test"}, Archive: usecase.StorageOf(st), Copies: noCopies{}, Recorder: nobody{},
		Heat: cold{}, Shrink: barless{st},
		Lines: func() []usecase.Line { return nil }, LidDefaults: lid.UsualDefaults(),
		Codes: "ABCDEFGHJKLNPQRTVWXY347",
		Now:   aMinuteOn(now), Ready: func() error { return nil }}}
	h, err := s.Handler()
	if err != nil {
		t.Fatal(err)
	}
	one := &studio{httptest.NewServer(described(t, h)), st, t}
	t.Cleanup(func() {
		one.Close()
		delete(fits, st)
		if err := st.Close(); err != nil {
			t.Error(err)
		}
	})
	kept := func(_ tiles.PutResult, err error) {
		if err != nil {
			t.Fatal(err)
		}
	}
	kept(st.PutClay(ctx, tiles.Clay{ID: "tern", Name: "Tern stoneware", MaturesCone: "6"},
		usecase.Precondition{}, now))
	kept(st.PutBatch(ctx, tiles.Batch{BatchRef: tiles.BatchRef{Clay: "tern", Batch: "B"}, Kind: tiles.Bought,
		Open: true}, usecase.Precondition{}, now))
	kept(st.PutLoad(ctx, tiles.Load{ID: glazeLoad, Kiln: "blue", Kind: kiln.Glaze,
		Atmosphere: kiln.UnknownAtmosphere, Stated: 1222}, usecase.Precondition{}, now))
	return one
}

func (s *studio) id(word string, n int) string {
	return fmt.Sprintf("0193a0b0-0000-7000-80%02x-%012x", word[0], n)
}

// put sends a fact, wants that status, and decodes the answer.
func (s *studio) put(path, body string, want int, into any) string {
	s.t.Helper()
	return s.answer("PUT", path, body, want, into)
}

func (s *studio) get(path string, want int, into any) string {
	s.t.Helper()
	return s.answer("GET", path, "", want, into)
}

func (s *studio) answer(method, path, body string, want int, into any) string {
	s.t.Helper()
	kind := ""
	if body != "" {
		kind = "application/json"
	}
	a, said := ask(s.t, method, s.URL+path, kind, body)
	if a.StatusCode != want {
		s.t.Fatalf("%s %s: %d, want %d\n%s", method, path, a.StatusCode, want, said)
	}
	if into != nil {
		if err := json.Unmarshal([]byte(said), into); err != nil {
			s.t.Fatal(err)
		}
	}
	return said
}

// form sends a page's form and gives where it leads, or the page that it shows.
func (s *studio) form(path string, values url.Values, want int) (location, page string) {
	s.t.Helper()
	client := *s.Client()
	client.CheckRedirect = noRedirect
	a, err := client.PostForm(s.URL+path, values)
	if err != nil {
		s.t.Fatal(err)
	}
	defer a.Body.Close()
	var b strings.Builder
	if _, err := io.Copy(&b, a.Body); err != nil {
		s.t.Fatal(err)
	}
	if a.StatusCode != want {
		s.t.Fatalf("POST %s: %d, want %d\n%s", path, a.StatusCode, want, b.String())
	}
	return a.Header.Get("Location"), b.String()
}

// pots makes n alike pot cards, with the lid as told and as measured.
func (s *studio) pots(from, n int, collar, opening, set, lid float64) []string {
	s.t.Helper()
	var ids []string
	for i := range n {
		id := s.id("p", from+i)
		widths := ""
		if set > 0 {
			widths = fmt.Sprintf(`"set_mm":%g,"lid_mm":%g,`, set, lid)
		}
		s.put("/v1/pots/"+id, fmt.Sprintf(`{"mark":"KT","number":"%d","form":"teapot 0.9 l","together":"in_place","collar_mm":[%g],"opening_mm":%g,"body":"tern/B","lid":"tern/B",%s"made_on":"2026-01-15"}`,
			from+i, collar, opening, widths), 201, nil)
		ids = append(ids, id)
	}
	return ids
}

func quoted(ids []string) string { return `["` + strings.Join(ids, `","`) + `"]` }
