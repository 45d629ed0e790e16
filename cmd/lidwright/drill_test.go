package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"net"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"runtime"
	"strings"
	"syscall"
	"testing"
	"time"

	"golang.org/x/sys/unix"

	"lidwright/kiln/practice"
)

// TestRescueDrill installs the package with apt into a clean Debian of its own, finds a kiln's line
// with setup, sees the first value on the page, puts the copy from a stick back and asks for a lid;
// then purges, which keeps the record unless asked twice. Once as this machine's processor, once as a
// Pi's (arm64, under qemu). It needs root, Debian's packages and LIDWRIGHT_SOAK; the short form is
// TestPackage.
func TestRescueDrill(t *testing.T) {
	if os.Getenv("LIDWRIGHT_SOAK") == "" {
		return
	}
	if os.Geteuid() != 0 {
		t.Fatal("the drill makes a Debian to chroot into: run the soak as root")
	}
	if _, err := exec.LookPath("debootstrap"); err != nil {
		ran(t, nil, "apt-get", "update", "-qq")
		ran(t, []string{"DEBIAN_FRONTEND=noninteractive"}, "apt-get", "install", "-y", "-qq",
			"--no-install-recommends", "debootstrap")
	}
	stick := stickOf(t)
	ran(t, nil, "chmod", "-R", "a+rX", filepath.Dir(filepath.Dir(stick))) // as a stick is that has no owners
	for _, arch := range []string{"amd64", "arm64"} {
		t.Run(arch, func(t *testing.T) {
			c := cleanDebian(t, "bookworm", arch, stick)
			c.drill(packages(t, map[string]string{"amd64": "amd64/amd64/", "arm64": "arm64/arm64/"}[arch])[0])
		})
	}
}

// clean is a Debian in a folder, with a stick at /media/stick.
type clean struct {
	t           *testing.T
	root, stick string
	env         []string // beside what every command has
}

// cleanDebian makes one of a release and a processor, with some packages beside the least.
func cleanDebian(t *testing.T, release, arch, stick string, with ...string) *clean {
	t.Helper()
	c := &clean{t: t, root: filepath.Join(t.TempDir(), "root"), stick: stick}
	args := []string{"--variant=minbase", "--arch=" + arch}
	if len(with) > 0 {
		args = append(args, "--include="+strings.Join(with, ","))
	}
	foreign := arch != runtime.GOARCH
	if foreign {
		anotherProcessor(t)
		args = append(args, "--foreign")
	}
	began := time.Now()
	ran(t, nil, "debootstrap", append(args, release, c.root, mirror(t))...)
	if foreign {
		c.in("/debootstrap/debootstrap", "--second-stage")
	}
	t.Logf("a clean Debian, %s for %s, in %.0f s", release, arch, time.Since(began).Seconds())
	// No service of what is installed starts: they would be this machine's.
	if err := errors.Join(os.MkdirAll(filepath.Join(c.root, "media/stick"), 0o755),
		os.WriteFile(filepath.Join(c.root, "usr/sbin/policy-rc.d"), []byte("#!/bin/sh\nexit 101\n"), 0o755),
		// it is thrown away
		os.WriteFile(filepath.Join(c.root, "etc/dpkg/dpkg.cfg.d/quick"),
			[]byte("force-unsafe-io\n"), 0o644)); err != nil {
		t.Fatal(err)
	}
	c.in("apt-get", "update", "-qq")
	return c
}

// mirror is where this machine has its Debian from.
func mirror(t *testing.T) string {
	t.Helper()
	for line := range strings.Lines(ran(t, nil, "apt-get", "indextargets", "--format",
		"$(REPO_URI) $(ORIGIN) $(LABEL)", "Created-By: Packages")) {
		if uri, of, _ := strings.Cut(strings.TrimSpace(line), " "); of == "Debian Debian" {
			return uri
		}
	}
	t.Fatal("apt knows no source of Debian here")
	return ""
}

// anotherProcessor lets the kernel run programs for arm64 through qemu until the test ends.
func anotherProcessor(t *testing.T) {
	t.Helper()
	control := t.TempDir()
	if err := unix.Mount("binfmt_misc", control, "binfmt_misc", 0, ""); err != nil {
		t.Fatalf("mount binfmt_misc, to run programs of another processor: %v", err)
	}
	t.Cleanup(func() { unix.Unmount(control, unix.MNT_DETACH) })
	static := filepath.Join(t.TempDir(), "qemu")
	if err := os.Mkdir(static, 0o777); err != nil {
		t.Fatal(err)
	}
	ran(t, nil, "sh", "-c", `cd "$0" && apt-get download -qq qemu-user-static && dpkg-deb --extract qemu-user-static_*.deb .`, static)
	const name = "lidwright-drill-arm64"
	// of an ELF file for AArch64: elf(5)
	const magic = `\x7fELF\x02\x01\x01\x00\x00\x00\x00\x00\x00\x00\x00\x00\x02\x00\xb7\x00`
	const mask = `\xff\xff\xff\xff\xff\xff\xff\x00\xff\xff\xff\xff\xff\xff\xff\xff\xfe\xff\xff\xff`
	if err := os.WriteFile(filepath.Join(control, "register"),
		[]byte(":"+name+":M::"+magic+":"+mask+":"+filepath.Join(static, "usr/bin/qemu-aarch64-static")+":F"),
		0o200); err != nil {
		t.Fatalf("let the kernel run programs for arm64: %v", err)
	}
	t.Cleanup(func() {
		if err := os.WriteFile(filepath.Join(control, name), []byte("-1"), 0o200); err != nil {
			t.Error(err)
		}
	})
}

