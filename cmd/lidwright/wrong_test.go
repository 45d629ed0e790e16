package main

import (
	"fmt"
	"io"
	"net/http"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"
)

// rightUse is a use of each command that is right, after its name; {…} stands for something that is there.
var rightUse = map[string]string{
	"lid": "--collar 104.5 --clay tern", "board": "{board} --clay tern",
	"size":        "--fired 62 --clay tern",
	"size nest":   "--outside 100 --inside 95 --outside 112 --inside 104.5 --clay tern",
	"size shared": "--collar 104.5 --collar 105 --lid 103 --clay tern",
	"size scale":  "--length 104.5 --was-ml 500 --fired-ml 1000", "rate": "tern", "now": "big-blue",
	"firings": "", "firings curve": "big-blue/6", "firings compare": "big-blue/6 big-blue/7",
	"firings trend": "big-blue", "firings begin": "big-blue", "firings stop": "big-blue",
	"firings import": "{log} --kiln little-red --kind glaze --began 2023-03-09T08:00:00+01:00 --dry-run",
	"firing":         "big-blue/6", "firing cone": "big-blue/6 06 45", "firing note": "big-blue/6 windy",
	"firing say": "big-blue/6 --note even", "firing hand": "little-red glaze --sitter 6 --cone 6=down " +
		"--began-at 2021-01-10T08:00:00+01:00 --ended-at 2021-01-10T20:00:00+01:00",
	"clay add": "wren", "clay list": "", "clay batch": "tern Z", "bars new": "2 --clay tern",
	"bars flag": "BQ7 broken", "bars story": "BQ7", "bars import": "{bars} --dry-run", "bars export": "",
	"bars sheet": "", "bars": "", "bar": "BQ7 soft 97", "load open": "little-red glaze BQ7",
	"load list": "", "load unpacked": "{load}", "load attach": "{load} big-blue/6",
	"load detach": "{load} big-blue/6", "load move": "BQ7 --to {other}", "load split": "{load} BQ7",
	"load join": "{load} last", "load call-off": "{load}", "load shelves": "big-blue",
	"pot new": "--form jar --collar 84.5 --clay tern", "pot find": "jar", "pot lid": "{pot} 82.3",
	"result": "--form jar --clay tern --good 1", "result list": "",
	"result cross-out": "{result} --why wrong", "kiln list": "", "kiln add": "shed",
	"kiln rename": "shed barn", "kiln usual": "big-blue glaze --pin 6", "probe": "big-blue",
	"probe new": "big-blue K --fitted-on 2032-01-06", "maker forget": "KT", "crossed-out": "",
	"crossed-out restore": "{gone}", "code new": "bench --file {fresh}", "copy make": "", "copy list": "",
	"copy renew": "", "copy restore": "{folder} --config {config}", "carry save": "{fresh} --config {config}",
	"carry take":     "{carry} --dry-run --config {config}",
	"collector join": "https://127.0.0.1:1 KQ7T-3HVW-XNLD", "collector leave": "",
	"collector status": "", "collector bodies": "", "collector body": "tern", "sites": "",
	"sites add": "annex annex.example:8573", "sites remove": "annex", "tables": "clays",
	"import": "{bars} --dry-run", "practice": "--folder {fresh}", "setup": "--answers {answers}",
	"check": "big-blue --config {alone} --seconds 1", "run": "",
}

// freeText are flags and words that may say anything, within their length.
var freeText = []string{"--name", "--stamp", "--note", "--why", "--by", "--form", "--mark", "--shelf",
	"--maker", "TEXT", "WORDS", "--series", "--number", "--second", "--time", "--column", "WORD",
	"MARK", "--instrument", "--form",
	"--folder", "--file", "--record",
	"carry save FILE", "collector join CODE"}

// wrongWord is what no command knows; a longer one is no name either.
const wrongWord = "9x!"

