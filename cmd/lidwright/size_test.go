package main

import (
	"encoding/json"
	"io"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"

	"lidwright/api"
)

// Stated rates need no daemon: 62/(0.94 x 0.93) = 70.92 wet, worked by hand; a clay that does not
// answer, a capacity of 0 and a misspelt flag have their own exit codes.
func TestSize(t *testing.T) {
	out, code := outLine(t, "size", "--fired", "62", "--drying-ratio", "6%", "--firing-ratio",
		"0.07", "--step", "0.1")
	if code != exitDone || !strings.Contains(out, "wet: 70.9 mm, likely ") ||
		!strings.Contains(out, "dry 66.7, fired 62.0 mm") ||
		!strings.Contains(out, "Computed from the rates you stated") {
		t.Errorf("exit %d: %s", code, out)
	}
	if out, code = outLine(t, "size", "--fired-ml", "1000", "--drying-ratio", "0.12", "--firing-ratio", "0",
		"--plain"); code != exitDone || out != "1467.4\n" {
		t.Errorf("exit %d: %s", code, out)
	}
	for _, args := range [][]string{{"--fired-ml", "0", "--drying-ratio", "0.12", "--firing-ratio", "0"},
		{"--fired", "62"}, {"--colour", "red"}} {
		if out, code := outLine(t, append([]string{"size"}, args...)...); code != exitWrongUse {
			t.Errorf("%v: exit %d: %s", args, code, out)
		}
	}
	if out, code = outLine(t, "size", "--fired", "62", "--clay", "tern", "--site",
		"http://127.0.0.1:1"); code != exitNotReachable {
		t.Errorf("exit %d: %s", code, out)
	}
}

// daemonThatSays is a daemon that remembers what it was asked and gives the answers it was made with.
func daemonThatSays(t *testing.T, answers map[string]string) (site string, asked *[]string) {
	t.Helper()
	asked = new([]string)
	srv := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		b, _ := io.ReadAll(r.Body)
		*asked = append(*asked, strings.TrimSpace(r.Method+" "+r.URL.RequestURI()+" "+string(b)))
		for start, answer := range answers {
			if strings.HasPrefix(r.Method+" "+r.URL.RequestURI(), start) {
				w.Header().Set("Content-Type", "application/json")
				io.WriteString(w, answer)
				return
			}
		}
		w.WriteHeader(http.StatusNotFound)
	}))
	t.Cleanup(srv.Close)
	return srv.URL, asked
}

func TestSizesOfSets(t *testing.T) {
	site, asked := daemonThatSays(t, map[string]string{
		"GET /v1/size/nest":   `{"gaps":[{"inner":1,"outer":2,"play_mm":3.96,"worst_mm":3.2,"fit_chance":1}],"says":"Tightest: pot 1 in pot 2.","trust":"no_bars"}`,
		"GET /v1/size/shared": `{"says":"It fits every pot.","trust":"well_tested"}`,
		"GET /v1/size/scale":  `{"times":1.2599,"lengths":[{"name":"length 1","was_mm":104.5,"mm":131.66}],"says":"Lengths."}`,
	})
	out, code := outLine(t, "size", "nest", "--site", site, "--outside", "100", "--inside", "95", "--outside",
		"112", "--inside", "104.5", "--clay", "tern")
	if code != exitWeakRate || !strings.Contains(out, "1 in 2: 4.0 mm of room, 3.2 at worst") ||
		(*asked)[0] != "GET /v1/size/nest?clay=tern&inside=95&inside=104.5&outside=100&outside=112" {
		t.Errorf("exit %d: %s %v", code, out, *asked)
	}
	if out, code = outLine(t, "size", "shared", "--site", site, "--collar", "104.5", "--lid", "103", "--clay",
		"tern"); code != exitDone || !strings.Contains(out, "fits every pot") {
		t.Errorf("exit %d: %s", code, out)
	}
	if out, code = outLine(t, "size", "scale", "--site", site, "--length", "104.5", "--was-ml", "500",
		"--fired-ml", "1000"); code != exitDone || !strings.Contains(out, "length 1: 104.5 -> 131.7 mm") {
		t.Errorf("exit %d: %s", code, out)
	}
}