// command runs something inside, in mounts of its own.
func (c *clean) command(ctx context.Context, args ...string) *exec.Cmd {
	const inside = `set -e; root=$0 stick=$1; shift
mount -t proc proc "$root/proc"; mount --rbind /dev "$root/dev"; mount -t tmpfs tmpfs "$root/run"
[ -z "$stick" ] || { mount --bind "$stick" "$root/media/stick"; mount -o remount,bind,ro "$root/media/stick"; }
[ ! -d "$root/usr/local/go" ] || { mount --bind "$GOROOT" "$root/usr/local/go"; mount -o remount,bind,ro "$root/usr/local/go"; }
exec chroot "$root" "$@"`
	cmd := exec.CommandContext(ctx, "sh", append([]string{"-c", inside, c.root, c.stick}, args...)...)
	cmd.Env = append([]string{"PATH=/usr/sbin:/usr/bin:/sbin:/bin", "LC_ALL=C",
		"DEBIAN_FRONTEND=noninteractive", "HOME=/root"}, c.env...)
	cmd.SysProcAttr = &syscall.SysProcAttr{Unshareflags: unix.CLONE_NEWNS, Pdeathsig: syscall.SIGKILL}
	return cmd
}

// in runs it to its end and gives what it said.
func (c *clean) in(args ...string) string {
	c.t.Helper()
	out, err := c.command(c.t.Context(), args...).CombinedOutput()
	if err != nil {
		c.t.Fatalf("%v: %v\n%s", args, err, out)
	}
	return strings.ReplaceAll(string(out), "\r", "") // apt gives dpkg a terminal
}

// asDaemon is what runs lidwright as the unit does: as its user, in the groups of it.
func asDaemon(args ...string) []string {
	return append([]string{"setpriv", "--reuid=lidwright", "--regid=lidwright", "--init-groups",
		"--no-new-privs", "env", "GOMEMLIMIT=100MiB", "lidwright"}, args...)
}

const drillSettings = "/etc/lidwright/lidwright.toml"

// serve starts the daemon inside; stop ends it as systemd does.
func (c *clean) serve(site string) (stop func()) {
	c.t.Helper()
	cmd := c.command(context.WithoutCancel(c.t.Context()), asDaemon("run", "--config", drillSettings)...)
	var log bytes.Buffer
	cmd.Stdout, cmd.Stderr = &log, &log
	if err := cmd.Start(); err != nil {
		c.t.Fatal(err)
	}
	ended := make(chan error, 1)
	go func() { ended <- cmd.Wait() }()
	c.t.Cleanup(func() { cmd.Process.Kill() })
	c.until("the daemon", func() bool {
		select {
		case err := <-ended:
			c.t.Fatalf("the daemon ended: %v\n%s", err, log.Bytes())
		default:
		}
		r, err := http.Get(site + "/readyz")
		if err == nil {
			r.Body.Close()
		}
		return err == nil && r.StatusCode == 200
	})
	return func() {
		c.t.Helper()
		cmd.Process.Signal(syscall.SIGTERM)
		if err := <-ended; err != nil {
			c.t.Errorf("the stop: %v\n%s", err, log.Bytes())
		}
	}
}

func (c *clean) until(what string, so func() bool) {
	c.t.Helper()
	for end := time.Now().Add(2 * time.Minute); !so(); time.Sleep(50 * time.Millisecond) {
		if time.Now().After(end) {
			c.t.Fatal("waited two minutes in vain for " + what)
		}
	}
}

func (c *clean) there(path string) bool {
	_, err := os.Stat(filepath.Join(c.root, path))
	return err == nil
}

