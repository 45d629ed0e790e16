package lid

import (
	"encoding/csv"
	"errors"
	"fmt"
	"math"
	"os"
	"slices"
	"strconv"
	"testing"

	"lidwright/kiln"
	"lidwright/kiln/message"
	"lidwright/tiles"
	"lidwright/tiles/shrinkage"
)

func mm(v float64) *tiles.Millimetre { l := tiles.Millimetre(v); return &l }
func share(v float64) *tiles.Ratio   { r := tiles.Ratio(v); return &r }

// near fails unless got is want, give or take.
func near(t *testing.T, what string, got, want, give float64) {
	t.Helper()
	if !(math.Abs(got-want) <= give) {
		t.Errorf("%s: %.5f, want %.5f ± %g", what, got, want, give)
	}
}

// sized answers q with stated rates alone.
func sized(t *testing.T, asked Question) Answer {
	t.Helper()
	q, err := asked.Check(UsualDefaults())
	if err != nil {
		t.Fatal(err)
	}
	known, err := q.Know(nil, Firing{}, shrinkage.SoFar{})
	if err != nil {
		t.Fatal(err)
	}
	a, err := Size(q, known)
	if err != nil {
		t.Fatal(err)
	}
	return a
}

// The limits of a set width are told inwards to the step: the lower rounded up, the upper down; without a
// step, and where none lies between them, as they are.
func TestLimitsInwardsToTheStep(t *testing.T) {
	for _, step := range []float64{0, 0.1, 0.5, 5} {
		a := sized(t, Question{Collar: []tiles.Millimetre{104.3}, Opening: 92, Step: mm(step),
			BodyRates: shrinkage.StatedRates{Drying: share(0.06), Firing: share(0.07)}})
		under, over := float64(a.Limits[0]), float64(a.Limits[1])
		first, last := math.Ceil(under/step)*step, math.Floor(over/step)*step
		if step == 0 || first > last {
			first, last = under, over
		}
		if !(under < over) {
			t.Fatalf("limits %v", a.Limits)
		}
		near(t, fmt.Sprint("not under, to ", step), float64(a.NotUnder), first, 1e-9)
		near(t, fmt.Sprint("not over, to ", step), float64(a.NotOver), last, 1e-9)
		if set := float64(a.Set); !(set >= under-1e-9 && set <= over+1e-9) {
			t.Errorf("to %v: set to %v, outside %v", step, set, a.Limits)
		}
	}
}

