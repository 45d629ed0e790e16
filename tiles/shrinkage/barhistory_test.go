package shrinkage

import (
	"slices"
	"testing"
	"time"

	"lidwright/kiln"
	"lidwright/tiles"
)

// All that happened to a bar stands in order of time, a load that waits for heat last.
func TestStory(t *testing.T) {
	day := func(n int) time.Time { return time.Date(2026, 1, n, 9, 0, 0, 0, time.UTC) }
	b := tiles.Bar{Code: "BQ7",
		Readings: []tiles.Reading{{ID: "1", Stage: tiles.Wet, At: day(1), By: "KT",
			Struck: &tiles.Act{By: "EM", Why: "rule", At: day(3)}},
			{ID: "2", Stage: tiles.Wet, At: day(3), By: "EM"},
			{ID: "3", Stage: tiles.Fired, At: day(9), Confirmed: &tiles.Act{By: "KT", At: day(10)},
				Counted: &tiles.Act{By: "KT", Why: "twice", At: day(11)}}, {ID: "4", Stage: tiles.Fired,
				At: day(12), Mass: &tiles.Mass{Dry: 1, Saturated: 2}}},
		Firings: []tiles.Heat{{Load: "later", Work: kiln.NoTemperature()},
			{Load: "first", Work: 1222, At: day(8)}}}
	moves := []RateChange{{At: day(11), Bars: []tiles.Code{"BQ7"}}, {At: day(2), Bars: []tiles.Code{"BQ4"}}}
	var got []EventKind
	for _, c := range BarHistory(b, moves, nil) {
		got = append(got, c.What)
	}
	want := []EventKind{WasRead, WasStruck, WasRead, WasFired, WasRead, WasConfirmed, WasCounted,
		ChangedRate, WasWeighed, WasPacked}
	if !slices.Equal(got, want) {
		t.Errorf("%v, want %v", got, want)
	}
}
