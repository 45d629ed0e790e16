package main

import (
	"bufio"
	"bytes"
	"cmp"
	"context"
	"encoding/json"
	"flag"
	"fmt"
	"io"
	"log/slog"
	"maps"
	"math/rand/v2"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/spf13/cobra"

	"lidwright/config"
	"lidwright/daemon"
	"lidwright/daemon/store"
	"lidwright/kiln"
	"lidwright/kiln/practice"
)

var update = flag.Bool("update", false, "write the answers of TestAnswers anew")

// TestAnswers sets a fixed studio up over HTTP, by testdata/answers.txt, and holds what the program says
// to the files of testdata/answers: every route, every page in both languages, every command and its help.
// A route or command that nothing asks fails. Clock, ids and chance are handed in.
//
//	go test -run 'TestAnswers$' ./cmd/lidwright -update
func TestAnswers(t *testing.T) {
	script, err := os.ReadFile("testdata/answers.txt")
	if err != nil {
		t.Fatal(err)
	}
	golden, err := filepath.Abs("testdata/answers")
	if err != nil {
		t.Fatal(err)
	}
	a := newAsking(t)
	a.start()
	for line := range strings.Lines(string(script)) {
		if line = strings.TrimSpace(line); line != "" && line[0] != '#' {
			a.do(named.ReplaceAllStringFunc(line, func(name string) string { return idOf(name) }))
		}
	}
	a.helps()
	a.missing()
	a.hold(golden)
}

// asking is a studio that is asked, and what it answered.
type asking struct {
	*testing.T
	ctx     context.Context
	work    string // folder in which the commands run
	config  config.Config
	plug    *practice.Plug
	daemon  *daemon.Daemon // nil: none runs
	site    string
	end     func()
	stirred bool     // something was said since the fit settled
	again   []string // commands that run with --store too, when the daemon has ended

	curve practice.Curve // what big-blue's line tells
	began time.Time      // of that firing; zero: none
	told  int            // minutes of it
	tick  chan time.Time // of the recorder
	looks int            // questions that are not kept

	left   map[string]bool // patterns of routes that nothing asked yet
	ran    map[string]bool // paths of commands that were run
	said   map[string][]answered
	heads  map[string][]string // headers that many answers share, and whose
	client *http.Client

	mu    sync.Mutex // guards the fields below
	now   time.Time
	asked int
	ids   []string // handed in since the last question
}

// answered is one answer in a file of them.
type answered struct{ question, answer string }

const answersSettings = `[site]
name = "The fixed studio"
id = "0193c0c0-0000-7000-8000-000000000000"
zone = "Europe/Berlin"
atmosphere = "oxidation"
[store]
folder = %q
[listen]
address = "127.0.0.1:1"
public_url = "http://studio.example:8573"
[notice]
digest_at = "23:59"
[kiln.big-blue]
port = %q
reply = "columns"
every = "60s"
limit_c = 1290
[kiln.big-blue.channel.1]
from = "1"
unit = "c"
[kiln.big-blue.probe.1]
type = "K"
[kiln.little-red]
port = ""
limit_c = 1240
`

