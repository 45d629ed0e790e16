package daemon

import (
	"bytes"
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io"
	"maps"
	"math/rand/v2"
	"net"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"github.com/google/uuid"
	"golang.org/x/sys/unix"

	"lidwright/daemon/store"
	"lidwright/kiln"
	"lidwright/kiln/practice"
)

// rounds is how often a test with chance in it does its thing.
func rounds(short, soak int) int {
	if os.Getenv("LIDWRIGHT_SOAK") != "" {
		return soak
	}
	return short
}

// newWorld is a studio with a kiln that climbs for weeks, as far as this test goes, and a daemon
// that is not started yet.
func newWorld(t *testing.T, storeFolder string) *world {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0") // a port that is free
	if err != nil {
		t.Fatal(err)
	}
	address := l.Addr().String()
	l.Close()
	w := &world{t: t, folder: t.TempDir(), site: "http://" + address, epoch: time.Now()}
	plug := &practice.Plug{Link: filepath.Join(w.folder, "kiln")}
	w.plug = plug
	settings := fmt.Sprintf("[store]\nfolder=%q\n[listen]\naddress=%q\n[kiln.big-blue]\nport=%q\nreply=\"columns\"\nevery=\"10s\"\nlimit_c=1290\n[kiln.big-blue.channel.1]\nfrom=\"1\"\nunit=\"c\"\n[kiln.big-blue.probe.1]\ntype=\"K\"\n",
		storeFolder, address, plug.Link)
	if err := os.WriteFile(filepath.Join(w.folder, "lidwright.toml"), []byte(settings), 0o600); err != nil {
		t.Fatal(err)
	}
	programme, err := practice.Parse("20>400@300 >900@1")
	if err != nil {
		t.Fatal(err)
	}
	curve := practice.Curve{Programme: programme, Noise: 0.15, Step: 0.1, Seed: 1}
	ctx, stop := context.WithCancel(context.Background())
	played := make(chan error, 1)
	go func() {
		if err := plug.Plug(); err != nil {
			played <- err
			return
		}
		defer plug.Unplug()
		for ctx.Err() == nil {
			plug.Write(fmt.Appendf(nil, "%.1f\r\n", curve.Reading(time.Since(w.epoch)*factor)))
			time.Sleep(10 * time.Second / factor)
		}
		played <- nil
	}()
	t.Cleanup(func() {
		stop()
		if err := <-played; err != nil {
			t.Error(err)
		}
		if w.cmd != nil {
			w.cmd.Process.Kill()
			w.cmd.Wait()
		}
	})
	return w
}

// potter enters readings until told to stop, and remembers those that were acknowledged.
type potter struct {
	w    *world
	mu   sync.Mutex
	kept map[string]bool
	busy int // answers of 503 store-busy
	odd  []string
}

func (p *potter) enter(ctx context.Context) {
	for ctx.Err() == nil {
		id := uuid.NewString()
		req, err := http.NewRequestWithContext(ctx, http.MethodPut, p.w.site+"/v1/bars/BQA/readings/"+id,
			strings.NewReader(`{"stage":"wet","length":"100.0"}`))
		if err != nil {
			panic(err)
		}
		req.Header.Set("Content-Type", "application/json")
		if r, err := http.DefaultClient.Do(req); err == nil {
			answer, _ := io.ReadAll(r.Body)
			r.Body.Close()
			p.mu.Lock()
			switch {
			case r.StatusCode/100 == 2:
				p.kept[id] = true
			case r.StatusCode == 503 && bytes.Contains(answer, []byte("store-busy")):
				p.busy++
			case r.StatusCode != 429:
				p.odd = append(p.odd, r.Status+" "+string(answer))
			}
			p.mu.Unlock()
		}
		time.Sleep(50 * time.Millisecond)
	}
}

func (p *potter) counts() (kept, busy int) {
	p.mu.Lock()
	defer p.mu.Unlock()
	return len(p.kept), p.busy
}