func (c *clean) drill(deb string) {
	t := c.t
	ran(t, nil, "cp", deb, filepath.Join(c.root, "srv/lidwright.deb"))
	port := c.line()
	codes := regexp.MustCompile(`(?m)^[A-Z0-9]{4}(-[A-Z0-9]{4})+$`)

	began := time.Now()
	said := c.in("apt-get", "install", "-y", "-qq", "/srv/lidwright.deb")
	if n := len(codes.FindAllString(said, -1)); n != 2 ||
		!strings.Contains(said, "Next: sudo lidwright setup") || !strings.Contains(said, "protects nothing") {
		t.Errorf("the install shows %d codes: %s", n, said)
	}
	installed := time.Since(began)
	// a port of this machine that is free; no other machine is answered
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	address := l.Addr().String()
	l.Close()
	settings := filepath.Join(c.root, drillSettings)
	text, err := os.ReadFile(settings)
	if err == nil {
		err = os.WriteFile(settings, bytes.Replace(text, []byte(`":8573"`),
			fmt.Appendf(nil, "%q", address), 1), 0o644)
	}
	answers := filepath.Join(c.root, "srv/kiln.answers")
	if err := errors.Join(err, os.WriteFile(answers,
		fmt.Appendf(nil, "kiln = \"big-blue\"\nport = %q\nchannel_1 = \"probe\"\nunit_1 = \"c\"\ntype_1 = \"S\"\nlimit_c = 1290\nwrite = true\n", port), 0o600)); err != nil {
		t.Fatal(err)
	}
	if said := c.in("lidwright", "setup", "--config", drillSettings, "--answers",
		"/srv/kiln.answers"); !strings.Contains(said, "Written. ") {
		t.Errorf("setup: %s", said)
	}
	site := "http://" + address
	stop := c.serve(site)
	value := regexp.MustCompile(`"temperature_c":\d`)
	c.until("the first value", func() bool { return value.MatchString(fetched(t, site+"/v1/now")) })
	if page := fetched(t, site+"/"); !strings.Contains(page, "250") || !strings.Contains(page, "°C") {
		t.Errorf("no value on the page: %s", page)
	}
	t.Logf("apt install %.1f s; to the page with the first value, setup's listening in it, %.1f s",
		installed.Seconds(), time.Since(began).Seconds())
	stop()

	if groups := strings.Fields(c.in("id", "-nG", "lidwright")); strings.Join(groups,
		" ") != "lidwright dialout" {
		t.Errorf("the daemon's groups: %v", groups)
	}
	if mode := c.in("stat", "-c", "%U %a", "/var/lib/lidwright",
		"/etc/lidwright/owner.code"); mode != "lidwright 700\nroot 640\n" {
		t.Errorf("the state folder and the codes: %s", mode)
	}
	if again := c.in("apt-get", "install", "-y", "-qq", "--reinstall",
		"/srv/lidwright.deb"); codes.MatchString(again) {
		t.Errorf("installed again it shows codes: %s", again)
	}
	if now, err := os.ReadFile(settings); err != nil || !bytes.Contains(now, []byte("big-blue")) {
		t.Errorf("installed again it took the settings: %v %s", err, now)
	}

	began = time.Now()
	if said := c.in(asDaemon("copy", "restore", "/media/stick", "--config",
		drillSettings)...); !strings.Contains(said, "is the store in /var/lib/lidwright") ||
		!strings.Contains(said, "What was there is kept") {
		t.Errorf("restore: %s", said)
	}
	stop = c.serve(site)
	if got := fetched(t, site+"/v1/lid?collar=104.5&opening=92.5&clay=tern&accept=wide"); !strings.Contains(got, `"set_mm":10`) {
		t.Errorf("the lid: %s", got)
	}
	t.Logf("from the stick to an answered lid %.1f s", time.Since(began).Seconds())
	if got := c.in("lidwright", "clay", "list", "--site", site); !strings.Contains(got, "tern") {
		t.Errorf("the command inside: %s", got)
	}
	c.until("a value after the rescue", func() bool { return value.MatchString(fetched(t, site+"/v1/now")) })
	stop()

	c.in("apt-get", "purge", "-y", "-qq", "lidwright")
	if !c.there("var/lib/lidwright/lidwright.db") || c.there("etc/lidwright") ||
		c.there("usr/bin/lidwright") {
		t.Error("a purge leaves the record and nothing else")
	}
	if said := c.in("apt-get", "install", "-y", "-qq",
		"/srv/lidwright.deb"); len(codes.FindAllString(said, -1)) != 2 {
		t.Errorf("installed over a record that stayed: %s", said)
	}
	c.in("touch", "/var/lib/lidwright/forget-all")
	c.in("apt-get", "purge", "-y", "-qq", "lidwright")
	if c.there("var/lib/lidwright") {
		t.Error("asked twice the record is still there")
	}
}

// line is a kiln that says 250 °C five times a second, down a port that belongs to dialout as a serial
// adapter does: only who is in that group can open it.
func (c *clean) line() (port string) {
	c.t.Helper()
	plug := &practice.Plug{Link: filepath.Join(c.root, "srv/kiln-port")}
	if err := plug.Plug(); err != nil {
		c.t.Fatal(err)
	}
	device, err := os.Readlink(plug.Link)
	if err == nil {
		// dialout is 20 in every Debian: base-passwd
		err = errors.Join(os.Chown(device, 0, 20), os.Chmod(device, 0o660))
	}
	if err != nil {
		c.t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan struct{})
	go func() {
		defer close(done)
		for ctx.Err() == nil {
			plug.Write([]byte("250.0\r\n"))
			practice.Wait(ctx, 200*time.Millisecond)
		}
	}()
	c.t.Cleanup(func() { cancel(); <-done; plug.Unplug() })
	return "/srv/kiln-port"
}
