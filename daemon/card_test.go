package daemon

import (
	"bytes"
	"errors"
	"fmt"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"syscall"
	"testing"

	"golang.org/x/sys/unix"

	"lidwright/daemon/store"
)

// TestWritesInItsFolderAlone follows every file that the daemon opens, makes, moves or removes while it
// records a firing, takes entries and makes a copy: all that is written lies in its folder. With
// LIDWRIGHT_SOAK a whole firing runs where nothing else can be written (TestOnAReadOnlyRoot).
func TestWritesInItsFolderAlone(t *testing.T) {
	t.Parallel()
	folder := filepath.Join(t.TempDir(), "store")
	w := newWorld(t, folder)
	log := filepath.Join(t.TempDir(), "log")
	w.under = []string{"strace", "-f", "-qq", "-y", "--seccomp-bpf", "-o", log, "-e",
		"trace=open,openat,creat,mkdir,mkdirat,rename,renameat,renameat2,link,linkat,symlink,symlinkat,unlink,unlinkat,rmdir,truncate,chmod,fchmodat,chown,fchownat,mknodat"}
	w.start()
	_, stop := w.potter()
	w.until("a firing", func() bool { return len(w.firings()) == 1 })
	if r, err := http.Post(w.site+"/v1/copies", "application/json", strings.NewReader("{}")); err != nil ||
		r.StatusCode != 200 {
		t.Fatal(r, err)
	}
	stop()
	// strace ends with the daemon, and passes no signal on to it.
	var pid int
	children, err := os.ReadFile(fmt.Sprintf("/proc/%[1]d/task/%[1]d/children", w.cmd.Process.Pid))
	if err == nil {
		_, err = fmt.Sscan(string(children), &pid)
	}
	if err == nil {
		err = syscall.Kill(pid, syscall.SIGTERM)
	}
	if err != nil {
		t.Fatal(err)
	}
	if err := w.cmd.Wait(); err != nil {
		t.Errorf("the stop: %v\n%s", err, w.log.String())
	}
	text, err := os.ReadFile(log)
	if err != nil {
		t.Fatal(err)
	}
	call := regexp.MustCompile(`^\d+ +(\w+)\((.*)\) += \d`)
	named := regexp.MustCompile(`"([^"]*)"`)
	wrote := map[string]bool{}
	for line := range strings.Lines(string(text)) {
		m := call.FindStringSubmatch(line)
		if m == nil || strings.HasPrefix(m[1], "open") && !strings.Contains(m[2], "O_WRONLY") &&
			!strings.Contains(m[2], "O_RDWR") && !strings.Contains(m[2], "O_CREAT") {
			continue
		}
		for _, n := range named.FindAllStringSubmatch(m[2], -1) {
			wrote[n[1]] = true
		}
	}
	in := 0
	for path := range wrote {
		switch {
		case path == folder, strings.HasPrefix(path, folder+"/"):
			in++
		case strings.HasPrefix(path, "/dev/"), path == filepath.Join(w.folder, "kiln"): // the line
		default:
			t.Errorf("it writes %s", path)
		}
	}
	if in < 4 {
		t.Errorf("the test sees little: %v", wrote)
	}
}

// TestOnAReadOnlyRoot plays the whole firing of TestFromTheLineToTheLid where only the store's folder
// can be written: everything else is mounted read-only, /tmp too.
func TestOnAReadOnlyRoot(t *testing.T) {
	if os.Getenv("LIDWRIGHT_SOAK") == "" {
		return // the short form is TestWritesInItsFolderAlone
	}
	const readOnly = `state=$(dirname "$LIDWRIGHT_TEST_CHILD")/store
mkdir -p -m 0700 "$state" && mount --bind "$state" "$state" && mount -o remount,bind,ro / || exit 9
if touch "$0" 2>/dev/null || ! touch "$state/x"; then echo "the root is not read-only"; exit 9; fi; rm "$state/x"
exec "$@"`
	if out, err := exec.Command("unshare", "--mount", "true").CombinedOutput(); err != nil {
		t.Fatalf("mounts of its own: %v: %s; run the soak as root", err, out)
	}
	fromTheLineToTheLid(t, "", "unshare", "--mount", "sh", "-c", readOnly, filepath.Join(t.TempDir(), "x"))
}

