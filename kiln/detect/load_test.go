package detect

import (
	"testing"
	"time"

	"lidwright/kiln"
	"lidwright/kiln/kilntest"
)

// kilnRun plays straight lines to a detector, a reading in ten seconds, and keeps what each firing had.
type kilnRun struct {
	*Detector
	at     kiln.Stamp
	t      kiln.Celsius
	had    []string // load of each firing that is over, with how it ended
	reheat []bool   // of each that began
}

func newRun(past Past, loads ...Load) *kilnRun {
	r := &kilnRun{Detector: NewDetector(kilntest.BigBlue, DefaultRules(), past), t: 20,
		at: kiln.Stamp{Boot: "a", Wall: kilntest.Winter}}
	r.tell(Fact{What: LoadsKnown, Loads: loads})
	r.to(20, 0, 20*time.Minute)
	return r
}

func (r *kilnRun) take(events []Event) {
	for _, e := range events {
		switch e.What {
		case Began:
			r.reheat = append(r.reheat, e.Reheat)
		case Over:
			r.had = append(r.had, e.Course.Load+" "+string(e.Course.Kind)+" "+string(e.Course.Status))
		}
	}
}

func (r *kilnRun) tell(f Fact) { r.take(r.Tell(f)) }

// to goes to a temperature at so many °C an hour, and stays there.
func (r *kilnRun) to(end, perHour kiln.Celsius, stay time.Duration) {
	step := func() {
		r.at.Since += 10 * time.Second
		r.at.Wall = r.at.Wall.Add(10 * time.Second)
		r.take(r.Add(kiln.Sample{Kiln: r.kiln.ID, At: r.at,
			Values: []kiln.Value{{Channel: r.kiln.Control, T: r.t}}}))
	}
	for ; r.t < end; r.t += perHour / 360 {
		step()
	}
	for ; r.t > end; r.t -= perHour / 360 {
		step()
	}
	for ; stay > 0; stay -= 10 * time.Second {
		step()
	}
}

var usualGlaze = Past{Usual: []Expected{{Kind: kiln.Glaze, Atmosphere: kiln.UnknownAtmosphere, Top: 1222,
	HeatWork: 1235, Of: 4, Settled: true}}}

