package daemon

import (
	"fmt"
	"net"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"lidwright/kiln/practice"
)

// lineWorld is a daemon of its own, its kiln on plug, with a clock that runs so many times as fast.
func lineWorld(t testing.TB, plug *practice.Plug, fast int, every string) *world {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0") // a port that is free
	if err != nil {
		t.Fatal(err)
	}
	address := l.Addr().String()
	l.Close()
	w := &world{t: t, folder: t.TempDir(), site: "http://" + address, epoch: time.Now(), fast: fast}
	if plug.Link == "" {
		plug.Link = filepath.Join(w.folder, "kiln")
	}
	settings := fmt.Sprintf("[store]\nfolder=%q\n[listen]\naddress=%q\n[kiln.big-blue]\nport=%q\nreply=\"columns\"\nevery=%q\nlimit_c=1290\n[kiln.big-blue.channel.1]\nfrom=\"1\"\nunit=\"c\"\n[kiln.big-blue.probe.1]\ntype=\"K\"\n",
		filepath.Join(w.folder, "store"), address, plug.Link, every)
	if err := os.WriteFile(filepath.Join(w.folder, "lidwright.toml"), []byte(settings), 0o600); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { w.cmd.Process.Kill(); w.cmd.Wait() })
	w.start()
	return w
}

type lineAnswer struct {
	Open  bool
	Waits string
}

func (w *world) line() lineAnswer {
	var a struct{ Items []lineAnswer }
	w.get("/v1/lines", &a)
	if len(a.Items) != 1 {
		w.t.Fatalf("lines %+v", a)
	}
	return a.Items[0]
}

// kept are the readings of the first firing that are kept, °C.
func (w *world) kept() map[float64]bool {
	out := map[float64]bool{}
	f := w.firings()
	if len(f) == 0 {
		return out
	}
	var a struct {
		Channels []struct{ Rows [][3]float64 }
	}
	w.get("/v1/firings/"+f[0].ID+"/curve?step=1", &a)
	for _, c := range a.Channels {
		for _, r := range c.Rows {
			out[r[1]] = true
		}
	}
	return out
}

// voice is a kiln that sends a line down the plug ten times a second, told of its number.
type voice struct {
	sent        atomic.Int64
	stop, spoke chan struct{}
	mouth       sync.Mutex // held while a line is sent, and while it is hushed
}

func speak(plug *practice.Plug, told func(n int64) float64) *voice {
	v := &voice{stop: make(chan struct{}), spoke: make(chan struct{})}
	go func() {
		defer close(v.spoke)
		for {
			select {
			case <-v.stop:
				return
			case <-time.After(100 * time.Millisecond): // 6 s of a kiln that is 60 times as fast
			}
			v.mouth.Lock()
			plug.Write(fmt.Appendf(nil, "%.1f\n", told(v.sent.Load())))
			v.sent.Add(1)
			v.mouth.Unlock()
		}
	}()
	return v
}

// hush lets nothing be sent until goOn, once the line under way is sent.
func (v *voice) hush() { v.mouth.Lock() }

func (v *voice) goOn() { v.mouth.Unlock() }

// silence ends it, after the line that is on its way.
func (v *voice) silence() { close(v.stop); <-v.spoke }

