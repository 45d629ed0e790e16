package main

import (
	"bufio"
	"bytes"
	"context"
	"fmt"
	"io"
	"net"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"
)

// asked runs a command and gives its exit code and what it said on both outputs.
func asked(t *testing.T, ctx context.Context, args ...string) (int, string) {
	t.Helper()
	file, err := os.Create(filepath.Join(t.TempDir(), "said"))
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	code := run(ctx, args, file, file)
	said, err := os.ReadFile(file.Name())
	if err != nil {
		t.Fatal(err)
	}
	return code, string(said)
}

// Each command's help has an example; what is typed or set wrongly ends with 2 and says what to do.
func TestWrongUse(t *testing.T) {
	t.Setenv("LIDWRIGHT_COLLECT_DATABASE_URL", "")
	for _, c := range []struct {
		args []string
		says string
	}{
		{[]string{"studios"}, "unknown command"},
		{[]string{"studio", "add"}, "accepts 1 arg"},
		{[]string{"run"}, "LIDWRIGHT_COLLECT_DATABASE_URL: is needed"},
		{[]string{"check", "--config", filepath.Join(t.TempDir(), "none.toml")}, "settings cannot be read"},
		{[]string{"try", "--address", "127.0.0.1:0"}, "no port that others can follow"},
	} {
		code, said := asked(t, t.Context(), c.args...)
		if code != exitWrongUse || !strings.Contains(said, c.says) {
			t.Errorf("%v: %d %s", c.args, code, said)
		}
	}
}

// A collector with a database of its own and two practice studios: both join and show their kilns, the
// owner's commands work beside it, a key that is ended ends, and nothing is left when it is stopped.
func TestTry(t *testing.T) {
	bin := t.TempDir()
	build := exec.Command("go", "build", "-o", bin, ".", "../lidwright")
	build.Env = append(os.Environ(), "CGO_ENABLED=0")
	if out, err := build.CombinedOutput(); err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	// the user of the database may not enter a test's folder
	folder, err := os.MkdirTemp("", "lidwright-collect")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { os.RemoveAll(folder) })
	if err := os.Chmod(folder, 0o755); err != nil {
		t.Fatal(err)
	}
	address := freePorts(t, 3)
	try := exec.Command(filepath.Join(bin, "lidwright-collect"), "try", "--folder", folder, "--address",
		address, "--studios", "2")
	var errs bytes.Buffer
	try.Stderr = &errs
	out, err := try.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := try.Start(); err != nil {
		t.Fatal(err)
	}
	hang := time.AfterFunc(5*time.Minute, func() { try.Process.Kill() })
	defer hang.Stop()
	said := bufio.NewScanner(out)
	started := false
	for !started && said.Scan() {
		started = strings.Contains(said.Text(), "The collector:")
	}
	if !started {
		try.Wait()
		t.Fatalf("it does not start:\n%s", errs.String())
	}
	page := func(path string) string {
		r, err := http.Get("http://" + address + path)
		if err != nil {
			t.Fatal(err)
		}
		defer r.Body.Close()
		b, _ := io.ReadAll(r.Body)
		return string(b)
	}
	there := func(text string) bool { // a studio has several kilns, so each is looked for by name
		return strings.Contains(text, "Practice studio 1") && strings.Contains(text, "Practice studio 2")
	}
	for both := time.Now().Add(5 * time.Minute); !there(page("/")) &&
		time.Now().Before(both); time.Sleep(200 * time.Millisecond) {
	}
	kilns := page("/")
	for _, want := range []string{"Practice studio 1", "Practice studio 2", "Look at the kiln"} {
		if !strings.Contains(kilns, want) {
			t.Errorf("the page of the kilns has no %q", want)
		}
	}
	own := regexp.MustCompile(`/studios/[0-9a-f-]{36}`).FindString(kilns)
	for path, want := range map[string]string{"/clays": "Nothing can be entered here",
		"/bars/all": own + "/record/bar/"} {
		if text := page(own + "/record" + path); !strings.Contains(text, want) ||
			strings.Contains(text, "method=\"post\"") {
			t.Errorf("%s of a studio has no %q, or a form: %.3000s", path, want, text)
		}
	}
	t.Setenv("LIDWRIGHT_COLLECT_KEEP_BACKUP_DAYS", "0")
	t.Setenv("LIDWRIGHT_COLLECT_DATABASE_URL", databaseOf(t, folder))
	if code, said := asked(t, t.Context(), "check"); code != exitDone ||
		!strings.Contains(said, "studios: 2") {
		t.Errorf("check: %d %s", code, said)
	}
	if code, said := asked(t, t.Context(), "studio", "list"); code != exitDone ||
		strings.Count(said, "joined") != 2 {
		t.Errorf("list: %d %s", code, said)
	}
	carried(t, bin, folder)
	bodies(t)
	if code, said := asked(t, t.Context(), "studio", "revoke", "Practice studio 3"); code != exitWrongUse ||
		!strings.Contains(said, "no studio is called") {
		t.Errorf("revoke one that is not there: %d %s", code, said)
	}
	if code, said := asked(t, t.Context(), "studio", "revoke", "Practice studio 2"); code != exitDone {
		t.Errorf("revoke: %d %s", code, said)
	}
	if _, said := asked(t, t.Context(), "studio", "list"); strings.Count(said, "key ended") != 1 {
		t.Errorf("list after it: %s", said)
	}
	if code, said := asked(t, t.Context(), "studio", "readmit", "Practice studio 2"); code != exitDone ||
		!strings.Contains(said, "send again") {
		t.Errorf("readmit: %d %s", code, said)
	}
	if code, said := asked(t, t.Context(), "studio", "forget", "Practice studio 1"); code != exitDone ||
		!strings.Contains(said, "deleted here") {
		t.Errorf("forget: %d %s", code, said)
	}
	if _, said := asked(t, t.Context(), "studio", "list"); strings.Contains(said, "Practice studio 1") {
		t.Errorf("forgotten, and listed: %s", said)
	}
	try.Process.Signal(os.Interrupt)
	for said.Scan() {
	}
	if err := try.Wait(); err != nil {
		t.Errorf("it does not end well: %v\n%s", err, errs.String())
	}
	for n := range 3 {
		if r, err := http.Get("http://" + at(t, address, n) + "/"); err == nil {
			r.Body.Close()
			t.Errorf("something still answers at port %d", n)
		}
	}
}

