package detect

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"lidwright/kiln"
)

// whole are glazes of these heat works, one a day, newest last.
func whole(works ...kiln.Celsius) (list []kiln.Firing) {
	for i, w := range works {
		list = append(list, kiln.Firing{ID: kiln.FiringID(fmt.Sprint(i)), Kiln: "big-blue", Kind: kiln.Glaze,
			Atmosphere: kiln.Oxidation, Status: kiln.Ended,
			Began: kiln.Stamp{Wall: time.Unix(int64(i)*86400, 0)}, Peak: w,
			HeatWork: map[kiln.ChannelID]kiln.HeatWork{"1": {C: w}}})
	}
	return list
}

func TestUsualOfFirings(t *testing.T) {
	for _, c := range []struct {
		name    string
		works   []kiln.Celsius
		settled bool
		usual   kiln.Celsius
		beside  int
		last    kiln.Celsius
		moved   bool
	}{
		{"one is not usual", []kiln.Celsius{1222}, false, 1222, 0, 0, false},
		{"nor are two", []kiln.Celsius{1222, 1224}, false, 1223, 0, 0, false},
		{"three are", []kiln.Celsius{1222, 1226, 1220}, true, 1222, 0, 0, false},
		{"an odd one among the first three stands aside", []kiln.Celsius{1222, 963, 1226},
			true, 1224, 0, 0, false},
		{"the odd one first", []kiln.Celsius{699, 1222, 1226}, true, 1224, 0, 0, false},
		{"three that do not agree wait for a fourth", []kiln.Celsius{963, 1060, 1222},
			false, 1222, 0, 0, false},
		{"which agrees with one of them", []kiln.Celsius{963, 1060, 1222, 1226}, true, 1224, 0, 0, false},
		{"the last four that belong to it", []kiln.Celsius{1200, 1200, 1200, 1230, 1230, 1230, 1230},
			true, 1230, 0, 0, false},
		{"an abort does not move it", []kiln.Celsius{1238, 1238, 1238, 963}, true, 1238, 1, 963, false},
		{"two far from it and from one another are no row", []kiln.Celsius{1238, 1238, 1238, 1060, 1300},
			true, 1238, 1, 1300, false},
		{"two alike are told", []kiln.Celsius{1238, 1238, 1238, 1300, 1305}, true, 1238, 2, 1305, false},
		{"a usual one between them ends the row", []kiln.Celsius{1238, 1238, 1238, 1300, 1238, 1305}, true,
			1238, 1, 1305, false},
		{"four alike move it", []kiln.Celsius{1238, 1238, 1238, 1300, 1305, 1302, 1304},
			true, 1303, 0, 0, true},
		{"and it stays there", []kiln.Celsius{1238, 1238, 1238, 1300, 1305, 1302, 1304, 1303},
			true, 1303.5, 0, 0, false},
	} {
		e, _ := PastOf(whole(c.works...), "1").Expect(kiln.Glaze, kiln.Oxidation)
		if e.Settled != c.settled || e.HeatWork != c.usual || len(e.Beside) != c.beside || e.Last != c.last ||
			e.Moved != c.moved || e.MovesAfter() != map[bool]int{true: 4 - c.beside}[c.beside >= 2] {
			t.Errorf("%s: settled %v, %.1f, %d beside, last %.0f, moved %v, moves after %d", c.name,
				e.Settled, e.HeatWork, len(e.Beside), e.Last, e.Moved, e.MovesAfter())
		}
	}
}

func TestIncompleteNeverMovesTheUsual(t *testing.T) {
	list := whole(1238, 1238, 1238, 700, 702, 701, 700, 703)
	for i := range list[3:] {
		list[3+i].Status = kiln.Incomplete
	}
	if e, ok := PastOf(list, "1").UsualOf(kiln.Glaze, kiln.Oxidation); !ok ||
		e.HeatWork != 1238 || e.Last != 0 {
		t.Errorf("%+v", e)
	}
}

// Whatever one firing did, the usual one of a steady kiln stays where its own firings are.
func TestOneOddFiringNeverMovesTheUsual(t *testing.T) {
	r := rand.New(rand.NewPCG(6, 1))
	for range 2000 {
		var works []kiln.Celsius
		for range 5 + r.IntN(8) {
			works = append(works, kiln.Celsius(1222+3*r.NormFloat64()))
		}
		odd := r.IntN(len(works))
		works[odd] = kiln.Celsius(600 + 750*r.Float64())
		e, ok := PastOf(whole(works...), "1").UsualOf(kiln.Glaze, kiln.Oxidation)
		if !ok || math.Abs(float64(e.HeatWork-1222)) > 22 { // four, one of them 40 off at most
			t.Fatalf("firing %d of %.0f: usual %.1f", odd, works, e.HeatWork)
		}
	}
}

// A firing that is over counts at once, and the same as if it were read from the record.
func TestPastWith(t *testing.T) {
	list := whole(1222, 1226, 1220, 1300)
	p := PastOf(list[:2], "1")
	p.Hold(list[0], []kiln.Hold{{At: 600}})
	for _, f := range list[2:] {
		p = p.With(f).With(f)
	}
	want, _ := PastOf(list, "1").Expect(kiln.Glaze, kiln.Oxidation)
	got, ok := p.UsualOf(kiln.Glaze, kiln.Oxidation)
	if !ok || got.HeatWork != want.HeatWork || got.Last != 1300 || len(got.Holds) != 1 {
		t.Errorf("%+v, from the record %+v", got, want)
	}
}

