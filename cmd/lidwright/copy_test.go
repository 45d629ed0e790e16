package main

import (
	"context"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"lidwright/config"
	"lidwright/daemon"
)

// TestCopy makes copies beside a daemon and without one, and puts one back on a new card.
func TestCopy(t *testing.T) {
	folder := t.TempDir()
	settings := func(name string) string {
		path := filepath.Join(folder, name+".toml")
		if err := os.WriteFile(path, []byte("[store]\nfolder = \""+filepath.Join(folder, name)+"\"\n"),
			0o600); err != nil {
			t.Fatal(err)
		}
		return path
	}
	old, card := settings("old"), settings("card")
	site, stop := daemonOf(t, old)
	if got, out := ranAs(t, "clay", "add", "tern", "--site", site); got != exitDone {
		t.Fatalf("exit %d: %s", got, out)
	}
	if got, out := ranAs(t, "copy", "make", "--site", site); got != exitDone ||
		!strings.Contains(out, "lidwright-000001-") {
		t.Errorf("beside a daemon: exit %d: %s", got, out)
	}
	if got, _ := ranAs(t, "copy", "restore", filepath.Join(folder, "old"), "--config",
		old); got != exitCannotStart {
		t.Errorf("restored under a daemon: exit %d", got)
	}
	stop()
	if got, out := ranAs(t, "copy", "make", "--config", old); got != exitDone ||
		strings.Contains(out, "lidwright-000002-") {
		t.Errorf("nothing changed: exit %d: %s", got, out)
	}
	if got, out := ranAs(t, "copy", "list", "--config", old, "--json"); got != exitDone ||
		strings.Count(out, `"name"`) != 1 || strings.Contains(out, `"made"`) {
		t.Errorf("list: exit %d: %s", got, out)
	}
	if got, out := ranAs(t, "copy", "restore", filepath.Join(folder, "old"), "--config",
		card); got != exitDone || !strings.Contains(out, "is the store in "+filepath.Join(folder, "card")) {
		t.Errorf("restore: exit %d: %s", got, out)
	}
	site, stop = daemonOf(t, card)
	defer stop()
	if got, out := ranAs(t, "clay", "list", "--site", site); got != exitDone ||
		!strings.Contains(out, "tern") {
		t.Errorf("after the rescue: exit %d: %s", got, out)
	}
	if got, out := ranAs(t, "copy", "restore", t.TempDir(), "--config",
		settings("third")); got != exitFailed || out != "" {
		t.Errorf("a stick without a copy: exit %d: %s", got, out)
	}
}

// daemonOf runs a daemon in this process; stop ends it.
func daemonOf(t *testing.T, settings string) (site string, stop func()) {
	t.Helper()
	cfg, err := config.Load(settings, nil, nil)
	if err != nil {
		t.Fatal(err)
	}
	cfg.Listen.Address = "127.0.0.1:0"
	ctx, cancel := context.WithCancel(t.Context())
	ready, ended := make(chan string, 1), make(chan error, 1)
	go func() {
		d, err := daemon.New(ctx, cfg, "test")
		if err == nil {
			d.Ready = func(address string) { ready <- "http://" + address }
			err = d.Run(ctx)
		}
		ended <- err
	}()
	select {
	case site = <-ready:
	case err := <-ended:
		t.Fatal(err)
	}
	return site, func() {
		cancel()
		if err := <-ended; err != nil {
			t.Error(err)
		}
	}
}
