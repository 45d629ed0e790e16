package practice

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"golang.org/x/sys/unix"
)

// Any bytes at any ages come back from the text as they were.
func TestRecordingKeepsEveryByte(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		text := "# about\n#\n"
		var want []LineEvent
		age := time.Duration(0)
		for range rapid.IntRange(1, 8).Draw(t, "events") {
			age += time.Duration(rapid.IntRange(0, 5000).Draw(t, "ms")) * time.Millisecond
			e := LineEvent{After: age, What: rapid.SampledFrom([]string{Opened, Gone, Received, Sent}).Draw(t,
				"what")}
			if e.What == Received || e.What == Sent {
				e.Bytes = rapid.OneOf(rapid.SliceOf(rapid.Byte()),
					rapid.Map(rapid.String(), func(s string) []byte { return []byte(s) })).Draw(t, "bytes")
			}
			want = append(want, e)
			text += e.String() + "\n"
		}
		for _, b := range []byte(text) {
			if b > 126 {
				t.Fatalf("%q is not plain text", text)
			}
		}
		got, err := ReadRecording(strings.NewReader(text))
		if err != nil || len(got.Events) != len(want) || !slices.Equal(got.About, []string{"about", ""}) {
			t.Fatalf("%v %q\n%s", err, got.About, text)
		}
		for i, e := range got.Events {
			if e.After != want[i].After || e.What != want[i].What ||
				string(e.Bytes) != string(want[i].Bytes) {
				t.Fatalf("%v came back as %v", want[i], e)
			}
		}
	})
}

func TestRecordingAtFault(t *testing.T) {
	for text, want := range map[string]string{
		"":                             "nothing is recorded",
		"# a\n":                        "nothing is recorded",
		"x opened\n":                   "line 1 of the recording",
		"0.1 opened\n0.0 gone\n":       "line 2 of the recording: it is earlier",
		"0.1 written \"a\"\n":          "an event is opened",
		"0.1 received a\n":             "quotes",
		"0.1 received 'a'\n":           "quotes",
		"0.1 received `a`\n":           "quotes",
		"0.1 received\n":               "quotes",
		"0.1 opened x\n":               "an event is opened",
		"NaN received \"a\"\n":         "age",
		"1e300 received \"a\"\n":       "age",
		"-1 received \"a\"\n":          "age",
		"0 received \"a\" and more\n":  "quotes",
		strings.Repeat("a", 1<<17):     "cannot be read",
		"# \x00\n0.1 received \"\\x\"": "line 2",
	} {
		if _, err := ReadRecording(strings.NewReader(text)); err == nil || !strings.Contains(err.Error(),
			want) {
			t.Errorf("%.30q: %v, want %q", text, err, want)
		}
	}
}

// held opens the plug's device raw and gives its descriptor.
func held(t *testing.T, p *Plug) int {
	t.Helper()
	for i := 0; ; i++ {
		fd, err := unix.Open(p.Link, unix.O_RDWR|unix.O_NOCTTY|unix.O_CLOEXEC, 0)
		if err == nil {
			return fd
		}
		if i == 15_000 { // five minutes
			t.Fatal(err)
		}
		time.Sleep(20 * time.Millisecond)
	}
}

// What was received before a question comes unasked, what came after it only when it is asked again; another
// question gets nothing; the line goes away and comes back where it did.
func TestPlayAnswers(t *testing.T) {
	text := `0.000 opened
0.010 received "hello\n"
0.020 sent "T?\n"
0.030 received "850.5\n"
0.040 sent "T?\n"
0.050 sent "U?\n"
0.060 received "21.0\n"
0.065 sent "V?\n"
0.070 gone
0.080 opened
0.090 received "again\n"
`
	r, err := ReadRecording(strings.NewReader(text))
	if err != nil {
		t.Fatal(err)
	}
	plug := &Plug{Link: t.TempDir() + "/line"}
	if err := plug.Plug(); err != nil {
		t.Fatal(err)
	}
	ended := make(chan error, 1)
	go func() { ended <- r.Play(t.Context(), plug) }()
	fd := held(t, plug)
	want := func(text string) {
		t.Helper()
		got, buf := "", make([]byte, 64)
		for len(got) < len(text) {
			n, err := unix.Read(fd, buf)
			if err != nil && !errors.Is(err, unix.EINTR) {
				t.Fatalf("%q, then %v", got, err)
			}
			got += string(buf[:max(n, 0)])
		}
		if got != text {
			t.Fatalf("%q, want %q", got, text)
		}
	}
	say := func(text string) {
		if _, err := unix.Write(fd, []byte(text)); err != nil {
			t.Fatal(err)
		}
	}
	want("hello\n")
	say("WRITE\n") // was never asked: no answer
	time.Sleep(100 * time.Millisecond)
	say("T?\n")
	want("850.5\n")
	say("U?\n") // one question that nobody answered is passed over
	want("21.0\n")
	say("V?\n")
	for n, err := 1, error(nil); err == nil && n > 0 || errors.Is(err, unix.EINTR); {
		n, err = unix.Read(fd, make([]byte, 8)) // until it is gone
	}
	unix.Close(fd)
	fd = held(t, plug)
	want("again\n")
	unix.Close(fd)
	if err := <-ended; err != nil {
		t.Error(err)
	}
	plug.Unplug()
}

// Ages count from the first event, whenever that was; a recording in which nothing happened is over at once.
func TestPlayBeginsWithTheFirstEvent(t *testing.T) {
	for _, r := range []Recording{{}, {Events: []LineEvent{{After: 300 * time.Hour, What: Received,
		Bytes: []byte("late\n")}}}} {
		plug := &Plug{Link: t.TempDir() + "/line"}
		if err := plug.Plug(); err != nil {
			t.Fatal(err)
		}
		fd := held(t, plug)
		if err := r.Play(t.Context(), plug); err != nil {
			t.Error(err)
		}
		if buf := make([]byte, 16); len(r.Events) > 0 {
			if n, err := unix.Read(fd, buf); err != nil || string(buf[:n]) != "late\n" {
				t.Errorf("%q came, %v", buf[:max(n, 0)], err)
			}
		}
		unix.Close(fd)
		plug.Unplug()
	}
}

// Nobody listens, or the question never comes: the end of ctx ends it.
func TestPlayEndsWithItsContext(t *testing.T) {
	for _, open := range []bool{false, true} {
		r := Recording{Events: []LineEvent{{What: Opened}, {What: Sent, Bytes: []byte("T?")}}}
		plug := &Plug{Link: fmt.Sprintf("%s/line", t.TempDir())}
		if err := plug.Plug(); err != nil {
			t.Fatal(err)
		}
		if open {
			fd := held(t, plug)
			defer unix.Close(fd)
		}
		ctx, stop := context.WithCancel(t.Context())
		ended := make(chan error, 1)
		go func() { ended <- r.Play(ctx, plug) }()
		time.Sleep(50 * time.Millisecond)
		stop()
		if err := <-ended; !errors.Is(err, context.Canceled) {
			t.Errorf("%v", err)
		}
		plug.Unplug()
	}
}
