package daemon

import (
	"compress/gzip"
	"fmt"
	"io"
	"net/http"
	"os"
	"regexp"
	"runtime"
	"slices"
	"strings"
	"testing"
	"time"

	"lidwright/kiln"
	"lidwright/kiln/detect"
	"lidwright/kiln/practice"
)

// fetch asks as a browser does and gives the body as it came over the line.
func fetch(t testing.TB, client *http.Client, address string) []byte {
	t.Helper()
	r, err := http.NewRequest("GET", address, nil)
	if err != nil {
		t.Fatal(err)
	}
	r.Header.Set("Accept-Encoding", "gzip")
	a, err := client.Do(r)
	if err != nil {
		t.Fatal(err)
	}
	defer a.Body.Close()
	b, err := io.ReadAll(a.Body)
	if err != nil || a.StatusCode != http.StatusOK {
		t.Fatalf("%s: %d, %v", address, a.StatusCode, err)
	}
	return b
}

// BenchmarkWareboard is the first view of a furnished studio over loopback: goals are a p99 of 5 ms
// and 100 kB with style sheet and script.
func BenchmarkWareboard(b *testing.B) {
	s := openStudio(b, "", true)
	client := &http.Client{}
	whole := 0
	for _, path := range []string{"/", "/style.css", "/app.js"} {
		whole += len(fetch(b, client, s.site+path))
	}
	var took []time.Duration
	for b.Loop() {
		began := time.Now()
		fetch(b, client, s.site+"/")
		took = append(took, time.Since(began))
	}
	slices.Sort(took)
	b.ReportMetric(float64(took[len(took)/2].Microseconds())/1000, "p50-ms")
	b.ReportMetric(float64(took[len(took)*99/100].Microseconds())/1000, "p99-ms")
	b.ReportMetric(float64(whole)/1000, "kB")
}

// pagesAsked are the pages that a potter opens.
var pagesAsked = []string{"/", "/lid", "/lid?collar=104.5&opening=92.5&clay=tern",
	"/lid/board", "/bars", "/bars/all",
	"/kiln/big-blue", "/clays", "/clay/tern", "/pots", "/lid-results", "/sizes",
	"/by-hand", "/loads", "/kilns",
	"/trend/big-blue", "/year", "/class", "/more", "/changed", "/notices", "/wall", "/door/big-blue", "/help"}

// BenchmarkPages is each page of a furnished studio over loopback, packed: goals are 25 kB, a p99 of 10 ms,
// and of 20 ms for a lid with its drawing.
func BenchmarkPages(b *testing.B) {
	s := openStudio(b, "", true)
	client := &http.Client{}
	for _, path := range pagesAsked {
		b.Run(strings.ReplaceAll(path, "/", "_"), func(b *testing.B) {
			var took []time.Duration
			size := 0
			for b.Loop() {
				began := time.Now()
				size = len(fetch(b, client, s.site+path))
				took = append(took, time.Since(began))
			}
			slices.Sort(took)
			b.ReportMetric(float64(took[len(took)/2].Microseconds())/1000, "p50-ms")
			b.ReportMetric(float64(took[len(took)*99/100].Microseconds())/1000, "p99-ms")
			b.ReportMetric(float64(size)/1000, "kB")
		})
	}
}

