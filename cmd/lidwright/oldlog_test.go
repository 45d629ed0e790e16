package main

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// TestImportOldLog takes an old log in: asked first, then kept, then known; one bad row keeps the
// whole out.
func TestImportOldLog(t *testing.T) {
	folder := t.TempDir()
	settings, file := filepath.Join(folder, "lidwright.toml"), filepath.Join(folder, "march.csv")
	if err := os.WriteFile(settings, []byte("[store]\nfolder = \""+filepath.Join(folder, "store")+"\"\n"),
		0o600); err != nil {
		t.Fatal(err)
	}
	var text strings.Builder
	text.WriteString("minutes,temperature_f\n")
	for m := range 600 {
		fmt.Fprintf(&text, "%d,%.1f\n", m, 68+3.6*float64(m)) // 2 °C a minute from 20 °C
	}
	write := func(s string) {
		if err := os.WriteFile(file, []byte(s), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	write(text.String())
	site, stop := daemonOf(t, settings)
	defer stop()
	take := func(more ...string) (int, string) {
		return ranAs(t, append([]string{"firings", "import", file, "--site", site, "--kiln", "big-blue",
			"--kind", "glaze", "--began", "2024-03-09T08:00:00Z"}, more...)...)
	}
	for _, c := range []struct{ flag, want string }{{"--dry-run", "would be kept: 10.0 h"},
		{"--note=old", "kept: 10.0 h"}, {"--note=old", "known already"}} {
		if got, out := take(c.flag); got != exitDone || !strings.HasPrefix(out, c.want) ||
			!strings.Contains(out, "top 1218 °C") {
			t.Errorf("exit %d: %s, want %s", got, out, c.want)
		}
	}
	write(text.String() + "601,hot\n")
	if got, out := take(); got != exitWrongUse ||
		!strings.Contains(out, "line 602, temperature_f: \"hot\" is no number") {
		t.Errorf("a bad row: exit %d: %s", got, out)
	}
	if got, out := ranAs(t, "firings", "--site", site); got != exitDone ||
		strings.Count(out, "big-blue") != 1 {
		t.Errorf("firings: exit %d: %s", got, out)
	}
	write("hours,temperature_c\n0,20\n5,1000\n")
	if got, out := ranAs(t, "firings", "import", file, "--site", site, "--kiln", "big-blue", "--kind",
		"glaze"); got != exitWrongUse || out != "" {
		t.Errorf("began nowhere: exit %d: %s", got, out)
	}
}
