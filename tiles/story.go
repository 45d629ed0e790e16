package tiles

import (
	"slices"
	"time"
)

// Happening is what happened to a bar.
type Happening string

// Happenings, as they are told in answers.
const (
	WasRead      Happening = "read"
	WasWeighed   Happening = "weighed"
	WasStruck    Happening = "struck"    // a reading was crossed out
	WasConfirmed Happening = "confirmed" // whoever read it said that it was read right
	WasCounted   Happening = "counted"   // the owner let it into the fit
	WasFired     Happening = "fired"
	WasPacked    Happening = "packed" // its load waits for heat
	MovedRate    Happening = "moved"  // its readings moved the rate of its clay
)

// Chapter is one thing that happened to a bar.
type Chapter struct {
	At      time.Time // zero: not yet, or nobody said when
	What    Happening
	By, Why string
	Reading *Reading // of all but packed, fired and moved
	Heat    *Heat    // packed, fired
	Move    *Move    // moved
}

// Story is all that happened to the bar b, in order of time: every reading and what was done to it,
// every load and firing, and which of these moved the rate. What has no time stands last.
func Story(b Bar, moves []Move) []Chapter {
	var out []Chapter
	for i := range b.Readings {
		r := &b.Readings[i]
		what := WasRead
		if r.Mass != nil {
			what = WasWeighed
		}
		out = append(out, Chapter{At: r.At, What: what, By: r.By, Reading: r})
		for _, a := range []struct {
			act  *Act
			what Happening
		}{{r.Confirmed, WasConfirmed}, {r.Counted, WasCounted}, {r.Struck, WasStruck}} {
			if a.act != nil {
				out = append(out, Chapter{At: a.act.At, What: a.what, By: a.act.By, Why: a.act.Why, Reading: r})
			}
		}
	}
	for i := range b.Firings {
		h := &b.Firings[i]
		what := WasFired
		if h.At.IsZero() {
			what = WasPacked
		}
		out = append(out, Chapter{At: h.At, What: what, Heat: h})
	}
	for i := range moves {
		if slices.Contains(moves[i].Bars, b.Code) {
			out = append(out, Chapter{At: moves[i].At, What: MovedRate, Move: &moves[i]})
		}
	}
	slices.SortStableFunc(out, func(x, y Chapter) int {
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