// missing are the acknowledged readings that the daemon does not have.
func (p *potter) missing() (lost int) {
	p.mu.Lock()
	kept := maps.Clone(p.kept) // more are acknowledged while the daemon is asked
	p.mu.Unlock()
	var bar struct{ Readings []struct{ ID string } }
	p.w.get("/v1/bars/BQA", &bar)
	there := map[string]bool{}
	for _, r := range bar.Readings {
		there[r.ID] = true
	}
	for id := range kept {
		if !there[id] {
			lost++
		}
	}
	return lost
}

func (w *world) potter() (*potter, func()) {
	w.put("/v1/clays/tern", map[string]any{"name": "Tern stoneware", "matures_cone": "6"})
	w.put("/v1/bars/BQA", map[string]any{"id": uuid.NewString(), "clay": "tern"})
	p := &potter{w: w, kept: map[string]bool{}}
	ctx, stop := context.WithCancel(context.Background())
	done := make(chan struct{})
	go func() { p.enter(ctx); close(done) }()
	return p, func() { stop(); <-done }
}

// TestKilledInTheMiddle kills the whole daemon at random moments while it records a firing and
// somebody enters readings: the same firing goes on, with its gaps, no file is damaged, and no
// acknowledged entry is lost. How long it takes until the page answers again is told, not judged.
func TestKilledInTheMiddle(t *testing.T) {
	t.Parallel()
	w := newWorld(t, filepath.Join(t.TempDir(), "store"))
	storeFolder := storeOf(t, w)
	w.start()
	p, stop := w.potter()
	defer stop()
	w.until("a firing", func() bool { return len(w.firings()) == 1 })
	id := w.firings()[0].ID
	rng := rand.New(rand.NewPCG(9, 3))
	var worst time.Duration
	kills := rounds(8, 1000)
	for i := range kills {
		time.Sleep(time.Duration(rng.ExpFloat64() * float64(200*time.Millisecond)))
		w.kill()
		began := time.Now()
		w.start()
		worst = max(worst, time.Since(began))
		if f := w.firings(); len(f) != 1 || f[0].ID != id || f[0].Status != "running" {
			t.Fatalf("after kill %d: %+v", i, f)
		}
		if aside, _ := filepath.Glob(filepath.Join(storeFolder, "*corrupt*")); len(aside) > 0 {
			t.Fatalf("after kill %d something was damaged: %v", i, aside)
		}
		if i%50 == 0 || i == kills-1 {
			if lost := p.missing(); lost > 0 {
				t.Fatalf("after kill %d: %d acknowledged readings are lost", i, lost)
			}
		}
	}
	stop()
	if kept, _ := p.counts(); kept < kills/2 || len(p.odd) > 0 {
		t.Errorf("%d readings in %d kills; answers %v", kept, kills, p.odd)
	}
	w.kill()
	s, err := store.Open(t.Context(), storeFolder)
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	if !s.Report().Clean() {
		t.Error(s.Report().Words())
	}
	if err := s.Check(t.Context()); err != nil {
		t.Error(err)
	}
	samples, err := s.Samples(t.Context(), kiln.FiringID(id))
	if err != nil || len(samples) < kills {
		t.Fatal(len(samples), err)
	}
	for i := range samples[1:] {
		if samples[i+1].At.Since <= samples[i].At.Since {
			t.Fatalf("sample %d is not later than the one before", i+1)
		}
	}
	kept, _ := p.counts()
	t.Logf("%d kills, %d readings acknowledged, %d samples; ready again after %v at most", kills, kept,
		len(samples), worst.Round(time.Millisecond))
}

// storeOf reads the folder of the store out of the settings.
func storeOf(t *testing.T, w *world) string {
	t.Helper()
	text, err := os.ReadFile(filepath.Join(w.folder, "lidwright.toml"))
	if err != nil {
		t.Fatal(err)
	}
	var folder string
	if _, err := fmt.Sscanf(string(text), "[store]\nfolder=%q", &folder); err != nil {
		t.Fatal(err)
	}
	return folder
}

// tight is a disk with little room, which can be filled and emptied.
type tight struct {
	folder     string
	fill, free func() error
}

