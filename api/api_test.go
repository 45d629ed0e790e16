package api

import (
	"context"
	"encoding/csv"
	"encoding/json"
	"io"
	"math"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"lidwright/api/apitest"
	"lidwright/api/caution"
	"lidwright/api/usecase"
	"lidwright/api/wire"
	"lidwright/kiln"
	"lidwright/kiln/detect"
	"lidwright/kiln/record"
	"lidwright/tiles"
	"lidwright/tiles/lid"
	"lidwright/tiles/shrinkage"
)

// nobody is an archive and kilns with nothing in them.
type nobody struct{ usecase.Storage }

func (nobody) Firings(context.Context, kiln.FiringFilter) ([]kiln.Firing, error) { return nil, nil }
func (nobody) Firing(context.Context, kiln.FiringID) (kiln.Firing, error) {
	return kiln.Firing{}, kiln.ErrNoFiring
}
func (nobody) Clays(context.Context) ([]tiles.KeptClay, error) { return nil, nil }
func (nobody) Clay(context.Context, tiles.ClayID) (tiles.KeptClay, error) {
	return tiles.KeptClay{}, tiles.ErrNoClay
}
func (nobody) LastUsed(context.Context) (tiles.ClayID, error)     { return "", nil }
func (nobody) Batches(context.Context) ([]tiles.KeptBatch, error) { return nil, nil }
func (nobody) CrossedOut(context.Context, time.Time) ([]tiles.StruckFact, error) {
	return nil, nil
}
func (nobody) Bars(context.Context, tiles.BarFilter, usecase.Channels) ([]tiles.KeptBar, error) {
	return nil, nil
}
func (nobody) Bar(context.Context, tiles.Code, usecase.Channels) (tiles.KeptBar, error) {
	return tiles.KeptBar{}, tiles.ErrNoBar
}
func (nobody) Loads(context.Context, tiles.LoadFilter) ([]tiles.KeptLoad, error) { return nil, nil }
func (nobody) Live() []record.Live                                               { return nil }
func (nobody) LiveCurve(kiln.KilnID) (record.LiveCurve, bool) {
	return record.LiveCurve{}, false
}
func (nobody) Tell(context.Context, detect.Fact) (kiln.FiringID, error) { return "", record.ErrNoKiln }
func (nobody) AddKiln(kiln.Kiln)                                        {}
func (nobody) DropKiln(kiln.KilnID)                                     {}
func (nobody) Heeded() uint64                                           { return 0 }
func (nobody) Trouble() (record.StoreTrouble, bool) {
	return record.StoreTrouble{}, false
}
func (nobody) CopyDue(context.Context) (time.Time, error) { return time.Time{}, nil }
func (nobody) Touch(...tiles.Code)                        {}
func (nobody) Latest() (*shrinkage.Fit, time.Time, error) {
	return nobody{}.Fit(context.Background())
}
func (nobody) Refits() usecase.Refits                                         { return usecase.Refits{} }
func (nobody) Probes(context.Context, kiln.KilnID) ([]tiles.KeptProbe, error) { return nil, nil }
func (nobody) Fit(context.Context) (*shrinkage.Fit, time.Time, error) {
	f, err := shrinkage.Studio{}.Fit(context.Background(), nil)
	return f, time.Time{}, err
}

func testServer(t *testing.T) *httptest.Server {
	t.Helper()
	return serve(t, studioOfNobody())
}

func studioOfNobody() *Server {
	return &Server{Studio: &usecase.Studio{Site: usecase.Site{Name: "studio", Zone: time.UTC, Units: "mm",
		Hosts: []string{"kiln-pi.local"}, Version: "test"}, Copies: noCopies{},
		Archive: usecase.StorageOf(nobody{}), Recorder: nobody{}, Shrink: nobody{},
		Lines:       func() []usecase.Line { return nil },
		Store:       func() (usecase.StoreHealth, error) { return usecase.StoreHealth{Free: 1e9}, nil },
		LidDefaults: lid.UsualDefaults(),
		Codes:       "ABCDEFGHJKLNPQRTVWXY347", Now: func() kiln.Stamp {
			return kiln.Stamp{Wall: time.Date(2026, 2, 2, 12, 0, 0, 0, time.UTC), Trusted: true}
		}, Ready: func() error { return nil }, Notices: &told{}}}
}

func serve(t *testing.T, s *Server) *httptest.Server {
	t.Helper()
	h, err := s.Handler()
	if err != nil {
		t.Fatal(err)
	}
	srv := httptest.NewServer(described(t, h))
	t.Cleanup(srv.Close)
	return srv
}

