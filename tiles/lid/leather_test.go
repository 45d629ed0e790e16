package lid_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"lidwright/kiln/kilntest"
	"lidwright/tiles"
	"lidwright/tiles/lid"
	"lidwright/tiles/tilestest"
)

// The gap at leather-hard without a companion bar: studios take the word from half to three quarters dry (0.6
// ± 0.11 of the drying) and their pieces differ by 0.06, more in one studio than another. 90 % ranges hold
// with no bar read leather-hard and with three and ten, which narrow them; from three on the answer no longer
// says that it guessed. With LIDWRIGHT_SOAK 1,000 lids a row, 96 without (a standard error of 0.03).
func TestLeatherCheckByOwnBars(t *testing.T) {
	studios := soakOf(24, 250)
	rng := rand.New(rand.NewPCG(2413, 0))
	var widths []float64
	var cells []kilntest.Said
	for _, read := range []int{0, 3, 10} {
		var held, of, width, wide float64
		for n := range studios {
			m := tilestest.Make(2413, uint64(n), tilestest.Options{Row: tilestest.Ten, NoSlips: true,
				Whole: true})
			share, scatter := 0.6+0.112*rng.NormFloat64(), 0.06*math.Exp(0.4*rng.NormFloat64())
			dried := func() float64 { return min(max(share+scatter*rng.NormFloat64(), 0.05), 0.98) }
			s := m.Studio
			s.Bars = slices.Clone(m.Bars)
			for i := range read {
				b := &s.Bars[i]
				wet, dry := b.Readings[0], b.Readings[1]
				leather := tiles.Reading{ID: b.ID + "-leather", Bar: b.Code, Mark: 1, Stage: tiles.Leather,
					Instrument: dry.Instrument, Step: dry.Step, At: dry.At}
				leather.Length = wet.Length * tiles.Millimetre(math.Pow(float64(dry.Length/wet.Length),
					dried()))
				b.Readings = slices.Insert(slices.Clone(b.Readings), 1, leather)
			}
			fit, err := s.Fit(t.Context(), nil)
			if err != nil {
				t.Fatal(err)
			}
			for range 4 {
				trial := m.LidTrial(tilestest.TwoPieces)
				q := trial.Question
				q.Lid, q.Play, q.CheckStage, q.Lids = 0, nil, "", 1
				q.Lid = q.Collar[0] - 2
				q.CheckStage = tiles.Leather
				trial.Question = q
				a := answer(t, fit, trial)
				if guessed := slices.Contains(a.Cautions, lid.LeatherGuessed); guessed != (read < 3) ||
					guessed == slices.Contains(a.Cautions, lid.LeatherOwn) {
					t.Fatalf("%d bars read leather-hard: %v", read, a.Cautions)
				}
				play := trial.PlayLeather(q.Lid, dried(), dried())
				of++
				if play >= a.AtCheck.Likely[0] && play <= a.AtCheck.Likely[1] {
					held++
				}
				if a.AtCheck.Wide {
					wide++
				}
				width += float64(a.AtCheck.Likely[1] - a.AtCheck.Likely[0])
			}
		}
		share := held / of
		t.Logf("%2d bars read leather-hard: 90 %% ranges hold %.3f ± %.3f of %.0f, %.2f mm wide, told to say little %.2f", read, share, math.Sqrt(share*(1-share)/of), of, width/of, wide/of)
		widths = append(widths, width/of)
		cells = append(cells, kilntest.Said{Name: fmt.Sprintf("%d bars read leather-hard", read), Said: 0.90,
			True: share, Of: int(of)})
		if share < 0.82 || share > 0.99 {
			t.Errorf("%d bars: holds %.3f", read, share)
		}
	}
	if err := kilntest.Calibration("leather", "The gap at leather-hard, without a companion bar",
		cells); err != nil {
		t.Error(err)
	}
	if widths[2] >= widths[0] {
		t.Errorf("with ten bars read leather-hard %.2f mm wide, without %.2f", widths[2], widths[0])
	}
}