// goError are words of errors of the language and the system that nobody at a kiln is to read.
var goError = regexp.MustCompile(`strconv|invalid syntax|pflag|json:|parsing|unmarshal|errno|goroutine|` +
	`no such file or directory|\bopen |\bstat |lookup|%!|map\[|arg\(s\)|invalid argument|nil\b`)

// wrongRun is what became of a command: its exit code and what it said.
type wrongRun struct {
	code int
	out  string
}

// runIn runs commands in this process, one after the other; what they say goes through a file in folder.
func runIn(t *testing.T, folder string) func(args []string) wrongRun {
	t.Helper()
	f, err := os.Create(filepath.Join(folder, "said"))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { f.Close() })
	var here func(args []string) wrongRun
	here = func(args []string) wrongRun {
		code := run(t.Context(), args, f, f)
		n, err := f.Seek(0, io.SeekCurrent)
		all := make([]byte, n)
		if err == nil {
			_, err = f.ReadAt(all, 0)
		}
		if err == nil || n == 0 {
			_, err = f.Seek(0, io.SeekStart)
		}
		if err != nil {
			t.Fatal(err)
		}
		if strings.Contains(string(all), "Too many at once") { // no bench is as quick as this test
			time.Sleep(time.Second)
			return here(args)
		}
		return wrongRun{code, string(all)}
	}
	return here
}

// otherUse is a right use of a command where one of its flags has no place in rightUse.
var otherUse = map[string]string{"load open --like": "BQ7",
	"kiln usual --cone":   "big-blue glaze --second ten",
	"kiln usual --second": "big-blue glaze --cone 6", "kiln usual --new": "big-blue glaze"}

// someThings makes what the right uses speak of, and gives their names.
func someThings(t *testing.T, runHere func([]string) wrongRun, site, store string) *strings.Replacer {
	t.Helper()
	put := func(path, body string) {
		q, err := http.NewRequestWithContext(t.Context(), "PUT", site+path, strings.NewReader(body))
		if err != nil {
			t.Fatal(err)
		}
		q.Header.Set("Content-Type", "application/json")
		r, err := http.DefaultClient.Do(q)
		if err != nil {
			t.Fatal(err)
		}
		defer r.Body.Close()
		if b, _ := io.ReadAll(r.Body); r.StatusCode >= 300 {
			t.Fatalf("%s: %s: %s", path, r.Status, b)
		}
	}
	const load, pot, result = "0193c0c1-0000-7000-8000-000000000001", "0193c0c1-0000-7000-8000-000000000002",
		"0193c0c1-0000-7000-8000-000000000003"
	const other, gone = "0193c0c1-0000-7000-8000-000000000006", "0193c0c1-0000-7000-8000-000000000007"
	put("/v1/bars/BQ7", `{"id":"0193c0c1-0000-7000-8000-000000000004","clay":"tern"}`)
	put("/v1/bars/BQ7/readings/0193c0c1-0000-7000-8000-000000000005", `{"stage":"wet","length":"100"}`)
	put("/v1/loads/"+load, `{"kiln":"little-red","kind":"glaze","bars":[{"bar":"BQ7"}]}`)
	put("/v1/loads/"+other, `{"kiln":"little-red","kind":"bisque"}`)
	put("/v1/pots/"+pot, `{"form":"jar","number":"1","collar_mm":[104.5],"body":"tern/A"}`)
	put("/v1/lid-results/"+result, `{"form":"jar","body":"tern/A","counts":{"good":2}}`)
	put("/v1/lid-results/"+gone, `{"form":"jar","body":"tern","counts":{"good":1}}`)
	put("/v1/lid-results/"+gone+"/strike", `{"why":"wrong board"}`)
	folder := t.TempDir()
	write := func(name, text string) string {
		path := filepath.Join(folder, name)
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		return path
	}
	settings := func(store string) string {
		return fmt.Sprintf("[store]\nfolder = %q\n[kiln.big-blue]\nport = %q\nreply = \"columns\"\n"+
			"limit_c = 1290\n[kiln.big-blue.channel.1]\nfrom = \"1\"\nunit = \"c\"\n"+
			"[kiln.big-blue.probe.1]\ntype = \"K\"\n", store, filepath.Join(folder, "line"))
	}
	carry := filepath.Join(folder, "carry.zip")
	if r := runHere([]string{"carry", "save", carry, "--store", store}); r.code != exitDone {
		t.Fatal(r.out)
	}
	return strings.NewReplacer("{load}", load, "{pot}", pot, "{result}", result, "{folder}", folder,
		"{board}", write("board.csv", "collar_mm\n"+strings.Repeat("104.5\n", 8)),
		"{bars}", write("bars.csv", "code,clay,wet,unit\nJB4,tern,100,mm\n"),
		"{log}", write("log.csv", "hours,temperature_c\n0,20\n0.5,100\n1,180\n1.5,260\n2,340\n"),
		"{carry}", carry, "{answers}", write("kiln.answers", "kiln = \"x\"\n"),
		"{fresh}", filepath.Join(folder, "fresh"), "{other}", other, "{gone}", gone,
		"{config}", write("lidwright.toml", settings(store)), "{alone}",
		write("alone.toml", settings(folder)))
}

