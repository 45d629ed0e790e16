package main

import (
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
)

// TestRules has promtool (Debian's prometheus) fire and clear every rule that we ship, and holds
// that no rule waits for a metric that the program does not have.
func TestRules(t *testing.T) {
	const folder = "../../deploy/prometheus"
	for _, args := range [][]string{{"check", "rules", "rules.yml"}, {"test", "rules", "rules_test.yml"}} {
		c := exec.Command("promtool", args...)
		c.Dir = folder
		if out, err := c.CombinedOutput(); err != nil {
			t.Errorf("promtool %s: %v\n%s", strings.Join(args, " "), err, out)
		}
	}
	rules, tests, metrics := read(t, folder+"/rules.yml"), read(t, folder+"/rules_test.yml"), ""
	files, err := filepath.Glob("../../api/*.go")
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range files {
		metrics += read(t, f)
	}

	names := regexp.MustCompile(`alert: (\w+)`).FindAllStringSubmatch(rules, -1)
	if len(names) < 12 {
		t.Errorf("%d rules; the design has 12", len(names))
	}
	for _, n := range names {
		if strings.Count(tests, "alertname: "+n[1]+"\n") == 0 {
			t.Errorf("no test fires %s", n[1])
		}
		if strings.Count(tests, "alertname: "+n[1]+", exp_alerts: []") == 0 {
			t.Errorf("no test clears %s", n[1])
		}
	}
	const last = `Go and look. This message is no safety device; the kiln's own protection and a person are."`
	if says := regexp.MustCompile(`says: .*`).FindAllString(rules, -1); len(says) != len(names) {
		t.Errorf("%d rules have %d annotations", len(names), len(says))
	} else {
		for _, s := range says {
			if !strings.HasSuffix(s, last) {
				t.Errorf("an annotation does not end with the standing sentence: %s", s)
			}
		}
	}
	for _, m := range regexp.MustCompile(`lidwright_(\w+)`).FindAllStringSubmatch(rules, -1) {
		if !strings.Contains(metrics, `desc("`+m[1]+`"`) {
			t.Errorf("a rule waits for lidwright_%s, which api does not have", m[1])
		}
	}
}

func read(t *testing.T, path string) string {
	t.Helper()
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}
