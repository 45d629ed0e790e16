package api

import (
	"io"
	"net/http"
	"net/http/httptest"
	"sync"
	"testing"
	"time"
)

// BenchmarkAnswers asks for what is asked most, over four connections, and for the same bytes
// from a bare handler of net/http in the same run; what it reports is the ratio of the two
// rates. The lid question stands for that of a rate too: both are kept in the same way.
func BenchmarkAnswers(b *testing.B) {
	kilns := &heated{}
	kilns.c.Store(600)
	s := studioOfNobody()
	s.Kilns, s.Revision = kilns, func() uint64 { return 1 }
	h, err := s.Handler()
	if err != nil {
		b.Fatal(err)
	}
	ours := httptest.NewServer(h)
	defer ours.Close()
	for _, c := range []struct {
		name, path string
		again      bool
	}{{"now", "/v1/now", false}, {"lid", "/v1/lid?collar=96&body_drying_ratio=0.06&body_firing_ratio=0.07", false}, {"not modified", "/v1/now", true}} {
		b.Run(c.name, func(b *testing.B) {
			r, err := http.Get(ours.URL + c.path)
			if err != nil || r.StatusCode != 200 {
				b.Fatal(err, r)
			}
			body, _ := io.ReadAll(r.Body)
			r.Body.Close()
			tag := ""
			if c.again {
				tag = r.Header.Get("ETag")
			}
			bare := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
				if c.again {
					w.WriteHeader(http.StatusNotModified)
					return
				}
				w.Header().Set("Content-Type", "application/json")
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