// A board of cards, one found, its lid written down; then the results of the board that is found.
func TestPotsAndLidResults(t *testing.T) {
	site, asked := daemonThatSays(t, map[string]string{
		"GET /v1/pots/p1":      `{"id":"p1","lid_question":"/v1/lid?","form":"jar","number":"212","collar_mm":[104.5],"body":"tern/B"}`,
		"GET /v1/pots?":        `{"items":[{"id":"p1","mark":"KT","number":"212","form":"jar","collar_mm":[104.5,104.8],"opening_mm":92.5},{"id":"p2","mark":"KT","number":"213","form":"jar","collar_mm":[104.5]}]}`,
		"PUT /v1/pots/":        `{"id":"p1"}`,
		"PUT /v1/lid-results/": `{"lid_difference_ratio":{"value":0.004,"likely":[0.001,0.007],"fits":17},"says":["no load named"],"cautions":["wet-grinding"]}`,
		"GET /v1/lid-results":  `{"tally":[{"form":"jar","body":"tern","maker":"KT","boards":2,"counts":{"good":13,"tight":2},"losses":{"rocks":1},"lid_difference_ratio":{"value":0.004,"likely":[0.001,0.007],"fits":17}}],"answers_held":19,"answers_held_of":21,"left_out":1,"makers":[{"maker":"KT","lids":30,"throw_sd_mm":0.31,"measure_sd_mm":0.3}]}`,
	})
	out, code := outLine(t, "pot", "new", "--site", site, "--form", "jar", "--mark", "KT", "--number", "212",
		"--collar", "104.5", "--collar", "4 1/8 in", "--opening", "92,5", "--clay", "tern", "--count", "2")
	if code != exitDone || len(*asked) != 2 || !strings.Contains(out, "jar 213") {
		t.Fatalf("exit %d: %s %v", code, out, *asked)
	}
	var body struct {
		Number  string
		Collar  []float64 `json:"collar_mm"`
		Opening float64   `json:"opening_mm"`
	}
	_, said, _ := strings.Cut((*asked)[1], " {")
	if err := json.Unmarshal([]byte("{"+said), &body); err != nil || body.Number != "213" ||
		len(body.Collar) != 2 || body.Opening != 92.5 {
		t.Errorf("%v %+v", err, body)
	}
	if out, _ = outLine(t, "pot", "find", "--site", site, "kt", "212"); !strings.Contains(out,
		"104.5/104.8") || !strings.Contains((*asked)[2], "find=kt+212") {
		t.Errorf("%s %v", out, *asked)
	}
	if out, code = outLine(t, "pot", "lid", "--site", site, "p1", "102.3"); code != exitDone ||
		!strings.Contains((*asked)[4], `"lid_mm":102.3`) || strings.Contains((*asked)[4], "lid_question") {
		t.Errorf("exit %d: %s %v", code, out, *asked)
	}
	out, code = outLine(t, "result", "--site", site, "--find", "kt jar", "--good", "13", "--tight", "2",
		"--rocks", "1", "--play", "1.3")
	put := (*asked)[len(*asked)-1]
	if code != exitDone || !strings.Contains(out,
		"Your lids shrink 0.40 % more than your pots, likely 0.10 % more to 0.70 % more, from 17 lids.") ||
		!strings.Contains(out, "Mind: "+api.CautionOf("wet-grinding").String()) ||
		!strings.Contains(put, `"pots":["p1","p2"]`) || !strings.Contains(put, `"rocks":1`) ||
		!strings.Contains(put, `"plays_mm":[1.3]`) {
		t.Errorf("exit %d: %s %s", code, out, put)
	}
	if out, code = outLine(t, "result", "list", "--site", site); code != exitDone ||
		!strings.Contains(out, "Our ranges held 19 times of 21.") ||
		!strings.Contains(out, "KT throws to 0.31 mm") || !strings.Contains(out, "1 boards left out") {
		t.Errorf("exit %d: %s", code, out)
	}
	if out, code = outLine(t, "result", "cross-out", "--site", site, "v1"); code != exitWrongUse {
		t.Errorf("crossing out without a reason: exit %d: %s", code, out)
	}
	if out, code = outLine(t, "result", "cross-out", "--site", site, "v1", "--why",
		"wrong board"); code != exitDone || !strings.Contains(out, "Crossed out") {
		t.Errorf("exit %d: %s", code, out)
	}
	if out, code = outLine(t, "pot", "new", "--site", site, "--form", "jar", "--collar", "wide", "--clay",
		"tern"); code != exitWrongUse {
		t.Errorf("a width that cannot be read: exit %d: %s", code, out)
	}
}
