package detect

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"lidwright/kiln"
	"lidwright/kiln/heatwork"
	"lidwright/kiln/kilntest"
)

// heard is what a detector made of a shape, taking up open firings after each restart the way a
// recorder does.
type heard struct {
	over          []Course
	guessed       []kiln.Kind
	open          bool
	fell, stalled int
	asked, marks  int
	states        map[int]kiln.State
	first         []kiln.Celsius  // where each firing begins
	preroll       []time.Duration // how long each had been rising when it was found
}

func detect(s shape, tr trial) heard {
	h := heard{states: map[int]kiln.State{}}
	ladder := heatwork.MainConeScale()
	fresh := func() *Detector {
		d := NewDetector(kilntest.BigBlue, DefaultRules(), s.past())
		if s.load != "" {
			d.Tell(Fact{What: LoadsKnown, Loads: []Load{{ID: "load", Kind: s.load}}})
		}
		return d
	}
	d := fresh()
	var stored []kiln.Sample
	var firing kiln.Firing
	var gauge *heatwork.HeatGauge
	var axis kiln.Ages
	keep := func(sample kiln.Sample) {
		if tr.restart > 0 {
			stored = append(stored, sample)
		}
		if tr.name != "plain" {
			return // the work is the same, and slow
		}
		if j, ok := axis.Next(sample.At); ok && sample.Values[0].Fault == kiln.Good {
			if j.Known {
				gauge.Add(j.Age, sample.Values[0].T)
			} else {
				gauge.Rejoin(j.Age, sample.Values[0].T)
			}
		}
	}
	take := func(events []Event) {
		for _, e := range events {
			switch e.What {
			case Began:
				h.open = true
				firing, stored, axis, gauge = kiln.Firing{Began: e.At,
					Load: d.Load()}, nil, kiln.Ages{}, heatwork.NewHeatGauge(ladder, kilntest.BigBlue.Limit)
				firing.Kind, firing.KindFrom = d.Kind()
				h.first = append(h.first, e.Preroll[0].Values[0].T)
				h.preroll = append(h.preroll, e.Preroll[len(e.Preroll)-1].At.Since-e.At.Since)
				for _, p := range e.Preroll {
					keep(p)
				}
			case Over:
				h.open = false
				kind := e.Course.Kind
				if kind == "" {
					kind = GuessKind(gauge.HeatWork().C, s.past())
				}
				if kind != s.load && e.Course.Peak < kiln.NoConeMoves {
					kind = kiln.Other
				}
				h.over, h.guessed = append(h.over, e.Course), append(h.guessed, kind)
			case FellEarly:
				h.fell++
			case StartedStalling:
				h.stalled++
			case StillFiring:
				h.asked++
			case CooledDown:
				h.marks++
			}
		}
	}
	restartAt := tr.restart
	var now time.Duration
	every := time.Duration(tr.every) * time.Second
	s.play(tr, func(sample kiln.Sample) {
		now += every
		if tr.restart > 0 && now >= restartAt {
			restartAt += tr.restart
			d = fresh()
			if h.open {
				d.Resume(firing)
				for _, old := range stored {
					if events := d.Add(old); len(events) > 0 {
						for _, e := range events {
							if e.What == Began || e.What == Over {
								panic(fmt.Sprintf("shape %d: %s while taken up again", s.number, e.What))
							}
						}
					}
				}
			}
		}
		take(d.Add(sample))
		if h.open {
			keep(sample)
		}
	}, func(f FactKind) { take(d.Tell(Fact{What: f})) }, func(n int) { h.states[n] = d.State() })
	return h
}

func TestDetectorShapes(t *testing.T) {
	shapes := readShapes(t)
	if len(shapes) != 30 {
		t.Fatalf("%d shapes, want 30", len(shapes))
	}
	for _, s := range shapes {
		for _, tr := range trials {
			t.Run(fmt.Sprintf("%d %s", s.number, tr.name), func(t *testing.T) {
				h := detect(s, tr)
				var got []string
				want := slices.Clone(s.expected)
				for i, c := range h.over {
					got = append(got, string(c.Status)+" "+string(h.guessed[i]))
				}
				// kinds are guessed from the heat work of the plain one
				if tr.name != "plain" && s.load == "" {
					for i := range got {
						got[i], _, _ = strings.Cut(got[i], " ")
					}
					for i := range want {
						want[i], _, _ = strings.Cut(want[i], " ")
					}
				}
				if h.open || !slices.Equal(got, want) {
					t.Errorf("firings %q (open %v), want %q", got, h.open, want)
				}
				dips := 0
				for _, c := range h.over {
					dips += len(c.Dips)
				}
				if s.dips >= 0 && dips != s.dips {
					t.Errorf("%d dips, want %d", dips, s.dips)
				}
				if s.fell >= 0 && h.fell != s.fell {
					t.Errorf("fell early %d times, want %d", h.fell, s.fell)
				}
				if s.stalled >= 0 && h.stalled != s.stalled {
					t.Errorf("stalled %d times, want %d", h.stalled, s.stalled)
				}
				for n, state := range s.holds {
					if !tr.swings && h.states[n] != state {
						t.Errorf("hold %d is %s, want %s", n, h.states[n], state)
					}
				}
			})
		}
	}
}