// TestEveryUseWrong runs every command, found in the tree of commands, with each of its flags and words wrong
// once, and each word left out once: that is wrong use, is told by the name of the flag or the word, in words
// of people that say what to write, and nothing is taken in silence. What is only not there is told as such,
// with the list of what is.
func TestEveryUseWrong(t *testing.T) {
	site, store := furnished(t)
	runHere := runIn(t, t.TempDir())
	fill := someThings(t, runHere, site, store)
	t.Setenv("HOME", t.TempDir())
	t.Chdir(t.TempDir())
	t.Setenv("XDG_CONFIG_HOME", t.TempDir())
	var walk func(c *cobra.Command)
	tried := 0
	walk = func(c *cobra.Command) {
		for _, sub := range c.Commands() {
			if sub.Name() != "help" && sub.Name() != "completion" {
				walk(sub)
			}
		}
		if !c.Runnable() {
			return
		}
		path := strings.TrimPrefix(c.CommandPath(), "lidwright ")
		use, known := rightUse[path]
		if !known {
			if !c.HasSubCommands() {
				t.Errorf("%s has no right use here", path)
			}
			return
		}
		words := strings.Fields(fill.Replace(use))
		at := []string{}
		if !slices.Contains([]string{"run", "practice", "setup", "check", "sites add", "sites remove",
			"copy restore",
			"carry save", "carry take", "code new"}, path) {
			at = []string{"--site", site}
		}
		for _, w := range wrongUsesOf(c, path, words) {
			tried++
			at := at
			if w.what == "--site" {
				at = nil
			}
			if says := w.fault(runHere(append(append(strings.Fields(path), w.args...), at...))); says != "" {
				t.Errorf("%s, %s: %s", path, w.what, says)
			}
		}
	}
	walk(rootCommand())
	t.Logf("%d wrong uses", tried)
}

// wrongOne is a use with one thing wrong.
type wrongOne struct {
	what  string // that is wrong: --flag, or the word of the usage
	typed string // in its place; empty: it is left out
	args  []string
}

