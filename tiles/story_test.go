package tiles

import (
	"slices"
	"testing"
	"time"

	"lidwright/kiln"
)

// All that happened to a bar stands in order of time, a load that waits for heat last.
func TestStory(t *testing.T) {
	day := func(n int) time.Time { return time.Date(2026, 1, n, 9, 0, 0, 0, time.UTC) }
	b := Bar{Code: "BQ7",
		Readings: []Reading{{ID: "1", Stage: Wet, At: day(1), By: "KT", Struck: &Act{By: "EM", Why: "rule", At: day(3)}}, {ID: "2", Stage: Wet, At: day(3), By: "EM"},
			{ID: "3", Stage: Fired, At: day(9), Confirmed: &Act{By: "KT", At: day(10)}, Counted: &Act{By: "KT", Why: "twice", At: day(11)}}, {ID: "4", Stage: Fired, At: day(12), Mass: &Mass{Dry: 1, Saturated: 2}}},
		Firings: []Heat{{Load: "later", Work: kiln.NoTemperature()}, {Load: "first", Work: 1222, At: day(8)}}}
	moves := []Move{{At: day(11), Bars: []Code{"BQ7"}}, {At: day(2), Bars: []Code{"BQ4"}}}
	var got []Happening
	for _, c := range Story(b, moves) {
		got = append(got, c.What)
	}
	want := []Happening{WasRead, WasStruck, WasRead, WasFired, WasRead, WasConfirmed, WasCounted, MovedRate, WasWeighed, WasPacked}
	if !slices.Equal(got, want) {
		t.Errorf("%v, want %v", got, want)
	}
}
