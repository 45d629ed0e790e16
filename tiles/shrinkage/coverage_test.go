package shrinkage_test

import (
	"math"
	"os"
	"slices"
	"testing"

	"lidwright/kiln/kilntest"
	"lidwright/tiles"
	"lidwright/tiles/shrinkage"
	"lidwright/tiles/tilestest"
)

const questionsAStudio = 8

// tally is what came of one row of simulated studios.
type tally struct {
	n                 int
	held90, held95    []float64 // share of each studio's questions
	model, mean, line float64   // sums of squared errors
	width             float64   // of the 90 % ranges, sum
	slips, named      int       // seeded, and named on their bar
	falsely           int       // named where there was none
}

// simulate asks eight questions of each of n studios.
func simulate(t *testing.T, seed uint64, n int, o tilestest.Options) *tally {
	t.Helper()
	out := &tally{}
	for i := range n {
		m := tilestest.Make(seed, uint64(i), o)
		f, err := m.Studio.Fit(t.Context(), nil)
		if err != nil {
			t.Fatalf("seed %d, studio %d: %v", seed, i, err)
		}
		out.countSlips(m, f)
		var in90, in95 float64
		for range questionsAStudio {
			q := m.Question()
			got, low, high, err := f.NewPiece(q.Ask, 0.90)
			_, low95, high95, err2 := f.NewPiece(q.Ask, 0.95)
			if err != nil || err2 != nil || math.IsNaN(low+high+got) {
				t.Fatalf("seed %d, studio %d: %v to %v, %v", seed, i, low, high, err)
			}
			if q.Total >= low && q.Total <= high {
				in90++
			}
			if q.Total >= low95 && q.Total <= high95 {
				in95++
			}
			mean, line := plainRates(m, float64(q.Ask.Work))
			out.model += (got - q.Total) * (got - q.Total)
			out.mean += (mean - q.Total) * (mean - q.Total)
			out.line += (line - q.Total) * (line - q.Total)
			out.width += high - low
			out.n++
		}
		out.held90 = append(out.held90, in90/questionsAStudio)
		out.held95 = append(out.held95, in95/questionsAStudio)
	}
	return out
}

// countSlips compares the slips that the fit names with those seeded, bar by bar: which of
// two readings of a bar is wrong nobody can tell.
func (y *tally) countSlips(m *tilestest.Made, f *shrinkage.Fit) {
	seeded, named := map[tiles.Code]bool{}, map[tiles.Code]bool{}
	for _, b := range m.Bars {
		for _, r := range b.Readings {
			for _, s := range m.Slips {
				if s.Reading == r.ID {
					seeded[b.Code] = true
				}
			}
		}
	}
	for _, l := range f.Left() {
		if l.Slip {
			named[l.Bar] = true
		}
	}
	for code := range seeded {
		y.slips++
		if named[code] {
			y.named++
		}
	}
	for code := range named {
		if !seeded[code] {
			y.falsely++
		}
	}
}

// plainRates are what potters do: the mean total of the clay's bars, and a straight line on
// heat work where its bars saw three different heats.
func plainRates(m *tilestest.Made, h float64) (mean, line float64) {
	var n, sx, sy, sxx, sxy float64
	heats := map[float64]bool{}
	for _, b := range m.Bars {
		if b.Clay != tilestest.ClayName(0) {
			continue
		}
		var wet, fired float64
		for _, r := range b.Readings {
			switch r.Stage {
			case tiles.Wet:
				wet = float64(r.Length)
			case tiles.Fired:
				fired = float64(r.Length)
			}
		}
		if fired == 0 {
			continue
		}
		x, y := float64(b.Firings[1].Work), 100*math.Log(wet/fired)
		heats[x] = true
		n, sx, sy, sxx, sxy = n+1, sx+x, sy+y, sxx+x*x, sxy+x*y
	}
	if n == 0 {
		return 11.25, 11.25 // the handbook
	}
	mean = sy / n
	if len(heats) < 3 {
		return mean, mean
	}
	slope := (sxy - sx*sy/n) / (sxx - sx*sx/n)
	return mean, mean + slope*(h-sx/n)
}

func average(v []float64) (mean, se float64) {
	for _, x := range v {
		mean += x / float64(len(v))
	}
	for _, x := range v {
		se += (x - mean) * (x - mean)
	}
	return mean, math.Sqrt(se/float64(len(v)-1)) / math.Sqrt(float64(len(v)))
}

// rmse of the model, of the clay's mean and of its straight line.
func (y *tally) rmse() (model, mean, line float64) {
	n := float64(y.n)
	return math.Sqrt(y.model / n), math.Sqrt(y.mean / n), math.Sqrt(y.line / n)
}

