package daemon

import (
	"encoding/json"
	"net/http"
	"net/http/httptest"
	"net/http/httputil"
	"net/url"
	"strings"
	"testing"

	"lidwright/kiln"
)

// nonsense is what stands in one field after the other of whatever can be sent: a word that is none of those
// known, nothing, signs that mean something elsewhere, a number and a truth where a text is due.
var nonsense = []any{"biscuit", "", "'\"<&%\u200b", strings.Repeat("x", 600), -1, 1e300, true, nil,
	[]any{"biscuit"}, map[string]any{"kind": "biscuit"}}

// TestNonsense sends everything that the table of routes sends well once more, with one field after the other
// changed for nonsense, and with the ids of other facts. Whoever sends it is answered that the field is
// wrong, or that the id is taken, and never that the machine has trouble.
func TestNonsense(t *testing.T) {
	t.Parallel()
	b := newHeatBench(t)
	fired := string(b.fire(5, "20>600@150 >1120@180 >1222@60 h10 off", kiln.Glaze))
	b.d.handler()                       // done with the settings
	b.d.server.Access.WritesASecond = 0 // more is sent than one address may write at once
	b.d.handler = b.d.server.Handler
	b.run()
	b.d.samples <- kiln.Sample{Kiln: "big-blue", At: b.d.Now(), Values: []kiln.Value{{Channel: "1", T: 30}}}
	site, err := url.Parse(b.site)
	if err != nil {
		t.Fatal(err)
	}
	whole := httputil.NewSingleHostReverseProxy(site)
	sent, refusals := 0, 0
	send := func(method, address, contentType, body string) int {
		address = strings.ReplaceAll(strings.ReplaceAll(address, "/firings/F", "/firings/"+fired),
			"/firing/F", "/firing/"+fired)
		r := httptest.NewRequest(method, "http://localhost"+address, strings.NewReader(body))
		r.Header.Set("Content-Type", contentType)
		w := httptest.NewRecorder()
		whole.ServeHTTP(w, r)
		sent++
		if w.Code >= 400 {
			refusals++
		}
		// 503 is the kiln of the settings that is not heard, and a store that is busy for a moment.
		if w.Code >= 500 && w.Code != http.StatusServiceUnavailable {
			t.Errorf("%s %s %.300s: %d %.300s", method, address, body, w.Code, w.Body)
		}
		return w.Code
	}
	const asJSON, asForm = "application/json", "application/x-www-form-urlencoded"
	kind := func(address string) string {
		if strings.HasPrefix(address, "/v1/") {
			return asJSON
		}
		return asForm
	}
	table := 0
	for _, c := range everyRoute {
		if c.method == "GET" || strings.HasPrefix(c.address, "/v1/import") || c.address == "/import" ||
			strings.HasSuffix(strings.Split(c.address, "?")[0], "/curve") {
			continue
		}
		table++
		send(c.method, c.address, kind(c.address), c.body)
		if kind(c.address) == asForm {
			form, err := url.ParseQuery(c.body)
			if err != nil {
				t.Fatal(err)
			}
			for name, before := range form {
				for _, n := range nonsense {
					if text, ok := n.(string); ok {
						form[name] = []string{text}
						send(c.method, c.address, asForm, form.Encode())
					}
				}
				form[name] = before
			}
			continue
		}
		var body map[string]any
		if json.Unmarshal([]byte(c.body), &body) != nil {
			continue
		}
		for name, before := range body {
			for _, n := range nonsense {
				body[name] = n
				text, _ := json.Marshal(body)
				send(c.method, c.address, asJSON, string(text))
			}
			body[name] = before
		}
	}
	// The id of one fact for another one.
	taken := func(method, address, body string) {
		t.Helper()
		if code := send(method, address, asJSON, body); code != http.StatusConflict {
			t.Errorf("%s %s %s: %d, want 409", method, address, body, code)
		}
	}
	taken("PUT", "/v1/bars/BQ3", `{"id":"0193c0c1-0000-7000-8000-0000000000b7","clay":"tern","batch":"B","mark_length_mm":100,"marks":1}`)
	taken("PUT", "/v1/bars/BQ7", `{"id":"0193c0c1-0000-7000-8000-0000000000b4","clay":"tern","batch":"B","mark_length_mm":100,"marks":1}`)
	taken("PUT", "/v1/bars/BQ4/readings/0193c0c1-0000-7000-8000-000000000001",
		`{"stage":"wet","length":"100"}`)
	if code := send("POST", "/firing/F/said", asForm,
		"kind=biscuit"); code != http.StatusUnprocessableEntity {
		t.Errorf("a firing said to be a biscuit: %d, want 422", code)
	}
	if sent < 10*table || refusals < sent/4 {
		t.Errorf("of %d requests that were changed from %d, %d were refused", sent, table, refusals)
	}
	t.Logf("%d requests, %d refused", sent, refusals)
}
