package daemon

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"regexp"
	"strings"
	"testing"
	"time"

	"lidwright/api/usecase"
	"lidwright/kiln"
	"lidwright/tiles"
)

// broken is an archive whose disk fails, in other words for each clay.
type broken struct{ usecase.ClayStore }

func (broken) Clay(_ context.Context, id tiles.ClayID) (tiles.KeptClay, error) {
	if id == "panics" {
		panic("a mistake of ours")
	}
	return tiles.KeptClay{}, fmt.Errorf("read clay %s: %w", id, errors.New("disk I/O error"))
}

var reference = regexp.MustCompile(`under ([A-Z2-7]{8})\.`)

// Whoever is told that something went wrong is given a name that stands in the log, however many lines of the
// same text went before; and a fault that lasts writes one line an hour however often it is met.
func TestEveryTroubleStandsInTheLog(t *testing.T) {
	b := newHeatBench(t)
	at := b.d.Now()
	log := logged(t, slog.LevelInfo, func() time.Time { return at.Wall })
	if _, err := b.d.handler(); err != nil { // builds the server
		t.Fatal(err)
	}
	b.d.server.Archive.ClayStore, b.d.server.Revision = broken{b.d.server.Archive.ClayStore}, nil
	b.d.server.Now = func() kiln.Stamp { return at }
	h, err := b.d.server.Handler()
	if err != nil {
		t.Fatal(err)
	}
	ask := func(path string) string {
		t.Helper()
		w := httptest.NewRecorder()
		h.ServeHTTP(w, httptest.NewRequest("GET", "http://localhost"+path, nil))
		named := reference.FindStringSubmatch(w.Body.String())
		if w.Code != http.StatusInternalServerError || named == nil {
			t.Fatalf("%s: %d, names no line of the log: %.400s", path, w.Code, w.Body)
		}
		if strings.HasPrefix(path, "/v1/") && !strings.Contains(w.Body.String(),
			`"reference":"`+named[1]+`"`) {
			t.Errorf("%s: %s", path, w.Body)
		}
		if !strings.Contains(log.String(), "reference="+named[1]+" ") {
			t.Errorf("%s: no line of the log has %s:\n%s", path, named[1], log)
		}
		return named[1]
	}
	for i := range 3 * thinSame {
		ask(fmt.Sprintf("/v1/clays/clay-%d", i))
	}
	first := ask("/v1/clays/panics")
	if !strings.Contains(log.String(), "answering broke off") ||
		!strings.Contains(log.String(), "reference_test.go") {
		t.Errorf("the log has not where it broke off:\n%s", log)
	}
	page := ask("/clay/grey")
	lines := log.lines()
	for range 1000 {
		if again := ask("/clay/grey"); again != page {
			t.Fatalf("the same fault is %s and %s", page, again)
		}
	}
	if log.lines() != lines {
		t.Errorf("%d lines more of a fault that stands there", log.lines()-lines)
	}
	at.Since, at.Wall = at.Since+time.Hour, at.Wall.Add(time.Hour)
	if again := ask("/v1/clays/panics"); again == first || log.lines() != lines+1 {
		t.Errorf("an hour later: %s as before, %d lines more", again, log.lines()-lines)
	}
}
