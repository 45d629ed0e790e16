package config

import (
	"errors"
	"fmt"
	"io/fs"
	"math/rand/v2"
	"os"
	"path/filepath"
	"reflect"
	"regexp"
	"strings"
	"testing"

	"github.com/spf13/pflag"
)

// Each damaged file says at its end what must be said of it, neither more nor less.
func TestDamagedFiles(t *testing.T) {
	paths, err := filepath.Glob("testdata/damaged/*.toml")
	if err != nil || len(paths) < 30 {
		t.Fatalf("%d damaged files, %v; want 30", len(paths), err)
	}
	for _, path := range paths {
		t.Run(filepath.Base(path), func(t *testing.T) {
			text, err := os.ReadFile(path)
			if err != nil {
				t.Fatal(err)
			}
			var want []string
			for line := range strings.Lines(string(text)) {
				if says, ok := strings.CutPrefix(line, "#> "); ok {
					want = append(want, strings.ReplaceAll(strings.TrimSuffix(says, "\n"), `\u0000`, "\x00"))
				}
			}
			_, err = Load(path, nil, nil)
			var mistakes Mistakes
			if !errors.As(err, &mistakes) {
				t.Fatalf("loaded, or failed otherwise: %v", err)
			}
			said := strings.Split(err.Error(), "\n")
			if len(mistakes) != len(want) || len(want) == 0 {
				t.Errorf("%d mistakes, want %d:\n%v", len(mistakes), len(want), err)
			}
			for _, w := range want {
				found := false
				for _, s := range said {
					found = found || strings.HasPrefix(s, path+":"+w)
				}
				if !found {
					t.Errorf("nothing begins with %q in\n%v", path+":"+w, err)
				}
			}
		})
	}
}

// Files that no editor would write.
func TestFilesThatAreNoSettings(t *testing.T) {
	for name, test := range map[string]struct{ text, want string }{
		"byte order mark": {"\xef\xbb\xbf[site]\nname = \"x\"\n", ":1: begins with a byte order mark"},
		"10 MB": {strings.Repeat("# a comment, and another one after it\n", 270000),
			":1: is larger than 256 kB"},
		"binary":          {"[site]\nname = \"\x7fELF\x00\x01\"\n", ":2: holds bytes that are no UTF-8 text"},
		"latin-1":         {"[site]\n# caf\xe9\n", ":2: holds bytes that are no UTF-8 text"},
		"nested lists":    {"[listen]\nhosts = " + strings.Repeat("[", 200000), ":2: column"},
		"dotted key":      {"a" + strings.Repeat(".a", 100000) + " = 1\n", ":1: a: is no setting"},
		"carriage return": {"[site]\rname = \"x\"\n", ":1: column"},
	} {
		_, err := Load(write(t, test.text), nil, nil)
		var mistakes Mistakes
		if !errors.As(err, &mistakes) || !strings.Contains(err.Error(), "lidwright.toml"+test.want) {
			t.Errorf("%s: %.300v; want %s", name, err, test.want)
		}
	}
	if _, err := Load(filepath.Join(t.TempDir(), "none.toml"), nil, nil); !errors.Is(err, fs.ErrNotExist) ||
		!strings.Contains(err.Error(), "none.toml") {
		t.Errorf("no file: %v", err)
	}
	if _, err := Load(t.TempDir(), nil, nil); err == nil {
		t.Error("a folder was taken for a file")
	}
}

// A thousand mutations of a real file: no panic, and whatever is refused is refused with file and line.
func TestMutations(t *testing.T) {
	n := 1000
	if os.Getenv("LIDWRIGHT_SOAK") != "" {
		n = 100_000
	}
	place := regexp.MustCompile(`^lidwright\.toml:[1-9][0-9]*: \S`)
	texts := []string{uncommented(t), twoKilns}
	dice := rand.New(rand.NewPCG(1, 2))
	refused := 0
	for i := range n {
		text := []byte(texts[i%2])
		for range 1 + dice.IntN(4) {
			text = mutate(text, dice)
		}
		doc, err := parseDocument("lidwright.toml", text)
		if err == nil {
			_, err = load(doc, nil, nil)
		}
		if err == nil {
			continue
		}
		refused++
		var mistakes Mistakes
		if !errors.As(err, &mistakes) || len(mistakes) == 0 {
			t.Fatalf("mutation %d: %v\n%s", i, err, text)
		}
		for _, m := range mistakes {
			if !place.MatchString(m.String()) || m.Says == "" ||
				m.Line > 1+strings.Count(string(text), "\n") {
				t.Fatalf("mutation %d: %q\n%s", i, m, text)
			}
		}
	}
	t.Logf("%d of %d mutations refused", refused, n)
	if refused < n/2 {
		t.Errorf("only %d of %d mutations refused", refused, n)
	}
}

