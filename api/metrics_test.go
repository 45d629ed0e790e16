package api

import (
	"context"
	"encoding/json"
	"fmt"
	"net/http"
	"net/http/httptest"
	"os"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"lidwright/api/usecase"
	"lidwright/api/wire"
	"lidwright/daemon/outbox"
	"lidwright/daemon/store"
	"lidwright/kiln"
	"lidwright/kiln/detect"
	"lidwright/kiln/heatwork"
	"lidwright/kiln/record"
	"lidwright/tiles"
	"lidwright/tiles/lid"
	"lidwright/tiles/shrinkage"
)

// crowd is a large studio: many clays of two batches each, two of them with bars of both, four
// kilns of three probes with a hundred firings each, and a probe that reads low.
type crowd struct {
	*store.Store
	clays   []tiles.KeptClay
	batches []tiles.KeptBatch
	firings []kiln.Firing
	studio  shrinkage.Studio
	fit     *shrinkage.Fit // of studio
	live    []record.Live
	packs   int // firings with cones: one by itself

	days  atomic.Int64                  // that passed since the studio was made
	asked atomic.Int64                  // times that all batches were asked for
	hold  atomic.Pointer[chan struct{}] // asking for all batches waits for it; nil: for nothing
}

func (c *crowd) Firings(_ context.Context, w kiln.FiringFilter) ([]kiln.Firing, error) {
	var out []kiln.Firing
	for _, f := range c.firings {
		if (w.Kiln == "" || w.Kiln == f.Kiln) && (w.Limit == 0 || len(out) < w.Limit) {
			out = append(out, f)
		}
	}
	return out, nil
}

func (c *crowd) Clays(context.Context) ([]tiles.KeptClay, error) { return c.clays, nil }
func (c *crowd) Batches(context.Context) ([]tiles.KeptBatch, error) {
	c.asked.Add(1)
	if hold := c.hold.Load(); hold != nil {
		<-*hold
	}
	return c.batches, nil
}
func (c *crowd) Clay(_ context.Context, id tiles.ClayID) (tiles.KeptClay, error) {
	for _, k := range c.clays {
		if k.ID == id {
			return k, nil
		}
	}
	return tiles.KeptClay{}, tiles.ErrNoClay
}
func (c *crowd) Live() []record.Live                                      { return c.live }
func (c *crowd) LiveCurve(kiln.KilnID) (record.LiveCurve, bool)           { return record.LiveCurve{}, false }
func (c *crowd) Tell(context.Context, detect.Fact) (kiln.FiringID, error) { return "", nil }
func (c *crowd) AddKiln(kiln.Kiln)                                        {}
func (c *crowd) DropKiln(kiln.KilnID)                                     {}
func (c *crowd) Heeded() uint64                                           { return 0 }
func (c *crowd) Trouble() (record.StoreTrouble, bool) {
	return record.StoreTrouble{}, false
}
func (c *crowd) Touch(...tiles.Code)                                    {}
func (c *crowd) Latest() (*shrinkage.Fit, time.Time, error)             { return c.fit, noon, nil }
func (c *crowd) Fit(context.Context) (*shrinkage.Fit, time.Time, error) { return c.fit, noon, nil }
func (c *crowd) Refits() usecase.Refits {
	return usecase.Refits{Count: 3, Seconds: 1.5, Under: map[float64]uint64{1: 3}}
}
func (c *crowd) Again(context.Context, kiln.KilnID)                      {}
func (c *crowd) Last(context.Context, int) ([]usecase.NoticeTold, error) { return nil, nil }
func (c *crowd) Test(context.Context) error                              { return nil }
func (c *crowd) Receivers() []string                                     { return nil }
func (c *crowd) Counts() map[[2]string]uint64 {
	return map[[2]string]uint64{{"kiln.quiet", "sent"}: 2}
}
func (c *crowd) Life(context.Context, kiln.KilnID, kiln.ChannelID, time.Time) (heatwork.ProbeLife, error) {
	return heatwork.ProbeLife{}, nil
}
func (c *crowd) Stories(_ context.Context, k kiln.KilnID) ([]heatwork.ProbeStory, error) {
	// One cone of a pack, read as a tilt: in words alone, such as "leaning", it spans some 20 °C and tells
	// little.
	var out []heatwork.ProbeStory
	for _, ch := range []kiln.ChannelID{"1", "2", "3"} {
		var fired []heatwork.FiredCones
		for range max(c.packs, 1) {
			fired = append(fired, heatwork.FiredCones{Firing: "x",
				AsIndicated: 1205 - 3*kiln.Celsius(c.packs),
				Readings:    []heatwork.ConeReading{{ID: "c", Cone: "6", Tilted: true, Tilt: 47}}})
		}
		out = append(out, heatwork.ProbeStory{Place: kiln.Place{Channel: ch},
			After: heatwork.Refilter(heatwork.MainConeScale(), 9, fired)})
	}
	return out, nil
}

