package main

import (
	"bytes"
	"context"
	"errors"
	"io"
	"net/http"
	"os"
	"path/filepath"
	"regexp"
	"runtime"
	"slices"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"
)

// TestFresh runs the two commands of the README on a clean Debian that has git, make, sudo,
// ca-certificates and Go and nothing else of what it needs: make run until its page answers, and make
// test; as root, and as a user who is not but may sudo. It needs root, and LIDWRIGHT_SOAK or the releases
// in LIDWRIGHT_FRESH; with the word short in there it installs PACKAGES and starts each program of the
// tests once, on the first release.
func TestFresh(t *testing.T) {
	releases := strings.Fields(os.Getenv("LIDWRIGHT_FRESH"))
	if os.Getenv("LIDWRIGHT_SOAK") != "" && len(releases) == 0 {
		releases = []string{"bookworm", "trixie"} // Debian 12 and 13
	}
	if len(releases) == 0 {
		return
	}
	if os.Geteuid() != 0 {
		t.Fatal("it makes a Debian to chroot into: run it as root")
	}
	if i := slices.Index(releases, "short"); i >= 0 {
		releases = slices.Delete(releases, i, i+1)
		f := freshDebian(t, releases[0], "potter")
		began := time.Now()
		f.run("make", "packages")
		t.Logf("packages in %.0f s", time.Since(began).Seconds())
		f.startEach()
		return
	}
	for _, release := range releases {
		for _, user := range []string{"potter", "root"} {
			t.Run(release+" as "+user, func(t *testing.T) {
				f := freshDebian(t, release, user)
				f.makeRun()
				began := time.Now()
				out := f.run("make", "test")
				t.Logf("make test in %.0f s", time.Since(began).Seconds())
				for line := range strings.Lines(out[strings.LastIndex(out, "go test"):]) {
					if !regexp.MustCompile(`^(go test |ok |\?  )`).MatchString(line) {
						t.Errorf("a green run says: %s", line)
					}
				}
			})
		}
	}
}

// fresh is a clean Debian with a clone of HEAD and this machine's Go, for one of its users.
type fresh struct {
	*clean
	user string
}

func freshDebian(t *testing.T, release, user string) *fresh {
	t.Helper()
	f := &fresh{cleanDebian(t, release, runtime.GOARCH, "", bare...), user}
	f.env = []string{"GOROOT=" + strings.TrimSpace(ran(t, nil, "go", "env", "GOROOT"))}
	for _, name := range []string{"http_proxy", "https_proxy", "no_proxy", "HTTP_PROXY", "HTTPS_PROXY",
		"NO_PROXY", "GOPROXY", "GOSUMDB", "GONOSUMDB"} {
		if value := os.Getenv(name); value != "" {
			f.env = append(f.env, name+"="+value)
		}
	}
	// Where this machine trusts certificates of its own, as behind a proxy, the clean one must too.
	if own := os.Getenv("SSL_CERT_FILE"); own != "" {
		trusted, err := os.ReadFile(own)
		if err != nil {
			t.Fatal(err)
		}
		const inside = "/etc/ssl/certs/of-this-machine.crt"
		if err := errors.Join(os.MkdirAll(filepath.Join(f.root, "etc/ssl/certs"), 0o755),
			os.WriteFile(filepath.Join(f.root, inside), trusted, 0o644)); err != nil {
			t.Fatal(err)
		}
		f.env = append(f.env, "SSL_CERT_FILE="+inside)
	}
	sudoers := filepath.Join(f.root, "etc/sudoers.d/potter")
	if err := errors.Join(os.MkdirAll(filepath.Join(f.root, "usr/local/go"), 0o755),
		os.WriteFile(sudoers, []byte("potter ALL=(ALL) NOPASSWD: ALL\n"), 0o440)); err != nil {
		t.Fatal(err)
	}
	f.in("useradd", "--create-home", "potter")
	ran(t, nil, "git", "clone", "-q", "--no-hardlinks", "../..", filepath.Join(f.root, f.home(), "lidwright"))
	f.in("chown", "-R", user+":"+user, f.home()+"/lidwright")
	return f
}

func (f *fresh) home() string {
	return map[bool]string{true: "/root", false: "/home/" + f.user}[f.user == "root"]
}