// smallDisk is a real one in memory, or, for a user who may not mount, a limit on how long the
// files of the daemon may grow: either way its writes fail.
func smallDisk(t *testing.T, w func() *world) tight {
	t.Helper()
	folder := t.TempDir()
	if err := unix.Mount("tmpfs", folder, "tmpfs", 0, "size=4m"); err == nil {
		t.Cleanup(func() { unix.Unmount(folder, unix.MNT_DETACH) })
		ballast := filepath.Join(folder, "ballast")
		return tight{filepath.Join(folder, "store"), func() error {
			var d unix.Statfs_t
			if err := unix.Statfs(folder, &d); err != nil {
				return err
			}
			err := os.WriteFile(ballast, bytes.Repeat([]byte{1}, int(d.Bavail)*int(d.Bsize)), 0o600)
			if errors.Is(err, unix.ENOSPC) { // the daemon took some meanwhile
				err = nil
			}
			return err
		}, func() error { return os.Remove(ballast) }}
	}
	limit := func(to uint64) error {
		var old unix.Rlimit
		pid := w().cmd.Process.Pid
		if err := unix.Prlimit(pid, unix.RLIMIT_FSIZE, nil, &old); err != nil {
			return err
		}
		return unix.Prlimit(pid, unix.RLIMIT_FSIZE, &unix.Rlimit{Cur: min(to, old.Max), Max: old.Max}, nil)
	}
	return tight{filepath.Join(folder, "store"), func() error { return limit(4096) },
		func() error { return limit(1 << 40) }}
}

// TestDiskFullInMidFiring: what is heard waits in memory and the page says so, entries are refused
// and never acknowledged, and when there is room again all is written; the next start is clean.
func TestDiskFullInMidFiring(t *testing.T) {
	t.Parallel()
	var w *world
	disk := smallDisk(t, func() *world { return w })
	w = newWorld(t, disk.folder)
	cannotWriteInMidFiring(t, w, disk)
}

// TestReadOnlyInMidFiring is the same where every write is refused as on a disk that turned read-only
// (EROFS), which strace does to the daemon; TestCardFailsInMidFiring has a real one.
func TestReadOnlyInMidFiring(t *testing.T) {
	t.Parallel()
	folder := filepath.Join(t.TempDir(), "store")
	w := newWorld(t, folder)
	var tracer *exec.Cmd
	cannotWriteInMidFiring(t, w, tight{folder, func() error {
		tracer = exec.Command("strace", "-f", "-qq", "-o", "/dev/null", "-e",
			"trace=pwrite64,write,ftruncate,fsync,fdatasync", "-e",
			"inject=pwrite64,ftruncate,fsync,fdatasync:error=EROFS", "-p", fmt.Sprint(w.cmd.Process.Pid))
		tracer.Stderr = os.Stderr
		tracer.SysProcAttr = &syscall.SysProcAttr{Pdeathsig: syscall.SIGTERM}
		return tracer.Start()
	}, func() error {
		tracer.Process.Signal(syscall.SIGTERM) // lets go of the daemon, which goes on
		tracer.Wait()
		return nil
	}})
}

