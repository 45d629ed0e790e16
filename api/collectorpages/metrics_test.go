package collectorpages

import (
	"context"
	"net/http"
	"net/http/httptest"
	"os/exec"
	"strings"
	"testing"
	"time"

	"lidwright/api/wire"
)

type shownSites struct {
	Shown
	sites []Site
	kilns []Live
}

func (s shownSites) Sites(context.Context) ([]Site, error) { return s.sites, nil }
func (s shownSites) Kilns(context.Context) ([]Live, error) { return s.kilns, nil }

// /metrics has nothing of a studio in it; /metrics/sites has each by its name, two of one name apart, nothing
// of one that was shut out, and no temperature that is no longer true. promtool (Debian's prometheus) reads
// both.
func TestMetricsOfSites(t *testing.T) {
	now := time.Date(2026, 1, 5, 9, 0, 0, 0, time.UTC)
	c := 612.5
	kiln := func(site string, silent time.Duration) Live {
		return Live{Site: site, Silent: silent, LiveKiln: wire.LiveKiln{Kiln: "big-blue", State: "heating",
			Hot: true, LastC: &c, AgeS: 3}}
	}
	s := &Server{Now: func() time.Time { return now }, Shown: shownSites{
		sites: []Site{{ID: "a", Name: "Room 3", Seen: now.Add(-time.Minute), Have: 5, Last: 9},
			{ID: "b", Name: "Room 3", Seen: now},
			{ID: "c", Name: "Shut out", Revoked: now}, {ID: "d", Name: "Never heard"}},
		kilns: []Live{kiln("a", time.Second), kiln("b", time.Hour), kiln("c", 0)}}}
	read := func(path string, answers http.HandlerFunc) string {
		w := httptest.NewRecorder()
		answers(w, httptest.NewRequest("GET", path, nil))
		lint := exec.Command("promtool", "check", "metrics")
		lint.Stdin = strings.NewReader(w.Body.String())
		if out, err := lint.CombinedOutput(); err != nil {
			t.Errorf("%s: promtool: %v\n%s", path, err, out)
		}
		return w.Body.String()
	}
	all := read("/metrics", metrics(s))
	for _, want := range []string{"process_resident_memory_bytes ", "go_goroutines ",
		"lidwright_collect_sites 3", "lidwright_collect_kilns_silent_hot 1"} {
		if !strings.Contains(all, "\n"+want) {
			t.Errorf("no %q", want)
		}
	}
	if strings.Contains(all, "Room") || strings.Contains(all, "site=") {
		t.Error("/metrics names a studio")
	}
	each := read("/metrics/sites", siteMetrics(s))
	for _, want := range []string{`site_age_seconds{id="a",site="Room 3"} 60`,
		`site_changes_behind{id="a",site="Room 3"} 4`, `site_changes_behind{id="d",site="Never heard"} 0`,
		`kiln_temperature_celsius{id="a",kiln="big-blue",site="Room 3"} 612.5`,
		`kiln_age_seconds{id="a",kiln="big-blue",site="Room 3"} 4`,
		`kiln_hot{id="b",kiln="big-blue",site="Room 3"} 1`,
		`kiln_state{id="b",kiln="big-blue",site="Room 3",state="heating"} 1`} {
		if !strings.Contains(each, "\nlidwright_collect_"+want+"\n") {
			t.Errorf("no %q in\n%s", want, each)
		}
	}
	for _, never := range []string{"Shut out", `kiln_temperature_celsius{id="b"`, `site_age_seconds{id="d"`} {
		if strings.Contains(each, never) {
			t.Errorf("%q in\n%s", never, each)
		}
	}
}
