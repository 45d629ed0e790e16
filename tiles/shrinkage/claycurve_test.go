package shrinkage_test

import (
	"encoding/csv"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"

	"lidwright/kiln"
	"lidwright/tiles"
	"lidwright/tiles/shrinkage"
)

// The kaolins lose 3.5 and 5 % by 950 °C already (kaolin gives off its water there), seven
// times what the handbook's foot allows at one sd; the shale's printed figures go 8.2, 5.7,
// 15.7 % within 200 °C. Of these the fit owes doubt, not a good residual.
const (
	kaolin1 = "Edgar plastic kaolin O-57"
	kaolin2 = "Lake County sedimentary kaolin O-84"
	shale   = "White Springs white shale O-3"
)

// TestPublishedClays fits the curve family to clays of A Preliminary Report on the Clays of
// Florida (Florida Geological Survey, 15th Annual Report, 1924; testdata/README.md): air and
// fire shrinkage in percent of the original length, at temperatures taken as heat works. The report
// names no maturing cones; 1250 °C is given for all. Residuals are those of the fitted curve
// alone, loads' own errors left out: at most 1.1 log-percent for the seven that behave.
func TestPublishedClays(t *testing.T) {
	file, err := os.Open("testdata/clay_shrinkage_published.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	rows, err := csv.NewReader(file).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	type point struct{ air, at, fire float64 }
	clays := map[string][]point{}
	var names []string
	number := func(s string) float64 {
		v, err := strconv.ParseFloat(s, 64)
		if err != nil {
			return 6 // no air shrinkage printed: it cancels
		}
		return v
	}
	for _, r := range rows[1:] {
		if clays[r[0]] == nil {
			names = append(names, r[0])
		}
		clays[r[0]] = append(clays[r[0]], point{number(r[2]), number(r[3]), number(r[4])})
	}
	if len(names) != 10 {
		t.Fatalf("%d clays, not ten", len(names))
	}
	for _, name := range names {
		points := clays[name]
		s := shrinkage.Studio{Clays: []tiles.Clay{{ID: "tern", Name: name, Matures: 1250}}}
		for i, p := range points {
			b := bar(i, strconv.Itoa(i), kiln.Celsius(p.at), map[tiles.Stage]float64{tiles.Wet: 100,
				tiles.Dry: 100 - p.air, tiles.Fired: 100 - p.air - p.fire})
			b.Firings = b.Firings[1:]
			b.Firings[0].Kind = kiln.Once
			for j := range b.Readings {
				b.Readings[j].Step = 0.1
			}
			s.Bars = append(s.Bars, b)
		}
		f := fitted(t, s, nil)
		sum, top := 0.0, math.Inf(-1)
		for _, p := range points {
			y := -100 * math.Log((100-p.air-p.fire)/(100-p.air))
			sum += (y - f.Firing("tern", p.at)) * (y - f.Firing("tern", p.at))
			top = max(top, p.at)
		}
		rms := math.Sqrt(sum / float64(len(points)))
		slips := 0
		for _, l := range f.Left() {
			if l.Slip {
				slips++
			}
		}
		t.Logf("%-50s %d points, rms %.2f log-percent, %d readings distrusted", name, len(points), rms, slips)
		switch name {
		default:
			if !(rms < 1.1) {
				t.Errorf("%s: residual %.2f log-percent", name, rms)
			}
		case kaolin1, kaolin2:
			if !(rms < 1.8) {
				t.Errorf("%s: residual %.2f log-percent", name, rms)
			}
		case shale:
			if slips == 0 {
				t.Errorf("%s: residual %.2f log-percent, and nothing is distrusted", name, rms)
			}
		}
		for h := 600.0; h <= 1450; h += 50 {
			a := ternB()
			a.Work, a.BisqueWork = kiln.Celsius(h), kiln.NoTemperature()
			sh, err := f.Rate(a, tiles.Fired)
			untold := strings.HasPrefix(sh.Standing.Why.String(), "nothing is known")
			if err != nil || math.IsNaN(float64(sh.Total)) != untold {
				t.Errorf("%s at %g: %v, %v, %s", name, h, sh.Total, err, sh.Standing.Why)
			}
			if untold && name != shale && h >= points[0].at { // two points of the shale are distrusted
				t.Errorf("%s at %g: %v, %v", name, h, sh.Total, err)
			}
			if h > top+15 && !sh.Standing.Untested {
				t.Errorf("%s at %g °C: called tested, its hottest was %g", name, h, top)
			}
		}
		// No plateau is assumed: these two shrank to 1430 °C.
		if last := points[len(points)-1]; last.at == 1430 {
			if f.Firing("tern", 1430) < f.Firing("tern", 1310) {
				t.Errorf("%s: shrinks less at 1430 than at 1310 °C", name)
			}
		}
	}
}
