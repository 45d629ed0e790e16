package main

import (
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"lidwright/daemon/notice"
	"lidwright/kiln/message"
	"lidwright/kiln/record"
)

// TestRules has promtool (Debian's prometheus) fire and clear every rule that we ship, and holds
// that no rule waits for a metric that the program does not have.
func TestRules(t *testing.T) {
	const folder = "../../deploy/prometheus"
	for _, args := range [][]string{{"check", "rules", "rules.yml"}, {"test", "rules", "rules_test.yml"},
		{"check", "rules", "recording.yml"}, {"test", "rules", "recording_test.yml"}} {
		c := exec.Command("promtool", args...)
		c.Dir = folder
		if out, err := c.CombinedOutput(); err != nil {
			t.Errorf("promtool %s: %v\n%s", strings.Join(args, " "), err, out)
		}
	}
	rules, tests := read(t, folder+"/rules.yml"), read(t, folder+"/rules_test.yml")
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
		same := map[string]string{"KilnReadingsStopped": record.QuietNotice,
			"KilnOverItsLimit": record.OverLimitNotice, "KilnStillHot": record.StillHotNotice,
			"KilnStoppedClimbing": record.StoppedClimbingNotice, "KilnFellEarly": record.FellEarlyNotice,
			"FiringMuchLongerThanUsual": record.FiringLongNotice}
		for i, s := range says {
			begins, ends := "", " "+string(notice.Plain)+`"`
			if event := same[names[i][1]]; event != "" {
				begins, ends = `says: "`+sentences(notice.Words(event, record.NoticeBegan,
					"{{ $labels.kiln }}"))+".", " "+string(notice.Last)+`"`
				delete(same, names[i][1])
			}
			if !strings.HasPrefix(s, begins) || !strings.HasSuffix(s, ends) {
				t.Errorf("%s says %s\nwant it to begin with %s and to end with %s",
					names[i][1], s, begins, ends)
			}
		}
		if len(same) > 0 {
			t.Errorf("no rule for %v", same)
		}
	}
	recorded := read(t, folder+"/recording.yml")
	for _, m := range regexp.MustCompile(`record: (\S+)`).FindAllStringSubmatch(recorded, -1) {
		if !strings.Contains(read(t, folder+"/recording_test.yml"), m[1]) {
			t.Errorf("no test holds %s", m[1])
		}
		recorded = strings.ReplaceAll(recorded, m[1], "")
	}
	known := metricsKnown(t)
	for _, m := range metricName.FindAllString(rules+recorded, -1) {
		if !known[m] {
			t.Errorf("a rule waits for %s, which the program does not have", m)
		}
	}
}

// metricName is the name of a metric in an expression.
var metricName = regexp.MustCompile(`\b(?:lidwright|process|go)_[a-z0-9_]+`)

// metricsKnown are the names of the program's page of metrics: those of the recorded page, and those that are
// absent there because nothing is known of them yet.
func metricsKnown(t *testing.T) map[string]bool {
	t.Helper()
	known := map[string]bool{}
	for _, m := range regexp.MustCompile(`(?m)^([a-z]\w+)[ {]`).FindAllStringSubmatch(read(t,
		"testdata/answers/text-metrics.txt"), -1) {
		known[m[1]] = true
	}
	if len(known) < 60 {
		t.Fatalf("only %d metrics on the recorded page", len(known))
	}
	files, err := filepath.Glob("../../api/metrics/*.go")
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range files {
		for _, m := range regexp.MustCompile(`desc\("(\w+)"`).FindAllStringSubmatch(read(t, f), -1) {
			known["lidwright_"+m[1]] = true
		}
	}
	return known
}

// TestDashboard holds the dashboard for Grafana to what it can be held to without one: its panels lie in the
// grid and beside one another, each question is one that Prometheus can read (promtool), and each metric in
// it is one of the program's.
func TestDashboard(t *testing.T) {
	type place struct{ X, Y, W, H int }
	var board struct {
		Title, UID string
		Templating struct {
			List []struct {
				Name, Type string
				Query      any // a word, or an object with the question
			}
		}
		Annotations struct{ List []struct{ Expr string } }
		Panels      []struct {
			ID          int
			Type, Title string
			GridPos     place
			Options     struct{ Content string }
			Targets     []struct {
				Expr       string
				Datasource struct{ UID string }
			}
		}
	}
	text := read(t, "../../deploy/grafana/lidwright.json")
	if err := json.Unmarshal([]byte(text), &board); err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(text, "it protects nothing") || !strings.Contains(text, "no leave to open") {
		t.Error("the standing line is not on it")
	}
	pairs := []string{"$__rate_interval", "5m"}
	for _, v := range board.Templating.List {
		pairs = append(pairs, "$"+v.Name, ".*")
	}
	variables := strings.NewReplacer(pairs...)
	var rules strings.Builder
	rules.WriteString("groups:\n- name: dashboard\n  rules:\n")
	known, ids, questions := metricsKnown(t), map[int]bool{}, 0
	ask := func(panel, expr string) {
		questions++
		expr = variables.Replace(expr)
		if strings.Contains(expr, "$") {
			t.Errorf("%s: a variable that nobody sets in %s", panel, expr)
		}
		fmt.Fprintf(&rules, "  - {record: 'a%d', expr: %q}\n", questions, expr)
		for _, m := range metricName.FindAllString(expr, -1) {
			if !known[m] {
				t.Errorf("%s asks for %s, which the program does not have", panel, m)
			}
		}
	}
	for i, p := range board.Panels {
		g := p.GridPos
		if ids[p.ID] || p.ID == 0 || g.W < 1 || g.H < 1 || g.X < 0 || g.X+g.W > 24 {
			t.Errorf("panel %q: id %d, place %+v", p.Title, p.ID, g)
		}
		ids[p.ID] = true
		for _, q := range board.Panels[:i] {
			if o := q.GridPos; g.X < o.X+o.W && o.X < g.X+g.W && g.Y < o.Y+o.H && o.Y < g.Y+g.H {
				t.Errorf("%q lies over %q", p.Title, q.Title)
			}
		}
		for _, target := range p.Targets {
			if target.Datasource.UID != "${datasource}" {
				t.Errorf("%q asks a place of its own", p.Title)
			}
			ask(p.Title, target.Expr)
		}
		if p.Type != "row" && p.Type != "text" && len(p.Targets) == 0 {
			t.Errorf("%q asks nothing", p.Title)
		}
	}
	for _, a := range board.Annotations.List {
		ask("annotation", a.Expr)
	}
	for _, v := range board.Templating.List {
		asks, _ := v.Query.(map[string]any)
		question, _ := asks["query"].(string)
		if m := regexp.MustCompile(`^label_values\((.*), \w+\)$`).FindStringSubmatch(question); m != nil {
			ask("variable "+v.Name, m[1])
		} else if v.Type == "query" {
			t.Errorf("variable %s asks %q", v.Name, question)
		}
	}
	if questions < 25 {
		t.Errorf("only %d questions seen", questions)
	}
	file := filepath.Join(t.TempDir(), "dashboard.yml")
	if err := os.WriteFile(file, []byte(rules.String()), 0o600); err != nil {
		t.Fatal(err)
	}
	if out, err := exec.Command("promtool", "check", "rules", file).CombinedOutput(); err != nil {
		t.Errorf("promtool: %v\n%s\n%s", err, out, rules.String())
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

// sentences are the sentences of a notice in English, without the last full stop.
func sentences(all []message.Message) string {
	for i, m := range all {
		all[i] = message.Stopped(m)
	}
	return strings.TrimSuffix(message.Join(" ", all...).String(), ".")
}
