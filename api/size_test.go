package api

import (
	"math"
	"strings"
	"testing"

	"lidwright/api/wire"
	"lidwright/tiles"
	"lidwright/tiles/lid"
)

// Sizes worked by hand from stated rates: 6 % and 7 % leave 0.94 x 0.93 = 0.8742 of the wet length.
// 62/0.8742 = 70.9220; 100 x 0.8742 = 87.42. Capacity by the cube: 0.88 of 12 % leaves 0.681472, so
// a fired litre is 1467.4 ml wet (product of three ratios, exact). A cork of 24 with 0.5 play wants
// a fired hole of 24.5: 28.0256 wet.
func TestWorkedSizes(t *testing.T) {
	s := testStudio(t)
	rates := "&drying_ratio=0.06&firing_ratio=7%25"
	for _, c := range []struct {
		query string
		want  float64
		of    func(wire.Size) *float64
	}{
		{"fired=62" + rates + "&step=0", 62 / 0.8742, func(j wire.Size) *float64 { return j.UnroundedMM }},
		{"wet_mm=100" + rates + "&step=0", 87.42, func(j wire.Size) *float64 { return j.FiredMM }},
		{"fired=62&stage=dry" + rates + "&step_mm=0", 62 / 0.93,
			func(j wire.Size) *float64 { return j.UnroundedMM }},
		{"fired=62&stage=leather&leather_ratio=0.035" + rates + "&step_mm=0", 62 / 0.8742 * 0.965,
			func(j wire.Size) *float64 { return j.UnroundedMM }},
		{"fired_ml=1000&drying_ratio=0.12&firing_ratio=0", 1467.4,
			func(j wire.Size) *float64 { return j.WetML }},
		{"wet_ml=1467.4&drying_ratio=0.12&firing_ratio=0", 1000.0,
			func(j wire.Size) *float64 { return j.FiredML }},
		{"fired=24&part=hole&play=0.5&step=0" + rates, 24.5 / 0.8742,
			func(j wire.Size) *float64 { return j.UnroundedMM }},
		{"fired=24&part=plug&play=0.5&step=0" + rates, 23.5 / 0.8742,
			func(j wire.Size) *float64 { return j.UnroundedMM }},
		{"fired=2.5in" + rates + "&step=0", 63.5 / 0.8742, func(j wire.Size) *float64 {
			return j.UnroundedMM
		}},
	} {
		var j wire.Size
		said := s.get("/v1/size?"+c.query, 200, &j)
		if got := c.of(j); got == nil || math.Abs(*got-c.want) > 0.05 && j.UnroundedMM == nil ||
			j.UnroundedMM != nil && math.Abs(*got-c.want) > 0.005 {
			t.Errorf("%s: want %.4f\n%s", c.query, c.want, said)
		}
	}
	var j wire.Size
	s.get("/v1/size?fired=62&leather_ratio=0.035&step=0"+rates, 200, &j)
	// no bisque: its rate was not stated
	want := map[string]float64{"wet": 70.92, "leather": 68.44, "dry": 66.67, "fired": 62}
	if len(j.Stages) != len(want) {
		t.Errorf("%+v", j.Stages)
	}
	for _, st := range j.Stages {
		if math.Abs(*st.MM-want[st.Stage]) > 0.006 {
			t.Errorf("%s %.2f, want %.2f", st.Stage, *st.MM, want[st.Stage])
		}
	}
	// one figure, one rounding: the fired one to the step, the wet one as it was typed
	s.get("/v1/size?wet=70.9"+rates, 200, &j)
	if len(j.Stages) != 3 || *j.Stages[0].MM != 70.9 || *j.Stages[2].MM != *j.FiredMM || *j.FiredMM != 62 {
		t.Errorf("70.9 wet becomes %g; at each stage %+v", *j.FiredMM, j.Stages)
	}
	s.get("/v1/size?fired=62&clay=tern", 200, &j)
	if *j.Stages[0].MM != *j.WetMM {
		t.Errorf("%g wet is told as %g", *j.WetMM, *j.Stages[0].MM)
	}
	if j.Asked.Rates != "clay" || *j.Asked.Clay != "tern/B" || len(j.Stages) != 5 || j.Trust != "no_bars" ||
		!strings.Contains(strings.Join(j.Cautions, " "), lid.NoUsualYet) {
		t.Errorf("%+v", j)
	}
	if text := s.get("/v1/size?fired=62"+rates+"&step=0.1", 200, nil); !strings.Contains(text,
		`"wet_mm":70.9,`) {
		t.Error(text)
	}
}

