package board

import (
	"fmt"
	"math"
	"math/rand/v2"
	"reflect"
	"slices"
	"testing"

	"lidwright/tiles"
	"lidwright/tiles/lid"
	"lidwright/tiles/shrinkage"
)

// ternBoard answers b for the clay tern, with the lid difference of the worked answers.
func ternBoard(t testing.TB, b Question, partSD float64) (Answer, Known) {
	t.Helper()
	b.Common.Body = tiles.BatchRef{Clay: "tern", Batch: "B"}
	asked, err := b.Check(lid.UsualDefaults())
	if err != nil {
		t.Fatal(err)
	}
	known, err := asked.Know(tern{}, lid.Firing{}, shrinkage.SoFar{})
	if err != nil {
		t.Fatal(err)
	}
	known = known.Learned(&lid.Difference{SD: tiles.LogPercent(partSD)})
	a, err := Size(asked, known)
	if err != nil {
		t.Fatal(err)
	}
	return a, known
}

// twelve are the galleries of the worked board.
func twelve() []Gallery {
	var all []Gallery
	for _, s := range [][2]tiles.Millimetre{{103.6, 91.5}, {103.9, 91.5}, {104.2, 92}, {104.3, 92},
		{104.5, 92.5}, {104.5, 92.5},
		{104.6, 92.5}, {104.8, 92.5}, {105, 93}, {105.1, 93}, {105.4, 93.5}, {105.9, 94}} {
		all = append(all, Gallery{Collar: []tiles.Millimetre{s[0]}, Opening: s[1]})
	}
	return all
}

// The worked board: 12 galleries, 14 lids, at most three sizes. Worked by 20,000 draws for 6 at
// 102.0, 6 at 103.0 and 2 at 104.0: 0.89 and 11.9 pairs; a lid for each, kept with it, 0.05;
// 12 lids paired freely 0.67.
func TestWorkedBoard(t *testing.T) {
	a, known := ternBoard(t, Question{Common: lid.Question{Together: shrinkage.InPlace},
		Galleries: twelve(), Lids: 14}, 0.27)
	if a.AllPairChance < 0.87 || a.ExpectedPairs < 11.8 || len(a.Sizes) > 3 || a.Lids != 14 {
		t.Errorf("%s expected %.2f", a.Says(tiles.MM), a.ExpectedPairs)
	}
	near(t, "each kept with its own", a.OneToOneChance, 0.05, 0.015)
	if a.Trust != shrinkage.WellTested || !slices.Equal(a.Cautions, []string{lid.ShrinkVaries}) {
		t.Errorf("trust %s, cautions %v", a.Trust, a.Cautions)
	}
	pots := boardPots(t, twelve(), known)
	b := drawBoard(20000, pots, shrinkage.InPlace, -1, 18)
	worked := []float64{102, 102, 102, 102, 102, 102, 103, 103, 103, 103, 103, 103, 104, 104}
	pairs, all := b.judge(worked, 20000)
	near(t, "chance of the worked sizes", all, 0.89, 0.01)
	near(t, "pairs of the worked sizes", pairs, 11.9, 0.05)
	freely, _ := ternBoard(t, Question{Common: lid.Question{Together: shrinkage.InPlace}, Galleries: twelve(),
		Lids: 12, SizesMost: 5}, 0.27)
	near(t, "12 lids paired freely", freely.AllPairChance, 0.67, 0.03)
}

// boardPots are the clearances of each gallery for the clay tern.
func boardPots(t testing.TB, galleries []Gallery, known Known) []lid.Clearance {
	var pots []lid.Clearance
	for _, g := range galleries {
		q := lid.Question{Collar: g.Collar, Opening: g.Opening,
			Body: tiles.BatchRef{Clay: "tern", Batch: "B"}}
		pots = append(pots, lid.NewClearance(checked(q), known.Known))
	}
	return pots
}

