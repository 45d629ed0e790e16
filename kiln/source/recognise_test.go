package source

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"strings"
	"testing"
	"testing/fstest"
	"testing/synctest"
	"time"

	"lidwright/kiln"
)

// What the lines of devices say by hand-made examples: reply, separator, comma and check, then each
// place with its number and unit. The check of the last ones is reckoned with sumOf, which
// TestChecksums holds against published values.
func TestRecognise(t *testing.T) {
	summed := func(kind, body string) string {
		if kind == "crc16" {
			return fmt.Sprintf("%s*%04X", body, sumOf(body, kind))
		}
		return fmt.Sprintf("%s*%02X", body, sumOf(body, kind))
	}
	for _, c := range []struct {
		name  string
		lines []string
		want  []string // each reading; nil: none
	}{
		{"one number", []string{"19.4", "19.5", "19.5"}, []string{`columns "," none: 1=19.5`}},
		{"one number with its unit", []string{"19.4 C", "19.5 C", "19.5 C"},
			[]string{`columns "," none: 1=19.5c`}},
		{"columns", []string{"19.4,20.1", "19.5,20.1", "19.5,20.2"},
			[]string{`columns "," none: 1=19.5 2=20.2`}},
		{"columns with a clock and words",
			[]string{"13:05:59;run;19.4", "13:06:00;run;19.5", "13:06:01;run;19.5"},
			[]string{`columns ";" none: 3=19.5`}},
		{"blanks", []string{"  19.4   20.1", "  19.4  120.1", "  19.4   20.1"},
			[]string{`columns " " none: 1=19.4 2=20.1`}},
		{"decimal commas", []string{"19,4;20,1", "19,4;20,2", "19,4;20,3"},
			[]string{`columns ";" comma none: 1=19.4 2=20.3`}},
		{"one number with a comma, or two", []string{"19,4", "19,5", "19,5"},
			[]string{`columns ";" comma none: 1=19.5`, `columns "," none: 1=19 2=5`}},
		{"keys", []string{"T1=19.4,T2=66.9F,run=yes", "T1=19.5,T2=66.9F,run=yes", "T1=19.5,T2=67.1F,run=yes"},
			[]string{`keyvalue "," none: T1=19.5 T2=67.1f`}},
		{"JSON", []string{`{"pv":{"top":19.4,"low":20},"on":false}`,
			`{"pv":{"top":19.4,"low":20},"on":false}`}, []string{`json "," none: pv.low=20 pv.top=19.4`}},
		{"an open couple now and then", []string{"19.4,20", "19.4,----", "19.4,21"},
			[]string{`columns "," none: 1=19.4 2=21`}},
		{"a header and a torn line", []string{"top,low", "19.4,20", "19.", "19.4,20", "19.4,20", "19.4,20",
			"19.4,20", "19.4,20", "19.4,20", "19.4,20"}, []string{`columns "," none: 1=19.4 2=20`}},
		{"xor", []string{summed("xor", "19.4,20"), summed("xor", "19.4,21"), summed("xor", "19.4,22")},
			[]string{`columns "," xor: 1=19.4 2=22`}},
		{"sum8", []string{summed("sum8", "19.4,20"), summed("sum8", "19.4,21"), summed("sum8", "19.4,22")},
			[]string{`columns "," sum8: 1=19.4 2=22`}},
		{"crc16", []string{summed("crc16", "19.4,20"), summed("crc16", "19.4,21")},
			[]string{`columns "," crc16: 1=19.4 2=21`}},
		{"no number", []string{"hello", "kiln ready", "?"}, nil},
		{"numbers that no kiln has", []string{"1735689600", "1735689601", "1735689602"}, nil},
		{"nothing", nil, nil},
	} {
		var got []string
		for _, r := range recognise(c.lines) {
			comma := ""
			if r.Kiln.DecimalComma {
				comma = " comma"
			}
			text := fmt.Sprintf("%s %q%s %s:", r.Kiln.Reply, r.Kiln.Separator, comma, r.Kiln.Checksum)
			for _, p := range r.Places {
				text += fmt.Sprintf(" %s=%v%s", p.From, p.Last, p.Unit)
			}
			got = append(got, text)
		}
		if strings.Join(got, "\n") != strings.Join(c.want, "\n") {
			t.Errorf("%s:\n got %q\nwant %q", c.name, got, c.want)
		}
	}
}

