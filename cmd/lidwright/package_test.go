package main

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"lidwright/kiln/kilntest"
	"net"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"lidwright/kiln/source"
)

// ran runs a command and gives what it printed on stdout.
func ran(t *testing.T, env []string, name string, args ...string) string {
	t.Helper()
	cmd := exec.Command(name, args...)
	cmd.Env = slices.DeleteFunc(append(os.Environ(), env...), func(v string) bool {
		return strings.HasPrefix(v, "LIDWRIGHT_")
	})
	var says, trouble bytes.Buffer
	cmd.Stdout, cmd.Stderr = &says, &trouble
	if err := cmd.Run(); err != nil {
		t.Fatalf("%s %v: %v\n%s%s", name, args, err, says.Bytes(), trouble.Bytes())
	}
	return says.String()
}

// packages makes the packages in a folder of its own and gives them.
func packages(t *testing.T, processors string) []string {
	t.Helper()
	dist := filepath.Join(t.TempDir(), "dist")
	args := []string{"-C", "../..", "--no-print-directory", "deb", "DIST=" + dist}
	if processors != "" {
		args = append(args, "ARCHES="+processors)
	}
	ran(t, []string{"MAKEFLAGS="}, "make", args...)
	debs, err := filepath.Glob(filepath.Join(dist, "lidwright_*.deb"))
	if err != nil || len(debs) == 0 {
		t.Fatalf("no package: %v", err)
	}
	return debs
}

// TestPackage makes the package of amd64 (all three, twice, with LIDWRIGHT_SOAK), holds it against
// Debian's rules, lays it out as a root of its own, lets its scripts run there, puts a copy from a
// stick in place, starts the daemon and has it answer for a lid. Where no root is at hand the
// scripts run on paths moved into that root, with stand-ins for adduser and systemctl.
func TestPackage(t *testing.T) {
	t.Parallel()
	processors := "amd64/amd64/"
	if os.Getenv("LIDWRIGHT_SOAK") != "" {
		processors = ""
	}
	debs := packages(t, processors)
	for i, deb := range debs {
		info, err := os.Stat(deb)
		if err != nil {
			t.Fatal(err)
		}
		t.Logf("%s: %.2f MB, SHA-256 %.64s", filepath.Base(deb), float64(info.Size())/1e6,
			ran(t, nil, "sha256sum", deb))
		if says := ran(t, nil, "lintian", "--allow-root", "--fail-on", "error,warning",
			deb); strings.TrimSpace(says) != "" {
			t.Errorf("lintian: %s", says)
		}
		files := ran(t, nil, "dpkg-deb", "--contents", deb)
		for _, want := range []string{"/usr/bin/lidwright", "systemd/system/lidwright.service",
			"rules.d/60-lidwright.rules", "examples/lidwright.toml", "man1/lidwright.1.gz",
			"completions/lidwright",
			"/etc/avahi/services/lidwright.service", "doc/lidwright/copyright", "lidwright.cdx.json",
			"man5/lidwright.toml.5.gz", "doc/lidwright/README.md.gz", "prometheus/rules.yml",
			"prometheus/recording.yml", "grafana/lidwright.json"} {
			if !strings.Contains(files, want) {
				t.Errorf("%s has no %s", filepath.Base(deb), want)
			}
		}
		if processors == "" && i == 0 { // the same commit, the same bits
			for j, again := range packages(t, "") {
				a, b := ran(t, nil, "sha256sum", debs[j]), ran(t, nil, "sha256sum", again)
				if a[:64] != b[:64] {
					t.Errorf("%s and %s differ", debs[j], again)
				}
			}
		}
	}
	root := t.TempDir()
	amd64 := debs[slices.IndexFunc(debs, func(d string) bool { return strings.Contains(d, "amd64") })]
	ran(t, nil, "dpkg-deb", "--extract", amd64, root)
	control := filepath.Join(root, "DEBIAN")
	ran(t, nil, "dpkg-deb", "--control", amd64, control)

	// Installed: codes are shown once, settings are there, and it says what to do next.
	binary := filepath.Join(root, "usr/bin/lidwright")
	script := func(name string, args ...string) string {
		return maintain(t, root, filepath.Join(control, name), args...)
	}
	says := script("postinst", "configure")
	codes := regexp.MustCompile(`(?m)^[A-Z0-9]{4}(-[A-Z0-9]{4})+$`).FindAllString(says, -1)
	if len(codes) != 2 || !strings.Contains(says, "lidwright setup") ||
		!strings.Contains(says, "local codes come first") {
		t.Errorf("postinst says: %s", says)
	}
	settings := filepath.Join(root, "etc/lidwright/lidwright.toml")
	text, err := os.ReadFile(settings)
	if err != nil {
		t.Fatal(err)
	}
	if again := script("postinst", "configure", "0"); strings.Contains(again, "-") &&
		regexp.MustCompile(`(?m)^[A-Z0-9]{4}-`).MatchString(again) {
		t.Errorf("an upgrade shows codes again: %s", again)
	}
	if now, _ := os.ReadFile(settings); !bytes.Equal(now, text) {
		t.Error("an upgrade changed the settings")
	}

	// A stick from the old card, put back on the new one.
	state := filepath.Join(root, "var/lib/lidwright")
	stick := stickOf(t)
	env := []string{"STATE_DIRECTORY=" + state}
	if says := ran(t, env, binary, "copy", "restore", stick, "--config", settings); !strings.Contains(says,
		"is the store in "+state) {
		t.Errorf("restore: %s", says)
	}
	site := serve(t, binary, settings, string(text), state)
	for path, want := range map[string]string{
		"/v1/clays": `"tern"`,
		"/v1/lid?collar=104.5&opening=92.5&clay=tern&accept=wide":                       `"set_mm":10`,
		"/v1/lid?collar=96mm&body_drying_ratio=0.06&body_firing_ratio=0.07&play_mm=1.5": `"unrounded_mm":94.28`,
		"/readyz": "ready", "/": "This program watches",
	} {
		if got := fetched(t, site+path); !strings.Contains(got, want) {
			t.Errorf("%s: no %s in %.300s", path, want, got)
		}
	}
	// Removed and purged the record stays, unless asked twice.
	for _, twice := range []bool{false, true} {
		if twice {
			if err := os.WriteFile(filepath.Join(state, "forget-all"), nil, 0o600); err != nil {
				t.Fatal(err)
			}
		}
		script("prerm", "remove")
		script("postrm", "remove")
		script("postrm", "purge")
		_, err := os.Stat(filepath.Join(state, "lidwright.db"))
		if there := err == nil; there == twice {
			t.Errorf("asked twice %v: the record is there: %v", twice, there)
		}
		if _, err := os.Stat(settings); err == nil {
			t.Error("a purge leaves the settings")
		}
	}
}

