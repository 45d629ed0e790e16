package config

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

// A kiln as it is written into a file is the same kiln when it is read again.
func TestDraftReadsBack(t *testing.T) {
	for name, text := range map[string]string{"two": twoKilns, "example": uncommented(t)} {
		cfg := mustLoad(t, text)
		draft := ""
		for _, k := range cfg.Kilns {
			draft += k.Draft() + "\n"
		}
		again, err := LoadText("draft.toml", draft, nil)
		if err != nil {
			t.Fatalf("%s: %v\n%s", name, err, draft)
		}
		if diff := cmp.Diff(cfg.Kilns, again.Kilns); diff != "" {
			t.Errorf("%s (-written +read):\n%s\n%s", name, diff, draft)
		}
	}
	with := func(more string) string {
		return mustLoad(t, "[kiln.x]\nport = \"/dev/ttyUSB0\"\nreply = \"columns\"\nlimit_c = 1290\n[kiln.x.channel.1]\nfrom = \"1\"\nunit = \"c\"\n[kiln.x.probe.1]\ntype = \"K\"\n"+more).Kilns[0].Draft()
	}
	if draft := with(""); !strings.Contains(draft, "\n\n[kiln.x.channel.1]") || !strings.Contains(draft,
		"\n\n[kiln.x.probe.1]") {
		t.Errorf("no empty line before each table:\n%s", draft)
	}
	if _, err := LoadText("draft.toml", "[kiln.x]\nport = 5\n", nil); err == nil ||
		!strings.Contains(err.Error(), "draft.toml:2: kiln.x.port") {
		t.Errorf("a mistake of a draft: %v", err)
	}
}

func TestReadAnswers(t *testing.T) {
	file := filepath.Join(t.TempDir(), "answers")
	known := func(key string) bool { return key == "kiln" || key == "limit_c" || key == "write" }
	all := []string{"kiln", "limit_c", "write"}
	write := func(text string) {
		if err := os.WriteFile(file, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	write("# a kiln\nkiln = \"big-blue\"\nlimit_c = 1290\n\nwrite = true\n")
	got, err := ReadAnswers(file, known, all)
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(map[string]Answer{"kiln": {"big-blue", 2}, "limit_c": {"1290", 3},
		"write": {"yes", 5}}, got); diff != "" {
		t.Errorf("(-want +got):\n%s", diff)
	}
	write("klin = \"a\"\nlimit_c = [1, 2]\n[write]\nnow = true\n")
	_, err = ReadAnswers(file, known, all)
	for _, want := range []string{"answers:1: klin: is no question; the nearest is kiln",
		"answers:2: limit_c: must be one text", "answers:3: write: must be one text"} {
		if err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("no %q in %v", want, err)
		}
	}
	write("kiln = \n")
	if _, err := ReadAnswers(file, known, all); err == nil || !strings.Contains(err.Error(), "answers:1") {
		t.Errorf("no TOML: %v", err)
	}
	if _, err := ReadAnswers(file+".gone", known, all); err == nil {
		t.Error("a file that is not there was read")
	}
}
