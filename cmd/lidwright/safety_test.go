package main

import (
	"bytes"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/spf13/cobra"

	"lidwright/api/apitest"
	"lidwright/api/caution"
)

// The commands that the table of the safety notes names carry their cautions, and so does what the
// package says of itself.
func TestCautionsOfCommands(t *testing.T) {
	folder := t.TempDir()
	file := filepath.Join(folder, "lidwright.toml")
	if err := os.WriteFile(file, []byte("[store]\nfolder = \""+folder+"\"\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	all := []caution.Number{}
	for _, c := range caution.All {
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
	wiring := caution.Wiring
	for _, c := range []struct {
		place, says string
		want        []caution.Number
	}{
		{"lidwright help safety", said("help", "safety"), all},
		{"lidwright check", said("check", "--config", file), wiring},
		{"lidwright help setup", said("help", "setup"), nil},
	} {
		for _, n := range c.want {
			if !strings.Contains(c.says, caution.Text(n).String()) {
				t.Errorf("%s: without caution %d", c.place, n)
			}
		}
		if !strings.Contains(c.says, caution.StandingLine) {
			t.Errorf("%s: without the standing line", c.place)
		}
	}
	text, err := os.ReadFile("../../deploy/deb/nfpm.yaml")
	if err != nil {
		t.Fatal(err)
	}
	if folded := strings.Join(strings.Fields(string(text)), " "); !strings.Contains(folded,
		caution.StandingLine) || !strings.Contains(folded, caution.ElectricKilns) {
		t.Error("the description of the package: without the standing line, or without the word on fuel kilns")
	}
}

// No help of a command is leave to open a kiln.
func TestNoHelpIsLeaveToOpen(t *testing.T) {
	helps := 0
	var walk func(c *cobra.Command)
	walk = func(c *cobra.Command) {
		helps++
		c.SetOut(io.Discard)
		if err := c.Help(); err != nil { // the text of a topic is made for it
			t.Error(err)
		}
		if says := apitest.LeaveToOpen(c.Short + "\n" + c.Long + "\n" + c.Example + "\n" +
			c.UsageString()); says != "" {
			t.Errorf("%s says %q", c.CommandPath(), says)
		}
		for _, sub := range c.Commands() {
			walk(sub)
		}
	}
	if walk(rootCommand()); helps < 30 {
		t.Errorf("only %d commands", helps)
	}
}
