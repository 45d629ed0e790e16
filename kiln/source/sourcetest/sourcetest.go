// Package sourcetest helps tests to listen to a line without one: it plays a recorded line back and
// stamps it at whatever speed a test likes.
//
// In flow a file of testdata and a clock of the test's own; out flows a source.Port that gives the bytes of
// the recording as they came, and stamps a second apart.
//
// It is for tests alone, and opens nothing but the files that it is given.
package sourcetest

import (
	"bytes"
	"io"
	"os"
	"sync/atomic"
	"testing"
	"time"

	"lidwright/kiln"
	"lidwright/kiln/source"
)

// Playback is an Open that plays the file back, as a line that is over at its end. The test fails
// if there is no such file.
func Playback(t testing.TB, file string) func(source.Settings) (source.Port, error) {
	t.Helper()
	data, err := os.ReadFile(file)
	if err != nil {
		t.Fatalf("recorded line: %v", err)
	}
	return Lines(data)
}

// Lines is an Open that plays the bytes back.
func Lines(data []byte) func(source.Settings) (source.Port, error) {
	return func(source.Settings) (source.Port, error) {
		return source.Played(io.NopCloser(bytes.NewReader(data))), nil
	}
}

// EverySecond is a Now that gives start first and a second more with each call. Since a Source
// asks once for each line, lines come a second apart however fast they are played.
func EverySecond(start kiln.Stamp) func() kiln.Stamp { return Every(start, time.Second) }

// Every is EverySecond with another step.
func Every(start kiln.Stamp, step time.Duration) func() kiln.Stamp {
	var calls atomic.Int64
	return func() kiln.Stamp {
		d := time.Duration(calls.Add(1)-1) * step
		s := start
		s.Since += d
		s.Wall = start.Wall.Add(d)
		return s
	}
}
