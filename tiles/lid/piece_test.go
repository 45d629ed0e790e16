package lid

import (
	"math"
	"slices"
	"strings"
	"testing"

	"lidwright/tiles"
	"lidwright/tiles/shrinkage"
)

func ml(v float64) *float64 { return &v }

// ternSize answers q for a clay of 12.4 % whose next piece has a sd of 0.6.
func ternSize(t *testing.T, asked PieceQuestion) PieceAnswer {
	t.Helper()
	asked.Clay = tiles.BatchRef{Clay: "tern", Batch: "B"}
	q, err := asked.Check(UsualDefaults())
	if err != nil {
		t.Fatal(err)
	}
	p, err := q.Know(tern{nu: math.Inf(1), rate: math.Sqrt(0.36 - 0.04)}, Firing{})
	if err != nil {
		t.Fatal(err)
	}
	return SizePiece(q, p, false)
}

// 62.0 fired for a cork is 62/0.876 = 70.7763 wet; 900 ml is 900/0.876^3 = 1338.84 wet.
func TestSizes(t *testing.T) {
	a := ternSize(t, PieceQuestion{FiredMM: mm(62), Step: mm(0.1)})
	near(t, "wet", float64(a.Millimetre), 70.8, 1e-9)
	near(t, "unrounded", float64(a.Unrounded), 70.7763, 5e-5)
	near(t, "likely", float64(a.Likely[0]), 70.7763*math.Exp(-0.016449*0.6), 1e-3)
	near(t, "ratio", float64(a.Ratio), 0.876, 1e-9)
	if a.Trust != shrinkage.WellTested || !slices.Equal(a.Cautions, []string{ShrinkVaries}) ||
		!math.IsNaN(a.Millilitre) {
		t.Errorf("%+v", a)
	}
	near(t, "and back", float64(ternSize(t, PieceQuestion{WetMM: mm(70.7763), Step: mm(0)}).Millimetre), 62,
		1e-4)
	c := ternSize(t, PieceQuestion{FiredML: ml(900)})
	near(t, "wet capacity", c.Millilitre, 1338.84, 0.005)
	near(t, "volume ratio", float64(c.VolumeRatio), 0.6722, 5e-5)
	near(t, "capacity back", ternSize(t, PieceQuestion{WetML: ml(1338.84)}).Millilitre, 900, 0.01)
	// A bought cork of 62 into our hole with 1 mm of play, and our plug of 61 for a bought neck.
	// 71.918 up
	near(t, "hole", float64(ternSize(t, PieceQuestion{FiredMM: mm(62), Part: HolePart,
		Play: mm(1)}).Millimetre), 72.0, 1e-9)
	// 69.635 down
	near(t, "plug", float64(ternSize(t, PieceQuestion{FiredMM: mm(62), Part: PlugPart,
		Play: mm(1)}).Millimetre), 69.5, 1e-9)
	near(t, "play of a bought part", float64(*ternSize(t, PieceQuestion{FiredMM: mm(62),
		Part: HolePart}).Asked.Play), 0.65, 1e-9)
}

// Cube law by hand: 12 % is a volume of 1/0.88^3 = 1.467 times; one point is 3.4 %.
func TestCubeLaw(t *testing.T) {
	wet := func(total float64) float64 {
		q, err := PieceQuestion{FiredML: ml(1000), Rates: shrinkage.StatedRates{Drying: share(0),
			Firing: share(total)}}.Check(UsualDefaults())
		if err != nil {
			t.Fatal(err)
		}
		p, err := q.Know(nil, Firing{})
		if err != nil {
			t.Fatal(err)
		}
		a := SizePiece(q, p, false)
		if !slices.Equal(a.Cautions, []string{RatesStated, ShrinkVaries}) || a.Trust != shrinkage.NoBars {
			t.Errorf("%v %s", a.Cautions, a.Trust)
		}
		return a.Millilitre
	}
	near(t, "12 %", wet(0.12), 1467, 0.5)
	near(t, "one point more", wet(0.13)/wet(0.12), 1.034, 0.001)
}

