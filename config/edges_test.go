package config

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// The play of a seat is three rising numbers from 0 to 20; two of them may be alike, not all three.
func TestPlayOfSeats(t *testing.T) {
	for play, good := range map[string]bool{
		"[1.0, 1.75, 2.5]": true, "[0, 0, 1]": true, "[1, 2, 2]": true, "[0, 10, 20]": true,
		"[1, 1, 1]": false, "[2, 1, 3]": false, "[1, 3, 2]": false, "[-0.1, 1, 2]": false,
		"[0, 1, 20.1]": false, "[1, 2]": false,
	} {
		_, err := LoadText("lidwright.toml", "[seat.flange]\nplay_mm = "+play+"\n", nil)
		if (err == nil) != good || err != nil && !strings.Contains(err.Error(), "seat.flange.play_mm") {
			t.Errorf("play_mm = %s: %v", play, err)
		}
	}
}

// IEC 60584-1 has no class 1 for type B.
func TestClassOfTypeB(t *testing.T) {
	probe := func(letter, class string) error {
		_, err := LoadText("lidwright.toml",
			"[kiln.x]\nport = \"/dev/ttyUSB0\"\nreply = \"columns\"\nlimit_c = 1290\n[kiln.x.channel.1]\nfrom = \"1\"\nunit = \"c\"\n[kiln.x.probe.1]\ntype = \""+letter+"\"\nclass = "+class+"\n", nil)
		return err
	}
	if err := probe("B", "1"); err == nil || !strings.Contains(err.Error(), "kiln.x.probe.1.class") {
		t.Errorf("type B of class 1: %v", err)
	}
	for _, good := range [][2]string{{"B", "2"}, {"S", "1"}} {
		if err := probe(good[0], good[1]); err != nil {
			t.Errorf("type %s of class %s: %v", good[0], good[1], err)
		}
	}
}

// A variable that is set to nothing is no variable that is not there: it takes the place of what the file
// says, and is told where nothing cannot be.
func TestEmptyVariable(t *testing.T) {
	const text = "[site]\nname = \"The Long Shed\"\n"
	setenv(t, []string{"LIDWRIGHT_SITE_NAME="})
	if _, err := LoadText("lidwright.toml", text, []string{"LIDWRIGHT_SITE_NAME="}); err == nil ||
		!strings.HasPrefix(err.Error(), "environment: LIDWRIGHT_SITE_NAME: is \"\"") {
		t.Errorf("an empty name: %v", err)
	}
	if cfg := mustLoad(t, text); cfg.Site.Name != "The Long Shed" {
		t.Errorf("the site is called %q", cfg.Site.Name)
	}
}

// Names of sites are read as they were written; what is wrong with a file of them is told with its line, and
// one that is not there names none.
func TestNamesOfSites(t *testing.T) {
	file := filepath.Join(t.TempDir(), "of", "sites.toml")
	if none, err := ReadSites(file); err != nil || len(none) != 0 {
		t.Errorf("a file that is not there: %v %v", none, err)
	}
	if _, err := ReadSites(t.TempDir()); err == nil {
		t.Error("a folder was read as a file")
	}
	want := map[string]NamedSite{"shed": {Address: "kiln-pi:8573"}, "school": {Address: "192.0.2.7:8573",
		CodeFile: "/home/potter/code"}}
	if err := WriteSites(file, want); err != nil {
		t.Fatal(err)
	}
	got, err := ReadSites(file)
	if err != nil || len(got) != 2 || got["shed"] != want["shed"] || got["school"] != want["school"] {
		t.Errorf("%+v %v", got, err)
	}
	for text, place := range map[string]string{
		"[shed]\naddress = \"a:1\"\nadress = \"b:1\"\n": file + ":3: shed.adress",
		"[shed]\naddress = 5\n":                         file + ":2: ",
		"[shed]\naddress = \n":                          file + ":2",
	} {
		if err := os.WriteFile(file, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		if _, err := ReadSites(file); err == nil || !strings.HasPrefix(err.Error(), place) {
			t.Errorf("%q: %v, want %s", text, err, place)
		}
	}
	for name, good := range map[string]bool{"shed": true, "a": true, "2-sheds": true, "": false,
		"Shed": false, "-shed": false, "kiln.local": false, "shed:8573": false} {
		if IsSiteName(name) != good {
			t.Errorf("%q can be a name: %v", name, !good)
		}
	}
}
