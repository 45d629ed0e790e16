package source

import (
	"context"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"lidwright/kiln"
	"lidwright/kiln/practice"

	"go.bug.st/serial"
	"golang.org/x/sys/unix"
)

// A pseudo terminal ignores speed and parity: none of the tests on one says anything of them.

func columnsOn(port string) Settings {
	return Settings{Port: port, Speed: 9600, Framing: "8N1", Kilns: []Kiln{{
		ID: "big-blue", Every: time.Second, Reply: "columns", Separator: ",", Terminator: "\n",
		Channels: []Channel{{ID: "1", From: "1", Unit: "c", Scale: 1,
			Linearised: true, Role: kiln.RoleProbe}},
	}}}
}

// steps is a Now that goes on by a second with each call, for lines that come as fast as they can.
func steps() func() kiln.Stamp {
	var n atomic.Int64
	return func() kiln.Stamp {
		return kiln.Stamp{Boot: "b1", Since: time.Duration(n.Add(1)) * time.Second}
	}
}

// briefly sleeps a hundredth of what is asked.
func briefly(ctx context.Context, d time.Duration) error { return sleep(ctx, d/100) }

func listening(t *testing.T, s Settings) (*Source, <-chan kiln.Sample) {
	t.Helper()
	out := make(chan kiln.Sample, 1000)
	src, err := New(s, steps(), out)
	if err != nil {
		t.Fatal(err)
	}
	src.Sleep = briefly
	ctx, cancel := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	go func() { ended <- src.Run(ctx) }()
	t.Cleanup(func() {
		cancel()
		if err := <-ended; !errors.Is(err, context.Canceled) {
			t.Errorf("Run ended with %v", err)
		}
	})
	return src, out
}

// hear waits for a sample, sending the line again and again, since what goes to a port that is not
// open yet is lost.
func hear(t *testing.T, out <-chan kiln.Sample, plug *practice.Plug, line string) kiln.Sample {
	t.Helper()
	deadline := time.After(5 * time.Minute)
	for {
		plug.Write([]byte(line))
		select {
		case s := <-out:
			return s
		case <-deadline:
			t.Fatal("nothing heard in five minutes")
		case <-time.After(10 * time.Millisecond):
		}
	}
}

// Unplugged and plugged in again fifty times, under a new device number each time.
func TestReplug(t *testing.T) {
	plug := &practice.Plug{Link: filepath.Join(t.TempDir(), "by-id-kiln")}
	defer plug.Unplug()
	src, out := listening(t, columnsOn(plug.Link))
	numbers := map[string]bool{}
	last := ""
	for range 50 {
		if err := plug.Plug(); err != nil {
			t.Fatal(err)
		}
		if plug.Line().Path == last {
			t.Fatalf("the same device %s twice in a row", last)
		}
		last = plug.Line().Path
		numbers[last] = true
		if s := hear(t, out, plug, "20.5\r\n"); s.Values[0].T != 20.5 {
			t.Fatalf("heard %+v", s)
		}
		if h := src.Heard(); h.State != PortOpen {
			t.Errorf("state %s while heard", h.State)
		}
		if err := plug.Unplug(); err != nil {
			t.Fatal(err)
		}
		// What was sent before the unplugging may still be on its way: wait until it is noticed.
		for deadline := time.Now().Add(5 * time.Minute); src.Heard().State == PortOpen &&
			time.Now().Before(deadline); {
			for len(out) > 0 {
				<-out
			}
			time.Sleep(time.Millisecond)
		}
		for len(out) > 0 {
			<-out
		}
	}
	if len(numbers) < 2 {
		t.Errorf("device numbers %v", numbers)
	}
	if opened := src.Heard().Opened; opened < 50 {
		t.Errorf("opened %d times", opened)
	}
}

// In real time: heard again within 5 s of the return, and the waiting costs next to nothing. The
// time is that of the pauses alone, so it is reckoned and not measured.
func TestPauses(t *testing.T) {
	var pauses []time.Duration
	src, err := New(columnsOn("/nowhere/kiln"), steps(), make(chan kiln.Sample))
	if err != nil {
		t.Fatal(err)
	}
	src.Sleep = func(_ context.Context, d time.Duration) error {
		if pauses = append(pauses, d); len(pauses) == 8 {
			return context.Canceled
		}
		return nil
	}
	src.Run(context.Background())
	if pauses[0] != 250*time.Millisecond || pauses[1] != 500*time.Millisecond {
		t.Errorf("pauses %v", pauses)
	}
	longest := time.Duration(0)
	for _, p := range pauses {
		longest = max(longest, p)
	}
	if worst := longest + settle + slaveWithin; worst > 5*time.Second {
		t.Errorf("a polled device may be unheard for %v after its return", worst)
	}
	if h := src.Heard(); !strings.Contains(strings.Join(h.Words(), "\n"), "/nowhere/kiln") {
		t.Errorf("%q", h.Words())
	}
}