// What is recognised can be read: a line of settings made of it hears the number.
func TestRecognisedSettingsHold(t *testing.T) {
	r := recognise([]string{"a=19.4;b=20.0", "a=19.5;b=20.0", "a=19.5;b=20.0"})[0]
	k := r.Kiln
	k.ID, k.Every = "big-blue", time.Second
	for _, p := range r.Places {
		k.Channels = append(k.Channels, Channel{ID: kiln.ChannelID(p.From), From: p.From, Unit: "c",
			Scale: 1, Linearised: true})
	}
	if err := (Settings{Port: "/dev/x", Speed: 9600, Framing: "8N1",
		Kilns: []Kiln{k}}).Validate(); err != nil {
		t.Error(err)
	}
}

// lineAt plays text ten times a second to a port of any speed, as a receiver of that speed hears it,
// with a framing of its own.
func lineAt(sent int, parity func(byte) byte, text func(n int) string) (open func(Settings) (Port, error),
	wrote *int) {
	wrote = new(int)
	return func(s Settings) (Port, error) {
		p := newFakePort(func(*fakePort, []byte) { *wrote++ })
		for n := range 400 {
			raw := []byte(text(n))
			for i, b := range raw {
				raw[i] = parity(b)
				if s.Framing[0] == '7' {
					raw[i] = b
				}
			}
			p.later(time.Duration(n)*100*time.Millisecond, receive(wire(raw), float64(sent)/float64(s.Speed)))
		}
		return p, nil
	}, wrote
}

func plainByte(b byte) byte { return b }

func evenByte(b byte) byte {
	for c := b; c != 0; c &= c - 1 {
		b ^= 0x80
	}
	return b
}

func TestHearFindsTheSpeed(t *testing.T) {
	for _, sent := range []int{1200, 4800, 9600, 19200, 115200} {
		for framing, parity := range map[string]func(byte) byte{"8N1": plainByte, "7E1": evenByte} {
			synctest.Test(t, func(t *testing.T) {
				open, wrote := lineAt(sent, parity, func(n int) string {
					return fmt.Sprintf("%.1f,%.1f\r\n", 500+float64(n), 480+float64(n))
				})
				var told []string
				l := Listener{Open: open, Patience: 20 * time.Second,
					Tell: func(s string) { told = append(told, s) }}
				h, err := l.Hear(t.Context(), "/dev/x")
				if err != nil {
					t.Errorf("%d %s: %v; tried %v", sent, framing, err, told)
					return
				}
				if h.Speed != sent || h.Framing != framing || h.Every > 200*time.Millisecond ||
					len(h.Readings[0].Places) != 2 {
					t.Errorf("%d %s: %+v; tried %v", sent, framing, h, told)
				}
				if *wrote != 0 {
					t.Errorf("%d bytes were sent to an unknown device", *wrote)
				}
			})
		}
	}
}

// The pace that is heard is that of the device, wherever the first line was cut: lines are left out that come
// twice as fast as the settings say.
func TestHearFindsThePace(t *testing.T) {
	for _, every := range []time.Duration{100 * time.Millisecond, 500 * time.Millisecond, time.Second,
		2 * time.Second, 10 * time.Second} {
		for _, cut := range []int{0, 3, 9} { // bytes of the first line that were missed
			synctest.Test(t, func(t *testing.T) {
				open := func(Settings) (Port, error) {
					p := newFakePort(nil)
					for n := range 60 {
						line := fmt.Sprintf("%d,%.1f\r\n", 100+n, 19.4+float64(n%3)/10)
						if n == 0 {
							line = line[cut:]
						}
						p.later(time.Duration(n)*every+300*time.Millisecond, []byte(line))
					}
					return p, nil
				}
				h, err := Listener{Open: open, Patience: 65 * time.Second,
					Tell: func(string) {}}.Hear(t.Context(), "/dev/x")
				if err != nil || h.Every != every {
					t.Errorf("a line each %v, %d bytes missed: heard %v, %v", every, cut, h.Every, err)
				}
			})
		}
	}
}