func cannotWriteInMidFiring(t *testing.T, w *world, disk tight) {
	w.start()
	p, stop := w.potter()
	defer stop()
	w.until("a firing", func() bool { return len(w.firings()) == 1 })
	id := w.firings()[0].ID
	var now struct {
		Items []struct {
			Unwritten string
			T         *float64 `json:"temperature_c"`
		}
	}
	if err := disk.fill(); err != nil {
		t.Fatal(err)
	}
	w.until("word that the store cannot write", func() bool {
		w.get("/v1/now", &now)
		_, busy := p.counts()
		return now.Items[0].Unwritten != "" && busy > 0
	})
	time.Sleep(2 * time.Second) // 20 min of the kiln
	// Fresh means read within 30 s, which are 50 ms of ours: on a busy machine not every look finds it.
	w.until("a fresh reading while nothing is written", func() bool {
		w.get("/v1/now", &now)
		return now.Items[0].T != nil && now.Items[0].Unwritten != ""
	})
	for _, path := range []string{"/more", "/healthz", "/readyz"} {
		if text := w.text(path); !strings.Contains(text, "cannot write") {
			t.Errorf("%s says nothing of it: %.300s", path, text)
		}
	}
	if status := w.get("/readyz", nil); status != 503 {
		t.Errorf("/readyz answers %d while nothing can be kept", status)
	}
	for _, page := range []string{"/", "/more", "/kiln/big-blue"} { // words for people, no insides
		for _, inside := range []string{"append curve", "SQL", "database", "(13)", "(8)"} {
			if text := w.text(page); strings.Contains(text, inside) {
				t.Errorf("%s shows %q", page, inside)
			}
		}
	}
	if text := w.text("/metrics"); !strings.Contains(text, "\nlidwright_store_trouble 1\n") ||
		!strings.Contains(text, "\nlidwright_ready 0\n") ||
		!strings.Contains(text, "\nlidwright_store_waiting_samples ") {
		t.Errorf("the metrics say nothing of it: %s",
			regexp.MustCompile("(?m)^lidwright_store.*").FindAllString(text, -1))
	}
	if err := disk.free(); err != nil {
		t.Fatal(err)
	}
	before, _ := p.counts()
	w.until("/readyz to answer 200 again", func() bool { return w.get("/readyz", nil) == 200 })
	w.until("all to be written", func() bool {
		w.get("/v1/now", &now)
		kept, _ := p.counts()
		return now.Items[0].Unwritten == "" && kept > before
	})
	stop()
	if lost := p.missing(); lost > 0 {
		t.Errorf("%d acknowledged readings are lost", lost)
	}
	if len(p.odd) > 0 {
		t.Errorf("odd answers: %v", p.odd)
	}
	w.cmd.Process.Signal(syscall.SIGTERM)
	if err := w.cmd.Wait(); err != nil {
		t.Errorf("the stop was not clean: %v\n%s", err, w.log.String())
	}
	s, err := store.Open(t.Context(), disk.folder)
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	samples, err := s.Samples(t.Context(), kiln.FiringID(id))
	if err != nil || !s.Report().Clean() {
		t.Fatal(err, s.Report().Words())
	}
	longest := time.Duration(0) // what was heard while the disk was full is there too
	for i := range samples[1:] {
		longest = max(longest, samples[i+1].At.Since-samples[i].At.Since)
	}
	if longest > 10*time.Minute {
		t.Errorf("there is a hole of %v", longest)
	}
	kept, busy := p.counts()
	t.Logf("%d readings acknowledged, %d refused, %d samples, longest step %v", kept,
		busy, len(samples), longest)
}

func (w *world) text(path string) string {
	w.t.Helper()
	r, err := http.Get(w.site + path)
	if err != nil {
		w.t.Fatalf("GET %s: %v\n%s", path, err, w.log.String())
	}
	defer r.Body.Close()
	b, err := io.ReadAll(r.Body)
	if err != nil {
		w.t.Fatal(err)
	}
	return string(b)
}

