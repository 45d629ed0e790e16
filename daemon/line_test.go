package daemon

import (
	"context"
	"encoding/binary"
	"fmt"
	"io"
	"net/http"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"lidwright/config"
	"lidwright/kiln/practice"
)

// daemonOn runs a daemon in this process with the settings text, in which %s stands for the port,
// and gives its address.
func daemonOn(t *testing.T, port, text string) (d *Daemon, site string) {
	t.Helper()
	folder := t.TempDir()
	file := filepath.Join(folder, "lidwright.toml")
	text = fmt.Sprintf("[store]\nfolder = %q\n", filepath.Join(folder, "store")) + fmt.Sprintf(text, port)
	if err := os.WriteFile(file, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	cfg, err := config.Load(file, nil, nil)
	if err != nil {
		t.Fatal(err)
	}
	cfg.Listen.Address = "127.0.0.1:0"
	if d, err = New(t.Context(), cfg, "test"); err != nil {
		t.Fatal(err)
	}
	address := make(chan string, 1)
	d.Ready = func(a string) { address <- a }
	ctx, stop := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	go func() { ended <- d.Run(ctx) }()
	t.Cleanup(func() {
		stop()
		if err := <-ended; err != nil {
			t.Error(err)
		}
	})
	return d, "http://" + <-address
}

func read(t *testing.T, address string) string {
	t.Helper()
	r, err := http.Get(address)
	if err != nil {
		t.Fatal(err)
	}
	defer r.Body.Close()
	b, err := io.ReadAll(r.Body)
	if err != nil || r.StatusCode != http.StatusOK {
		t.Fatalf("%s: %s %v", address, r.Status, err)
	}
	return string(b)
}

// until asks again and again whether it is so.
func until(t *testing.T, what string, so func() bool) {
	t.Helper()
	for end := time.Now().Add(hanging); !so(); time.Sleep(20 * time.Millisecond) {
		if time.Now().After(end) {
			t.Fatalf("waited in vain for: %s", what)
		}
	}
}

const wiredKiln = `[site]
name = "the studio"
[notice.webhook.phone]
url = "https://example.org/a-word-nobody-may-read"
[kiln.big-blue]
port = %q
reply = "columns"
limit_c = 1290
[kiln.big-blue.channel.1]
from = "1"
unit = "c"
[kiln.big-blue.channel.room]
from = "2"
unit = "c"
role = "room"
[kiln.big-blue.channel.vent]
from = "3"
unit = "c"
role = "vent"
[kiln.big-blue.probe.1]
type = "S"
class = 1
fitted_on = "2026-01-06"
[kiln.big-blue.shelf]
top = "1"
`

// The page tells what was heard in the words of the check, how the kiln is wired, and no secret.
func TestSettingsPage(t *testing.T) {
	p, err := practice.OpenPty()
	if err != nil {
		t.Fatal(err)
	}
	defer p.Close()
	_, site := daemonOn(t, p.Path, wiredKiln)
	page := ""
	until(t, "a reading on the page", func() bool {
		p.Write([]byte("19.4,21.0,1\n"))
		page = read(t, site+"/settings")
		return strings.Contains(page, "19.4")
	})
	text := strings.Join(strings.Fields(regexp.MustCompile(`<[^>]*>`).ReplaceAllString(asRead(page), " ")),
		" ")
	for _, want := range []string{
		"port " + p.Path + " is open", "big-blue: received ", "last 1 19.4 °C, room 21.0 °C, vent 1 ",
		"is that about the room?", "Nothing. It only listens.",
		"Columns on " + p.Path + ", 9600 baud 8N1, expected every 1s.",
		"room room column 2 °C", "vent vent column 3 °C",
		// IEC 60584 class 1, type S, above 1100 °C: 1 + 0.003 (t - 1100), here 1.57 °C.
		"1 probe column 1 °C type S, class 1; new, ±1.6 °C at 1290 °C",
		"1 S, class 1 0.0 h over ", "fitted on 2026-01-06 Removed on Save", "top: 1 · any other: 1",
		"kiln.big-blue.limit_c = 1290.0", "https://example.org/...",
	} {
		if !strings.Contains(strings.ReplaceAll(strings.ReplaceAll(text, "&#34;", `"`), "&#39;", "'"), want) {
			t.Errorf("no %q in\n%s", want, text)
		}
	}
	if strings.Contains(page, "a-word-nobody-may-read") {
		t.Error("the page tells the address of a webhook, which is a secret")
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
	return binary.LittleEndian.AppendUint16(b, crc)
}

// The page shows a Modbus number in every order of its bytes: 0x44 98 D0 00 is 1222.5 as IEEE 754
// has it, sent here with its registers swapped.
func TestSettingsPageShowsEveryOrder(t *testing.T) {
	t.Parallel()
	p, err := practice.OpenPty()
	if err != nil {
		t.Fatal(err)
	}
	answering := make(chan struct{})
	go func() {
		defer close(answering)
		buf := make([]byte, 64)
		for t.Context().Err() == nil {
			p.SetReadDeadline(time.Now().Add(time.Second))
			if n, _ := p.Read(buf); n > 0 {
				p.Write(crc16([]byte{7, 3, 4, 0xd0, 0x00, 0x44, 0x98}))
			} else {
				time.Sleep(10 * time.Millisecond)
			}
		}
	}()
	t.Cleanup(func() { <-answering; p.Close() })
	_, site := daemonOn(t, p.Path, `[kiln.big-blue]
port = %q
reply = "modbus"
limit_c = 1290
[kiln.big-blue.channel.1]
unit = "c"
unit_id = 7
register = 16
type = "float32"
[kiln.big-blue.probe.1]
type = "K"
`)
	page := ""
	until(t, "the orders on the page", func() bool {
		page = read(t, site+"/settings")
		return strings.Contains(page, "cdab 1222.5")
	})
	for _, want := range []string{"unit 7, function 03, register 16, float32 abcd",
		"big-blue: reads", "(set)"} {
		if !strings.Contains(page, want) {
			t.Errorf("no %q in\n%s", want, page)
		}
	}
}
