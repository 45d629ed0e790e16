package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
	"unicode/utf8"

	"lidwright/api/topics"
)

// Every command in a block of README and of the topics is one that there is, with flags that it has.
func TestCommandsOfHelp(t *testing.T) {
	files, err := filepath.Glob("../../api/topics/*.md")
	if err != nil || len(files) < 8 {
		t.Fatalf("%d topics, %v", len(files), err)
	}
	held := 0
	for _, name := range append(files, "../../README.md") {
		b, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		for i, part := range strings.Split(string(b), "```") {
			if i%2 == 0 {
				continue
			}
			for line := range strings.Lines(part) {
				line, _, _ = strings.Cut(strings.TrimSpace(line), "  #")
				bare := strings.TrimPrefix(strings.TrimPrefix(line, "sudo "), "-u lidwright ")
				if strings.HasPrefix(bare, "lidwright ") {
					exampleHolds(t, name, strings.TrimSpace(line))
					held++
				}
			}
		}
	}
	if held < 30 {
		t.Errorf("only %d commands were found", held)
	}
}

// A topic is printed by lidwright help NAME without marks and no wider than a terminal, and README, which
// newcomers read to the end, has at most 150 lines.
func TestTopicsOnATerminal(t *testing.T) {
	for _, topic := range topics.All("en") {
		out, err := os.CreateTemp(t.TempDir(), "")
		if err != nil {
			t.Fatal(err)
		}
		if code := run(t.Context(), []string{"help", topic.Name}, out, os.Stderr); code != exitDone {
			t.Errorf("help %s: exit code %d", topic.Name, code)
		}
		b, err := os.ReadFile(out.Name())
		if err != nil {
			t.Fatal(err)
		}
		says := string(b)
		if !strings.HasPrefix(says, strings.ToUpper(topic.Title)+"\n\n") || len(says) < 600 ||
			strings.Contains(says, "**") || strings.Contains(says, "```") {
			t.Errorf("help %s prints %.200q", topic.Name, says)
		}
		for line := range strings.Lines(says) {
			if n := utf8.RuneCountInString(line); n > 81 && !strings.HasPrefix(line, "    ") {
				t.Errorf("help %s: %d columns: %s", topic.Name, n, line)
			}
		}
	}
	b, err := os.ReadFile("../../README.md")
	if err != nil {
		t.Fatal(err)
	}
	if n := strings.Count(string(b), "\n"); n > 150 {
		t.Errorf("README has %d lines", n)
	}
}