// TestManyConnections attempts 1,200 connections from eighty addresses while the port goes and comes
// back under another device number: the daemon lives, its descriptors stay below the 1,024 that the
// serial library can bear (bugst/go-serial#128), the port is read again, and every reading that came to
// it is kept. The kiln is silent while it is unplugged and plugged in, so that none lies unread in the
// pseudo-terminal when that goes: what the kernel throws away then no program can keep.
func TestManyConnections(t *testing.T) {
	t.Parallel()
	plug := &practice.Plug{}
	w := lineWorld(t, plug, 60, "5s")
	if err := plug.Plug(); err != nil {
		t.Fatal(err)
	}
	defer plug.Unplug()
	const began, step = 20, 2
	told := func(n int64) float64 { return float64(began + step*n) }
	v := speak(plug, told)
	// What came before a firing was noticed is kept in steps of ten seconds: look at what follows.
	const from = 160
	w.until("a firing", func() bool { return len(w.kept()) > 0 && v.sent.Load() > (from+40)/step })

	var held []net.Conn
	defer func() {
		for _, c := range held {
			c.Close()
		}
	}()
	attempt := func(n int) {
		for i := range n {
			d := net.Dialer{Timeout: 5 * time.Second,
				LocalAddr: &net.TCPAddr{IP: net.IPv4(127, 0, 0, byte(1+(len(held)+i)%80))}}
			c, err := d.Dial("tcp", strings.TrimPrefix(w.site, "http://"))
			if err != nil {
				t.Fatalf("connection %d: %v", len(held), err)
			}
			c.Write([]byte("GET / HTTP/1.1\r\nHost: 127")) // and no more
			held = append(held, c)
		}
	}
	attempt(600)
	first := plug.Line().Path
	v.hush()
	unplugged := v.sent.Load()
	w.until("all that was sent to be kept", func() bool { return w.kept()[told(unplugged-1)] })
	if err := plug.Unplug(); err != nil {
		t.Fatal(err)
	}
	v.goOn()
	attempt(300)
	v.hush()
	if err := plug.Plug(); err != nil {
		t.Fatal(err)
	}
	if plug.Line().Path == first {
		t.Fatalf("plugged in again as %s, the same device", first)
	}
	back := time.Now()
	attempt(300)
	open, err := os.ReadDir(fmt.Sprintf("/proc/%d/fd", w.cmd.Process.Pid))
	if err != nil {
		t.Fatal(err)
	}
	if len(held) != 1200 || len(open) > 400 {
		t.Errorf("%d connections attempted; %d descriptors open", len(held), len(open))
	}
	for i, c := range held {
		if i%4 > 0 {
			c.Close() // room for whoever asks below
		}
	}
	w.until("the port open again", func() bool { return w.line().Open })
	reopened := v.sent.Load()
	v.goOn()
	t.Logf("open again within %v of the return, with 1,200 connections attempted; %d descriptors",
		time.Since(back).Round(10*time.Millisecond), len(open))
	w.until("lines after the return", func() bool { return v.sent.Load() > reopened+30 })
	v.silence()
	last := told(v.sent.Load() - 1)
	var kept map[float64]bool
	w.until("the last line kept", func() bool { kept = w.kept(); return kept[last] })
	for i := range v.sent.Load() {
		// The first line after an opening may be the end of one: what is in it is not believed.
		away := i >= unplugged && i <= reopened
		if t0 := told(i); t0 >= from && !kept[t0] && !away {
			t.Errorf("the reading of %.0f °C, sent while the port was open, is lost", t0)
		}
	}
	t.Logf("%d lines sent, %d of them while it was away", v.sent.Load(), reopened-unplugged)
	if log := w.log.String(); strings.Contains(log, "panic") {
		t.Errorf("a panic:\n%s", log)
	}
}

// BenchmarkAway is the share of one core that the daemon takes while its port is not there, in real
// time over ten seconds.
func BenchmarkAway(b *testing.B) {
	w := lineWorld(b, &practice.Plug{}, 1, "1s")
	share := 0.0
	for b.Loop() {
		before, began := cpu(b, w.cmd.Process.Pid), time.Now()
		time.Sleep(10 * time.Second)
		share = 100 * (cpu(b, w.cmd.Process.Pid) - before) / time.Since(began).Seconds()
	}
	b.ReportMetric(share, "%cpu")
}

// cpu is the time that a process has taken so far, s: user and system, in the hundredths that
// proc(5) counts in.
func cpu(t testing.TB, pid int) float64 {
	t.Helper()
	b, err := os.ReadFile(fmt.Sprintf("/proc/%d/stat", pid))
	if err != nil {
		t.Fatal(err)
	}
	fields := strings.Fields(string(b[strings.LastIndexByte(string(b), ')')+1:]))
	user, _ := strconv.Atoi(fields[11])
	system, _ := strconv.Atoi(fields[12])
	return float64(user+system) / 100
}