func TestSizeStages(t *testing.T) {
	r := shrinkage.StatedRates{Drying: share(0.06), Leather: share(0.035),
		Bisque: share(0.01), Firing: share(0.07)}
	for stage, left := range map[tiles.Stage]float64{tiles.Wet: 0.94 * 0.93,
		tiles.Leather: 0.94 * 0.93 / 0.965, tiles.Dry: 0.93, tiles.Biscuit: 0.93 / 0.99} {
		q, err := PieceQuestion{FiredMM: mm(62), Stage: stage, Rates: r, Step: mm(0)}.Check(UsualDefaults())
		if err != nil {
			t.Fatal(err)
		}
		p, _ := q.Know(nil, Firing{})
		a := SizePiece(q, p, false)
		near(t, string(stage), float64(a.Millimetre), 62/left, 1e-9)
	}
}

func TestSizeFaults(t *testing.T) {
	r := rates(0.06, 0.07)
	for name, c := range map[string]struct {
		q           PieceQuestion
		field, kind string
	}{
		"nothing": {PieceQuestion{Rates: r}, "fired_mm", tiles.Missing},
		"two sizes": {PieceQuestion{FiredMM: mm(62), WetMM: mm(70), Rates: r},
			"wet_mm", tiles.GivenTwice},
		"no capacity": {PieceQuestion{FiredML: ml(0), Rates: r}, "fired_ml", tiles.OutOfRange},
		"endless capacity": {PieceQuestion{FiredML: ml(math.Inf(1)), Rates: r},
			"fired_ml", tiles.OutOfRange},
		"4 inches": {PieceQuestion{FiredMM: mm(4), Rates: r}, "fired_mm", tiles.UnitUnclear},
		"no clay":  {PieceQuestion{FiredMM: mm(62)}, "clay", tiles.Missing},
		"no firing rate": {PieceQuestion{FiredMM: mm(62),
			Rates: shrinkage.StatedRates{Drying: share(0.06)}}, "firing_ratio", tiles.RateMissing},
		"clay and rates": {PieceQuestion{FiredMM: mm(62), Clay: tiles.BatchRef{Clay: "tern", Batch: "B"},
			Rates: r}, "clay", tiles.GivenTwice},
		"drying of 30 %": {PieceQuestion{FiredMM: mm(62), Rates: rates(0.3, 0.07)},
			"drying_ratio", tiles.OutOfRange},
		"play of the piece": {PieceQuestion{FiredMM: mm(62), Play: mm(1), Rates: r},
			"play_mm", UnknownMember},
		"hole in a wet size": {PieceQuestion{WetMM: mm(62), Part: HolePart, Rates: r},
			"fired_mm", tiles.Missing},
		"plug all play": {PieceQuestion{FiredMM: mm(10), Part: PlugPart, Play: mm(12), Rates: r},
			"play_mm", tiles.OutOfRange},
		"fired, unfired": {PieceQuestion{FiredMM: mm(62), Stage: tiles.Fired, Rates: r},
			"stage", tiles.UnknownValue},
		"no such part": {PieceQuestion{FiredMM: mm(62), Part: "knob", Rates: r}, "part", tiles.UnknownValue},
		"step of 6":    {PieceQuestion{FiredMM: mm(62), Step: mm(6), Rates: r}, "step_mm", tiles.OutOfRange},
	} {
		t.Run(name, func(t *testing.T) {
			_, err := c.q.Check(UsualDefaults())
			wants(t, err, c.field, c.kind)
		})
	}
}

