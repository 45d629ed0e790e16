package main

import (
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
)

// said runs a program and gives what it says.
func said(t *testing.T, name string, args ...string) string {
	t.Helper()
	out, err := exec.Command(name, args...).CombinedOutput()
	if err != nil {
		t.Fatalf("%s %v: %v\n%s", name, args, err, out)
	}
	return string(out)
}

// TestPackage makes the collector's package, holds it against Debian's rules, and lets its scripts run on a
// root of their own.
func TestPackage(t *testing.T) {
	dist := filepath.Join(t.TempDir(), "dist")
	said(t, "make", "-C", "../..", "--no-print-directory", "deb-collect", "ARCHES=amd64/amd64/", "DIST="+dist)
	debs, err := filepath.Glob(filepath.Join(dist, "lidwright-collect_*.deb"))
	if err != nil || len(debs) != 1 {
		t.Fatalf("packages: %v, %v", debs, err)
	}
	if info, err := os.Stat(debs[0]); err == nil {
		t.Logf("%s: %.2f MB", filepath.Base(debs[0]), float64(info.Size())/1e6)
	}
	if says := said(t, "lintian", "--allow-root", "--fail-on", "error,warning",
		debs[0]); strings.TrimSpace(says) != "" {
		t.Errorf("lintian: %s", says)
	}
	files := said(t, "dpkg-deb", "--contents", debs[0])
	for _, want := range []string{"/usr/bin/lidwright-collect", "systemd/system/lidwright-collect.service",
		"examples/collect.toml", "man1/lidwright-collect.1.gz",
		"man1/lidwright-collect-carry.1.gz", "man5/collect.toml.5.gz", "completions/lidwright-collect",
		"doc/lidwright-collect/copyright", "lidwright-collect.cdx.json"} {
		if !strings.Contains(files, want) {
			t.Errorf("it has no %s", want)
		}
	}
	root := t.TempDir()
	said(t, "dpkg-deb", "--raw-extract", debs[0], root)
	unit := filepath.Join(root, "usr/lib/systemd/system/lidwright-collect.service")
	if says := said(t, "systemd-analyze", "security", "--offline=true", "--threshold=25",
		unit); !strings.Contains(says, "OK") {
		t.Errorf("the unit is not as closed as that beside a kiln: %s", says)
	}
	stubs := filepath.Join(root, "stubs")
	if err := os.MkdirAll(stubs, 0o755); err != nil {
		t.Fatal(err)
	}
	for _, name := range []string{"adduser", "getent", "systemctl",
		"deb-systemd-helper", "deb-systemd-invoke"} {
		if err := os.WriteFile(filepath.Join(stubs, name), []byte("#!/bin/sh\nexit 0\n"), 0o755); err != nil {
			t.Fatal(err)
		}
	}
	t.Setenv("PATH", stubs+":"+os.Getenv("PATH"))
	script := func(name, what string) string {
		text, err := os.ReadFile(filepath.Join(root, "DEBIAN", name))
		if err != nil {
			t.Fatal(err)
		}
		moved := filepath.Join(root, name)
		text = []byte(strings.NewReplacer("/etc/lidwright", root+"/etc/lidwright", "/run/systemd/system",
			root+"/run/systemd/system").Replace(string(text)))
		if err := os.WriteFile(moved, text, 0o755); err != nil {
			t.Fatal(err)
		}
		return said(t, "sh", moved, what)
	}
	if says := script("postinst", "configure"); !strings.Contains(says, "waits for its settings") ||
		!strings.Contains(says, "local codes come first") {
		t.Errorf("installed, it says: %s", says)
	}
	settings := filepath.Join(root, "etc/lidwright/collect.toml")
	if err := os.WriteFile(settings, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	if says := script("postinst", "configure"); says != "" {
		t.Errorf("upgraded, it says: %s", says)
	}
	script("prerm", "remove")
	if says := script("postrm", "purge"); !strings.Contains(says, "PostgreSQL still") {
		t.Errorf("purged, it says: %s", says)
	}
	if _, err := os.Stat(settings); err == nil {
		t.Error("a purge leaves the settings")
	}
}
