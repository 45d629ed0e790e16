package api

import (
	"fmt"
	"io"
	"maps"
	"net/http"
	"net/http/httptest"
	"sync"
	"testing"
	"time"

	"lidwright/kiln"
)

// BenchmarkAnswers asks for what is asked most, over four connections, and for the same bytes
// from a bare handler of net/http in the same run; what it reports is the ratio of the two
// rates.
func BenchmarkAnswers(b *testing.B) {
	studio := newBench(b)
	studio.tern("BQA", "BQB", "BQC")
	for i, code := range []string{"BQA", "BQB", "BQC"} {
		studio.read(code, "wet", "100.0")
		studio.read(code, "fired", fmt.Sprintf("%.1f", 87.5+float64(i)/10))
	}
	kilns := &heated{}
	kilns.c.Store(600)
	s := studio.s
	s.Recorder, s.Revision = kilns, func() uint64 { return 1 }
	s.Now = func() kiln.Stamp {
		return kiln.Stamp{Boot: "boot", Since: time.Hour, Wall: time.Date(2026, 2, 2, 12, 0, 0, 0, time.UTC),
			Trusted: true}
	}
	h, err := s.Handler()
	if err != nil {
		b.Fatal(err)
	}
	ours := httptest.NewServer(h)
	defer ours.Close()
	for _, c := range []struct {
		name, path string
		again      bool
	}{{"now", "/v1/now", false}, {"shrinkage", "/v1/clays/tern/shrinkage", false},
		{"lid", "/v1/lid?collar=96&body_drying_ratio=0.06&body_firing_ratio=0.07", false},
		{"not modified", "/v1/now", true}} {
		b.Run(c.name, func(b *testing.B) {
			r, err := http.Get(ours.URL + c.path)
			if err != nil || r.StatusCode != 200 {
				b.Fatal(err, r)
			}
			body, _ := io.ReadAll(r.Body)
			r.Body.Close()
			tag, head, status := "", r.Header, r.StatusCode
			if c.again {
				tag = head.Get("ETag")
				r := notModified(b, ours.URL+c.path, tag)
				head, status, body = r.Header, r.StatusCode, nil
			}
			head.Del("Date")
			bare := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
				maps.Copy(w.Header(), head)
				w.WriteHeader(status)
				w.Write(body)
			}))
			defer bare.Close()
			var spent [2]time.Duration
			for b.Loop() {
				for i, site := range []string{ours.URL, bare.URL} {
					spent[i] += four(b, site+c.path, tag)
				}
			}
			b.ReportMetric(spent[1].Seconds()/spent[0].Seconds(), "of-bare")
		})
	}
}

func notModified(b *testing.B, address, tag string) *http.Response {
	q, _ := http.NewRequest("GET", address, nil)
	q.Header.Set("If-None-Match", tag)
	r, err := http.DefaultClient.Do(q)
	if err != nil || r.StatusCode != http.StatusNotModified {
		b.Fatal(err, r)
	}
	r.Body.Close()
	return r
}

// four asks 400 times over four connections and gives the time that it took.
func four(b *testing.B, address, tag string) time.Duration {
	began := time.Now()
	var wg sync.WaitGroup
	for range 4 {
		wg.Go(func() {
			t := &http.Transport{}
			defer t.CloseIdleConnections()
			for range 100 {
				r, _ := http.NewRequest("GET", address, nil)
				if tag != "" {
					r.Header.Set("If-None-Match", tag)
				}
				a, err := t.RoundTrip(r)
				if err != nil {
					b.Error(err)
					return
				}
				io.Copy(io.Discard, a.Body)
				a.Body.Close()
			}
		})
	}
	wg.Wait()
	return time.Since(began)
}