// What counts up by the same step is told from what a kiln says.
func TestCountersAreTold(t *testing.T) {
	for _, c := range []struct {
		lines []string
		want  string // counters
	}{
		{[]string{"1,19.4", "2,19.4", "3,19.5"}, "1"},
		{[]string{"7;19.4;120", "8;19.4;180", "9;19.5;240"}, "1 3"},
		{[]string{"19.4", "19.5", "19.6"}, ""}, // a tenth a line is what a kiln may do
		{[]string{"19,5", "20,5", "22,5"}, ""},
		{[]string{"1,19.4", "2,19.4"}, ""}, // too few to tell
		{[]string{`{"n":41,"t":19.4}`, `{"n":42,"t":19.4}`, `{"n":43,"t":19.4}`}, "n"},
	} {
		var got []string
		for _, p := range recognise(c.lines)[0].Places {
			if p.Counts {
				got = append(got, p.From)
			}
		}
		if strings.Join(got, " ") != c.want {
			t.Errorf("%q: counters %v, want %s", c.lines, got, c.want)
		}
	}
}

func TestHearNothing(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		silent := func(Settings) (Port, error) { return newFakePort(nil), nil }
		_, err := Listener{Open: silent, Patience: time.Minute, Tell: func(string) {}}.Hear(t.Context(),
			"/dev/x")
		if !errors.Is(err, ErrSilent) {
			t.Errorf("silence: %v", err)
		}
		words := 0
		open, _ := lineAt(9600, plainByte, func(n int) string {
			return fmt.Sprintf("no number here, %c\r\n", 'a'+n%26)
		})
		_, err = Listener{Open: open, Patience: time.Minute, Tell: func(string) { words++ }}.Hear(t.Context(),
			"/dev/x")
		if !errors.Is(err, ErrUnknown) || words < 9 {
			t.Errorf("words: %v after %d speeds", err, words)
		}
		ctx, stop := context.WithCancel(t.Context())
		stop()
		if _, err = (Listener{Open: silent, Patience: time.Minute, Tell: func(string) {}}).Hear(ctx,
			"/dev/x"); !errors.Is(err, context.Canceled) {
			t.Errorf("stopped: %v", err)
		}
	})
}

func TestPorts(t *testing.T) {
	link := func(to string) *fstest.MapFile {
		return &fstest.MapFile{Data: []byte(to), Mode: fs.ModeSymlink | 0o777}
	}
	got := fmt.Sprint(Ports(fstest.MapFS{
		"serial/by-id/usb-adapter-if00-port0":      link("../../ttyUSB0"),
		"serial/by-path/platform-usb-0:1.3:1.0-p0": link("../../ttyUSB0"),
		"serial/by-path/platform-usb-0:1.4:1.0-p0": link("../../ttyUSB1"),
		"ttyUSB0": {}, "ttyUSB1": {}, "ttyUSB2": {}, "ttyAMA0": {}, "tty1": {}, "null": {},
	}))
	want := "[{/dev/serial/by-id/usb-adapter-if00-port0 ttyUSB0 true} {/dev/serial/by-path/platform-usb-0:1.4:1.0-p0 ttyUSB1 true} {/dev/ttyAMA0 ttyAMA0 true} {/dev/ttyUSB2 ttyUSB2 false}]"
	if got != want {
		t.Errorf("got  %s\nwant %s", got, want)
	}
	for device, want := range map[string]bool{"/dev/ttyUSB0": true, "/dev/ttyACM12": true,
		"/dev/ttyAMA0": true, "/dev/ttySC1": true, "/dev/ttyS0": true, "/dev/ttyS3": true,
		"/dev/ttyS4": false, "/dev/tty1": false, "/dev/ttyUSB": false, "/dev/ttyUSB0x": false,
		"/dev/pts/3": false, "/dev/ttyGS0": false, "ttyUSB0": false, "": false} {
		if ServiceMayOpen(device) != want {
			t.Errorf("%s: may be opened by the service: %v, want %v", device, !want, want)
		}
	}
	if none := Ports(fstest.MapFS{}); none != nil {
		t.Errorf("an empty /dev has %v", none)
	}
}
