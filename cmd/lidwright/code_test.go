package main

import (
	"bytes"
	"context"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"lidwright/api/auth"
)

// A code is shown once on stdout; the file holds its hash alone and nobody else reads it.
func TestCodeNew(t *testing.T) {
	folder := t.TempDir()
	bench, owner := filepath.Join(folder, "bench"), filepath.Join(folder, "owner")
	settings := filepath.Join(folder, "lidwright.toml")
	if err := os.WriteFile(settings, []byte("[codes]\nbench_file = \""+bench+"\"\nowner_file = \""+owner+
		"\"\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	seen := map[string]bool{}
	for _, c := range []struct {
		who, file string
		signs     int
	}{{"bench", bench, 8}, {"owner", owner, 12}, {"bench", bench, 8}} {
		code := strings.TrimSpace(ranWell(t, "code", "new", c.who, "--config", settings))
		if len(strings.ReplaceAll(code, "-", "")) != c.signs || seen[code] {
			t.Errorf("%s code %q", c.who, code)
		}
		seen[code] = true
		text, err := os.ReadFile(c.file)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := auth.ParsePasscodeHash(string(text)); err != nil ||
			strings.Contains(string(text), code) || strings.Contains(string(text),
			strings.ReplaceAll(code, "-", "")) {
			t.Errorf("%s: %v %s", c.file, err, text)
		}
		if info, err := os.Stat(c.file); err != nil || info.Mode().Perm() != 0o600 {
			t.Errorf("%s: mode %v", c.file, info.Mode())
		}
	}
	for _, c := range []struct {
		args []string
		want int
	}{
		{[]string{"code", "new", "king", "--config", settings}, exitWrongUse},
		{[]string{"code", "new"}, exitWrongUse},
		{[]string{"code", "new", "bench", "--file", filepath.Join(folder, "nowhere", "x")}, exitWrongUse},
	} {
		if got, out := ranAs(t, c.args...); got != c.want || out != "" {
			t.Errorf("%v: exit %d %q, want %d", c.args, got, out, c.want)
		}
	}
}

// ranAs runs the program in this process and gives exit code and what it printed on stdout.
func ranAs(t *testing.T, args ...string) (int, string) {
	t.Helper()
	r, w, err := os.Pipe()
	if err != nil {
		t.Fatal(err)
	}
	null, err := os.OpenFile(os.DevNull, os.O_WRONLY, 0)
	if err != nil {
		t.Fatal(err)
	}
	defer null.Close()
	var out bytes.Buffer
	done := make(chan struct{})
	go func() { io.Copy(&out, r); close(done) }()
	code := run(context.Background(), args, w, null)
	w.Close()
	<-done
	return code, out.String()
}

func ranWell(t *testing.T, args ...string) string {
	t.Helper()
	code, out := ranAs(t, args...)
	if code != exitDone {
		t.Fatalf("lidwright %v: exit %d", args, code)
	}
	return out
}
