package api

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"net/http"
	"net/http/httptest"
	"slices"
	"sync/atomic"
	"testing"
	"time"

	"lidwright/api/usecase"
	"lidwright/api/web"
	"lidwright/api/wire"
	"lidwright/kiln"
	"lidwright/kiln/detect"
	"lidwright/kiln/faults"
	"lidwright/kiln/heatwork"
	"lidwright/kiln/record"
)

// three are n samples of three channels, one a second, that climb for two thirds and then fall.
func three(n int, begun kiln.Stamp, each time.Duration) []kiln.Sample {
	rng := rand.New(rand.NewPCG(3, 60_000))
	samples := make([]kiln.Sample, n)
	for i := range samples {
		s := kiln.Sample{Kiln: "big-blue", At: begun}
		s.At.Since += time.Duration(i) * each
		s.At.Wall = s.At.Wall.Add(time.Duration(i) * each)
		share := min(float64(i)/float64(2*n/3), float64(n-i)/float64(n/3))
		for c := range 3 {
			t := 20 + 1200*share + 3*float64(c) + 0.15*rng.NormFloat64()
			s.Values = append(s.Values, kiln.Value{Channel: kiln.ChannelID(fmt.Sprint(c + 1)),
				T: kiln.Celsius(math.Round(t*10) / 10)})
		}
		samples[i] = s
	}
	return samples
}

// curves is a studio whose kiln has a firing of 3 times 60,000 samples behind it and one of thirty
// hours under way.
func curves(t testing.TB, revision func() uint64) (h http.Handler, running kiln.FiringID) {
	t.Helper()
	b := newBench(t)
	begun := kiln.Stamp{Boot: "boot", Since: time.Hour, Wall: time.Date(2026, 2, 2, 12, 0, 0, 0, time.UTC),
		Trusted: true}
	samples := three(60_000, begun, time.Second)
	f := kiln.Firing{ID: "0193f0a0-0000-7000-8000-00000000f001", Kiln: "big-blue", Status: kiln.Ended,
		Source: "import", Kind: kiln.Glaze, Peak: 1220,
		Began: begun, Over: samples[len(samples)-1].At, Length: 60_000 * time.Second, Good: len(samples)}
	if _, err := b.store.PutFiring(context.Background(), f, samples, 1,
		usecase.Precondition{}, begun); err != nil {
		t.Fatal(err)
	}
	k := kiln.Kiln{ID: "big-blue", Control: "1", Every: 10 * time.Second, Limit: 1290,
		Channels: []kiln.Channel{{ID: "1", Role: kiln.RoleProbe}, {ID: "2", Role: kiln.RoleProbe},
			{ID: "3", Role: kiln.RoleProbe}}}
	var at atomic.Int64
	now := begun
	now.Since, now.Wall = now.Since+48*time.Hour, now.Wall.Add(48*time.Hour)
	r := &record.Recorder{Kilns: []kiln.Kiln{k}, Log: b.store, Ladder: heatwork.MainConeScale(),
		Past: map[kiln.KilnID]detect.Past{}, Zones: map[kiln.KilnID]faults.ZonePast{},
		NewID: func() kiln.FiringID { return "0193f0a0-0000-7000-8000-00000000f002" },
		Tick:  make(chan time.Time),
		Now:   func() kiln.Stamp { s := now; s.Since += time.Duration(at.Load()); return s }}
	line := make(chan kiln.Sample)
	ctx, stop := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() { done <- r.Run(ctx, line) }()
	t.Cleanup(func() { stop(); <-done; b.close() })
	for i, s := range three(24*360*5/4*3/2, now, 10*time.Second)[:30*360] { // up to its end it climbs
		at.Store(int64(i) * int64(10*time.Second))
		line <- s
	}
	b.s.Recorder, b.s.Kiln, b.s.Revision = r, map[kiln.KilnID]kiln.Kiln{k.ID: k}, revision
	b.s.Now = r.Now
	h, err := b.s.Handler()
	if err != nil {
		t.Fatal(err)
	}
	live, ok := r.LiveCurve(k.ID)
	if !ok || len(live.Minutes[0].After) < 1700 {
		t.Fatalf("no thirty hours are under way: %v, %d minutes", ok, len(live.Minutes[0].After))
	}
	return h, live.Firing.ID
}

