package main

import (
	"io"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
)

// The command asks for the mark that it was told, and says how many facts stay.
func TestForgetMaker(t *testing.T) {
	srv := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if r.Method != http.MethodPut || r.URL.Path != "/v1/makers/KT/forget" {
			http.NotFound(w, r)
			return
		}
		w.Header().Set("Content-Type", "application/json")
		io.WriteString(w, `{"mark":"KT","rows":41,"copied":true,"older_copies":[{"name":"lidwright-000007-20260109T090000Z.db","at":"2026-01-09T10:00:00+01:00"}],"moved_aside":["lidwright.db.corrupt-20260108T090000Z"]}`)
	}))
	defer srv.Close()
	if code, said := told(t, "maker", "--site", srv.URL, "forget", "KT"); code != exitDone ||
		!strings.Contains(said, "KT is forgotten: 41 facts stay") {
		t.Errorf("exit %d: %s", code, said)
	} else if !strings.Contains(said, "The copy of 2026-01-09T10:00:00+01:00 still has it") ||
		!strings.Contains(said, "lidwright copy renew") ||
		!strings.Contains(said, "lidwright.db.corrupt-20260108T090000Z") {
		t.Errorf("what still has it is not named: %s", said)
	}
	if code, _ := told(t, "maker", "--site", srv.URL, "forget", "AB"); code == exitDone {
		t.Error("an answer of 404 passed as done")
	}
}
