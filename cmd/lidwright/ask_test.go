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
	if diff := cmp.Diff([][]string{{"BAR"}, {"BQ7"}}, fitted(rows, 5)); diff != "" {
		t.Errorf("on five columns not the names alone:\n%s", diff)
	}
	dated := [][]string{{"FIRING", "BEGAN", "ID"}, {"big-blue 15", "2026-11-30T13:28:08Z", "01a22dda-c1d5"}}
	want := [][]string{{"FIRING", "BEGAN"}, {"big-blue 15", "2026-11-30…"}}
	if diff := cmp.Diff(want, fitted(dated, 24)); diff != "" {
		t.Errorf("the id goes first, the name stays, the day can be read:\n%s", diff)
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
