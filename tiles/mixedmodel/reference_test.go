package mixedmodel

import (
	"encoding/csv"
	"fmt"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"
)

// table reads a file of testdata: its columns by name.
func table(t *testing.T, name string) map[string][]string {
	t.Helper()
	f, err := os.Open("testdata/" + name)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	out := map[string][]string{}
	for j, head := range rows[0] {
		for _, row := range rows[1:] {
			out[head] = append(out[head], row[j])
		}
	}
	return out
}

func numbers(t *testing.T, texts []string) []float64 {
	t.Helper()
	out := make([]float64, len(texts))
	for i, s := range texts {
		v, err := strconv.ParseFloat(s, 64)
		if err != nil {
			t.Fatal(err)
		}
		out[i] = v
	}
	return out
}

// digits is -log10 of the relative error, at most 15.
func digits(got, want float64) float64 {
	if want == 0 {
		want, got = 1, 1+got // certified zero: absolute
	}
	return min(15, -math.Log10(math.Abs(got-want)/math.Abs(want)))
}

// TestLeastSquaresCertified: NIST Statistical Reference Datasets, linear least squares. The
// digits asked of each set are those of testdata/README.md.
func TestLeastSquaresCertified(t *testing.T) {
	certified := table(t, "strd_linear_certified.csv")
	for _, c := range []struct {
		set    string
		power  int // a polynomial of this power in x; 0: columns x1 ... x6
		digits float64
	}{{"norris", 1, 13}, {"longley", 0, 14}, {"filip", 10, 7}, {"wampler1", 5, 15}, {"wampler2", 5, 13},
		{"wampler3", 5, 14.5}, {"wampler4", 5, 14.5},
		{"wampler5", 5, 13.5}} {
		data := table(t, "strd_"+c.set+".csv")
		y := numbers(t, data["y"])
		x := make([][]float64, len(y))
		for i := range x {
			x[i] = []float64{1}
			for p := 1; p <= c.power; p++ {
				v, _ := strconv.ParseFloat(data["x"][i], 64)
				x[i] = append(x[i], math.Pow(v, float64(p)))
			}
			for j := 1; c.power == 0 && j <= 6; j++ {
				v, _ := strconv.ParseFloat(data[fmt.Sprintf("x%d", j)][i], 64)
				x[i] = append(x[i], v)
			}
		}
		got, err := LeastSquares(x, y)
		if err != nil {
			t.Errorf("%s: %v", c.set, err)
			continue
		}
		worst, checked := 15.0, 0
		for i, set := range certified["dataset"] {
			if set != c.set {
				continue
			}
			name := certified["parameter"][i]
			want, _ := strconv.ParseFloat(certified["certified"][i], 64)
			var value float64
			switch {
			case name == "resid_sd":
				value = got.ResidualSD
			case name == "r_squared":
				value = got.R2
			case name == "df":
				value = float64(got.DF)
			default:
				j, err := strconv.Atoi(strings.TrimPrefix(name, "b"))
				if err != nil {
					t.Fatalf("parameter %q", name)
				}
				value = got.Coef[j]
				// whole numbers, nothing rounded
				if whole := c.power == 5 && c.set != "wampler2"; whole && digits(value, want) < 15 {
					t.Errorf("%s: %s is %v, not to 15 digits", c.set, name, value)
				}
				if se, err := strconv.ParseFloat(certified["std_dev"][i], 64); err == nil && se != 0 {
					if d := digits(got.SE[j], se); d < c.digits-2 {
						t.Errorf("%s: sd of %s is %v, certified %v", c.set, name, got.SE[j], se)
					}
				}
			}
			checked++
			d := digits(value, want)
			worst = min(worst, d)
			if d < c.digits {
				t.Errorf("%s: %s is %.15g, certified %.15g: %.1f digits", c.set, name, value, want, d)
			}
		}
		if checked < 4 {
			t.Errorf("%s: only %d certified values", c.set, checked)
		}
		t.Logf("%s: %.1f digits", c.set, worst)
	}
}

