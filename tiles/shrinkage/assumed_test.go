package shrinkage_test

import (
	"errors"
	"math"
	"strings"
	"testing"

	"lidwright/kiln"
	"lidwright/kiln/message"
	"lidwright/tiles"
	"lidwright/tiles/mixedmodel"
	"lidwright/tiles/shrinkage"
	"lidwright/tiles/tilestest"
)

// cone6 is what a bag of clay 0 says: its assumption.
func cone6(m *tilestest.Made) map[tiles.ClayID]tiles.Assumed {
	return map[tiles.ClayID]tiles.Assumed{tilestest.ClayName(0): {
		Bisque: tiles.Assumption{Work: 1000, SD: 25, Says: message.Plain("bisque as usual")},
		Fired:  tiles.Assumption{Work: m.Clays[0].Matures, SD: 25, Says: message.Plain("cone 6 on the bag")}}}
}

// forgotten is a studio whose bars of clay 0 were in no firing that anybody told of, apart from the first
// known.
func forgotten(m *tilestest.Made, known int) shrinkage.Studio {
	s := m.Studio
	s.Assumed = cone6(m)
	s.Bars = nil
	for _, b := range m.Bars {
		if b.Clay == tilestest.ClayName(0) {
			if known--; known < 0 {
				b.Firings = nil
			}
		}
		s.Bars = append(s.Bars, b)
	}
	return s
}

// TestRatesOfAssumedHeat: bars whose firing nobody told are fired 25 °C under the cone on the bag, on it or
// 15 °C over it, with load errors that are none of the fit's own making, and count as if at that cone. The 90
// % range of the clay's rate, at the heat that is asked, holds as often as it says, in three worlds; and it
// is nearer to the truth than what is said without those bars. Of one bar in the world of outsiders it holds
// less often. Our own bounds: no source.
func TestRatesOfAssumedHeat(t *testing.T) {
	studios, slack := 40, 0.05
	if soaking() {
		studios, slack = 400, 0.02
	}
	for _, w := range tilestest.Worlds() {
		for _, row := range []tilestest.Row{tilestest.One, tilestest.Three, tilestest.Ten} {
			var held, held0, n, off, off0 float64
			for i := range studios {
				m := tilestest.Make(7411, uint64(i), tilestest.Options{World: w, Row: row})
				s := forgotten(m, 0)
				with := fitted(t, s, nil)
				s.Assumed = nil
				without := fitted(t, s, nil)
				for range questionsAStudio {
					q := m.Question()
					a, errA := with.Rate(q.Ask, tiles.Fired)
					b, errB := without.Rate(q.Ask, tiles.Fired)
					if errA != nil || errB != nil {
						t.Fatal(errA, errB)
					}
					truth := tiles.LogPercent(q.Rate).Ratio()
					n++
					off += math.Pow(float64(a.Log)-q.Rate, 2)
					off0 += math.Pow(float64(b.Log)-q.Rate, 2)
					if truth >= a.Likely.Low && truth <= a.Likely.High {
						held++
					}
					if truth >= b.Likely.Low && truth <= b.Likely.High {
						held0++
					}
					if a.Basis.Bars != 0 || a.Standing.Trust == shrinkage.WellTested {
						t.Fatalf("%s, row %s: %+v rests on %+v", w, row, a.Standing, a.Basis)
					}
				}
			}
			t.Logf("%-10s row %-3s range held %.3f (without those bars %.3f), rms %.2f (%.2f) log-percent, N = %.0f",
				w, row, held/n, held0/n, math.Sqrt(off/n), math.Sqrt(off0/n), n)
			least := 0.86
			// one bar of a body that no handbook knows, and a cone misstated by 40 °C
			if w == tilestest.Outsiders && row == tilestest.One {
				least = 0.80
			}
			if held/n < least-slack {
				t.Errorf("%s, row %s: the 90 %% range held %.3f", w, row, held/n)
			}
			if off >= off0 {
				t.Errorf("%s, row %s: bars of assumed heat take the rate away from the truth: rms %.2f, without %.2f", w, row, math.Sqrt(off/n), math.Sqrt(off0/n))
			}
		}
	}
}