func newCrowd(tb testing.TB, clays int) *Server {
	tb.Helper()
	ctx := context.Background()
	st, err := store.Open(ctx, tb.TempDir())
	if err != nil {
		tb.Fatal(err)
	}
	tb.Cleanup(func() { st.Close() })
	c := &crowd{Store: st}
	var studio shrinkage.Studio
	for i := range clays {
		clay := tiles.Clay{ID: tiles.ClayID(fmt.Sprintf("clay-%03d", i)),
			Name: fmt.Sprintf("Clay number %d", i), MaturesCone: "6", Stated: 0.12, StatedCone: "6"}
		c.clays = append(c.clays, tiles.KeptClay{Clay: clay})
		studio.Clays = append(studio.Clays, usecase.Matured(clay))
		for n, name := range []tiles.BatchID{"A", "B"} {
			b := tiles.Batch{BatchRef: tiles.BatchRef{Clay: clay.ID, Batch: name},
				Kind: tiles.Bought, Open: true}
			b.Made = noon.Add(time.Duration(i*2+n) * time.Minute)
			c.batches = append(c.batches, tiles.KeptBatch{Batch: b})
			if i >= clays-2 || n == 1 {
				studio.Batches = append(studio.Batches, b)
			}
			for k := range 2 {
				if i < clays-2 {
					continue
				}
				// every other clay has a batch that shrinks 2 points more
				end := 88.0 - 2*float64(n)*float64(i%2) + 0.05*float64(k)
				code := tiles.Code(fmt.Sprintf("%c%c%c", 'A'+i-clays+2, 'A'+n, 'A'+k))
				bar := tiles.Bar{ID: string(code), Code: code, BatchRef: b.BatchRef,
					Forming: tiles.ThrownRing, MarkLength: 100, Marks: 1,
					Firings: []tiles.Heat{{Load: fmt.Sprintf("l%d", k), Kind: kiln.Glaze, Kiln: "kiln-1",
						Work: 1222, Probe: "kiln-1/1", At: noon.Add(48 * time.Hour)}}}
				for s, mm := range map[tiles.Stage]float64{tiles.Wet: 100, tiles.Dry: 94, tiles.Fired: end} {
					days := map[tiles.Stage]int{tiles.Wet: 0, tiles.Dry: 1, tiles.Fired: 3}[s]
					bar.Readings = append(bar.Readings, tiles.Reading{ID: string(code) + string(s), Bar: code,
						Mark: 1, Stage: s, Length: tiles.Millimetre(mm), Unit: "mm", Instrument: "calliper",
						Step: 0.01, At: noon.Add(time.Duration(24*days) * time.Hour)})
				}
				studio.Bars = append(studio.Bars, bar)
			}
		}
	}
	c.studio = studio
	if c.fit, err = studio.Fit(context.Background(), nil); err != nil {
		tb.Fatal(err)
	}
	kilns := map[kiln.KilnID]kiln.Kiln{}
	for k := range 4 {
		id := kiln.KilnID(fmt.Sprintf("kiln-%d", k+1))
		one := kiln.Kiln{ID: id, Control: "1"}
		l := record.Live{Kiln: id, State: kiln.Rising, Hot: true, T: 1100, LastT: 1100, Rate: 95,
			Age: time.Second, Fresh: true, Firing: "f", Elapsed: time.Hour, ToTop: time.Hour,
			UsualToTop: 7 * time.Hour, Limit: 1290, KeepShut: 50}
		for _, ch := range []kiln.ChannelID{"1", "2", "3"} {
			one.Channels = append(one.Channels, kiln.Channel{ID: ch, Role: kiln.RoleProbe})
			l.Channels = append(l.Channels, record.LiveChannel{Channel: ch, Role: kiln.RoleProbe, T: 1100,
				LastT: 1100, Fresh: true})
		}
		kilns[id] = one
		c.live = append(c.live, l)
		for n := range 100 {
			c.firings = append(c.firings, kiln.Firing{ID: kiln.FiringID(fmt.Sprint(k, n)), Kiln: id,
				Kind: []kiln.Kind{kiln.Bisque, kiln.Glaze}[n%2], Status: kiln.Ended, Peak: 1225,
				HeatWork: map[kiln.ChannelID]kiln.HeatWork{"1": {C: 1222, Low: 1216,
					High: 1228, From: "curve"}}})
		}
	}
	return &Server{Studio: &usecase.Studio{Site: usecase.Site{Name: "studio", Zone: time.UTC, Units: "mm",
		Version: "test"}, Archive: usecase.StorageOf(c), Recorder: c, Shrink: c, Heat: c, Notices: c,
		LidDefaults: lid.UsualDefaults(),
		Lines:       func() []usecase.Line { return []usecase.Line{{Kiln: "kiln-1", Good: 12}} },
		Store: func() (usecase.StoreHealth, error) {
			return usecase.StoreHealth{Bytes: 5e7, Free: 5e9},
				nil
		}, Kiln: kilns, Codes: "ABCDEFGHJKLNPQRTVWXY347",
		Now: func() kiln.Stamp {
			return kiln.Stamp{Wall: noon.AddDate(0, 0, 60+int(c.days.Load())), Trusted: true}
		}, Ready: func() error { return nil }}}
}