// wrongUsesOf are the uses of a command with one flag or word wrong.
func wrongUsesOf(c *cobra.Command, path string, words []string) (all []wrongOne) {
	values := func(what string) []string {
		long := "9x" + strings.Repeat("z", 3000)
		if slices.Contains(freeText, what) || slices.Contains(freeText, path+" "+what) {
			return []string{long}
		}
		return []string{wrongWord, long}
	}
	c.InheritedFlags() // puts those that every command has beside its own
	c.Flags().VisitAll(func(f *pflag.Flag) {
		if slices.Contains([]string{"setup", "take", "restore"}, c.Name()) &&
			(f.Name == "store" || f.Name == "config") { // what they name may be yet to come
			return
		}
		if f.Name == "help" || f.Name == "version" {
			return
		}
		for _, v := range values("--" + f.Name) {
			words := words
			if other, is := otherUse[path+" --"+f.Name]; is {
				words = strings.Fields(other)
			}
			args := without(without(words, "--"+f.Name), "--"+strings.TrimSuffix(f.Name, "-mm"))
			all = append(all, wrongOne{"--" + f.Name, v, append(args, "--"+f.Name+"="+v)})
		}
	})
	names := strings.Fields(c.Use)[1:]
	n := 0
	for i, w := range words {
		if strings.HasPrefix(w, "--") {
			break
		}
		if n >= len(names) {
			break
		}
		what := strings.TrimSuffix(strings.Trim(names[n], "[]"), "...")
		n++
		for _, v := range values(what) {
			args := slices.Clone(words)
			args[i] = v
			all = append(all, wrongOne{what, v, args})
		}
		if !strings.HasPrefix(names[n-1], "[") && (n == len(names) || !strings.HasPrefix(names[n], "[")) {
			all = append(all, wrongOne{what, "", slices.Delete(slices.Clone(words), i, i+1)})
		}
	}
	return all
}

// without is words without a flag and its value.
func without(words []string, flag string) (rest []string) {
	for i := 0; i < len(words); i++ {
		if words[i] == flag {
			i++
			continue
		}
		rest = append(rest, words[i])
	}
	return rest
}

// notThere is how what could be there and is not is told.
var notThere = regexp.MustCompile(`[Nn]o such|[Tt]here is no|is called|no firing|no pot card|` +
	`nothing crossed out`)

// fieldID is a caution by its id, or a field of the API by the name that it has there.
var fieldID = regexp.MustCompile(`caution-\d+|\b[a-z]+_[a-z_]+: |\b[a-z]+_(?:mm|at|ratio|id)\b`)

// saysWhatToWrite is what helps in a refusal: an example, how the command is written, the words there are, a
// range, what the flag goes with, or where to look for what is there.
var saysWhatToWrite = regexp.MustCompile(`such as \S|, as (?:in )?\S|\bwrite (?:it as )?\S|\bWrite the number|` +
	`written as |name it with: |(?:one|none) of \S|^\S* ?mm, cm, in or 32nds|: mm, cm, in or 32nds|there are \S|it has \S|there is no file|` +
	`the first line names: \S|at most \d|from \S+ to \S|and hyphens only|\btakes a |is given alone, or with|` +
	`goes with \S|is of a bisque or fired length|see lidwright \S|join one first|The nearest is \S|` +
	`needed: \S|file name too long|name one table|is used already`)

// fault is what is wrong in how a wrong use was answered; empty if nothing is.
func (w wrongOne) fault(r wrongRun) string {
	var wrong []string
	said := strings.TrimSpace(r.out)
	switch {
	case r.code == exitFailed && notThere.MatchString(said):
	case r.code != exitWrongUse:
		wrong = append(wrong, fmt.Sprint("exit ", r.code))
	}
	if !strings.Contains(said, w.what) && (w.typed == "" || !strings.Contains(said, w.typed[:3])) {
		wrong = append(wrong, "not named")
	}
	if found := goError.FindString(said); found != "" {
		wrong = append(wrong, "says "+found)
	}
	if !saysWhatToWrite.MatchString(said) {
		wrong = append(wrong, "does not say what to write")
	}
	if len(said) > 700 {
		wrong = append(wrong, "too long")
		said = said[:300]
	}
	if id := fieldID.FindString(said); id != "" {
		wrong = append(wrong, "says "+id)
	}
	if len(wrong) == 0 {
		return ""
	}
	typed := w.typed
	if len(typed) > 10 {
		typed = "(long)"
	}
	return fmt.Sprintf("%q: %s: %s", typed, strings.Join(wrong, ", "), said)
}