// TestLoadOfAFiring holds which load a firing takes: the only one that is packed and not fired; a candling
// and a firing that breaks off leave it packed for the next; a whole one takes it into another as a reheat
// alone.
func TestLoadOfAFiring(t *testing.T) {
	one, two := Load{ID: "one", Kind: kiln.Glaze}, Load{ID: "two", Kind: kiln.Bisque}
	fire := func(r *kilnRun, top kiln.Celsius) {
		r.to(top, 400, 10*time.Minute)
		r.to(25, 400, 20*time.Minute)
	}
	for _, c := range []struct {
		name  string
		loads []Load
		play  func(r *kilnRun)
		had   []string
	}{
		{"the only one", []Load{one}, func(r *kilnRun) { fire(r, 1222) }, []string{"one glaze ended"}},
		{"of two none", []Load{one, two}, func(r *kilnRun) { fire(r, 1222) }, []string{"  ended"}},
		{"one that was fired is not taken again", []Load{{ID: "old", Kind: kiln.Glaze, Fired: true}, two},
			func(r *kilnRun) { fire(r, 1222) }, []string{"two bisque ended"}},
		{"a stale load labels no later firing", []Load{one},
			func(r *kilnRun) { fire(r, 1222); fire(r, 1000) }, []string{"one glaze ended", "  incomplete"}},
		{"a candling leaves it packed", []Load{one}, func(r *kilnRun) { fire(r, 95); fire(r, 1222) },
			[]string{"one glaze ended", "one glaze ended"}},
		{"one that breaks off leaves it packed", []Load{one},
			func(r *kilnRun) { fire(r, 900); fire(r, 1222) },
			[]string{"one glaze incomplete", "one glaze ended"}},
		{"opened meanwhile it waits for a tap", nil, func(r *kilnRun) {
			r.to(600, 400, 0)
			r.tell(Fact{What: LoadsKnown, Loads: []Load{one}})
			fire(r, 1222)
		}, []string{"  ended"}},
		{"and joins with it", nil, func(r *kilnRun) {
			r.to(600, 400, 0)
			r.tell(Fact{What: LoadsKnown, Loads: []Load{one}})
			r.tell(Fact{What: LoadJoined, Load: "one", Kind: kiln.Glaze})
			fire(r, 1222)
			fire(r, 1222)
		}, []string{"one glaze ended", "  ended"}},
		{"detached it is not of that firing", []Load{one}, func(r *kilnRun) {
			r.to(600, 400, 0)
			r.tell(Fact{What: LoadJoined})
			fire(r, 1222)
		}, []string{"  ended"}},
		{"unpacked while it cools, the record goes on", []Load{one, {ID: "next", Kind: kiln.Glaze}},
			func(r *kilnRun) {
				r.to(300, 400, 0)
				r.tell(Fact{What: LoadJoined, Load: "one", Kind: kiln.Glaze})
				r.to(1222, 400, 10*time.Minute)
				r.to(640, 400, 0)
				r.tell(Fact{What: Unpacked, Load: "one"})
				if _, open := r.Course(); !open {
					t.Error("unpacking at 640 °C ended the record")
				}
				r.to(25, 400, 20*time.Minute)
				fire(r, 1222)
			}, []string{"one glaze ended", "next glaze ended"}},
		{"a load of before, unpacked while the next one is fired, ends no record",
			[]Load{{ID: "old", Kind: kiln.Glaze, Fired: true}, one}, func(r *kilnRun) {
				r.to(1222, 400, 10*time.Minute)
				r.to(150, 400, 0)
				r.tell(Fact{What: Unpacked, Load: "old"})
				if _, open := r.Course(); !open {
					t.Error("unpacking a load of before ended the record")
				}
				r.to(25, 400, 20*time.Minute)
			}, []string{"one glaze ended"}},
		{"unpacked below 200 °C the record ends", []Load{one}, func(r *kilnRun) {
			r.to(1222, 400, 10*time.Minute)
			r.to(150, 400, 0)
			r.tell(Fact{What: Unpacked, Load: "one"})
			if _, open := r.Course(); open {
				t.Error("unpacking at 150 °C left the record open")
			}
		}, []string{"one glaze ended"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := newRun(usualGlaze, c.loads...)
			c.play(r)
			if len(r.had) != len(c.had) {
				t.Fatalf("%q, want %q", r.had, c.had)
			}
			for i := range c.had {
				if r.had[i] != c.had[i] {
					t.Errorf("firing %d: %q, want %q", i+1, r.had[i], c.had[i])
				}
			}
		})
	}
}

// TestReheatTakesItsLoad holds that what is in a kiln goes into a reheat with it, and not where somebody said
// that it is out, by a tap or by measuring.
func TestReheatTakesItsLoad(t *testing.T) {
	for name, c := range map[string]struct {
		told []Fact
		want string
	}{
		"left in":  {nil, "one glaze ended"},
		"measured": {[]Fact{{What: LoadsKnown}}, "  ended"},
		"unpacked": {[]Fact{{What: Unpacked, Load: "one"}}, "  ended"},
	} {
		r := newRun(usualGlaze, Load{ID: "one", Kind: kiln.Glaze})
		r.to(1222, 400, 10*time.Minute)
		r.to(100, 300, 0)
		for _, f := range c.told {
			r.tell(f)
		}
		r.to(1222, 400, 10*time.Minute)
		r.to(25, 400, 20*time.Minute)
		if len(r.had) != 2 || r.had[0] != "one glaze ended" || r.had[1] != c.want {
			t.Errorf("%s: %q", name, r.had)
		}
	}
}
