package main

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"lidwright/config"
	"lidwright/daemon"
)

// handSite is a daemon for a kiln without a line.
func handSite(t *testing.T) (site string) {
	t.Helper()
	folder := t.TempDir()
	file := filepath.Join(folder, "lidwright.toml")
	text := fmt.Sprintf("[store]\nfolder = %q\n[listen]\naddress = \"127.0.0.1:8438\"\n[kiln.little-red]\nport = \"\"\nlimit_c = 1100\n"+
		"[kiln.big-blue]\nport = %q\nreply = \"columns\"\nlimit_c = 1290\n[kiln.big-blue.channel.1]\nfrom = \"1\"\nunit = \"c\"\n[kiln.big-blue.probe.1]\ntype = \"K\"\nfitted_on = \"2025-03-01\"\n",
		filepath.Join(folder, "store"), filepath.Join(folder, "no-line"))
	if err := os.WriteFile(file, []byte(text), 0o600); err != nil {
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
	return served(t, d)
}

func TestFiringByHandOnTheCommandLine(t *testing.T) {
	site := handSite(t)
	readings := filepath.Join(t.TempDir(), "readings.csv")
	if err := os.WriteFile(readings, []byte("hours,temperature_c\n0,20\n5,600\n9,900\n9.4,940\n9.8,970\n10.2,1000\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	broken := filepath.Join(t.TempDir(), "broken.csv")
	if err := os.WriteFile(broken, []byte("0,20\nfive,600\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		args []string
		code int
		want []string
	}{
		{[]string{"firing", "hand", "little-red", "bisque", "--sitter", "06", "--dropped-at",
			"2026-01-14T03:35:00Z"}, exitDone,
			[]string{"little-red 1, ended, bisque, atmosphere unknown", "likely"}},
		{[]string{"firing", "hand", "little-red", "bisque", "--cone", "06=down", "--cone", "05=upright",
			"--ended-at", "2026-01-16T03:35:00Z"}, exitDone, []string{"Witness: cone 06 down",
			"Witness: cone 05 upright", "Heat work: 10"}},
		{[]string{"firing", "hand", "little-red", "bisque", "--typed", readings, "--began-at",
			"2026-01-18T03:00:00Z", "--atmosphere", "oxidation"}, exitDone, []string{"atmosphere oxidation",
			"Peak 1000 °C", "degree-hours"}},
		{[]string{"firing", "hand", "little-red", "bisque", "--cone", "06=down"}, exitWrongUse,
			[]string{"--ended-at is needed"}},
		{[]string{"firing", "hand", "little-red", "bisque", "--sitter", "0"}, exitWrongUse,
			[]string{"There is no cone 0"}},
		{[]string{"firing", "hand", "little-red", "bisque", "--typed", broken}, exitWrongUse,
			[]string{"line 2: write hours, a comma, °C"}},
		{[]string{"firing", "cone", "little-red/1", "06", "45", "--shelf", "middle", "--by", "KT"}, exitDone,
			[]string{"cone 06 at 45°:", "Undo: lidwright firing cone little-red/1 cross-out"}},
		{[]string{"firing", "cone", "little-red/last", "6a", "down"}, exitWrongUse,
			[]string{"European (Seger)"}},
		{[]string{"firing", "cone", "little-red/9", "6", "down"}, exitFailed,
			[]string{"no firing little-red/9"}},
		{[]string{"firing", "note", "little-red/1", "the door seal glowed", "--incident"}, exitDone,
			[]string{"Kept beside the firing. A note changes no number."}},
		{[]string{"firing", "say", "little-red/1", "--atmosphere", "reduction"}, exitDone,
			[]string{"little-red 1: bisque, reduction, ended"}},
		{[]string{"firing", "little-red/1"}, exitDone, []string{"atmosphere reduction",
			"Incident: the door seal glowed", "Witness: cone 06 at 45°, shelf middle"}},
		{[]string{"probe", "big-blue"}, exitDone,
			[]string{"Channel 1, type K, fitted 2025-03-01, 0 firings. No cone has told of this probe yet"}},
		{[]string{"probe", "new", "big-blue", "S", "--fitted-on", "2026-01-20"}, exitDone,
			[]string{"Its life begins with the first firing on or after 2026-01-20"}},
		{[]string{"probe", "new", "big-blue", "Q", "--fitted-on", "2026-01-20"},
			exitWrongUse, []string{"TYPE"}},
		{[]string{"probe", "nobody"}, exitFailed, []string{"no such kiln"}},
	} {
		out, code := outLine(t, append([]string{"--site", site}, c.args...)...)
		if code != c.code {
			t.Errorf("%s: exit %d, want %d\n%s", strings.Join(c.args, " "), code, c.code, out)
		}
		for _, w := range c.want {
			if !strings.Contains(out, w) {
				t.Errorf("%s: no %q in\n%s", strings.Join(c.args, " "), w, out)
			}
		}
	}
	// A reading struck on the command line stays to be seen.
	out, _ := outLine(t, "--site", site, "firing", "little-red/1")
	_, id, _ := strings.Cut(out, "shelf middle [")
	id, _, _ = strings.Cut(id, "]")
	if _, code := outLine(t, "--site", site, "firing", "cone", "little-red/1", "cross-out", id, "--why",
		"another shelf"); code != exitDone {
		t.Errorf("strike: exit %d", code)
	}
	if out, _ := outLine(t, "--site", site, "firing", "little-red/1"); !strings.Contains(out,
		"crossed out: another shelf") {
		t.Errorf("struck:\n%s", out)
	}
}