func scrape(tb testing.TB, h http.Handler) string {
	w := httptest.NewRecorder()
	h.ServeHTTP(w, httptest.NewRequest("GET", "http://127.0.0.1/metrics", nil))
	if w.Code != 200 {
		tb.Fatalf("%d %s", w.Code, w.Body)
	}
	return w.Body.String()
}

// With 100 clays and 4 kilns the page is at most 60 kB, and what is labelled is a kiln, probe, clay
// or batch of the settings and the record or one of a few words. A fit of many clays takes long: an
// ordinary run has some, and takes the bytes of each hundredfold; a soak has more than are told.
func TestMetricsOfALargeStudio(t *testing.T) {
	clays := 20
	if os.Getenv("LIDWRIGHT_SOAK") == "1" {
		clays = 120
	}
	h, err := newCrowd(t, clays).Handler()
	if err != nil {
		t.Fatal(err)
	}
	newest := fmt.Sprintf("clay-%03d", clays-1)
	for _, path := range []string{"/healthz", "/v1/clays", "/v1/nothing-" + strings.Repeat("x", 50),
		"/no-such-page", "/v1/lid?collar=104.5&opening=92.5&clay=" + newest,
		"/v1/lid?collar=104.5&body_drying_ratio=0.06&body_firing_ratio=0.07&play_mm=1.5"} {
		w := httptest.NewRecorder()
		h.ServeHTTP(w, httptest.NewRequest("GET", "http://127.0.0.1"+path, nil))
		if strings.HasPrefix(path, "/v1/lid") && w.Code != 200 {
			t.Errorf("%s: %d %s", path, w.Code, w.Body)
		}
	}
	page := scrape(t, h)
	told := min(clays, usecase.MostClays)
	of := 0
	for _, line := range strings.SplitAfter(page, "\n") {
		if strings.Contains(line, `clay="`) {
			of += len(line)
		}
	}
	whole := len(page) - of + of*usecase.MostClays/told
	t.Logf("%d bytes with 100 clays", whole)
	if whole > 60_000 {
		t.Errorf("the page has %d bytes with 100 clays; want at most 60 kB", whole)
	}
	if n := strings.Count(page, "\nlidwright_clay_shrinkage_ratio{"); n != told {
		t.Errorf("%d clays; want the %d newest", n, told)
	}
	for _, want := range []string{
		`lidwright_batch_shifted{batch="B",clay="` + newest + `"} 1`,
		`lidwright_batch_shifted{batch="B",clay="` + fmt.Sprintf("clay-%03d", clays-2) + `"} 0`,
		`lidwright_firings_total{kiln="kiln-2",kind="glaze"} 50`,
		`lidwright_bar_readings_total{outcome="counted"} 0`, `lidwright_lid_results_total{outcome="good"} 0`,
		`lidwright_lid_answers_total{trust="well_tested"} 1`,
		`lidwright_lid_answers_total{trust="no_bars"} 1`,
		`lidwright_http_request_duration_seconds_count{class="api_read"} 4`,
		`lidwright_http_request_duration_seconds_count{class="page"} 1`,
		`lidwright_http_request_duration_seconds_count{class="other"} 1`,
		`lidwright_kiln_temperature_celsius{kiln="kiln-4",probe="3"} 1100`,
		`lidwright_notices_total{kind="kiln.quiet",outcome="sent"} 2`,
	} {
		if !strings.Contains(page, "\n"+want+"\n") {
			t.Errorf("no line %s", want)
		}
	}
	if n := len(regexp.MustCompile(`(?m)^lidwright_probe_bias_celsius\{kiln="kiln-\d",probe="\d"\} 4\.\d`).FindAllString(page, -1)); n != 12 {
		t.Errorf("%d of 12 probes are told to read some four degrees low", n)
	}
	if n := strings.Count(page, `lidwright_http_request_duration_seconds_bucket{class="page"`); n != 7 {
		t.Errorf("%d buckets; want six and the rest", n)
	}
	labels := map[string]bool{}
	ours := regexp.MustCompile(`(?m)^go_.*`).ReplaceAllString(page, "")
	for _, m := range regexp.MustCompile(`[{,](\w+)="`).FindAllStringSubmatch(ours, -1) {
		labels[m[1]] = true
	}
	for l := range labels {
		if !strings.Contains(" kiln probe state kind outcome clay batch trust class le version ", " "+l+" ") {
			t.Errorf("label %q", l)
		}
	}
	series := regexp.MustCompile(`(?m)^[a-z]\S*`)
	again := series.FindAllString(scrape(t, h), -1)
	for _, one := range series.FindAllString(page, -1) {
		if !slices.Contains(again, one) {
			t.Errorf("the second page has no %s, the first had", one)
		}
	}
}