func TestWaitingInWords(t *testing.T) {
	said := make(chan Heard, 10)
	src, err := New(columnsOn("/dev/serial/by-id/not-there"), steps(), make(chan kiln.Sample))
	if err != nil {
		t.Fatal(err)
	}
	src.Changed = func(h Heard) { said <- h }
	ctx, cancel := context.WithCancel(context.Background())
	src.Sleep = func(context.Context, time.Duration) error { cancel(); return ctx.Err() }
	if err := src.Run(ctx); !errors.Is(err, context.Canceled) {
		t.Fatal(err)
	}
	h := <-said
	if h.State != PortWaiting || h.Words()[0] != "waiting for /dev/serial/by-id/not-there: no such device" {
		t.Errorf("%q %q", h.State, h.Words())
	}
}

func TestOpenErrors(t *testing.T) {
	if _, err := OpenPort(columnsOn("/dev/serial/by-id/not-there")); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("not there: %v", err)
	}
	file := filepath.Join(t.TempDir(), "file")
	os.WriteFile(file, nil, 0o600)
	if _, err := OpenPort(columnsOn(file)); err == nil ||
		!strings.Contains(err.Error(), "is no serial port") {
		t.Errorf("a file: %v", err)
	}
	line, err := practice.OpenPty()
	if err != nil {
		t.Fatal(err)
	}
	defer line.Close()
	if err := os.Chmod(line.Path, 0); err != nil {
		t.Fatal(err)
	}
	asNobody(t, func() {
		_, err := OpenPort(columnsOn(line.Path))
		if !errors.Is(err, fs.ErrPermission) || !strings.Contains(err.Error(),
			"permission denied: is the user in group dialout?") {
			t.Errorf("not permitted: %v", err)
		}
	})
}

// asNobody runs f with the rights of another user for files, where the test runs as root: root may
// open anything. The right is that of the thread alone.
func asNobody(t *testing.T, f func()) {
	if os.Geteuid() != 0 {
		f()
		return
	}
	done := make(chan struct{})
	go func() { // the thread ends with the goroutine, since it is never unlocked
		defer close(done)
		runtime.LockOSThread()
		syscall.RawSyscall(syscall.SYS_SETFSUID, 65534, 0, 0)
		f()
	}()
	<-done
}

// The library panics when it reads a descriptor of 1024 or above. See bugst/go-serial#128.
func TestManyDescriptors(t *testing.T) {
	var limit unix.Rlimit
	if err := unix.Getrlimit(unix.RLIMIT_NOFILE, &limit); err != nil {
		t.Fatal(err)
	}
	if limit.Cur < 1200 {
		limit.Cur = min(4096, limit.Max)
		if err := unix.Setrlimit(unix.RLIMIT_NOFILE, &limit); err != nil || limit.Cur < 1200 {
			t.Fatalf("this test needs 1200 descriptors; the limit is %d (ulimit -n), %v", limit.Cur, err)
		}
	}
	line, err := practice.OpenPty()
	if err != nil {
		t.Fatal(err)
	}
	defer line.Close()
	var held []int
	release := func() {
		for _, fd := range held {
			unix.Close(fd)
		}
		held = nil
	}
	defer release()
	for range 1100 {
		fd, err := unix.Open("/dev/null", unix.O_RDONLY|unix.O_CLOEXEC, 0)
		if err != nil {
			t.Fatal(err)
		}
		held = append(held, fd)
	}
	if _, err := OpenPort(columnsOn(line.Path)); err == nil || !strings.Contains(err.Error(),
		"must lie below 1024") {
		t.Fatalf("opened beyond 1024 descriptors: %v", err)
	}
	// One that slips through the look gives an error, not a panic.
	port, err := serial.Open(line.Path, &serial.Mode{BaudRate: 9600, DataBits: 8})
	if err != nil {
		t.Fatal(err)
	}
	n, err := (&guardedPort{Port: port}).Read(make([]byte, 10))
	if n != 0 || err == nil || !strings.Contains(err.Error(), "1024") {
		t.Errorf("read %d, %v", n, err)
	}
	port.Close()
	release()
	good, err := OpenPort(columnsOn(line.Path))
	if err != nil {
		t.Fatalf("still refused when the descriptors are back: %v", err)
	}
	good.Close()
}

func TestNamesThatChange(t *testing.T) {
	for name, warned := range map[string]bool{
		"/dev/ttyUSB0": true, "/dev/ttyACM1": true, "/dev/ttyAMA0": false,
		"/dev/serial/by-id/usb-x-if00": false, "/dev/kiln": false,
	} {
		if got := !warnName(name).IsZero(); got != warned {
			t.Errorf("%s: warned %v", name, got)
		}
	}
}

// What came before the first line end after opening is no reading.
func TestBeginsInTheMiddleOfALine(t *testing.T) {
	c := newLineSplitter("\n")
	var got []string
	c.cut([]byte("22.5\r\n1222.6\r\n"), func(l []byte) { got = append(got, string(l)) })
	if len(got) != 1 || got[0] != "1222.6" {
		t.Errorf("%q", got)
	}
	// With a pause in the cut line it is a cut line still; after a pause before the first byte it is whole.
	for _, paused := range []bool{false, true} {
		c, got = newLineSplitter("\n"), nil
		each := func(l []byte) { got = append(got, string(l)) }
		if paused {
			c.fresh()
		}
		c.cut([]byte("12"), each)
		c.fresh()
		c.cut([]byte("22.5\n7\n"), each)
		if want := map[bool]int{false: 1, true: 2}[paused]; len(got) != want {
			t.Errorf("pause before the first byte %v: %q", paused, got)
		}
	}
}