func newAsking(t *testing.T) *asking {
	t.Helper()
	a := &asking{T: t, work: t.TempDir(), left: map[string]bool{}, ran: map[string]bool{},
		said: map[string][]answered{}, heads: map[string][]string{},
		client: &http.Client{Transport: &http.Transport{DisableCompression: true}, Timeout: 2 * time.Minute,
			CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}}
	for _, v := range os.Environ() {
		if name, was, _ := strings.Cut(v, "="); strings.HasPrefix(name, "LIDWRIGHT_") {
			os.Unsetenv(name) // a setting of the tests is none of its own
			t.Cleanup(func() { os.Setenv(name, was) })
		}
	}
	t.Setenv("HOME", "/home/potter") // answers name the folder of the store
	t.Setenv("XDG_STATE_HOME", "")
	t.Setenv("XDG_CONFIG_HOME", filepath.Join(a.work, "config"))
	log := slog.Default()
	slog.SetDefault(slog.New(slog.DiscardHandler))
	t.Cleanup(func() { slog.SetDefault(log) })
	a.work, _ = filepath.EvalSymlinks(a.work)
	t.Chdir(a.work)
	a.plug = &practice.Plug{Link: filepath.Join(a.work, "line")}
	if err := a.plug.Plug(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { a.plug.Unplug() })
	a.file("site.toml", fmt.Sprintf(answersSettings, filepath.Join(a.work, "store"), a.plug.Link))
	a.file("fresh.toml", fmt.Sprintf("[store]\nfolder = %q\n", filepath.Join(a.work, "fresh")))
	var err error
	if a.config, err = config.Load("site.toml", nil, nil); err != nil {
		t.Fatal(err)
	}
	a.config.Listen.Address = "127.0.0.1:0"
	a.name()
	a.ctx = context.WithValue(t.Context(), worldKey{}, world{now: a.stamp, newID: a.newID})
	return a
}

// name begins the record, under a name and a life that are always the same.
func (a *asking) name() {
	a.Helper()
	folder := a.config.Store.Folder
	if err := os.Mkdir(folder, 0o700); err != nil {
		a.Fatal(err)
	}
	life := func() string { return "0193c0c3-0000-7000-8000-000000000000" }
	s, err := store.Settings{NewLife: life}.Open(a.Context(), folder)
	if err != nil {
		a.Fatal(err)
	}
	defer s.Close()
	if _, err := s.SiteID(a.Context(), a.config.Site.ID); err != nil {
		a.Fatal(err)
	}
}

// stamp is the clock that is handed in. It stands still but for what the script says.
func (a *asking) stamp() kiln.Stamp {
	a.mu.Lock()
	defer a.mu.Unlock()
	now := a.now
	since := now.Sub(time.Date(2025, 12, 1, 0, 0, 0, 0, time.UTC))
	return kiln.Stamp{Boot: "answers", Since: since, Wall: now, Trusted: true}
}

func (a *asking) set(now time.Time) {
	a.mu.Lock()
	defer a.mu.Unlock()
	if now.Before(a.now) {
		a.Fatalf("the clock goes back from %s to %s", a.now, now)
	}
	a.now = now.UTC()
}

// newID hands an id in: which question, and which id of it.
func (a *asking) newID() string {
	a.mu.Lock()
	defer a.mu.Unlock()
	id := fmt.Sprintf("0193c0c2-%04x-7000-8000-%012x", a.asked, len(a.ids))
	a.ids = append(a.ids, id)
	return id
}

// begin begins a question: heat works and fit have settled, ids count anew, and a write moves the clock on.
func (a *asking) begin(write bool) {
	a.Helper()
	if a.daemon != nil && a.stirred {
		if err := a.daemon.Fitted(a.ctx); err != nil {
			a.Fatal(err)
		}
	}
	a.stirred = write
	a.mu.Lock()
	defer a.mu.Unlock()
	a.ids = nil
	if write {
		a.asked++
		a.now = a.now.Add(time.Second)
	}
}

var (
	named = regexp.MustCompile(`\{[A-Z][0-9]+\}`)
	known = regexp.MustCompile(`0193c0c1-0000-7000-8000-([0-9a-f]{2})([0-9]{10})`)
)

// idOf is the id that {F12} stands for, nameOf the other way round.
func idOf(name string) string {
	var n int
	fmt.Sscanf(name[2:], "%d}", &n)
	return fmt.Sprintf("0193c0c1-0000-7000-8000-%02x%010d", name[1], n)
}

func nameOf(id string) string {
	var letter byte
	var n int
	fmt.Sscanf(id[24:26], "%x", &letter)
	fmt.Sscanf(id[26:], "%d", &n)
	return fmt.Sprintf("{%c%d}", letter, n)
}

