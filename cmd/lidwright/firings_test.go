package main

import (
	"context"
	"io"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// TestFiringsCommands asks a daemon that answers as the API does, and holds what is asked of it
// and what is shown.
func TestFiringsCommands(t *testing.T) {
	const id = "0193b1c4-6f00-7c3a-9d51-000000000001"
	one := `{"id":"` + id + `","name":"big-blue 143","kind":"glaze","status":"ended","peak_c":1222.4,"hours_to_top":8.6,"cooling_hours":14.34,"heat_work_c":1226.1,"cone_words":"6 well down","started_at":"2026-01-13T10:00:02+01:00","says":""}`
	var asked []string
	srv := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		b, _ := io.ReadAll(r.Body)
		path := r.URL.Path
		if strings.HasSuffix(path, "/begin") {
			path = "/v1/firings/NEW/begin" // under an id made for it
		}
		asked = append(asked, strings.TrimSpace(r.Method+" "+path+" "+r.URL.RawQuery+" "+
			r.Header.Get("Accept")+" "+string(b)))
		switch {
		case strings.HasSuffix(path, "/curve"):
			io.WriteString(w, "firing,channel,after_s,low_c,high_c\r\n")
		case path == "/v1/compare":
			io.WriteString(w, `{"items":[{"firing":`+one+`},{"firing":`+one+
				`,"says":"25 min slower above 1000 °C than big-blue 141"}]}`)
		case path == "/v1/trend":
			io.WriteString(w, `{"kind":"glaze","atmosphere":"oxidation","items":[{"says":"Heat work: no clear trend in 6 firings."}]}`)
		case path == "/v1/now/big-blue":
			io.WriteString(w, `{"kiln":"big-blue","firing":"`+id+`"}`)
		case path == "/v1/now/little-red":
			io.WriteString(w, `{"kiln":"little-red","firing":null,"stopped":null}`)
		case path == "/v1/now/annex":
			io.WriteString(w, `{"kiln":"annex","firing":null,"stopped":{"firing":"`+id+`"}}`)
		case path == "/v1/firings":
			io.WriteString(w, `{"items":[`+one+`]}`)
		default:
			io.WriteString(w, one)
		}
	}))
	defer srv.Close()
	for _, c := range []struct {
		args      string
		code      int
		ask, says string
	}{
		{"firings --kiln big-blue --kind glaze", exitDone,
			"GET /v1/firings kiln=big-blue&kind=glaze application/json", "8.6"},
		{"firings " + id, exitDone, "GET /v1/firings/" + id + "  application/json", "14.3"},
		{"firings curve " + id + " --csv --step 60 --channel all", exitDone,
			"GET /v1/firings/" + id + "/curve channel=all&step=60 text/csv", "after_s"},
		{"firings curve " + id + " --json", exitDone, "GET /v1/firings/" + id + "/curve  application/json",
			""},
		{"firings compare " + id + " " + id + " --at 1000", exitDone, "GET /v1/compare at_c=1000&firings=" +
			id + "%2C" + id + " application/json", "25 min slower"},
		{"firings compare a b c d e", exitWrongUse, "", ""},
		{"firings trend big-blue --kind bisque", exitDone,
			"GET /v1/trend kiln=big-blue&kind=bisque application/json", "no clear trend"},
		{"firings begin big-blue --kind other", exitDone,
			`PUT /v1/firings/NEW/begin  application/json {"kiln":"big-blue","kind":"other","sure":false}`,
			"Recording big-blue 143"},
		{"firings stop big-blue --yes", exitDone,
			"PUT /v1/firings/" + id + `/stop  application/json {"sure":true}`,
			"firings stop big-blue --undo"},
		{"firings stop little-red", exitFailed, "GET /v1/now/little-red  application/json",
			"no firing of little-red"},
		{"firings stop annex --undo", exitDone, "DELETE /v1/firings/" + id + "/stop  application/json",
			"goes on, as if it had never been stopped"},
		{"firings stop little-red --undo", exitFailed, "GET /v1/now/little-red  application/json",
			"within the last ten minutes"},
	} {
		asked = nil
		out, err := os.Create(filepath.Join(t.TempDir(), "out"))
		if err != nil {
			t.Fatal(err)
		}
		code := run(context.Background(), append(strings.Fields(c.args), "--site", srv.URL), out, out)
		out.Close()
		said, err := os.ReadFile(out.Name())
		if err != nil {
			t.Fatal(err)
		}
		last := ""
		if len(asked) > 0 {
			last = asked[len(asked)-1]
		}
		if code != c.code || last != c.ask || !strings.Contains(string(said), c.says) {
			t.Errorf("%s: code %d, asked %q, said\n%s", c.args, code, last, said)
		}
	}
}