// The table of what to expect (14 and 30 galleries about 104.5, ledge 92.5, lid difference 0.27):
// sizes of the board are never worse than one size for all, both are better than each lid to its own,
// and no worse than was worked out before for some board of that sd. Goals: the chance
// within 0.03 of 10^5 fresh draws (10^4 in the short form: standard error 0.005).
func TestBoardBeatsOneByOne(t *testing.T) {
	for _, c := range []struct {
		n             int
		sd            float64
		careful       bool
		spares        int
		own, one, all float64 // pairs
	}{
		{14, 0.6, false, 0, 10.7, 12.5, 13.3},
		{14, 0.6, false, 2, 10.7, 12.5, 13.7},
		{14, 0.6, true, 0, 13.2, 11.5, 13.7},
		{14, 0.3, false, 0, 10.7, 13.7, 13.7},
		{30, 0.6, false, 0, 22.9, 28.8, 29.4},
	} {
		t.Run(fmt.Sprint(c), func(t *testing.T) {
			var galleries []Gallery
			for i := range c.n { // quantiles: one board that stands for all of that sd
				z := math.Sqrt2 * math.Erfinv(2*(float64(i)+0.5)/float64(c.n)-1)
				galleries = append(galleries,
					Gallery{Collar: []tiles.Millimetre{tiles.Millimetre(104.5 + c.sd*z)}, Opening: 92.5})
			}
			common := lid.Question{Together: shrinkage.InPlace}
			if c.careful {
				common.MeasureSD, common.ThrowSD, common.Step = mm(0.15), mm(0.15), mm(0.1)
			}
			q := Question{Common: common, Galleries: galleries, Lids: c.n + c.spares}
			a, known := ternBoard(t, q, 0.27)
			one := q
			one.SizesMost = 1
			single, _ := ternBoard(t, one, 0.27)
			if single.ExpectedPairs < c.one-0.1 || a.ExpectedPairs < c.all-0.1 {
				t.Errorf("one size %.2f pairs, sizes of the board %.2f",
					single.ExpectedPairs, a.ExpectedPairs)
			}
			score := func(a Answer) float64 { return a.ExpectedPairs/float64(c.n) + a.AllPairChance }
			if score(a) < score(single)-0.005 {
				t.Errorf("sizes of the board %.3f, one size %.3f", score(a), score(single))
			}
			if a.ExpectedPairs < c.own {
				t.Errorf("%.2f pairs, %.1f each to its own", a.ExpectedPairs, c.own)
			}
			fresh := soak(1e4, 1e5)
			pairs, all := freshBoards(fresh, galleries, q.Common, known, a.widths())
			near(t, "chance against fresh draws", a.AllPairChance, all, 0.03)
			near(t, "pairs against fresh draws", a.ExpectedPairs, pairs, 0.1)
			t.Logf("%s fresh: %.3f, %.2f pairs", a.Says(tiles.MM), all, pairs)
		})
	}
}

func (a Answer) widths() []float64 {
	var w []float64
	for _, s := range a.Sizes {
		for range s.Count {
			w = append(w, float64(s.Size))
		}
	}
	return w
}

// freshBoards draws boards another way: true sizes, true shrinks, and pairs found by augmenting paths.
func freshBoards(n int, galleries []Gallery, common lid.Question, known Known, widths []float64) (pairs,
	all float64) {
	rng := rand.New(rand.NewPCG(77, 3))
	measure, throw := float64(*orUsual(common.MeasureSD, 0.3)), float64(*orUsual(common.ThrowSD, 0.5))
	for range n {
		part := float64(known.Part.SD) * rng.NormFloat64()
		lids := make([]float64, len(widths))
		for j, x := range widths {
			lids[j] = (x + throw*rng.NormFloat64()) * math.Exp(-(13.2389+part+0.2*rng.NormFloat64())/100)
		}
		fits := make([][]bool, len(galleries))
		for i, g := range galleries {
			left := math.Exp(-(13.2389 + 0.2*rng.NormFloat64()) / 100)
			c, o := (float64(g.Collar[0])+measure*rng.NormFloat64())*left, (float64(g.Opening)+
				measure*rng.NormFloat64())*left
			fits[i] = make([]bool, len(lids))
			for j, l := range lids {
				fits[i][j] = l <= c-1 && l >= c-2.5 && l-(c+o)/2 >= 1
			}
		}
		p := matching(fits)
		pairs += float64(p)
		if p == len(galleries) {
			all++
		}
	}
	return pairs / float64(n), all / float64(n)
}

