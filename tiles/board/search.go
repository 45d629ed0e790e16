package board

import (
	"math"
	"slices"

	"lidwright/tiles"
)

// search looks for the sizes of a board's lids on the grid of steps.
type search struct {
	draws draws
	own   []float64 // width for each pot alone
	step  float64   // 0: 0.1 mm
	most  int       // sizes
	tried int
}

// sizes is one set of lids.
type sizes struct {
	widths     []float64 // rising
	pairs, all float64
}

// score is what the search raises: the share of pots with a lid, and the chance that all have one.
func (s sizes) score(pots int) float64 { return s.pairs/float64(pots) + s.all }

// sizes counts the lids by size.
func (s sizes) sizes() []SizeCount {
	var counts []SizeCount
	for i, w := range s.widths {
		if i > 0 && w == s.widths[i-1] {
			counts[len(counts)-1].Count++
		} else {
			counts = append(counts, SizeCount{tiles.Millimetre(w), 1})
		}
	}
	return counts
}

// fewest is the best set of so many lids; of 0, of the fewest whose chance reaches wanted, and of
// half as many lids again as pots where none does.
func (s *search) fewest(lids int, wanted float64) sizes {
	if lids > 0 {
		return s.best(lids)
	}
	low, high := s.draws.pots, s.draws.lids
	best := s.best(low)
	if best.all >= wanted {
		return best
	}
	best = s.best(high)
	for high-low > 1 { // low does not reach it
		middle := (low + high) / 2
		if b := s.best(middle); b.all >= wanted {
			high, best = middle, b
		} else {
			low = middle
		}
	}
	return best
}

// best looks for the best sizes of n lids, at most s.most of them: uphill from each pot's own
// size, then neighbouring sizes are joined while that costs next to nothing, then uphill again.
func (s *search) best(n int) sizes {
	if s.step == 0 {
		s.step = 0.1
	}
	const effort = 400
	s.tried = 0
	grid := s.start(n)
	top := s.climb(&grid, effort, false)
	for {
		counts := distinct(grid)
		if len(counts) < 2 {
			break
		}
		joined, score := s.join(grid, counts)
		if len(counts) <= s.most && score < top-0.01 {
			break
		}
		grid = joined
	}
	s.climb(&grid, 2*effort, true)
	b := sizes{widths: s.widths(grid)}
	b.pairs, b.all = s.draws.judge(b.widths, boardDraws)
	return b
}

// start gives each pot its own size, on the grid, and spares the median; with fewer lids than
// pots they are spread evenly.
func (s *search) start(n int) []int {
	var own []int
	for _, w := range s.own {
		own = append(own, int(math.Round(w/s.step)))
	}
	slices.Sort(own)
	var grid []int
	for i := range n {
		switch {
		case n < len(own):
			grid = append(grid, own[(2*i+1)*len(own)/(2*n)])
		case i < len(own):
			grid = append(grid, own[i])
		default:
			grid = append(grid, own[len(own)/2])
		}
	}
	slices.Sort(grid)
	return grid
}

// widths are the sizes of a grid, mm.
func (s *search) widths(grid []int) []float64 {
	w := make([]float64, len(grid))
	for i, g := range grid {
		w[i] = float64(g) * s.step
	}
	return w
}

// try is the score of a grid on the boards of the search.
func (s *search) try(grid []int) float64 {
	s.tried++
	b := sizes{widths: s.widths(grid)}
	b.pairs, b.all = s.draws.judge(b.widths, searchDraws)
	return b.score(s.draws.pots)
}

// climb takes the first move that raises the score by more than one board in the search, until
// none does or the effort is spent. kept: only sizes that are there already may be moved to, or
// all lids of one size together.
func (s *search) climb(grid *[]int, effort int, kept bool) float64 {
	const gain = 1.0 / searchDraws
	score := s.try(*grid)
	for moved := true; moved && s.tried < effort; {
		moved = false
		for _, next := range moves(*grid, kept) {
			if p := s.try(next); p > score+gain {
				*grid, score, moved = next, p, true
				break
			}
			if s.tried >= effort {
				break
			}
		}
	}
	return score
}

// moves are all lids of one size, or one lid of it, one step up or down.
func moves(grid []int, kept bool) [][]int {
	var all [][]int
	sizes := distinct(grid)
	for _, size := range sizes {
		for _, to := range []int{size + 1, size - 1} {
			whole, single := slices.Clone(grid), slices.Clone(grid)
			for i := range whole {
				if whole[i] == size {
					whole[i] = to
				}
			}
			all = append(all, whole)
			one := to
			if kept { // to the next size that there is
				i, _ := slices.BinarySearch(sizes, size)
				if i += to - size; i < 0 || i >= len(sizes) {
					continue
				}
				one = sizes[i]
			}
			single[slices.Index(single, size)] = one
			all = append(all, single)
		}
	}
	for _, g := range all {
		slices.Sort(g)
	}
	return all
}

// distinct are the sizes in a rising grid.
func distinct(grid []int) []int { return slices.Compact(slices.Clone(grid)) }

// join puts two neighbouring sizes together, at the lower or the higher, whichever is best.
func (s *search) join(grid, sizes []int) (best []int, score float64) {
	score = math.Inf(-1)
	for i := 1; i < len(sizes); i++ {
		for _, way := range [][2]int{{sizes[i], sizes[i-1]}, {sizes[i-1], sizes[i]}} {
			next := slices.Clone(grid)
			for j := range next {
				if next[j] == way[0] {
					next[j] = way[1]
				}
			}
			if p := s.try(next); p > score {
				best, score = next, p
			}
		}
	}
	return best, score
}