// Every row of testdata/lids.csv, asked for the width, for the gap of that width, and for the
// gallery of that lid. 0.001 mm is what the file asks for.
func TestWorkedLids(t *testing.T) {
	file, err := os.Open("testdata/lids.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	rows, err := csv.NewReader(file).ReadAll()
	if err != nil || len(rows) != 5 {
		t.Fatalf("%d rows, %v", len(rows), err)
	}
	for _, row := range rows[1:] {
		cell := func(name string) string { return row[slices.Index(rows[0], name)] }
		unit := 1.0
		if cell("unit") == "in" {
			unit = 25.4
		}
		length := func(name string) float64 {
			v, err := strconv.ParseFloat(cell(name), 64)
			if err != nil {
				t.Fatal(cell("id"), name, err)
			}
			return v * unit
		}
		percent := func(name string) *tiles.Ratio {
			if cell(name) == "" {
				return nil
			}
			v, _ := strconv.ParseFloat(cell(name), 64)
			return share(v / 100)
		}
		stage := func(name string) tiles.Stage {
			if cell(name) == "glaze" {
				return tiles.Fired
			}
			return tiles.Stage(cell(name))
		}
		q := Question{
			Collar:      []tiles.Millimetre{tiles.Millimetre(length("gallery_measured"))},
			CollarStage: stage("gallery_stage"), LidStage: stage("lid_stage"),
			Play: mm(length("target_gap")),
			BodyRates: shrinkage.StatedRates{Drying: percent("body_dry_pct"),
				Leather: percent("body_leather_pct"), Bisque: percent("body_bisque_pct"),
				Firing: percent("body_fire_pct")},
			LidRates: shrinkage.StatedRates{Drying: percent("lid_dry_pct"),
				Leather: percent("lid_leather_pct"), Bisque: percent("lid_bisque_pct"),
				Firing: percent("lid_fire_pct")},
		}
		id := cell("id")
		a := sized(t, q)
		near(t, id+" lid wet", float64(a.Unrounded), length("lid_wet"), 0.001)
		near(t, id+" gallery fired", float64(a.Fired.Collar), length("gallery_final"), 0.001)
		if wrong := cell("lid_wet_if_gallery_taken_as_wet"); wrong != "" {
			if v, _ := strconv.ParseFloat(wrong, 64); math.Abs(float64(a.Unrounded)-v) < 1 {
				t.Errorf("%s: %.4f, the width for a gallery taken as wet", id, a.Unrounded)
			}
		}
		gap := q
		gap.Play, gap.Lid = nil, a.Unrounded
		near(t, id+" gap", float64(sized(t, gap).Fired.Play), length("target_gap"), 0.001)
		if q.CollarStage == tiles.Fired {
			continue // a fired gallery is not thrown
		}
		inverse := q
		inverse.Collar, inverse.Lid = nil, a.Unrounded
		near(t, id+" gallery", float64(sized(t, inverse).Unrounded), length("gallery_measured"), 0.001)
	}
}

func ExampleSize() {
	// testdata/lids.csv S1: 96 mm wet, 6 % drying, 7 % firing on the dry length, play 1.5 mm fired:
	// (96 x 0.94 x 0.93 - 1.5) / (0.94 x 0.93) = 94.2841 mm.
	asked := Question{Collar: []tiles.Millimetre{96}, Play: mm(1.5),
		BodyRates: shrinkage.StatedRates{Drying: share(0.06), Firing: share(0.07)}}
	q, _ := asked.Check(UsualDefaults())
	known, _ := q.Know(nil, Firing{}, shrinkage.SoFar{})
	a, _ := Size(q, known)
	fmt.Printf("%.4f mm\n%s\n", a.Unrounded, a.Says(tiles.MM))
	// Output:
	// 94.2841 mm
	// Set 94.0 mm; not over 94.5, not under 93.5.
}

// tern is the clay of the worked answers: 12.4 % whatever the heat, known without doubt;
// pieces differ by 0.20, places and loads not at all.
type tern struct{ nu, rate float64 }

func (c tern) Pair(body, lid shrinkage.Ask, together shrinkage.Together) (shrinkage.Pair, error) {
	p := shrinkage.Pair{Nu: c.nu}
	for i, a := range []shrinkage.Ask{body, lid} {
		p.Standing[i] = shrinkage.Standing{Trust: shrinkage.WellTested,
			Why: message.Plain("14 bars in 4 loads, last 6 days ago"), NearestTested: kiln.NoTemperature()}
		if a.Stage == tiles.Wet {
			p.R[i], p.Piece[i][i] = tiles.LogPercent(-100*math.Log(0.876)), 0.04
		}
	}
	v := c.rate * c.rate
	p.Rate = shrinkage.Spread2{{v, v}, {v, v}}
	return p, nil
}

// asked answers q for the clay tern with the lid difference of the worked answers.
func asked(t *testing.T, q Question) Answer {
	t.Helper()
	q.Body = tiles.BatchRef{Clay: "tern", Batch: "B"}
	checked, err := q.Check(UsualDefaults())
	if err != nil {
		t.Fatal(err)
	}
	known, err := checked.Know(tern{nu: math.Inf(1)}, Firing{}, shrinkage.SoFar{})
	if err != nil {
		t.Fatal(err)
	}
	known.Part = &Difference{SD: 0.2625, Low: -0.43, High: 0.43, Fits: 4}
	a, err := Size(checked, known)
	if err != nil {
		t.Fatal(err)
	}
	return a
}

// The worked answers, with the variance parts named there. Sizes are exact, chances and doubts
// as rounded there.
func TestUsualLedge(t *testing.T) {
	a := asked(t, Question{Collar: []tiles.Millimetre{104.5}, Opening: 92.5, Together: shrinkage.InPlace})
	near(t, "set", float64(a.Set), 102.5, 1e-9)
	near(t, "unrounded", float64(a.Unrounded), 102.5023, 5e-5)
	near(t, "not over", float64(a.NotOver), 103, 1e-9)
	near(t, "not under", float64(a.NotUnder), 102, 1e-9)
	near(t, "not under, unrounded", float64(a.Limits[0]), 101.65, 0.005)
	near(t, "not over, unrounded", float64(a.Limits[1]), 103.36, 0.005)
	near(t, "chance", a.FitChance, 0.77, 0.005)
	near(t, "collar fired", float64(a.Fired.Collar), 91.54, 0.005)
	near(t, "lid fired", float64(a.Fired.Lid), 89.79, 0.005)
	near(t, "play", float64(a.Fired.Play), 1.7520, 5e-5)
	near(t, "likely", float64(a.Fired.Likely[0]), 0.74, 0.005)
	near(t, "likely", float64(a.Fired.Likely[1]), 2.77, 0.005)
	near(t, "least bearing", float64(a.Fired.LeastBearing), 3.50, 0.005)
	near(t, "piece", float64(a.Doubt.Piece), 0.26, 0.005)
	near(t, "reading", float64(a.Doubt.Reading), 0.26, 0.005)
	near(t, "throwing", float64(a.Doubt.Throwing), 0.44, 0.005)
	near(t, "lid difference", float64(a.Doubt.LidDifference), 0.24, 0.005)
	near(t, "rate", float64(a.Doubt.Rate), 0, 0.005)
	near(t, "one of two", a.Spread[1].FitChance, 0.93, 0.005)
	if got := fmt.Sprint(a.Spread[1].Sizes); got != "[102.5 102.5]" {
		t.Errorf("two lids %s", got)
	}
	if len(a.Also) != 1 || a.Also[0].Part != "locating_flange" || a.Also[0].NotOver != 90.5 {
		t.Errorf("also %+v", a.Also)
	}
	if a.LimitsBy[1].String() != "play at least 1.0 mm" || a.LimitsBy[0].String() != "play at most 2.5 mm" {
		t.Errorf("limits from %v", a.LimitsBy)
	}
	if a.Trust != shrinkage.WellTested || !a.HeldBack.IsZero() || !slices.Equal(a.Cautions,
		[]string{ShrinkVaries}) {
		t.Errorf("trust %s, held back %q, cautions %v", a.Trust, a.HeldBack, a.Cautions)
	}
	three := asked(t, Question{Collar: []tiles.Millimetre{104.5}, Opening: 92.5,
		Together: shrinkage.InPlace, Lids: 3}).Spread[2]
	// worked at a lid difference of 0.27; the draws below judge
	near(t, "one of three", three.FitChance, 0.97, 0.006)
	if got := fmt.Sprint(three.Sizes); got != "[102 102.5 103]" {
		t.Errorf("three lids %s", got)
	}
}

func TestNarrowLedge(t *testing.T) {
	q := Question{Collar: []tiles.Millimetre{104.5}, Opening: 98, LeastPlay: mm(0.5), MostPlay: mm(2),
		MeasureSD: mm(0.15), ThrowSD: mm(0.15), Step: mm(0.1)}
	a := asked(t, q)
	near(t, "set", float64(a.Set), 103.1, 1e-9)
	near(t, "unrounded", float64(a.Unrounded), 103.1604, 5e-5)
	near(t, "not over", float64(a.NotOver), 103.9, 1e-9)
	near(t, "not under", float64(a.NotUnder), 102.4, 1e-9)
	near(t, "chance", a.FitChance, 0.91, 0.005)
	near(t, "lid fired", float64(a.Fired.Lid), 90.32, 0.005)
	near(t, "play", float64(a.Fired.Play), 1.2264, 5e-5)
	near(t, "likely", float64(a.Fired.Likely[0]), 0.57, 0.005)
	near(t, "likely", float64(a.Fired.Likely[1]), 1.88, 0.005)
	near(t, "least bearing", float64(a.Fired.LeastBearing), 1.62, 0.005)
	near(t, "reading", float64(a.Doubt.Reading), 0.13, 0.005)
	near(t, "throwing", float64(a.Doubt.Throwing), 0.13, 0.005)
	// worked for 102.8 and 103.4; the search finds better
	near(t, "one of two", a.Spread[1].FitChance, 0.98, 0.01)
	if got := a.LimitsBy[0].String(); got != "bearing at least 1.0 mm when pushed to one side" {
		t.Errorf("under from %s", got)
	}
	q.MeasureSD, q.ThrowSD, q.Step = nil, nil, nil
	a = asked(t, q)
	near(t, "set at the defaults", float64(a.Set), 103, 1e-9)
	near(t, "chance at the defaults", a.FitChance, 0.71, 0.005)
}

func TestStatedOneLid(t *testing.T) {
	a := sized(t, Question{Collar: []tiles.Millimetre{96}, Play: mm(1.5), Lids: 1,
		BodyRates: shrinkage.StatedRates{Drying: share(0.06), Firing: share(0.07)}})
	near(t, "set", float64(a.Set), 94, 1e-9)
	near(t, "chance", a.FitChance, 0.79, 0.005)
	near(t, "collar", float64(a.Fired.Collar), 83.92, 0.005)
	near(t, "play", float64(a.Fired.Play), 1.7484, 5e-5)
	near(t, "likely", float64(a.Fired.Likely[0]), 0.76, 0.005)
	near(t, "likely", float64(a.Fired.Likely[1]), 2.74, 0.005)
	if !math.IsNaN(float64(a.Fired.LeastBearing)) || len(a.Spread) != 1 || a.Trust != shrinkage.NoBars ||
		a.TrustWhy.String() != "rates stated in the question" {
		t.Errorf("bearing %v, spread %v, trust %s %q", a.Fired.LeastBearing, a.Spread, a.Trust, a.TrustWhy)
	}
	if !slices.Equal(a.Cautions, []string{RatesStated, LedgeNotGiven, ShrinkVaries}) {
		t.Errorf("cautions %v", a.Cautions)
	}
	gap := sized(t, Question{Collar: []tiles.Millimetre{96}, Lid: 94.3,
		BodyRates: shrinkage.StatedRates{Drying: share(0.06), Firing: share(0.07)}})
	near(t, "gap of 94.3", float64(gap.Fired.Play), 1.4861, 5e-5)
	if !math.IsNaN(float64(gap.Set)) || !math.IsNaN(float64(gap.Unrounded)) || gap.Spread != nil ||
		gap.Question != AskGap {
		t.Errorf("gap: %+v", gap)
	}
}

func TestGalleryForALid(t *testing.T) {
	a := asked(t, Question{Lid: 103})
	near(t, "unrounded", float64(a.Unrounded), 104.9977, 5e-5)
	near(t, "set", float64(a.Set), 105, 1e-9)
	near(t, "not under", float64(a.NotUnder), 104.5, 1e-9)
	near(t, "not over", float64(a.NotOver), 105.5, 1e-9)
	if a.Question != AskGallery || len(a.Also) != 1 || a.Also[0].Part != "opening" ||
		a.Also[0].NotOver != 98.5 {
		t.Errorf("%s, also %+v", a.Question, a.Also)
	}
	exact := asked(t, Question{Lid: 103, Step: mm(0)})
	near(t, "opening", float64(exact.Also[0].NotOver), 98.72, 0.005)
	fired := asked(t, Question{Lid: 90.32, LidStage: tiles.Fired, LeastPlay: mm(1), MostPlay: mm(2.5)})
	near(t, "fired lid", float64(fired.Unrounded), 105.10, 0.005)
	near(t, "fired lid, not under", float64(fired.Limits[0]), 104.25, 0.005)
	near(t, "fired lid, not over", float64(fired.Limits[1]), 105.96, 0.005)
}

// wants fails unless err names the field with that type of fault.
func wants(t *testing.T, err error, field, kind string) {
	t.Helper()
	var all tiles.InvalidFields
	if !errors.As(err, &all) {
		t.Errorf("want %s of %s, got %v", kind, field, err)
		return
	}
	for _, one := range all {
		if one.Field == field && one.Type == kind && one.Why.String() != "" {
			return
		}
	}
	t.Errorf("want %s of %s, got %v", kind, field, err)
}
