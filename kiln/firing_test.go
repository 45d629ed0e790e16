package kiln

import (
	"testing"
	"time"
)

// A firing was whole when it ended whole and was hotter than any cone moves at; one logged by hand is
// believed.
func TestWholeFirings(t *testing.T) {
	for name, c := range map[string]struct {
		f    Firing
		want bool
	}{
		"ended at 1222 °C":   {Firing{Status: Ended, Peak: 1222}, true},
		"at 550 °C":          {Firing{Status: Ended, Peak: 550}, true},
		"a candling":         {Firing{Status: Ended, Peak: 549.9}, false},
		"peak not known":     {Firing{Status: Ended, Peak: NoTemperature()}, true},
		"by hand, no curve":  {Firing{Status: Ended, Source: "hand", Peak: 100}, true},
		"under way":          {Firing{Status: Running, Peak: 1222}, false},
		"broke off":          {Firing{Status: Incomplete, Peak: 1222}, false},
		"by hand, broke off": {Firing{Status: Incomplete, Source: "hand", Peak: 1222}, false},
	} {
		if got := c.f.Whole(); got != c.want {
			t.Errorf("%s: whole %v", name, got)
		}
	}
}

// Heat work stands from the peak on, else from the end; before either it is not known from when.
func TestWhenThePeakIsPassed(t *testing.T) {
	began := time.Date(2026, 3, 1, 8, 0, 0, 0, time.UTC)
	over := began.Add(26 * time.Hour)
	for name, c := range map[string]struct {
		f    Firing
		want time.Time
	}{
		"under way": {Firing{Status: Running, Began: Stamp{Wall: began}}, time.Time{}},
		"its peak is passed": {Firing{Status: Running, Began: Stamp{Wall: began}, PeakAfter: 1},
			began.Add(1)},
		"over": {Firing{Status: Ended, Began: Stamp{Wall: began}, Over: Stamp{Wall: over},
			PeakAfter: 9 * time.Hour}, began.Add(9 * time.Hour)},
		"over, peak unknown": {Firing{Status: Ended, Began: Stamp{Wall: began}, Over: Stamp{Wall: over}},
			over},
		"over, begin unknown": {Firing{Status: Ended, Over: Stamp{Wall: over}, PeakAfter: 9 * time.Hour},
			over},
	} {
		if got := c.f.PeakPassed(); !got.Equal(c.want) {
			t.Errorf("%s: %v, want %v", name, got, c.want)
		}
	}
}

// The heat work on a shelf: as cones of that place told, else of its probe, else as indicated, else by hand;
// a probe that broke has that of the one that stood in.
func TestWorkOnAShelf(t *testing.T) {
	f := Firing{HeatWork: map[ChannelID]HeatWork{"1": {C: 1222}, "3": {C: 1210}},
		Corrected: map[Place]HeatWork{{Channel: "1"}: {C: 1228}, {Channel: "1", Shelf: "top"}: {C: 1235}}}
	byHand := Firing{HeatWork: map[ChannelID]HeatWork{ByHandChannel: {C: 1240}}}
	stood := f
	stood.StandIn = StandIn{Probe: "3", For: "1"}
	for name, c := range map[string]struct {
		f              Firing
		channel, shelf string
		want           Celsius
	}{
		"of the shelf": {f, "1", "top", 1235}, "of the probe": {f, "1", "middle", 1228}, "as indicated": {f,
			"3", "top", 1210},
		"by hand": {byHand, "1", "top", 1240}, "of the stand-in": {stood, "1", "top", 1210},
		"of another": {stood, "3", "", 1210},
	} {
		if got, ok := c.f.WorkOn(ChannelID(c.channel), c.shelf); !ok || got.C != c.want {
			t.Errorf("%s: %v %v, want %v", name, got.C, ok, c.want)
		}
	}
	if _, ok := f.WorkOn("9", ""); ok {
		t.Error("a channel that nobody knows has heat work")
	}
}