// TestCardFailsInMidFiring: the disk of the store meets an error and the kernel makes it read-only, as
// it does with a card that fails. Pages and metrics say so, the record is read, entries are refused; the
// daemon is stopped, a start says what is wrong; and after the disk was put right the same firing goes
// on, with everything that was acknowledged.
func TestCardFailsInMidFiring(t *testing.T) {
	if os.Getenv("LIDWRIGHT_SOAK") == "" {
		return // the short form is TestReadOnlyInMidFiring
	}
	folder := t.TempDir()
	card, at := filepath.Join(folder, "card"), filepath.Join(folder, "at")
	command := func(args ...string) string {
		t.Helper()
		out, err := exec.Command(args[0], args[1:]...).CombinedOutput()
		if err != nil {
			t.Fatalf("%v: %v: %s; the soak needs root and disks of its own", args, err, out)
		}
		return strings.TrimSpace(string(out))
	}
	if err := errors.Join(os.Mkdir(at, 0o700), os.WriteFile(card, nil, 0o600),
		os.Truncate(card, 64<<20)); err != nil {
		t.Fatal(err)
	}
	command("mkfs.ext4", "-q", card)
	mount := func() { t.Helper(); command("mount", "-o", "loop,errors=remount-ro", card, at) }
	mount()
	t.Cleanup(func() { unix.Unmount(at, unix.MNT_DETACH) })
	w := newWorld(t, filepath.Join(at, "store"))
	w.start()
	p, stop := w.potter()
	defer stop()
	w.until("a firing", func() bool { return len(w.firings()) == 1 })
	id := w.firings()[0].ID
	w.until("readings", func() bool { kept, _ := p.counts(); return kept > 10 })
	device := filepath.Base(command("findmnt", "-n", "-o", "SOURCE", at))
	if err := os.WriteFile("/sys/fs/ext4/"+device+"/trigger_fs_error",
		[]byte("a card that fails\n"), 0o200); err != nil {
		t.Fatal(err)
	}
	var now struct{ Items []struct{ Unwritten string } }
	w.until("word that the store cannot write", func() bool {
		w.get("/v1/now", &now)
		_, busy := p.counts()
		return now.Items[0].Unwritten != "" && busy > 0
	})
	for _, path := range []string{"/more", "/healthz", "/readyz"} {
		if text := w.text(path); !strings.Contains(text, "cannot write") {
			t.Errorf("%s says nothing of it: %.300s", path, text)
		}
	}
	if f := w.firings(); len(f) != 1 || f[0].ID != id {
		t.Errorf("the record is not read: %+v", f)
	}
	stop()
	w.cmd.Process.Signal(syscall.SIGTERM)
	if err := w.cmd.Wait(); err == nil || !bytes.Contains(w.log.Bytes(), []byte("samples not written")) {
		t.Errorf("the stop says nothing of what was not written: %v\n%s", err, w.log.String())
	}
	if code, said := startAndEnd(t, filepath.Join(at, "store")); code != 5 ||
		!strings.Contains(said, "turns read-only") {
		t.Errorf("a start on it: %d %s", code, said)
	}
	command("umount", at)
	if out, err := exec.Command("fsck.ext4", "-p", card).CombinedOutput(); err != nil {
		var ended *exec.ExitError
		if !errors.As(err, &ended) || ended.ExitCode() > 1 { // 1: put right, fsck(8)
			t.Fatalf("fsck: %v: %s", err, out)
		}
	}
	mount()
	w.start()
	if lost := p.missing(); lost > 0 {
		t.Errorf("%d acknowledged readings are lost", lost)
	}
	if f := w.firings(); len(f) != 1 || f[0].ID != id || f[0].Status != "running" {
		t.Errorf("afterwards: %+v", f)
	}
	w.put("/v1/clays/wren", map[string]any{"name": "Wren"})
	w.cmd.Process.Signal(syscall.SIGTERM)
	if err := w.cmd.Wait(); err != nil {
		t.Errorf("the stop: %v\n%s", err, w.log.String())
	}
	s, err := store.Open(t.Context(), filepath.Join(at, "store"))
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	if !s.Report().Clean() {
		t.Error(s.Report().Words())
	}
}
