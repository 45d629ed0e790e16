package main

import (
	"context"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// A board sized from a table with rates stated needs no daemon. 6 and 7 % leave 0.8742 of the wet
// length: a lid of 98.0 has 100 - 98 = 2 mm, fired 1.75, on the pot of 100.
func TestBoardFromATable(t *testing.T) {
	folder := t.TempDir()
	file := func(name, text string) string {
		path := filepath.Join(folder, name)
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		return path
	}
	pots := file("pots.csv", "pot;collar_mm;opening_mm\np1;100,0;88\np2;101;89\np3;102;90\np4;103;91\np5;104;92\np6;105;93\np7;106;94\np8;107;95\n")
	inches := file("inches.csv", "collar_in,opening_in\n"+strings.Repeat("4 1/8,3 5/8\n", 8))
	lids := file("lids.csv", "lid,lid_mm\nb,99\na,98\nd,101\nc,100\nf,103\ne,102\nh,105\ng,104\n")
	stated := []string{"--body-drying-ratio", "6%", "--body-firing-ratio", "7%"}
	for _, c := range []struct {
		name string
		args []string
		code int
		says []string
	}{
		{"sizes", []string{pots, "--lids", "10"}, exitDone, []string{"10 lids: ", "To expect: ",
			"Each lid kept with its own pot", "Trust: no bars", "Mind: Computed from the rates you stated"}},
		{"bare", []string{pots, "--lids", "10", "--plain", "--sizes-most", "1"}, exitDone, []string{"10 "}},
		{"as JSON", []string{pots, "--json"}, exitDone, []string{`"all_pair_chance":`}},
		{"inches", []string{inches, "--lids", "8", "--units", "32nds", "--sizes-most", "1"}, exitDone,
			[]string{"8 lids: 8 at 4 "}},
		{"pairing", []string{pots, "--lids-measured", lids}, exitDone, []string{"p1   a", "p8   h"}},
		{"a gauge", []string{"--gauge", "104.5", "--gauge-opening", "92.5", "--gauge-count", "12"}, exitDone,
			[]string{"of 12 pots"}},
		{"nothing", nil, exitWrongUse, []string{"a file of pots", "--gauge-count"}},
		{"no such column", []string{file("odd.csv", "colar_mm\n100\n")}, exitWrongUse,
			[]string{`"colar_mm"`}},
		{"no line", []string{file("empty.csv", "collar_mm\n")}, exitWrongUse, []string{"a line a piece"}},
		{"seven", []string{file("seven.csv", "collar_mm\n"+strings.Repeat("100\n", 7))},
			exitWrongUse, []string{"8 to 30"}},
		{"no such file", []string{filepath.Join(folder, "none.csv")}, exitWrongUse,
			[]string{"there is no file"}},
	} {
		code, said := told(t, append(append([]string{"board"}, c.args...), stated...)...)
		if code != c.code {
			t.Errorf("%s: exit %d, want %d: %s", c.name, code, c.code, said)
		}
		for _, want := range c.says {
			if !strings.Contains(said, want) {
				t.Errorf("%s: %q is not in %s", c.name, want, said)
			}
		}
	}
}

// told runs the program and gives its exit code and all that it printed.
func told(t *testing.T, args ...string) (int, string) {
	t.Helper()
	out, err := os.Create(filepath.Join(t.TempDir(), "out"))
	if err != nil {
		t.Fatal(err)
	}
	code := run(context.Background(), args, out, out)
	out.Close()
	said, err := os.ReadFile(out.Name())
	if err != nil {
		t.Fatal(err)
	}
	return code, string(said)
}

// One lid with rates stated: 96 mm at 6 and 7 %, 1.5 mm of play, is 94.2841 mm; the step of 0.5 on the
// safe side 94.0; in 32nds 3 11/16 in.
func TestLidOnTheCommandLine(t *testing.T) {
	stated := []string{"lid", "--body-drying-ratio", "6%", "--body-firing-ratio", "7%"}
	for _, c := range []struct {
		args []string
		code int
		says []string
	}{
		{[]string{"--collar", "96", "--play-mm", "1.5"}, exitDone,
			[]string{"Set 94.0 mm; not over 94.5, not under 93.5.", "Chance that it fits: ", "2 lids of ",
				"What would help most: ", "Mind: Computed from the rates you stated",
				"Mind: Shrinkage varies"}},
		{[]string{"--collar", "96", "--play-mm", "1.5", "--plain"}, exitDone, []string{"94.0\n"}},
		{[]string{"--collar", "96mm", "--play-mm", "1.5", "--units", "32nds", "--plain"},
			exitDone, []string{"3 11/16\n"}},
		{[]string{"--collar", "96", "--collar", "96.4", "--lid", "94.3"}, exitDone,
			[]string{"This lid will have 1.49 mm of play"}},
		{[]string{"--collar", "96", "--play-mm", "1.5", "--json"}, exitDone,
			[]string{`"unrounded_mm":94.2841`}},
		{[]string{"--collar", "96", "--opening", "97"}, exitWrongUse,
			[]string{"--opening: larger than --collar: opening 97.0 mm, collar 96.0 mm",
				"Were they swapped?"}},
		{[]string{"--collar", "4"}, exitWrongUse, []string{"--collar: 4.0 mm", "which unit was meant?",
			"4 in would be 101.6 mm"}},
		{[]string{"--clay", "tern", "--collar", "96", "--site", "http://127.0.0.1:1"}, exitNotReachable,
			[]string{"no lidwright answers"}},
	} {
		code, said := told(t, append(stated[:len(stated):len(stated)], c.args...)...)
		if code != c.code {
			t.Errorf("%v: exit %d, want %d: %s", c.args, code, c.code, said)
		}
		for _, want := range c.says {
			if !strings.Contains(said, want) {
				t.Errorf("%v: %q is not in %s", c.args, want, said)
			}
		}
	}
}
