package main

import (
	"math"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
)

// shownAt is where a figure is shown: the question of a recorded answer, and what finds it there.
type shownAt struct {
	question, find string
	times          float64 // the figure there, so many times, is that of the others; 0: once
}

// figures are those that a potter works by, each with the pages, answers and commands that show it. The
// questions of one row were asked while nothing changed between them.
var figures = map[string][]shownAt{
	"the rate of a bag, %": {
		{"GET /v1/clays/tern/shrinkage", `"total_ratio": ([\d.]+)`, 100},
		{"GET /clay/tern in en", `bag B shrinks\n([\d.]+)%`, 0},
		{"GET /clays in en", `Tern stoneware ([\d.]+)%`, 0},
		{"GET /clays in de", `Tern stoneware ([\d,]+)\s?%`, 0},
		{"GET /rule?clay=tern in en", `, ([\d.]+) % to fired`, 0},
		{"lidwright rate tern", `: ([\d.]+) %, likely`, 0},
	},
	"its likely lowest, %": {
		{"GET /v1/clays/tern/shrinkage", `"likely_low_ratio": ([\d.]+)`, 100},
		{"GET /clay/tern in en", `likely ([\d.]+) to`, 0},
		{"GET /clays in en", `bag B, likely ([\d.]+) to`, 0},
		{"lidwright rate tern", `%, likely ([\d.]+) to`, 0},
	},
	"its likely highest, %": {
		{"GET /v1/clays/tern/shrinkage", `"likely_high_ratio": ([\d.]+)`, 100},
		{"GET /clay/tern in en", `likely [\d.]+ to ([\d.]+),`, 0},
		{"GET /clays in en", `bag B, likely [\d.]+ to ([\d.]+)`, 0},
		{"lidwright rate tern", `%, likely [\d.]+ to ([\d.]+)`, 0},
	},
	"a lid, mm": {
		{"GET /v1/lid?" + oneLid, `"set_mm": ([\d.]+)`, 0},
		{"GET /v1/lid?" + oneLid, `"Set ([\d.]+) mm`, 0},
		{"GET /lid?" + oneLid + " in en", `Set callipers to\n([\d.]+)mm`, 0},
		{"GET /lid?" + oneLid + " in en", `\nlid ([\d.]+)\n`, 0},
		{"GET /lid?" + oneLid + "&just=1 in en", `More </more>\n([\d.]+)\n`, 0},
	},
	"a lid by command, mm": {
		{"lidwright " + oneLidAsked + " --json", `"set_mm":([\d.]+)`, 0},
		{"lidwright " + oneLidAsked, `Set ([\d.]+) mm`, 0},
		{"lidwright " + oneLidAsked + " --plain", `exit 0\n([\d.]+)`, 0},
	},
	"what a bar shrank, %": {
		{"GET /v1/bars/AA", `"total_ratio_so_far": ([\d.]+)`, 100},
		{"GET /bar/AA in en", `done ([\d.]+)% so far`, 0},
		{"GET /bar/AA in en", `fired 87.65 mm ([\d.]+) %`, 0},
		{"GET /bars/all in en", `AA tern A, thrown ring ([\d.]+) % done`, 0},
	},
	"how large to make a piece, mm": {
		{"GET /sizes?fired=100&clay=tern in en", `Make it, wet\n([\d.]+)mm`, 0},
		{"GET /sizes?fired=100&clay=tern in en", `Wet ([\d.]+)mm`, 0},
		{"GET /sizes?fired=100&clay=tern in de", `Nass ([\d,]+)mm`, 0},
	},
	"the same by command, mm": {
		{"lidwright size --fired 62 --clay tern", `wet: ([\d.]+) mm`, 0},
		{"lidwright size --fired 62 --clay tern", `The same piece: wet ([\d.]+),`, 0},
	},
}

const (
	oneLid      = "collar=104.5&opening=92.5&clay=tern&batch=A"
	oneLidAsked = "lid --collar 104.5 --opening 92.5 --clay tern --batch A"
)

// recordedAnswers are the answers that TestAnswers holds, by their questions.
func recordedAnswers(t *testing.T) map[string]string {
	t.Helper()
	files, err := filepath.Glob("testdata/answers/*.txt")
	if err != nil || len(files) == 0 {
		t.Fatal(len(files), err)
	}
	all := map[string]string{}
	for _, file := range files {
		b, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		for _, part := range strings.Split("\n"+string(b), "\n######## ")[1:] {
			question, answer, _ := strings.Cut(part, "\n")
			all[question] = answer
		}
	}
	return all
}

// TestOneFigureEverywhere holds that a figure is one value with one rounding, wherever it is shown: those
// that are rounded are the same to the last digit, and the unrounded one of JSON is theirs.
func TestOneFigureEverywhere(t *testing.T) {
	answers := recordedAnswers(t)
	for name, row := range figures {
		shown := ""
		var exact []float64
		for _, at := range row {
			m := regexp.MustCompile(at.find).FindStringSubmatch(answers[at.question])
			if m == nil {
				t.Errorf("%s: %s does not show it by %s", name, at.question, at.find)
				continue
			}
			text := strings.ReplaceAll(m[1], ",", ".")
			v, err := strconv.ParseFloat(text, 64)
			if err != nil {
				t.Fatal(err)
			}
			// JSON has no zeros at the end
			if strings.Contains(at.find, `"`) && !strings.Contains(at.find, "Set") {
				exact = append(exact, v*max(at.times, 1))
				continue
			}
			if shown == "" {
				shown = text
			}
			if text != shown {
				t.Errorf("%s: %s says %s, another %s", name, at.question, text, shown)
			}
		}
		_, places, _ := strings.Cut(shown, ".")
		is, _ := strconv.ParseFloat(shown, 64)
		for _, e := range exact {
			if half := 0.5 * math.Pow10(-len(places)); shown == "" || math.Abs(e-is) > half+1e-9 {
				t.Errorf("%s: shown as %q, in JSON %g", name, shown, e)
			}
		}
	}
}
