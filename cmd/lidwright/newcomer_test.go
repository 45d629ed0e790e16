package main

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"
)

// typed are a newcomer's answers to setup, a line a question; an empty one takes what is proposed.
type typed struct{ asks, answer string }

// TestNewcomer goes through README by the package on a clean Debian: apt, setup at a terminal before a line
// that speaks, the first value, bar, lid, notice and value of the dashboard, and tells the time of each. It
// needs root, debootstrap and LIDWRIGHT_SOAK; LIDWRIGHT_PACKAGE names a package that was made before.
func TestNewcomer(t *testing.T) {
	if os.Getenv("LIDWRIGHT_SOAK") == "" {
		return
	}
	if os.Geteuid() != 0 {
		t.Fatal("a Debian to chroot into is made: run the soak as root")
	}
	deb := os.Getenv("LIDWRIGHT_PACKAGE")
	if deb == "" {
		deb = packages(t, "amd64/amd64/")[0]
	}
	c := cleanDebian(t, "bookworm", "amd64", "", "python3")
	ran(t, nil, "cp", deb, filepath.Join(c.root, "srv/lidwright.deb"))
	port := c.line()
	began := time.Now()
	lap := func(what string) { t.Logf("%-46s after %5.1f s", what, time.Since(began).Seconds()) }

	said := c.in("apt-get", "install", "-y", "-qq", "/srv/lidwright.deb")
	codes := regexp.MustCompile(`(?m)^[A-Z0-9]{4}(-[A-Z0-9]{4})+$`).FindAllString(said, -1)
	if len(codes) != 2 {
		t.Fatalf("the install shows %d passcodes:\n%s", len(codes), said)
	}
	c.env = append(c.env, "LIDWRIGHT_CODE="+codes[1]) // the owner's: clays are theirs
	lap("installed")

	received := make(chan string, 10)
	phone := httptest.NewServer(http.HandlerFunc(func(_ http.ResponseWriter, r *http.Request) {
		b, _ := io.ReadAll(r.Body)
		received <- string(b)
	}))
	defer phone.Close()
	address := c.address(t)
	site := "http://" + address
	c.setUp(port)
	lap("set up")

	// As the topic on monitoring says: a table for the phone.
	settings := filepath.Join(c.root, drillSettings)
	text, err := os.ReadFile(settings)
	if err == nil {
		err = os.WriteFile(settings, fmt.Appendf(text, "\n[notice.webhook.phone]\nurl = %q\n", phone.URL),
			0o644)
	}
	if err != nil {
		t.Fatal(err)
	}
	stop := c.serve(site)
	defer stop()
	value := regexp.MustCompile(`"temperature_c":250`)
	c.until("the first value", func() bool { return value.MatchString(fetched(t, site+"/v1/now")) })
	lap("first value on the page")

	// README's first bars, as they stand.
	for line := range strings.Lines(block(t, "lidwright clay add tern")) {
		line, _, _ = strings.Cut(strings.TrimSpace(line), "    #")
		if !strings.Contains(line, " load open ") { // its kiln is another
			c.in("sh", "-c", line+" --site "+address)
		}
		if strings.HasPrefix(line, "lidwright bar BQ7 wet") {
			lap("first bar, its wet length kept")
		}
	}
	lid := c.in("lidwright", "lid", "--collar", "96", "--body-drying-ratio", "0.06", "--body-firing-ratio",
		"0.07", "--play-mm", "1.5", "--site", address)
	// 94.2841 of lids.csv, at the scale of a calliper or a rule
	if !strings.Contains(lid, "94.3") && !strings.Contains(lid, "94.25") && !strings.Contains(lid, "94.5") {
		t.Errorf("the lid: %s", lid)
	}
	lap("first lid")

	c.in("lidwright", "firings", "begin", "big-blue", "--site", address)
	select {
	case notice := <-received:
		if !strings.Contains(notice, "firing.started") {
			t.Errorf("the notice: %s", notice)
		}
	case <-time.After(2 * time.Minute):
		t.Fatal("no notice in two minutes")
	}
	lap("first notice")
	c.dashboard(address)
	lap("first value of the dashboard")
}

// address is a free port of this machine that the settings are given.
func (c *clean) address(t *testing.T) string {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	l.Close()
	settings := filepath.Join(c.root, drillSettings)
	text, err := os.ReadFile(settings)
	if err == nil {
		err = os.WriteFile(settings, bytes.Replace(text, []byte(`":8573"`),
			fmt.Appendf(nil, "%q", l.Addr()), 1), 0o644)
	}
	if err != nil {
		t.Fatal(err)
	}
	return l.Addr().String()
}