func (a *asking) file(name, text string) {
	a.Helper()
	if err := os.WriteFile(name, []byte(text), 0o600); err != nil {
		a.Fatal(err)
	}
}

func (a *asking) at(text string) time.Time {
	a.Helper()
	at, err := time.Parse(time.RFC3339, text)
	if err != nil {
		a.Fatal(err)
	}
	return at
}

// do does a line of the script.
func (a *asking) do(line string) {
	a.Helper()
	word, rest, _ := strings.Cut(line, " ")
	switch word {
	case "at":
		a.set(a.at(rest))
	case "over":
		a.until("the newest firing is over", func() bool {
			var found struct {
				Items []struct{ Status string }
			}
			a.get("/v1/firings?kiln=big-blue&limit=1", &found)
			return found.Items[0].Status == "ended"
		})
	case "start":
		a.start()
	case "end":
		a.end()
		a.daemon = nil
		for _, line := range a.again {
			a.run(line, "--store", "store", "--config", "site.toml")
		}
	case "file":
		name, text, _ := strings.Cut(rest, " ")
		a.file(name, strings.ReplaceAll(unescaped(text), "WORK", a.work))
	case "curve":
		p := strings.SplitN(rest, " ", 5)
		curve := a.programme(p[4], uint64(len(a.said)))
		table := "minutes,temperature_c\n"
		for after := time.Duration(0); after <= curve.Programme.Length(); after += 5 * time.Minute {
			table += fmt.Sprintf("%.0f,%.1f\n", after.Minutes(), float64(curve.Reading(after)))
		}
		began := strings.ReplaceAll(p[3], "+", "%2B")
		a.ask("", "", "POST", "/v1/firings/"+p[0]+"/curve?kiln="+p[1]+"&kind="+p[2]+"&began_at="+began, table)
	case "line":
		p := strings.SplitN(rest, " ", 3)
		var hours int
		fmt.Sscan(p[1], &hours)
		a.curve, a.began = a.programme(p[2], 8), a.at(p[0])
		a.begin(true)
		a.speak(hours * 60)
		a.until("the firing is kept", func() bool { return a.running() != "" })
	case "$", "$$":
		a.run(rest, "--site", a.site)
		if word == "$$" {
			a.again = append(a.again, rest)
		}
	case "!":
		a.run(rest)
	default:
		accept, cookie := "", ""
		if strings.Contains(word, "/") {
			accept = word
			word, rest, _ = strings.Cut(rest, " ")
		} else if value, ok := strings.CutPrefix(word, "cookie="); ok {
			cookie = value
			word, rest, _ = strings.Cut(rest, " ")
		}
		address, body, _ := strings.Cut(rest, " ")
		a.ask(accept, cookie, word, address, unescaped(body))
	}
}

func unescaped(text string) string { return strings.ReplaceAll(text, `\n`, "\n") }

func (a *asking) programme(text string, seed uint64) practice.Curve {
	a.Helper()
	p, err := practice.Parse(text)
	if err != nil {
		a.Fatal(err)
	}
	return practice.Curve{Programme: p, Noise: 0.15, Step: 0.1, Seed: seed}
}

