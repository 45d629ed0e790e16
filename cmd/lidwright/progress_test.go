package main

import (
	"io"
	"os"
	"strings"
	"testing"
	"time"

	"github.com/spf13/cobra"

	"lidwright/kiln/practice"
)

// On a terminal an import counts its rows, and a copy, a carry and what is put back show that they go on,
// until they are over; what they showed is wiped off. Elsewhere they show nothing.
func TestProgressOnATerminal(t *testing.T) {
	pty, err := practice.OpenPty()
	if err != nil {
		t.Fatal(err)
	}
	defer pty.Close()
	terminal, err := os.OpenFile(pty.Path, os.O_RDWR, 0)
	if err != nil {
		t.Fatal(err)
	}
	defer terminal.Close()
	pty.SetReadDeadline(time.Now().Add(2 * time.Minute)) // against hanging alone
	shown := make(chan string)
	go func() {
		defer close(shown)
		for b := make([]byte, 4096); ; {
			n, err := pty.Read(b)
			if err != nil {
				return
			}
			shown <- string(b[:n])
		}
	}()
	until := func(want string) {
		t.Helper()
		all := ""
		for text := range shown {
			if all += text; strings.Contains(all, want) {
				return
			}
		}
		t.Errorf("%q was never shown: %q", want, all)
	}
	c := &cobra.Command{}
	c.SetErr(terminal)

	told, over := progressOn(c, "rows")
	told(3, 12)
	until("3/12")
	over()
	until("\r")

	end := works(c, "Copying")
	until("Copying")
	until("Copying") // it moves
	end()

	out, err := os.CreateTemp(t.TempDir(), "")
	if err != nil {
		t.Fatal(err)
	}
	c.SetErr(out)
	told, over = progressOn(c, "rows")
	told(1, 2)
	over()
	works(c, "Copying")()
	out.Seek(0, io.SeekStart)
	if b, err := io.ReadAll(out); err != nil || len(b) > 0 {
		t.Errorf("in a file: %q, %v", b, err)
	}
}
