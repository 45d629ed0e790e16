package main

import (
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"lidwright/daemon/notice"
	"lidwright/kiln/record"
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
	if says := regexp.MustCompile(`says: .*`).FindAllString(rules, -1); len(says) != len(names) {
		t.Errorf("%d rules have %d annotations", len(names), len(says))
	} else {
		// A rule about what a notice tells carries its words, and ends as it does.
		same := map[string]string{"KilnReadingsStopped": record.QuietNotice, "KilnOverItsLimit": record.OverLimitNotice, "KilnStillHot": record.StillHotNotice,
			"KilnStoppedClimbing": record.StoppedClimbingNotice, "KilnFellEarly": record.FellEarlyNotice, "FiringMuchLongerThanUsual": record.FiringLongNotice}
		for i, s := range says {
			begins, ends := "", " "+notice.Plain+`"`
			if event := same[names[i][1]]; event != "" {
				begins, ends = `says: "`+fmt.Sprintf(notice.Words(event, record.NoticeBegan), "{{ $labels.kiln }}")+".", " "+notice.Last+`"`
				delete(same, names[i][1])
			}
			if !strings.HasPrefix(s, begins) || !strings.HasSuffix(s, ends) {
				t.Errorf("%s says %s\nwant it to begin with %s and to end with %s", names[i][1], s, begins, ends)
			}
		}
		if len(same) > 0 {
			t.Errorf("no rule for %v", same)
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
