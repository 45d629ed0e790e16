package daemon

import (
	"strconv"
	"strings"
	"testing"
	"time"

	"lidwright/kiln"
	"lidwright/tiles"
	"lidwright/tiles/lid"
)

// Practised again an hour later, the kiln is where its programme is by then: the open firing goes on
// and its curve makes no leap.
func TestPracticeGoesOn(t *testing.T) {
	t.Parallel()
	cfg := heatConfig(t, heatSettings)
	clock := PracticeClock()
	began := clock()
	practise := func(later time.Duration) float64 {
		t.Helper()
		d, err := New(t.Context(), cfg, "test")
		if err != nil {
			t.Fatal(err)
		}
		defer d.store.Close()
		now := began
		now.Since, now.Wall = now.Since+later, now.Wall.Add(later)
		d.Now = func() kiln.Stamp { return now }
		p, err := d.Furnish(t.Context(), "big-blue")
		if err != nil {
			t.Fatal(err)
		}
		after, _ := now.Sub(p.Began)
		celsius, err := strconv.ParseFloat(strings.TrimSpace(string(p.Kiln.Said(after))), 64)
		if err != nil {
			t.Fatal(err)
		}
		return celsius
	}
	before, after := practise(0), practise(time.Hour)
	// The programme climbs at 180 °C an hour there (practiceGlaze), with noise of 0.15 °C in steps of 0.1. It
	// goes on from the first rise in the record, which is seen up to a minute, or 3 °C, after the programme
	// begins.
	if more := after - before - 180; before < 800 || more < -3.5 || more > 0.5 {
		t.Errorf("left at %.1f °C, an hour later at %.1f °C", before, after)
	}
}

// The studio that is shown to whoever tries the program: what its clays, firings and loads are as its text
// says.
func TestWholePracticeStudio(t *testing.T) {
	t.Parallel()
	const cold = "[kiln.little-red]\nport = \"/dev/serial/by-id/none\"\nlimit_c = 1290\nreply = \"columns\"\n[kiln.little-red.channel.1]\nfrom = \"1\"\nunit = \"c\"\n[kiln.little-red.probe.1]\ntype = \"K\"\n"
	settings, _, _ := strings.Cut(heatSettings, "[kiln.little-red]")
	d, err := New(t.Context(), heatConfig(t, settings+cold), "test")
	if err != nil {
		t.Fatal(err)
	}
	defer d.store.Close()
	d.Now = PracticeClock()
	if _, err := d.FurnishAs(t.Context(), WholePracticeStudio()); err != nil {
		t.Fatal(err)
	}
	firings, err := d.store.Firings(t.Context(), kiln.FiringFilter{Limit: 100})
	if err != nil {
		t.Fatal(err)
	}
	ended, gaps := 0, 0
	for _, f := range firings {
		if f.Status == kiln.Ended {
			ended++
			gaps += len(f.Gaps)
		}
	}
	if ended != 30 || gaps < 3 || len(firings) != 31 {
		t.Errorf("%d firings, %d of them ended, with %d gaps", len(firings), ended, gaps)
	}
	loads, err := d.store.Loads(t.Context(), tiles.LoadFilter{Waiting: true})
	if err != nil || len(loads) != 1 || loads[0].Kiln != "little-red" || loads[0].Waiting != 5 {
		t.Errorf("waiting: %+v, %v", loads, err)
	}
	bars := map[tiles.BatchRef]int{}
	all, err := d.store.Bars(t.Context(), tiles.BarFilter{}, d.server.Channel)
	if err != nil {
		t.Fatal(err)
	}
	for _, b := range all {
		bars[b.BatchRef]++
	}
	for ref, least := range map[tiles.BatchRef]int{{Clay: "tern", Batch: "A"}: 8,
		{Clay: "tern", Batch: "D"}: 6, {Clay: "heron", Batch: "A"}: 9, {Clay: "heron", Batch: "B"}: 6,
		{Clay: "wren", Batch: "A"}: 2} {
		if bars[ref] < least {
			t.Errorf("%s has %d bars, at least %d", ref, bars[ref], least)
		}
	}
	results, err := d.store.LidResults(t.Context(), lid.ResultFilter{})
	if err != nil || len(results) != 4 {
		t.Errorf("%d boards with results, %v", len(results), err)
	}
}
