package daemon

import (
	"bytes"
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"io"
	"lidwright/kiln/kilntest"
	"log/slog"
	"math"
	"math/rand/v2"
	"net"
	"net/http"
	"os"
	"os/exec"
	"os/signal"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/google/uuid"
	"golang.org/x/sys/unix"

	"lidwright/config"
	"lidwright/kiln"
	"lidwright/kiln/heatwork"
	"lidwright/kiln/practice"
)

// The test binary starts itself again as the daemon, with a clock that runs faster.
const (
	childVar = "LIDWRIGHT_TEST_CHILD"
	factor   = 600 // seconds of the kiln in one of ours
)

func TestMain(m *testing.M) {
	if file := os.Getenv(childVar); file != "" {
		os.Exit(child(file))
	}
	slog.SetLogLoggerLevel(slog.LevelWarn) // what daemons of the tests say in passing hides what failed
	flag.Parse()
	// most of these tests wait for their kilns
	if n := flag.Lookup("test.parallel"); n.Value.String() == n.DefValue {
		flag.Set(n.Name, "6")
	}
	os.Exit(m.Run())
}

// scaled is a clock that began at epoch and runs factor times as fast as ours.
func scaled(epoch time.Time, factor int64) func() kiln.Stamp {
	return func() kiln.Stamp {
		since := time.Since(epoch) * time.Duration(factor)
		return kiln.Stamp{Boot: "test", Since: since, Wall: epoch.Add(since).UTC(), Trusted: true}
	}
}

func child(file string) int {
	ns, _ := strconv.ParseInt(os.Getenv("LIDWRIGHT_TEST_EPOCH"), 10, 64)
	cfg, err := config.Load(file, nil, nil)
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
		return 2
	}
	d, err := New(context.Background(), cfg, "test")
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
		if errors.Is(err, ErrCannotStart) {
			return 5
		}
		return 1
	}
	fast, _ := strconv.ParseInt(os.Getenv("LIDWRIGHT_TEST_FACTOR"), 10, 64)
	d.Now = scaled(time.Unix(0, ns), fast)
	// while it is there whoever asks for the time is stuck
	if file := os.Getenv("LIDWRIGHT_TEST_STUCK"); file != "" {
		now := d.Now
		d.Now = func() kiln.Stamp {
			for {
				if _, err := os.Stat(file); err != nil {
					return now()
				}
				time.Sleep(10 * time.Millisecond)
			}
		}
	}
	d.Tick = func(ctx context.Context) <-chan time.Time {
		// at the fastest a minute of the kiln
		t := time.NewTicker(max(100*time.Millisecond, time.Second/time.Duration(fast)))
		context.AfterFunc(ctx, t.Stop)
		return t.C
	}
	ctx, stop := signal.NotifyContext(context.Background(), syscall.SIGTERM)
	defer stop()
	// a test may trace it, by whichever user; an error: anybody may here
	unix.Prctl(unix.PR_SET_PTRACER, ^uintptr(0), 0, 0, 0)
	signal.Ignore(syscall.SIGXFSZ) // a file that may not grow is a write that fails, here
	if err := d.Run(ctx); err != nil {
		fmt.Fprintln(os.Stderr, err)
		return 1
	}
	return 0
}

// world is a practice kiln on a pseudo-terminal, a daemon that listens to it, and whoever asks.
type world struct {
	t       testing.TB
	fast    int      // how fast its clock runs; 0: factor
	program string   // test binary that is the daemon; "": this one
	under   []string // what runs it, such as qemu-arm
	env     []string // what it is told beside our own environment
	folder  string
	site    string
	epoch   time.Time
	cmd     *exec.Cmd
	plug    *practice.Plug
	log     bytes.Buffer
}

// kill ends the daemon outright. A real port is anybody's again when its last holder is gone; a pseudo
// terminal stays held for its holder alone (tty_ioctl(4), TIOCEXCL) as long as its other end lives, and only
// root gets past that: so the cable goes to another one.
func (w *world) kill() {
	w.t.Helper()
	if err := w.cmd.Process.Signal(syscall.SIGKILL); err != nil {
		w.t.Fatal(err)
	}
	w.cmd.Wait()
	if w.plug.Line() == nil {
		return
	}
	if err := errors.Join(w.plug.Unplug(), w.plug.Plug()); err != nil {
		w.t.Fatal(err)
	}
}

