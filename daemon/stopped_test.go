package daemon

import (
	"context"
	"net"
	"sync/atomic"
	"testing"
	"time"

	"lidwright/config"
	"lidwright/kiln"
)

// stoppable runs a daemon over cfg until it is stopped.
func stoppable(t *testing.T, cfg config.Config, now func() kiln.Stamp) (b *heatBench, stop func()) {
	t.Helper()
	d, err := New(t.Context(), cfg, "test")
	if err != nil {
		t.Fatal(err)
	}
	b = &heatBench{t: t, d: d}
	d.Now = now
	address := make(chan string, 1)
	d.Ready = func(a string) { address <- a }
	d.Listen = func(string) (net.Listener, error) { return net.Listen("tcp", "127.0.0.1:0") }
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() { done <- d.Run(ctx) }()
	select {
	case a := <-address:
		b.site = "http://" + a
	case err := <-done:
		t.Fatalf("run: %v", err)
	}
	stopped := false
	stop = func() {
		if stopped {
			return
		}
		stopped = true
		cancel()
		if err := <-done; err != nil {
			t.Errorf("run: %v", err)
		}
	}
	t.Cleanup(stop)
	return b, stop
}

// A load unpacked by mistake and a record stopped by mistake are taken back over HTTP, the latter after a
// restart of the daemon: one firing, with all that was heard but what the restart missed.
func TestStopIsTakenBack(t *testing.T) {
	cfg := heatConfig(t, heatSettings)
	var passed atomic.Int64 // ns
	now := func() kiln.Stamp {
		after := time.Duration(passed.Load())
		return kiln.Stamp{Boot: "now", Since: 5000*time.Hour + after, Wall: january.Add(after), Trusted: true}
	}
	b, stop := stoppable(t, cfg, now)
	send := func(minutes int, from, to float64) {
		for i := range minutes {
			passed.Add(int64(time.Minute))
			b.d.samples <- kiln.Sample{Kiln: "big-blue", At: now(),
				Values: []kiln.Value{{Channel: "1",
					T: kiln.Celsius(from + (to-from)*float64(i)/float64(minutes))}}}
		}
	}
	type nowAnswer struct {
		Firing  *string
		Stopped *struct{ Firing, Name, Load string }
	}
	kilnNow := func() (n nowAnswer) {
		passed.Add(int64(time.Second)) // an answer is kept for a moment
		b.ask("GET", "/v1/now/big-blue", nil, &n)
		return n
	}
	atOnce := func() (n nowAnswer) { // within the moment that an answer is kept for
		b.ask("GET", "/v1/now/big-blue", nil, &n)
		return n
	}
	runs := func(id string) func() bool {
		return func() bool {
			var f struct{ Status string }
			b.ask("GET", "/v1/firings/"+id, nil, &f)
			n := kilnNow()
			return f.Status == "running" && n.Firing != nil && *n.Firing == id && n.Stopped == nil
		}
	}
	over := func(id string) func() bool {
		return func() bool {
			var f struct{ Status string }
			b.ask("GET", "/v1/firings/"+id, nil, &f)
			n := kilnNow()
			return f.Status != "running" && n.Firing == nil && n.Stopped != nil && n.Stopped.Firing == id
		}
	}
	load := newUUID()
	if status, text := b.ask("PUT", "/v1/loads/"+load, map[string]any{"kiln": "big-blue", "kind": "bisque",
		"bars": []any{}}, nil); status >= 300 {
		t.Fatal(status, text)
	}
	send(20, 20, 20)
	send(300, 20, 1000)
	send(300, 1000, 150)
	var id string
	until(t, "the load in its firing", func() bool {
		var l struct{ Firing, State string }
		b.ask("GET", "/v1/loads/"+load, nil, &l)
		id = l.Firing
		return l.State == "firing"
	})
	until(t, "the unpacking, once its peak is passed", func() bool {
		status, _ := b.ask("POST", "/v1/loads/"+load+"/unpacked", map[string]any{}, nil)
		return status == 200
	})
	until(t, "the end of the record", over(id))
	if n := kilnNow(); n.Stopped.Load != load || n.Stopped.Name == "" {
		t.Errorf("stopped %+v", n.Stopped)
	}
	send(5, 150, 145)
	if status, text := b.ask("DELETE", "/v1/firings/"+id+"/stop", nil, nil); status != 200 {
		t.Fatal(status, text)
	}
	until(t, "the firing again", runs(id))
	var l struct {
		State   string
		Firings []string
	}
	b.ask("GET", "/v1/loads/"+load, nil, &l)
	if l.State != "firing" || len(l.Firings) != 1 {
		t.Errorf("the load is %+v", l)
	}
	if status, _ := b.ask("PUT", "/v1/firings/"+id+"/stop", map[string]any{}, nil); status != 409 {
		t.Errorf("a stop that nobody is sure of: %d", status)
	}
	if status, text := b.ask("PUT", "/v1/firings/"+id+"/stop",
		map[string]any{"sure": true}, nil); status != 200 {
		t.Fatal(status, text)
	}
	if n := atOnce(); n.Firing != nil || n.Stopped == nil || n.Stopped.Firing != id {
		t.Errorf("right after the stop: %+v", n)
	}
	if status, text := b.ask("DELETE", "/v1/firings/"+id+"/stop", nil, nil); status != 200 {
		t.Fatal(status, text)
	}
	if n := atOnce(); n.Firing == nil || *n.Firing != id || n.Stopped != nil {
		t.Errorf("right after it was taken back: %+v", n)
	}
	if status, text := b.ask("PUT", "/v1/firings/"+id+"/stop",
		map[string]any{"sure": true}, nil); status != 200 {
		t.Fatal(status, text)
	}
	until(t, "the end by the button", over(id))
	send(2, 145, 143)
	stop()
	b, _ = stoppable(t, cfg, now)
	until(t, "what can be taken back, after a restart",
		func() bool { n := kilnNow(); return n.Stopped != nil && n.Stopped.Firing == id })
	send(3, 143, 140)
	if status, text := b.ask("DELETE", "/v1/firings/"+id+"/stop", nil, nil); status != 200 {
		t.Fatal(status, text)
	}
	until(t, "the firing after the restart", runs(id))
	send(5, 140, 135)
	var c struct {
		Gaps     []map[string]any
		Channels []struct{ Rows [][3]float64 }
	}
	want := 20 + 300 + 300 + 5 + 2 + 3 + 5
	until(t, "all that was read", func() bool {
		b.ask("GET", "/v1/firings/"+id+"/curve?step=60", nil, &c)
		return len(c.Channels) == 1 && len(c.Channels[0].Rows) > 300+300+10
	})
	if rows := len(c.Channels[0].Rows); rows < want-25 || len(c.Gaps) > 0 {
		t.Errorf("%d minutes of about %d, gaps %v", rows, want, c.Gaps)
	}
	// Ten minutes are all.
	until(t, "unpacked again", func() bool {
		status, _ := b.ask("POST", "/v1/loads/"+load+"/unpacked", map[string]any{}, nil)
		return status == 200
	})
	until(t, "the end by unpacking", over(id))
	passed.Add(int64(kiln.UndoFor))
	for _, path := range []string{"/v1/firings/" + id + "/stop", "/v1/loads/" + load + "/unpacked"} {
		if status, text := b.ask("DELETE", path, nil, nil); status != 409 {
			t.Errorf("%s after ten minutes: %d %s", path, status, text)
		}
	}
}
