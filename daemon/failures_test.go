package daemon

import (
	"context"
	"fmt"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"syscall"
	"testing"
	"testing/synctest"
	"time"

	"lidwright/kiln"
	"lidwright/kiln/heatwork"
	"lidwright/kiln/practice"
	"lidwright/kiln/record"
)

// TestHundredFirings: after 100 firings, each with its notices, its work at the end and somebody who looks,
// the process holds no more memory, descriptors, threads and goroutines than after the first ten.
func TestHundredFirings(t *testing.T) {
	b := newHeatBench(t)
	var now atomic.Int64 // minutes
	start := b.d.Now()
	b.d.Now = func() kiln.Stamp {
		at, after := start, time.Duration(now.Load())*time.Minute
		at.Since, at.Wall = at.Since+after, at.Wall.Add(after)
		return at
	}
	ticks := make(chan time.Time)
	b.d.Tick = func(context.Context) <-chan time.Time { return ticks }
	var ended atomic.Int64
	worked := b.d.recorder.Ended
	b.d.recorder.Ended = func(f kiln.Firing) { worked(f); ended.Add(1) }
	b.run()
	minute := func(c kiln.Celsius) {
		now.Add(1)
		b.d.samples <- kiln.Sample{Kiln: "big-blue", At: b.d.Now(),
			Values: []kiln.Value{{Channel: "1", T: c}}}
		for len(b.d.samples) > 0 {
			runtime.Gosched()
		}
		ticks <- time.Time{}
	}
	var first, last held
	for i := range int64(100) {
		for c := kiln.Celsius(20); c < 700; c += 8 {
			minute(c)
		}
		for c := kiln.Celsius(700); c > 25; c -= 6 {
			minute(c)
		}
		for ended.Load() == i {
			minute(20)
		}
		for range 30 {
			minute(20)
		}
		for _, path := range []string{"/", "/kiln/big-blue", "/v1/firings?limit=5", "/metrics",
			"/v1/notices"} {
			if status, text := b.ask("GET", path, nil, nil); status != 200 {
				t.Fatalf("%s after %d firings: %d %.200s", path, i+1, status, text)
			}
		}
		waitFor(t, "the work at the end of a firing", func() bool {
			b.d.over.mu.Lock()
			defer b.d.over.mu.Unlock()
			return len(b.d.over.list) == 0
		})
		if i == 9 {
			first = hold(t)
		}
	}
	last = hold(t)
	t.Logf("after 10 firings %v, after 100 %v", first, last)
	if last.heap > first.heap+5<<20 || last.files > first.files+3 || last.threads >= 25 ||
		last.goroutines > first.goroutines+3 {
		t.Errorf("grew from %v to %v", first, last)
	}
}

// held is what the process holds when it has nothing to do.
type held struct{ heap, files, threads, goroutines int }

func (h held) String() string {
	return fmt.Sprintf("%.1f MB, %d descriptors, %d threads, %d goroutines", float64(h.heap)/(1<<20), h.files,
		h.threads, h.goroutines)
}

// hold waits until the goroutines of what was asked for are gone: three counts alike.
func hold(t *testing.T) (h held) {
	t.Helper()
	http.DefaultClient.CloseIdleConnections()
	same := 0
	waitFor(t, "the goroutines to come to rest", func() bool {
		n := runtime.NumGoroutine()
		if same++; n != h.goroutines {
			same = 0
		}
		h.goroutines = n
		time.Sleep(20 * time.Millisecond)
		return same >= 3
	})
	var m runtime.MemStats
	runtime.GC()
	runtime.ReadMemStats(&m)
	h.heap = int(m.HeapAlloc)
	for of, n := range map[string]*int{"fd": &h.files, "task": &h.threads} {
		all, err := os.ReadDir("/proc/self/" + of)
		if err != nil {
			t.Fatal(err)
		}
		*n = len(all)
	}
	return h
}

