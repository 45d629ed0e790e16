package lid_test

import (
	"cmp"
	"fmt"
	"math"
	"os"
	"slices"
	"strconv"
	"strings"
	"testing"

	"lidwright/kiln/kilntest"
	"lidwright/tiles"
	"lidwright/tiles/lid"
	"lidwright/tiles/shrinkage"
	"lidwright/tiles/tilestest"
)

// A lid for a fired pot, one by one and in the cheapest way that the answer names, in four worlds and two
// lengths of history, with the pot's own card and without. With LIDWRIGHT_SOAK 250 studios a cell, four pots
// each. The short form plays 8 studios: a share has a standard error of about 0.05.
func TestReplacementInTheCheapestWay(t *testing.T) {
	studios, off, least := 8, 0.20, 0.80
	rows := []tilestest.Row{tilestest.Ten}
	if os.Getenv("LIDWRIGHT_SOAK") != "" {
		studios, off, least = 250, 0.06, 0.93
		rows = []tilestest.Row{tilestest.Three, tilestest.Ten, tilestest.Thirty}
	}
	seeds := uint64(seed + 1)
	if s := os.Getenv("LIDWRIGHT_SEED"); s != "" {
		seeds, _ = strconv.ParseUint(s, 10, 64)
	}
	var cells []kilntest.Said
	for _, world := range append(tilestest.Worlds(), tilestest.Handbook) {
		for _, row := range rows {
			var c replaced
			for studio := range studios {
				m := tilestest.Make(seeds, uint64(studio), tilestest.Options{Row: row, World: world})
				fit, err := m.Studio.Fit(t.Context(), nil)
				if err != nil {
					t.Fatal(err)
				}
				for i := range 4 {
					c.play(t, fit, m.Replacement(0.15, true), i%2 == 0)
				}
			}
			share := func(v float64) float64 { return v / c.n }
			where := fmt.Sprintf("%s, %s bars", cmp.Or(world, "handbook"), row)
			cells = append(cells, kilntest.Said{Name: where + ", one lid", Said: share(c.said),
				True: share(c.fits), Of: int(c.n)},
				kilntest.Said{Name: where + ", with its card", Said: share(c.own),
					True: share(c.ownFits), Of: int(c.n)},
				kilntest.Said{Name: where + ", cheapest way", Said: c.way / c.ways,
					True: c.wayFits / c.ways, Of: int(c.ways)})
			t.Logf("%-10q %-3s of %.0f: one lid said %.3f fit %.3f (se %.3f); with its card %.3f, %.3f; a way said to reach 95 %% for %.2f: %.3f, %.3f (se %.3f), %.0f min more",
				world, row, c.n, share(c.said), share(c.fits), c.se(c.fits, c.n), share(c.own),
				share(c.ownFits), share(c.ways), c.way/c.ways, c.wayFits/c.ways,
				c.se(c.wayFits, c.ways), c.minutes/c.ways)
			for _, d := range []float64{share(c.said - c.fits), share(c.own - c.ownFits),
				(c.way - c.wayFits) / c.ways} {
				if d > off {
					t.Errorf("%q, %s: overstated by %.3f", world, row, d)
				}
			}
			if c.wayFits/c.ways < least {
				t.Errorf("%q, %s: the cheapest way fits %.3f", world, row, c.wayFits/c.ways)
			}
		}
	}
	if err := kilntest.Calibration("replacement", "A lid for a fired pot", cells); err != nil {
		t.Error(err)
	}
}

// replaced counts what was said of lids for fired pots and what came true.
type replaced struct{ n, said, fits, own, ownFits, ways, way, wayFits, minutes float64 }

func (c *replaced) se(fits, n float64) float64 { return math.Sqrt(fits / n * (1 - fits/n) / n) }

// play asks about one pot, without its card and with it, and goes the cheapest way of one of the two.
func (c *replaced) play(t *testing.T, fit *shrinkage.Fit, trial tilestest.ReplacementTrial, byCard bool) {
	plain := trial.Question
	plain.WasCollar = nil
	a, b := replacement(t, fit, trial, plain), replacement(t, fit, trial, trial.Question)
	c.n++
	c.said, c.fits = c.said+a.FitChance, c.fits+one(fitsAny(trial, a.Set))
	c.own, c.ownFits = c.own+b.FitChance, c.ownFits+one(fitsAny(trial, b.Set))
	q := plain
	if byCard {
		q, a = trial.Question, b
	}
	w := a.Cheapest
	if !w.Reaches {
		return
	}
	c.ways, c.way, c.minutes = c.ways+1, c.way+w.FitChance, c.minutes+float64(w.Minutes)
	for _, does := range w.Does {
		switch {
		case strings.HasPrefix(does.String(), "read"):
			q.CollarAgain = trial.ReadAgain()
		case strings.HasPrefix(does.String(), "fire three bars"):
			more, err := trial.MoreBars(3).Fit(t.Context(), nil)
			if err != nil {
				t.Fatal(err)
			}
			fit = more
		}
	}
	if len(w.Does) > 0 { // done: ask again, for as many lids
		q.Lids = len(w.Sizes)
		w.Sizes = replacement(t, fit, trial, q).Spread[len(w.Sizes)-1].Sizes
	}
	c.wayFits += one(fitsAny(trial, w.Sizes...))
}

func one(b bool) float64 {
	if b {
		return 1
	}
	return 0
}

func fitsAny(trial tilestest.ReplacementTrial, widths ...tiles.Millimetre) bool {
	return slices.ContainsFunc(widths, func(w tiles.Millimetre) bool {
		p := trial.Play(w)
		return p >= 0.5 && p <= 2
	})
}

func replacement(t *testing.T, fit *shrinkage.Fit, trial tilestest.ReplacementTrial,
	q lid.Question) lid.Answer {
	t.Helper()
	d := lid.UsualDefaults()
	d.MeasureSD = *q.ThrowSD
	asked, err := q.Check(d)
	if err != nil {
		t.Fatal(err)
	}
	known, err := asked.Know(fit, trial.Firing, shrinkage.SoFar{})
	if err != nil {
		t.Fatal(err)
	}
	a, err := lid.Size(asked, known)
	if err != nil {
		t.Fatal(err)
	}
	return a
}
