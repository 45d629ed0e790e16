package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"lidwright/daemon"
	"lidwright/kiln/practice"

	"lidwright/config"
)

// A pseudo-terminal ignores speed and parity: what a receiver of another speed would make of the
// line is worked out here and sent.

// outLine is what `lidwright` with args prints, and its exit code.
func outLine(t *testing.T, args ...string) (string, int) {
	t.Helper()
	out, err := os.Create(filepath.Join(t.TempDir(), "out"))
	if err != nil {
		t.Fatal(err)
	}
	defer out.Close()
	code := run(t.Context(), args, out, out)
	b, err := os.ReadFile(out.Name())
	if err != nil {
		t.Fatal(err)
	}
	return string(b), code
}

// lineSettings writes settings with one kiln on port.
func lineSettings(t *testing.T, port, more string) (file string) {
	t.Helper()
	folder := t.TempDir()
	file = filepath.Join(folder, "lidwright.toml")
	text := fmt.Sprintf("[store]\nfolder = %q\n[listen]\naddress = \"127.0.0.1:1\"\n[kiln.big-blue]\nport = %q\nlimit_c = 1290\n%s\n[kiln.big-blue.probe.1]\ntype = \"K\"\n",
		filepath.Join(folder, "store"), port, more)
	if err := os.WriteFile(file, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	return file
}

// speak writes to the line ten times a second until the test ends.
func speak(t *testing.T, p *practice.Pty, say func() []byte) {
	stop := make(chan struct{})
	done := make(chan struct{})
	go func() {
		defer close(done)
		for {
			select {
			case <-stop:
				return
			case <-time.After(100 * time.Millisecond):
				p.Write(say())
			}
		}
	}()
	t.Cleanup(func() { close(stop); <-done; p.Close() })
}

func newPty(t *testing.T) *practice.Pty {
	t.Helper()
	p, err := practice.OpenPty()
	if err != nil {
		t.Fatal(err)
	}
	return p
}

const aColumn = "reply = \"columns\"\n[kiln.big-blue.channel.1]\nfrom = \"1\"\nunit = \"c\""

func TestCheckListens(t *testing.T) {
	t.Parallel()
	p := newPty(t)
	n := 0
	speak(t, p, func() []byte {
		if n++; n%10 == 0 {
			return []byte("rub\x01bish\n")
		}
		return []byte("66.2\n")
	})
	out, code := outLine(t, "check", "--config", lineSettings(t, p.Path, aColumn), "--seconds", "4")
	for _, want := range []string{
		"ok    sends     big-blue: nothing, it only listens",
		"ok    port      port " + p.Path + " is open",
		"LOOK  port      big-blue: received ", " good line",
		" bad, last 1 66.2 °C; last bad line \"rub\\x01bish\": holds the byte 0x01",
		// 66.2 °F is 19 °C by the definition of the scale.
		`LOOK  port      big-blue: now 66.2 °C: is that about the room? If the kiln is cold and the room is nearer 19 °C, the line is in °F: set unit = "f" for channel 1`,
	} {
		if !strings.Contains(out, want) {
			t.Errorf("no %q in\n%s", want, out)
		}
	}
	if code != exitDone {
		t.Errorf("exit %d", code)
	}
}

// misheard is what a receiver at twice the speed of the sender makes of text: each bit sent is two
// of its own.
func misheard(text string) []byte {
	var bits []byte
	for _, c := range []byte(text) {
		bits = append(bits, 0, 0)
		for i := range 8 {
			bits = append(bits, c>>i&1, c>>i&1)
		}
		bits = append(bits, 1, 1)
	}
	for range 40 {
		bits = append(bits, 1)
	}
	var out []byte
	for at := 0; at+10 <= len(bits); {
		if bits[at] == 1 {
			at++
			continue
		}
		var c byte
		for i := range 8 {
			c |= bits[at+1+i] << i
		}
		if bits[at+9] == 0 {
			c = 0 // a framing error arrives as NUL
		}
		out = append(out, c)
		at += 10
	}
	return out
}

func TestCheckTellsTheSpeed(t *testing.T) {
	t.Parallel()
	p := newPty(t)
	n := 0.0
	speak(t, p, func() []byte {
		n++
		return misheard(fmt.Sprintf("%.1f,%.1f\r\n", 500+300*math.Sin(n), 500+300*math.Cos(n)))
	})
	out, code := outLine(t, "check", "--config", lineSettings(t, p.Path, "speed = 19200\n"+aColumn),
		"--seconds", "6")
	if !strings.Contains(out, "LOOK  port      looks like 9600 baud, you set 19200") ||
		!strings.Contains(out, "no reading yet") {
		t.Errorf("%s", out)
	}
	if code != exitFailed {
		t.Errorf("exit %d with nothing heard", code)
	}
}

// crc16 is the check of Modbus over Serial Line V1.02, appendix B: polynomial 0xA001, start 0xFFFF.
func crc16(b []byte) []byte {
	crc := uint16(0xffff)
	for _, c := range b {
		crc ^= uint16(c)
		for range 8 {
			if crc&1 == 1 {
				crc = crc>>1 ^ 0xa001
			} else {
				crc >>= 1
			}
		}
	}
	return append(b, byte(crc), byte(crc>>8))
}

// A float32 with its registers swapped: `check` shows the number in every order, so that the owner
// sees 1222.5 under cdab. The only question that reaches the slave is the one that is announced.
func TestCheckShowsEveryOrder(t *testing.T) {
	t.Parallel()
	p := newPty(t)
	bits := math.Float32bits(1222.5)
	asked := make(chan string, 100)
	go func() {
		buf := make([]byte, 64)
		for {
			p.SetReadDeadline(time.Now().Add(20 * time.Second))
			n, err := p.Read(buf)
			if os.IsTimeout(err) || err != nil && n == 0 {
				select {
				case <-t.Context().Done():
					return
				case <-time.After(20 * time.Millisecond):
				}
				continue
			}
			asked <- fmt.Sprintf("% x", buf[:n])
			p.Write(crc16([]byte{7, 3, 4, byte(bits >> 8), byte(bits), byte(bits >> 24), byte(bits >> 16)}))
		}
	}()
	t.Cleanup(func() { p.Close() })
	file := lineSettings(t, p.Path, "reply = \"modbus\"\n[kiln.big-blue.channel.1]\nunit = \"c\"\nunit_id = 7\nfunction = 3\nregister = 16\ntype = \"float32\"\norder = \"abcd\"")
	out, _ := outLine(t, "check", "--config", file, "--seconds", "5", "--json")
	var a struct {
		Findings []finding
		Lines    []struct {
			Words  []string
			Sends  []string
			Orders []struct {
				Set    string
				Values map[string]float64
			}
		}
	}
	if err := json.Unmarshal([]byte(out[strings.Index(out, "{"):]), &a); err != nil || len(a.Lines) != 1 ||
		len(a.Lines[0].Orders) != 1 {
		t.Fatalf("%v\n%s", err, out)
	}
	o := a.Lines[0].Orders[0]
	if o.Set != "abcd" || len(o.Values) != 4 || o.Values["cdab"] != 1222.5 {
		t.Errorf("orders %+v", o)
	}
	if words := fmt.Sprint(a.Lines[0].Words); !strings.Contains(words, "cdab 1222.5") ||
		!strings.Contains(words, "(set)") {
		t.Errorf("words %s", words)
	}
	if len(a.Lines[0].Sends) != 1 || len(asked) == 0 {
		t.Errorf("announced %q, asked %d times", a.Lines[0].Sends, len(asked))
	}
	want := fmt.Sprintf("% x", crc16([]byte{7, 3, 0, 16, 0, 2}))
	for len(asked) > 0 {
		if got := <-asked; got != want {
			t.Errorf("sent % s, announced was the reading %s", got, want)
		}
	}
}

// A daemon that has the port is asked; the check opens nothing then.
func TestCheckAsksTheDaemon(t *testing.T) {
	t.Parallel()
	p := newPty(t)
	speak(t, p, func() []byte { return []byte("19.4\n") })
	file := lineSettings(t, p.Path, aColumn)
	cfg, err := config.Load(file, nil, nil)
	if err != nil {
		t.Fatal(err)
	}
	cfg.Listen.Address = "127.0.0.1:0"
	d, err := daemon.New(t.Context(), cfg, "test")
	if err != nil {
		t.Fatal(err)
	}
	site := served(t, d)
	var out string
	for end := time.Now().Add(5 * time.Minute); time.Now().Before(end); time.Sleep(200 * time.Millisecond) {
		if out, _ = outLine(t, "check", "--config", file, "--site", site); strings.Contains(out,
			"last 1 19.4 °C") {
			break
		}
	}
	for _, want := range []string{"ok    daemon    runs; its last minute is told", "last 1 19.4 °C",
		`now 19.4 °C: is that about the room?`} {
		if !strings.Contains(out, want) {
			t.Errorf("no %q in\n%s", want, out)
		}
	}
	if strings.Contains(out, "listening") {
		t.Errorf("the port of a running daemon was opened:\n%s", out)
	}
	// Where it cannot be asked its port is left alone all the same.
	out, code := outLine(t, "check", "--config", file, "--site", "http://127.0.0.1:1")
	if !strings.Contains(out, "LOOK  daemon    one is running with this store and does not answer") ||
		strings.Contains(out, "listening") || code != exitFailed {
		t.Errorf("exit %d\n%s", code, out)
	}
}

// TestCheckKnowsAForeignDaemon: one that answers at the address of the settings and has another store is not
// asked what it hears; the lines of the settings are listened to.
func TestCheckKnowsAForeignDaemon(t *testing.T) {
	p := newPty(t)
	speak(t, p, func() []byte { return []byte("19.4\n") })
	other := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
		w.Header().Set("Content-Type", "application/json")
		fmt.Fprintf(w, `{"items":[{"kiln":"green","port":%q,"good":50,"words":["last 1 900 °C"]}]}`, p.Path)
	}))
	defer other.Close()
	file := lineSettings(t, p.Path, aColumn)
	text, err := os.ReadFile(file)
	if err == nil {
		err = os.WriteFile(file, bytes.ReplaceAll(text, []byte("127.0.0.1:1"),
			[]byte(strings.TrimPrefix(other.URL, "http://"))), 0o600)
	}
	if err != nil {
		t.Fatal(err)
	}
	out, _ := outLine(t, "check", "--config", file, "--seconds", "4")
	if strings.Contains(out, "its last minute is told") || strings.Contains(out, "900 °C") ||
		!strings.Contains(out, "LOOK  daemon    one that has another store answers at") ||
		!strings.Contains(out, "19.4 °C") {
		t.Errorf("%s", out)
	}
}