// manager is the socket of a service manager, which is told that all is well, and the environment that it
// gives.
func manager(t *testing.T, watchdog time.Duration) (socket *net.UnixConn, env map[string]string) {
	t.Helper()
	path := filepath.Join(t.TempDir(), "notify")
	c, err := net.ListenUnixgram("unixgram", &net.UnixAddr{Name: path, Net: "unixgram"})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { c.Close() })
	return c, map[string]string{"NOTIFY_SOCKET": path, "WATCHDOG_USEC": fmt.Sprint(watchdog.Microseconds()),
		"WATCHDOG_PID": ""}
}

// toldWell gives how often the manager was told that all is well since it was last asked.
func toldWell(c *net.UnixConn) (n int) {
	room := make([]byte, 1<<10)
	for {
		raw, err := c.SyscallConn()
		if err != nil {
			return n
		}
		got := 0
		raw.Control(func(fd uintptr) { got, _, _ = syscall.Recvfrom(int(fd), room, syscall.MSG_DONTWAIT) })
		if got <= 0 {
			return n
		}
		if strings.Contains(string(room[:got]), "WATCHDOG=1") {
			n++
		}
	}
}

// TestWatchdogSeesADeadlock: the service manager hears that all is well while the recording loop turns, and
// nothing from when it is stuck, within half a watchdog's time.
func TestWatchdogSeesADeadlock(t *testing.T) {
	socket, env := manager(t, 30*time.Second)
	for name, value := range env {
		t.Setenv(name, value)
	}
	synctest.Test(t, func(t *testing.T) {
		began := time.Now()
		stuck, free := atomic.Bool{}, make(chan struct{})
		now := func() kiln.Stamp {
			if stuck.Load() {
				<-free // the loop holds its lock and waits
			}
			return kiln.Stamp{Boot: "b", Since: time.Since(began), Wall: time.Now()}
		}
		ticks := make(chan time.Time)
		d := &Daemon{recorder: &record.Recorder{Log: emptyLog{}, Ladder: heatwork.MainConeScale(),
			Kilns: []kiln.Kiln{{ID: "blue"}}, Now: now, Tick: ticks}}
		ctx, stop := context.WithCancel(t.Context())
		var all sync.WaitGroup
		all.Go(func() { d.recorder.Run(ctx, nil) })
		all.Go(func() { d.watch(ctx) })
		all.Go(func() {
			for ctx.Err() == nil {
				time.Sleep(time.Second)
				select {
				case ticks <- time.Now():
				case <-ctx.Done():
				}
			}
		})
		minutes := func(m int) (n int) { // the socket holds ten words
			for range m {
				time.Sleep(time.Minute)
				n += toldWell(socket)
			}
			return n
		}
		time.Sleep(time.Second)
		if n := minutes(5); n != 20 {
			t.Errorf("told %d times in five minutes that all is well, want every 15 s", n)
		}
		stuck.Store(true)
		time.Sleep(20 * time.Second) // the turn under way may be counted once more
		toldWell(socket)
		if n := minutes(10); n != 0 {
			t.Errorf("told %d times that all is well while the loop is stuck", n)
		}
		stuck.Store(false)
		close(free)
		stop()
		all.Wait()
	})
}

// emptyLog is a log that takes everything and has nothing.
type emptyLog struct{}

func (emptyLog) BeginFiring(context.Context, kiln.Firing, []kiln.Sample) (int, error) { return 1, nil }
func (emptyLog) AppendCurve(context.Context, kiln.FiringID, []kiln.Sample) error      { return nil }
func (emptyLog) PassPeak(context.Context, kiln.Firing) error                          { return nil }
func (emptyLog) EndFiring(context.Context, kiln.Firing) error                         { return nil }
func (emptyLog) StopFiring(context.Context, kiln.Firing, record.Stopped) error        { return nil }
func (emptyLog) ReopenFiring(context.Context, kiln.Firing) error                      { return nil }
func (emptyLog) SettleFiring(context.Context, kiln.FiringID) error                    { return nil }
func (emptyLog) Unfinished(context.Context) ([]record.Unfinished, error)              { return nil, nil }

