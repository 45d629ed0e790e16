package main

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"net"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"

	"lidwright/kiln/practice"
)

// pymodbusOn starts slaves that pymodbus plays at one end of a pair of pseudo-terminals, and gives the other
// end.
func pymodbusOn(t *testing.T, units string) (port string) {
	t.Helper()
	folder := t.TempDir()
	port, there := filepath.Join(folder, "bus"), filepath.Join(folder, "slaves")
	pair := exec.Command("socat", "pty,raw,echo=0,link="+port, "pty,raw,echo=0,link="+there)
	slaves := exec.Command("/usr/bin/python3", "../../kiln/source/testdata/slave.py", there, units)
	begin := func(c *exec.Cmd) {
		if err := c.Start(); err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() { c.Process.Kill(); c.Wait() })
	}
	begin(pair)
	eventually(t, "the pair of lines", func() bool { _, err := os.Stat(there); return err == nil })
	begin(slaves)
	device, err := filepath.EvalSymlinks(there)
	if err != nil {
		t.Fatal(err)
	}
	eventually(t, "the slaves at their line", func() bool {
		held, _ := filepath.Glob(fmt.Sprintf("/proc/%d/fd/*", slaves.Process.Pid))
		return slices.ContainsFunc(held, func(fd string) bool {
			to,
				_ := os.Readlink(fd)
			return to == device
		})
	})
	return port
}

func eventually(t *testing.T, what string, so func() bool) {
	t.Helper()
	for end := time.Now().Add(5 * time.Minute); !so(); time.Sleep(50 * time.Millisecond) {
		if time.Now().After(end) {
			t.Fatal("waited five minutes: " + what)
		}
	}
}

const aRegister = "reply = \"modbus\"\n[kiln.big-blue.channel.1]\nunit = \"c\"\nunit_id = 17\nfunction = 3\nregister = 0\nscale = 0.1"

// check --bus tells what it would send and sends nothing; after --yes it finds the slaves that are there, and
// says of the one that the settings name and that is not that it does not answer.
func TestCheckBus(t *testing.T) {
	port := pymodbusOn(t, "15,17")
	file := lineSettings(t, port, aRegister)
	out, code := outLine(t, "check", "--config", file, "--bus", "big-blue", "--numbers", "15-18")
	for _, want := range []string{"Caution: Never while a kiln on this bus fires",
		"To numbers 15 to 18 on " + port +
			" at 9600 baud 8N1: one reading of a register each (function 03, register 0)",
		"nothing was sent; with --yes it is"} {
		if !strings.Contains(out, want) {
			t.Errorf("no %q in\n%s", want, out)
		}
	}
	if strings.Contains(out, "number 17 answers") || code != exitDone {
		t.Errorf("exit %d\n%s", code, out)
	}
	out, code = outLine(t, "check", "--config", file, "--bus", "big-blue", "--numbers", "15-18", "--yes")
	for _, want := range []string{"ok    bus       number 15 answers at 9600 baud 8N1: holding register 0 is 8505", "ok    bus       number 17 answers at"} {
		if !strings.Contains(out, want) {
			t.Errorf("no %q in\n%s", want, out)
		}
	}
	if strings.Contains(out, "number 16") || strings.Contains(out, "number 18") || code != exitDone {
		t.Errorf("exit %d\n%s", code, out)
	}
	for _, wrong := range [][]string{{"--bus", "little-red"}, {"--bus", "big-blue", "--numbers", "0-4"},
		{"--bus", "big-blue", "--numbers", "5-4"}, {"--bus", "big-blue", "--numbers", "x"},
		{"--record", file}, {"no-such-kiln"}} {
		if out, code := outLine(t, append([]string{"check", "--config", file},
			wrong...)...); code != exitWrongUse {
			t.Errorf("%v: exit %d\n%s", wrong, code, out)
		}
	}
}

// replaying runs practice --replay until the test ends and gives its address.
func replaying(t *testing.T, file string) (site string) {
	t.Helper()
	out, err := os.Create(filepath.Join(t.TempDir(), "out"))
	if err != nil {
		t.Fatal(err)
	}
	l, err := net.Listen("tcp", "127.0.0.1:0") // a port that is free
	if err != nil {
		t.Fatal(err)
	}
	l.Close()
	ctx, stop := context.WithCancel(t.Context())
	ended, done := make(chan int, 1), make(chan struct{})
	go func() {
		defer close(done)
		ended <- run(ctx, []string{"practice", "--replay", file, "--folder",
			filepath.Join(t.TempDir(), "replay"), "--address", l.Addr().String()}, out, out)
	}()
	t.Cleanup(func() { stop(); <-done; out.Close() })
	eventually(t, "the page of the replay", func() bool {
		b, _ := os.ReadFile(out.Name())
		if len(ended) > 0 {
			t.Fatalf("it ended: %s", b)
		}
		m := regexp.MustCompile(`The page: (http://\S+)`).FindSubmatch(b)
		if m != nil {
			site = string(m[1])
		}
		return m != nil
	})
	return site
}

