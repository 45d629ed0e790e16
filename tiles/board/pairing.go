package board

import (
	"math"

	"lidwright/tiles"
	"lidwright/tiles/lid"
)

// pairUp says which measured lid goes with which pot: as many lids inside their windows as can
// be, then the likeliest. own is the width for each pot alone.
func (b *Checked) pairUp(a Answer, known Known, own []float64) Answer {
	n, m := b.count(), len(b.Measured)
	chance := make([][]float64, n)
	worth := make([][]float64, n)
	var pots []lid.Clearance // for lids as the first was measured
	for i := range n {
		clearances := map[tiles.Stage]*lid.Clearance{}
		chance[i], worth[i] = make([]float64, m), make([]float64, m)
		for j, l := range b.Measured {
			f := clearances[l.Stage]
			if f == nil {
				made := lid.NewClearance(b.gaps[i][l.Stage], known.Measured[l.Stage])
				f = &made
				clearances[l.Stage] = f
				if j == 0 {
					pots = append(pots, made)
				}
			}
			w := float64(l.Width)
			chance[i][j] = f.ChanceAt(w)
			// a product of chances becomes a sum; one inside the window outweighs all outside
			worth[i][j] = math.Log(max(chance[i][j], 1e-13))
			if least, most, bound := f.Bounds(); f.PlayAt(w) >= least && f.PlayAt(w) <= min(most, bound) {
				worth[i][j] += 1000
			}
		}
	}
	lid := assign(worth)
	a.Lids, a.Sizes = m, nil
	a.ExpectedPairs, a.AllPairChance = 0, b.allFit(pots, lid)
	for i, j := range lid {
		p := Pair{Gallery: i, FitChance: math.NaN(), Set: tiles.Millimetre(own[i])}
		if j >= 0 && chance[i][j] >= hopeless {
			p.Lid, p.FitChance, p.Set = b.Measured[j].Lid, chance[i][j], tiles.Millimetre(math.NaN())
			a.ExpectedPairs += chance[i][j]
		}
		a.Pairs = append(a.Pairs, p)
	}
	return a
}

// allFit is the chance that every pot is fitted by the lid it was given; 0 where one has none,
// NaN for lids measured at different stages, which no one board of draws holds.
func (b *Question) allFit(pots []lid.Clearance, lid []int) float64 {
	width := make([]float64, len(b.Measured))
	for j, l := range b.Measured {
		if width[j] = float64(l.Width); l.Stage != b.Measured[0].Stage {
			return math.NaN()
		}
	}
	for _, j := range lid {
		if j < 0 {
			return 0
		}
	}
	draws := drawBoard(boardDraws, pots, b.Common.Together, -1, len(b.Measured))
	return draws.kept(width, lid)
}

// hopeless is the chance below which a pot waits for another lid (own).
const hopeless = 0.01

// assign gives each row a column of its own, or -1 where there are fewer columns, so that the sum
// of what they are worth is as large as can be (the Hungarian method, O(rows^2 columns)). Worth
// may be any finite number.
func assign(worth [][]float64) []int {
	rows := len(worth)
	if rows == 0 {
		return nil
	}
	if columns := len(worth[0]); columns < rows {
		turned := make([][]float64, columns)
		for j := range turned {
			turned[j] = make([]float64, rows)
			for i := range worth {
				turned[j][i] = worth[i][j]
			}
		}
		to := make([]int, rows)
		for i := range to {
			to[i] = -1
		}
		for j, i := range assign(turned) {
			to[i] = j
		}
		return to
	}
	return hungarian(worth)
}

// hungarian is assign for at least as many columns as rows: shortest augmenting paths with
// potentials of rows and columns, counted from 1 so that 0 can stand for none.
func hungarian(worth [][]float64) []int {
	rows, columns := len(worth), len(worth[0])
	row, column := make([]float64, rows+1), make([]float64, columns+1) // potentials
	taken, way := make([]int, columns+1), make([]int, columns+1)
	// row by row: the cheapest way to a free column, which moves others along it
	for i := 1; i <= rows; i++ {
		taken[0] = i
		at := 0
		slack := make([]float64, columns+1)
		for j := range slack {
			slack[j] = math.Inf(1)
		}
		seen := make([]bool, columns+1)
		for taken[at] != 0 {
			seen[at] = true
			from, next, least := taken[at], 0, math.Inf(1)
			for j := 1; j <= columns; j++ {
				if seen[j] {
					continue
				}
				if cost := -worth[from-1][j-1] - row[from] - column[j]; cost < slack[j] {
					slack[j], way[j] = cost, at
				}
				if slack[j] < least {
					least, next = slack[j], j
				}
			}
			for j := range slack {
				if seen[j] {
					row[taken[j]] += least
					column[j] -= least
				} else {
					slack[j] -= least
				}
			}
			at = next
		}
		// along the way back each column gets the row before it
		for at != 0 {
			taken[at] = taken[way[at]]
			at = way[at]
		}
	}
	to := make([]int, rows)
	for j := 1; j <= columns; j++ {
		if taken[j] > 0 {
			to[taken[j]-1] = j - 1
		}
	}
	return to
}
