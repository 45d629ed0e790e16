package main

import (
	"context"
	"encoding/binary"
	"fmt"
	"io"
	"lidwright/kiln/kilntest"
	"maps"
	"net"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/google/uuid"

	"lidwright/kiln/practice"
)

// instructionsFile keeps what TestInstructions counted; -update writes it anew.
const instructionsFile = "testdata/instructions/counted.txt"

// TestInstructions counts the instructions of the program as it is shipped, for each processor of the
// packages under qemu-user: its start, a second of recording at 1 Hz × 3, a lid that nobody asked for before,
// and Home. A change that costs a Pi is seen here without one: each may be a tenth more or less than what is
// kept. Of seven starts the shortest counts, since more or less of one is over by the time that it answers.
// It takes minutes and needs LIDWRIGHT_SOAK; -update writes what was counted.
func TestInstructions(t *testing.T) {
	if os.Getenv("LIDWRIGHT_SOAK") == "" {
		return
	}
	kept := map[string]uint64{}
	for line := range strings.Lines(read(t, instructionsFile)) {
		var processor, what string
		var n uint64
		if k, _ := fmt.Sscan(line, &processor, &what, &n); k == 3 {
			kept[processor+" "+what] = n
		}
	}
	plugin := filepath.Join(t.TempDir(), "count.so")
	build := exec.Command("gcc", "-O2", "-Wall", "-Werror", "-shared", "-fPIC", "-o", plugin,
		"testdata/instructions/count.c")
	if out, err := build.CombinedOutput(); err != nil {
		t.Fatalf("gcc: %v\n%s", err, out)
	}
	for _, p := range []struct{ name, under, env string }{{"amd64", "qemu-x86_64", "GOARCH=amd64"},
		{"arm64", "qemu-aarch64", "GOARCH=arm64"}, {"armv6", "qemu-arm", "GOARCH=arm GOARM=6"}} {
		t.Run(p.name, func(t *testing.T) {
			for what, n := range counted(t, plugin, p.under, strings.Fields(p.env)) {
				key := p.name + " " + what
				was, known := kept[key]
				t.Logf("%s: %d instructions, kept %d", key, n, was)
				if !known { // counted for the first time
					t.Logf("%s is not kept yet; -update with LIDWRIGHT_SOAK=1 writes it", key)
				} else if !*update && (n > was+was/10 || n < was-was/10) {
					t.Errorf("%s takes %d instructions; %d are kept in %s. Where that is meant, -update writes it anew",
						key, n, was, instructionsFile)
				}
				kept[key] = n
			}
		})
	}
	if *update {
		text := "# Instructions of the program as it is shipped, counted under qemu-user by TestInstructions.\n"
		for _, key := range slices.Sorted(maps.Keys(kept)) {
			text += fmt.Sprintf("%s %d\n", key, kept[key])
		}
		if err := os.WriteFile(instructionsFile, []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
	}
}

// counter is a file into which qemu counts instructions.
type counter string

func (c counter) now(t *testing.T) uint64 {
	t.Helper()
	text, err := os.ReadFile(string(c))
	if err != nil || len(text) < 8 {
		t.Fatalf("qemu counts nothing: %v", err)
	}
	return binary.NativeEndian.Uint64(text)
}

// counted is what the program takes under one qemu, by what it did.
func counted(t *testing.T, plugin, under string, env []string) map[string]uint64 {
	t.Helper()
	folder := t.TempDir()
	program := filepath.Join(folder, "lidwright")
	build := exec.Command("make", "-C", "../..", "program", "OUT="+program)
	build.Env = append(os.Environ(), env...)
	if out, err := build.CombinedOutput(); err != nil {
		t.Fatalf("make program: %v\n%s", err, out)
	}
	w := &weighed{t: t, folder: folder, under: under, plugin: plugin, program: program,
		plug: &practice.Plug{Link: filepath.Join(folder, "kiln")}}
	if err := w.plug.Plug(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { w.plug.Unplug() })
	w.settle()
	w.start()
	w.put("/v1/clays/tern", `{"name":"Tern","matures_cone":"6"}`)
	for i, code := range []string{"BQA", "BQ7", "BR7"} {
		w.put("/v1/bars/"+code, fmt.Sprintf(`{"id":%q,"clay":"tern"}`, uuid.NewString()))
		for _, read := range []string{`"stage":"wet","length":"100.0"`,
			fmt.Sprintf(`"stage":"fired","length":"%.1f"`, 87.5+float64(i)/5)} {
			w.put("/v1/bars/"+code+"/readings/"+uuid.NewString(),
				`{`+read+`,"instrument":"calliper","by":"KT"}`)
		}
	}
	w.stop()
	took := map[string]uint64{"start": w.start()}
	for range 6 {
		w.stop()
		took["start"] = min(took["start"], w.start())
	}
	w.speak(5) // from the first line on
	w.put("/v1/firings/"+uuid.NewString()+"/begin", `{"kiln":"big-blue"}`)
	w.speak(5)
	const seconds = 20
	before := w.count.now(t)
	w.speak(seconds)
	took["second"] = (w.count.now(t) - before) / seconds
	const times = 40
	ask := func(what string, path func(n int) string) {
		w.get(path(0))
		before := w.count.now(t)
		for n := range times {
			w.get(path(n + 1))
		}
		took[what] = (w.count.now(t) - before) / times
	}
	ask("lid", func(n int) string { return fmt.Sprintf("/v1/lid?clay=tern&collar=%.1f", 80+float64(n)/10) })
	ask("home", func(int) string { return "/" })
	w.stop()
	return took
}

// weighed is a program whose instructions are counted, beside a kiln of three channels that speaks when it is
// told to.
type weighed struct {
	t                              *testing.T
	folder, under, plugin, program string
	site                           string
	plug                           *practice.Plug
	manager                        *net.UnixConn
	count                          counter
	cmd                            *exec.Cmd
	said                           int // lines of the kiln
}

// settle writes the settings, and listens as a service manager does.
func (w *weighed) settle() {
	w.t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0") // a port that is free
	if err != nil {
		w.t.Fatal(err)
	}
	w.site = "http://" + l.Addr().String()
	l.Close()
	text := fmt.Sprintf("[store]\nfolder=%q\n[listen]\naddress=%q\n[kiln.big-blue]\n"+
		"port=%q\nreply=\"columns\"\nevery=\"1s\"\nlimit_c=1290\n",
		filepath.Join(w.folder, "store"), strings.TrimPrefix(w.site, "http://"), w.plug.Link)
	for _, n := range []string{"1", "2", "3"} {
		text += fmt.Sprintf("[kiln.big-blue.channel.%s]\nfrom=%q\nunit=\"c\"\n", n, n)
		text += fmt.Sprintf("[kiln.big-blue.probe.%s]\ntype=\"K\"\n", n)
	}
	if err := os.WriteFile(filepath.Join(w.folder, "lidwright.toml"), []byte(text), 0o600); err != nil {
		w.t.Fatal(err)
	}
	notify := filepath.Join(w.folder, "notify")
	w.manager, err = net.ListenUnixgram("unixgram", &net.UnixAddr{Name: notify, Net: "unixgram"})
	if err != nil {
		w.t.Fatal(err)
	}
	w.t.Cleanup(func() { w.manager.Close() })
}

// start gives the instructions until the program says that it is ready. It has one processor, as the smallest
// Pi, and frees no memory: when it does is chance.
func (w *weighed) start() uint64 {
	w.t.Helper()
	w.count = counter(filepath.Join(w.t.TempDir(), "count"))
	w.cmd = exec.Command(w.under, "-plugin", w.plugin+",into="+string(w.count),
		w.program, "run", "--config", filepath.Join(w.folder, "lidwright.toml"))
	ours := func(v string) bool { return strings.HasPrefix(v, "LIDWRIGHT_") }
	w.cmd.Env = append(slices.DeleteFunc(os.Environ(), ours),
		"NOTIFY_SOCKET="+w.manager.LocalAddr().String(), "GOMAXPROCS=1", "GOGC=off")
	w.cmd.Stderr = w.t.Output()
	if err := kilntest.StartChild(w.cmd, syscall.SIGKILL); err != nil {
		w.t.Fatal(err)
	}
	w.t.Cleanup(func() { w.cmd.Process.Kill(); w.cmd.Wait() })
	w.manager.SetReadDeadline(time.Now().Add(5 * time.Minute))
	word := make([]byte, 64)
	for n := 0; string(word[:n]) != "READY=1"; {
		var err error
		if n, err = w.manager.Read(word); err != nil {
			w.t.Fatalf("it is not ready: %v", err)
		}
	}
	return w.count.now(w.t)
}

func (w *weighed) stop() {
	w.t.Helper()
	w.cmd.Process.Signal(syscall.SIGTERM)
	if err := w.cmd.Wait(); err != nil {
		w.t.Fatalf("it ended: %v", err)
	}
}

// speak has the kiln say a line a second, so many times.
func (w *weighed) speak(lines int) {
	for range lines {
		c := 20 + float64(w.said%7)/10 + float64(w.said)/30
		fmt.Fprintf(w.plug, "%.1f,%.1f,%.1f\r\n", c, c+3, c-2)
		w.said++
		time.Sleep(time.Second)
	}
}

func (w *weighed) put(path, body string) {
	w.t.Helper()
	w.send(http.MethodPut, path, body)
	time.Sleep(100 * time.Millisecond) // no more than a bench may write
}

func (w *weighed) get(path string) {
	w.t.Helper()
	w.send(http.MethodGet, path, "")
}

func (w *weighed) send(method, path, body string) {
	w.t.Helper()
	q, err := http.NewRequestWithContext(context.Background(), method, w.site+path, strings.NewReader(body))
	if err != nil {
		w.t.Fatal(err)
	}
	if body != "" {
		q.Header.Set("Content-Type", "application/json")
	}
	r, err := http.DefaultClient.Do(q)
	if err != nil {
		w.t.Fatal(err)
	}
	defer r.Body.Close()
	if text, _ := io.ReadAll(r.Body); r.StatusCode/100 != 2 {
		w.t.Fatalf("%s %s: %s %s", method, path, r.Status, text)
	}
}
