package collector

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"os"
	"sync"
	"testing"
	"time"

	"lidwright/api/wire"
	"lidwright/daemon/collector/pgtest"
	"lidwright/daemon/store"
)

// sender is a studio of a benchmark, that sends by hand.
type sender struct {
	site, life, key, url string
	last                 int64
}

func newSender(b testing.TB, r *running) *sender {
	b.Helper()
	p := newPusher(b, r)
	return &sender{site: p.site, life: p.life, key: p.key, url: p.url}
}

// send asks for something and gives how long the answer took.
func (s *sender) send(b testing.TB, method, path, kind string, body []byte) time.Duration {
	b.Helper()
	req, err := http.NewRequest(method, s.url+"/v1/studios/"+s.site+path, bytes.NewReader(body))
	if err != nil {
		b.Fatal(err)
	}
	req.Header.Set("Content-Type", kind)
	req.Header.Set("Authorization", "Bearer "+s.key)
	began := time.Now()
	resp, err := http.DefaultClient.Do(req)
	if err != nil {
		b.Fatal(err)
	}
	said, _ := io.ReadAll(resp.Body)
	resp.Body.Close()
	if resp.StatusCode >= 300 {
		b.Fatalf("%s %s: %d %s", method, path, resp.StatusCode, said)
	}
	return time.Since(began)
}

// facts sends the next n.
func (s *sender) facts(b testing.TB, n int) {
	b.Helper()
	p := wire.Push{Form: wire.PushForm, Version: "bench", Life: s.life, After: s.last,
		Last: s.last + int64(n)}
	for range n {
		s.last++
		p.Facts = append(p.Facts, wire.PushFact{Seq: s.last, Kind: "reading", Op: "put", ID: newID(),
			At: time.Now(), ClockTrusted: true, Boot: "boot",
			Body: fmt.Appendf(nil, `{"bar":"BQ7","mark":1,"stage":"fired","length":"87.%d","unit":"mm","instrument":"calliper","step_mm":0.01,"by":"","supersedes":""}`, s.last%100)})
	}
	body, _ := json.Marshal(p)
	s.send(b, "POST", "/push", "application/json", body)
}

// BenchmarkFactsIn is how many facts a second come in over HTTP, a hundred in a body, from eight studios at
// once, with and without a synchronous standby; the goal is 15,000.
func BenchmarkFactsIn(b *testing.B) {
	for _, standby := range []bool{false, true} {
		b.Run(fmt.Sprintf("synchronous=%v", standby), func(b *testing.B) {
			server := pgtest.Own(b)
			if standby {
				pgtest.Standby(b, server, 0)
			}
			r := start(b, server.URL("own"))
			var senders []*sender
			for range 8 {
				senders = append(senders, newSender(b, r))
			}
			if standby {
				synchronous(b, server)
			}
			const each = 100
			b.ResetTimer()
			var wg sync.WaitGroup
			for i, s := range senders {
				wg.Go(func() {
					for n := i; n < b.N; n += len(senders) {
						s.facts(b, each)
					}
				})
			}
			wg.Wait()
			b.ReportMetric(float64(b.N)*each/b.Elapsed().Seconds(), "facts/s")
		})
	}
}

// curveOf is the curve of a firing of so many hours, a reading a second.
func curveOf(b testing.TB, s *studio, hours float64) []byte {
	b.Helper()
	id := s.fires(b, hours)
	_, curve, err := store.Outbox{Store: s.Store}.SentFiring(b.Context(), id)
	if err != nil {
		b.Fatal(err)
	}
	return curve
}

