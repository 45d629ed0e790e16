package main

import (
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// TestCarry takes a site out while its daemon runs, into an empty one, and into one of its own.
func TestCarry(t *testing.T) {
	folder := t.TempDir()
	settings := func(name string) string {
		path := filepath.Join(folder, name+".toml")
		if err := os.WriteFile(path, []byte("[store]\nfolder = \""+filepath.Join(folder, name)+"\"\n"),
			0o600); err != nil {
			t.Fatal(err)
		}
		return path
	}
	ok := func(args ...string) string {
		t.Helper()
		got, out := ranAs(t, args...)
		if got != exitDone {
			t.Fatalf("%v: exit %d: %s", args, got, out)
		}
		return out
	}
	file := filepath.Join(folder, "studio.zip")
	site, stop := daemonOf(t, settings("old"))
	for _, args := range [][]string{{"carry", "save", file}, {"carry", "take", file},
		{"copy", "restore", folder}} {
		if got, out := ranAs(t, append(args, "--site", site)...); got != exitWrongUse {
			t.Errorf("%v over a daemon: exit %d: %s", args, got, out)
		}
	}
	ok("clay", "add", "tern", "--site", site)
	code := strings.TrimSpace(ok("bars", "new", "1", "--clay", "tern", "--site", site))
	ok("bar", code, "wet", "100", "--site", site)
	ok("carry", "save", file, "--config", settings("old"))
	if got, _ := ranAs(t, "carry", "save", file, "--config", settings("old")); got != exitFailed {
		t.Errorf("over a file that is there: exit %d", got)
	}
	if out := ok("carry", "take", file, "--config", settings("old")); !strings.Contains(out,
		"Nothing in it is new") {
		t.Errorf("beside its own daemon: %s", out)
	}
	stop()
	if out := ok("carry", "take", file, "--config", settings("card"), "--dry-run"); !strings.Contains(out,
		"it would be site") {
		t.Errorf("asked: %s", out)
	}
	if out := ok("carry", "take", file, "--config", settings("card")); !strings.Contains(out, "it is site") {
		t.Errorf("taken: %s", out)
	}
	if out := ok("carry", "take", file, "--config", settings("card")); !strings.Contains(out,
		"Nothing in it is new") {
		t.Errorf("again: %s", out)
	}
	site, stop = daemonOf(t, settings("other"))
	ok("clay", "add", "tern", "--site", site)
	if out := ok("carry", "take", file, "--config", settings("other"), "--dry-run"); !strings.Contains(out,
		`--same "clay tern"`) {
		t.Errorf("the dry run does not propose it: %s", out)
	}
	if got, out := ranAs(t, "carry", "take", file, "--config", settings("other"), "--dry-run", "--same",
		"clay owl"); got != exitFailed {
		t.Errorf("a name that is not on both sides: exit %d: %s", got, out)
	}
	var a struct {
		DryRun  bool `json:"dry_run"`
		New     map[string]int
		Renamed []struct{ Kind, Was, Now string }
	}
	out := ok("carry", "take", file, "--config", settings("other"), "--json")
	if err := json.Unmarshal([]byte(out), &a); err != nil || a.New["reading"] != 1 || len(a.Renamed) != 1 ||
		a.Renamed[0].Now != "tern-2" {
		t.Errorf("%v %s", err, out)
	}
	defer stop()
	if out := ok("bars", "--clay", "tern-2", "--site", site); !strings.Contains(out, code) {
		t.Errorf("bars of the other site: %s", out)
	}
	b, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(file, b[:len(b)/2], 0o600); err != nil {
		t.Fatal(err)
	}
	if got, out := ranAs(t, "carry", "take", file, "--config", settings("card")); got != exitFailed ||
		out != "" {
		t.Errorf("cut short: exit %d: %s", got, out)
	}
}
