package main

import (
	"os"
	"os/exec"
	"regexp"
	"strings"
	"testing"
)

// TestRules has promtool (Debian's prometheus) fire and clear every rule for a collector.
func TestRules(t *testing.T) {
	const folder = "../../deploy/prometheus"
	for _, args := range [][]string{{"check", "rules", "collect.yml"},
		{"test", "rules", "collect_test.yml"}} {
		c := exec.Command("promtool", args...)
		c.Dir = folder
		if out, err := c.CombinedOutput(); err != nil {
			t.Errorf("promtool %s: %v\n%s", strings.Join(args, " "), err, out)
		}
	}
	rules, err := os.ReadFile(folder + "/collect.yml")
	if err != nil {
		t.Fatal(err)
	}
	tests, err := os.ReadFile(folder + "/collect_test.yml")
	if err != nil {
		t.Fatal(err)
	}
	metrics, err := os.ReadFile("../../api/collectorpages/metrics.go")
	if err != nil {
		t.Fatal(err)
	}
	for _, n := range regexp.MustCompile(`alert: (\w+)`).FindAllStringSubmatch(string(rules), -1) {
		if strings.Count(string(tests), "alertname: "+n[1]) != 2 {
			t.Errorf("%s is not fired and cleared", n[1])
		}
	}
	for _, m := range regexp.MustCompile(`lidwright_collect_(\w+)`).FindAllStringSubmatch(string(rules), -1) {
		if !strings.Contains(string(metrics), `"`+m[1]+`"`) {
			t.Errorf("a rule waits for lidwright_collect_%s, which the program does not have", m[1])
		}
	}
}
