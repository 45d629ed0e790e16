package practice

import (
	"bytes"
	"context"
	"errors"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"golang.org/x/sys/unix"
)

func said(k *Kiln, after time.Duration) string { return string(k.Said(after)) }

func TestKilnSays(t *testing.T) {
	c := Curve{Programme: MustParse("20>920@900 h60")}
	other := c
	other.Off = 5
	k := &Kiln{Curves: []Curve{c, other}, Seed: 3, Faults: []Fault{
		{What: Quiet, From: 10 * time.Minute, To: 11 * time.Minute},
		{What: Open, From: 20 * time.Minute, To: 21 * time.Minute, Channel: 1},
		{What: Open, From: 22 * time.Minute, To: 23 * time.Minute, Text: "1372.0"},
		{What: Spiked, From: 30 * time.Minute, To: 31 * time.Minute, Share: 1, By: 400},
		{What: Stuck, From: 40 * time.Minute, To: 50 * time.Minute},
		{What: InF, From: 50 * time.Minute, To: 51 * time.Minute},
		{What: Inverted, From: 52 * time.Minute, To: 53 * time.Minute},
		{What: Drifting, From: 60 * time.Minute, To: 180 * time.Minute, By: -5},
	}}
	for after, want := range map[time.Duration]string{
		0: "20.0,25.0\r\n", 6 * time.Minute: "110.0,115.0\r\n",
		10 * time.Minute: "", 20 * time.Minute: "320.0,OPEN\r\n", 22 * time.Minute: "1372.0,355.0\r\n",
		30 * time.Minute: "870.0,475.0\r\n", 48 * time.Minute: "620.0,745.0\r\n",
		50 * time.Minute: "1418.0,775.0\r\n", 52 * time.Minute: "-760.0,805.0\r\n",
		120 * time.Minute: "915.0,925.0\r\n",
	} {
		if got := said(k, after); got != want {
			t.Errorf("at %v: %q, want %q", after, got, want)
		}
	}
	if k.True(1, 30*time.Minute) != 475 {
		t.Errorf("the truth has faults in it: %v", k.True(1, 30*time.Minute))
	}
}

func TestGarbled(t *testing.T) {
	k := &Kiln{Curves: []Curve{{Programme: MustParse("20>920@900")}}, Seed: 3,
		Faults: []Fault{{What: Garbled, To: time.Hour, Share: 0.2}}}
	clean := &Kiln{Curves: k.Curves}
	spoilt := 0
	for i := range 3000 {
		after := time.Duration(i) * time.Second
		if said(k, after) != said(clean, after) {
			spoilt++
		}
	}
	if spoilt < 500 || spoilt > 700 { // 600 ± 4.5 standard deviations of 21.9
		t.Errorf("%d of 3000 lines garbled, want about 600", spoilt)
	}
}

// The whole kiln down a real pseudo terminal, unplugged once on the way, as fast as it is read.
func TestRun(t *testing.T) {
	plug := &Plug{Link: filepath.Join(t.TempDir(), "kiln")}
	defer plug.Unplug()
	k := &Kiln{Curves: []Curve{{Programme: MustParse("20>80@3600")}},
		Faults: []Fault{{What: Unplug, From: 20 * time.Second, To: 25 * time.Second}}}
	var waited []time.Duration
	var seen []string
	k.Factor = 60
	k.Wait = func(_ context.Context, d time.Duration) error {
		waited = append(waited, d)
		if line := plug.Line(); line == nil {
			seen = append(seen, "out")
		} else if len(seen) == 0 || seen[len(seen)-1] != line.Path {
			seen = append(seen, line.Path)
		}
		return nil
	}
	if err := k.Run(context.Background(), plug); err != nil {
		t.Fatal(err)
	}
	if len(waited) != 61 || waited[0] != time.Second/60 {
		t.Errorf("waited %d times, first %v", len(waited), waited[0])
	}
	if len(seen) != 7 || seen[1] != "out" || seen[0] == seen[6] {
		t.Errorf("lines %v", seen)
	}
	stop, cancel := context.WithCancel(context.Background())
	cancel()
	k.Wait = nil
	if err := k.Run(stop, plug); !errors.Is(err, context.Canceled) {
		t.Errorf("stopped with %v", err)
	}
}