// BenchmarkCurve asks over one connection for a finished firing of 3 times 60,000 samples as 800
// points, all channels: worked out each time, and kept; and for one of thirty hours under way.
// Beside the time of the slowest of a hundred it tells the processor time of one answer, the
// asker's share in it, and the ratio to a bare handler that gives the same bytes.
func BenchmarkCurve(b *testing.B) {
	var changes atomic.Uint64
	var keep atomic.Bool
	h, running := curves(b, func() uint64 {
		if keep.Load() {
			return changes.Load()
		}
		return changes.Add(1)
	})
	ours := httptest.NewServer(h)
	defer ours.Close()
	for _, c := range []struct {
		name   string
		firing kiln.FiringID
		keep   bool
	}{{"finished", "0193f0a0-0000-7000-8000-00000000f001", false},
		{"kept", "0193f0a0-0000-7000-8000-00000000f001", true}, {"running", running, true}} {
		b.Run(c.name, func(b *testing.B) {
			keep.Store(c.keep)
			path := "/v1/firings/" + string(c.firing) + "/curve?points=800&channel=all"
			one := &http.Transport{MaxConnsPerHost: 1, DisableCompression: true}
			defer one.CloseIdleConnections()
			ask := func(site string) []byte {
				r, err := (&http.Client{Transport: one}).Get(site + path)
				if err != nil || r.StatusCode != 200 {
					b.Fatal(err, r)
				}
				defer r.Body.Close()
				body, err := io.ReadAll(r.Body)
				if err != nil {
					b.Fatal(err)
				}
				return body
			}
			body := ask(ours.URL)
			bare := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
				w.Header().Set("Content-Type", "application/json")
				w.Write(body)
			}))
			defer bare.Close()
			var took [2][]time.Duration
			for b.Loop() {
				for i, site := range []string{ours.URL, bare.URL} {
					began := time.Now()
					ask(site)
					took[i] = append(took[i], time.Since(began))
				}
			}
			for i, name := range []string{"p99-ms", "bare-p99-ms"} {
				slices.Sort(took[i])
				b.ReportMetric(float64(took[i][len(took[i])*99/100].Microseconds())/1000, name)
			}
			b.ReportMetric(float64(took[0][len(took[0])/2].Microseconds())/1000, "median-ms")
			b.ReportMetric(float64(len(body)), "B")
		})
	}
}

// What is written by hand is what encoding/json would write.
func TestCurveText(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 5))
	lines := []kiln.Envelope{{Channel: `odd "rows":[ name`, Step: time.Minute},
		{Channel: "silent", Step: time.Minute}, {Channel: "2", Step: time.Minute}}
	for _, i := range []int{0, 2} {
		for n := range 500 {
			low := kiln.Celsius(rng.NormFloat64() * []float64{0.06, 3, 600}[n%3])
			lines[i].After = append(lines[i].After,
				time.Duration(n)*time.Minute+time.Duration(n%4)*1200*time.Microsecond)
			lines[i].Low, lines[i].High = append(lines[i].Low, low), append(lines[i].High,
				low+kiln.Celsius(rng.Float64()))
		}
	}
	gaps := []kiln.Gap{{After: time.Hour, For: time.Minute, Known: true}}
	want := wire.Curve{Firing: "f<1>", StepS: 60, Channels: []wire.ChannelCurve{},
		Gaps: usecase.GapsJSON(gaps)}
	for _, e := range lines {
		want.Channels = append(want.Channels, wire.ChannelCurve{Channel: string(e.Channel),
			Columns: curveColumns, Rows: curveRows(e)})
	}
	if got := curveText("f<1>", lines, gaps); string(got) != string(web.EncodeJSON(want)) {
		t.Errorf("written by hand:\n%.2000s\nby encoding/json:\n%.2000s", got, web.EncodeJSON(want))
	}
	if !json.Valid(curveText("f", nil, nil)) {
		t.Error("a firing of nothing is no JSON")
	}
}
