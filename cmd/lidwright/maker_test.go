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
		io.WriteString(w, `{"mark":"KT","rows":41}`)
	}))
	defer srv.Close()
	if code, said := told(t, "maker", "--site", srv.URL, "forget", "KT"); code != exitDone || !strings.Contains(said, "KT is forgotten: 41 facts stay") {
		t.Errorf("exit %d: %s", code, said)
	}
	if code, _ := told(t, "maker", "--site", srv.URL, "forget", "AB"); code == exitDone {
		t.Error("an answer of 404 passed as done")
	}
}
