package main

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/rogpeppe/go-internal/testscript"

	"lidwright/config"
	"lidwright/daemon"
)

// block is the code block of README that begins with these words.
func block(t *testing.T, begins string) string {
	t.Helper()
	b, err := os.ReadFile("../../README.md")
	if err != nil {
		t.Fatal(err)
	}
	_, rest, found := strings.Cut(string(b), "\n```\n"+begins)
	text, _, ended := strings.Cut(rest, "\n```\n")
	if !found || !ended {
		t.Fatalf("README has no block that begins with %q", begins)
	}
	return begins + text + "\n"
}

// TestReadmeBars runs the commands of README's first bars, first lids and lids on their pots, in an empty
// store, as they stand: they end in a rate that rests on the bars typed, and in a board of lids that counts.
func TestReadmeBars(t *testing.T) {
	folder := t.TempDir()
	file := filepath.Join(folder, "lidwright.toml")
	if err := os.WriteFile(file, fmt.Appendf(nil, "[store]\nfolder = %q\n", filepath.Join(folder, "store")),
		0o600); err != nil {
		t.Fatal(err)
	}
	if err := os.Mkdir(filepath.Join(folder, "store"), 0o700); err != nil {
		t.Fatal(err)
	}
	cfg, err := config.Load(file, nil, nil)
	if err != nil {
		t.Fatal(err)
	}
	cfg.Listen.Address = "127.0.0.1:0"
	d, err := daemon.New(t.Context(), cfg, "test")
	if err != nil {
		t.Fatal(err)
	}
	site := served(t, d)
	scripts := t.TempDir()
	commands := "set -eu\nlidwright() { command lidwright \"$@\" --site " + site + "; }\n" + block(t,
		"lidwright clay add tern")
	commands += block(t, "lidwright lid --collar 96") + block(t, "lidwright pot new")
	script := "exec bash block.sh\nstdout '^tern/A, wet to fired .*: 12\\.[3-5] %'\nstdout '^Trust: few bars \\(3 bars '\n" +
		"stdout -count=2 '^Set [0-9.]+ mm; not over '\nstdout ' lids: .* every pot gets one: '\n" +
		"stdout '^Kept\\. It counts\\. Your lids shrink '\n-- block.sh --\n" + commands
	if err := os.WriteFile(filepath.Join(scripts, "readme.txtar"), []byte(script), 0o600); err != nil {
		t.Fatal(err)
	}
	testscript.Run(t, testscript.Params{Dir: scripts})
}