// maintain runs one of the package's scripts on paths under root, in an environment where the
// commands that would touch this machine are stand-ins.
func maintain(t *testing.T, root, script string, args ...string) string {
	t.Helper()
	return ran(t, scripted(t, root, script), "sh", append([]string{filepath.Join(root, "moved")}, args...)...)
}

// scripted lays a script out as root/moved, and gives the environment to run it in.
func scripted(t *testing.T, root, script string) (env []string) {
	t.Helper()
	text, err := os.ReadFile(script)
	if err != nil {
		t.Fatal(err)
	}
	moved := regexp.MustCompile(`(/etc/lidwright|/var/lib/lidwright|/run/systemd/system)`).ReplaceAllString(string(text), root+"$1")
	moved = regexp.MustCompile(`install -d -o lidwright -g lidwright`).ReplaceAllString(moved, "install -d")
	stubs := filepath.Join(root, "stubs")
	if err := os.MkdirAll(stubs, 0o755); err != nil {
		t.Fatal(err)
	}
	for _, name := range []string{"adduser", "getent", "chown", "systemctl", "deb-systemd-helper",
		"deb-systemd-invoke", "udevadm"} {
		if err := os.WriteFile(filepath.Join(stubs, name), []byte("#!/bin/sh\nexit 0\n"), 0o755); err != nil {
			t.Fatal(err)
		}
	}
	path := filepath.Join(root, "moved")
	if err := os.WriteFile(path, []byte(moved), 0o755); err != nil {
		t.Fatal(err)
	}
	return []string{"PATH=" + stubs + ":" + filepath.Join(root, "usr/bin") + ":" + os.Getenv("PATH")}
}

