package tiles_test

import (
	"encoding/json"
	"fmt"
	"math"
	"testing"

	"lidwright/tiles"
	"lidwright/tiles/tilestest"
)

// TestSummariesAreTheJointFit: two kilns that share two clays and nothing else. The sum of
// their summaries says what one fit of all bars says, at the same sds and slopes. (Both are
// solved at the joint fit's: its bars are taken out kiln by kiln, by With.)
func TestSummariesAreTheJointFit(t *testing.T) {
	var s tiles.Studio
	clays := []tiles.ClayID{"tern", "knot"}
	kilnOf := map[string]int{}
	for i := range 2 {
		m := tilestest.Make(40, uint64(i), tilestest.Options{Row: tilestest.Ten, NoSlips: true})
		if i == 0 {
			for _, c := range m.Clays[:2] {
				c.Matures = 1222
				s.Clays = append(s.Clays, c)
			}
		}
		for _, b := range m.Bars {
			if b.Clay != clays[0] && b.Clay != clays[1] {
				continue
			}
			b.ID = fmt.Sprint("kiln", i, b.ID)
			b.Code = tiles.Code(b.ID)
			b.Batch = tiles.BatchID(fmt.Sprint("kiln", i, b.Batch))
			b.Firings = append([]tiles.Heat(nil), b.Firings...)
			for j := range b.Firings {
				b.Firings[j].Load = fmt.Sprint("kiln", i, b.Firings[j].Load)
			}
			b.Readings = append([]tiles.Reading(nil), b.Readings...)
			for j := range b.Readings {
				b.Readings[j].ID = fmt.Sprint("kiln", i, b.Readings[j].ID)
			}
			kilnOf[b.ID] = i
			s.Bars = append(s.Bars, b)
		}
	}
	joint := fitted(t, s, nil)
	var parts []tiles.Summary
	for i := range 2 {
		one := joint
		for _, b := range s.Bars {
			if kilnOf[b.ID] == i {
				continue
			}
			b.Readings = nil
			var err error
			if one, err = one.With(b); err != nil {
				t.Fatal(err)
			}
		}
		one, err := one.Again(false)
		if err != nil {
			t.Fatal(err)
		}
		p, err := one.Summary(clays...)
		if err != nil {
			t.Fatal(err)
		}
		text, err := json.Marshal(p) // as it would travel
		if err != nil {
			t.Fatal(err)
		}
		var arrived tiles.Summary
		if err := json.Unmarshal(text, &arrived); err != nil {
			t.Fatal(err)
		}
		parts = append(parts, arrived)
	}
	sum, err := tiles.Sum(parts...)
	if err != nil {
		t.Fatal(err)
	}
	whole, err := joint.Summary(clays...)
	if err != nil {
		t.Fatal(err)
	}
	if sum.Bars != whole.Bars || sum.Bars != len(s.Bars) {
		t.Errorf("%d bars summed, %d in the joint fit", sum.Bars, whole.Bars)
	}
	worst := 0.0
	for _, id := range clays {
		for h := 1000.0; h <= 1300; h += 20 {
			m1, sd1, err1 := sum.Pooled(id, h)
			m2, sd2, err2 := joint.ClayRate(id, h)
			if err1 != nil || err2 != nil {
				t.Fatal(err1, err2)
			}
			worst = max(worst, math.Abs(float64(m1)-m2), math.Abs(float64(sd1)-sd2))
		}
	}
	t.Logf("summed against joint: %.1e log-percent", worst)
	if worst > 1e-9 || math.IsNaN(worst) {
		t.Errorf("summed and joint differ by %g", worst)
	}
	if _, err := tiles.Sum(parts[0], tiles.Summary{Model: "another", Theta: parts[0].Theta}); err == nil {
		t.Error("summaries of two models were summed")
	}
	other := parts[1]
	other.Matures = []float64{1222, 1250}
	if _, err := tiles.Sum(parts[0], other); err == nil {
		t.Error("a clay that matures at two heats was summed")
	}
	broken := parts[1]
	broken.Eta = broken.Eta[:3]
	if _, err := tiles.Sum(parts[0], broken); err == nil {
		t.Error("a summary with numbers missing was summed")
	}
}