// mutate flips a bit, loses, doubles or moves a stretch, or changes a word for another.
func mutate(text []byte, dice *rand.Rand) []byte {
	if len(text) < 2 {
		return text
	}
	out := append([]byte(nil), text...)
	at := dice.IntN(len(out) - 1)
	to := min(len(out), at+1+dice.IntN(40))
	switch dice.IntN(6) {
	case 0:
		out[at] ^= 1 << dice.IntN(8)
	case 1:
		out = append(out[:at], out[to:]...)
	case 2:
		out = append(out[:to], text[at:]...)
	case 3:
		out[at] = "\"[]{}=.,#\n\r\t'\\-+0aZ"[dice.IntN(19)]
	case 4:
		words := []string{"nan", "\"\"", "-1", "[]", "{}", "1e308", "true", "9999999999", "\"x\"",
			"[[x]]", "0x10", "1979-05-27"}
		line := strings.Split(string(out), "\n")
		n := dice.IntN(len(line))
		if key, _, ok := strings.Cut(line[n], "="); ok {
			line[n] = key + "= " + words[dice.IntN(len(words))]
		}
		out = []byte(strings.Join(line, "\n"))
	case 5:
		line := strings.Split(string(out), "\n")
		a, b := dice.IntN(len(line)), dice.IntN(len(line))
		line[a], line[b] = line[b], line[a]
		out = []byte(strings.Join(line, "\n"))
	}
	return out
}

// Every setting that the owner does not name can be set by environment, and by no other name.
func TestEnvironment(t *testing.T) {
	cfg := mustLoad(t, "[log]\nlevel = \"warn\"\n[firing]\nend_below_c = 40\n",
		"LIDWRIGHT_LOG_LEVEL=debug", "LIDWRIGHT_FIRING_END_BELOW_C=45.5", "LIDWRIGHT_LISTEN_CONNECTIONS=64",
		"LIDWRIGHT_LISTEN_HOSTS=kiln.example, pots.example", "LIDWRIGHT_READING_OPEN=false",
		"LIDWRIGHT_COPY_EVERY=12h",
		"LIDWRIGHT_SEAT_DROP_IN_PLAY_MM=1,2,3", "LIDWRIGHT_NOTICE_QUIET_HOURS=21:00-06:00",
		"LIDWRIGHT_CODE=open sesame", "PATH=/bin", "LIDWRIGHTS=x")
	if cfg.Log.Level != "debug" || cfg.Firing.EndBelowC != 45.5 || cfg.Listen.Connections != 64 ||
		len(cfg.Listen.Hosts) != 2 || cfg.Listen.Hosts[1] != "pots.example" ||
		cfg.Reading.Open || cfg.Copy.Every.Hours() != 12 || cfg.Seat.DropIn.PlayMM[1] != 2 ||
		cfg.Notice.QuietHours.String() != "21:00-06:00" {
		t.Errorf("%+v", cfg)
	}
	for variable, want := range map[string]string{
		"LIDWRIGHT_LISEN_ADDRESS=:80":           "environment: LIDWRIGHT_LISEN_ADDRESS: is no setting; the nearest is LIDWRIGHT_LISTEN_ADDRESS",
		"LIDWRIGHT_KILN_BIG_BLUE_LIMIT_C=1":     "environment: LIDWRIGHT_KILN_BIG_BLUE_LIMIT_C: cannot be set by environment",
		"LIDWRIGHT_NOTICE_WEBHOOK_PHONE_URL=":   "environment: LIDWRIGHT_NOTICE_WEBHOOK_PHONE_URL: cannot be set by environment",
		"LIDWRIGHT_LISTEN_CONNECTIONS=many":     `environment: LIDWRIGHT_LISTEN_CONNECTIONS: is "many"; must be a whole number`,
		"LIDWRIGHT_FIRING_START_ABOVE_C=NaN":    "environment: LIDWRIGHT_FIRING_START_ABOVE_C: is NaN; must be a finite number",
		"LIDWRIGHT_FIRING_END_BELOW_C=100":      "environment: LIDWRIGHT_FIRING_END_BELOW_C: is 100; must be lower than firing.start_above_c, 60",
		"LIDWRIGHT_LISTEN_ADDRESS=0.0.0.0:http": "environment: LIDWRIGHT_LISTEN_ADDRESS: is",
		"LIDWRIGHT_=x":                          "environment: LIDWRIGHT_: is no setting",
	} {
		setenv(t, []string{variable})
		_, err := Load("", []string{variable}, nil)
		if err == nil || !strings.HasPrefix(err.Error(), want) {
			t.Errorf("%s: %v; want %s", variable, err, want)
		}
	}
}