// Where a firing begins: at its own first rise, however late that is found.
func TestFirstRise(t *testing.T) {
	shapes := readShapes(t)
	for _, c := range []struct {
		shape     int
		first     []kiln.Celsius // ±3 °C
		preroll   time.Duration
		tolerance time.Duration
	}{
		{2, []kiln.Celsius{20}, 17 * time.Minute, 2 * time.Minute},   // 60 °C for 3 min, at 150 °C/h
		{7, []kiln.Celsius{20}, 237 * time.Minute, 20 * time.Minute}, // at 10 °C/h
		{12, []kiln.Celsius{20, 60}, 0, 0},
		{13, []kiln.Celsius{20, 180}, 0, 0},
		{14, []kiln.Celsius{20, 200}, 0, 0},
		{16, []kiln.Celsius{20, 393}, 0, 0}, // 20 + 680 exp(-3/5)
		{21, []kiln.Celsius{20, 150}, 0, 0},
	} {
		h := detect(shapes[c.shape-1], trial{name: "no kinds", every: 5})
		if len(h.first) != len(c.first) {
			t.Errorf("shape %d: %d firings, want %d", c.shape, len(h.first), len(c.first))
			continue
		}
		for i, want := range c.first {
			if got := h.first[i]; got < want-3 || got > want+3 {
				t.Errorf("shape %d, firing %d begins at %.1f °C, want %.0f", c.shape, i+1, got, want)
			}
		}
		if off := h.preroll[0] - c.preroll; c.preroll > 0 && off.Abs() > c.tolerance {
			t.Errorf("shape %d: pre-roll of %v, want %v", c.shape, h.preroll[0], c.preroll)
		}
	}
}

// hearing plays a shape of its own to a fresh detector and gives what it found.
func hearing(t *testing.T, load kiln.Kind, past Past, line string) (events []Event) {
	t.Helper()
	s, err := parseShape("1 | - | " + line + " | |")
	if err != nil {
		t.Fatal(err)
	}
	d := NewDetector(kilntest.BigBlue, DefaultRules(), past)
	if load != "" {
		d.Tell(Fact{What: LoadsKnown, Loads: []Load{{ID: "load", Kind: load}}})
	}
	s.play(trial{every: 5}, func(sample kiln.Sample) { events = append(events, d.Add(sample)...) },
		func(f FactKind) { events = append(events, d.Tell(Fact{What: f})...) }, func(int) {})
	return events
}

func count(events []Event, what EventKind) (n int) {
	for _, e := range events {
		if e.What == what {
			n++
		}
	}
	return n
}

