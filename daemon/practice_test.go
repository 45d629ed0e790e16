package daemon

import (
	"strconv"
	"strings"
	"testing"
	"time"

	"lidwright/kiln"
)

// Practised again an hour later, the kiln is where its programme is by then: the open firing goes on
// and its curve makes no leap.
func TestPracticeGoesOn(t *testing.T) {
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
	// The programme climbs at 180 °C an hour there (practiceGlaze), with noise of 0.15 °C in steps of 0.1. It goes
	// on from the first rise in the record, which is seen up to a minute, or 3 °C, after the programme begins.
	if more := after - before - 180; before < 800 || more < -3.5 || more > 0.5 {
		t.Errorf("left at %.1f °C, an hour later at %.1f °C", before, after)
	}
}