// bodies keeps the catalogue of bodies by its commands.
func bodies(t *testing.T) {
	t.Helper()
	told := func(code int, want string, args ...string) string {
		t.Helper()
		got, text := asked(t, t.Context(), args...)
		if got != code || !strings.Contains(text, want) {
			t.Errorf("%v: %d %s", args, got, text)
		}
		return regexp.MustCompile(`[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}`).FindString(text)
	}
	told(exitDone, "No body is entered yet", "body", "list")
	told(exitWrongUse, "", "body", "add", "Sandpit Clays", "1140", "Smooth stoneware", "sixty")
	one := told(exitDone, "Its id is ", "body", "add", "Sandpit Clays", "1140", "Smooth stoneware", "6")
	other := told(exitDone, "stays with the old one", "body", "split", one,
		"Smooth stoneware, recipe of 2026")
	if one == "" || other == "" || one == other {
		t.Fatalf("of %q was split %q", one, other)
	}
	told(exitDone, "recipe of 2026  6     0        0     too few studios yet", "body", "list")
	told(exitWrongUse, "is no id of a body", "body", "split", "Smooth", "Another")
	told(exitDone, "They are one", "body", "merge", other, one)
	told(exitDone, "merged into "+one, "body", "list")
	told(exitWrongUse, "is no id of a body", "pool", "back", "Smooth")
	if code, text := asked(t, t.Context(), "pool", "back", one); code == exitDone || !strings.Contains(text,
		"no pool of it before") {
		t.Errorf("back where nothing was told: %d %s", code, text)
	}
}

func at(t *testing.T, address string, n int) string {
	t.Helper()
	other, err := portAfter(address, n)
	if err != nil {
		t.Fatal(err)
	}
	return other
}

// freePorts is an address of this machine with n ports in a row that nobody listens on now.
func freePorts(t *testing.T, n int) string {
	t.Helper()
	for range 100 {
		l, err := net.Listen("tcp", "127.0.0.1:0")
		if err != nil {
			t.Fatal(err)
		}
		first, free := l.Addr().String(), true
		for i := 1; i < n; i++ {
			other, err := portAfter(first, i)
			if err != nil {
				free = false
				break
			}
			next, err := net.Listen("tcp", other)
			if free = free && err == nil; err == nil {
				next.Close()
			}
		}
		l.Close()
		if free {
			return first
		}
	}
	t.Fatal("no ports in a row are free")
	return ""
}

// databaseOf is the address of the database that try started in a folder: the fourth line of its
// postmaster.pid is the port.
func databaseOf(t *testing.T, folder string) string {
	t.Helper()
	b, err := os.ReadFile(filepath.Join(folder, "database", "postmaster.pid"))
	if err != nil {
		t.Fatal(err)
	}
	lines := strings.Split(string(b), "\n")
	if len(lines) < 4 {
		t.Fatalf("postmaster.pid: %q", b)
	}
	return fmt.Sprintf("postgres://lidwright@127.0.0.1:%s/collect", lines[3])
}

// carried brings the record of a practice studio to a new machine, and asks both for the same lid.
func carried(t *testing.T, bin, folder string) {
	t.Helper()
	file := filepath.Join(t.TempDir(), "studio.zip")
	if code, said := asked(t, t.Context(), "carry", "Practice studio 1", file); code != exitDone ||
		!strings.Contains(said, "firings") || strings.Contains(said, "no place") {
		t.Fatalf("carry: %d %s", code, said)
	}
	fresh := filepath.Join(t.TempDir(), "store")
	if err := os.Mkdir(fresh, 0o700); err != nil {
		t.Fatal(err)
	}
	lidwright := func(args ...string) string {
		out, err := exec.Command(filepath.Join(bin, "lidwright"), args...).CombinedOutput()
		if err != nil {
			t.Fatalf("%v: %v\n%s", args, err, out)
		}
		return string(out)
	}
	settings := filepath.Join(t.TempDir(), "lidwright.toml")
	if err := os.WriteFile(settings, fmt.Appendf(nil, "[store]\nfolder = %q\n", fresh), 0o600); err != nil {
		t.Fatal(err)
	}
	lidwright("carry", "take", file, "--config", settings)
	was, now := lidwright("clay", "list", "--store", filepath.Join(folder, "studio-1",
		"store")), lidwright("clay", "list", "--store", fresh)
	if was != now || len(was) < 20 {
		t.Errorf("clays of the studio:\n%s\nand on its new machine:\n%s", was, now)
	}
}