// A value more stands in the order of the settings; what they do not have stays behind it, once.
func TestSampleWithOneMore(t *testing.T) {
	k := Kiln{Channels: []Channel{{ID: "1"}, {ID: "2"}, {ID: "3"}}}
	s := Sample{Values: []Value{{Channel: "odd", T: 9}, {Channel: "3", T: 3}, {Channel: "1", T: 1}}}
	got := s.With(k, Value{Channel: "2", T: 2})
	want := []ChannelID{"1", "2", "3", "odd"}
	if len(got.Values) != len(want) {
		t.Fatalf("%+v", got.Values)
	}
	for i, v := range got.Values {
		if v.Channel != want[i] {
			t.Errorf("%+v", got.Values)
		}
	}
	if len(s.Values) != 3 || s.Values[0].Channel != "odd" {
		t.Errorf("the first one is another now: %+v", s.Values)
	}
}

// What was heard before the clock was trusted takes the time of the nearest trusted stamp of its boot, of two
// as near the earlier.
func TestClockOfTheNearest(t *testing.T) {
	day := time.Date(2026, 3, 1, 8, 0, 0, 0, time.UTC)
	of := func(boot BootID, since int, trusted bool, slow time.Duration) Sample {
		return Sample{At: Stamp{Boot: boot, Since: time.Duration(since) * time.Second,
			Wall: day.Add(time.Duration(since)*time.Second - slow), Trusted: trusted}}
	}
	samples := []Sample{of("a", 0, false, time.Hour), of("a", 10, true, 0), of("a", 14, false, time.Hour),
		of("a", 15, false, time.Hour), of("a", 16, false, time.Hour),
		of("a", 20, true, time.Minute), of("a", 30, false, time.Hour), of("b", 0, false, time.Hour)}
	SettleClock(samples)
	for i, slow := range []time.Duration{0, 0, 0, 0, time.Minute, time.Minute, time.Minute, time.Hour} {
		at := samples[i].At
		if want := day.Add(at.Since - slow); !at.Wall.Equal(want) || at.Trusted != (i < 7) {
			t.Errorf("sample %d: %v, trusted %v; want %v", i, at.Wall, at.Trusted, want)
		}
	}
}

// Who marks a value of a sample leaves the sample that it came from as it was.
func TestSampleWithAFault(t *testing.T) {
	s := Sample{Values: []Value{{Channel: "1", T: 20}, {Channel: "2", T: 900}}}
	got := s.WithFault(1, Spike)
	if got.Values[0].Fault != Good || got.Values[1].Fault != Spike || got.Values[1].T != 900 {
		t.Errorf("marked: %+v", got.Values)
	}
	if s.Values[1].Fault != Good {
		t.Errorf("the first one is marked too: %+v", s.Values)
	}
}

// A kiln is silent after three periods of its line, and not before 60 s (a gap) or 30 s (a reading that is
// old).
func TestWhenALineIsSilent(t *testing.T) {
	for every, want := range map[time.Duration][2]time.Duration{
		0: {60 * time.Second, 30 * time.Second}, 10 * time.Second: {60 * time.Second, 30 * time.Second},
		20 * time.Second: {60 * time.Second, 60 * time.Second}, 30 * time.Second: {90 * time.Second,
			90 * time.Second},
	} {
		k := Kiln{Every: every}
		if k.GapAfter() != want[0] || k.StaleAfter() != want[1] {
			t.Errorf("every %v: a gap after %v, old after %v", every, k.GapAfter(), k.StaleAfter())
		}
	}
}

// A bar has the heat of the probe of its shelf, elsewhere of the control probe.
func TestProbeOfAShelf(t *testing.T) {
	k := Kiln{Control: "1", Shelves: map[string]ChannelID{"top": "2"}}
	if k.Probe("top") != "2" || k.Probe("middle") != "1" {
		t.Errorf("top %s, middle %s", k.Probe("top"), k.Probe("middle"))
	}
}