// matching is the size of a largest matching, by augmenting paths (Berge).
func matching(fits [][]bool) int {
	if len(fits) == 0 {
		return 0
	}
	owner := make([]int, len(fits[0]))
	for j := range owner {
		owner[j] = -1
	}
	n := 0
	for i := range fits {
		seen := make([]bool, len(owner))
		var find func(i int) bool
		find = func(i int) bool {
			for j, ok := range fits[i] {
				if !ok || seen[j] {
					continue
				}
				seen[j] = true
				if owner[j] < 0 || find(owner[j]) {
					owner[j] = i
					return true
				}
			}
			return false
		}
		if find(i) {
			n++
		}
	}
	return n
}

// The greedy way pairs as many as a largest matching, on windows of any widths.
func TestGreedyIsALargestMatching(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 6))
	for range 10000 {
		n, m := 1+rng.IntN(9), 1+rng.IntN(12)
		type window struct{ low, high float64 }
		var windows []window
		for range n {
			low := 10 * rng.Float64()
			windows = append(windows, window{low, low + 3*rng.Float64()*rng.Float64()})
		}
		slices.SortFunc(windows, func(a, b window) int { return int(math.Copysign(1, a.high-b.high)) })
		b := draws{pots: n, lids: m, low: make([]float64, n), high: make([]float64, n),
			least: make([]float64, n)}
		least := math.Inf(1)
		for i := n - 1; i >= 0; i-- {
			b.low[i], b.high[i] = windows[i].low, windows[i].high
			least = min(least, b.low[i])
			b.least[i] = least
		}
		lids := make([]float64, m)
		for j := range lids {
			lids[j] = 12 * rng.Float64()
		}
		slices.Sort(lids)
		fits := make([][]bool, n)
		for i, w := range windows {
			for _, l := range lids {
				fits[i] = append(fits[i], l >= w.low && l <= w.high)
			}
		}
		if got, want := b.pairs(0, lids), matching(fits); got != want {
			t.Fatalf("%d pairs, %d can be: %v %v", got, want, windows, lids)
		}
	}
}

// A board of one gallery is the lid question.
func TestBoardOfOne(t *testing.T) {
	for name, c := range drawn() {
		if c.q.CollarStage != "" || c.q.Lid != 0 {
			continue
		}
		b := Question{Common: c.q, Galleries: []Gallery{{Collar: c.q.Collar, Opening: c.q.Opening}}, Lids: 1,
			SizesMost: 1}
		again := c.q.CollarAgain // a board reads each direction once
		b.Common.Collar, b.Common.CollarAgain, b.Common.Opening, b.Common.Body =
			nil, nil, 0, tiles.BatchRef{Clay: "tern", Batch: "B"}
		one := Checked{question: b} // fewer than a board has
		one.checkPots(new(tiles.Faults), lid.UsualDefaults())
		known, err := one.Know(spreadPair(c.pair), lid.Firing{}, shrinkage.SoFar{})
		if err != nil {
			t.Fatal(err)
		}
		known = known.Learned(&lid.Difference{SD: tiles.LogPercent(c.part)})
		a, err := Size(one, known)
		if err != nil {
			t.Fatal(name, err)
		}
		f := lid.NewClearance(one.pots[0], known.Known)
		near(t, name, a.AllPairChance, f.ChanceAt(float64(a.Sizes[0].Size)), 0.02)
		near(t, name+", pairs", a.ExpectedPairs, a.AllPairChance, 1e-12)
		_ = again
	}
}