func (w *world) start() {
	w.t.Helper()
	program := append(slices.Clone(w.under), cmp.Or(w.program, os.Args[0]))
	w.cmd = exec.Command(program[0], program[1:]...)
	w.cmd.Env = append(os.Environ(), childVar+"="+filepath.Join(w.folder, "lidwright.toml"),
		fmt.Sprintf("LIDWRIGHT_TEST_EPOCH=%d", w.epoch.UnixNano()), fmt.Sprintf("LIDWRIGHT_TEST_FACTOR=%d",
			cmp.Or(w.fast, factor)))
	w.cmd.Env = append(w.cmd.Env, w.env...)
	w.cmd.Stderr = &w.log
	if err := kilntest.StartChild(w.cmd, syscall.SIGKILL); err != nil {
		w.t.Fatal(err)
	}
	for end := time.Now().Add(hanging); time.Now().Before(end); time.Sleep(50 * time.Millisecond) {
		if r, err := http.Get(w.site + "/readyz"); err == nil {
			r.Body.Close()
			if r.StatusCode == 200 {
				return
			}
		}
	}
	w.t.Fatalf("the daemon is not ready:\n%s", w.log.String())
}

func (w *world) get(path string, into any) int {
	w.t.Helper()
	r, err := http.Get(w.site + path)
	if err != nil {
		var how syscall.WaitStatus // tells a daemon that ended from one that does not answer
		pid, _ := syscall.Wait4(w.cmd.Process.Pid, &how, syscall.WNOHANG, nil)
		w.t.Fatalf("GET %s: %v; ended: %v, exit %d, signal %v\n%s", path, err, pid > 0, how.ExitStatus(),
			how.Signal(), w.log.String())
	}
	defer r.Body.Close()
	b, _ := io.ReadAll(r.Body)
	if into != nil {
		if err := json.Unmarshal(b, into); err != nil {
			w.t.Fatalf("GET %s: %v: %s", path, err, b)
		}
	}
	return r.StatusCode
}

func (w *world) put(path string, body any) {
	w.t.Helper()
	b, _ := json.Marshal(body)
	req, _ := http.NewRequest(http.MethodPut, w.site+path, bytes.NewReader(b))
	req.Header.Set("Content-Type", "application/json")
	r, err := http.DefaultClient.Do(req)
	if err != nil {
		w.t.Fatalf("PUT %s: %v\n%s", path, err, w.log.String())
	}
	defer r.Body.Close()
	if r.StatusCode/100 != 2 {
		answer, _ := io.ReadAll(r.Body)
		w.t.Fatalf("PUT %s: %s: %s", path, r.Status, answer)
	}
}

type firingAnswer struct {
	ID, Status, Kind string
	Load             *string
	Peak             *float64 `json:"peak_c"`
	HeatWork         *float64 `json:"heat_work_c"`
	Gaps             []struct {
		After int64  `json:"after_s"`
		For   *int64 `json:"for_s"`
		Why   string
	}
}

func (w *world) firings() []firingAnswer {
	var a struct{ Items []firingAnswer }
	w.get("/v1/firings", &a)
	return a.Items
}

// hanging is after how long a test that waits for something takes it that it never comes.
const hanging = 5 * time.Minute

func (w *world) until(what string, so func() bool) {
	w.t.Helper()
	for end := time.Now().Add(hanging); time.Now().Before(end); time.Sleep(100 * time.Millisecond) {
		if so() {
			return
		}
	}
	w.t.Fatalf("waited %s in vain for: %s\n%s", hanging, what, w.log.String())
}

// TestFromTheLineToTheLid plays a whole firing down a serial line with damaged lines among the
// good ones, kills the daemon in mid-firing, enters bars, and asks for the lid.
func TestFromTheLineToTheLid(t *testing.T) {
	t.Parallel()
	fromTheLineToTheLid(t, "")
}

// TestOnTheProcessorsOfAPi plays the same firing to daemons that are built for a Pi, under qemu-user
// (package qemu-user), with LIDWRIGHT_SOAK alone; without it, it sees that every package has files for them.
func TestOnTheProcessorsOfAPi(t *testing.T) {
	t.Parallel()
	for under, env := range map[string][]string{"qemu-aarch64": {"GOARCH=arm64"},
		"qemu-arm": {"GOARCH=arm", "GOARM=6"}} {
		t.Run(under, func(t *testing.T) {
			program := filepath.Join(t.TempDir(), "daemon.test")
			args := []string{"test", "-c", "-o", program, "."}
			if os.Getenv("LIDWRIGHT_SOAK") == "" {
				// finds the files of that processor, and compiles nothing
				args = []string{"list", "-deps", "-test", "."}
			}
			build := exec.Command("go", args...)
			build.Env = append(append(os.Environ(), "CGO_ENABLED=0", "GOOS=linux"), env...)
			if out, err := build.CombinedOutput(); err != nil {
				t.Fatalf("go %v: %v\n%s", args, err, out)
			}
			if os.Getenv("LIDWRIGHT_SOAK") != "" {
				fromTheLineToTheLid(t, program, under)
			}
		})
	}
}

