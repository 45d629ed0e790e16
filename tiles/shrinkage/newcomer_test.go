package shrinkage_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"lidwright/kiln"
	"lidwright/tiles"
	"lidwright/tiles/shrinkage"
	"lidwright/tiles/tilestest"
)

// TestNewcomersByTheirBars plays studios bar by bar, from readings to what each sends, the pool and a
// newcomer's own fit: the 90 % range of her clay where it matures holds, before her first bar and after one
// and three, at every spread of studios, with none and 2 % of bad ones (3 log-percent off, as of another clay
// under the name). Before the first bar it is narrower than 0.3 of the handbook's. Made-up studios with
// curves that are not the model's; LIDWRIGHT_SEED takes others. Asked for are 86 to 97 % in each cell, which
// has a standard error of .7: the long form reaches 87.0 to 96.1. With half as many newcomers (1.0) one of 18
// cells was at 85.7 with this seed, and none below 86.8 with another, 4217.
func TestNewcomersByTheirBars(t *testing.T) {
	pools, newcomers, seed := 5, 10, uint64(2710)
	if soaking() { // 2,016 newcomers a cell, few of each pool, whose error they share
		pools, newcomers, seed = 252, 8, freshSeed(t, 2713)
	}
	seeds := rand.New(rand.NewPCG(seed, 0))
	const studios = 24
	rows := []tilestest.Row{tilestest.None, tilestest.One, tilestest.Three}
	sum, cells := 0.0, 0
	for _, sd := range []float64{0.2, 0.4, 0.6} {
		for _, bad := range []float64{0, 0.02} {
			way := func() tilestest.Way {
				return tilestest.Way{Drying: sd * seeds.NormFloat64(), Heat: 12 * sd * seeds.NormFloat64()}
			}
			var held, heldBag [3]int
			n, width, alone := 0, 0.0, 0.0
			for p := range pools {
				stream := uint64(100*sd)*1000 + uint64(100*bad)*100 + uint64(p)*1_000_000
				body := tilestest.DrawBody(seed, stream, tilestest.Options{})
				var told []shrinkage.Summary
				for s := range uint64(studios) {
					own, row := way(), rows[2]
					if s%2 == 0 {
						row = tilestest.Ten
					}
					if seeds.Float64() < bad {
						own.Drying += 3
					}
					m := body.Buyer(seed+1, stream+s, tilestest.Options{Row: row}, own)
					one, _, err := shrinkage.Summarise(t.Context(), fitted(t, m.Studio, nil), "tern",
						kiln.Celsius(body.Matures))
					if err != nil {
						t.Fatal(err)
					}
					told = append(told, one)
				}
				prior := priorOf(t, told)
				_, own := prior.Total(body.Matures, body.Matures)
				width += own
				pools := map[tiles.ClayID]shrinkage.Pooled{"tern": {Prior: prior,
					Matures: kiln.Celsius(body.Matures), Studios: studios}}
				for c := range uint64(newcomers) {
					own := way()
					n++
					for i, row := range rows {
						m := body.Buyer(seed+2, stream+c, tilestest.Options{Row: row}, own)
						if i == 0 && c == 0 {
							_, wide, err := fitted(t, m.Studio, nil).ClayRate("tern", body.Matures)
							if err != nil {
								t.Fatal(err)
							}
							alone += wide
						}
						m.Studio.Pools = pools
						fit, err := m.Studio.FitWithPools(t.Context(), nil)
						if err != nil {
							t.Fatal(err)
						}
						mean, half, _, _, err := fit.ClayRange("tern", body.Matures)
						if err != nil {
							t.Fatal(err)
						}
						clay, bag := m.Total()
						if math.Abs(mean-float64(clay)) <= half {
							held[i]++
						}
						ask := ternAsk(m)
						ask.BatchRef, ask.WorkSD = m.LastBatch(), 0
						rate, err := fit.Rate(ask, tiles.Fired)
						if err != nil {
							t.Fatal(err)
						}
						if truth := bag.Ratio(); truth >= rate.Likely.Low && truth <= rate.Likely.High {
							heldBag[i]++
						}
					}
				}
			}
			says := fmt.Sprintf("sd %.1f, bad %.0f %%, %d newcomers: clay, and her bag", sd, 100*bad, n)
			for i, row := range rows {
				share, bag := 100*float64(held[i])/float64(n), 100*float64(heldBag[i])/float64(n)
				sum, cells = sum+share, cells+1
				says += fmt.Sprintf(", %s bars %.1f and %.1f %%", row, share, bag)
				least, most := 86.0, 97.0
				if !soaking() {
					least, most = 75, 100 // of 50
				}
				if share < least || share > most {
					t.Errorf("sd %.1f, bad %g: after %s bars the range holds %.1f %%", sd, bad, row, share)
				}
			}
			t.Logf("%s; half-width %.2f log-percent, of the handbook's %.2f", says,
				1.6449*width/float64(pools), width/alone)
			if soaking() && width > 0.3*alone { // of five pools one may be wide
				t.Errorf("sd %.1f, bad %g: the range is %.2f of the handbook's", sd, bad, width/alone)
			}
		}
	}
	if mean := sum / float64(cells); soaking() && (mean < 88 || mean > 94) {
		t.Errorf("over all cells it holds %.1f %%", mean)
	}
}