// TestInstallOnAFullCard: where no byte can be written the install fails and leaves nothing half
// done; once there is room the same script completes it, and an upgrade on a full card leaves the
// owner's settings, with mistakes in them too, as they are.
func TestInstallOnAFullCard(t *testing.T) {
	t.Parallel()
	root := t.TempDir()
	bin := filepath.Join(root, "usr/bin")
	if err := os.MkdirAll(bin, 0o755); err != nil {
		t.Fatal(err)
	}
	// A stand-in that makes codes as the program does, so that nothing is built here.
	if err := os.WriteFile(filepath.Join(bin, "lidwright"),
		[]byte("#!/bin/sh\nfor last; do :; done\necho secret > \"$(dirname $last)/$3.code\"\n"),
		0o755); err != nil {
		t.Fatal(err)
	}
	env := scripted(t, root, "../../deploy/deb/postinst")
	install := func(full bool) error {
		limit := ""
		if full {
			limit = "ulimit -f 0; "
		}
		cmd := exec.Command("sh", "-c", limit+`exec sh "$0" configure`, filepath.Join(root, "moved"))
		cmd.Env = append(os.Environ(), env...)
		return cmd.Run()
	}
	settings := filepath.Join(root, "etc/lidwright/lidwright.toml")
	if err := install(true); err == nil {
		t.Fatal("an install that could write nothing reports that all is well")
	}
	if _, err := os.Stat(settings); !os.IsNotExist(err) {
		t.Fatalf("half a settings file is left, which no later install would complete: %v", err)
	}
	if err := install(false); err != nil {
		t.Fatal(err)
	}
	text, err := os.ReadFile(settings)
	if err != nil || !strings.Contains(string(text), "owner.code") {
		t.Fatalf("%v: %s", err, text)
	}
	mistaken := append(text, "\n[kiln.big-blue]\nprot = \"/dev/ttyUSB0\"\n"...)
	if err := os.WriteFile(settings, mistaken, 0o644); err != nil {
		t.Fatal(err)
	}
	for _, full := range []bool{true, false} {
		if err := install(full); err != nil {
			t.Errorf("an upgrade, full %v: %v", full, err)
		}
		if now, err := os.ReadFile(settings); err != nil || !bytes.Equal(now, mistaken) {
			t.Errorf("an upgrade, full %v, changed the owner's settings: %v", full, err)
		}
	}
	if got, _ := ranAs(t, "run", "--config", settings); got != exitWrongUse {
		t.Errorf("settings with a mistake: exit %d", got)
	}
}

// stickOf is a folder with a copy of a store that holds the clay tern.
func stickOf(t *testing.T) string {
	t.Helper()
	folder := t.TempDir()
	settings := filepath.Join(folder, "old.toml")
	if err := os.WriteFile(settings, []byte("[store]\nfolder = \""+filepath.Join(folder, "old")+"\"\n"),
		0o600); err != nil {
		t.Fatal(err)
	}
	site, stop := daemonOf(t, settings)
	for _, args := range [][]string{{"clay", "add", "tern", "--matures", "6", "--stated", "0.12"},
		{"copy", "make"}} {
		if got, out := ranAs(t, append(args, "--site", site)...); got != exitDone {
			t.Fatalf("%v: exit %d: %s", args, got, out)
		}
	}
	stop()
	return filepath.Join(folder, "old", "copies")
}

// serve runs the daemon of a root on a port of its own until the test ends, with the settings of the
// package but for the address and the paths of the codes.
func serve(t *testing.T, binary, settings, text, state string) (site string) {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	address := l.Addr().String()
	l.Close()
	mine := filepath.Join(filepath.Dir(filepath.Dir(settings)), "mine.toml")
	if err := os.WriteFile(mine, []byte(strings.Replace(text, `":8573"`, strconv.Quote(address), 1)),
		0o600); err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command(binary, "run", "--config", mine)
	cmd.Env = append(slices.DeleteFunc(os.Environ(),
		func(v string) bool { return strings.HasPrefix(v, "LIDWRIGHT_") }), "STATE_DIRECTORY="+state)
	var log bytes.Buffer
	cmd.Stderr = &log
	if err := kilntest.StartChild(cmd, syscall.SIGKILL); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { cmd.Process.Kill(); cmd.Wait() })
	for end := time.Now().Add(5 * time.Minute); ; time.Sleep(20 * time.Millisecond) {
		if r, err := http.Get("http://" + address + "/readyz"); err == nil {
			r.Body.Close()
			if r.StatusCode == 200 {
				return "http://" + address
			}
		}
		if time.Now().After(end) {
			cmd.Process.Kill()
			cmd.Wait()
			t.Fatalf("the daemon of the package does not answer:\n%s", log.Bytes())
		}
	}
}