// Canisters in one another: 88 % left of 100 and 106 is 5.28 of room.
func TestNest(t *testing.T) {
	p := shrinkage.Pair{R: [2]tiles.LogPercent{tiles.LogPercent(-100 * math.Log(0.88)),
		tiles.LogPercent(-100 * math.Log(0.88))}, Piece: both(0.04, 0), Nu: math.Inf(1)}
	gaps, err := Nest([]Nested{{100, 90}, {116, 106}, {130, 116.5}}, p, 0.3)
	if err != nil || len(gaps) != 2 {
		t.Fatal(gaps, err)
	}
	near(t, "room", float64(gaps[0].Play), 5.28, 1e-9)
	near(t, "little room", float64(gaps[1].Play), 0.44, 1e-9)
	sd := math.Sqrt(2*square(0.264) + 0.002*0.002*(square(116*0.88)+square(116.5*0.88)))
	near(t, "worst", float64(gaps[1].Worst), 0.44-1.6449*sd, 1e-3)
	near(t, "chance of any room", gaps[1].Fits, normalCDF(0.44/sd), 1e-6)
	for name, set := range map[string][]Nested{"one": {{100, 90}}, "swapped": {{90, 100}, {116, 106}},
		"too small": {{100, 90}, {110, 99}}} {
		if _, err := Nest(set, p, 0.3); err == nil {
			t.Errorf("%s: nests", name)
		}
	}
	one := ShareLid(Inset, []tiles.Millimetre{104, 105, 106}, 103, p, UsualDefaults())
	near(t, "one lid, narrowest pot", float64(one.Least), 0.88, 1e-9)
	near(t, "one lid, widest pot", float64(one.Most), 2.64, 1e-9)
	near(t, "its galleries may differ by", float64(one.Spread), 1.5/0.88, 1e-9)
	if one.Fits() || !strings.Contains(one.Says(tiles.MM).String(), "differ by more than 1.7") {
		t.Error(one.Says(tiles.MM))
	}
	near(t, "a cap on necks", float64(ShareLid(Cap, []tiles.Millimetre{100, 101}, 103, p,
		UsualDefaults()).Least), 1.76, 1e-9)
	if two := ShareLid(Inset, []tiles.Millimetre{104.5, 105}, 103, p, UsualDefaults()); !two.Fits() {
		t.Error(two.Says(tiles.MM))
	}
}

// 1 litre from a form of 0.5: every length times the cube root of 2.
func TestScale(t *testing.T) {
	s, err := Scale([]tiles.Millimetre{100, 62}, 500, 1000)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "height", float64(s[0]), 125.992, 1e-3)
	near(t, "mouth", float64(s[1]), 78.115, 1e-3)
	if _, err := Scale(nil, 0, 1000); err == nil {
		t.Error("scaled from nothing")
	}
}

// Learned accuracy by hand: 12 lids, each 0.3 over what was told. Pooled bias 3.6/(12 + 0.34/0.09) =
// 0.2282; both^2 = (8 x 0.34 + 12 (0.3 - 0.2282)^2)/20 = 0.1391.
func TestLearnAccuracy(t *testing.T) {
	none := LearnAccuracy(nil, shrinkage.Misread{})
	near(t, "throwing before any lid", float64(none.ThrowSD), 0.5, 1e-9)
	near(t, "measuring before any lid", float64(none.MeasureSD), 0.3, 1e-9)
	if UsualDefaults().Learned(none).Accuracy != "default" {
		t.Error("learned from nothing")
	}
	var lids []Told
	for range 12 {
		lids = append(lids, Told{102.5, 102.8})
	}
	a := LearnAccuracy(lids, shrinkage.Misread{})
	near(t, "bias", float64(a.Bias), 0.2282, 1e-4)
	near(t, "throwing", float64(a.ThrowSD), math.Sqrt(0.1391-0.09), 1e-3)
	// Two readings 0.2 apart, ten times: (8 x 0.09 + 10 x 0.02)/18.
	var repeats shrinkage.Misread
	for range 10 {
		repeats = repeats.With(shrinkage.Repeated([]tiles.Millimetre{104.4, 104.6}))
	}
	a = LearnAccuracy(lids, repeats)
	near(t, "measuring", float64(a.MeasureSD), math.Sqrt(0.92/18), 1e-9)
	d := UsualDefaults().Learned(a)
	if d.Accuracy != "learned" || d.ThrowSD != a.ThrowSD {
		t.Errorf("%+v", d)
	}
	q, err := Question{Collar: []tiles.Millimetre{100}, BodyRates: rates(0.06, 0.07)}.Check(d)
	if err != nil || q.Accuracy != "learned" || *q.ThrowSD != a.ThrowSD {
		t.Errorf("%v %s", err, q.Accuracy)
	}
}