// start starts the daemon on the store that there is, ending the one that runs. A firing that goes on is
// taken up and heard for two more minutes.
func (a *asking) start() {
	a.Helper()
	goesOn := ""
	if a.daemon != nil {
		goesOn = a.running()
		a.end()
		// its last look may outlast the daemon
		a.until("the port is let go", func() bool { return !a.plug.Line().Listened() })
	}
	d, err := daemon.New(a.ctx, a.config, "test")
	if err != nil {
		a.Fatal(err)
	}
	d.Now, d.NewID = a.stamp, a.newID
	d.Settle = 5 * time.Minute // what counts is told by the fit, however busy the machine is
	d.Dice = func() *rand.Rand { return rand.New(rand.NewPCG(14, 8)) }
	address, ended := make(chan string, 1), make(chan error, 1)
	d.Ready = func(at string) { address <- at }
	a.tick = make(chan time.Time)
	d.Tick = func(context.Context) <-chan time.Time { return a.tick }
	d.Minute = func(context.Context) <-chan time.Time { return nil } // no copy but those of the script
	d.Listen = func(string) (net.Listener, error) { return net.Listen("tcp", "127.0.0.1:0") }
	ctx, stop := context.WithCancel(context.Background())
	go func() {
		ended <- d.Run(ctx)
		close(ended) // read once more where it ends before it is ready
	}()
	stopped := sync.OnceFunc(func() {
		stop()
		if err := <-ended; err != nil {
			a.Error(err)
		}
	})
	a.Cleanup(stopped)
	select {
	case at := <-address:
		a.daemon, a.site, a.end, a.stirred = d, "http://"+at, stopped, true
	case err := <-ended:
		a.Fatal(err)
	}
	for _, pattern := range d.Routes() {
		if _, seen := a.left[pattern]; !seen && pattern != "/" {
			a.left[pattern] = true
		}
	}
	if goesOn == "" {
		return
	}
	a.begin(true)
	a.until("the firing is taken up", func() bool { return a.kiln("/v1/now").Firing == goesOn })
	a.speak(2)
	a.until("what the cones of earlier firings told of the probe is known", func() bool {
		return a.kiln("/v1/now").Corrected != nil
	})
}

// kilnNow is what is read of what big-blue does.
type kilnNow struct {
	Kiln, Firing string
	Unwritten    string
	ReadAt       time.Time `json:"read_at"`
	Corrected    *struct{}
}

func (a *asking) kiln(path string) kilnNow {
	a.Helper()
	var now struct{ Items []kilnNow }
	a.get(path, &now)
	return now.Items[0]
}

// running is the firing that goes on and is in the store, "" if none is.
func (a *asking) running() string {
	a.Helper()
	var found struct{ Items []struct{ ID string } }
	a.get("/v1/firings?status=running", &found)
	if len(found.Items) == 0 {
		return ""
	}
	return found.Items[0].ID
}

// get asks what is not kept. What the kilns do is remembered for a quarter of a second of a clock that
// stands still here, so each question is put in words of its own.
func (a *asking) get(path string, into any) {
	a.Helper()
	q, err := http.NewRequestWithContext(a.ctx, "GET", a.site+path, nil)
	if err != nil {
		a.Fatal(err)
	}
	a.looks++
	q.Header.Set("Accept", fmt.Sprintf("application/json, text/x-look-%d", a.looks))
	r, err := a.client.Do(q)
	if err != nil {
		a.Fatal(err)
	}
	defer r.Body.Close()
	if err := json.NewDecoder(r.Body).Decode(into); err != nil {
		a.Fatalf("%s: %v", path, err)
	}
}

// until waits for an event.
func (a *asking) until(what string, happened func() bool) {
	a.Helper()
	for deadline := time.Now().Add(2 * time.Minute); !happened(); time.Sleep(time.Millisecond) {
		if time.Now().After(deadline) {
			a.Fatalf("waited two minutes until %s", what)
		}
	}
}

