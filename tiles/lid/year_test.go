package lid

import (
	"math"
	"reflect"
	"testing"
	"time"

	"lidwright/kiln"
	"lidwright/tiles"
)

// A year counted by hand: its ends belong to it and to the next, struck boards and firings under
// way are left out.
func TestCountYear(t *testing.T) {
	from, to := time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC), time.Date(2027, 1, 1, 0, 0, 0, 0, time.UTC)
	loads := []tiles.KeptLoad{{Load: tiles.Load{Kind: kiln.Glaze, Opened: from}},
		{Load: tiles.Load{Kind: kiln.Glaze, Opened: to}},
		{Load: tiles.Load{Kind: kiln.Bisque, Opened: from.AddDate(0, 5, 0)}},
		{Load: tiles.Load{Kind: kiln.Glaze, Opened: from.AddDate(0, 6, 0)}}}
	firing := func(k kiln.KilnID, at time.Time, status kiln.Status, kind kiln.Kind, peak,
		work kiln.Celsius) kiln.Firing {
		return kiln.Firing{Kiln: k, Began: kiln.Stamp{Wall: at}, Status: status, Kind: kind, Peak: peak,
			Length: 10 * time.Hour, HeatWork: map[kiln.ChannelID]kiln.HeatWork{"1": {C: work}}}
	}
	firings := []kiln.Firing{
		firing("small", from, kiln.Ended, kiln.Glaze, 1221, 1219),
		firing("big-blue", from, kiln.Ended, kiln.Bisque, 1001, 1004),
		firing("big-blue", from.AddDate(0, 1, 0), kiln.Ended, kiln.Glaze, 1224, 1223),
		firing("big-blue", from.AddDate(0, 2, 0), kiln.Ended, kiln.Glaze, 1220, 1216),
		firing("big-blue", from.AddDate(0, 3, 0), kiln.Incomplete, kiln.Glaze, 700, kiln.NoTemperature()),
		firing("big-blue", from.AddDate(0, 4, 0), kiln.Running, kiln.Glaze, 900, 890),
		firing("big-blue", to, kiln.Ended, kiln.Glaze, 1300, 1300),
	}
	board := Result{At: from.AddDate(0, 7, 0),
		Sat:    Outcomes{TooBig: 1, Tight: 2, Good: 3, Loose: 4, DropsIn: 5, NotLookedAt: 6},
		Losses: Losses{Glued: 1, Rocks: 2, Chipped: 3, Dropped: 4}}
	struck := board
	struck.Struck = &tiles.Act{}
	y := CountYear(from, to, loads, firings, func(kiln.KilnID) kiln.ChannelID { return "1" },
		[]Result{board, board, struck})
	if !reflect.DeepEqual(y.Loads, []KindCount{{kiln.Bisque, 1}, {kiln.Glaze, 2}}) {
		t.Errorf("loads %+v", y.Loads)
	}
	if len(y.Firings) != 2 || y.Firings[0] != (KilnYear{"big-blue", 4, 1, 40, 1224, 1216, 1223}) ||
		y.Firings[1] != (KilnYear{"small", 1, 0, 10, 1221, 1219, 1219}) {
		t.Errorf("firings %+v", y.Firings)
	}
	if y.Boards != 2 || y.Sat != (Outcomes{2, 4, 6, 8, 10, 12}) || y.Losses != (Losses{2, 4, 6, 8}) {
		t.Errorf("%+v", y)
	}
	none := CountYear(to, to.AddDate(1, 0, 0), nil, firings[6:],
		func(kiln.KilnID) kiln.ChannelID { return "2" }, nil)
	if !math.IsNaN(float64(none.Firings[0].MostWork)) {
		t.Errorf("%+v", none)
	}
}
