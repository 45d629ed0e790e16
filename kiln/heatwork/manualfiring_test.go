package heatwork

import (
	"math"
	"strings"
	"testing"
	"time"

	"lidwright/kiln"
	"lidwright/kiln/message"
)

func typedCurve(step time.Duration, t ...kiln.Celsius) kiln.Curve {
	c := kiln.Curve{Channels: []kiln.ChannelID{kiln.ByHandChannel}, T: [][]kiln.Celsius{t}}
	for i := range t {
		c.After = append(c.After, time.Duration(i)*step)
	}
	return c
}

func TestHeatWorkByHand(t *testing.T) {
	l := MainConeScale()
	six := mainCone(t, "6")
	smallShift, _, err := l.seriesShift(six, SeriesSmall)
	if err != nil {
		t.Fatal(err)
	}
	bent := []ConeReading{{Cone: "5", Seen: Down}, {Cone: "6", Tilt: 90, Tilted: true},
		{Cone: "7", Seen: Upright}}
	sparse := typedCurve(3*time.Hour, 20, 300, 700, 1000, 1200, 900)
	for _, c := range []struct {
		name   string
		h      ManualFiring
		from   string
		c, off float64
		text   string // in what is said
	}{
		{"cones", ManualFiring{Cones: bent, Sitter: "6", Intended: "7"}, kiln.FromCones, 1220.2, 2, ""},
		{"sitter", ManualFiring{Sitter: "6", Intended: "7"}, kiln.FromSitter,
			float64(six.Tau + smallShift), 0.01, ""},
		{"intended", ManualFiring{Intended: "6+0.1"}, kiln.FromIntended,
			float64(l.HeatWorkAt(27.1)), 0.01, ""},
		{"sitter that does not exist", ManualFiring{Sitter: "0", Intended: "6"}, kiln.FromIntended,
			1220.2, 0.01, "no cone 0"},
		{"sparse curve with cones", ManualFiring{Typed: sparse, Cones: bent}, kiln.FromCones, 1220.2, 2, ""},
		{"sparse curve", ManualFiring{Typed: sparse}, kiln.FromCurve, 1214, 10, "estimate"},
		{"a cone of the other ladder", ManualFiring{Cones: []ConeReading{{Cone: "6a", Seen: Down}},
			Sitter: "6"}, kiln.FromSitter, float64(six.Tau + smallShift), 0.01, "European"},
	} {
		w, says := c.h.HeatWork(l, kiln.NoTemperature())
		if w.From != c.from || !(math.Abs(float64(w.C)-c.c) <= c.off) {
			t.Errorf("%s: %.2f from %s, want %.2f ± %v from %s", c.name, w.C, w.From, c.c, c.off, c.from)
		}
		if !(w.Low < w.C && w.C < w.High) {
			t.Errorf("%s: range %v to %v", c.name, w.Low, w.High)
		}
		if said := message.Join("\n", says...).String(); !strings.Contains(said, c.text) ||
			c.text == "" && said != "" {
			t.Errorf("%s says %q, want %q", c.name, said, c.text)
		}
	}
}

// A curve typed every quarter of an hour is as good as a log, and is marked as an estimate.
func TestTypedCurve(t *testing.T) {
	var typed []kiln.Celsius
	for i := 0; ; i++ {
		typed = append(typed, kiln.Celsius(20+15*i))
		if typed[i] >= 1220 {
			break
		}
	}
	w, says := ManualFiring{Typed: typedCurve(15*time.Minute, typed...),
		Sitter: "04"}.HeatWork(MainConeScale(), kiln.NoTemperature())
	if w.From != kiln.FromCurve || !w.Estimate || math.Abs(float64(w.C)-1219.9) > 0.5 || len(says) > 0 {
		t.Errorf("60 °C/h to 1220 typed: %+v %v", w, says)
	}
}

