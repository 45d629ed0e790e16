package store

import (
	"bufio"
	"encoding/hex"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
)

// step is one thing that a process asked of the disk, as strace wrote it down.
type step struct {
	what     string // create, write, cut, sync, rename, unlink, folder, say
	path, to string
	off      int64
	data     []byte
	begun    int // of a sync: how many steps had ended when it began; only those are on the card after it
}

const traced = "open,openat,creat,write,pwrite64,writev,pwritev,ftruncate,truncate,fallocate,fsync,fdatasync,sync_file_range,rename,renameat,renameat2,unlink,unlinkat,rmdir,mkdir,mkdirat,msync"

// writeDown runs the child under strace and gives what it asked of the disk, in order.
func writeDown(t *testing.T, folder string) []step {
	t.Helper()
	log := filepath.Join(t.TempDir(), "log")
	cmd := exec.Command("strace", "-f", "-qq", "-y", "-xx", "-s", "2000000", "--seccomp-bpf", "-o", log, "-e",
		"trace="+traced, os.Args[0])
	cmd.Env = append(os.Environ(), childVar+"="+folder, childCarries+"="+carryFiles(t, 3))
	if out, err := cmd.CombinedOutput(); err != nil {
		t.Fatalf("write down what the disk is asked: %v; the Debian package strace is needed, and leave to trace\n%s", err, out[max(0, len(out)-2000):])
	}
	f := must[*os.File](t)(os.Open(log))
	defer f.Close()
	var steps []step
	pending := map[string]string{}
	began := map[string]int{}
	for lines := bufio.NewReaderSize(f, 1<<20); ; {
		line, err := lines.ReadString('\n')
		if err != nil {
			break
		}
		thread, call, _ := strings.Cut(strings.TrimSpace(line), " ")
		call = strings.TrimSpace(call)
		if head, ok := strings.CutSuffix(call, "<unfinished ...>"); ok {
			pending[thread], began[thread] = head, len(steps)
			continue
		}
		begun := len(steps)
		if rest, ok := strings.CutPrefix(call, "<... "); ok {
			_, tail, _ := strings.Cut(rest, "resumed>")
			call, begun = pending[thread]+tail, began[thread]
		}
		if s, ok := stepOf(t, call, folder); ok {
			s.begun = begun
			steps = append(steps, s)
		}
	}
	return steps
}

// stepOf reads one line of strace; ok is false for what failed and what is elsewhere.
func stepOf(t *testing.T, call, folder string) (s step, ok bool) {
	t.Helper()
	name, rest, found := strings.Cut(call, "(")
	at := strings.LastIndex(rest, ") ")
	if !found || at < 0 {
		return s, false // a signal, or the end of a thread
	}
	_, result, _ := strings.Cut(rest[at:], "= ")
	if strings.HasPrefix(result, "-1") || strings.HasPrefix(result, "?") {
		return s, false
	}
	args := strings.Split(rest[:at], ", ")
	descriptor := func() string { // 9</path in hex>
		_, path, _ := strings.Cut(strings.TrimSpace(args[0]), "<")
		return string(unhex(strings.TrimSuffix(path, ">")))
	}
	number := func(text string) int64 {
		n, err := strconv.ParseInt(strings.TrimSpace(text), 10, 64)
		if err != nil {
			t.Fatalf("strace wrote %q where a number stands", text)
		}
		return n
	}
	quoted := func(i int) string { return string(unhex(strings.Trim(args[i], `" `))) }
	switch name {
	case "open", "openat", "creat":
		i := map[string]int{"open": 0, "openat": 1, "creat": 0}[name]
		s.path = quoted(i)
		if name != "creat" && !strings.Contains(args[i+1], "O_CREAT") {
			return s, false
		}
		s.what = "create"
		if name == "creat" || strings.Contains(args[i+1], "O_TRUNC") {
			s.to = "emptied"
		}
	case "write", "pwrite64":
		if strings.HasPrefix(args[0], "1<") {
			return step{what: "say", data: unhex(strings.Trim(args[1], `"`))}, true
		}
		s.what, s.path, s.data = "write", descriptor(), unhex(strings.Trim(args[1], `"`))
		s.off = -1
		if name == "pwrite64" {
			s.off = number(args[3])
		}
		if n, err := strconv.Atoi(strings.Fields(result)[0]); err == nil && n < len(s.data) {
			s.data = s.data[:n]
		}
	case "ftruncate":
		s.what, s.path, s.off = "cut", descriptor(), number(args[1])
	case "fsync", "fdatasync":
		s.what, s.path = "sync", descriptor()
	case "rename", "renameat", "renameat2":
		i := map[string]int{"rename": 0, "renameat": 1, "renameat2": 1}[name]
		s.what, s.path, s.to = "rename", quoted(i), quoted(i+1+i)
	case "unlink", "unlinkat":
		s.what, s.path = "unlink", quoted(map[string]int{"unlink": 0, "unlinkat": 1}[name])
	case "mkdir", "mkdirat":
		s.what, s.path = "folder", quoted(map[string]int{"mkdir": 0, "mkdirat": 1}[name])
	default:
		t.Fatalf("the disk was asked %s, which this test does not know", name)
	}
	inside := s.path == folder || strings.HasPrefix(s.path, folder+"/")
	// The index of the log is shared memory and made anew after a cut: it is no file to keep.
	return s, inside && !strings.HasSuffix(s.path, "-shm") && !strings.HasSuffix(s.path, ".lock")
}

// unhex reads \x41\x42 as strace writes it with -xx.
func unhex(text string) []byte {
	out, err := hex.DecodeString(strings.ReplaceAll(text, `\x`, ""))
	if err != nil {
		panic("strace wrote a text that is not all in hex: " + text[:min(len(text), 80)])
	}
	return out
}