// asUser is a command in the clone, with what a login gives a user.
func (f *fresh) asUser(args ...string) []string {
	return append([]string{"setpriv", "--reuid=" + f.user, "--regid=" + f.user, "--init-groups", "env", "-C",
		f.home() + "/lidwright", "-u", "GOROOT",
		"HOME=" + f.home(), "PATH=/usr/local/go/bin:/usr/local/sbin:/usr/local/bin:/usr/sbin:/usr/bin:/sbin:/bin"}, args...)
}

func (f *fresh) run(args ...string) string {
	f.t.Helper()
	return f.in(f.asUser(args...)...)
}

// makeRun holds that make run ends in a page that answers, and that Ctrl-C ends it.
func (f *fresh) makeRun() {
	t := f.t
	t.Helper()
	began := time.Now()
	cmd := f.command(context.WithoutCancel(t.Context()), f.asUser("make", "run")...)
	cmd.SysProcAttr.Setpgid = true // as a shell gives it
	var out said
	cmd.Stdout, cmd.Stderr = &out, &out
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	ended := make(chan error, 1)
	go func() { ended <- cmd.Wait() }()
	defer syscall.Kill(-cmd.Process.Pid, syscall.SIGKILL)
	site := regexp.MustCompile(`http://127\.0\.0\.1:\d+`)
	for end := time.Now().Add(30 * time.Minute); ; time.Sleep(100 * time.Millisecond) {
		select {
		case err := <-ended:
			t.Fatalf("make run ended: %v\n%s", err, out.String())
		default:
		}
		if time.Now().After(end) {
			t.Fatalf("no page in half an hour:\n%s", out.String())
		}
		if address := site.FindString(out.String()); address != "" {
			if r, err := http.Get(address); err == nil {
				page, _ := io.ReadAll(r.Body)
				r.Body.Close()
				if bytes.Contains(page, []byte("practice studio")) {
					break
				}
			}
		}
	}
	t.Logf("make run: the page answers after %.0f s, a cold build in it", time.Since(began).Seconds())
	syscall.Kill(-cmd.Process.Pid, syscall.SIGINT)
	<-ended
	if r, err := http.Get(site.FindString(out.String())); err == nil {
		r.Body.Close()
		t.Error("after Ctrl-C the page still answers")
	}
}

// said is what a command says while it is looked at.
type said struct {
	mu   sync.Mutex
	text bytes.Buffer
}

func (s *said) Write(b []byte) (int, error) { s.mu.Lock(); defer s.mu.Unlock(); return s.text.Write(b) }
func (s *said) String() string              { s.mu.Lock(); defer s.mu.Unlock(); return s.text.String() }

// startEach starts every program that the tests look up and every Python helper, once: what does not
// start, or starts and finds a module or a library missing, is told.
func (f *fresh) startEach() {
	t := f.t
	t.Helper()
	for _, name := range programsLookedUp(t) {
		if name == "go" || ofSoak[name] != "" {
			continue
		}
		f.run("sh", "-c", `out=$(timeout 60 "$0" --version </dev/null 2>&1); code=$?
case "$code $out" in 126*|127*|*"shared librar"*|*Traceback*) echo "$0: $code $out"; exit 1;; esac`, name)
	}
	// Both slaves on a line of socat's, asked by mbpoll.
	for _, start := range []string{`/usr/bin/python3 testdata/slave.py "$d/x" 17`,
		`gcc -o "$d/slave" testdata/slave.c $(pkg-config --cflags --libs libmodbus) && exec "$d/slave" "$d/x" 17`} {
		f.run("sh", "-c", `cd kiln/source; d=$(mktemp -d)
socat pty,raw,echo=0,link="$d/x" pty,raw,echo=0,link="$d/y" & line=$!
until [ -e "$d/x" ] && [ -e "$d/y" ]; do sleep 0.1; done
(`+start+`) >"$d/said" 2>&1 & slave=$!
for try in $(seq 300); do
	if mbpoll -m rtu -b 9600 -P none -a 17 -1 -q -t 4 -r 1 "$d/y" | grep -q 8505; then kill $slave $line; exit 0; fi
	sleep 0.2
done
cat "$d/said"; kill $slave $line; exit 1`)
	}
}