// speak tells so many more minutes of the firing down the line; each is heard before the clock goes on.
func (a *asking) speak(minutes int) {
	a.Helper()
	a.until("the line is listened to", func() bool { return a.plug.Line().Listened() })
	fmt.Fprintln(a.plug) // what comes before the first end of a line is not believed
	for i := range minutes {
		after := time.Duration(a.told) * time.Minute
		at := a.began.Add(after)
		if a.told++; at.Before(a.now) {
			continue
		}
		a.set(at)
		if _, err := fmt.Fprintf(a.plug, "%.1f\n", float64(a.curve.Reading(after))); err != nil {
			a.Fatal(err)
		}
		a.until(fmt.Sprintf("minute %d has come", a.told), func() bool {
			return a.kiln("/v1/lines").ReadAt.Equal(at)
		})
		a.set(at.Add(time.Second)) // a second is taken in when it is over
		if i == 0 {                // the judge of readings waits for a second one
			continue
		}
		a.until(fmt.Sprintf("minute %d is taken in", a.told), func() bool {
			a.tick <- time.Time{}
			return a.kiln("/v1/now").ReadAt.Equal(at)
		})
	}
	a.until("what was taken in is written", func() bool { return a.kiln("/v1/now").Unwritten == "" })
}

// ask asks, and keeps the answers: of a page in English, with its links and fields, and in German.
func (a *asking) ask(accept, cookie, method, address, body string) {
	a.Helper()
	path, _, _ := strings.Cut(address, "?")
	a.begin(method != "GET")
	tongues := []string{"en"}
	if method == "GET" && cookie == "" && isPage(path) {
		tongues = append(tongues, "de")
	}
	for _, tongue := range tongues {
		r, err := http.NewRequestWithContext(a.ctx, method, a.site+address, strings.NewReader(body))
		if err != nil {
			a.Fatal(err)
		}
		r.Header.Set("Accept-Language", tongue)
		if accept != "" {
			r.Header.Set("Accept", accept)
		}
		if cookie != "" {
			r.AddCookie(&http.Cookie{Name: "lidwright_speak", Value: cookie})
		}
		if method != "GET" {
			r.Header.Set("Content-Type", typeOf(path))
			r.Header.Set("Origin", a.site)
		}
		a.meets(r)
		w, err := a.client.Do(r)
		if err != nil {
			a.Fatal(err)
		}
		text, err := a.read(w, path)
		w.Body.Close()
		if err != nil {
			a.Fatalf("%s %s: %v", method, address, err)
		}
		question := method + " " + address
		switch {
		case accept != "":
			question += " as " + accept
		case cookie != "":
			question += " for " + cookie
		case len(tongues) > 1:
			question += " in " + tongue
		}
		if body != "" && !strings.Contains(address, "/curve?") {
			question += "\n> " + strings.ReplaceAll(strings.TrimSpace(body), "\n", "\n> ")
		}
		answer := a.headOf(method+" "+path, w) + "\n"
		answer += shown(w.Header.Get("Content-Type"), path, text, tongue == "en")
		a.keep(fileOf(method, path), method == "GET" || isPage(path), question, answer)
	}
}

// isPage tells the routes that a person reads from those of machines.
func isPage(path string) bool {
	machine := []string{"/metrics", "/healthz", "/readyz"}
	return !strings.HasPrefix(path, "/v1/") && !strings.Contains(path, ".") && !slices.Contains(machine, path)
}

func typeOf(path string) string {
	switch {
	case path == "/import":
		return "multipart/form-data; boundary=x"
	case path == "/v1/import", strings.HasSuffix(path, "/curve"):
		return "text/csv"
	case strings.HasPrefix(path, "/v1/"):
		return "application/json"
	}
	return "application/x-www-form-urlencoded"
}

// fileOf is the file that an answer is kept in: by noun, pages apart.
func fileOf(method, path string) string {
	part := strings.Split(strings.Trim(path, "/"), "/")
	kind, noun := "page", cmp.Or(part[0], "home")
	switch {
	case part[0] == "v1":
		kind, noun = "api", strings.Split(part[1], ".")[0]
	case !isPage(path):
		kind, noun = "text", part[0]
		if strings.HasSuffix(path, ".csv") {
			noun = "tables"
		}
	case method != "GET":
		kind = "form"
	}
	return kind + "-" + noun
}

