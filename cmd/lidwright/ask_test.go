package main

import (
	"context"
	"os"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/google/go-cmp/cmp"
)

// A table is no wider than the terminal: the widest column is cut, and one that fits stays as it is.
func TestTableFitsTheTerminal(t *testing.T) {
	rows := [][]string{{"BAR", "NOTE", "SAYS"}, {"BQ7", strings.Repeat("ö", 60),
		"a shorter text of thirty signs"}}
	for _, width := range []int{100, 80, 60, 40} {
		cut := fitted(rows, width)
		n := 2 * (len(rows[0]) - 1)
		for i := range rows[0] {
			n += max(utf8.RuneCountInString(cut[0][i]), utf8.RuneCountInString(cut[1][i]))
		}
		if n > width || cut[1][0] != "BQ7" || width < 90 && !strings.HasSuffix(cut[1][1], "ö…") {
			t.Errorf("on %d columns it is %d wide: %q", width, n, cut)
		}
	}
	if diff := cmp.Diff(rows, fitted(rows, 120)); diff != "" {
		t.Errorf("one that fits is cut:\n%s", diff)
	}
	if cut := fitted(rows, 5); utf8.RuneCountInString(cut[1][1]) != narrowest {
		t.Errorf("on five columns: %q", cut)
	}
}

// Ctrl-C ends a command with one word and exit code 1, as an answer in JSON where that is asked for.
func TestCtrlCIsNoFault(t *testing.T) {
	ctx, stop := context.WithCancel(t.Context())
	stop()
	for flag, want := range map[string]string{"--plain": "lidwright: stopped\n",
		"--json": `{"type":"about:blank","title":"stopped","exit_code":1}` + "\n"} {
		out, err := os.CreateTemp(t.TempDir(), "")
		if err != nil {
			t.Fatal(err)
		}
		if code := run(ctx, []string{"now", flag, "--site", "127.0.0.1:9"}, out, out); code != exitFailed {
			t.Errorf("%s: exit code %d", flag, code)
		}
		if b, err := os.ReadFile(out.Name()); err != nil || string(b) != want {
			t.Errorf("%s: %q, %v", flag, b, err)
		}
	}
}