// setUp types setup's dialogue at a terminal of its own, each answer after its question.
func (c *clean) setUp(port string) {
	c.t.Helper()
	at := `import os, pty, re, sys
answers = [a.split("\t") for a in sys.argv[2].split("\n")]
pid, fd = pty.fork()
if pid == 0:
    os.execvp("lidwright", ["lidwright", "setup", "--config", sys.argv[1]])
heard = ""
while True:
    try:
        b = os.read(fd, 4096)
    except OSError:
        break
    if not b:
        break
    heard += b.decode("utf-8", "replace")
    sys.stdout.write(b.decode("utf-8", "replace"))
    if re.search(r"(: |\? |\]: )$", heard):
        last = heard.rstrip().split("\n")[-1]
        answer = next((a for q, a in answers if q in last), "")
        os.write(fd, (answer + "\n").encode())
        heard = ""
sys.exit(os.waitstatus_to_exitcode(os.waitpid(pid, 0)[1]))
`
	var lines []string
	for _, one := range []typed{{"Name of the kiln", "big-blue"}, {"a path", port},
		{"highest temperature", "1290"}, {"What is it", "probe"}, {"Its unit", "c"}, {"thermocouple", "K"},
		{"Add this", "yes"}, {"Write this", "yes"}} {
		lines = append(lines, one.asks+"\t"+one.answer)
	}
	said := c.in("python3", "-c", at, drillSettings, strings.Join(lines, "\n"))
	if !strings.Contains(said, "Written. ") {
		c.t.Fatalf("setup:\n%s", said)
	}
}

// dashboard installs Debian's Prometheus, has it scrape as the topic on monitoring says, and asks it what the
// first panel of the dashboard asks.
func (c *clean) dashboard(address string) {
	c.t.Helper()
	c.in("apt-get", "install", "-y", "-qq", "--no-install-recommends", "prometheus")
	topic := c.in("lidwright", "help", "monitoring")
	_, jobs, _ := strings.Cut(topic, "scrape_configs:")
	jobs, _, found := strings.Cut("scrape_configs:"+jobs, "\n\n")
	if !found || !strings.Contains(jobs, "kiln-pi.local:8573") {
		c.t.Fatalf("the topic has no scrape job:\n%s", topic)
	}
	indent := regexp.MustCompile(`(?m)^    `)
	jobs = indent.ReplaceAllString("    "+jobs, "")
	jobs = "global: {scrape_interval: 1s}\n" + strings.Replace(jobs, "kiln-pi.local:8573", address, 1)
	if err := os.WriteFile(filepath.Join(c.root, "srv/prometheus.yml"), []byte(jobs), 0o644); err != nil {
		c.t.Fatal(err)
	}
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		c.t.Fatal(err)
	}
	l.Close()
	cmd := c.command(c.t.Context(), "prometheus", "--config.file=/srv/prometheus.yml",
		"--storage.tsdb.path=/srv/tsdb", "--web.listen-address="+l.Addr().String())
	var log bytes.Buffer
	cmd.Stdout, cmd.Stderr = &log, &log
	if err := cmd.Start(); err != nil {
		c.t.Fatal(err)
	}
	defer func() { cmd.Process.Kill(); cmd.Wait() }()
	var board struct {
		Panels []struct{ Targets []struct{ Expr string } }
	}
	text, err := os.ReadFile(filepath.Join(c.root, "usr/share/lidwright/grafana/lidwright.json"))
	if err := errors.Join(err, json.Unmarshal(text, &board)); err != nil {
		c.t.Fatal(err)
	}
	expr := ""
	for _, p := range board.Panels {
		if len(p.Targets) > 0 && expr == "" {
			expr = p.Targets[0].Expr
		}
	}
	expr = regexp.MustCompile(`=~"\$(job|instance|kiln)"`).ReplaceAllString(expr, `=~".+"`)
	var a struct {
		Data struct{ Result []struct{ Value [2]any } }
	}
	c.until("a value of "+expr+": "+log.String(), func() bool {
		r, err := http.Get("http://" + l.Addr().String() + "/api/v1/query?query=" + url.QueryEscape(expr))
		if err != nil {
			return false
		}
		defer r.Body.Close()
		return json.NewDecoder(r.Body).Decode(&a) == nil && len(a.Data.Result) > 0
	})
	if a.Data.Result[0].Value[1] != "250" {
		c.t.Errorf("%s is %v", expr, a.Data.Result)
	}
	if out, err := exec.Command("promtool", "check", "config",
		filepath.Join(c.root, "srv/prometheus.yml")).CombinedOutput(); err != nil &&
		!strings.Contains(string(out), "/usr/share/lidwright") {
		c.t.Errorf("promtool: %s", out)
	}
}
