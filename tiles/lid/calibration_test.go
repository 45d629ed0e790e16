package lid_test

import (
	"fmt"
	"math"
	"os"
	"testing"

	"lidwright/kiln/kilntest"
	"lidwright/tiles/lid"
	"lidwright/tiles/shrinkage"
	"lidwright/tiles/tilestest"
)

// The stated chance against what happens, by class of question and history, in made-up studios whose
// curves are not of the fit's family. With LIDWRIGHT_SOAK 200 studios a row, 8 questions each: within
// 0.065 for each class and row, 0.03 on average over them. The short form plays 12 studios of two
// rows, where a share has a standard error of about 0.08: it asks for 0.30 and 0.12.
func TestStatedChanceComesTrue(t *testing.T) {
	rows, studios, each, mean := []tilestest.Row{tilestest.One, tilestest.Ten}, 12, 0.30, 0.12
	if os.Getenv("LIDWRIGHT_SOAK") != "" {
		rows, studios, each, mean = []tilestest.Row{tilestest.One, tilestest.Three, tilestest.ThreeOne,
			tilestest.Ten}, 200, 0.065, 0.03
	}
	var offs, held, cells float64
	var drawn []kilntest.Said
	for _, row := range rows {
		type count struct{ asked, said, fits, squares, held float64 }
		counts := map[tilestest.LidClass]*count{}
		for _, class := range tilestest.LidClasses() {
			counts[class] = &count{}
		}
		for n := range studios {
			m := tilestest.Make(seed, uint64(n), tilestest.Options{Row: row})
			fit, err := m.Studio.Fit(t.Context(), nil)
			if err != nil {
				t.Fatal(err)
			}
			for i := range 8 {
				class := tilestest.LidClasses()[i%4]
				trial := m.LidTrial(class)
				a := answer(t, fit, trial)
				c := counts[class]
				c.asked++
				c.said += a.FitChance
				c.squares += a.FitChance * (1 - a.FitChance)
				play := trial.Play(a.Set)
				if play >= 0.5 && play <= 2 {
					c.fits++
				}
				if play >= a.Fired.Likely[0] && play <= a.Fired.Likely[1] {
					c.held++
				}
			}
		}
		for _, class := range tilestest.LidClasses() {
			c := counts[class]
			off := (c.said - c.fits) / c.asked
			se := math.Sqrt(c.squares) / c.asked
			t.Logf("%-4s %-12s said %.3f, fit %.3f of %.0f (se %.3f); 90 %% ranges hold %.3f", row, class,
				c.said/c.asked, c.fits/c.asked, c.asked, se, c.held/c.asked)
			held += c.held / c.asked
			drawn = append(drawn, kilntest.Said{Name: fmt.Sprintf("%s bars, %s", row, class),
				Said: c.said / c.asked, True: c.fits / c.asked, Of: int(c.asked)})
			if math.Abs(off) > each {
				t.Errorf("%s, %s: off by %.3f", row, class, off)
			}
			offs, cells = offs+math.Abs(off), cells+1
		}
	}
	if err := kilntest.Calibration("chance", "The stated chance that a lid fits", drawn); err != nil {
		t.Error(err)
	}
	if offs/cells > mean {
		t.Errorf("off by %.3f on average", offs/cells)
	}
	if h := held / cells; h < 0.85 || h > 0.97 {
		t.Errorf("90 %% ranges of the play hold %.3f", h)
	}
	t.Logf("off by %.3f on average over %.0f classes and rows; 90 %% ranges of the play hold %.3f",
		offs/cells, cells, held/cells)
}

// seed of the studios: 20 was used while this was built, 41 fixed before it was run for acceptance.
const seed = 41

func answer(t *testing.T, fit *shrinkage.Fit, trial tilestest.LidTrial) lid.Answer {
	t.Helper()
	q, err := trial.Question.Check(lid.UsualDefaults())
	if err != nil {
		t.Fatal(err)
	}
	known, err := q.Know(fit, trial.Firing, shrinkage.SoFar{})
	if err != nil {
		t.Fatal(err)
	}
	a, err := lid.Size(q, known)
	if err != nil {
		t.Fatal(err)
	}
	return a
}