// TestOthersAreTold: what other studios tell of a clay is in the metrics and in the answer of its rate, with
// where the rate comes from: of a clay without bars, of one whose bars agree, and of one whose own bars tell
// another rate and are believed. Without other studios there is none of it.
func TestOthersAreTold(t *testing.T) {
	s := newCrowd(t, 3)
	c := s.Shrink.(*crowd)
	const own, bare, apart = tiles.ClayID("clay-001"), tiles.ClayID("clay-000"), tiles.ClayID("clay-002")
	matures := c.studio.Clays[1].Matures
	one, bars, err := shrinkage.Summarise(t.Context(), c.fit, own, matures)
	if err != nil || bars == 0 {
		t.Fatal(bars, err)
	}
	pool, err := shrinkage.PoolOf(t.Context(), slices.Repeat([]shrinkage.Summary{one}, 41))
	if err != nil {
		t.Fatal(err)
	}
	prior, err := pool.For(-1)
	if err != nil {
		t.Fatal(err)
	}
	told := shrinkage.Pooled{Prior: prior, Matures: matures, Studios: 41, Made: noon}
	far := told
	far.Mean[0] -= 6 // handbook sds of drying: they lose some 8 points less
	h, err := s.Handler()
	if err != nil {
		t.Fatal(err)
	}
	rate := func(clay tiles.ClayID) (j wire.Shrinkage) {
		t.Helper()
		w := httptest.NewRecorder()
		h.ServeHTTP(w, httptest.NewRequest("GET", "http://127.0.0.1/v1/clays/"+string(clay)+"/shrinkage",
			nil))
		if err := json.Unmarshal(w.Body.Bytes(), &j); err != nil || w.Code != 200 {
			t.Fatalf("%d %v %s", w.Code, err, w.Body)
		}
		return j
	}
	if page := scrape(t, h); strings.Contains(page, "other_studios") {
		t.Error("nobody told anything, and it is in the metrics")
	}
	if j := rate(own); j.Source != "stated" || j.OtherStudios != nil {
		t.Errorf("nobody told anything: %s, %+v", j.Source, j.OtherStudios)
	}
	c.studio.Pools = map[tiles.ClayID]shrinkage.Pooled{own: told, bare: told, apart: far}
	if c.fit, err = c.studio.FitWithPools(t.Context(), nil); err != nil {
		t.Fatal(err)
	}
	if h, err = s.Handler(); err != nil {
		t.Fatal(err)
	}
	page := scrape(t, h)
	for _, w := range []struct {
		clay    tiles.ClayID
		source  string
		differs int
	}{{own, "other_studios", 0}, {bare, "other_studios", 0}, {apart, "stated", 1}} {
		for _, line := range []string{
			fmt.Sprintf(`clay_other_studios{clay="%s",source="%s"} 41`, w.clay, w.source),
			fmt.Sprintf(`clay_differs_from_other_studios{clay="%s"} %d`, w.clay, w.differs),
			fmt.Sprintf(`clay_other_studios_timestamp_seconds{clay="%s"} %s`, w.clay,
				strconv.FormatFloat(float64(noon.Unix()), 'g', -1, 64)),
		} {
			if !strings.Contains(page, "\nlidwright_"+line+"\n") {
				t.Errorf("no line %s", line)
			}
		}
		j := rate(w.clay)
		o := j.OtherStudios
		if j.Source != w.source || o == nil || o.Studios != 41 || !o.Made.Equal(noon) ||
			o.LeftOut != (w.differs == 1) ||
			len(o.Advice) > 0 != (w.differs == 1) || (o.OwnRatio == nil) != (w.clay == bare) {
			t.Errorf("%s: %s, %+v", w.clay, j.Source, o)
		}
	}
	told41 := &wire.PoolAnswer{Model: shrinkage.Model, Studios: 41, Made: noon, MaturesC: float64(matures)}
	box := store.Outbox{Store: c.Store}
	var kept []wire.KeptBody
	for clay := range c.studio.Pools {
		kept = append(kept, wire.KeptBody{Clay: string(clay),
			Body: wire.CatalogueBody{ID: "0199a3c4-0000-7000-8000-000000000000", Name: "Groggy"},
			Told: told41})
	}
	if err := box.SaveClayBodies(t.Context(), kept); err != nil {
		t.Fatal(err)
	}
	o := outbox.New(box, t.TempDir(), "test", s.Now, nil, nil)
	if err := o.ReadBodies(t.Context()); err != nil {
		t.Fatal(err)
	}
	s.Collector = o
	if h, err = s.Handler(); err != nil {
		t.Fatal(err)
	}
	const others, more = "41 other studios tell of it, as of 2026-01-10.",
		"more than those of 41 other studios."
	for clay, differs := range map[tiles.ClayID]bool{own: false, bare: false, apart: true} {
		w := httptest.NewRecorder()
		h.ServeHTTP(w, httptest.NewRequest("GET", "http://127.0.0.1/clay/"+string(clay), nil))
		page := w.Body.String()
		if w.Code != 200 || !strings.Contains(page, others) ||
			strings.Contains(page, "By your own bars") == (clay == bare) {
			t.Errorf("the page of %s: %d %.500s", clay, w.Code, page)
		}
		if strings.Contains(page, more) != differs ||
			strings.Contains(page, "what the others tell is left out") != differs ||
			strings.Contains(page, "measure one bar again with another rule") != differs {
			t.Errorf("the page of %s tells otherwise than that it differs: %t", clay, differs)
		}
	}
}

