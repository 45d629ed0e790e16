package api

import (
	"strings"
	"testing"

	"lidwright/kiln"
	"lidwright/kiln/record"
)

// twoKilns are as many, each with its temperature; without one it is not heard.
type twoKilns struct {
	nobody
	blue, red kiln.Celsius
}

func (k *twoKilns) Live() []record.Live {
	var out []record.Live
	for _, one := range []struct {
		name kiln.KilnID
		t    kiln.Celsius
	}{{"big-blue", k.blue}, {"little-red", k.red}} {
		if one.name == "little-red" && k.red == 0 {
			continue // there is one kiln alone
		}
		out = append(out, record.Live{Kiln: one.name, State: kiln.Cold, T: one.t,
			LastT: one.t, Fresh: one.t.Known(),
			Rate: kiln.CelsiusPerHour(0), Peak: kiln.NoTemperature(), Limit: 1290, KeepShut: 50})
	}
	return out
}

// A display that asks for a bare number gets that of the kiln that it means or none: when the hot kiln goes
// quiet, the number of another one would say that it is cold.
func TestNowAsText(t *testing.T) {
	kilns := &twoKilns{blue: 126.9, red: 21.1}
	s := studioOfNobody()
	s.Recorder, s.Now = kilns, studioOfNobody().Now
	srv := serve(t, s)
	const text = "text/plain"
	for _, c := range []struct {
		name          string
		blue, red     kiln.Celsius
		path, accept  string
		status        int
		says, andSays string
	}{
		{"one of two by its path", 126.9, 21.1, "/v1/now/big-blue", text, 200, "126.9\n", ""},
		{"the other", 126.9, 21.1, "/v1/now/little-red", text, 200, "21.1\n", ""},
		{"by a parameter", 126.9, 21.1, "/v1/now?kiln=little-red", text, 200, "21.1\n", ""},
		{"two and none named", 126.9, 21.1, "/v1/now", text, 422, "/problems/which-kiln",
			"big-blue, little-red"},
		{"two and none named, one quiet", kiln.NoTemperature(), 21.1, "/v1/now", text, 422,
			"/problems/which-kiln", `"name":"kiln"`},
		{"the hot one is quiet", kiln.NoTemperature(), 21.1, "/v1/now/big-blue", text, 503,
			"/problems/kiln-not-heard", "big-blue"},
		{"the same by a parameter", kiln.NoTemperature(), 21.1, "/v1/now?kiln=big-blue", text, 503,
			"/problems/kiln-not-heard", "big-blue"},
		{"one kiln needs no name", 126.9, 0, "/v1/now", text, 200, "126.9\n", ""},
		{"one kiln that is quiet", kiln.NoTemperature(), 0, "/v1/now", text, 503,
			"/problems/kiln-not-heard", "big-blue"},
		{"no such kiln", 126.9, 21.1, "/v1/now/grey", text, 404, "/problems/unknown-kiln", ""},
		{"no such kiln by a parameter", 126.9, 21.1, "/v1/now?kiln=grey", text, 404,
			"/problems/unknown-kiln", ""},
		{"JSON of one", 126.9, 21.1, "/v1/now/little-red", "application/json", 200, `{"kiln":"little-red"`,
			`"temperature_c":21.1`},
		{"JSON of one by a parameter", 126.9, 21.1, "/v1/now?kiln=little-red", "application/json", 200,
			`{"items":[{"kiln":"little-red"`, ""},
	} {
		kilns.blue, kilns.red = c.blue, c.red
		a, body := ask(t, "GET", srv.URL+c.path, "", "", "Accept", c.accept)
		if a.StatusCode != c.status || !strings.Contains(body, c.says) ||
			!strings.Contains(body, c.andSays) || c.status == 200 && c.accept == text && body != c.says {
			t.Errorf("%s: %d %s, want %d with %s %s", c.name, a.StatusCode, body, c.status, c.says, c.andSays)
		}
		if c.path == "/v1/now?kiln=little-red" && strings.Contains(body, "big-blue") {
			t.Errorf("%s: %s", c.name, body)
		}
	}
}
