package main

import (
	"encoding/json"
	"lidwright/kiln/kilntest"
	"net"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"
)

// mostBytes is what the program may weigh as its packages have it, for amd64: a Pi reads it from its card.
const mostBytes = 34_500_000

// shipped makes the program as its packages have it.
func shipped(tb testing.TB, path string) {
	tb.Helper()
	if out, err := exec.Command("make", "-C", "../..", "program", "OUT="+path).CombinedOutput(); err != nil {
		tb.Fatalf("make program: %v\n%s", err, out)
	}
}

// TestShippedBinary weighs and drives the program as it is shipped, in real time: the practice kiln speaks
// down a pseudo-terminal, the page's figures follow it for a minute, and Ctrl-C ends it cleanly. Who has
// no collector carries at most 0.4 MB for those who have one.
func TestShippedBinary(t *testing.T) {
	t.Parallel()
	folder := t.TempDir()
	binary := filepath.Join(folder, "lidwright")
	build := exec.Command("go", "build", "-buildvcs=false", "-o", binary, ".")
	build.Env = append(os.Environ(), "CGO_ENABLED=0")
	if out, err := build.CombinedOutput(); err != nil {
		t.Fatalf("build: %v\n%s", err, out)
	}
	outbox := costOf(t, binary, "lidwright/daemon/outbox")
	t.Logf("the outbox and what it alone needs: %d bytes of the program", outbox)
	if outbox < 10_000 || outbox > 400_000 {
		t.Error("that is not the outbox, or it is too heavy for those who have no collector")
	}
	shipped(t, binary)
	made, err := os.Stat(binary)
	if err != nil {
		t.Fatal(err)
	}
	t.Logf("the program as it is shipped: %d bytes", made.Size())
	if made.Size() > mostBytes {
		t.Errorf("the program is %d bytes, at most %d; DEVELOPERS.md says what makes it heavy", made.Size(),
			mostBytes)
	}
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	address := l.Addr().String()
	l.Close()
	cmd := exec.Command(binary, "practice", "--folder", filepath.Join(folder, "run"), "--address", address)
	cmd.Stdout, cmd.Stderr = os.Stdout, os.Stderr
	// settings of the tests are none of its own
	cmd.Env = slices.DeleteFunc(os.Environ(), func(v string) bool {
		return strings.HasPrefix(v, "LIDWRIGHT_")
	})
	if err := kilntest.StartChild(cmd, syscall.SIGKILL); err != nil {
		t.Fatal(err)
	}
	defer cmd.Process.Kill()
	now := func() (readAt string, temperature float64, firing string) {
		r, err := http.Get("http://" + address + "/v1/now")
		if err != nil {
			return "", 0, ""
		}
		defer r.Body.Close()
		var a struct {
			Items []struct {
				Kiln   string
				ReadAt string   `json:"read_at"`
				T      *float64 `json:"temperature_c"`
				Firing string
			}
		}
		if json.NewDecoder(r.Body).Decode(&a) != nil {
			return "", 0, ""
		}
		for _, k := range a.Items {
			if k.Kiln == "big-blue" && k.T != nil {
				return k.ReadAt, *k.T, k.Firing
			}
		}
		return "", 0, ""
	}
	for end := time.Now().Add(5 * time.Minute); time.Now().Before(end); time.Sleep(200 * time.Millisecond) {
		if at, _, _ := now(); at != "" {
			break
		}
	}
	time.Sleep(3 * time.Second)
	first, from, firing := now()
	time.Sleep(60 * time.Second)
	last, to, same := now()
	began, err1 := time.Parse(time.RFC3339, first)
	ended, err2 := time.Parse(time.RFC3339, last)
	if err1 != nil || err2 != nil || ended.Sub(began) < 50*time.Second || firing == "" || firing != same {
		t.Errorf("read at %q, then %q; firing %q, then %q", first, last, firing, same)
	}
	// The practice kiln climbs 180 °C/h here: 3 °C in this minute.
	if to-from < 1.5 || to-from > 5 {
		t.Errorf("%.1f °C, a minute later %.1f", from, to)
	}
	if status, err := os.ReadFile("/proc/" + strconv.Itoa(cmd.Process.Pid) + "/status"); err == nil {
		t.Logf("resident while recording: %s", regexp.MustCompile(`VmRSS:.*`).Find(status))
	}
	if err := cmd.Process.Signal(os.Interrupt); err != nil {
		t.Fatal(err)
	}
	done := make(chan error, 1)
	go func() { done <- cmd.Wait() }()
	select {
	case err := <-done:
		if err != nil {
			t.Errorf("a clean stop ends with %v", err)
		}
	case <-time.After(5 * time.Minute):
		t.Error("it does not stop")
	}
}

// costOf is how many bytes of the binary of this folder are symbols of the package part and of what nothing
// but part imports.
func costOf(t *testing.T, binary, part string) (bytes int64) {
	t.Helper()
	run := func(args ...string) string {
		out, err := exec.Command("go", args...).Output()
		if err != nil {
			t.Fatalf("go %v: %v", args, err)
		}
		return string(out)
	}
	imports := map[string][]string{}
	for line := range strings.Lines(run("list", "-deps", "-f", "{{.ImportPath}} {{join .Imports \" \"}}",
		".")) {
		words := strings.Fields(line)
		imports[words[0]] = words[1:]
	}
	without := map[string]bool{}
	var walk func(string)
	walk = func(pkg string) {
		if pkg == part || without[pkg] {
			return
		}
		without[pkg] = true
		for _, next := range imports[pkg] {
			walk(next)
		}
	}
	walk("lidwright/cmd/lidwright")
	for line := range strings.Lines(run("tool", "nm", "-size", binary)) {
		words := strings.Fields(line) // address, size, kind, name
		if len(words) < 4 {
			continue
		}
		slash := strings.LastIndex(words[3], "/")
		pkg, _, named := strings.Cut(words[3][slash+1:], ".")
		pkg = words[3][:slash+1] + pkg
		if _, known := imports[pkg]; !named || !known || without[pkg] {
			continue
		}
		size, err := strconv.ParseInt(words[1], 10, 64)
		if err != nil {
			t.Fatalf("%q: %v", line, err)
		}
		bytes += size
	}
	return bytes
}