func fetched(t *testing.T, url string) string {
	t.Helper()
	ctx, cancel := context.WithTimeout(t.Context(), 5*time.Minute)
	defer cancel()
	req, err := http.NewRequestWithContext(ctx, http.MethodGet, url, nil)
	if err != nil {
		t.Fatal(err)
	}
	r, err := http.DefaultClient.Do(req)
	if err != nil {
		t.Fatal(err)
	}
	defer r.Body.Close()
	b, err := io.ReadAll(r.Body)
	if err != nil {
		t.Fatal(err)
	}
	var compact bytes.Buffer
	if json.Compact(&compact, b) == nil {
		b = compact.Bytes()
	}
	return string(b)
}

// TestUnit holds the service against the list that was decided on, and against systemd's own judge
// of how exposed it leaves the machine (2.0 of 10 at most). systemd.exec(5) has what each does.
func TestUnit(t *testing.T) {
	const unit = "../../deploy/lidwright.service"
	text, err := os.ReadFile(unit)
	if err != nil {
		t.Fatal(err)
	}
	have := map[string][]string{}
	for _, line := range strings.Split(string(text), "\n") {
		if key, value, ok := strings.Cut(line, "="); ok && !strings.HasPrefix(line, "#") {
			have[key] = append(have[key], value)
		}
	}
	for key, want := range map[string]string{
		"Type": "notify", "User": "lidwright", "SupplementaryGroups": "dialout",
		"StateDirectory": "lidwright", "StateDirectoryMode": "0700", "ConfigurationDirectory": "lidwright",
		"ProtectSystem": "strict", "ProtectHome": "yes", "PrivateTmp": "yes", "PrivateMounts": "yes",
		"NoNewPrivileges": "yes", "DevicePolicy": "closed",
		"DeviceAllow":             strings.Join(source.ServiceDevices, " rw, ") + " rw",
		"RestrictAddressFamilies": "AF_UNIX AF_INET AF_INET6", "RestrictNamespaces": "yes",
		"RestrictRealtime": "yes",
		"RestrictSUIDSGID": "yes", "LockPersonality": "yes", "ProtectKernelTunables": "yes",
		"ProtectKernelModules": "yes", "ProtectKernelLogs": "yes", "ProtectControlGroups": "yes",
		"ProtectHostname": "yes", "ProtectProc": "invisible", "RemoveIPC": "yes", "KeyringMode": "private",
		"MemoryDenyWriteExecute": "yes", "CapabilityBoundingSet": "", "AmbientCapabilities": "",
		"SystemCallArchitectures": "native",
		"SystemCallFilter":        "@system-service, ~@privileged @resources, adjtimex",
		"SystemCallErrorNumber":   "EPERM", "UMask": "0077", "LimitNOFILE": "1000",
		"LimitCORE": "0", "MemoryMax": "200M", "Environment": "GOMEMLIMIT=100MiB", "TasksMax": "64",
		"Restart": "always", "RestartSec": "2", "StartLimitIntervalSec": "0",
		"RestartPreventExitStatus": fmt.Sprintf("%d %d", exitWrongUse, exitCannotStart), "WatchdogSec": "30",
		"LogRateLimitIntervalSec": "1h", "LogRateLimitBurst": "1000",
	} {
		if got := strings.Join(have[key], ", "); len(have[key]) == 0 || got != want {
			t.Errorf("%s=%s, want %s", key, got, want)
		}
	}
	// With these the clock never becomes trusted, or the boot id or the ports are not seen.
	for _, trap := range []string{"ProtectClock", "ProcSubset", "PrivateDevices"} {
		if _, there := have[trap]; there {
			t.Errorf("%s must not be there", trap)
		}
	}
	judged := ran(t, nil, "systemd-analyze", "security", "--offline=true", "--no-pager", unit)
	m := regexp.MustCompile(`Overall exposure level for lidwright.service: ([0-9.]+)`).FindStringSubmatch(judged)
	if m == nil {
		t.Fatalf("systemd-analyze says: %s", judged)
	}
	if exposed, _ := strconv.ParseFloat(m[1], 64); exposed > 2 {
		t.Errorf("exposure %s, at most 2.0", m[1])
	}
	t.Logf("exposure %s", m[1])
}