// read reads an answer; of the stream, which has no end, until each kiln was told of.
func (a *asking) read(w *http.Response, path string) (string, error) {
	if path != "/v1/stream" {
		b, err := io.ReadAll(w.Body)
		return string(b), err
	}
	var text strings.Builder
	lines := bufio.NewScanner(w.Body)
	for kilns := 0; kilns < 2 && lines.Scan(); {
		if strings.HasPrefix(lines.Text(), `data: {"kiln":`) {
			kilns++
		}
		text.WriteString(lines.Text() + "\n")
	}
	return text.String(), lines.Err()
}

// meets notes the route that a question takes.
func (a *asking) meets(r *http.Request) {
	find := http.NewServeMux()
	for pattern := range a.left {
		find.Handle(pattern, http.NotFoundHandler())
	}
	if _, pattern := find.Handler(r); pattern != "" {
		a.left[pattern] = false
	}
}

// headOf is what the first line of an answer says of it; other headers are gathered in a file of their own.
func (a *asking) headOf(question string, w *http.Response) string {
	head := fmt.Sprint(w.StatusCode)
	rest := ""
	for _, name := range slices.Sorted(maps.Keys(w.Header)) {
		value := strings.Join(w.Header[name], ", ")
		switch name {
		case "Content-Type", "Cache-Control", "Location", "Allow", "Content-Disposition", "Content-Language",
			"Retry-After", "Www-Authenticate":
			head += fmt.Sprintf("; %s: %s", name, value)
		case "Date", "Content-Length": // of the moment; of what stands below
		case "Etag":
			head += "; ETag"
		default:
			rest += name + ": " + value + "\n"
		}
	}
	if !slices.Contains(a.heads[rest], question) {
		a.heads[rest] = append(a.heads[rest], question)
	}
	return head
}

// run runs a command in this process, with flags added, and keeps what it says.
func (a *asking) run(line string, more ...string) {
	a.Helper()
	var args []string
	for _, word := range shellWord.FindAllString(line, -1) {
		args = append(args, strings.Trim(word, "'"))
	}
	a.begin(true)
	if c, _, err := rootCommand().Find(args); err == nil {
		a.ran[c.CommandPath()] = true
	}
	code, stdout, stderr := a.runs(append(slices.Clone(args), more...))
	how := ""
	if len(more) > 0 {
		how = map[string]string{"--site": "", "--store": " --store"}[more[0]]
	}
	file := "command-" + strings.TrimLeft(args[0], "-")
	a.keep(file, false, "lidwright "+line+how, outcome(code, stdout, stderr))
}

var shellWord = regexp.MustCompile(`'[^']*'|\S+`)

func outcome(code int, stdout, stderr string) string {
	text := fmt.Sprintf("exit %d\n%s", code, stdout)
	if stderr != "" {
		text += "beside it:\n" + stderr
	}
	return text
}

func (a *asking) runs(args []string) (code int, stdout, stderr string) {
	a.Helper()
	var files [2]*os.File
	for i := range files {
		f, err := os.CreateTemp(a.TempDir(), "")
		if err != nil {
			a.Fatal(err)
		}
		defer f.Close()
		files[i] = f
	}
	code = run(a.ctx, args, files[0], files[1])
	var text [2]string
	for i, f := range files {
		b, err := os.ReadFile(f.Name())
		if err != nil {
			a.Fatal(err)
		}
		text[i] = string(b)
	}
	return code, text[0], text[1]
}

// helps keeps the help of every command.
func (a *asking) helps() {
	a.Helper()
	var walk func(c *cobra.Command)
	walk = func(c *cobra.Command) {
		path := strings.Fields(c.CommandPath())[1:]
		code, stdout, stderr := a.runs(append(slices.Clone(path), "--help"))
		noun := "lidwright"
		if len(path) > 0 {
			noun = path[0]
		}
		a.keep("help-"+noun, false, c.CommandPath()+" --help", outcome(code, stdout, stderr))
		if c.Runnable() && !c.HasSubCommands() && !a.ran[c.CommandPath()] {
			a.Errorf("nothing runs %s: add it to testdata/answers.txt", c.CommandPath())
		}
		for _, sub := range c.Commands() {
			if sub.Name() != "help" && sub.Name() != "completion" {
				walk(sub)
			}
		}
	}
	walk(rootCommand())
}

