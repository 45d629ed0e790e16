package api

import (
	"fmt"
	"net/http"
)

// tellHealth answers the two probes: word, and what is wrong with the store, a line each. A store
// in trouble is no reason to stop a daemon that records.
func (s studioRoutes) tellHealth(w http.ResponseWriter, word string) {
	w.Header().Set("Content-Type", "text/plain; charset=utf-8")
	fmt.Fprintln(w, word)
	for _, says := range s.StoreTrouble(s.Store()) {
		fmt.Fprintln(w, says)
	}
}