func TestSizesThatCannotBe(t *testing.T) {
	s := testStudio(t)
	for query, want := range map[string]string{
		"":                                   "fired_mm",
		"fired_ml=0&clay=tern":               "out-of-range",
		"fired_ml=-5&clay=tern":              "out-of-range",
		"fired_ml=NaN&clay=tern":             "out-of-range",
		"fired_ml=1e9&clay=tern":             "out-of-range",
		"fired=62&wet=70&clay=tern":          "given-twice",
		"fired=62&fired_mm=62":               "given-twice",
		"fired=62":                           "missing",
		"fired=62&clay=wren":                 "unknown-clay",
		"fired=62&drying_ratio=0.06":         "rate-missing",
		"fired=6&part=plug&play=7&clay=tern": "out-of-range",
		"wet=6&part=hole&clay=tern":          "missing",
		"fired=62&play=1&clay=tern":          "unknown-parameter",
		"fired=0.2&clay=tern":                "unit-unclear",
		"fired=1.234,5&clay=tern":            "length-unreadable",
		"fired=62&clay=tern&colour=red":      "unknown-parameter",
		"fired=62&clay=tern&stage=fired":     "unknown-value",
	} {
		status := 422
		if want == "unknown-clay" {
			status = 404
		}
		if said := s.get("/v1/size?"+query, status, nil); !strings.Contains(said, want) {
			t.Errorf("%q: %s", query, said)
		}
	}
	for path, want := range map[string]string{
		"/v1/size/nest?outside=90&inside=84&outside=80&inside=75&clay=tern":  "cannot nest",
		"/v1/size/nest?outside=90&inside=94&outside=100&inside=99&clay=tern": "swapped",
		"/v1/size/nest?outside=90&inside=84&outside=100&clay=tern":           "each pot has both",
		"/v1/size/nest?outside=90&inside=84&clay=tern":                       "two pots or more",
		"/v1/size/shared?collar=104&clay=tern":                               "the width of the one lid",
		"/v1/size/shared?lid=104&clay=tern":                                  "once for each pot",
		"/v1/size/scale?length=104&was_ml=0&fired_ml=900":                    "was_ml",
		"/v1/size/scale?length=104&was_ml=900&fired_ml=0":                    "fired_ml",
		"/v1/size/scale?was_ml=500&fired_ml=900":                             "length",
	} {
		if said := s.get(path, 422, nil); !strings.Contains(said, want) {
			t.Errorf("%s: %s", path, said)
		}
	}
	s.get("/v1/size/scale?pot="+s.id("p", 404)+"&was_ml=500&fired_ml=900", 404, nil)
}

// Sets by hand, with 12 % exact: 100 in 104.5 leaves 4.5 x 0.88 = 3.96 mm. A form of 500 ml grows to
// a litre by the cube root of 2.
func TestSets(t *testing.T) {
	s := testStudio(t)
	exact := "&drying_ratio=0.12&firing_ratio=0&doubt_ratio=0"
	var nest wire.Nest
	s.get("/v1/size/nest?outside=100&inside=95&outside=112&inside=104.5&outside=125&inside=118"+exact, 200,
		&nest)
	if len(nest.Gaps) != 2 || math.Abs(*nest.Gaps[0].PlayMM-3.96) > 0.005 || *nest.Gaps[0].WorstMM >= 3.96 ||
		math.Abs(*nest.Gaps[1].PlayMM-5.28) > 0.005 ||
		!strings.Contains(nest.Says.String(), "pot 1 in pot 2") {
		t.Errorf("%+v", nest)
	}
	var shared wire.Shared
	s.get("/v1/size/shared?collar=104.5&collar=105&lid=103"+exact, 200, &shared)
	if !shared.Fits || math.Abs(*shared.LeastPlayMM-1.32) > 0.005 ||
		math.Abs(*shared.MostPlayMM-1.76) > 0.005 {
		t.Errorf("%+v", shared)
	}
	pot := s.pots(1, 1, 104.5, 92.5, 102.5, 102.5)[0]
	var scale wire.Scale
	s.get("/v1/size/scale?pot="+pot+"&was_ml=500&fired_ml=1000", 200, &scale)
	if math.Abs(*scale.Times-1.2599) > 1e-4 || len(scale.Lengths) != 2 ||
		math.Abs(*scale.Lengths[0].MM-131.66) > 0.01 {
		t.Errorf("%+v", scale)
	}
	for _, page := range []string{"/sizes", "/sizes?fired=62&clay=tern", "/sizes?fired_ml=900&clay=tern",
		"/sizes?what=nest&outside=100&inside=95&outside=112&inside=104.5&clay=tern",
		"/sizes?what=shared&collar=104.5&lid=103&clay=tern", "/sizes?what=scale&pot=" + pot +
			"&was_ml=500&fired_ml=1000"} {
		if said := s.get(page, 200, nil); !strings.Contains(said, tiles.MM.Format(0)[5:]) ||
			!strings.Contains(said, "Throw a spare") {
			t.Errorf("%s lacks its units or its caution", page)
		}
	}
	if said := s.get("/sizes?fired_ml=0&clay=tern", 422, nil); !strings.Contains(said, `value="0"`) {
		t.Error("a refused size is not shown again")
	}
}