func TestStall(t *testing.T) {
	usual := shape{}.past()
	for _, c := range []struct {
		name           string
		load           kiln.Kind
		past           Past
		line           string
		began, cleared int
		low            int
	}{
		{"no hold like it", kiln.Glaze, usual, "20>400@150 h60 >1222@150 off", 1, 1, 0},
		{"usual held so", kiln.Glaze, usual, "20>600@150 h60 >1222@150 off", 0, 0, 0},
		{"usual held so, not as long", kiln.Glaze, usual, "20>600@150 h150 >1222@150 off", 1, 1, 0},
		{"no usual, an hour", kiln.Once, usual, "20>400@150 h60 >1222@150 off", 0, 0, 0},
		{"no usual, three hours", kiln.Once, usual, "20>400@150 h180 >1222@150 off", 1, 1, 0},
		{"near the top", kiln.Glaze, usual, "20>1200@150 h120 off", 0, 0, 0},
		{"cold", kiln.Glaze, usual, "20>58@150 h300 >1222@150 off", 0, 0, 0},
		{"candled for nine hours", kiln.Glaze, usual, "20>95@60 h540 >1222@150 off", 0, 0, 0},
		{"candled for two nights", kiln.Glaze, usual, "20>95@60 h2000 >1222@150 off", 0, 0, 1},
		{"nobody said what it is", "", usual, "20>190@60 h800 >1222@150 off", 0, 0, 1},
		{"near where it is usually held", kiln.Glaze, usual, "20>615@150 h60 >1222@150 off", 0, 0, 0},
		{"and a little below", kiln.Glaze, usual, "20>585@150 h60 >1222@150 off", 0, 0, 0},
		{"above it", kiln.Glaze, usual, "20>625@150 h60 >1222@150 off", 1, 1, 0},
		{"below it", kiln.Glaze, usual, "20>575@150 h60 >1222@150 off", 1, 1, 0},
		{"for half an hour", kiln.Glaze, usual, "20>400@150 h25 >1222@150 off", 0, 0, 0},
		{"from 200 °C on it is a stall", kiln.Glaze, usual, "20>205@60 h60 >1222@150 off", 1, 1, 0},
	} {
		events := hearing(t, c.load, c.past, c.line)
		if b, e := count(events, StartedStalling), count(events, StoppedStalling); b != c.began ||
			e != c.cleared {
			t.Errorf("%s: began %d, cleared %d; want %d and %d", c.name, b, e, c.began, c.cleared)
		}
		if low := count(events, StandsLow); low != c.low {
			t.Errorf("%s: told %d times that it stands low, want %d", c.name, low, c.low)
		}
	}
}

// A fall that begins more than 50 °C short of the usual top is told once, when it is 50 °C deep and 20 min
// old; one from the top, and of a kind of which nothing is usual, is not.
func TestFallThatBeganEarly(t *testing.T) {
	usual := shape{}.past()
	for _, c := range []struct {
		name string
		load kiln.Kind
		past Past
		line string
		want int
	}{
		{"far short of the top", kiln.Glaze, usual, "20>900@150 off=300", 1},
		{"a little more than 50 °C short", kiln.Glaze, usual, "20>1165@150 h10 off=300", 1},
		{"a little less", kiln.Glaze, usual, "20>1180@150 h10 off=300", 0},
		{"from the top", kiln.Glaze, usual, "20>1222@150 h10 off=300", 0},
		{"of a bisque from its top", kiln.Bisque, usual, "20>1000@150 h10 off=300", 0},
		{"of no known kind, short of both", "", usual, "20>900@150 off=300", 1},
		{"of no known kind, from one of the tops", "", usual, "20>1000@150 h10 off=300", 0},
		{"where nothing is usual", kiln.Glaze, Past{}, "20>900@150 off=300", 0},
		{"of a kind that is not usual", kiln.Once, usual, "20>900@150 off=300", 0},
		{"40 °C deep, for hours", kiln.Glaze, usual, "20>900@150 >860@100 h180", 0},
	} {
		if got := count(hearing(t, c.load, c.past, c.line), FellEarly); got != c.want {
			t.Errorf("%s: told %d times, want %d", c.name, got, c.want)
		}
	}
}

// While the control probe is silent the healthiest of the others speaks, the earlier of two that are alike; a
// room never does.
func TestHealthiestProbeSpeaks(t *testing.T) {
	for name, c := range map[string]struct {
		faulty map[int]int // of each channel: every so many readings are faulty
		want   kiln.ChannelID
	}{
		"both well":           {nil, "2"},
		"the second is worse": {map[int]int{1: 3}, "3"},
		"the third is worse":  {map[int]int{2: 3}, "2"},
		"worse by little":     {map[int]int{1: 200}, "2"},
	} {
		k := kiln.Kiln{ID: "big-blue", Control: "1", Every: time.Second,
			Channels: []kiln.Channel{{ID: "1", Role: kiln.RoleProbe},
				{ID: "2", Role: kiln.RoleProbe}, {ID: "3", Role: kiln.RoleProbe},
				{ID: "room", Role: kiln.RoleRoom}}}
		s := newSpeaker(k)
		for i := range 3600 {
			smp := kiln.Sample{At: kiln.Stamp{Boot: "a", Since: time.Duration(i+1) * time.Second}}
			for n, ch := range k.Channels {
				v := kiln.Value{Channel: ch.ID, T: 800}
				if every := c.faulty[n]; every > 0 && i%every == 0 || n == 0 && i >= 3000 {
					v.Fault = kiln.Break
				}
				smp.Values = append(smp.Values, v)
			}
			s.hear(smp)
			if i < 3000 && s.now != "1" {
				t.Fatalf("%s: %s speaks in the place of the control probe", name, s.now)
			}
		}
		if s.now != c.want {
			t.Errorf("%s: %s speaks, want %s", name, s.now, c.want)
		}
	}
}

