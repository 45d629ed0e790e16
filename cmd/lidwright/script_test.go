package main

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"log/slog"
	"net/http"
	"os"
	"os/exec"
	"os/signal"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/rogpeppe/go-internal/testscript"
	"github.com/spf13/cobra"

	"lidwright/config"
	"lidwright/daemon"
)

// The scripts run this test binary again under the name of the program.
func TestMain(m *testing.M) {
	slog.SetLogLoggerLevel(slog.LevelWarn) // what daemons of the tests say in passing hides what failed
	testscript.Main(m, map[string]func(){"lidwright": func() {
		ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
		defer stop()
		os.Exit(run(ctx, os.Args[1:], os.Stdout, os.Stderr))
	}})
}

// furnished is the address and the folder of a daemon with the made-up studio; the line of its kiln is away.
func furnished(t testing.TB) (site, folder string) {
	t.Helper()
	folder = filepath.Join(t.TempDir(), "store")
	file := filepath.Join(t.TempDir(), "lidwright.toml")
	text := fmt.Sprintf("[site]\natmosphere = \"oxidation\"\n[store]\nfolder = %q\n[kiln.big-blue]\nport = %q\nreply = \"columns\"\nlimit_c = 1290\n[kiln.big-blue.channel.1]\nfrom = \"1\"\nunit = \"c\"\n[kiln.big-blue.probe.1]\ntype = \"K\"\n[kiln.little-red]\nport = \"\"\nlimit_c = 1240\n", folder, folder+"-line-that-is-away")
	if err := os.WriteFile(file, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	cfg, err := config.Load(file, nil, nil)
	if err != nil {
		t.Fatal(err)
	}
	cfg.Listen.Address = "127.0.0.1:0"
	d, err := daemon.New(t.Context(), cfg, "test")
	if err != nil {
		t.Fatal(err)
	}
	d.Now = daemon.PracticeClock()
	if _, err := d.Furnish(t.Context(), "big-blue"); err != nil {
		t.Fatal(err)
	}
	site = served(t, d)
	for until := time.Now().Add(time.Minute); !records(t, site,
		"big-blue"); time.Sleep(20 * time.Millisecond) {
		if time.Now().After(until) {
			t.Fatal("the open firing of big-blue is not taken up")
		}
	}
	return site, folder
}

// records reports whether a firing of a kiln is being recorded.
func records(t testing.TB, site, kiln string) bool {
	t.Helper()
	r, err := http.Get(site + "/v1/now/" + kiln)
	if err != nil {
		t.Fatal(err)
	}
	defer r.Body.Close()
	var now struct{ Firing *string }
	if err := json.NewDecoder(r.Body).Decode(&now); err != nil {
		t.Fatal(err)
	}
	return now.Firing != nil
}

// served runs a daemon until the test ends, and gives the address of its page.
func served(t testing.TB, d *daemon.Daemon) (site string) {
	t.Helper()
	address, ended := make(chan string, 1), make(chan error, 1)
	d.Ready = func(at string) { address <- at }
	ctx, stop := context.WithCancel(context.Background())
	go func() { ended <- d.Run(ctx) }()
	select {
	case at := <-address:
		site = "http://" + at
	case err := <-ended:
		stop()
		t.Fatal(err)
	}
	t.Cleanup(func() {
		stop()
		if err := <-ended; err != nil {
			t.Error(err)
		}
	})
	return site
}

// TestScripts runs testdata/script: what is typed, what is answered, and the exit code. All scripts
// ask one daemon; each makes clays, bars and pots of its own where it writes.
func TestScripts(t *testing.T) {
	site, folder := furnished(t)
	t.Run("all", func(t *testing.T) { // ends when all have ended
		testscript.Run(t, testscript.Params{
			Dir: "testdata/script",
			Setup: func(e *testscript.Env) error {
				e.Setenv("SITE", site)
				e.Setenv("STORE", folder)
				e.Setenv("HOME", e.WorkDir)
				return nil
			},
			Cmds: map[string]func(*testscript.TestScript, bool, []string){"exits": exits, "keep": keep,
				"fill": fill, "injson": inJSON},
		})
	})
}

// exits CODE COMMAND ARGS... wants an exit code.
func exits(ts *testscript.TestScript, _ bool, args []string) {
	err := ts.Exec(args[1], args[2:]...)
	code := 0
	if e, ok := err.(*exec.ExitError); ok {
		code = e.ExitCode()
	} else if err != nil {
		ts.Fatalf("%v", err)
	}
	if fmt.Sprint(code) != args[0] {
		ts.Fatalf("exit %d, want %s", code, args[0])
	}
}

// injson COMMAND ARGS... wants an answer in JSON, be it that a rate is weak.
func inJSON(ts *testscript.TestScript, _ bool, args []string) {
	err := ts.Exec(args[0], append(args[1:], "--json")...)
	if e, ok := err.(*exec.ExitError); err != nil && (!ok || e.ExitCode() != exitWeakRate) {
		ts.Fatalf("%v", err)
	}
	if out := ts.ReadFile("stdout"); !json.Valid([]byte(out)) {
		ts.Fatalf("no JSON: %s", out)
	}
}

// keep NAME REGEXP puts the first group of the last output into a variable.
func keep(ts *testscript.TestScript, _ bool, args []string) {
	found := regexp.MustCompile(args[1]).FindStringSubmatch(ts.ReadFile("stdout"))
	if found == nil {
		ts.Fatalf("%s is not in the output", args[1])
	}
	ts.Setenv(args[0], found[1])
}

// fill FILE... puts the folder of the script in the place of $WORK.
func fill(ts *testscript.TestScript, _ bool, args []string) {
	for _, name := range args {
		text := strings.ReplaceAll(ts.ReadFile(name), "$WORK", ts.Getenv("WORK"))
		ts.Check(os.WriteFile(ts.MkAbs(name), []byte(text), 0o600))
	}
}

// Every command is run by a script, shows examples before its flags, and its examples are commands
// that there are, with flags that they have.
func TestEveryCommand(t *testing.T) {
	files, err := filepath.Glob("testdata/script/*.txtar")
	if err != nil || len(files) == 0 {
		t.Fatalf("no scripts: %v", err)
	}
	var scripts strings.Builder
	for _, f := range files {
		b, err := os.ReadFile(f)
		if err != nil {
			t.Fatal(err)
		}
		scripts.Write(b)
	}
	commands := 0
	var walk func(c *cobra.Command)
	walk = func(c *cobra.Command) {
		for _, sub := range c.Commands() {
			if sub.Name() != "help" && sub.Name() != "completion" {
				walk(sub)
			}
		}
		if !c.Runnable() && !c.HasSubCommands() {
			return // a topic of the help
		}
		commands++
		path := c.CommandPath()
		if c.Runnable() && !regexp.MustCompile(`(?m)^(exec|exits \d) `+path+
			`( [^a-z]| [^ ]*[A-Z$/.-]|$| [a-z])`).MatchString(scripts.String()) {
			t.Errorf("no script runs %s", path)
		}
		if c.Runnable() && !regexp.MustCompile(`(?m)^(injson `+path+
			`( [^a-z]| [^ ]*[A-Z$/.0-9-]|$| [a-z])|exits \d `+path+
			` .*--json)`).MatchString(scripts.String()) {
			t.Errorf("no script has %s answer in JSON", path)
		}
		if c.Example == "" {
			t.Errorf("%s has no example", path)
			return
		}
		help := helpOf(t, c)
		example, flags := strings.Index(help, "\nExamples:\n"), strings.Index(help, "\nFlags:\n")
		if example < 0 || flags >= 0 && flags < example {
			t.Errorf("%s: the help shows no examples, or its flags first:\n%s", path, help)
		}
		for _, line := range strings.Split(c.Example, "\n") {
			exampleHolds(t, path, line)
		}
	}
	walk(rootCommand())
	if commands < 50 {
		t.Errorf("only %d commands were looked at", commands)
	}
}

func helpOf(t *testing.T, c *cobra.Command) string {
	t.Helper()
	root := rootCommand()
	var out bytes.Buffer
	root.SetOut(&out)
	root.SetArgs(append(strings.Fields(c.CommandPath())[1:], "--help"))
	if err := root.Execute(); err != nil {
		t.Fatalf("%s --help: %v", c.CommandPath(), err)
	}
	return out.String()
}

var quoted = regexp.MustCompile(`"[^"]*"|\S+`)

// exampleHolds looks at one line of examples: `[sudo ...] lidwright COMMAND ...  a remark`.
func exampleHolds(t *testing.T, path, line string) {
	t.Helper()
	_, after, ok := strings.Cut(line, "lidwright ")
	if !ok {
		return // the inside of a file, or another program
	}
	if i := strings.LastIndex(line[:len(line)-len(after)], "-u lidwright"); i >= 0 {
		_, after, _ = strings.Cut(after, "lidwright ")
	}
	after, _, _ = strings.Cut(after, "   ") // a remark
	for _, end := range []string{" > ", " | ", " < "} {
		after, _, _ = strings.Cut(after, end)
	}
	words := quoted.FindAllString(strings.TrimSpace(after), -1)
	for i := range words {
		words[i] = strings.Trim(words[i], `"`)
	}
	root := rootCommand()
	c, rest, err := root.Find(words)
	if err != nil {
		t.Errorf("%s: example %q: %v", path, line, err)
		return
	}
	if err := c.ParseFlags(rest); err != nil {
		t.Errorf("%s: example %q: %v", path, line, err)
		return
	}
	if err := c.ValidateArgs(slices.Clone(c.Flags().Args())); err != nil {
		t.Errorf("%s: example %q: %v", path, line, err)
	}
	if !c.Runnable() {
		t.Errorf("%s: example %q runs nothing", path, line)
	}
}
