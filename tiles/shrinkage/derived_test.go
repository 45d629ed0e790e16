package shrinkage

import (
	"math"
	"testing"
	"time"

	"lidwright/kiln"
	"lidwright/tiles"
)

func length(stage tiles.Stage, mark int, mm tiles.Millimetre) tiles.Reading {
	return tiles.Reading{ID: string(stage), Stage: stage, Mark: mark, Length: mm,
		Instrument: "calliper", Step: 0.01}
}

// TestDerived: the worked examples beside the formulas. Definitions of ASTM C326 and C373 as named
// there; the arithmetic is ours and can be checked by hand.
func TestDerived(t *testing.T) {
	b := tiles.Bar{Marks: 1, Readings: []tiles.Reading{length(tiles.Wet, 1, 100), length(tiles.Dry, 1, 94),
		length(tiles.Fired, 1, 87.42),
		{Stage: tiles.Fired, Mass: &tiles.Mass{Dry: 50, Saturated: 52.5, Suspended: 30, Step: 0.01}}}}
	d := Derive(b)
	for name, c := range map[string]struct {
		got  Figure
		want float64
		n    int
	}{
		"drying": {d.Drying, 0.06, 2}, "firing": {d.Firing, 0.07, 2}, "total": {d.Total, 0.1258, 2},
		"absorption": {d.Absorption, 0.05, 1}, "porosity": {d.Porosity, 2.5 / 22.5, 1},
		"density": {d.Density, 50 / 22.5, 1},
	} {
		if math.Abs(c.got.Value-c.want) > 1e-12 || c.got.Readings != c.n {
			t.Errorf("%s: %+v, want %v of %d", name, c.got, c.want, c.n)
		}
		if !(c.got.Low < c.want && c.want < c.got.High) {
			t.Errorf("%s: no range: %+v", name, c.got)
		}
	}
	if whole := 1 - (1-d.Drying.Value)*(1-d.Firing.Value); math.Abs(whole-d.Total.Value) > 1e-12 {
		t.Errorf("the parts make %v, the whole is %v", whole, d.Total.Value)
	}
	if d.MassStage != tiles.Fired {
		t.Errorf("masses of %s", d.MassStage)
	}
	// Steps of 0.01 g, by hand: u = 0.01/√12 = 0.002887 g; of the absorption
	// u·√(1/50² + (52.5/50²)²) = 8.371e-5, times 1.645 is 1.377e-4.
	if half := (d.Absorption.High - d.Absorption.Low) / 2; math.Abs(half-1.377e-4) > 1e-7 {
		t.Errorf("absorption is known to %v", half)
	}
}

// A rule tells less than a calliper, repeats that agree tell more, repeats that do not tell less, and
// two pairs of marks tell more than one.
func TestDerivedRanges(t *testing.T) {
	width := func(b tiles.Bar) float64 { f := Derive(b).Total; return f.High - f.Low }
	one := tiles.Bar{Marks: 1, Readings: []tiles.Reading{length(tiles.Wet, 1, 100),
		length(tiles.Fired, 1, 88)}}
	rule := tiles.Bar{Marks: 1, Readings: []tiles.Reading{length(tiles.Wet, 1, 100),
		length(tiles.Fired, 1, 88)}}
	for i := range rule.Readings {
		rule.Readings[i].Instrument, rule.Readings[i].Step = "rule", 0.5
	}
	agree, apart, two := one, one, one
	agree.Readings = append(agree.Readings[:2:2], length(tiles.Wet, 1, 100.02), length(tiles.Fired, 1, 88.02))
	apart.Readings = append(apart.Readings[:2:2], length(tiles.Wet, 1, 101.2), length(tiles.Fired, 1, 89.2))
	two.Marks = 2
	two.Readings = append(two.Readings[:2:2], length(tiles.Wet, 2, 100), length(tiles.Fired, 2, 88))
	w := width(one)
	if !(width(rule) > 2*w && width(agree) < w && width(apart) > w && width(two) < w) {
		t.Errorf("one %.4f, rule %.4f, agree %.4f, apart %.4f, two marks %.4f", w, width(rule), width(agree),
			width(apart), width(two))
	}
	// By hand: 2 readings of sd 0.2 mm and step 0.01: √(0.2²+0.01²/12)·0.88/100·√(1+1/0.88²)·2.132
	// (Student's t, 4 degrees of freedom, 95 %), both ways.
	if want := 2 * 2.1318 * math.Hypot(0.2, 0.01/math.Sqrt(12)) / 100 * math.Hypot(1,
		0.88); math.Abs(w-want) > 1e-5 {
		t.Errorf("the range is %.6f wide, want %.6f", w, want)
	}
}

// Struck, asked-about and first-fired lengths are no part of a figure; without readings there is none.
func TestDerivedLeavesOut(t *testing.T) {
	day := func(n int) time.Time { return time.Date(2026, 2, n, 12, 0, 0, 0, time.UTC) }
	b := tiles.Bar{Marks: 1, Readings: []tiles.Reading{length(tiles.Wet, 1, 100), length(tiles.Dry, 1, 49),
		length(tiles.Dry, 1, 95), length(tiles.Fired, 1, 88), length(tiles.Fired, 1, 87.5)}}
	b.Readings[1].Struck = &tiles.Act{}
	b.Readings[2].Unusual = true
	b.Readings[3].At, b.Readings[4].At = day(2), day(6)
	b.Firings = []tiles.Heat{{Kind: kiln.Glaze, At: day(1)}, {Kind: kiln.Glaze, At: day(5)}}
	d := Derive(b)
	if d.Drying.Known() || d.Firing.Known() || d.Absorption.Known() || d.Density.Known() {
		t.Errorf("figures of nothing: %+v", d)
	}
	if math.Abs(d.Total.Value-0.125) > 1e-12 || d.Total.Readings != 2 {
		t.Errorf("fired twice: %+v", d.Total)
	}
	b.Readings = append(b.Readings, tiles.Reading{Stage: tiles.Biscuit,
		Mass: &tiles.Mass{Dry: 50, Saturated: 56}},
		tiles.Reading{Stage: tiles.Fired, Mass: &tiles.Mass{Dry: 49.9, Saturated: 50.9}},
		tiles.Reading{Stage: tiles.Fired, Mass: &tiles.Mass{Dry: 49.9, Saturated: 51}})
	if d = Derive(b); d.MassStage != tiles.Fired || d.Absorption.Readings != 2 || d.Density.Known() ||
		d.Absorption.Value > 0.03 {
		t.Errorf("masses of bisque and fired: %+v", d)
	}
}