// Since when the control probe does not speak is one moment, whichever stands in for it one after the other.
func TestSinceWhenOthersSpeak(t *testing.T) {
	k := kiln.Kiln{ID: "big-blue", Control: "1", Every: time.Second, Channels: []kiln.Channel{{ID: "1",
		Role: kiln.RoleProbe},
		{ID: "2", Role: kiln.RoleProbe}, {ID: "3", Role: kiln.RoleProbe}}}
	s := newSpeaker(k)
	var spoke []kiln.ChannelID
	since := map[kiln.Stamp]bool{}
	for i := range 2000 {
		smp := kiln.Sample{At: kiln.Stamp{Boot: "a", Since: time.Duration(i+1) * time.Second}}
		for n, ch := range k.Channels {
			v := kiln.Value{Channel: ch.ID, T: 800}
			if n == 0 && i >= 600 || n == 1 && i >= 1200 {
				v.Fault = kiln.Break
			}
			smp.Values = append(smp.Values, v)
		}
		if s.hear(smp) {
			spoke = append(spoke, s.now)
			since[s.since] = true
		}
	}
	if !slices.Equal(spoke, []kiln.ChannelID{"2", "3"}) || len(since) != 1 {
		t.Errorf("%v spoke, since %v", spoke, since)
	}
}

// A kiln that is warm already is fired when it climbed by 25 °C, not before.
func TestRiseOfAWarmKiln(t *testing.T) {
	for line, want := range map[string]int{"50>50@1 h300 >75.6@60 h60": 1, "50>50@1 h300 >74.4@60 h60": 0} {
		if got := count(hearing(t, kiln.Glaze, shape{}.past(), line), Began); got != want {
			t.Errorf("%s: %d firings began, want %d", line, got, want)
		}
	}
}

func TestCooledDown(t *testing.T) {
	for _, c := range []struct {
		name, line string
		want       int
	}{
		{"down to 30", "20>1000@150 off", 1},
		{"unpacked before it", "20>1000@150 off=150 U off", 0},
		{"two firings", "20>1000@150 off U >1000@150 off", 2},
		{"on the way up only", "20>80@60 h60 >300@60", 0},
	} {
		if n := count(hearing(t, kiln.Glaze, shape{}.past(), c.line), CooledDown); n != c.want {
			t.Errorf("%s: at the mark %d times, want %d", c.name, n, c.want)
		}
	}
}

// What a silence means depends on its length and on both of its sides.
func TestSilence(t *testing.T) {
	const known, unknown = true, false
	for _, c := range []struct {
		name   string
		fall   kiln.Celsius // after a peak of 800, before the silence
		back   kiln.Celsius
		gap    time.Duration
		known  bool
		closes bool
	}{
		{"ten minutes", 0, 790, 10 * time.Minute, known, false},
		{"within two hours, whatever it says", 0, 30, 110 * time.Minute, known, false},
		{"three hours, cooling", 100, 400, 3 * time.Hour, known, false},
		{"three hours, climbed as it can", 0, 1100, 3 * time.Hour, known, false},
		{"three hours, hotter than it can be", 600, 1150, 3 * time.Hour, known, true},
		{"three hours, cold", 0, 45, 3 * time.Hour, known, true},
		{"over a day", 0, 700, 25 * time.Hour, known, true},
		{"unknown, much as before", 0, 700, 0, unknown, false},
		{"unknown, cold", 0, 30, 0, unknown, true},
		{"unknown, far below, still hot", 0, 200, 0, unknown, false},
		{"unknown, climbing on", 0, 950, 0, unknown, false},
		{"unknown, hotter after the top was passed", 200, 750, 0, unknown, true},
	} {
		d := NewDetector(kilntest.BigBlue, DefaultRules(), Past{})
		at := kiln.Stamp{Boot: "a", Wall: kilntest.Winter, Trusted: true}
		var events []Event
		say := func(t kiln.Celsius) {
			at.Since += 5 * time.Second
			at.Wall = at.Wall.Add(5 * time.Second)
			events = append(events, d.Add(kiln.Sample{At: at, Values: []kiln.Value{{Channel: "1", T: t}}})...)
		}
		for range 200 {
			say(20)
		}
		for t := kiln.Celsius(20); t < 800; t += 0.4 {
			say(t)
		}
		last := at
		for t := kiln.Celsius(800); t > 800-c.fall; t -= 0.4 {
			say(t)
			last = at
		}
		if count(events, Began) != 1 || count(events, Over) != 0 {
			t.Fatalf("%s: %v before the silence", c.name, events)
		}
		at.Since += c.gap
		at.Wall = at.Wall.Add(c.gap)
		if !c.known {
			at = kiln.Stamp{Boot: "b", Since: 20 * time.Second, Wall: kilntest.Winter.AddDate(-3, 0, 0)}
		}
		for range 4 {
			say(c.back)
		}
		if got := count(events, Over) > 0; got != c.closes {
			t.Errorf("%s: closed %v, want %v", c.name, got, c.closes)
		}
		for _, e := range events {
			if e.What != Over {
				continue
			}
			if d, _ := last.Sub(e.At); d < 0 || d > 20*time.Second {
				t.Errorf("%s: over %v before the last sample heard", c.name, d)
			}
			if e.Course.AtLeast != (c.fall < 100) {
				t.Errorf("%s: at least %v", c.name, e.Course.AtLeast)
			}
		}
	}
}

