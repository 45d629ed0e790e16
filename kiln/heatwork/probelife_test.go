package heatwork

import (
	"fmt"
	"math"
	"testing"
	"time"

	"lidwright/kiln"
)

// lives are days of January 2026.
func dayOf(n int) time.Time { return time.Date(2026, 1, n, 0, 0, 0, 0, time.UTC) }

// firedOn is a firing of which the probe indicated c.
func firedOn(day int, c kiln.Celsius) kiln.Firing {
	w := kiln.HeatWork{C: c, Low: c - 5, High: c + 5, Position: MainConeScale().Position(c),
		From: kiln.FromCurve, Model: kiln.HeatWorkModel}
	return kiln.Firing{ID: kiln.FiringID(fmt.Sprint(day)),
		Began: kiln.Stamp{Wall: dayOf(day).Add(9 * time.Hour)}, Status: kiln.Ended,
		HeatWork: map[kiln.ChannelID]kiln.HeatWork{"1": w}}
}

var oneProbeKiln = kiln.Kiln{ID: "big-blue", Control: "1",
	Channels: []kiln.Channel{{ID: "1", Role: kiln.RoleProbe}, {ID: "room", Role: kiln.RoleRoom}},
	Shelves:  map[string]kiln.ChannelID{"top": "1"}}

// A couple replaced on the 10th: what the cones told of the old one is not held against the new.
func TestReplacedProbeStartsANewLife(t *testing.T) {
	l := MainConeScale()
	six, err := l.Cone("6")
	if err != nil {
		t.Fatal(err)
	}
	lives := []ProbeLife{{ID: "new", Channel: "1", Type: "S", Class: 2, Fitted: dayOf(10), Tolerance: 3},
		{ID: "old", Channel: "1", Type: "K", Class: 2, Fitted: dayOf(1), Removed: dayOf(9), Tolerance: 9}}
	var firings []kiln.Firing
	cones := map[kiln.FiringID][]ConeReading{}
	for _, day := range []int{8, 2, 4, 6, 10, 12} { // in any order
		f := firedOn(day, six.Tau-12)
		firings = append(firings, f)
		if day < 10 {
			cones[f.ID] = []ConeReading{{ID: "c" + string(f.ID), Cone: "6", Shelf: "middle",
				Tilt: 90, Tilted: true}}
		}
	}
	stories := StoriesOf(l, oneProbeKiln, lives, firings, cones)
	for _, s := range stories {
		switch {
		case s.Life.ID == "old" && (len(s.After) != 4 || math.Abs(float64(s.Last().Bias)-12) > 2 ||
			s.Last().Cones != 4):
			t.Errorf("the old probe, 12 °C low by four cones: %+v", s.Last())
		case s.Life.ID == "new" && (len(s.After) != 2 || s.Last().Cones != 0 || s.Last().start != 3):
			t.Errorf("the new probe, of which no cone has told: %+v", s.Last())
		}
	}
	if len(stories) != 3 { // old on the channel, old on the shelf, new
		t.Errorf("%d stories: %+v", len(stories), stories)
	}
	for day, want := range map[int]Correction{2: {Bias: 10, SD: 4}, 12: {Bias: 0, SD: 3}} {
		got := Corrections(stories, firedOn(day, six.Tau-12))[kiln.Place{Channel: "1"}]
		if math.Abs(float64(got.Bias-want.Bias)) > 3 || math.Abs(float64(got.SD-want.SD)) > 1 {
			t.Errorf("firing of the %d.: %+v, want about %+v", day, got, want)
		}
	}
}

