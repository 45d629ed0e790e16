package tiles

import (
	"testing"
	"time"

	"lidwright/kiln"
)

// TestWhyNot: each fact of a bar that keeps a length out has its own reason, and a length counts that was
// taken after the peak, whether the record went on or the load was called unpacked later.
func TestWhyNot(t *testing.T) {
	peak := time.Date(2026, 3, 1, 18, 0, 0, 0, time.UTC)
	over := peak.Add(20 * time.Hour)
	wet := Reading{ID: "w", Stage: Wet, Length: 100, At: peak.Add(-72 * time.Hour)}
	// the record ends two hours later
	fired := Reading{ID: "f", Stage: Fired, Length: 88, At: peak.Add(18 * time.Hour)}
	glaze := Heat{Load: "l", Kind: kiln.Glaze, Work: 1222, Peak: peak, At: over, Status: kiln.Ended}
	act := &Act{At: over}
	for _, c := range []struct {
		name string
		bar  Bar
		of   string
		want NotCounted
	}{
		{"measured while the record goes on",
			Bar{Readings: []Reading{wet, fired}, Firings: []Heat{glaze}}, "f", ""},
		{"its wet length", Bar{Readings: []Reading{wet, fired}, Firings: []Heat{glaze}}, "w", ""},
		{"measured before the peak", Bar{Readings: []Reading{wet,
			{ID: "f", Stage: Fired, Length: 88, At: peak.Add(-time.Hour)}},
			Firings: []Heat{glaze}}, "f", NoFiring},
		{"first wet mark", Bar{Readings: []Reading{wet}}, "w", WaitsForNextStage},
		{"fired alone", Bar{Readings: []Reading{fired}, Firings: []Heat{glaze}}, "f", NoWetLength},
		{"leather-hard", Bar{Readings: []Reading{wet,
			{ID: "l", Stage: Leather, Length: 97}}}, "l", CheckOnly},
		{"never fired", Bar{Readings: []Reading{wet, fired}}, "f", NoFiring},
		{"packed, not fired", Bar{Readings: []Reading{wet, fired},
			Firings: []Heat{{Load: "l", Kind: kiln.Glaze, Work: kiln.NoTemperature()}}}, "f", NoFiring},
		{"bisque alone", Bar{Readings: []Reading{wet, fired},
			Firings: []Heat{{Load: "l", Kind: kiln.Bisque, Work: 1000, Peak: peak, At: over,
				Status: kiln.Ended}}}, "f", NoFiring},
		{"incomplete", Bar{Readings: []Reading{wet, fired},
			Firings: []Heat{{Load: "l", Kind: kiln.Glaze, Work: kiln.NoTemperature(), At: over,
				Status: kiln.Incomplete}}}, "f", FiringIncomplete},
		{"broke off, then fired whole", Bar{Readings: []Reading{wet, fired}, Firings: []Heat{
			{Load: "l", Kind: kiln.Glaze, Work: kiln.NoTemperature(), At: peak.Add(-30 * time.Hour),
				Status: kiln.Incomplete}, glaze}}, "f", ""},
		{"still recorded, peak not known", Bar{Readings: []Reading{wet, fired},
			Firings: []Heat{{Load: "l", Kind: kiln.Glaze, Work: kiln.NoTemperature(),
				Status: kiln.Running}}}, "f", NoHeatWork},
		{"no curve and no cone", Bar{Readings: []Reading{wet, fired},
			Firings: []Heat{{Load: "l", Kind: kiln.Glaze, Work: kiln.NoTemperature(), At: peak,
				Status: kiln.Ended}}}, "f", NoHeatWork},
		{"crossed out", Bar{Readings: []Reading{wet,
			{ID: "f", Stage: Fired, Length: 88, Struck: act}}}, "f", CrossedOut},
		{"corrected", Bar{Readings: []Reading{wet, {ID: "f", Stage: Fired, Length: 98, Struck: act},
			{ID: "g", Supersedes: "f", Stage: Fired, Length: 88}}}, "f", Replaced},
		{"bent", Bar{Flags: []Flag{Bent}, Readings: []Reading{wet, fired},
			Firings: []Heat{glaze}}, "w", Flagged},
		{"learner's", Bar{Practice: true, Readings: []Reading{wet, fired},
			Firings: []Heat{glaze}}, "f", LearnersBar},
		{"not confirmed", Bar{Readings: []Reading{wet,
			{ID: "f", Stage: Fired, Length: 88, At: over, Unusual: true}},
			Firings: []Heat{glaze}}, "f", NotConfirmed},
		{"masses", Bar{Readings: []Reading{wet,
			{ID: "f", Stage: Fired, Mass: &Mass{Dry: 10, Saturated: 11}}}}, "f", ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			for _, r := range c.bar.Readings {
				if got := c.bar.WhyNot(r); r.ID == c.of && got != c.want {
					t.Errorf("%q, want %q", got, c.want)
				}
			}
		})
	}
}
