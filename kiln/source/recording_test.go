package source_test

import (
	"context"
	"flag"
	"fmt"
	"os"
	"testing"
	"time"

	"lidwright/kiln"
	"lidwright/kiln/practice"
	"lidwright/kiln/source"
	"lidwright/kiln/source/sourcetest"
)

var update = flag.Bool("update", false, "write testdata/broken-element.log anew")

const recording = "testdata/broken-element.log"

// brokenElement is the morning of the recording: a bisque that does not get past 700 °C, with one
// line in twenty garbled, the couple open for a minute and a spike or two.
func brokenElement() *practice.Kiln {
	c := practice.Curve{Programme: practice.MustParse("20>600@150 >700@60 h60"),
		Noise: 0.15, Step: 0.1, Seed: 11}
	low := c
	low.Off, low.Seed = -12, 12
	return &practice.Kiln{Curves: []practice.Curve{c, low}, Every: 10 * time.Second, Seed: 11,
		Faults: []practice.Fault{
			{What: practice.Garbled, To: 100 * time.Hour, Share: 0.05},
			{What: practice.Open, From: 3 * time.Hour, To: 3*time.Hour + time.Minute},
			{What: practice.Spiked, From: 4 * time.Hour, To: 5 * time.Hour, Share: 0.01, By: 400},
		}}
}

// The recording is played back, garbled bytes and all: nearly every good line is heard, the open
// couple is one, and most readings are the true ones.
func TestRecording(t *testing.T) {
	k := brokenElement()
	if *update {
		f, err := os.Create(recording)
		if err != nil {
			t.Fatal(err)
		}
		for after := time.Duration(0); after < k.Length(); after += k.Every {
			f.Write(k.Said(after))
		}
		if err := f.Close(); err != nil {
			t.Fatal(err)
		}
	}
	s := oneKiln(func(k *source.Kiln) { k.Channels = append(k.Channels, channel("2", "2", nil)) })
	out := make(chan kiln.Sample, 1<<12)
	src, err := source.New(s, sourcetest.EverySecond(start), out)
	if err != nil {
		t.Fatal(err)
	}
	src.Open = sourcetest.Playback(t, recording)
	if err := src.Run(context.Background()); err != nil {
		t.Fatal(err)
	}
	h := src.Heard().Kilns[0]
	lines := uint64(k.Length() / k.Every)
	if h.Garbled < lines/50 || h.Garbled > lines/15 || h.Good+h.Garbled+h.Breakvalue < lines*98/100 ||
		h.Breakvalue < 5 {
		t.Errorf("of %d lines %d good, %d garbled, %d with an open couple", lines, h.Good,
			h.Garbled, h.Breakvalue)
	}
	for _, b := range h.BadLines {
		if b.Why.IsZero() || b.Line == "" {
			t.Errorf("bad line %+v", b)
		}
	}
}

// The setting reply = "replay" plays a file at the pace of every.
func TestReplay(t *testing.T) {
	s := oneKiln(func(k *source.Kiln) {
		k.Reply, k.Every = "replay", 10*time.Second
		k.Channels = append(k.Channels, channel("2", "2", nil))
	})
	s.Port = recording
	out := make(chan kiln.Sample, 1<<12)
	var now time.Duration
	src, err := source.New(s, func() kiln.Stamp { return kiln.Stamp{Boot: "b1", Since: now} }, out)
	if err != nil {
		t.Fatal(err)
	}
	src.Sleep = func(_ context.Context, d time.Duration) error { now += d; return nil }
	if err := src.Run(context.Background()); err != nil {
		t.Fatal(err)
	}
	h := src.Heard()
	if h.State != source.PortOver || h.Kilns[0].Crowded != 0 || len(out) < 1000 {
		t.Errorf("%s, %d samples, %d left out", h.State, len(out), h.Kilns[0].Crowded)
	}
	if length := brokenElement().Length(); now < length*95/100 || now > length*105/100 {
		t.Errorf("%v played in %v", length, now)
	}
	s.Port = "testdata/not-there.log"
	if src, err = source.New(s, sourcetest.EverySecond(start), out); err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	src.Sleep = func(context.Context, time.Duration) error { cancel(); return ctx.Err() }
	if err := src.Run(ctx); err == nil {
		t.Error("a recording that is not there was played")
	}
	if b := src.Heard(); b.Opened != 0 || b.Kilns[0].Ever {
		t.Errorf("%+v", b)
	}
}

// Listening as the daemon does it: make a channel and a Source, swap what a test swaps, Run.
func ExampleSource() {
	samples := make(chan kiln.Sample, 10)
	src, err := source.New(source.Settings{
		Port: "/dev/serial/by-id/usb-kiln", Speed: 9600, Framing: "8N1",
		Kilns: []source.Kiln{{
			ID: "big-blue", Every: time.Second, Reply: "columns", Separator: ",", Terminator: "\n",
			Channels: []source.Channel{{ID: "1", From: "1", Unit: "c", Scale: 1,
				Linearised: true, Role: kiln.RoleProbe}},
		}},
	}, sourcetest.EverySecond(kiln.Stamp{Boot: "b1"}), samples)
	if err != nil {
		fmt.Println(err)
		return
	}
	src.Open = sourcetest.Lines([]byte("850.5\r\n85x.6\r\n850.7\r\n"))
	src.Run(context.Background())
	close(samples)
	for s := range samples {
		fmt.Printf("%s after %v: %.1f °C\n", s.Kiln, s.At.Since, s.Values[0].T)
	}
	// Output:
	// big-blue after 1s: 850.5 °C
	// big-blue after 3s: 850.7 °C
}