// A second usual firing has the name that people gave it, until it is released; what was said last of a name
// holds, and what was said of another kind or atmosphere is none of it.
func TestSecondUsualByItsName(t *testing.T) {
	list := whole(1222, 1226, 1220, 1280, 1284, 1282)
	said := func(what, name string, work kiln.Celsius) UsualSaid {
		return UsualSaid{Kind: kiln.Glaze, Atmosphere: kiln.Oxidation, What: what, Name: name, HeatWork: work}
	}
	other := said("second", "cone 04", 1060)
	other.Atmosphere = kiln.Reduction
	for name, c := range map[string]struct {
		said []UsualSaid
		want map[string]kiln.Celsius
	}{
		"nothing": {nil, map[string]kiln.Celsius{"": 1222}},
		"a second": {[]UsualSaid{said("second", "cone 10", 1283), other},
			map[string]kiln.Celsius{"": 1222, "cone 10": 1283}},
		"said again": {[]UsualSaid{said("second", "cone 10", 1300), said("second", "cone 10",
			1283)}, map[string]kiln.Celsius{"": 1222, "cone 10": 1283}},
		"released": {[]UsualSaid{said("second", "cone 10", 1283), said("release", "cone 10", 0)},
			map[string]kiln.Celsius{"": 1222}},
		"another one released": {[]UsualSaid{said("second", "cone 10", 1283), said("release", "cone 9", 0)},
			map[string]kiln.Celsius{"": 1222, "cone 10": 1283}},
		"the first pinned": {[]UsualSaid{said("pin", "", 1240)}, map[string]kiln.Celsius{"": 1240}},
		"and released": {[]UsualSaid{said("pin", "", 1240), said("release", "", 0)},
			map[string]kiln.Celsius{"": 1222}},
	} {
		got := map[string]kiln.Celsius{}
		for _, e := range PastOf(list, "1", c.said...).Usual {
			if e.Atmosphere == kiln.Oxidation {
				got[e.Name] = e.HeatWork
			}
		}
		if fmt.Sprint(got) != fmt.Sprint(c.want) {
			t.Errorf("%s: %v, want %v", name, got, c.want)
		}
	}
}

// Holds are taken in by the usual firing of their own kind and atmosphere.
func TestHoldsOfTheSameSort(t *testing.T) {
	p := Past{Usual: []Expected{{Kind: kiln.Glaze, Atmosphere: kiln.Oxidation}, {Kind: kiln.Glaze,
		Atmosphere: kiln.Reduction},
		{Kind: kiln.Bisque, Atmosphere: kiln.Oxidation}}}
	p.Hold(kiln.Firing{Kind: kiln.Glaze, Atmosphere: kiln.Oxidation}, []kiln.Hold{{At: 600}})
	for i, want := range []int{1, 0, 0} {
		if got := len(p.Usual[i].Holds); got != want {
			t.Errorf("%s in %s has %d holds", p.Usual[i].Kind, p.Usual[i].Atmosphere, got)
		}
	}
}

// A kiln that never came down quicker than its quickest fall is not believed to by more than a tenth; without
// one, not in less than four hours, and of a low firing nothing is said.
func TestQuickestFallCounts(t *testing.T) {
	var known Past
	for _, hours := range []time.Duration{5, 3, 6} {
		known.Fell([]Fall{{To: 100, After: hours * time.Hour}})
	}
	const most = 2*time.Hour + 42*time.Minute // nine tenths of three hours
	for _, c := range []struct {
		name    string
		past    Past
		peak, t kiln.Celsius
		after   time.Duration
		soon    bool
	}{
		{"as quick as allowed", known, 1222, 100, most, false},
		{"quicker", known, 1222, 100, most - time.Second, true},
		{"colder, as quick", known, 1222, 90, most - time.Second, true},
		{"hotter than any fall tells of", known, 1222, 101, 4 * time.Hour, false},
		{"the same, sooner", known, 1222, 101, 4*time.Hour - time.Second, true},
		{"of an unknown kiln", Past{}, 600, 40, 4 * time.Hour, false},
		{"the same, sooner", Past{}, 600, 40, 4*time.Hour - time.Second, true},
		{"of a low firing", Past{}, 599, 40, time.Minute, false},
	} {
		if got := c.past.TooSoon(c.peak, c.t, c.after); got != c.soon {
			t.Errorf("%s: too soon %v", c.name, got)
		}
	}
}

// What was usual when a firing was fired is of what came before it, of its kiln, kind and atmosphere, and
// whole.
func TestUsualBefore(t *testing.T) {
	var list []kiln.Firing // newest first
	for _, f := range slices.Backward(whole(1222, 1226, 1220, 1280, 1300)) {
		list = append(list, f)
	}
	same := list[4]
	for name, change := range map[string]func(f *kiln.Firing){
		"of another kiln": func(f *kiln.Firing) {
			f.Kiln =
				"little-red"
		}, "of another kind": func(f *kiln.Firing) { f.Kind = kiln.Bisque },
		"in reduction": func(f *kiln.Firing) {
			f.Atmosphere =
				kiln.Reduction
		}, "broken off": func(f *kiln.Firing) { f.Status = kiln.Incomplete },
	} {
		other := same
		change(&other)
		other.HeatWork = map[kiln.ChannelID]kiln.HeatWork{"1": {C: 1000}}
		with := slices.Insert(slices.Clone(list), 3, other, other, other)
		if e := UsualBefore(with, 1, "1"); e.Of != 3 || e.HeatWork != 1222 {
			t.Errorf("beside three %s: of %d, %.0f °C", name, e.Of, e.HeatWork)
		}
	}
	if e := UsualBefore(list, 4, "1"); e.Of != 0 {
		t.Errorf("before the first: of %d", e.Of)
	}
}
