package kiln

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"
)

var shapeKiln = Kiln{ID: "big-blue", Channels: []Channel{{ID: "1", Role: RoleProbe}}, Control: "1",
	Limit: NoTemperature(), Unpacking: 95}

// heard is what a detector made of a shape, taking up open firings after each restart the way a
// recorder does.
type heard struct {
	over          []Course
	guessed       []Kind
	open          bool
	fell, stalled int
	asked, marks  int
	states        map[int]State
	preroll       []time.Duration
}

func detect(s shape, tr trial) heard {
	h := heard{states: map[int]State{}}
	ladder := MainLadder()
	fresh := func() *Detector {
		d := NewDetector(shapeKiln, DefaultRules(), s.past())
		if s.load != "" {
			d.Tell(Fact{What: LoadOpened, Load: "load", Kind: s.load})
		}
		return d
	}
	d := fresh()
	var stored []Sample
	var firing Firing
	var gauge *HeatGauge
	var axis ages
	keep := func(sample Sample) {
		if tr.restart > 0 {
			stored = append(stored, sample)
		}
		if tr.name != "plain" {
			return // the work is the same, and slow
		}
		if j, ok := axis.next(sample.At); ok && sample.Values[0].Fault == Good {
			if j.known {
				gauge.Add(j.age, sample.Values[0].T)
			} else {
				gauge.Rejoin(j.age, sample.Values[0].T)
			}
		}
	}
	take := func(events []Event) {
		for _, e := range events {
			switch e.What {
			case Began:
				h.open = true
				firing, stored, axis, gauge = Firing{Began: e.At}, nil, ages{}, NewHeatGauge(ladder, shapeKiln.Limit)
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
				if kind != s.load && e.Course.Peak < noConeMoves {
					kind = Other
				}
				h.over, h.guessed = append(h.over, e.Course), append(h.guessed, kind)
			case FellEarly:
				h.fell++
			case StartedStalling:
				h.stalled++
			case StillFiring:
				h.asked++
			case AtUnpackingMark:
				h.marks++
			}
		}
	}
	restartAt := tr.restart
	var now time.Duration
	every := time.Duration(tr.every) * time.Second
	s.play(tr, func(sample Sample) {
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
				if tr.name != "plain" && s.load == "" { // kinds are guessed from the heat work of the plain one
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
