package source

import (
	"context"
	"fmt"
	"io"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"lidwright/kiln"
	"lidwright/kiln/practice"
)

// A line from bytes to sample. A flood of 1,000 lines a second costs a thousand times this a
// second; at 0.05 s of it the goal of 5 % of a core is used up.
func BenchmarkLine(b *testing.B) {
	for _, c := range []struct{ reply, line string }{
		{"columns", "1222.5,1210.0,1215.5\r\n"},
		{"json", `{"a":1222.5,"b":1210.0,"c":1215.5}` + "\r\n"},
	} {
		b.Run(c.reply, func(b *testing.B) {
			s := columnsOn("x")
			k := &s.Kilns[0]
			k.Reply, k.Every = c.reply, time.Nanosecond
			k.Channels = nil
			for i, from := range []string{"a", "b", "c"} {
				if c.reply == "columns" {
					from = fmt.Sprint(i + 1)
				}
				k.Channels = append(k.Channels, Channel{ID: kiln.ChannelID(from), From: from, Unit: "c",
					Scale: 1, Linearised: true})
			}
			out := make(chan kiln.Sample, 1024)
			src, err := New(s, steps(), out)
			if err != nil {
				b.Fatal(err)
			}
			data := strings.Repeat(c.line, b.N)
			src.Open = func(Settings) (Port, error) {
				return Played(io.NopCloser(strings.NewReader(data))),
					nil
			}
			b.ReportAllocs()
			b.ResetTimer()
			go func() { src.Run(context.Background()); close(out) }()
			n := 0
			for range out {
				n++
			}
			if n != b.N {
				b.Fatalf("%d samples of %d lines", n, b.N)
			}
		})
	}
}

// One attempt to open a device that is not there. While it is gone there is one in two seconds, so
// that the share of a core is this over 2 s.
func BenchmarkOpenMissing(b *testing.B) {
	s := columnsOn("/dev/serial/by-id/not-there")
	for b.Loop() {
		if _, err := OpenPort(s); err == nil {
			b.Fatal("it is there")
		}
	}
}

// Heard again after the device's return, in real time and with the real pauses: the device is out
// for three seconds, so that the pauses have grown to their longest.
func BenchmarkReplug(b *testing.B) {
	plug := &practice.Plug{Link: filepath.Join(b.TempDir(), "by-id-kiln")}
	if err := plug.Plug(); err != nil {
		b.Fatal(err)
	}
	defer plug.Unplug()
	out := make(chan kiln.Sample, 100)
	src, err := New(columnsOn(plug.Link), boot(), out)
	if err != nil {
		b.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	ended := make(chan struct{})
	go func() { src.Run(ctx); close(ended) }()
	defer func() { cancel(); <-ended }()
	heard := func() {
		for {
			plug.Write([]byte("20.5\r\n"))
			select {
			case <-out:
				return
			case <-time.After(50 * time.Millisecond):
			}
		}
	}
	heard()
	worst := time.Duration(0)
	for b.Loop() {
		plug.Unplug()
		time.Sleep(3 * time.Second)
		for len(out) > 0 {
			<-out
		}
		begin := time.Now()
		if err := plug.Plug(); err != nil {
			b.Fatal(err)
		}
		heard()
		worst = max(worst, time.Since(begin))
	}
	b.ReportMetric(worst.Seconds(), "worst-s")
}