// BenchmarkThousandFiring has 1,000 studios that fire: of each a curve in five minutes and what its kiln does
// every 30 s, at the speed at which they would come. What is told: the slowest hundredth of the answers
// (wanted: 50 ms at most), the share of a processor that the collector took (10 %), and its memory (60 MiB).
func BenchmarkThousandFiring(b *testing.B) {
	database := pgtest.Database(b)
	db := opened(b, database)
	address := free(b)
	cmd := child(b, "collector", "LIDWRIGHT_DATABASE="+database, "LIDWRIGHT_ADDRESS="+address)
	waitReady(b, "http://"+address)
	r := &running{Collector: &Collector{store: db}, url: "http://" + address}
	curve := curveOf(b, newStudio(b), 0.2)
	const studios = 1000
	var senders []*sender
	firing := map[string]string{}
	for range studios {
		s := newSender(b, r)
		senders = append(senders, s)
		firing[s.site] = newID()
		p := wire.Push{Form: wire.PushForm, Version: "bench", Life: s.life,
			Firings: []wire.SentFiring{{ID: firing[s.site], Kiln: "big-blue", Number: 1, Revision: 1,
				Status: "running", Source: "serial", BeganAt: time.Now(), Summary: []byte{}}}}
		body, _ := json.Marshal(p)
		s.send(b, "POST", "/push", "application/json", body)
	}
	before, began := ticks(b, cmd.Process.Pid), time.Now()
	var mu sync.Mutex
	var took []time.Duration
	var wg sync.WaitGroup
	each := 27500 * time.Microsecond // 33 tellings a second and 3.3 curves
	n := 0
	for b.Loop() {
		s := senders[n%studios]
		at := began.Add(time.Duration(n) * each)
		n++
		time.Sleep(time.Until(at))
		wg.Go(func() {
			var d time.Duration
			if n%11 == 0 {
				d = s.send(b, "PUT", "/firings/"+firing[s.site]+"/curve?revision=1",
					"application/octet-stream", curve)
			} else {
				c := 1000.5
				body, _ := json.Marshal(wire.LivePush{Life: s.life,
					Kilns: []wire.LiveKiln{{Kiln: "big-blue", State: "heating", Hot: true, LastC: &c,
						Firing: firing[s.site], Channels: []wire.LiveChannel{}}}})
				d = s.send(b, "PUT", "/live", "application/json", body)
			}
			mu.Lock()
			took = append(took, d)
			mu.Unlock()
		})
	}
	wg.Wait()
	percentiles(b, took)
	b.ReportMetric((ticks(b, cmd.Process.Pid)-before)/time.Since(began).Seconds()*100, "%-of-a-core")
	_, most := rss(b, cmd.Process.Pid)
	b.ReportMetric(float64(most)/1024, "MiB")
}

// ticks is the processor time that a process took, s.
func ticks(b testing.TB, pid int) float64 {
	b.Helper()
	text, err := os.ReadFile(fmt.Sprintf("/proc/%d/stat", pid))
	if err != nil {
		b.Fatal(err)
	}
	f := bytes.Fields(text[bytes.LastIndexByte(text, ')')+2:])
	var user, system float64
	fmt.Sscan(string(f[11]), &user)
	fmt.Sscan(string(f[12]), &system)
	return (user + system) / 100
}

// BenchmarkKilnsPage is the page of 1,000 kilns of 170 studios, a third of them firing; the goal is 50 ms.
func BenchmarkKilnsPage(b *testing.B) {
	r := start(b, pgtest.Database(b))
	curve := curveOf(b, newStudio(b), 8)
	for i := range 170 {
		s := newSender(b, r)
		var kilns []wire.LiveKiln
		p := wire.Push{Form: wire.PushForm, Version: "bench", Life: s.life}
		for k := range 6 {
			c := float64(20 + (i*k)%1200)
			one := wire.LiveKiln{Kiln: fmt.Sprintf("kiln-%d", k), State: "cold", LastC: &c,
				Channels: []wire.LiveChannel{}}
			if k < 2 {
				one.State, one.Hot, one.Firing = "heating", true, newID()
				p.Firings = append(p.Firings, wire.SentFiring{ID: one.Firing, Kiln: one.Kiln, Number: 1,
					Revision: 1, Status: "running", Source: "serial", BeganAt: time.Now(), Summary: []byte{}})
			}
			kilns = append(kilns, one)
		}
		body, _ := json.Marshal(p)
		s.send(b, "POST", "/push", "application/json", body)
		for _, f := range p.Firings {
			s.send(b, "PUT", "/firings/"+f.ID+"/curve?revision=1", "application/octet-stream", curve)
		}
		body, _ = json.Marshal(wire.LivePush{Life: s.life, Kilns: kilns})
		s.send(b, "PUT", "/live", "application/json", body)
	}
	var took []time.Duration
	for b.Loop() {
		began := time.Now()
		resp, err := http.Get(r.url + "/")
		if err != nil {
			b.Fatal(err)
		}
		n, _ := io.Copy(io.Discard, resp.Body)
		resp.Body.Close()
		if resp.StatusCode != 200 || n < 100_000 {
			b.Fatalf("status %d, %d bytes", resp.StatusCode, n)
		}
		took = append(took, time.Since(began))
	}
	percentiles(b, took)
}