// BenchmarkScrape is the page of metrics of a large studio: asked again, and after something was
// said. Goal: 10 ms on the two-core development machine.
func BenchmarkScrape(b *testing.B) {
	s := newCrowd(b, 100)
	h, err := s.Handler()
	if err != nil {
		b.Fatal(err)
	}
	c := s.Archive.ClayStore.(*crowd)
	go s.metrics.Run(b.Context())
	changed := func(b *testing.B) {
		b.StopTimer()
		defer b.StartTimer()
		before := c.asked.Load()
		c.days.Add(1)
		for scrape(b, h); c.asked.Load() == before; {
			time.Sleep(time.Millisecond)
		}
		c.days.Add(1)
	}
	for name, before := range map[string]func(*testing.B){"again": func(*testing.B) {}, "changed": changed} {
		b.Run(name, func(b *testing.B) {
			for b.Loop() {
				before(b)
				scrape(b, h)
			}
		})
	}
}

// After a change the page has the last rates until the new ones are there, and waits for none.
func TestRatesAreWorkedOutBehindTheScrape(t *testing.T) {
	s := newCrowd(t, 4)
	h, err := s.Handler()
	if err != nil {
		t.Fatal(err)
	}
	c := s.Archive.ClayStore.(*crowd)
	rates := func(page string) int { return strings.Count(page, "lidwright_clay_shrinkage_ratio{") }
	if n := rates(scrape(t, h)); n != 4 {
		t.Fatalf("%d rates at first", n)
	}
	go s.metrics.Run(t.Context())
	before, let := c.asked.Load(), make(chan struct{})
	c.hold.Store(&let)
	c.clays = c.clays[:3]
	c.days.Add(1)
	if n := rates(scrape(t, h)); n != 4 {
		t.Errorf("%d rates while they are worked out", n)
	}
	for c.asked.Load() == before { // Run has begun
		time.Sleep(time.Millisecond)
	}
	close(let)
	for rates(scrape(t, h)) != 3 { // hangs if the rates are never worked out anew
		time.Sleep(time.Millisecond)
	}
}
