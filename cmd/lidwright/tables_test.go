package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"lidwright/api"
)

// TestTablesCommand prints one table, writes all of them, and touches no file that is there.
func TestTablesCommand(t *testing.T) {
	folder := t.TempDir()
	settings := filepath.Join(folder, "s.toml")
	if err := os.WriteFile(settings, []byte("[store]\nfolder = \""+filepath.Join(folder, "store")+"\"\n"),
		0o600); err != nil {
		t.Fatal(err)
	}
	site, stop := daemonOf(t, settings)
	defer stop()
	if got, out := ranAs(t, "clay", "add", "tern", "--site", site); got != exitDone {
		t.Fatalf("exit %d: %s", got, out)
	}
	if got, out := ranAs(t, "tables", "clays", "--site", site); got != exitDone ||
		!strings.HasPrefix(out, "clay,name,") || !strings.Contains(out, "\r\ntern,") {
		t.Errorf("exit %d: %s", got, out)
	}
	all := filepath.Join(folder, "all")
	if got, out := ranAs(t, "tables", "--folder", all, "--site", site); got != exitDone ||
		strings.Count(out, ".csv") != len(api.Tables()) {
		t.Errorf("exit %d: %s", got, out)
	}
	if text, err := os.ReadFile(filepath.Join(all, "batches.csv")); err != nil ||
		!strings.Contains(string(text), "\r\ntern,A,") {
		t.Errorf("%v: %s", err, text)
	}
	if got, _ := ranAs(t, "tables", "--folder", all, "--site", site); got != exitFailed {
		t.Errorf("files that are there: exit %d", got)
	}
	for _, wrong := range [][]string{{"tables"}, {"tables", "plates"}, {"tables", "clays", "--folder", all}} {
		if got, _ := ranAs(t, append(wrong, "--site", site)...); got != exitWrongUse {
			t.Errorf("%v: exit %d", wrong, got)
		}
	}
}