// TestFiringGoesOnAfterTheWatchdog: the test is the service manager of a daemon that records. It stops the
// daemon's loop, sees that it is told nothing more, kills it and starts it anew: the firing goes on.
func TestFiringGoesOnAfterTheWatchdog(t *testing.T) {
	t.Parallel()
	socket, env := manager(t, time.Second)
	w := newWorld(t, filepath.Join(t.TempDir(), "store"))
	stick := filepath.Join(t.TempDir(), "stuck")
	w.env = []string{"LIDWRIGHT_TEST_STUCK=" + stick}
	for name, value := range env {
		w.env = append(w.env, name+"="+value)
	}
	w.start()
	w.until("a firing", func() bool { return len(w.firings()) == 1 })
	id := w.firings()[0].ID
	w.until("word that all is well", func() bool { return toldWell(socket) > 0 })
	if err := os.WriteFile(stick, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	quiet := 0 // looks, a tenth of a second each
	w.until("five seconds without a word", func() bool {
		if quiet++; toldWell(socket) > 0 {
			quiet = 0
		}
		return quiet >= 50
	})
	w.kill()
	if err := os.Remove(stick); err != nil {
		t.Fatal(err)
	}
	w.start()
	hours := func() float64 {
		var now struct{ Items []struct{ Hours float64 } }
		w.get("/v1/now", &now)
		return now.Items[0].Hours
	}
	w.until("the firing to go on", func() bool {
		f := w.firings()
		return len(f) == 1 && f[0].ID == id && hours() > 0
	})
	before := hours()
	w.until("it to grow", func() bool { return hours() > before })
	w.until("word that all is well again", func() bool { return toldWell(socket) > 0 })
}

// TestDeviceRebootsInMidFiring: the device starts again in the middle, says its banner and counts its time
// from 0. What was read before and after is there once and in order, in one firing.
func TestDeviceRebootsInMidFiring(t *testing.T) {
	t.Parallel()
	folder := t.TempDir()
	plug := &practice.Plug{Link: filepath.Join(folder, "kiln")}
	if err := plug.Plug(); err != nil {
		t.Fatal(err)
	}
	defer plug.Unplug()
	settings := strings.Replace(heatSettings, "every = \"60s\"", "every = \"10s\"\ntime_column = \"1\"", 1)
	settings = strings.Replace(settings, `from = "1"`, `from = "2"`, 1)
	cfg := heatConfig(t, settings)
	cfg.Kilns[0].Port = plug.Link
	d, err := New(t.Context(), cfg, "test")
	if err != nil {
		t.Fatal(err)
	}
	d.Now = scaled(time.Now(), factor)
	d.Tick = func(ctx context.Context) <-chan time.Time {
		tick := time.NewTicker(100 * time.Millisecond)
		context.AfterFunc(ctx, tick.Stop)
		return tick.C
	}
	b := &heatBench{t: t, d: d}
	b.run()
	said := 0
	say := func(boot, lines int) {
		for i := range lines {
			said++
			plug.Write(fmt.Appendf(nil, "%d,%.1f\n", boot+10*i, 100+float64(said)))
			time.Sleep(10 * time.Second / factor)
		}
	}
	var id kiln.FiringID
	waitFor(t, "a firing", func() bool {
		say(86000+10*said, 1)
		id = d.recorder.Live()[0].Firing
		return id != ""
	})
	say(90000, 200) // its clock was set meanwhile
	plug.Write([]byte("\x00\xffController 2.1\r\nself test ok\nready, 0\n"))
	time.Sleep(2 * time.Second / 10)
	say(0, 200)
	top := kiln.Celsius(100 + float64(said))
	var samples []kiln.Sample
	waitFor(t, "the last reading on the disk", func() bool {
		say(2000, 1) // the judge holds a reading back for the next
		if samples, err = d.store.Samples(t.Context(), id); err != nil {
			t.Fatal(err)
		}
		return slices.ContainsFunc(samples, func(s kiln.Sample) bool {
			v, ok := s.Value("1")
			return ok && v.T >= top
		})
	})
	var lastAt time.Duration
	lastT, after := kiln.Celsius(0), 0
	for i, s := range samples {
		v, ok := s.Value("1")
		if !ok || v.Fault != kiln.Good {
			continue
		}
		if i > 0 && (s.At.Since <= lastAt || v.T <= lastT) {
			t.Errorf("sample %d: %.1f °C at %v after %.1f °C at %v", i, v.T, s.At.Since, lastT, lastAt)
		}
		lastAt, lastT = s.At.Since, v.T
		if v.T > top-200 {
			after++
		}
	}
	if after < 100 {
		t.Errorf("%d readings of the 200 after the device's start", after)
	}
	if f := b.d.recorder.Live()[0]; f.Firing != id {
		t.Errorf("the firing is %q now", f.Firing)
	}
}

// TestFiringOverTheChangeOfClocks: firings over both changes of Berlin's clocks in 2026 (29 March 01:00 UTC,
// 25 October 01:00 UTC; EU directive 2000/84/EC: the last Sundays of March and October at 1.00 GMT) have no
// hole, no hour twice and their real length; times are local with their offset; the digest comes at its time
// of day, once, on the days of 23 and of 25 hours too.
func TestFiringOverTheChangeOfClocks(t *testing.T) {
	b := newHeatBenchWith(t, strings.Replace(heatSettings, `zone = "UTC"`, `zone = "Europe/Berlin"`, 1))
	b.run()
	zone := b.d.server.Site.Zone
	for _, c := range []struct {
		day           int // of 2026, counted from 1 January, which the firing begins in at 06:00 UTC
		began, offset string
	}{{87, "2026-03-28T07:00:00+01:00", "+02:00"}, {297, "2026-10-24T08:00:00+02:00", "+01:00"}} {
		id := b.fire(c.day, "20>1222@45 >20@150", kiln.Glaze) // over 34 hours
		var f struct {
			Began string `json:"started_at"`
			Ended string `json:"ended_at"`
			Hours float64
			Gaps  []any
		}
		b.ask("GET", "/v1/firings/"+string(id), nil, &f)
		ended, err := time.Parse(time.RFC3339, f.Ended)
		began, err2 := time.Parse(time.RFC3339, f.Began)
		if err != nil || err2 != nil || f.Began != c.began || !strings.HasSuffix(f.Ended, c.offset) ||
			len(f.Gaps) > 0 || f.Hours < 34 || f.Hours > 36 || ended.Sub(began).Hours()-f.Hours > 0.1 ||
			ended.Sub(began).Hours()-f.Hours < -0.1 {
			t.Errorf("%+v, %v long", f, ended.Sub(began))
		}
		samples, err := b.d.store.Samples(t.Context(), id)
		if err != nil || len(samples) < 34*60 {
			t.Fatal(len(samples), err)
		}
		for i := range samples[1:] {
			if step := samples[i+1].At.Wall.Sub(samples[i].At.Wall); step != time.Minute ||
				samples[i].At.Wall.Location() != time.UTC {
				t.Fatalf("sample %d of %d: %v after the one before, kept as %v", i+1, len(samples),
					step, samples[i].At.Wall)
			}
		}
		var curve struct {
			Channels []struct {
				After []float64 `json:"after_s"`
			}
		}
		_, text := b.ask("GET", "/v1/firings/"+string(id)+"/curve?step=600", nil, &curve)
		if strings.Contains(text, `"why"`) {
			t.Errorf("the curve has a gap: %.300s", text)
		}
		// The digest of the two days about the change.
		at := kiln.Stamp{Boot: "x", Wall: samples[0].At.Wall.Truncate(24 * time.Hour), Trusted: true}
		h := newsdesk(t, b.d.store, &at)
		h.zone = zone
		var at8 []string
		was := ""
		for range 3 * 24 * 4 {
			h.look(t.Context())
			if h.digest != was && h.digest != "none" {
				at8 = append(at8, at.Wall.In(zone).Format("2 15:04"))
			}
			was = h.digest
			at.Wall, at.Since = at.Wall.Add(15*time.Minute), at.Since+15*time.Minute
		}
		for _, when := range at8 {
			if !strings.HasSuffix(when, " 08:00") {
				t.Errorf("digests at %v", at8)
			}
		}
		if len(at8) != 3 {
			t.Errorf("digests at %v, want one a day", at8)
		}
	}
}