const slower = 3 // under qemu

func fromTheLineToTheLid(t *testing.T, program string, under ...string) {
	l, err := net.Listen("tcp", "127.0.0.1:0") // a port that is free
	if err != nil {
		t.Fatal(err)
	}
	address := l.Addr().String()
	l.Close()
	fast := factor
	if program != "" {
		fast /= slower // a processor played by another one, on a machine with more to do
	}
	patient := time.Duration(factor / fast)
	w := &world{t: t, fast: fast, program: program, under: under, folder: t.TempDir(),
		site: "http://" + address, epoch: time.Now()}
	plug := &practice.Plug{Link: filepath.Join(w.folder, "kiln")}
	w.plug = plug
	settings := fmt.Sprintf("[store]\nfolder=%q\n[listen]\naddress=%q\n[kiln.big-blue]\nport=%q\nreply=\"columns\"\nevery=\"10s\"\nchecksum=\"xor\"\nlimit_c=1290\n[kiln.big-blue.channel.1]\nfrom=\"1\"\nunit=\"c\"\n[kiln.big-blue.probe.1]\ntype=\"K\"\n",
		filepath.Join(w.folder, "store"), address, plug.Link)
	if err := os.WriteFile(filepath.Join(w.folder, "lidwright.toml"), []byte(settings), 0o600); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { w.cmd.Process.Kill(); w.cmd.Wait() })
	w.start()

	// A port that is not there is waited for, in words.
	var now struct {
		Items []struct {
			State, Waits string
			T            *float64 `json:"temperature_c"`
		}
	}
	w.get("/v1/now", &now)
	if len(now.Items) != 1 || !strings.Contains(now.Items[0].Waits, "waiting for") {
		t.Fatalf("a port that is not there: %+v", now)
	}

	// Clay, bars, a load: before the fire.
	w.put("/v1/clays/tern", map[string]any{"name": "Tern stoneware", "matures_cone": "6"})
	for i, code := range []string{"BQA", "BQ7"} {
		w.put("/v1/bars/"+code, map[string]any{"id": uuid.NewString(), "clay": "tern"})
		w.put("/v1/bars/"+code+"/readings/"+uuid.NewString(), map[string]any{"stage": "wet",
			"length": []string{"100.0", "100,1"}[i]})
	}
	load := uuid.Must(uuid.NewV7()).String()
	w.put("/v1/loads/"+load, map[string]any{"kiln": "big-blue", "kind": "glaze", "atmosphere": "oxidation",
		"bars": []map[string]string{{"bar": "BQA"}, {"bar": "BQ7"}}})

	// The firing: 1222 °C, one line in ten damaged, and then cold again. About 26 h of the kiln.
	programme, err := practice.Parse("20>25@10 >600@300 >1120@300 >1222@120 h10 off")
	if err != nil {
		t.Fatal(err)
	}
	curve := practice.Curve{Programme: programme, Noise: 0.15, Step: 0.1, Seed: 1}
	ctx, stop := context.WithCancel(context.Background())
	played := make(chan error, 1)
	began := time.Now()
	go func() {
		dice := rand.New(rand.NewPCG(1, 2))
		if err := plug.Plug(); err != nil {
			played <- err
			return
		}
		defer plug.Unplug()
		for ctx.Err() == nil {
			after := time.Since(began) * time.Duration(fast)
			text := fmt.Sprintf("%.1f", curve.Reading(after))
			sum := byte(0)
			for _, c := range []byte(text) {
				sum ^= c
			}
			line := []byte(fmt.Sprintf("%s*%02X\r\n", text, sum))
			if dice.Float64() < 0.1 {
				line = practice.Damage(line, dice)
			}
			plug.Write(line)
			time.Sleep(10 * time.Second / time.Duration(fast))
		}
		played <- nil
	}()
	t.Cleanup(func() { stop(); <-played })

	w.until("a firing", func() bool { return len(w.firings()) == 1 })
	id := w.firings()[0].ID
	at := func(c float64) {
		w.until(fmt.Sprintf("%.0f °C", c), func() bool {
			w.get("/v1/now", &now)
			return now.Items[0].T != nil && *now.Items[0].T > c
		})
	}
	at(500)
	for _, page := range []string{"/", "/kiln", "/firing/" + id, "/bars", "/load/" + load, "/bar/BQA",
		"/clays", "/clay/tern", "/lid?collar=104.5&clay=tern", "/more"} {
		r, err := http.Get(w.site + page)
		if err != nil {
			t.Fatal(err)
		}
		b, _ := io.ReadAll(r.Body)
		r.Body.Close()
		if r.StatusCode != 200 || !bytes.Contains(b, []byte("</html>")) || bytes.Contains(b, []byte("%!")) {
			t.Errorf("page %s: %d, %d bytes", page, r.StatusCode, len(b))
		}
	}
	note := uuid.NewString()
	w.put("/v1/bars/BQA/readings/"+note, map[string]any{"stage": "dry", "length": "94.2"})
	// Killed outright, and started again: the same firing, a gap, and what was acknowledged.
	w.kill()
	time.Sleep(patient * 2 * time.Second) // 20 min of the kiln
	w.start()
	at(900)
	f := w.firings()
	if len(f) != 1 || f[0].ID != id || f[0].Status != "running" {
		t.Fatalf("after the kill: %+v", f)
	}
	var bar struct {
		Readings []struct{ ID string }
	}
	w.get("/v1/bars/BQA", &bar)
	if len(bar.Readings) != 2 || bar.Readings[1].ID != note {
		t.Fatalf("an acknowledged reading is lost: %+v", bar)
	}
	w.until("the end of the firing", func() bool {
		f := w.firings()
		return len(f) == 1 && f[0].Status == "ended"
	})
	f = w.firings()
	one := f[0]
	if one.Peak == nil || math.Abs(*one.Peak-1222) > 3 {
		t.Errorf("top %v, want 1222 within 3", one.Peak)
	}
	if one.Kind != "glaze" || one.Load == nil || *one.Load != load {
		t.Errorf("the load did not attach itself: %+v", one)
	}
	restarts := 0
	for _, g := range one.Gaps {
		if g.Why == "restart" {
			restarts++
			if g.For == nil || *g.For < 600 {
				t.Errorf("the gap of the kill is %+v", g)
			}
		}
	}
	if restarts != 1 {
		t.Errorf("the gap of the kill is not marked once: %+v", one.Gaps)
	}
	// The same curve, unbroken, has this heat work.
	var whole kiln.Curve
	whole.Channels, whole.T = []kiln.ChannelID{"1"}, [][]kiln.Celsius{nil}
	for a := time.Duration(0); a < 10*time.Hour; a += 10 * time.Second {
		whole.After, whole.T[0] = append(whole.After, a), append(whole.T[0], curve.True(a))
	}
	want := heatwork.CurveHeatWork(whole, "1", kiln.NoTemperature(), 0)
	if one.HeatWork == nil || math.Abs(*one.HeatWork-float64(want.C)) > 2 {
		t.Errorf("heat work %v, want %.1f within 2", one.HeatWork, want.C)
	}

	// Bars measured, rate and lid.
	w.put("/v1/bars/BQA/readings/"+uuid.NewString(), map[string]any{"stage": "fired", "length": "87.7"})
	w.put("/v1/bars/BQ7/readings/"+uuid.NewString(), map[string]any{"stage": "fired", "length": "87.6"})
	var rate struct {
		Total, Low, High float64
		Trust            string
		Basis            struct{ Bars, Loads int }
	}
	var raw map[string]any
	w.get("/v1/clays/tern/shrinkage", &raw)
	b, _ := json.Marshal(raw)
	json.Unmarshal(b, &rate)
	total, _ := raw["total_ratio"].(float64)
	low, _ := raw["likely_low_ratio"].(float64)
	high, _ := raw["likely_high_ratio"].(float64)
	if total < 0.115 || total > 0.13 || !(low < total && total < high) ||
		rate.Trust != "few_bars" || rate.Basis.Bars != 2 {
		t.Errorf("the rate: %s", b)
	}
	var lid struct {
		Set *float64 `json:"set_mm"`
		Not *float64 `json:"not_over_mm"`
	}
	w.get("/v1/lid?collar=104.5&opening=92.5&clay=tern", &lid)
	if lid.Set == nil || *lid.Set < 101.5 || *lid.Set > 103.5 || *lid.Set > *lid.Not {
		t.Errorf("the lid: %+v", lid)
	}
	if code := w.get("/v1/lid?collar=104.5&clay=nobody", nil); code != 404 {
		t.Errorf("an unknown clay answers %d", code)
	}
	w.kill()
}