// Nothing is heard for a day: the firing is closed by the passing of time alone.
func TestUnheardForADay(t *testing.T) {
	d := NewDetector(kilntest.BigBlue, DefaultRules(), Past{})
	at := kiln.Stamp{Boot: "a", Wall: kilntest.Winter}
	for i := range 4 * 720 {
		at.Since += 5 * time.Second
		d.Add(kiln.Sample{At: at, Values: []kiln.Value{{Channel: "1", T: 20 + kiln.Celsius(i)*0.2}}})
	}
	if _, open := d.Course(); !open {
		t.Fatal("no firing")
	}
	var events []Event
	for h := range 25 {
		now := at
		now.Since += time.Duration(h) * time.Hour
		events = append(events, d.Tick(now)...)
		if _, open := d.Course(); open != (h < 24) {
			t.Errorf("open %v after %d h of silence", open, h)
		}
	}
	if n := count(events, Over); n != 1 {
		t.Errorf("closed %d times", n)
	}
	if d.State() != kiln.Quiet {
		t.Errorf("state %s", d.State())
	}
}

// The atmosphere of a firing that nobody told of is that of the last one of the kiln, else that of the
// settings.
func TestAtmosphereOfTheSettings(t *testing.T) {
	rules := DefaultRules()
	rules.Atmosphere = kiln.Reduction
	for _, c := range []struct {
		past, want kiln.Atmosphere
	}{{"", kiln.Reduction}, {kiln.UnknownAtmosphere, kiln.Reduction}, {kiln.Oxidation, kiln.Oxidation}} {
		if got := NewDetector(kiln.Kiln{ID: "k"}, rules,
			Past{Atmosphere: c.past}).Atmosphere(); got != c.want {
			t.Errorf("after %q: %q, want %q", c.past, got, c.want)
		}
	}
}

// A firing that was begun by hand ends by cooling only once it was at 60 °C: what has never been warm has
// not cooled down.
func TestNoEndBeforeItWasWarm(t *testing.T) {
	for _, c := range []struct {
		top  kiln.Celsius
		over int
	}{{59.9, 0}, {60, 1}} {
		d := NewDetector(kilntest.BigBlue, DefaultRules(), Past{})
		at := kiln.Stamp{Boot: "a", Since: 30 * time.Second, Wall: kilntest.Winter, Trusted: true}
		over := 0
		hold := func(c kiln.Celsius, d2 time.Duration) {
			for end := at.Since + d2; at.Since < end; {
				at.Since, at.Wall = at.Since+10*time.Second, at.Wall.Add(10*time.Second)
				for _, e := range d.Add(kiln.Sample{Kiln: kilntest.BigBlue.ID, At: at,
					Values: []kiln.Value{{Channel: "1", T: c}}}) {
					if e.What == Over {
						over++
					}
				}
			}
		}
		hold(20, time.Hour)
		d.Tell(Fact{What: NewFiring, Kiln: kilntest.BigBlue.ID, At: at})
		hold(20, time.Hour)
		hold(c.top, time.Hour)
		hold(20, 3*time.Hour)
		if over != c.over {
			t.Errorf("a firing that got to %v °C and is cold ended %d times, want %d", c.top, over, c.over)
		}
	}
}