func fetchedInto(t *testing.T, site, path string, into any) (status int) {
	t.Helper()
	r, err := http.Get(site + path)
	if err != nil {
		t.Fatal(err)
	}
	defer r.Body.Close()
	if r.StatusCode == http.StatusOK {
		if err := json.NewDecoder(r.Body).Decode(into); err != nil {
			t.Fatal(err)
		}
	}
	return r.StatusCode
}

// A line is kept byte for byte, bad bytes too, and played to a daemon, which records the same values in the
// same order.
func TestRecordedLineIsReplayed(t *testing.T) {
	p := newPty(t)
	n := 0
	speak(t, p, func() []byte {
		if n++; n%10 != 5 {
			return nil
		}
		if n%40 == 35 {
			return []byte("rub\x01b\xffish\r\n")
		}
		return fmt.Appendf(nil, "%.1f\r\n", 100+float64(n)/50)
	})
	file := filepath.Join(t.TempDir(), "line.txt")
	out, code := outLine(t, "check", "big-blue", "--config", lineSettings(t, p.Path, aColumn), "--seconds",
		"12", "--record", file)
	if code != exitDone || !strings.Contains(out, "look it through before you send it to anybody") {
		t.Fatalf("exit %d\n%s", code, out)
	}
	text, err := os.ReadFile(file)
	if err != nil || !bytes.Contains(text, []byte(`received "rub\x01b\xffish\r\n"`)) || bytes.Contains(text,
		[]byte(p.Path)) {
		t.Fatalf("%v\n%s", err, text)
	}
	kept := whatCame(t, file)
	site := replaying(t, file)
	firing := "/v1/firings/" + uuid.NewString()
	eventually(t, "a first value", func() bool {
		var now struct {
			Items []struct {
				T *float64 `json:"temperature_c"`
			}
		}
		return fetchedInto(t, site, "/v1/now", &now) == 200 && len(now.Items) == 1 && now.Items[0].T != nil
	})
	begin, err := http.NewRequest("PUT", site+firing+"/begin", strings.NewReader(`{"kiln":"big-blue"}`))
	if err != nil {
		t.Fatal(err)
	}
	begin.Header.Set("Content-Type", "application/json")
	if r, err := http.DefaultClient.Do(begin); err != nil || r.StatusCode >= 300 {
		t.Fatalf("%v %v", r, err)
	}
	var got []string
	eventually(t, "the last of the recording", func() bool {
		var c struct{ Channels []struct{ Rows [][3]float64 } }
		if fetchedInto(t, site, firing+"/curve?step=1", &c) != 200 || len(c.Channels) != 1 {
			return false
		}
		got = nil
		for _, row := range c.Channels[0].Rows {
			got = append(got, fmt.Sprintf("%.1f", row[1]))
		}
		return len(got) > 0 && got[len(got)-1] == kept[len(kept)-1]
	})
	// What came before the firing was begun by hand is thinned to a mean; every reading since is there as it
	// was.
	at := slices.Index(kept, got[1])
	if len(kept) < 6 || len(got) < 4 || at < 1 || !slices.Equal(got[1:], kept[at:]) {
		t.Errorf("the daemon has %v, the recording %v", got, kept)
	}
}

// whatCame are the numbers that a recording received, in order, judged by its text alone.
func whatCame(t *testing.T, file string) (all []string) {
	t.Helper()
	text, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	for _, m := range regexp.MustCompile(`(?m)^[0-9.]+ received "([0-9.]+)\\r\\n"$`).FindAllSubmatch(text,
		-1) {
		all = append(all, string(m[1]))
	}
	return all
}

// Modbus: what was asked of a slave that pymodbus plays is answered again from the recording, and the daemon
// shows the same number.
func TestRecordedBusIsReplayed(t *testing.T) {
	port := pymodbusOn(t, "17")
	file := filepath.Join(t.TempDir(), "bus.txt")
	out, code := outLine(t, "check", "--config", lineSettings(t, port, aRegister), "--seconds", "6",
		"--record", file)
	if code != exitDone || !strings.Contains(out, "last 1 850.5 °C") {
		t.Fatalf("exit %d\n%s", code, out)
	}
	f, err := os.Open(file)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	r, err := practice.ReadRecording(f)
	if err != nil || !slices.ContainsFunc(r.Events, func(e practice.LineEvent) bool {
		// The question of the settings, as Modbus Application Protocol V1.1b3, 6.3, has it.
		return e.What == practice.Sent && bytes.Equal(e.Bytes, crc16([]byte{17, 3, 0, 0, 0, 1}))
	}) {
		t.Fatalf("%v\n%+v", err, r)
	}
	site := replaying(t, file)
	eventually(t, "the recorded value", func() bool {
		var now struct {
			Items []struct {
				T *float64 `json:"temperature_c"`
			}
		}
		return fetchedInto(t, site, "/v1/now", &now) == 200 && len(now.Items) == 1 && now.Items[0].T != nil &&
			*now.Items[0].T == 850.5
	})
}
