package lid_test

import (
	"math"
	"math/rand/v2"
	"os"
	"testing"

	"lidwright/tiles"
	"lidwright/tiles/lid"
	"lidwright/tiles/shrinkage"
	"lidwright/tiles/tilestest"
)

// What boards teach, board after board: the chance that is said before a board is thrown against what then
// fits, with the difference of lids and bodies drawn from the prior and the rate resting on one bar. With
// LIDWRIGHT_SOAK 1,000 studios of six pairs a board: within 0.03 after 1, 3, 6 and 12 boards, of one clay and
// of two. The short form, 16 studios, has a standard error of about 0.05 and asks for 0.15.
func TestBoardsTeachWhatTheySay(t *testing.T) {
	studios, most := 16, 0.15
	if os.Getenv("LIDWRIGHT_SOAK") != "" {
		studios, most = 1000, 0.03
	}
	told := map[int]bool{0: true, 1: true, 3: true, 6: true, 12: true}
	for _, class := range []tilestest.LidClass{tilestest.TwoPieces, tilestest.TwoClays} {
		type count struct{ said, fits, squares, asked, held, of float64 }
		counts := map[int]*count{}
		for n := range told {
			counts[n] = &count{}
		}
		for n := range studios {
			m := tilestest.Make(24, uint64(n), tilestest.Options{Row: tilestest.One})
			fit, err := m.Studio.Fit(t.Context(), nil)
			if err != nil {
				t.Fatal(err)
			}
			rng := rand.New(rand.NewPCG(25, uint64(n)))
			difference := math.Hypot(0.35, 0.20) * rng.NormFloat64()
			var boards []lid.ComparedResult
			for at := range 13 {
				board := m.LidBoard(class, 6, difference)
				group := lid.DifferenceGroup{Form: "jar", Body: board.Questions[0].Body.Clay,
					Lid: board.Questions[0].LidClay.Clay}
				learned := lid.LearnDifferences(boards).Of(group)
				v := lid.Result{Form: "jar", Body: board.Questions[0].Body, Lid: board.Questions[0].LidClay}
				var pots []lid.ComparedPot
				fits := 0.0
				for i, q := range board.Questions {
					a, known := sized(t, fit, q, board.Firing, &learned)
					play := board.Play(i, a.Set)
					switch {
					case play < 0:
						v.Sat.TooBig++
					case play < 0.5:
						v.Sat.Tight++
					case play <= 2:
						v.Sat.Good++
						fits++
					default:
						v.Sat.Loose++
					}
					if c := counts[at]; c != nil {
						c.said += a.FitChance
						c.asked++
						c.of++
						if play >= a.Fired.Likely[0] && play <= a.Fired.Likely[1] {
							c.held++
						}
					}
					q.Lid, q.Play = a.Set, nil
					gap, err := q.Check(lid.UsualDefaults())
					if err != nil {
						t.Fatal(err)
					}
					pots = append(pots, lid.ComparedPot{Question: gap, Known: known, AsTold: true})
				}
				if c := counts[at]; c != nil {
					c.fits += fits
					c.squares += (fits / 6) * (fits / 6)
				}
				seen, err := v.Expect(pots)
				if err != nil {
					t.Fatal(err)
				}
				boards = append(boards, seen)
			}
		}
		for _, n := range []int{0, 1, 3, 6, 12} {
			c := counts[n]
			said, fit, boards := c.said/c.asked, c.fits/c.asked, c.asked/6
			se := math.Sqrt(max(c.squares/boards-fit*fit, 0) / boards) // lids of a board are alike
			t.Logf("%-9s after %2d boards: said %.3f, fit %.3f ± %.3f; 90 %% ranges hold %.3f", class, n,
				said, fit, se, c.held/c.of)
			if n > 0 && math.Abs(said-fit) > most {
				t.Errorf("%s after %d boards: said %.3f, fit %.3f", class, n, said, fit)
			}
		}
	}
}

func sized(t *testing.T, fit *shrinkage.Fit, q lid.Question, at lid.Firing,
	part *lid.Difference) (lid.Answer, lid.Known) {
	t.Helper()
	asked, err := q.Check(lid.UsualDefaults())
	if err != nil {
		t.Fatal(err)
	}
	known, err := asked.Know(fit, at, shrinkage.SoFar{})
	if err != nil {
		t.Fatal(err)
	}
	plain := known
	known.Part = part
	a, err := lid.Size(asked, known)
	if err != nil {
		t.Fatal(err)
	}
	if a.Set == 0 || a.Set != a.Set {
		a.Set = a.Unrounded
	}
	return a, plain
}

// A form whose lids fitted four times and then jammed is no longer sure of itself, and its width moves: four
// boards of six good lids, then boards of one too big, four tight and one good with a gap of 0.6 mm measured,
// at 1.75 mm expected.
func TestMissesTeach(t *testing.T) {
	group := lid.DifferenceGroup{Form: "teapot", Body: "tern", Lid: "tern"}
	board := lid.ComparedResult{Group: group, Play: 1.75, OwnSD: 0.4, SameSD: 0.05, RateSD: 0.1, Lid: 90,
		Ledge:  tiles.Millimetre(math.NaN()),
		Limits: lid.Limits{LeastPlay: 1, MostPlay: 2.5, Bearing: 1}, Sat: lid.Outcomes{Good: 6},
		Plays: []tiles.Millimetre{1.8}}
	boards := []lid.ComparedResult{board, board, board, board}
	before := lid.LearnDifferences(boards).Of(group)
	if before.BoardSD > 0.15 {
		t.Errorf("boards that agree are told to differ by %.2f", before.BoardSD)
	}
	jammed := board
	jammed.Sat, jammed.Plays = lid.Outcomes{TooBig: 1, Tight: 4, Good: 1}, []tiles.Millimetre{0.6}
	last := before
	for n := 1; n <= 6; n++ {
		boards = append(boards, jammed)
		d := lid.LearnDifferences(boards).Of(group)
		// The mean of a plain model of one mean and one board-to-board sd lies between the four and the n.
		if d.Mean >= last.Mean || float64(d.Mean) < -1.35 {
			t.Errorf("after %d of them the difference is %.2f, was %.2f", n, d.Mean, last.Mean)
		}
		if d.BoardSD < 0.5 {
			t.Errorf("after %d of them the boards are told to differ by %.2f", n, d.BoardSD)
		}
		t.Logf("after %d: %.2f ± %.2f, boards differ by %.2f", n, d.Mean, d.SD, d.BoardSD)
		last = d
	}
}