// The assignment is a best one: against every permutation on small tables.
func TestAssignAgainstAllPermutations(t *testing.T) {
	rng := rand.New(rand.NewPCG(9, 9))
	for range 2000 {
		rows, columns := 1+rng.IntN(6), 1+rng.IntN(6)
		worth := make([][]float64, rows)
		for i := range worth {
			for range columns {
				worth[i] = append(worth[i], 1000*float64(rng.IntN(2))-30*rng.Float64())
			}
		}
		got := assign(worth)
		var sum float64
		used := map[int]bool{}
		for i, j := range got {
			if j < 0 {
				continue
			}
			if used[j] {
				t.Fatalf("lid %d twice: %v", j, got)
			}
			used[j] = true
			sum += worth[i][j]
		}
		if len(used) != min(rows, columns) {
			t.Fatalf("%d pairs of %d and %d", len(used), rows, columns)
		}
		if want := bestSum(worth, 0, 0, max(0, rows-columns)); math.Abs(sum-want) > 1e-9 {
			t.Fatalf("worth %.6f, best %.6f", sum, want)
		}
	}
}

// bestSum tries every way to give the rows from i columns that used has not, leaving out so many rows.
func bestSum(worth [][]float64, i, used, out int) float64 {
	if i == len(worth) {
		return 0
	}
	best := math.Inf(-1)
	if out > 0 {
		best = bestSum(worth, i+1, used, out-1)
	}
	for j, w := range worth[i] {
		if used&(1<<j) == 0 {
			best = max(best, w+bestSum(worth, i+1, used|1<<j, out))
		}
	}
	return best
}

func TestPairingList(t *testing.T) {
	b := Question{Common: lid.Question{Together: shrinkage.InPlace}, Galleries: twelve()[:8]}
	for i, w := range []tiles.Millimetre{102.9, 101.6, 102.3, 102.2, 103.1, 102.6, 101.9, 88} {
		b.Measured = append(b.Measured, MeasuredLid{Lid: fmt.Sprint(i + 1), Width: w})
	}
	a, _ := ternBoard(t, b, 0.27)
	if len(a.Pairs) != 8 || a.Sizes != nil || a.AllPairChance > 1e-6 {
		t.Fatalf("%+v", a)
	}
	waiting, used := 0, map[string]bool{}
	for i, p := range a.Pairs {
		switch {
		case p.Gallery != i || used[p.Lid]:
			t.Errorf("%+v", p)
		case p.Lid == "":
			waiting++
			if math.IsNaN(float64(p.Set)) || !math.IsNaN(p.FitChance) {
				t.Errorf("waiting: %+v", p)
			}
		case p.Lid == "8" || p.FitChance < 0.5:
			t.Errorf("%+v", p)
		default:
			used[p.Lid] = true
		}
	}
	if waiting != 1 {
		t.Errorf("%d pots wait, the lid of 88 fits none", waiting)
	}
}

