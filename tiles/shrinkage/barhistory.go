package shrinkage

import (
	"slices"
	"time"

	"lidwright/tiles"
)

// EventKind is what happened to a bar.
type EventKind string

// Happenings, as they are told in answers.
const (
	WasRead      EventKind = "read"
	WasWeighed   EventKind = "weighed"
	WasStruck    EventKind = "struck"    // a reading was crossed out
	WasRestored  EventKind = "restored"  // what was crossed out counts again
	WasConfirmed EventKind = "confirmed" // a second reading agreed, or the owner said that it was read right
	WasCounted   EventKind = "counted"   // the owner let it into the fit
	WasFired     EventKind = "fired"
	WasPacked    EventKind = "packed" // its load waits for heat
	ChangedRate  EventKind = "moved"  // its readings moved the rate of its clay
)

// BarEvent is one thing that happened to a bar.
type BarEvent struct {
	At      time.Time      // zero: not yet, or nobody said when
	What    EventKind      // one of the constants
	By, Why string         // maker's mark and reason, where somebody did it
	Reading *tiles.Reading // of all but packed, fired and moved
	Heat    *tiles.Heat    // packed, fired
	Change  *RateChange    // moved
}

// BarHistory is all that happened to the bar b, in order of time: every reading and what was done to it, what
// was crossed out and restored, every load and firing, and which of these moved the rate. What has no time
// stands last.
func BarHistory(b tiles.Bar, moves []RateChange, back []tiles.TakenBack) []BarEvent {
	var out []BarEvent
	// readings, and what was done to each
	for i := range b.Readings {
		r := &b.Readings[i]
		what := WasRead
		if r.Mass != nil {
			what = WasWeighed
		}
		out = append(out, BarEvent{At: r.At, What: what, By: r.By, Reading: r})
		for _, a := range []struct {
			act  *tiles.Act
			what EventKind
		}{{r.Confirmed, WasConfirmed}, {r.Counted, WasCounted}, {r.Struck, WasStruck}} {
			if a.act != nil {
				out = append(out, BarEvent{At: a.act.At, What: a.what, By: a.act.By,
					Why: a.act.Why, Reading: r})
			}
		}
	}
	// strikes that were taken back are no longer in the reading
	for _, t := range back {
		i := slices.IndexFunc(b.Readings, func(r tiles.Reading) bool { return r.ID == t.Reading })
		if i < 0 {
			continue
		}
		r := &b.Readings[i]
		out = append(out, BarEvent{At: t.Struck.At, What: WasStruck, By: t.Struck.By,
			Why: t.Struck.Why, Reading: r},
			BarEvent{At: t.Restored.At, What: WasRestored, By: t.Restored.By, Reading: r})
	}
	// loads and firings; one without an end is packed
	for i := range b.Firings {
		h := &b.Firings[i]
		what := WasFired
		if h.At.IsZero() {
			what = WasPacked
		}
		out = append(out, BarEvent{At: h.At, What: what, Heat: h})
	}
	// moves of the rate that this bar had a part in
	for i := range moves {
		if slices.Contains(moves[i].Bars, b.Code) {
			out = append(out, BarEvent{At: moves[i].At, What: ChangedRate, Change: &moves[i]})
		}
	}
	slices.SortStableFunc(out, func(x, y BarEvent) int {
		if x.At.IsZero() != y.At.IsZero() {
			if x.At.IsZero() {
				return 1
			}
			return -1
		}
		return x.At.Compare(y.At)
	})
	return out
}