// missing tells of the routes that nothing asked.
func (a *asking) missing() {
	a.Helper()
	if len(a.left) < 100 {
		a.Errorf("the daemon has %d routes: the test does not see them", len(a.left))
	}
	for _, pattern := range slices.Sorted(maps.Keys(a.left)) {
		if a.left[pattern] {
			a.Errorf("nothing asks %s: add it to testdata/answers.txt", pattern)
		}
	}
	for _, rest := range slices.Sorted(maps.Keys(a.heads)) {
		slices.Sort(a.heads[rest])
		a.keep("headers", false, strings.Join(a.heads[rest], "\n"), rest)
	}
}

// keep keeps an answer, with what cannot be handed in left out.
func (a *asking) keep(file string, asked bool, question, answer string) {
	a.Helper()
	site := strings.TrimPrefix(a.site, "http://")
	names := []string{site, "SITE", a.work, "WORK"}
	if asked { // ids for what a form may send; nobody has kept them
		a.mu.Lock()
		for _, id := range a.ids {
			names = append(names, id, "new-id")
		}
		a.mu.Unlock()
	}
	text := func(s string) string {
		return known.ReplaceAllStringFunc(strings.NewReplacer(names...).Replace(s), nameOf)
	}
	answer = text(answer)
	for _, one := range notHandedIn {
		if one.in == "" || one.in == file {
			answer = one.what.ReplaceAllString(answer, one.with)
		}
	}
	a.said[file] = append(a.said[file], answered{text(question), strings.TrimRight(answer, "\n") + "\n"})
}

// notHandedIn is what differs from run to run and cannot be handed in.
var notHandedIn = []struct {
	in   string // file; "": all
	what *regexp.Regexp
	with string
}{
	// Copies are made in the background, as often as they get to it: how many there are, when they were made,
	// how big they are and whether the newest has everything already.
	{"", regexp.MustCompile(`lidwright-\d{6}-\d{8}T\d{6}Z\.db`), "lidwright-COPY.db"},
	{"api-copies", regexp.MustCompile(`"at": "[^"]*",\s*"bytes": \d+`), `"at": "…", "bytes": …`},
	{"api-copies", regexp.MustCompile(`"made": (true|false)`), `"made": …`},
	{"api-makers", regexp.MustCompile(`"bytes": \d+`), `"bytes": …`},
	{"api-copies", regexp.MustCompile(`\{\s*("made": …, ?)?\s*"items": \[\s*(\{[^}]*\})(,\s*\{[^}]*\})*\s*\]\s*\}`), "{$1\"items\": [$2 …]}"},
	{"command-copy", regexp.MustCompile(`(COPY.db +)\S+ +[0-9.]+( .*)(\nlidwright-COPY.*)*`), "$1…$2"},
	{"command-copy", regexp.MustCompile(`A copy is made and checked\.|Nothing changed since .*`),
		"(made, or nothing changed)"},
	{"command-copy", regexp.MustCompile(`\.replaced-\S+`), ".replaced-…"},
	{"page-more", regexp.MustCompile(`\d+(.*) \d+ \S+ \d{4} \d\d:\d\d\n`), "…$1 …\n"},
	// The disk of the machine.
	{"page-more", regexp.MustCompile(`[0-9.,]+ MB (.*) [0-9.,]+ GB`), "… MB $1 … GB"},
	// How long things take, and how often we looked until something happened.
	{"text-metrics", regexp.MustCompile(`(?m)^(lidwright_(?:\w*duration_seconds_|store_bytes|store_free_bytes|` +
		`store_copies|copy_timestamp)[^ ]*) .*`), "$1 …"},
	// What the program takes of the machine.
	{"text-metrics", regexp.MustCompile(`(?m)^((?:go|process)_\w+)(\{[^}]*\})? .*`), "$1 …"},
	// When a file was saved, by the clock of the machine.
	{"command-carry", regexp.MustCompile(`saved \d{4}-\d\d-\d\d \d\d:\d\d`), "saved …"},
	// A secret.
	{"command-code", regexp.MustCompile(`(?m)^[A-Z0-9]{4}-[A-Z0-9]{4}$`), "CODE-CODE"},
}