func TestBoardFaults(t *testing.T) {
	d := lid.UsualDefaults()
	common := lid.Question{BodyRates: rates(0.06, 0.07)}
	board := func(change func(*Question)) Question {
		b := Question{Common: common, Galleries: twelve()}
		change(&b)
		return b
	}
	for name, c := range map[string]struct {
		b           Question
		field, kind string
	}{
		"seven": {board(func(b *Question) { b.Galleries = b.Galleries[:7] }),
			"galleries", WrongSize},
		"a gauge for 31": {Question{Common: common, Gauge: &Gauge{Collar: 104, Opening: 92, Count: 31}},
			"gauge.count", WrongSize},
		"neither": {Question{Common: common}, "galleries", tiles.Missing},
		"both": {board(func(b *Question) { b.Gauge = &Gauge{Collar: 104, Count: 12} }),
			"gauge", tiles.GivenTwice},
		"swapped": {board(func(b *Question) {
			b.Galleries[3] = Gallery{Collar: []tiles.Millimetre{92},
				Opening: 104}
		}), "galleries[3].opening_mm", lid.OpeningWider},
		"4 inches": {board(func(b *Question) { b.Galleries[2] = Gallery{Collar: []tiles.Millimetre{4}} }),
			"galleries[2].collar_mm", tiles.UnitUnclear},
		"19 lids":   {board(func(b *Question) { b.Lids = 19 }), "lids", tiles.OutOfRange},
		"six sizes": {board(func(b *Question) { b.SizesMost = 6 }), "sizes_most", tiles.OutOfRange},
		"certainty": {board(func(b *Question) { b.WantedChance = 1 }), "wanted_chance", tiles.OutOfRange},
		"no rates": {board(func(b *Question) { b.Common.BodyRates = shrinkage.StatedRates{} }), "clay",
			tiles.Missing},
		"lid twice": {board(func(b *Question) {
			b.Measured = []MeasuredLid{{"1", 102, tiles.Wet},
				{"1", 103, tiles.Wet}}
		}), "measured_lids.lid", tiles.GivenTwice},
		"lid of 3": {board(func(b *Question) { b.Measured = []MeasuredLid{{"1", 3, tiles.Wet}} }),
			"measured_lids.lid_mm", tiles.UnitUnclear},
		"the widest scatter": {Question{Common: common, Gauge: &Gauge{Collar: 104, Opening: 92, Count: 12,
			SpreadSD: mm(3)}}, "", ""},
		"a wider one": {Question{Common: common, Gauge: &Gauge{Collar: 104, Opening: 92, Count: 12,
			SpreadSD: mm(3.1)}}, "gauge.spread_sd_mm", tiles.OutOfRange},
		"a scatter below 0": {Question{Common: common, Gauge: &Gauge{Collar: 104, Opening: 92, Count: 12,
			SpreadSD: mm(-.1)}}, "gauge.spread_sd_mm", tiles.OutOfRange},
		"eight": {board(func(b *Question) { b.Galleries = b.Galleries[:8] }), "", ""},
		"a gauge for 30": {Question{Common: common, Gauge: &Gauge{Collar: 104, Opening: 92, Count: 30}},
			"", ""},
		"18 lids":    {board(func(b *Question) { b.Lids = 18 }), "", ""},
		"five sizes": {board(func(b *Question) { b.SizesMost = 5 }), "", ""},
		"a collar of its own": {board(func(b *Question) { b.Common.Collar = []tiles.Millimetre{100} }),
			"collar_mm", lid.UnknownMember},
	} {
		t.Run(name, func(t *testing.T) {
			_, err := c.b.Check(d)
			if c.field == "" {
				if err != nil {
					t.Error(err)
				}
				return
			}
			wants(t, err, c.field, c.kind)
		})
	}
}

// A question that is asked for another maker or batch leaves the one that it was made of as it was.
func TestQuestionStaysAsItWas(t *testing.T) {
	asked := func() Checked {
		b := Question{Common: lid.Question{BodyRates: rates(0.06, 0.07)}, Galleries: twelve()[:8],
			Measured: []MeasuredLid{{"1", 102, tiles.Wet}, {"2", 101, tiles.Wet}}}
		c, err := b.Check(lid.UsualDefaults())
		if err != nil {
			t.Fatal(err)
		}
		return c
	}
	b := asked()
	by, of := b.By(lid.Accuracy{ThrowSD: 0.9, MeasureSD: 0.1, Lids: 40, Readings: 40}), b.Of("C", "D")
	if !reflect.DeepEqual(b, asked()) {
		t.Error("the question is another now")
	}
	if reflect.DeepEqual(by.pots, b.pots) || reflect.DeepEqual(by.gaps, b.gaps) ||
		of.Common.Body.Batch != "C" || of.Common.LidClay.Batch != "D" {
		t.Error("for another maker, or of another batch, it is the same")
	}
}