// Between two typed readings lies the straight line of whoever typed them, a point each 10 s; an empty cell
// stays empty.
func TestLinesBetweenTypedReadings(t *testing.T) {
	c := typedCurve(25*time.Second, 20, 45, 40)
	got := TypedCurve(c)
	want := []struct {
		after time.Duration
		t     kiln.Celsius
	}{{0, 20}, {10, 30}, {20, 40}, {25, 45}, {35, 43}, {45, 41}, {50, 40}}
	column := got.Column(kiln.ByHandChannel)
	if len(got.After) != len(want) || len(column) != len(want) {
		t.Fatalf("%v: %v", got.After, column)
	}
	for i, w := range want {
		if got.After[i] != w.after*time.Second || math.Abs(float64(column[i]-w.t)) > 1e-9 {
			t.Errorf("at %v %v °C, want %v at %d s", got.After[i], column[i], w.t, w.after)
		}
	}
	exact := TypedCurve(typedCurve(20*time.Second, 20, 40))
	if len(exact.After) != 3 {
		t.Errorf("20 s apart: %v", exact.After)
	}
}

func TestConesAlone(t *testing.T) {
	l := MainConeScale()
	down, up := func(c string) ConeReading {
		return ConeReading{Cone: c,
			Seen: Down}
	}, func(c string) ConeReading { return ConeReading{Cone: c, Seen: Upright} }
	atLeast, says := l.ConesHeatWork([]ConeReading{down("5"), down("6")})
	if !atLeast.AtLeast() || math.Abs(float64(atLeast.C)-1220.2) > 0.01 || !strings.Contains(says[0].String(),
		"at least") {
		t.Errorf("all down: %+v %v", atLeast, says)
	}
	under, says := l.ConesHeatWork([]ConeReading{up("5"), up("6")})
	if under.Known() || !strings.Contains(says[0].String(), "cone 5 upright") ||
		!strings.Contains(says[0].String(), "less than") {
		t.Errorf("all upright: %+v %v", under, says)
	}
	between, _ := l.ConesHeatWork([]ConeReading{down("6"), up("8")})
	if !(between.C > 1220 && between.C < 1240) || !(between.Low > 1200 && between.High < 1260) {
		t.Errorf("6 down and 8 upright: %+v", between)
	}
	cross, says := l.ConesHeatWork([]ConeReading{down("8"), up("04")})
	if cross.Known() || ConeText(cross) != "" || ConeWords(cross).String() != "not known" ||
		!strings.Contains(says[0].String(), "contradict") {
		t.Errorf("8 down and 04 upright: %+v %v", cross, says)
	}
	none, says := l.ConesHeatWork(nil)
	if none.Known() || ConeText(none) != "" || ConeWords(none).String() != "not known" || len(says) != 0 {
		t.Errorf("no cones: %+v %v", none, says)
	}
	// Two readings of one cone are worth more than one: the sd falls by a root of two.
	lean := ConeReading{Cone: "6", Tilt: 60, Tilted: true}
	one, _ := l.ConesHeatWork([]ConeReading{lean})
	two, _ := l.ConesHeatWork([]ConeReading{lean, lean})
	if math.Abs(one.SD()/two.SD()-math.Sqrt2) > 0.05 {
		t.Errorf("sd of one %.2f, of two %.2f", one.SD(), two.SD())
	}
}

// Cones that all stand upright say what the firing did not reach, whichever cone it is, and nothing about
// 022.
func TestUprightConesSayBelowThem(t *testing.T) {
	l := MainConeScale()
	all := []ConeReading{{Cone: "7", Seen: Upright}, {Cone: "5", Seen: Upright}, {Cone: "6", Seen: Upright}}
	w, _ := l.ConesHeatWork(all)
	if !math.IsNaN(w.Position) || w.AtLeast() || ConeText(w) != "" ||
		ConeWords(w).String() != "not known: below cone 5" {
		t.Errorf("5, 6 and 7 upright: %+v %q %q", w, ConeText(w), ConeWords(w))
	}
	for i, label := range rungLabels {
		w, _ := l.ConesHeatWork([]ConeReading{{Cone: label, Seen: Upright}})
		next := label
		if strings.Contains(label, ".") {
			next = rungLabels[i+1]
		}
		if want := "not known: below cone " + next; ConeWords(w).String() != want ||
			!(w.High <= l.cones[i].Tau+1e-9) {
			t.Errorf("cone %s upright: %q, below %.1f °C, its end point is %.1f", label,
				ConeWords(w), w.High, l.cones[i].Tau)
		}
	}
}

func TestNothingByHand(t *testing.T) {
	w, says := ManualFiring{}.HeatWork(MainConeScale(), kiln.NoTemperature())
	if w.Known() || len(says) != 1 || !strings.Contains(says[0].String(), "Neither a curve nor a cone") {
		t.Errorf("%+v %v", w, says)
	}
}
