package main

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"lidwright/api"
)

// The commands that the table of the safety notes names carry their cautions, and so does what the
// package says of itself.
func TestCautionsOfCommands(t *testing.T) {
	folder := t.TempDir()
	file := filepath.Join(folder, "lidwright.toml")
	if err := os.WriteFile(file, []byte("[store]\nfolder = \""+folder+"\"\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	all := []int{}
	for _, c := range api.Cautions {
		all = append(all, c.Number)
	}
	said := func(args ...string) string {
		var out bytes.Buffer
		c := rootCommand()
		c.SetArgs(args)
		c.SetOut(&out)
		c.SetErr(&out)
		if err := c.ExecuteContext(t.Context()); err != nil {
			t.Fatalf("%v: %v\n%s", args, err, out.String())
		}
		return out.String()
	}
	wiring := []int{26, 27, 28, 30, 35}
	for _, c := range []struct {
		place, says string
		want        []int
	}{
		{"lidwright help safety", said("help", "safety"), all},
		{"lidwright check", said("check", "--config", file), wiring},
		{"lidwright help setup", said("help", "setup"), nil},
	} {
		for _, n := range c.want {
			if !strings.Contains(c.says, api.CautionText(n)) {
				t.Errorf("%s: without caution %d", c.place, n)
			}
		}
		if !strings.Contains(c.says, api.Standing) {
			t.Errorf("%s: without the standing line", c.place)
		}
	}
	text, err := os.ReadFile("../../deploy/deb/nfpm.yaml")
	if err != nil {
		t.Fatal(err)
	}
	if folded := strings.Join(strings.Fields(string(text)), " "); !strings.Contains(folded, api.Standing) || !strings.Contains(folded, api.ElectricKilns) {
		t.Error("the description of the package: without the standing line, or without the word on fuel kilns")
	}
}