// asks stands before each question in a file of answers.
const asks = "######## "

// hold holds the answers to the files of a folder, or writes them there.
func (a *asking) hold(folder string) {
	a.Helper()
	const most, mostOfAll = 288 << 10, 1536 << 10 // bytes
	all, answers := 0, 0
	stale, err := filepath.Glob(filepath.Join(folder, "*.txt"))
	if err != nil {
		a.Fatal(err)
	}
	for _, file := range slices.Sorted(maps.Keys(a.said)) {
		path := filepath.Join(folder, file+".txt")
		stale = slices.DeleteFunc(stale, func(s string) bool { return s == path })
		var text bytes.Buffer
		for _, one := range a.said[file] {
			fmt.Fprintf(&text, "%s%s\n%s\n", asks, one.question, one.answer)
		}
		all, answers = all+text.Len(), answers+len(a.said[file])
		if text.Len() > most {
			a.Errorf("%s has %d bytes, more than %d: ask for less", file, text.Len(), most)
		}
		if *update {
			if err := os.WriteFile(path, text.Bytes(), 0o666); err != nil {
				a.Fatal(err)
			}
			continue
		}
		was, err := os.ReadFile(path)
		if err != nil {
			a.Errorf("%v; run this test with -update", err)
			continue
		}
		if !bytes.Equal(was, text.Bytes()) {
			a.differs(file, string(was), text.String())
		}
	}
	for _, path := range stale {
		if !*update {
			a.Errorf("nothing is kept in %s any more; run this test with -update", filepath.Base(path))
		} else if err := os.Remove(path); err != nil {
			a.Fatal(err)
		}
	}
	if all > mostOfAll {
		a.Errorf("the answers have %d bytes, more than %d", all, mostOfAll)
	}
	a.Logf("%d answers in %d files, %d kB; %d routes", answers, len(a.said), all>>10, len(a.left))
}

// differs tells the first lines in which the answers of a file are others.
func (a *asking) differs(file, was, is string) {
	a.Helper()
	before := map[string]string{}
	for _, one := range strings.Split(was, "\n"+asks) {
		q, answer, _ := strings.Cut(strings.TrimPrefix(one, asks), "\n")
		before[q] += answer
	}
	after := map[string]string{}
	for _, one := range strings.Split(is, "\n"+asks) {
		q, answer, _ := strings.Cut(strings.TrimPrefix(one, asks), "\n")
		after[q] += answer
	}
	for _, q := range slices.Sorted(maps.Keys(before)) {
		if _, there := after[q]; !there {
			a.Errorf("%s: nothing asks %s any more", file, q)
		}
	}
	for _, q := range slices.Sorted(maps.Keys(after)) {
		old, there := before[q]
		if !there {
			a.Errorf("%s: new is %s", file, q)
		} else if old != after[q] {
			then, now := strings.Split(old, "\n"), strings.Split(after[q], "\n")
			i := 0
			for i < len(then) && i < len(now) && then[i] == now[i] {
				i++
			}
			a.Errorf("%s: %s, line %d\nwas %s\nis  %s", file, q, i+1, nthLine(then, i), nthLine(now, i))
		}
	}
}

func nthLine(lines []string, i int) string {
	if i < len(lines) {
		return lines[i]
	}
	return "(no line)"
}
