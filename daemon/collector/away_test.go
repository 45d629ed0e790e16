package collector

import (
	"context"
	"encoding/json"
	"io"
	"net"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"reflect"
	"runtime"
	"testing"
	"time"

	"lidwright/api/usecase"
	"lidwright/kiln"
	"lidwright/tiles"
)

// aways are collectors that are none: the address of each, and how many requests it holds or refused.
func aways(t testing.TB) map[string]func() (url string, heard <-chan struct{}) {
	listen := func() net.Listener {
		l, err := net.Listen("tcp", "127.0.0.1:0")
		if err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() { l.Close() })
		return l
	}
	serve := func(answer http.HandlerFunc) (string, <-chan struct{}) {
		heard := make(chan struct{}, 1000)
		s := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
			io.Copy(io.Discard, r.Body)
			select {
			case heard <- struct{}{}:
			default:
			}
			answer(w, r)
		}))
		t.Cleanup(func() { s.CloseClientConnections(); s.Close() })
		return s.URL, heard
	}
	return map[string]func() (string, <-chan struct{}){
		"absent": func() (string, <-chan struct{}) {
			l := listen()
			l.Close()
			closed := make(chan struct{})
			close(closed)
			return "http://" + l.Addr().String(), closed
		},
		"black hole": func() (string, <-chan struct{}) { // the connection is taken, and nothing ever said
			l, heard := listen(), make(chan struct{}, 1000)
			go func() {
				for {
					c, err := l.Accept()
					if err != nil {
						return
					}
					t.Cleanup(func() { c.Close() })
					heard <- struct{}{}
				}
			}()
			return "http://" + l.Addr().String(), heard
		},
		"refuses": func() (string, <-chan struct{}) {
			return serve(func(w http.ResponseWriter, _ *http.Request) {
				w.WriteHeader(http.StatusServiceUnavailable)
			})
		},
		"late": func() (string, <-chan struct{}) {
			return serve(func(w http.ResponseWriter, r *http.Request) {
				select {
				case <-r.Context().Done():
				case <-time.After(10 * time.Second):
				}
				w.Header().Set("Content-Type", "application/json")
				io.WriteString(w, `{"have":0}`)
			})
		},
	}
}

// away has a studio that joined once and whose collector is somewhere else now.
func away(t testing.TB, s *studio, url string) {
	t.Helper()
	text, _ := json.Marshal(map[string]any{"url": url,
		"token": "a key that no collector knows, of some length", "keep": true})
	if err := os.WriteFile(filepath.Join(s.folder, "collector.json"), text, 0o600); err != nil {
		t.Fatal(err)
	}
}

// record is a firing as a kiln hands it over, each reading by itself, with an entry after each tenth.
func (s *studio) record(t testing.TB, n int) (id kiln.FiringID, samples []kiln.Sample) {
	t.Helper()
	ctx, at := context.Background(), s.clock()
	f := kiln.Firing{ID: kiln.FiringID(newID()), Kiln: "big-blue", Began: at, Source: "serial"}
	for i := range n {
		smp := kiln.Sample{Kiln: "big-blue", At: at,
			Values: []kiln.Value{{Channel: "1", T: kiln.Celsius(20 + float64(i))}}}
		smp.At.Since += time.Duration(i) * time.Second
		smp.At.Wall = smp.At.Wall.Add(time.Duration(i) * time.Second)
		samples = append(samples, smp)
	}
	if _, err := s.BeginFiring(ctx, f, samples[:1]); err != nil {
		t.Fatal(err)
	}
	for i := 1; i < n; i++ {
		if err := s.AppendCurve(ctx, f.ID, samples[i:i+1]); err != nil {
			t.Fatal(err)
		}
		if i%10 == 0 {
			s.says(t, 1)
		}
	}
	return f.ID, samples
}

// TestNobodyWaitsForACollector records a firing and entries while the collector is absent, a black hole,
// refuses, or answers ten seconds late: every reading and entry is kept while a request hangs, and the memory
// that it takes beside one without a collector is small.
func TestNobodyWaitsForACollector(t *testing.T) {
	for name, at := range aways(t) {
		t.Run(name, func(t *testing.T) {
			url, heard := at()
			s := newStudio(t)
			away(t, s, url)
			before := heap()
			s.run()
			<-heard // from here on a request hangs, or was refused
			n := times(120, 3600)
			id, want := s.record(t, n)
			got, err := s.Samples(t.Context(), id)
			if err != nil || len(got) != n {
				t.Fatalf("%d readings of %d are kept: %v", len(got), n, err)
			}
			for i := range got {
				if got[i].At.Since != want[i].At.Since || !reflect.DeepEqual(got[i].Values, want[i].Values) {
					t.Fatalf("reading %d is %+v, was %+v", i, got[i], want[i])
				}
			}
			if last, err := s.LastChange(t.Context()); err != nil || last < int64(n/10-1) {
				t.Errorf("the record is at %d: %v", last, err)
			}
			if now := heap(); now > before+2<<20 {
				t.Errorf("the heap grew from %d to %d kB", before>>10, now>>10)
			}
			st, err := s.out.Status(t.Context())
			if err != nil || st.Behind == 0 {
				t.Errorf("it stands so: %+v, %v", st, err)
			}
		})
	}
}

// heap is what is in use after everything that nobody needs was let go.
func heap() uint64 {
	runtime.GC()
	runtime.GC()
	var m runtime.MemStats
	runtime.ReadMemStats(&m)
	return m.HeapAlloc
}

// BenchmarkCommitBesideCollector is how long one reading of a bar takes to be kept, without a collector and
// with four that are none: p50 and p99.
func BenchmarkCommitBesideCollector(b *testing.B) {
	all := aways(b)
	all["without"] = nil
	for _, name := range []string{"without", "absent", "black hole", "refuses", "late", "without"} {
		b.Run(name, func(b *testing.B) {
			s := newStudio(b)
			if all[name] != nil {
				url, heard := all[name]()
				away(b, s, url)
				s.out.First, s.out.Most = time.Second, time.Hour // as it is shipped
				s.run()
				<-heard
			}
			took := make([]time.Duration, 0, b.N)
			for b.Loop() {
				began := time.Now()
				c := tiles.Clay{ID: "tern", Name: began.String()}
				if _, err := s.PutClay(b.Context(), c, usecase.Precondition{}, s.clock()); err != nil {
					b.Fatal(err)
				}
				took = append(took, time.Since(began))
			}
			percentiles(b, took)
		})
	}
}