// TestCannotStart: where the folder cannot be used the daemon ends with code 5 and one line that
// names the path; a second daemon does, and harms the first one in nothing. A store that is
// damaged is no reason not to start: it is moved aside, and the page says so.
func TestCannotStart(t *testing.T) {
	t.Parallel()
	used := filepath.Join(t.TempDir(), "store")
	first := newWorld(t, used)
	first.start()
	file := filepath.Join(t.TempDir(), "file")
	if err := os.WriteFile(file, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	foreign := "/" // belongs to root
	if os.Geteuid() == 0 {
		foreign = filepath.Join(t.TempDir(), "foreign")
		if err := errors.Join(os.Mkdir(foreign, 0o700), os.Chown(foreign, 65534, -1)); err != nil {
			t.Fatal(err)
		}
	}
	readOnly := "/proc/sys" // nothing can be made there, by root neither
	for name, folder := range map[string]string{"another daemon": used, "a file in its place": file,
		"a file on the way": filepath.Join(file, "x"), "another owner": foreign, "read only": readOnly} {
		code, said := startAndEnd(t, folder)
		if code != 5 || !strings.Contains(said, strings.TrimSuffix(folder, "/x")) ||
			strings.Count(said, "\n") != 1 {
			t.Errorf("%s: code %d: %s", name, code, said)
		}
	}
	first.until("the first daemon to be ready, unharmed",
		func() bool { return first.text("/readyz") == "ready\n" })

	bad := newWorld(t, filepath.Join(t.TempDir(), "store"))
	folder := storeOf(t, bad)
	if err := errors.Join(os.Mkdir(folder, 0o700), os.WriteFile(filepath.Join(folder, "lidwright.db"),
		bytes.Repeat([]byte("no store "), 1000), 0o600)); err != nil {
		t.Fatal(err)
	}
	bad.start()
	for _, path := range []string{"/more", "/healthz", "/readyz"} {
		if text := bad.text(path); !strings.Contains(text, "began anew") ||
			!strings.Contains(text, ".corrupt-") {
			t.Errorf("%s says nothing of it: %.300s", path, text)
		}
	}
}

// TestLateMistakeInTheSettings: what only the building of a line finds wrong ends the start with the code
// that systemd does not start again.
func TestLateMistakeInTheSettings(t *testing.T) {
	cfg := heatConfig(t, heatSettings)
	cfg.Kilns[0].Channels[0].From = "no such column("
	cfg.Kilns[0].Reply, cfg.Kilns[0].Pattern = "pattern", "("
	if _, err := New(t.Context(), cfg, "test"); !errors.Is(err, ErrCannotStart) ||
		!strings.Contains(err.Error(), "the line ") {
		t.Errorf("a line that cannot be built: %v", err)
	}
}

// TestUpgradeWithoutRoom: a store of before, whose tables cannot be brought up to date for want of room,
// ends the start with the code that systemd does not start again, and in words; with room it starts.
func TestUpgradeWithoutRoom(t *testing.T) {
	t.Parallel()
	text, err := os.ReadFile("store/testdata/schema-1.sql")
	if err != nil {
		t.Fatal(err)
	}
	folder := t.TempDir()
	if err := os.Chmod(folder, 0o700); err != nil {
		t.Fatal(err)
	}
	db, err := sql.Open("sqlite", filepath.Join(folder, "lidwright.db"))
	if err == nil {
		_, err = db.Exec("BEGIN; PRAGMA defer_foreign_keys = 1;" + string(text) + "COMMIT;")
	}
	if err := errors.Join(err, db.Close()); err != nil {
		t.Fatal(err)
	}
	code, said := startAndEnd(t, folder, "sh", "-c", `ulimit -f 128; exec "$0"`) // 64 kB a file
	if code != 5 || !strings.Contains(said, store.ErrUpgrade.Error()) ||
		!strings.Contains(said, "make room") || strings.Count(said, "\n") != 1 {
		t.Errorf("without room: %d %s", code, said)
	}
	newWorld(t, folder).start()
}

// startAndEnd starts a daemon, under something else if that is given, that is to end by itself, and
// gives its code and what it said.
func startAndEnd(t *testing.T, storeFolder string, under ...string) (code int, said string) {
	t.Helper()
	settings := filepath.Join(t.TempDir(), "lidwright.toml")
	if err := os.WriteFile(settings, fmt.Appendf(nil,
		"[store]\nfolder=%q\n[listen]\naddress=\"127.0.0.1:8419\"\n", storeFolder), 0o600); err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithTimeout(t.Context(), time.Minute)
	defer cancel()
	program := append(under, os.Args[0])
	cmd := exec.CommandContext(ctx, program[0], program[1:]...)
	cmd.Env = append(os.Environ(), childVar+"="+settings, "LIDWRIGHT_TEST_EPOCH=0")
	out, err := cmd.CombinedOutput()
	var ended *exec.ExitError
	if err != nil && !errors.As(err, &ended) {
		t.Fatal(err)
	}
	return cmd.ProcessState.ExitCode(), string(out)
}
