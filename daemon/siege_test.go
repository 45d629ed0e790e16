package daemon

import (
	"bytes"
	"compress/gzip"
	"context"
	"fmt"
	"io"
	"log"
	"net"
	"net/http"
	"os"
	"regexp"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"lidwright/kiln/practice"
)

// clientFrom is a client that asks from one address of this machine, a connection at a time.
func clientFrom(n int) *http.Client {
	d := net.Dialer{Timeout: 5 * time.Second, LocalAddr: &net.TCPAddr{IP: net.IPv4(127, 0, 1, byte(1+n%200))}}
	return &http.Client{Timeout: 20 * time.Second,
		Transport: &http.Transport{DialContext: d.DialContext, MaxConnsPerHost: 1}}
}

// The daemon under siege while its kiln fires: 200 slow connections, bodies that are too much in every
// way, and clients (200; 1,000 in a soak) that ask without pause. Not a reading is lost, who asks
// gets an answer or an immediate 503, and memory does not grow with them. It runs beside no other test,
// since memory is measured.
func TestSiegeWhileRecording(t *testing.T) {
	clients, length := 200, 6*time.Second
	if os.Getenv("LIDWRIGHT_SOAK") != "" {
		clients, length = 1000, time.Minute
	}
	plug := &practice.Plug{}
	w := lineWorld(t, plug, 60, "5s")
	if err := plug.Plug(); err != nil {
		t.Fatal(err)
	}
	defer plug.Unplug()
	told := func(n int64) float64 { return 20 + 0.5*float64(n) }
	v := speak(plug, told)
	w.until("a firing", func() bool { return len(w.kept()) > 0 })
	begun := v.sent.Load() + 100 // what came before it was noticed is kept in steps of ten seconds
	w.until("lines that are kept one by one", func() bool { return v.sent.Load() > begun })
	// Memory of its own, kB: the pages of the program's file that it touches first in here are no cost of
	// clients.
	own := func() (kB int) {
		status, err := os.ReadFile(fmt.Sprintf("/proc/%d/status", w.cmd.Process.Pid))
		if err != nil {
			t.Fatal(err)
		}
		fmt.Sscan(string(regexp.MustCompile(`RssAnon:\s*(\d+)`).FindSubmatch(status)[1]), &kB)
		return kB
	}
	before := own()

	var besiegers sync.WaitGroup
	var answers, refused, other atomic.Int64
	log.SetOutput(io.Discard) // net/http logs each 503 that comes before the question
	defer log.SetOutput(os.Stderr)
	count := func(a *http.Response, err error, want ...int) {
		switch {
		case err != nil: // its connection was closed: the limit of one address
			refused.Add(1)
			return
		case a.StatusCode == http.StatusServiceUnavailable:
			refused.Add(1)
		case slices.Contains(want, a.StatusCode):
			answers.Add(1)
		default:
			other.Add(1)
		}
		io.Copy(io.Discard, a.Body)
		a.Body.Close()
	}
	address := strings.TrimPrefix(w.site, "http://")
	var slow []net.Conn
	for i := range 200 { // half a head, and no more
		d := net.Dialer{Timeout: 5 * time.Second,
			LocalAddr: &net.TCPAddr{IP: net.IPv4(127, 0, 2, byte(1+i%20))}}
		if c, err := d.Dial("tcp", address); err == nil {
			c.Write([]byte("GET / HTTP/1.1\r\nHost: 127"))
			slow = append(slow, c)
		}
	}
	for range 5 { // they hold all there are: an immediate 503
		count(clientFrom(401).Get(w.site + "/v1/now"))
	}
	for _, c := range slow {
		c.Close()
	}
	if refused.Load() != 5 || answers.Load() > 0 {
		t.Errorf("while 200 slow ones hold on: %d of 5 refused", refused.Load())
	}
	ctx, end := context.WithTimeout(t.Context(), length)
	defer end()
	for i := range clients {
		besiegers.Go(func() {
			c := clientFrom(i)
			defer c.CloseIdleConnections()
			for ctx.Err() == nil {
				a, err := c.Get(w.site + []string{"/v1/now", "/",
					"/v1/lid?collar=96&body_drying_ratio=0.06&body_firing_ratio=0.07&lids=1"}[i%3])
				count(a, err, 200)
			}
		})
	}
	var bomb bytes.Buffer
	z := gzip.NewWriter(&bomb)
	z.Write(make([]byte, 10<<20))
	z.Close()
	for i, body := range []string{strings.Repeat(" ", 10<<20), strings.Repeat("[", 100_000),
		"{" + strings.Repeat(`"k":1,`, 1_000_000) + `"z":1}`, bomb.String()} {
		besiegers.Go(func() {
			c := clientFrom(300 + i)
			defer c.CloseIdleConnections()
			for ctx.Err() == nil {
				r, err := http.NewRequest("PUT", w.site+"/v1/clays/tern", strings.NewReader(body))
				if err != nil {
					t.Error(err)
					return
				}
				r.Header.Set("Content-Type", "application/json")
				if i == 3 {
					r.Header.Set("Content-Encoding", "gzip")
				}
				a, err := c.Do(r)
				count(a, err, 413, 415, 400, 429)
			}
		})
	}
	var took []time.Duration // of somebody else, who asks five times a second
	one := clientFrom(400)
	for ctx.Err() == nil {
		began := time.Now()
		a, err := one.Get(w.site + "/v1/now")
		took = append(took, time.Since(began))
		count(a, err, 200)
		time.Sleep(200 * time.Millisecond)
	}
	besiegers.Wait()
	one.CloseIdleConnections()
	after := own()
	if slices.Sort(took); len(took) == 0 {
		t.Fatal("another client was never answered")
	}
	t.Logf("%d clients: %d answers, %d refused; another's slowest of %d %v; %d kB of its own before, %d kB after", clients, answers.Load(), refused.Load(), len(took), took[len(took)-1].Round(time.Millisecond), before, after)
	if other.Load() > 0 || answers.Load() == 0 {
		t.Errorf("%d answers as they should be, %d that should not be", answers.Load(), other.Load())
	}
	// The goal is 10 MB, and 9 to 12 were measured; what the collector has not given back yet is in it.
	if before == 0 || after-before > 16<<10 {
		t.Errorf("its own memory grew from %d to %d kB", before, after)
	}

	w.until("a place for who comes next", func() bool {
		a, err := http.Get(w.site + "/v1/now")
		if err != nil {
			return false
		}
		a.Body.Close()
		return a.StatusCode == http.StatusOK
	})
	ended := v.sent.Load()
	w.until("lines after the siege", func() bool { return v.sent.Load() > ended+10 })
	v.silence()
	w.until("the last line kept", func() bool { return w.kept()[told(ended+10)] })
	var a struct {
		Channels []struct{ Rows [][3]float64 }
	}
	w.get("/v1/firings/"+w.firings()[0].ID+"/curve?step=1", &a)
	kept := func(n int64) bool {
		return slices.ContainsFunc(a.Channels[0].Rows,
			func(r [3]float64) bool { return r[1] <= told(n) && told(n) <= r[2] })
	}
	lost := 0
	for n := begun; n <= ended; n++ {
		if !kept(n) {
			lost++
			t.Errorf("the reading of %.1f °C is lost", told(n))
		}
	}
	t.Logf("%d readings, %d lost", ended-begun, lost)
	if said := w.log.String(); strings.Contains(said, "panic") {
		t.Errorf("a panic:\n%s", said)
	}
}
