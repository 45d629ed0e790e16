package api

import (
	"fmt"
	"net/http/httptest"
	"regexp"
	"strings"
	"testing"
	"time"

	"lidwright/api/usecase"
	"lidwright/tiles"
)

var label = regexp.MustCompile(`([a-z_]+)="([^"]*)"`)

// Whoever asks for ever new addresses, and whoever enters ten thousand clays, makes no page of metrics that a
// monitor chokes on: under 100 kB, the newest open batch of at most 100 clays, and no label that a
// request brought along.
func TestMetricsAbused(t *testing.T) {
	s := newCrowd(t, 4)
	c := s.Archive.ClayStore.(*crowd)
	for i := range 10_000 {
		id := tiles.ClayID(fmt.Sprintf("flood-%d", i))
		c.clays = append(c.clays, tiles.KeptClay{Clay: tiles.Clay{ID: id, Name: strings.Repeat("x", 60),
			MaturesCone: "6", Stated: 0.12, StatedCone: "6"}})
		for n, name := range []tiles.BatchID{"A", "B"} {
			c.batches = append(c.batches, tiles.KeptBatch{Batch: tiles.Batch{
				BatchRef: tiles.BatchRef{Clay: id, Batch: name}, Kind: tiles.Bought, Open: true,
				Made: noon.Add(time.Duration(i+n-20_000) * time.Second)}})
		}
	}
	h, err := s.Handler()
	if err != nil {
		t.Fatal(err)
	}
	before := scrape(t, h)
	for i := range 500 {
		method := []string{"PUT", "POST", "BREW"}[i%3]
		h.ServeHTTP(httptest.NewRecorder(),
			httptest.NewRequest(method, fmt.Sprintf("http://127.0.0.1/v1/flooded-%d", i), nil))
		h.ServeHTTP(httptest.NewRecorder(),
			httptest.NewRequest("GET", fmt.Sprintf("http://127.0.0.1/flooded-%d?clay=flooded-%d", i, i), nil))
		h.ServeHTTP(httptest.NewRecorder(),
			httptest.NewRequest("GET", fmt.Sprintf("http://127.0.0.1/v1/lid?collar=104.5&form=flooded-%d&maker=FL&body_drying_ratio=0.06&body_firing_ratio=0.07", i), nil))
	}
	page := scrape(t, h)
	if len(page) > 100_000 {
		t.Errorf("%d bytes", len(page))
	}
	clays, classes := map[string]bool{}, map[string]int{}
	for line := range strings.Lines(page) {
		for _, l := range label.FindAllStringSubmatch(line, -1) {
			switch l[1] {
			case "clay":
				clays[l[2]] = true
			case "class":
				if strings.HasPrefix(line, "lidwright_http_request_duration_seconds_bucket") {
					classes[l[2]]++
				}
			}
			if strings.Contains(l[2], "flooded") {
				t.Errorf("a label that a request brought: %s", line)
			}
		}
	}
	if newest, err := s.Clays().NewestClays(t.Context()); err != nil || len(newest) != usecase.MostClays {
		t.Errorf("%d clays are asked for their rates, want %d; %v", len(newest), usecase.MostClays, err)
	}
	if len(clays) == 0 || len(clays) > usecase.MostClays {
		t.Errorf("%d clays are told, want 1 to %d", len(clays), usecase.MostClays)
	}
	// 6 buckets and the one without an end, of each class of routes.
	if want := map[string]int{"page": 7, "api_read": 7, "api_write": 7, "stream": 7,
		"other": 7}; fmt.Sprint(classes) != fmt.Sprint(want) {
		t.Errorf("buckets of the classes %v, want %v", classes, want)
	}
	// Lines come where a trust of lids was first told; none with the number of requests.
	if more := strings.Count(page, "\n") - strings.Count(before, "\n"); more > 20 {
		t.Errorf("%d lines more after 1,500 requests", more)
	}
	t.Logf("%d bytes, %d clays of %d", len(page), len(clays), len(c.clays))
}
