package main

import (
	"io"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// The table commands say what the daemon says: which line is bad, what was kept.
func TestBarTables(t *testing.T) {
	srv := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		body, _ := io.ReadAll(r.Body)
		switch {
		case r.URL.Path == "/bars.csv":
			io.WriteString(w, "code,clay\r\nBQ7,"+r.URL.Query().Get("clay")+"\r\n")
		case r.URL.Path == "/v1/bars/bq7":
			io.WriteString(w, `{"bar":"BQ7","clay":"tern","batch":"A","forming":"thrown_ring"}`)
		case r.URL.Path == "/v1/bars":
			io.WriteString(w, `{"items":[{"bar":"BQ7","clay":"tern","batch":"A","forming":"thrown_ring"},{"bar":"BQ4","clay":"tern","batch":"A","forming":"rolled"}]}`)
		case strings.Contains(string(body), "bad"):
			io.WriteString(w, `{"bad_rows":[{"line":2,"field":"wet","says":"cannot read \"bad\""}]}`+"\n")
		case r.URL.Query().Get("dry_run") == "true":
			io.WriteString(w, `{"kind":"bars","dry_run":true,"new_bars":1,"new_readings":2,"readings_known":0,"codes":[],"bad_rows":[],"asked":[]}`+"\n")
		default:
			io.WriteString(w, `{"done":500,"of":501}`+"\n"+
				`{"kind":"bars","kept":true,"new_bars":501,"new_readings":2,"readings_known":3,"codes":["KK"],"bad_rows":[],"asked":[{"line":3,"bar":"BQ7","stage":"dry","question":"Is 942 mm right?"}]}`+"\n")
		}
	}))
	defer srv.Close()
	file := func(text string) string {
		path := filepath.Join(t.TempDir(), "table.csv")
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		return path
	}
	for _, c := range []struct {
		name string
		args []string
		code int
		says []string
	}{
		{"dry", []string{"import", file("code,wet\nBQ7,100\n"), "--dry-run"}, exitDone,
			[]string{"1 new bars, 2 readings would be kept"}},
		{"kept", []string{"import", file("code,wet\nBQ7,100\n")}, exitDone,
			[]string{"501 new bars, 2 readings kept; 3 readings known already. KK",
				"line 3, BQ7 dry: Is 942 mm right?"}},
		{"bad", []string{"import", file("code,wet\nBQ7,bad\n")}, exitWrongUse,
			[]string{`line 2, wet: cannot read "bad"`, "nothing was kept"}},
		{"no file", []string{"import", filepath.Join(t.TempDir(), "none.csv")}, exitWrongUse,
			[]string{"there is no file"}},
		{"out", []string{"export", "--clay", "tern"}, exitDone, []string{"BQ7,tern"}},
		{"sheet", []string{"sheet", "bq7"}, exitDone, []string{"BQ7", "thrown ring", "________",
			"/bars/sheet?clay=&codes=bq7"}},
	} {
		code, said := told(t, append([]string{"bars", "--site", srv.URL}, c.args...)...)
		if code != c.code {
			t.Errorf("%s: exit %d, want %d: %s", c.name, code, c.code, said)
		}
		for _, want := range c.says {
			if !strings.Contains(said, want) {
				t.Errorf("%s: %q is not in %s", c.name, want, said)
			}
		}
		if c.name == "sheet" && strings.Contains(said, "BQ4") {
			t.Errorf("a bar that was not asked for: %s", said)
		}
	}
}
