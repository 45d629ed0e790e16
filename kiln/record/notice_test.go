package record

import (
	"slices"
	"testing"
	"time"

	"lidwright/kiln"
	"lidwright/kiln/detect"
)

func TestNoticesBeginAndClear(t *testing.T) {
	calm := Live{Kiln: "big-blue", State: kiln.Rising, Hot: true, LastT: 900, Firing: "f", Elapsed: time.Hour}
	quiet, over, long, cold := calm, calm, calm, calm
	quiet.State = kiln.Quiet
	unvented := calm
	unvented.Vent = VentOff
	unfired := unvented
	unfired.Firing = ""
	over.OverLimit = true
	long.Elapsed = 11 * time.Hour
	cold.State, cold.Hot, cold.Firing, cold.LastT = kiln.Quiet, false, "", 20
	usual := detect.Expected{ToTop: 7 * time.Hour}
	type step struct {
		at   time.Duration
		live Live
		want []string
	}
	for name, steps := range map[string][]step{
		"quiet": {{0, calm, nil}, {time.Second, quiet, []string{"kiln.quiet began"}},
			{time.Hour, quiet, nil}, {2 * time.Hour, calm, []string{"kiln.quiet cleared"}},
			{3 * time.Hour, calm, nil}},
		"vent off": {{0, unvented, nil}, {4 * time.Minute, unvented, nil},
			{5 * time.Minute, unvented, []string{"kiln.vent_off began"}}, {6 * time.Minute, unvented, nil},
			{time.Hour, calm, []string{"kiln.vent_off cleared"}}},
		"vent off, nothing fired": {{0, unfired, nil}, {time.Hour, unfired, nil}},
		"off and cold":            {{0, cold, nil}, {time.Hour, cold, nil}},
		"over for a moment": {{0, over, nil}, {30 * time.Second, calm, nil},
			{40 * time.Second, over, nil}, {90 * time.Second, over, nil}},
		"over the limit": {{0, over, nil}, {time.Minute, over, []string{"kiln.over_limit began"}},
			{2 * time.Minute, calm, []string{"kiln.over_limit cleared"}}},
		"long": {{0, long, nil}, {9 * time.Minute, long, nil},
			{10 * time.Minute, long, []string{"firing.long began"}}, {11 * time.Minute, long, nil}},
	} {
		var n Notices
		for _, s := range steps {
			var got []string
			for _, notice := range n.Look(s.live, usual, kiln.Stamp{Boot: "a", Since: s.at}) {
				got = append(got, notice.Event+" "+string(notice.State))
			}
			if !slices.Equal(got, s.want) {
				t.Errorf("%s at %v: %q, want %q", name, s.at, got, s.want)
			}
		}
	}
}

// Without a kind that somebody told there is no message of a fall or a stall.
func TestNoticesNeedAKind(t *testing.T) {
	for _, known := range []bool{true, false} {
		var n Notices
		count := len(n.Hear(detect.Event{What: detect.FellEarly, Known: known}, Live{}))
		count += len(n.Hear(detect.Event{What: detect.StartedStalling, Known: known}, Live{}))
		count += len(n.Hear(detect.Event{What: detect.StoppedStalling, Known: known}, Live{}))
		if want := map[bool]int{true: 3, false: 0}[known]; count != want {
			t.Errorf("known %v: %d notices, want %d", known, count, want)
		}
	}
}