// references are the mixed models of reml_reference.csv.
func references(t *testing.T) map[string]Data {
	ones := func(n int) [][]float64 {
		x := make([][]float64, n)
		for i := range x {
			x[i] = []float64{1}
		}
		return x
	}
	with := func(x [][]float64, v []float64) [][]float64 {
		out := make([][]float64, len(x))
		for i := range x {
			out[i] = append(append([]float64(nil), x[i]...), v[i])
		}
		return out
	}
	dye, pen, sleep, oats := table(t, "dyestuff.csv"), table(t, "penicillin.csv"), table(t,
		"sleepstudy.csv"), table(t, "oats.csv")
	days, nitro := numbers(t, sleep["Days"]), numbers(t, oats["nitro"])
	one := ones(len(days))
	nested := make([]string, len(nitro))
	for i := range nested {
		nested[i] = oats["Variety"][i] + ":" + oats["Block"][i]
	}
	reaction := numbers(t, sleep["Reaction"])
	return map[string]Data{
		"Yield ~ 1 + (1|Batch)": {numbers(t, dye["Yield"]), ones(len(dye["Yield"])),
			[]Term{{Name: "Batch", Group: dye["Batch"]}}},
		"diameter ~ 1 + (1|plate) + (1|sample)": {numbers(t, pen["diameter"]), ones(len(pen["plate"])),
			[]Term{{Name: "plate", Group: pen["plate"]}, {Name: "sample", Group: pen["sample"]}}},
		"Reaction ~ Days + (1|Subject) + (0+Days|Subject)": {reaction, with(one, days),
			[]Term{{Name: "Subject", Group: sleep["Subject"]}, {Name: "Subject", Group: sleep["Subject"],
				Slopes: with(make([][]float64, len(days)), days)}}},
		"Reaction ~ Days + (Days|Subject)": {reaction, with(one, days),
			[]Term{{Name: "Subject", Group: sleep["Subject"], Slopes: with(one, days)}}},
		"yield ~ nitro + (1|Block/Variety)": {numbers(t, oats["yield"]), with(ones(len(nitro)), nitro),
			[]Term{{Name: "Variety:Block", Group: nested}, {Name: "Block", Group: oats["Block"]}}},
	}
}

// named is the value of f that reml_reference.csv calls by this name.
func named(model string, d Data, f MixedFit, quantity string) (float64, bool) {
	coef := map[string]int{"Intercept": 0, "Days": 1, "nitro": 1}
	p := strings.Split(quantity, ".")
	switch p[0] {
	case "reml_criterion":
		return f.Criterion, true
	case "beta":
		return f.Beta[coef[p[1]]], true
	case "se":
		return f.SE[coef[p[1]]], true
	case "satterthwaite_df":
		return f.DF[coef[p[1]]], true
	case "corr":
		c := f.Covariance[0]
		return c[0][1] / math.Sqrt(c[0][0]*c[1][1]), true
	case "var":
		if p[1] == "Residual" {
			return f.Residual, true
		}
	}
	apart := strings.Contains(model, "0+Days")
	for i, t := range d.Terms {
		if t.Name != p[1] || apart && (i == 1) != (p[2] == "Days") {
			continue
		}
		which := coef[p[2]]
		if apart {
			which = 0
		}
		if p[0] == "var" {
			return f.Covariance[i][which][which], true
		}
		level := strings.Join(p[3:], ".")
		for l, name := range f.Levels[i] {
			if name == level {
				return f.Modes[i][l][which], true
			}
		}
	}
	return 0, false
}

// TestMixedReferences walks every row of reml_reference.csv: lme4, nlme, lmerTest and exact
// analyses of variance (sources in testdata/README.md), each to the tolerance beside it.
func TestMixedReferences(t *testing.T) {
	rows := table(t, "reml_reference.csv")
	fits := map[string]MixedFit{}
	data := references(t)
	worst := map[string]float64{}
	for i, model := range rows["model"] {
		d, known := data[model]
		if !known {
			t.Fatalf("no model %q", model)
		}
		f, done := fits[model]
		if !done {
			var err error
			if f, err = Mixed(t.Context(), d); err != nil {
				t.Fatalf("%s: %v", model, err)
			}
			fits[model] = f
		}
		text := rows["exact"][i]
		if text == "" {
			text = rows["value"][i]
		}
		want, _ := strconv.ParseFloat(text, 64)
		tol, _ := strconv.ParseFloat(rows["rel_tol"][i], 64)
		got, known := named(model, d, f, rows["quantity"][i])
		if !known {
			t.Errorf("%s: nothing called %s", model, rows["quantity"][i])
			continue
		}
		off := math.Abs(got-want) / math.Abs(want)
		kind := model + " " + strings.Split(rows["quantity"][i], ".")[0]
		worst[kind] = max(worst[kind], off)
		if off > tol {
			t.Errorf("%s: %s is %.9g, reference %.9g (%.1e relative, %g allowed)", model,
				rows["quantity"][i], got, want, off, tol)
		}
	}
	for kind, off := range worst {
		t.Logf("%-70s %.1e", kind, off)
	}
	for model, f := range fits {
		t.Logf("%s: %d evaluations", model, f.Steps)
	}
}