func (y *tally) report(t *testing.T, row string) {
	h90, se90 := average(y.held90)
	h95, se95 := average(y.held95)
	model, mean, line := y.rmse()
	t.Logf("%-8s %4d questions: 90 %% holds %.3f ± %.3f, 95 %% %.3f ± %.3f, mean width %.2f; rmse model %.2f, mean %.2f, line %.2f; slips %d, named %d, falsely %d",
		row, y.n, h90, se90, h95, se95, y.width/float64(y.n), model, mean, line, y.slips, y.named, y.falsely)
}

func soaking() bool { return os.Getenv("LIDWRIGHT_SOAK") != "" }

// acceptanceSeed was fixed before the run; 20 served while developing.
const acceptanceSeed = 1924

// TestRangesHold: the 90 % ranges of new pieces hold 85-95 % of them, the 95 % ranges
// 90-98.5 %, for every history; with all true sds doubled at least 80 %. The lower limits are
// less 2 standard errors (sd of the studios' shares over the root of their number). The short
// form has 10 studios a row, seed 20: its upper limits are 2 standard errors wider too, and a
// standard error is taken as at least 0.03. With LIDWRIGHT_SOAK 200 studios a row.
func TestRangesHold(t *testing.T) {
	n, seed, least, rows := 10, uint64(20), 0.03, []tilestest.Row{tilestest.One, tilestest.Three,
		tilestest.ThreeOne, tilestest.Ten}
	if soaking() {
		n, seed, least = 200, acceptanceSeed, 0
		rows = append(rows, tilestest.Thirty, tilestest.Hundred)
	}
	check := func(what string, held []float64, low, high float64) {
		share, se := average(held)
		se = max(se, least)
		if least > 0 {
			high += 2 * se
		}
		if share < low-2*se || share > high {
			t.Errorf("%s: holds %.3f ± %.3f, must %.3f to %.3f", what, share, se, low, high)
		}
	}
	var cells []kilntest.Said
	for _, row := range rows {
		y := simulate(t, seed, n, tilestest.Options{Row: row})
		y.report(t, string(row))
		check(string(row)+", 90 %", y.held90, 0.85, 0.95)
		check(string(row)+", 95 %", y.held95, 0.90, 0.985)
		h90, _ := average(y.held90)
		h95, _ := average(y.held95)
		cells = append(cells, kilntest.Said{Name: string(row) + " bars", Said: 0.90, True: h90, Of: y.n},
			kilntest.Said{Name: string(row) + " bars", Said: 0.95, True: h95, Of: y.n})
		model, mean, line := y.rmse()
		if soaking() && (model >= mean || model >= line) {
			t.Errorf("%s: error %.2f, the clay's mean has %.2f and its line %.2f", row, model, mean, line)
		}
	}
	if err := kilntest.Calibration("piece", "Ranges of a new piece", cells); err != nil {
		t.Error(err)
	}
	y := simulate(t, seed, n, tilestest.Options{Row: tilestest.Ten, Larger: 2})
	y.report(t, "doubled")
	check("all true sds doubled, 90 %", y.held90, 0.80, 1)
}

// TestSlipsAreNamed: one slip at a time in a studio without any other. Slips of 5 and 10 mm
// in a bar with three readings or more are named on their bar every time; what of 1 mm and
// less is named is logged: it lies within 3 to 7 sds of a reading.
func TestSlipsAreNamed(t *testing.T) {
	small, smallNamed := 0, 0
	for studio := range 3 {
		m := tilestest.Make(50, uint64(studio), tilestest.Options{Row: tilestest.Ten, NoSlips: true})
		for i, b := range m.Bars {
			if len(b.Readings) < 3 || i%4 != 0 {
				continue
			}
			for j := range b.Readings {
				for _, by := range []tiles.Millimetre{10, -5, 1} {
					s := m.Studio
					s.Bars = slices.Clone(m.Bars)
					s.Bars[i].Readings = slices.Clone(b.Readings)
					s.Bars[i].Readings[j].Length += by
					named := slices.ContainsFunc(fitted(t, s, nil).Left(),
						func(l shrinkage.LeftOut) bool { return l.Slip && l.Bar == b.Code })
					switch {
					case by == 1:
						small++
						if named {
							smallNamed++
						}
					case !named:
						t.Errorf("studio %d, bar %s: a slip of %g mm at %s is not named", studio, b.Code,
							by, b.Readings[j].Stage)
					}
				}
			}
		}
	}
	t.Logf("1 mm: %d of %d named", smallNamed, small)
}
