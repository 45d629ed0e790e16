package daemon

import (
	"math"
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
	// The programme climbs at 180 °C an hour there (practiceGlaze).
	if before < 800 || math.Abs(after-before-180) > 2 { // its noise is 0.15 °C, its steps 0.1
		t.Errorf("left at %.0f °C, an hour later at %.0f °C", before, after)
	}
}
