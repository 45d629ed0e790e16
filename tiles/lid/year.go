package lid

import (
	"slices"
	"time"

	"lidwright/kiln"
	"lidwright/tiles"
)

// Year is what a studio fired in one year, and what became of its lids.
type Year struct {
	Loads   []KindCount // packed
	Firings []KilnYear  // one a kiln, by name
	Boards  int         // of lids that were looked at
	Sat     Outcomes    // of all boards
	Losses  Losses      // of all boards
}

// KindCount is how many loads of a kind were packed.
type KindCount struct {
	// in the order of tiles.Kinds
	Kind kiln.Kind
	// above 0
	Count int
}

// KilnYear is one kiln's firings of a year.
type KilnYear struct {
	Kiln                 kiln.KilnID  // its name
	Firings              int          // that are over
	Incomplete           int          // of them
	Hours                float64      // from the first rise to the end, all together
	Hottest              kiln.Celsius // highest peak; NaN: none is known
	LowestWork, MostWork kiln.Celsius // heat works of the glaze firings; NaN: none
}

// CountYear counts what lies from one moment to another, struck boards left out.
func CountYear(from, to time.Time, loads []tiles.KeptLoad, firings []kiln.Firing,
	control func(kiln.KilnID) kiln.ChannelID, boards []Result) Year {
	var y Year
	within := func(t time.Time) bool { return !t.Before(from) && t.Before(to) }
	// loads by when they were begun
	for _, k := range tiles.Kinds() {
		n := 0
		for _, l := range loads {
			if l.Kind == k && within(l.Opened) {
				n++
			}
		}
		if n > 0 {
			y.Loads = append(y.Loads, KindCount{k, n})
		}
	}
	// firings by their first rise; one that goes on is left out
	for _, f := range firings {
		if !within(f.Began.Wall) || f.Status == kiln.Running {
			continue
		}
		i := slices.IndexFunc(y.Firings, func(k KilnYear) bool { return k.Kiln == f.Kiln })
		if i < 0 {
			i = len(y.Firings)
			y.Firings = append(y.Firings, KilnYear{Kiln: f.Kiln, Hottest: kiln.NoTemperature(),
				LowestWork: kiln.NoTemperature(), MostWork: kiln.NoTemperature()})
		}
		k := &y.Firings[i]
		k.Firings++
		k.Hours += f.Length.Hours()
		if f.Status == kiln.Incomplete {
			k.Incomplete++
		}
		if f.Peak.Known() && !(k.Hottest >= f.Peak) {
			k.Hottest = f.Peak
		}
		if w, ok := f.Work(control(f.Kiln)); ok && f.Kind == kiln.Glaze &&
			f.Status == kiln.Ended && w.Known() {
			if !(k.LowestWork <= w.C) {
				k.LowestWork = w.C
			}
			if !(k.MostWork >= w.C) {
				k.MostWork = w.C
			}
		}
	}
	slices.SortFunc(y.Firings, func(a, b KilnYear) int {
		return slices.Compare([]byte(a.Kiln), []byte(b.Kiln))
	})
	for _, b := range boards {
		if b.Struck != nil || !within(b.At) {
			continue
		}
		y.Boards++
		y.Sat.TooBig += b.Sat.TooBig
		y.Sat.Tight += b.Sat.Tight
		y.Sat.Good += b.Sat.Good
		y.Sat.Loose += b.Sat.Loose
		y.Sat.DropsIn += b.Sat.DropsIn
		y.Sat.NotLookedAt += b.Sat.NotLookedAt
		y.Losses.Glued += b.Losses.Glued
		y.Losses.Rocks += b.Losses.Rocks
		y.Losses.Chipped += b.Losses.Chipped
		y.Losses.Dropped += b.Losses.Dropped
	}
	return y
}
