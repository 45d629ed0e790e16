package main

import (
	"os"
	"regexp"
	"slices"
	"strings"
	"testing"
)

// The table of libraries in DEVELOPERS.md names every one that go.mod requires for itself, and no other, with
// a licence that lets a program be given away without its source.
func TestDependencies(t *testing.T) {
	mod, err := os.ReadFile("../../go.mod")
	if err != nil {
		t.Fatal(err)
	}
	var required []string
	for line := range strings.Lines(string(mod)) {
		if f := strings.Fields(line); strings.HasPrefix(line, "\t") &&
			!strings.Contains(line, "// indirect") && len(f) == 2 {
			required = append(required, f[0])
		}
	}
	text, err := os.ReadFile("../../DEVELOPERS.md")
	if err != nil {
		t.Fatal(err)
	}
	_, table, found := strings.Cut(string(text), "| library | what for |")
	table, _, _ = strings.Cut(table, "\n\n")
	if !found {
		t.Fatal("DEVELOPERS.md has no table of libraries")
	}
	var told []string
	licence := regexp.MustCompile(`^(MIT|BSD-3-Clause|Apache-2\.0|MPL-2\.0|EPL-2\.0 or EDL-1\.0|Apache-2\.0, BSD-3-Clause)$`)
	for line := range strings.Lines(table) {
		cells := strings.Split(strings.Trim(strings.TrimSpace(line), "|"), "|")
		if !strings.Contains(line, "`") || len(cells) != 5 {
			continue
		}
		for _, name := range strings.Split(cells[0], ",") {
			told = append(told, strings.Trim(strings.TrimSpace(name), "`"))
		}
		if l := strings.TrimSpace(cells[2]); !licence.MatchString(l) || len(strings.TrimSpace(cells[4])) < 7 {
			t.Errorf("licence %q or age of %s", l, cells[0])
		}
	}
	slices.Sort(required)
	slices.Sort(told)
	if !slices.Equal(required, told) {
		t.Errorf("go.mod requires %v,\nthe table tells of %v", required, told)
	}
	if strings.Contains(string(mod), "\ntool ") {
		t.Error("go.mod names a tool; deploy/tools/go.mod is for those")
	}
}