// described holds every answer of h against the document that is served.
func described(t testing.TB, h http.Handler) http.Handler {
	t.Helper()
	d, err := served()
	if err != nil {
		t.Fatal(err)
	}
	return d.Hold(t, h)
}

// served is the document; it is the same for every studio.
var served = sync.OnceValues(func() (*apitest.Document, error) {
	h, err := studioOfNobody().Handler()
	if err != nil {
		return nil, err
	}
	return apitest.Load(h)
})

func ask(t testing.TB, method, address, contentType, body string, header ...string) (*http.Response, string) {
	t.Helper()
	r, err := http.NewRequest(method, address, strings.NewReader(body))
	if err != nil {
		t.Fatal(err)
	}
	if contentType != "" {
		r.Header.Set("Content-Type", contentType)
	}
	for i := 0; i+1 < len(header); i += 2 {
		if header[i] == "Host" {
			r.Host = header[i+1]
		}
		r.Header.Set(header[i], header[i+1])
	}
	a, err := http.DefaultClient.Do(r)
	if err != nil {
		t.Fatal(err)
	}
	defer a.Body.Close()
	b, err := io.ReadAll(a.Body)
	if err != nil {
		t.Fatal(err)
	}
	return a, asRead(string(b))
}

// asRead is an answer as a person reads it: the space that holds a figure to its unit is a plain one.
func asRead(answer string) string { return strings.ReplaceAll(answer, "\u00a0", " ") }