// Cones of two shelves tell of two places; what stands on no shelf goes by the one with most cones.
func TestShelvesAreKeptApart(t *testing.T) {
	l := MainConeScale()
	six, _ := l.Cone("6")
	var firings []kiln.Firing
	cones := map[kiln.FiringID][]ConeReading{}
	for day := 1; day <= 5; day++ {
		f := firedOn(day, six.Tau)
		firings = append(firings, f)
		cones[f.ID] = []ConeReading{{ID: "m", Cone: "6", Shelf: "middle", Tilt: 90, Tilted: true}}
		if day > 2 {
			cones[f.ID] = append(cones[f.ID], ConeReading{ID: "t", Cone: "6", Shelf: "top",
				Tilt: 40, Tilted: true})
		}
	}
	stories := StoriesOf(l, oneProbeKiln, nil, firings, cones)
	f := firings[4]
	f.Corrected = map[kiln.Place]kiln.HeatWork{}
	for p, c := range Corrections(stories, f) {
		f.Corrected[p] = kiln.HeatWork{C: six.Tau + c.Bias, Bias: c.Bias}
	}
	middle, _ := f.WorkOn("1", "middle")
	top, _ := f.WorkOn("1", "top")
	whole, _ := f.Work("1")
	if math.Abs(float64(middle.Bias)) > 2 || top.Bias > -6 || whole != middle {
		t.Errorf("middle %+.1f, top %+.1f, whole %+.1f", middle.Bias, top.Bias, whole.Bias)
	}
	if nowhere, _ := f.WorkOn("1", "bottom"); nowhere != whole {
		t.Errorf("a shelf without cones: %+v, want that of the channel", nowhere)
	}
}

// Lives cover all time once, whatever is told of them.
func TestLivesCoverAllTime(t *testing.T) {
	for name, lives := range map[string][]ProbeLife{
		"none":             nil,
		"since ever":       {{ID: "a", Channel: "1"}},
		"twice on one day": {{Channel: "1", Fitted: dayOf(5)}, {ID: "a", Channel: "1", Fitted: dayOf(5)}},
		"a hole": {{ID: "a", Channel: "1", Fitted: dayOf(3), Removed: dayOf(6)},
			{ID: "b", Channel: "1", Fitted: dayOf(9)}},
		"removed":         {{ID: "a", Channel: "1", Fitted: dayOf(3), Removed: dayOf(6)}},
		"another channel": {{ID: "a", Channel: "2", Fitted: dayOf(3)}},
	} {
		spans := spansOf("1", lives)
		for i, s := range spans {
			if i == 0 != s.Fitted.IsZero() || i > 0 && !s.Fitted.After(spans[i-1].Fitted) {
				t.Errorf("%s: span %d begins %v", name, i, s.Fitted)
			}
		}
		at := lifeAt(spans, dayOf(7))
		want := map[string]string{"none": "", "since ever": "a", "twice on one day": "a", "a hole": "",
			"removed": "", "another channel": ""}[name]
		if spans[at].ID != want {
			t.Errorf("%s: on the 7th %q, want %q", name, spans[at].ID, want)
		}
	}
}

// A firing whose end was not heard, and one that a gap makes doubtful, tell less of the probe.
func TestDoubtfulFiringsTellLess(t *testing.T) {
	l := MainConeScale()
	six, _ := l.Cone("6")
	sds := map[string]float64{}
	for _, name := range []string{"whole", "gap", "at least"} {
		f := firedOn(1, six.Tau-10)
		w := f.HeatWork["1"]
		w.OwnSD = map[string]float64{"gap": 12}[name]
		f.HeatWork["1"], f.AtLeast = w, name == "at least"
		s := StoriesOf(l, oneProbeKiln, nil, []kiln.Firing{f},
			map[kiln.FiringID][]ConeReading{f.ID: {{ID: "c", Cone: "6", Tilt: 90, Tilted: true}}})
		sds[name] = s[0].Last().BiasSD
		if name == "at least" && (s[0].Last().Cones != 0 || len(s[0].Last().Remarks) != 1) {
			t.Errorf("at least: %+v", s[0].Last())
		}
	}
	if !(sds["whole"] < 5 && sds["gap"] > sds["whole"]+1 && sds["at least"] > sds["gap"]) {
		t.Errorf("sd of the bias: %v", sds)
	}
}