// Two settings never share a variable.
func TestVariablesAreDistinct(t *testing.T) {
	seen := map[string]string{}
	for _, key := range known("", reflect.TypeFor[Config]()) {
		name := strings.ToUpper(strings.ReplaceAll(key, ".", "_"))
		if other, ok := seen[name]; ok {
			t.Errorf("%s and %s are both %s", key, other, name)
		}
		seen[name] = key
	}
}

// A flag that was given stands above the environment; one at its default says nothing.
func TestFlags(t *testing.T) {
	flags := pflag.NewFlagSet("run", pflag.ContinueOnError)
	flags.String("log-level", "error", "")
	flags.String("log-format", "text", "")
	flags.Int("listen-connections", 16, "")
	flags.StringSlice("listen-hosts", nil, "")
	flags.Duration("copy-every", 0, "")
	flags.Bool("watch", false, "")
	if err := flags.Parse([]string{"--log-level=warn", "--listen-hosts=a.example,b.example", "--watch",
		"--copy-every=2h"}); err != nil {
		t.Fatal(err)
	}
	env := []string{"LIDWRIGHT_LOG_LEVEL=debug", "LIDWRIGHT_LOG_FORMAT=json"}
	setenv(t, env)
	cfg, err := Load("", env, flags)
	if err != nil || cfg.Log.Level != "warn" || cfg.Log.Format != "json" || cfg.Listen.Connections != 128 ||
		len(cfg.Listen.Hosts) != 2 || cfg.Copy.Every.Hours() != 2 {
		t.Errorf("%v, %+v", err, cfg)
	}
	if err := flags.Parse([]string{"--log-level=loud"}); err != nil {
		t.Fatal(err)
	}
	if _, err = Load("", nil, flags); err == nil || !strings.HasPrefix(err.Error(),
		`flags: --log-level: is "loud"; must be one of`) {
		t.Errorf("%v", err)
	}
}

// Secrets in addresses are not repeated in messages.
func TestMistakesTellNoSecret(t *testing.T) {
	_, err := Load(write(t, "[notice]\ndeadman_url = \"ftp://x.example/hidden\"\n"), nil, nil)
	if err == nil || strings.Contains(err.Error(), "hidden") {
		t.Errorf("%v", err)
	}
}

func ExampleMistakes() {
	doc, _ := parseDocument("lidwright.toml",
		[]byte("[listen]\nadress = \":8573\"\n[log]\nlevel = \"loud\"\n"))
	_, err := load(doc, nil, nil)
	fmt.Println(err)
	// Output:
	// lidwright.toml:2: listen.adress: is no setting; the nearest is listen.address
	// lidwright.toml:4: log.level: is "loud"; must be one of error, warn, info, debug
}

// A file with the names that settings had before is read, and each is told once: what was more than can
// be set any more comes down to the most.
func TestFormerKeysAreTakenOver(t *testing.T) {
	const file = `[kiln.big-blue]
port = ""
limit_c = 1290
unpacking_mark_c = 95
unpacking_reason = "thin ware"
[kiln.little-red]
port = ""
limit_c = 1290
unpacking_mark_c = 250
unpacking_reason = "raku"
[notice.webhook.phone]
url = "http://127.0.0.1/x"
on = ["kiln.at_unpacking_mark", "copy.old"]
`
	cfg, err := LoadText("old.toml", file, nil)
	if err != nil {
		t.Fatal(err)
	}
	blue, red := cfg.Kilns[0].Kiln(), cfg.Kilns[1].Kiln()
	if blue.KeepShut != 95 || blue.KeepShutReason != "thin ware" || red.KeepShut != 200 ||
		red.KeepShutReason != "raku" {
		t.Errorf("taken over as %v %q, %v %q", blue.KeepShut, blue.KeepShutReason,
			red.KeepShut, red.KeepShutReason)
	}
	if on := cfg.Notice.Webhooks[0].On; !reflect.DeepEqual(on, []string{"kiln.cooled", "copy.old"}) {
		t.Errorf("events %v", on)
	}
	told := map[string]int{}
	for _, a := range cfg.Advice {
		told[fmt.Sprintf("%d %s", a.Line, a.Says)]++
	}
	for _, want := range []string{"4 is called keep_shut_above_c now", "5 is called keep_shut_reason now",
		"9 is 250; the kiln is kept shut above 200 °C", "13 holds kiln.at_unpacking_mark"} {
		n := 0
		for says, times := range told {
			if strings.HasPrefix(says, want) {
				n += times
			}
		}
		if n != 1 {
			t.Errorf("%q told %d times: %v", want, n, told)
		}
	}
}