// TestAssumedHeatStepsBack: with two bars of known heat those of assumed heat still count; the third makes
// them step back, which a fit says cannot be worked in; made anew, it is as if they had never been read
// fired. A bar of known heat taken away brings them in again.
func TestAssumedHeatStepsBack(t *testing.T) {
	m := tilestest.Make(3, 1, tilestest.Options{Row: tilestest.Ten, NoSlips: true})
	whole := forgotten(m, 3)
	two := forgotten(m, 2)
	f := fitted(t, two, nil)
	clay := tilestest.ClayName(0)
	var third tiles.Bar
	counts := func(f *shrinkage.Fit, studio shrinkage.Studio) (assumed, left int) {
		for _, b := range studio.Bars {
			if b = f.Assume(b); b.Clay != clay || len(b.Firings) > 0 {
				continue
			}
			for _, r := range b.Readings {
				if r.Stage != tiles.Fired {
					continue
				}
				in, slip := shrinkage.Counts(f, b, r)
				switch {
				case in && !slip && b.WhyNot(r) == "":
					assumed++
				case b.WhyNot(r) == tiles.HeatAssumed:
					left++
				}
			}
		}
		return assumed, left
	}
	if in, out := counts(f, two); in != 8 || out != 0 {
		t.Errorf("with two bars of known heat %d of assumed heat count and %d do not; all eight should", in,
			out)
	}
	for i, b := range whole.Bars {
		if len(two.Bars[i].Firings) == 0 && len(b.Firings) > 0 {
			third = b
		}
	}
	if _, err := f.With(third); !errors.Is(err, mixedmodel.ErrAnew) {
		t.Errorf("the third bar of known heat was worked in: %v", err)
	}
	anew := fitted(t, whole, f)
	if in, out := counts(anew, whole); in != 0 || out != 7 {
		t.Errorf("with three bars of known heat %d of assumed heat count and %d do not; all seven should step back", in, out)
	}
	ask := shrinkage.Ask{BatchRef: third.BatchRef, Stage: tiles.Wet, Work: m.Clays[0].Matures,
		Kind: kiln.Glaze, BisqueWork: 1000}
	never := whole
	bisque := cone6(m)[clay]
	bisque.Fired = tiles.Assumption{}
	never.Assumed = map[tiles.ClayID]tiles.Assumed{clay: bisque}
	a, _ := anew.Rate(ask, tiles.Fired)
	b, _ := fitted(t, never, nil).Rate(ask, tiles.Fired)
	if math.Abs(float64(a.Log-b.Log)) > 1e-9 || math.Abs(float64(a.LogSD-b.LogSD)) > 1e-9 {
		t.Errorf("with bars that stepped back %.6f ± %.6f, without them %.6f ± %.6f", a.Log, a.LogSD, b.Log,
			b.LogSD)
	}
	third.Flags = []tiles.Flag{tiles.Bent}
	if _, err := anew.With(third); !errors.Is(err, mixedmodel.ErrAnew) {
		t.Errorf("a bar of known heat went, and those of assumed heat were not brought in: %v", err)
	}
}

// TestAssumedHeatIsNotTested: bars of assumed heat are in the clay's rate alone: no load, no shelf, no batch
// with fired bars, no tested heat; their word is few bars, with what was assumed, and far from it outside
// tested heat.
func TestAssumedHeatIsNotTested(t *testing.T) {
	m := tilestest.Make(5, 2, tilestest.Options{Row: tilestest.Ten, NoSlips: true})
	s := forgotten(m, 0)
	f := fitted(t, s, nil)
	clay, matures := tilestest.ClayName(0), m.Clays[0].Matures
	if got := f.Fired(clay); len(got) != 0 {
		t.Errorf("batches with fired bars: %v", got)
	}
	for _, l := range f.LoadHeats() {
		for _, name := range l.Loads {
			if strings.HasPrefix(name, "assumed") {
				t.Errorf("the heat of load %s is told", name)
			}
		}
	}
	ref := s.Bars[len(s.Bars)-1].BatchRef
	for _, b := range s.Bars {
		if b.Clay == clay {
			ref = b.BatchRef
		}
	}
	for at, want := range map[kiln.Celsius]shrinkage.Reliability{matures: shrinkage.FewBars,
		matures + 80: shrinkage.OutsideTestedHeat} {
		r, err := f.Rate(shrinkage.Ask{BatchRef: ref, Stage: tiles.Wet, Work: at, Kind: kiln.Glaze,
			BisqueWork: 1000}, tiles.Fired)
		if err != nil || r.Standing.Trust != want ||
			!strings.Contains(r.Standing.Why.String(), "heat assumed: cone 6 on the bag") ||
			r.SeenLow.Known() {
			t.Errorf("at %.0f: %+v, seen from %v, %v; want %s", at, r.Standing, r.SeenLow, err, want)
		}
	}
	early, err := f.Rate(shrinkage.Ask{BatchRef: ref, Stage: tiles.Wet, Work: matures, Kind: kiln.Glaze,
		BisqueWork: 1000}, tiles.Biscuit)
	if err != nil || early.Standing.Trust != shrinkage.FewBars ||
		!strings.Contains(early.Standing.Why.String(),
			"heat assumed: bisque as usual") {
		t.Errorf("to bisque: %+v, %v", early.Standing, err)
	}
}

// TestAssumedHeatUpdates: a bar of assumed heat worked in says what fitting anew says at the same sds.
func TestAssumedHeatUpdates(t *testing.T) {
	m := tilestest.Make(9, 4, tilestest.Options{Row: tilestest.Three, NoSlips: true})
	s := forgotten(m, 0)
	less := s
	last := s.Bars[len(s.Bars)-1]
	for _, b := range s.Bars {
		if b.Clay == tilestest.ClayName(0) {
			last = b
		}
	}
	less.Bars = nil
	for _, b := range s.Bars {
		if b.ID != last.ID {
			less.Bars = append(less.Bars, b)
		}
	}
	f, err := fitted(t, less, nil).With(last)
	if err != nil {
		t.Fatal(err)
	}
	ask := shrinkage.Ask{BatchRef: last.BatchRef, Stage: tiles.Wet, Work: m.Clays[0].Matures,
		Kind: kiln.Glaze, BisqueWork: 1000}
	a, _ := f.Rate(ask, tiles.Fired)
	b, _ := fitted(t, s, nil).Rate(ask, tiles.Fired)
	if math.Abs(float64(a.Log-b.Log)) > 0.05 || a.Standing.Trust != b.Standing.Trust || a.Basis.Assumed != 3 {
		t.Errorf("worked in %.3f (%+v, %+v), anew %.3f (%+v)", a.Log, a.Standing, a.Basis, b.Log, b.Standing)
	}
	for _, r := range last.Readings {
		if in, slip := shrinkage.Counts(f, last, r); !in || slip {
			t.Errorf("%s of a bar of assumed heat: counts %v, slipped %v", r.Stage, in, slip)
		}
	}
}