// What all pots and all lids share is a root of the sum of its parts (Cholesky's, by hand: for 0.25, 0.1 and
// 0.53 it is 0.5, 0.2 and 0.7); what each has for itself has its place in the kiln in it, where it does not
// stand in one with the other.
func TestSpreadOfABoard(t *testing.T) {
	p := shrinkage.Pair{Rate: shrinkage.Spread2{{0.2, 0.1}, {0.1, 0.4}}, Batch: shrinkage.Spread2{{0.01, 0},
		{0, 0.04}},
		Load: shrinkage.Spread2{{0.03, 0}, {0, 0.08}}, Gone: shrinkage.Spread2{{0.01, 0}, {0, 0.01}},
		Piece: shrinkage.Spread2{{0.09, 0}, {0, 0.16}}, Position: shrinkage.Spread2{{0.16, 0}, {0, 0.09}}}
	for together, own := range map[shrinkage.Together][2]float64{shrinkage.InPlace: {0.3, 0.4},
		shrinkage.SameLoad: {0.5, 0.5}} {
		shared, pot, cover := boardSpread(p, together)
		for i, want := range []float64{0.5, 0, 0.2, 0.7} {
			near(t, fmt.Sprint(together, " shared ", i), shared[i/2][i%2], want, 1e-12)
		}
		near(t, string(together)+" pot", pot, own[0], 1e-12)
		near(t, string(together)+" lid", cover, own[1], 1e-12)
	}
	apart, _, _ := boardSpread(shrinkage.Pair{Rate: shrinkage.Spread2{{0.25, 0}, {0, 0.49}}}, shrinkage.Apart)
	near(t, "apart, pots", apart[0][0], 0.5, 1e-12)
	near(t, "apart, lids", apart[1][1], 0.7, 1e-12)
	shared, _, _ := boardSpread(shrinkage.Pair{Rate: shrinkage.Spread2{{0, 0}, {0, 0.49}}}, shrinkage.InPlace)
	if shared[0] != [2]float64{} || shared[1][0] != 0 || math.Abs(shared[1][1]-0.7) > 1e-12 {
		t.Errorf("where the body is known for certain: %v", shared)
	}
}

// A gauge: 12 pots thrown to 104.5 with 0.6, fewest lids that reach 0.90.
func TestBoardFromAGauge(t *testing.T) {
	a, _ := ternBoard(t, Question{Common: lid.Question{Together: shrinkage.InPlace},
		Gauge: &Gauge{Collar: 104.5, Opening: 92.5, SpreadSD: mm(0.6), Count: 12}}, 0.27)
	if a.AllPairChance < 0.90 && a.Lids < 18 || a.Lids < 12 || a.Lids > 18 {
		t.Errorf("%s", a.Says(tiles.MM))
	}
	fewer, _ := ternBoard(t, Question{Common: lid.Question{Together: shrinkage.InPlace},
		Gauge: &Gauge{Collar: 104.5, Opening: 92.5, SpreadSD: mm(0.6), Count: 12}, Lids: max(a.Lids-1, 1)},
		0.27)
	if a.Lids > 12 && fewer.AllPairChance >= 0.90 {
		t.Errorf("one lid fewer reaches it too: %s", fewer.Says(tiles.MM))
	}
}

// Goal: 30 galleries in a second on the two-core development machine, the number of lids too.
func BenchmarkBoard(b *testing.B) {
	var galleries []Gallery
	for i := range 30 {
		galleries = append(galleries, Gallery{Collar: []tiles.Millimetre{tiles.Millimetre(103.3 +
			0.08*float64(i))}, Opening: 92.5})
	}
	for _, lids := range []int{34, 0} {
		b.Run(map[int]string{34: "34lids", 0: "fewest"}[lids], func(b *testing.B) {
			for b.Loop() {
				ternBoard(b, Question{Common: lid.Question{Together: shrinkage.InPlace},
					Galleries: galleries, Lids: lids}, 0.27)
			}
		})
	}
}