// The four cases of testdata/lids.csv (worked in rational arithmetic from the definitions of
// ASTM C326; see the README beside it), asked over HTTP as the API document shows.
func TestWorkedLids(t *testing.T) {
	srv := testServer(t)
	f, err := os.Open("../tiles/lid/testdata/lids.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	col := map[string]int{}
	for i, name := range rows[0] {
		col[name] = i
	}
	for _, row := range rows[1:] {
		at := func(name string) string { return row[col[name]] }
		q := url.Values{"collar": {at("gallery_measured") + " " + at("unit")},
			"play": {at("target_gap") + " " + at("unit")}}
		if s := at("gallery_stage"); s == "glaze" {
			q.Set("collar_stage", "fired")
		} else {
			q.Set("collar_stage", s)
		}
		share := func(to, from string) {
			if v := at(from); v != "" {
				p, _ := strconv.ParseFloat(v, 64)
				q.Set(to, strconv.FormatFloat(p/100, 'g', -1, 64))
			}
		}
		share("body_drying_ratio", "body_dry_pct")
		share("body_leather_ratio", "body_leather_pct")
		share("body_firing_ratio", "body_fire_pct")
		share("lid_drying_ratio", "lid_dry_pct")
		share("lid_firing_ratio", "lid_fire_pct")
		_, body := ask(t, "GET", srv.URL+"/v1/lid?"+q.Encode(), "", "")
		var a struct {
			Unrounded *float64 `json:"unrounded_mm"`
		}
		if err := json.Unmarshal([]byte(body), &a); err != nil || a.Unrounded == nil {
			t.Fatalf("%s: %v %s", at("id"), err, body)
		}
		want, _ := strconv.ParseFloat(at("lid_wet"), 64)
		got, tolerance := *a.Unrounded, 0.001
		if at("unit") == "in" {
			got, tolerance = got/25.4, 0.0001
		}
		if math.Abs(got-want) > tolerance {
			t.Errorf("%s: %.4f, want %.4f", at("id"), got, want)
		}
		if trap := at("lid_wet_if_gallery_taken_as_wet"); trap != "" {
			if wrong, _ := strconv.ParseFloat(trap, 64); math.Abs(got-wrong) < 0.01 {
				t.Errorf("%s: a leather-hard gallery was taken as wet", at("id"))
			}
		}
	}
}

// Each bad question gets a problem that names its type and the field.
func TestBadQuestions(t *testing.T) {
	srv := testServer(t)
	const bar = "/v1/bars/BQ7/readings/0193c0c1-0000-7000-8000-000000000005"
	for _, c := range []struct {
		name, method, path, contentType, body string
		status                                int
		kind, field                           string
	}{
		{"unknown clay", "GET", "/v1/clays/nobody/shrinkage", "", "", 404, "unknown-clay", ""},
		{"unknown clay of a lid", "GET", "/v1/lid?collar=104&clay=nobody", "", "", 404, "unknown-clay", ""},
		{"unreadable length", "GET", "/v1/lid?collar=1.234,5&body_drying_ratio=0.06&body_firing_ratio=0.07",
			"", "", 422, "length-unreadable", "collar"},
		{"opening wider than collar", "GET",
			"/v1/lid?collar=104&opening=108&body_drying_ratio=0.06&body_firing_ratio=0.07", "", "", 422,
			"opening-wider-than-collar", "opening_mm"},
		{"not a number", "GET", "/v1/lid?collar_mm=NaN&body_drying_ratio=0.06&body_firing_ratio=0.07", "", "",
			422, "out-of-range", "collar_mm"},
		{"two numbers run together", "GET",
			"/v1/lid?collar_mm=104,106&body_drying_ratio=0.06&body_firing_ratio=0.07", "", "", 422,
			"length-unreadable", "collar_mm"},
		{"three numbers run together", "GET",
			"/v1/lid?collar_mm=104,106.5&body_drying_ratio=0.06&body_firing_ratio=0.07", "", "", 422,
			"length-unreadable", "collar_mm"},
		{"a decimal comma", "GET", "/v1/lid?collar_mm=104,5&body_drying_ratio=0.06&body_firing_ratio=0.07",
			"", "", 422, "length-unreadable", "collar_mm"},
		{"a unit on top of a unit", "GET",
			"/v1/lid?collar_mm=104.5mm&body_drying_ratio=0.06&body_firing_ratio=0.07", "", "", 422,
			"length-unreadable", "collar_mm"},
		{"inches in mm", "GET", "/v1/lid?collar_mm=3%2023/32&body_drying_ratio=0.06&body_firing_ratio=0.07",
			"", "", 422, "length-unreadable", "collar_mm"},
		{"a decimal comma of the play", "GET",
			"/v1/lid?collar=104&play_mm=1,5&body_drying_ratio=0.06&body_firing_ratio=0.07", "", "", 422,
			"length-unreadable", "play_mm"},
		{"a decimal comma of a size", "GET", "/v1/size?fired_mm=100,5&drying_ratio=0.06&firing_ratio=0.07",
			"", "", 422, "length-unreadable", "fired_mm"},
		{"a share that is not a number", "GET",
			"/v1/lid?collar=104&body_drying_ratio=NaN&body_firing_ratio=0.07", "", "", 422,
			"out-of-range", "body_drying_ratio"},
		{"per cent or a share", "GET", "/v1/lid?collar=104&body_drying_ratio=0.6&body_firing_ratio=0.07",
			"", "", 422, "unit-unclear", "body_drying_ratio"},
		{"more per cent than clay shrinks", "GET",
			"/v1/lid?collar=104&body_drying_ratio=88&body_firing_ratio=0.07", "", "", 422,
			"out-of-range", "body_drying_ratio"},
		{"four inches", "GET", "/v1/lid?collar=4&body_drying_ratio=0.06&body_firing_ratio=0.07", "", "", 422,
			"unit-unclear", "collar_mm"},
		{"no such parameter", "GET", "/v1/lid?colar=104", "", "", 422, "unknown-parameter", "colar"},
		{"given twice", "GET", "/v1/lid?collar=104&collar_mm=104&body_drying_ratio=0.06&body_firing_ratio=0.07", "", "", 422, "given-twice", "collar"},
		{"no rate", "GET", "/v1/lid?collar=104&body_drying_ratio=0.06", "", "", 422,
			"rate-missing", "body_firing_ratio"},
		{"not JSON", "PUT", bar, "application/json", "{", 400, "not-json", ""},
		{"a name twice", "PUT", bar, "application/json",
			`{"stage":"wet","stage":"dry"}`, 400, "not-json", ""},
		{"too deep", "PUT", bar, "application/json", strings.Repeat("[", 1000), 400, "not-json", ""},
		{"misspelt case", "PUT", bar, "application/json", `{"STAGE":"wet","length":"100"}`, 422,
			"unknown-parameter", ""},
		{"a member missing", "PUT", "/v1/pots/0193c0c1-0000-7000-8000-0000000000a1", "application/json",
			`{"number":"212","body":"tern/B"}`, 422, "missing", "form"},
		{"a member missing further in", "PUT", "/v1/firings/0193c0c1-0000-7000-8000-0000000000a4",
			"application/json", `{"source":"hand","kiln":"x","typed":{"hours":[1]}}`, 422, "missing",
			"typed.temperature_c"},
		{"another type", "PUT", bar, "text/plain", "x", 415, "wrong-type", ""},
		{"too large", "PUT", bar, "application/json", `{"note":"` + strings.Repeat("x", 70000) + `"}`,
			413, "too-large", ""},
		{"unknown bar", "PUT", bar, "application/json", `{"stage":"wet","length":"100"}`,
			404, "unknown-bar", ""},
		{"no page", "GET", "/v1/nothing", "", "", 404, "no-such-page", ""},
		{"wrong method", "DELETE", "/v1/now", "", "", 405, "wrong-method", ""},
	} {
		a, body := ask(t, c.method, srv.URL+c.path, c.contentType, c.body)
		var p wire.Problem
		if err := json.Unmarshal([]byte(body), &p); err != nil {
			t.Errorf("%s: no problem details: %v %.200s", c.name, err, body)
			continue
		}
		if a.StatusCode != c.status || p.Type != "/problems/"+c.kind ||
			a.Header.Get("Content-Type") != "application/problem+json" {
			t.Errorf("%s: %d %s (%s), want %d %s: %s", c.name, a.StatusCode, p.Type,
				a.Header.Get("Content-Type"), c.status, c.kind, body)
		}
		if named := strings.Contains(body, `"name":"`+c.field); c.field != "" && !named {
			t.Errorf("%s: the field %s is not named: %s", c.name, c.field, body)
		}
	}
}

func TestGuards(t *testing.T) {
	srv := testServer(t)
	if a, _ := ask(t, "GET", srv.URL+"/v1/now", "", "", "Host", "evil.example"); a.StatusCode != 421 {
		t.Errorf("a foreign host on GET: %d", a.StatusCode)
	}
	if a, _ := ask(t, "GET", srv.URL+"/v1/now", "", "", "Host", "kiln-pi.local:8573"); a.StatusCode != 200 {
		t.Errorf("a listed host: %d", a.StatusCode)
	}
	if a, _ := ask(t, "PUT", srv.URL+"/v1/clays/tern", "application/json", `{"name":"x"}`, "Origin",
		"http://evil.example"); a.StatusCode != 403 {
		t.Errorf("another site's request: %d", a.StatusCode)
	}
	a, _ := ask(t, "GET", srv.URL+"/v1/now", "", "")
	tag := a.Header.Get("ETag")
	if b, body := ask(t, "GET", srv.URL+"/v1/now", "", "", "If-None-Match", tag); b.StatusCode != 304 ||
		b.Header.Get("ETag") != tag || body != "" {
		t.Errorf("304 with the ETag: %d %q %q", b.StatusCode, b.Header.Get("ETag"), body)
	}
}

// Every page is whole and carries the standing line.
func TestPages(t *testing.T) {
	srv := testServer(t)
	for _, path := range []string{"/", "/bars", "/clays", "/lid", "/more", "/settings", "/help",
		"/help/safety", "/problems/out-of-range",
		"/lid?collar=96mm&body_drying_ratio=0.06&body_firing_ratio=0.07",
		"/lid?collar=96mm&body_drying_ratio=0.06&body_firing_ratio=0.07&just=1"} {
		a, body := ask(t, "GET", srv.URL+path, "", "")
		if a.StatusCode != 200 || !strings.Contains(body, "</html>") ||
			!strings.Contains(body, "Wiring is for a licensed or otherwise qualified electrician") {
			t.Errorf("%s: %d, %d bytes", path, a.StatusCode, len(body))
		}
	}
	_, body := ask(t, "GET", srv.URL+"/help/safety", "", "")
	if strings.Contains(body, "%!") {
		t.Error("a figure is written wrong")
	}
	if n := strings.Count(body, `id="caution-`); n != len(caution.All) {
		t.Errorf("%d cautions on the safety page, want %d", n, len(caution.All))
	}
	if a, body := ask(t, "GET", srv.URL+"/nothing", "", ""); a.StatusCode != 404 ||
		!strings.Contains(body, "</html>") {
		t.Errorf("a page that is not there: %d", a.StatusCode)
	}
	if a, body := ask(t, "GET", srv.URL+"/metrics", "", ""); a.StatusCode != 200 ||
		!strings.Contains(body, "lidwright_build_info") {
		t.Errorf("metrics: %d %.200s", a.StatusCode, body)
	}
}

// noCopies are those of a studio that has no store of its own.
type noCopies struct{}

func (noCopies) Make(context.Context) (bool, error) { return false, nil }
func (noCopies) Renew(context.Context) (int, error) { return 0, nil }
func (noCopies) WithForgotten(context.Context) ([]usecase.CopyKept, []string, error) {
	return nil, nil, nil
}
func (noCopies) List() ([]usecase.CopyKept, error) { return nil, nil }

func (nobody) KilnOfClay(context.Context, tiles.ClayID) (kiln.KilnID, error) { return "", nil }

func (nobody) RecordedKilns(context.Context) ([]tiles.RecordedKiln, error) { return nil, nil }
func (nobody) AddedKilns(context.Context) ([]tiles.AddedKiln, error)       { return nil, nil }
func (nobody) Usuals(context.Context, kiln.KilnID) ([]tiles.UsualSaid, error) {
	return nil, nil
}
func (nobody) FormerKilns(context.Context) (map[kiln.KilnID]kiln.KilnID, error) { return nil, nil }
