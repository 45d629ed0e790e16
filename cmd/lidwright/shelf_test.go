package main

import (
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
)

// The shelves are printed hottest first, with where to pack below; without bars the advice stands alone.
func TestShelvesCommand(t *testing.T) {
	answer := `{"kiln":"big-blue","shelves":[{"shelf":"top","more_c":6.2,"sd_c":1.1,"bars":9},{"shelf":"bottom","more_c":-6.2,"sd_c":1.1,"bars":8}],"says":"Pack a pot and its lid on one shelf: top fires 12 °C hotter."}`
	srv := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		w.Header().Set("Content-Type", "application/json")
		if r.URL.Path != "/v1/kilns/big-blue/shelves" {
			w.WriteHeader(404)
			return
		}
		w.Write([]byte(answer))
	}))
	defer srv.Close()
	out, code := outLine(t, "load", "shelves", "big-blue", "--site", srv.URL)
	for _, want := range []string{"SHELF", "top     +6", "bottom  -6",
		"Pack a pot and its lid on one shelf: top"} {
		if !strings.Contains(out, want) {
			t.Errorf("no %q in\n%s", want, out)
		}
	}
	answer = `{"kiln":"big-blue","shelves":[],"says":"Not known."}`
	if out, _ := outLine(t, "load", "shelves", "big-blue", "--site",
		srv.URL); strings.TrimSpace(out) != "Not known." || code != exitDone {
		t.Errorf("exit %d: %s", code, out)
	}
}