// A long firing of three probes stays a small page: 30 kB over the line, the curves drawn and told in
// figures.
func TestLongSpyholeIsSmall(t *testing.T) {
	b := newHeatBenchWith(t, heatSettings+`[kiln.big-blue.channel.2]
from = "2"
unit = "c"
[kiln.big-blue.channel.3]
from = "3"
unit = "c"
[kiln.big-blue.probe.2]
type = "K"
[kiln.big-blue.probe.3]
type = "K"
`)
	p, err := practice.Parse("20>100@40 h120 >600@80 >1100@100 >1222@60 h30 >800@120 off")
	if err != nil {
		t.Fatal(err)
	}
	const hours = 26
	began := kiln.Stamp{Boot: "now", Since: (5000 - hours) * time.Hour,
		Wall: b.d.Now().Wall.Add(-hours * time.Hour), Trusted: true}
	f := kiln.Firing{ID: kiln.FiringID(newID()), Kiln: "big-blue", Kind: kiln.Glaze,
		KindFrom: detect.FromFact, Atmosphere: kiln.Oxidation, Source: "serial", Status: kiln.Running,
		Began: began, Peak: kiln.NoTemperature(), Faulty: map[kiln.Fault]int{}}
	curves := []practice.Curve{{Programme: p, Noise: 0.4, Step: 0.1, Seed: 1},
		{Programme: p, Noise: 0.4, Step: 0.1, Seed: 2}, {Programme: p, Noise: 0.4, Step: 0.1, Seed: 3}}
	var samples []kiln.Sample
	for after := time.Duration(0); after <= hours*time.Hour; after += 10 * time.Second {
		at := began
		at.Since, at.Wall = at.Since+after, at.Wall.Add(after)
		one := kiln.Sample{Kiln: f.Kiln, At: at}
		for i, c := range curves {
			one.Values = append(one.Values, kiln.Value{Channel: kiln.ChannelID(fmt.Sprint(i + 1)),
				T: c.Reading(after) - kiln.Celsius(12*i)})
		}
		samples = append(samples, one)
	}
	if _, err := b.d.store.BeginFiring(t.Context(), f, samples); err != nil {
		t.Fatal(err)
	}
	f.Peak, f.Status, f.Length, f.Over = 1222, kiln.Ended, hours*time.Hour, samples[len(samples)-1].At
	if err := b.d.store.EndFiring(t.Context(), f); err != nil {
		t.Fatal(err)
	}
	b.run()
	packed := fetch(t, &http.Client{}, b.site+"/kiln/big-blue")
	z, err := gzip.NewReader(strings.NewReader(string(packed)))
	if err != nil {
		t.Fatal(err)
	}
	page, err := io.ReadAll(z)
	if err != nil {
		t.Fatal(err)
	}
	lines := len(regexp.MustCompile(`<path class="(heat|dashed|dotted|line|broken)[^"]*" d="[^"]{1000,}`).FindAll(page, -1))
	t.Logf("%d h of 3 channels: %d bytes, %d over the line, %d long lines", hours,
		len(page), len(packed), lines)
	if lines != 6 || len(packed) > 30_000 { // for a phone and for a desk
		t.Errorf("%d lines drawn, want 6; %d bytes over the line, want 30000 at most", lines, len(packed))
	}
}

// Fifty phones that watch cost little: each has the Spyhole loaded and its stream open.
func TestFiftyViewers(t *testing.T) {
	s := openStudio(t, "", true)
	client := &http.Client{Transport: &http.Transport{MaxIdleConnsPerHost: 4, DisableCompression: true}}
	fetch(t, client, s.site+"/kiln/big-blue")
	heap := func() (heap, rss float64) {
		runtime.GC()
		var m runtime.MemStats
		runtime.ReadMemStats(&m)
		b, err := os.ReadFile("/proc/self/statm")
		var pages, resident int
		if err == nil {
			_, err = fmt.Sscan(string(b), &pages, &resident)
		}
		if err != nil {
			t.Fatal(err)
		}
		return float64(m.HeapInuse+m.StackInuse) / 1e6, float64(resident*os.Getpagesize()) / 1e6
	}
	before, rssBefore := heap()
	const viewers = 50
	events := make(chan struct{}, viewers)
	for range viewers {
		fetch(t, client, s.site+"/kiln/big-blue")
		r, err := http.NewRequestWithContext(t.Context(), "GET", s.site+"/v1/stream", nil)
		if err != nil {
			t.Fatal(err)
		}
		a, err := client.Do(r)
		if err != nil {
			t.Fatal(err)
		}
		if a.StatusCode != http.StatusOK {
			t.Fatalf("a stream: %d", a.StatusCode)
		}
		go func() {
			defer a.Body.Close()
			b := make([]byte, 4096)
			for seen := false; ; {
				n, err := a.Body.Read(b)
				if !seen && strings.Contains(string(b[:n]), "data:") {
					seen = true
					events <- struct{}{}
				}
				if err != nil {
					return
				}
			}
		}()
	}
	for range viewers {
		select {
		case <-events:
		case <-time.After(hanging):
			t.Fatal("not every viewer was told something")
		}
	}
	after, rssAfter := heap()
	t.Logf("%d viewers: heap and stacks %.1f MB more, resident %.1f MB more, their readers in this process included", viewers, after-before, rssAfter-rssBefore)
	if after-before > 15 {
		t.Errorf("%d viewers take %.1f MB, want 15 at most", viewers, after-before)
	}
}
