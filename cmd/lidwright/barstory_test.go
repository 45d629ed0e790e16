package main

import (
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
)

// A bar's story is printed a line a happening, with who struck what and why.
func TestStoryCommand(t *testing.T) {
	srv := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		w.Header().Set("Content-Type", "application/json")
		if r.URL.Path != "/v1/bars/BQ7/story" {
			w.WriteHeader(404)
			return
		}
		w.Write([]byte(`{"bar":"BQ7","items":[{"at":"2026-02-02T15:21:08+01:00","what":"struck","says":"wet 100.4 mm","by":"KT","why":"with a rule"},{"at":null,"what":"packed","says":"load 14, glaze","by":"","why":""}]}`))
	}))
	defer srv.Close()
	out, code := outLine(t, "bars", "story", "BQ7", "--site", srv.URL)
	for _, want := range []string{"2026-02-02 15:21  crossed out", "wet 100.4 mm", "KT", "with a rule",
		"still to come", "load 14, glaze"} {
		if !strings.Contains(out, want) {
			t.Errorf("no %q in\n%s", want, out)
		}
	}
	if code != exitDone {
		t.Errorf("exit %d", code)
	}
}