// A line that cannot be plugged in ends the run with what is wrong.
func TestRunWithoutALine(t *testing.T) {
	plug := &Plug{Link: filepath.Join(t.TempDir(), "no such folder", "kiln")}
	k := &Kiln{Curves: []Curve{{Programme: MustParse("20>80@3600")}},
		Wait: func(context.Context, time.Duration) error { return nil }}
	if err := k.Run(context.Background(), plug); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("ended with %v", err)
	}
}

// Damage leaves the line that it is given alone, loses or doubles at most three bytes, and of what stays
// turns single bits.
func TestDamage(t *testing.T) {
	dice, line := rand.New(rand.NewPCG(5, 0)), []byte("20.0,25.0\r\n")
	same, shorter, longer, turned := 0, 0, 0, 0
	for range 3000 {
		got := Damage(line, dice)
		if string(line) != "20.0,25.0\r\n" {
			t.Fatalf("the line itself is %q now", line)
		}
		switch n := len(got) - len(line); {
		case n < -3 || n > 3:
			t.Fatalf("%q is damaged by %d bytes", got, n)
		case n < 0:
			shorter++
		case n > 0:
			longer++
		case bytes.Equal(got, line):
			same++
		default:
			turned++
		}
	}
	if same > 150 || shorter < 600 || longer < 600 || turned < 600 { // two changes seldom undo each other
		t.Errorf("%d as they were, %d shorter, %d longer, %d changed", same, shorter, longer, turned)
	}
	if got := Damage(nil, dice); len(got) != 0 {
		t.Errorf("nothing became %q", got)
	}
}

func TestPty(t *testing.T) {
	p, err := OpenPty()
	if err != nil {
		t.Fatal(err)
	}
	defer p.Close()
	if p.Listened() {
		t.Error("heard by nobody, and says it is")
	}
	if n, err := p.Write([]byte("lost\r\n")); n != 6 || err != nil {
		t.Errorf("to nobody: %d %v", n, err)
	}
	other := open(t, p.Path)
	if !p.Listened() {
		t.Error("somebody listens, and it does not know")
	}
	// The line is raw, of eight bits, and a read waits for the first byte.
	set, err := unix.IoctlGetTermios(int(other.Fd()), unix.TCGETS)
	if err != nil || set.Iflag != 0 || set.Oflag != 0 || set.Lflag != 0 ||
		set.Cflag&(unix.CSIZE|unix.PARENB) != unix.CS8 || set.Cc[unix.VMIN] != 1 || set.Cc[unix.VTIME] != 0 {
		t.Errorf("settings of the line: %+v, %v", set, err)
	}
	p.Write([]byte("20.5\r\n"))
	buf := make([]byte, 100)
	n, err := other.Read(buf)
	if string(buf[:n]) != "20.5\r\n" || err != nil {
		t.Errorf("came through as %q, %v", buf[:n], err)
	}
	other.Write([]byte("T?\n"))
	n, err = p.Read(buf)
	if string(buf[:n]) != "T?\n" || err != nil {
		t.Errorf("came back as %q, %v", buf[:n], err)
	}
	// A listener that does not read holds nobody up for ever.
	if n, err := p.Write([]byte(strings.Repeat("x", 1<<17))); n != 1<<17 || err != nil {
		t.Errorf("to a listener that does not read: %d %v", n, err)
	}
	p.Close()
	if _, err := other.Write([]byte("T?\n")); err == nil {
		t.Error("unplugged, and still takes bytes")
	}
}

func open(t *testing.T, path string) *os.File {
	t.Helper()
	f, err := os.OpenFile(path, os.O_RDWR, 0)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { f.Close() })
	return f
}
