package shrinkage_test

import (
	"fmt"
	"math"
	"os"
	"strings"
	"testing"

	"lidwright/tiles"
	"lidwright/tiles/shrinkage"
	"lidwright/tiles/tilestest"
)

// The guard against slips in made-up studios whose bars are read with callipers (0.15 mm and more, to
// a tenth) and steel rules (0.5 mm, to the half): each new bar is entered reading by reading, and every
// reading is also entered with each slip. All slips by 25.4, 10, 1/10 and 1/25.4 are asked about, and
// fewer than 1 % of the true readings. Swapped digits are asked about where they lead out of belief.
func TestSlipGuard(t *testing.T) {
	studios := 8
	if os.Getenv("LIDWRIGHT_SOAK") != "" {
		studios = 150
	}
	type share struct{ asked, of int }
	rows := []tilestest.Row{"none", tilestest.One, tilestest.Ten}
	kinds := []string{"true", "true, rule", "true, calliper", "x 25.4", "x 10", "x 1/10", "x 1/25.4",
		"digits swapped, 3 mm off and more", "5 mm off"}
	table := map[string]map[tilestest.Row]*share{}
	for _, k := range kinds {
		table[k] = map[tilestest.Row]*share{}
		for _, row := range rows {
			table[k][row] = &share{}
		}
	}
	named := map[tiles.EntryError]int{}
	for _, row := range rows {
		for n := range studios {
			size := row
			if row == "none" {
				size = tilestest.One
			}
			m := tilestest.Make(81, uint64(n), tilestest.Options{Row: size, NoSlips: true, Rules: true})
			var fit *shrinkage.Fit
			if row != "none" {
				fit = fitted(t, m.Studio, nil)
			}
			for i := range 24 {
				whole := m.NextBar(i%4, 0)
				bar := whole
				bar.Readings = nil
				for _, r := range whole.Readings {
					judge := func(kind string, by float64, typed string) {
						s := r
						s.Length = tiles.Millimetre(float64(r.Length) * by)
						s.AsTyped = typed
						if typed == "" {
							s.AsTyped = strings.TrimRight(strings.TrimRight(fmt.Sprintf("%.4f",
								float64(s.Length)), "0"), ".")
						}
						c := table[kind][row]
						c.of++
						if s.Length < tiles.ShortestPiece || s.Length > tiles.LongestPiece {
							c.asked++ // refused with the question which unit was meant
							return
						}
						if shrinkage.Judge(bar, &s, fit); s.Unusual {
							c.asked++
							named[s.EntryError]++
							if s.Question.IsZero() || s.EntryError == "" || s.Counts() {
								t.Fatalf("asked without a word: %+v", s)
							}
						} else if kind[0] == 't' {
							return
						}
					}
					judge("true", 1, r.AsTyped)
					judge("true, "+r.Instrument, 1, r.AsTyped)
					judge("x 25.4", 25.4, "")
					judge("x 10", 10, "")
					judge("x 1/10", 0.1, "")
					judge("x 1/25.4", 1/25.4, "")
					if l := float64(r.Length); len(bar.Readings) > 0 {
						judge("5 mm off", (l-5)/l, "")
						a := r.AsTyped
						if swapped := a[1:2] + a[0:1] + a[2:]; len(a) == 4 && a[0] != a[1] {
							var v float64
							fmt.Sscan(swapped, &v)
							if math.Abs(v-l) >= 3 && v > 10 {
								judge("digits swapped, 3 mm off and more", v/l, swapped)
							}
						}
					}
					bar.Readings = append(bar.Readings, r)
				}
			}
		}
	}
	t.Logf("%-36s %12s %12s %12s", "share asked about, fit of", "no bars", "1 bar", "10 bars")
	for _, k := range kinds {
		line := fmt.Sprintf("%-36s", k)
		for _, row := range rows {
			c := table[k][row]
			line += fmt.Sprintf(" %5.1f %% %5d", 100*float64(c.asked)/float64(max(c.of, 1)), c.of)
			switch {
			case strings.HasPrefix(k, "x ") && c.asked < c.of:
				t.Errorf("%s, %s: %d of %d not asked about", k, row, c.of-c.asked, c.of)
			case k[0] == 't' && float64(c.asked) >= 0.01*float64(c.of):
				t.Errorf("%s, %s: %d of %d true readings asked about", k, row, c.asked, c.of)
			}
		}
		t.Log(line)
	}
	t.Logf("named: %v", named)
}
