package detect

import (
	"fmt"
	"math"
	"math/rand/v2"
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
