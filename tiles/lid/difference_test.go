package lid

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"lidwright/tiles"
	"lidwright/tiles/shrinkage"
)

var teapot = DifferenceGroup{Form: "teapot 0.9 l", Body: "tern", Lid: "tern", Maker: "KT"}

// boardsOf draws how lids of one group sat: boards of six (or half a board), window 0.5 to 2.0, no
// ledge, aimed at 1.25, a lid of that fired width; the true difference moves every play.
func boardsOf(rng *rand.Rand, delta, width float64, lids int, measured bool) []ComparedResult {
	var boards []ComparedResult
	for lids > 0 {
		n := min(6, lids)
		lids -= n
		b := ComparedResult{Group: teapot, Play: 1.25, OwnSD: 0.35, SameSD: 0.1,
			Lid: tiles.Millimetre(width), Ledge: nan,
			Limits: Limits{LeastPlay: 0.5, MostPlay: 2, Bearing: 1}}
		shared := 0.1 * rng.NormFloat64()
		for range n {
			play := 1.25 + width*delta/100 + shared + 0.35*rng.NormFloat64()
			seen := play + 0.15*rng.NormFloat64()
			switch {
			case seen < 0:
				b.Sat.TooBig++
			case seen < 0.5:
				b.Sat.Tight++
			case seen < 2:
				b.Sat.Good++
			default:
				b.Sat.Loose++
			}
			if measured {
				b.Plays = append(b.Plays, tiles.Millimetre(play+0.15*rng.NormFloat64()))
			}
		}
		boards = append(boards, b)
	}
	return boards
}

// The table of what outcomes teach: 100 mm wet is 87.5 fired, a true difference of 0.4. 400 groups
// with LIDWRIGHT_SOAK, 60 in the short form; the tolerance of a mean is 0.03 or three standard
// errors (posterior means spread by about 0.2), of its sd 0.03. Then 90 % ranges with differences
// drawn from the prior: 85 to 95 %, short form 80 to 98.
func TestLidDifferenceFromLidResults(t *testing.T) {
	groups := soak(60, 400)
	for _, c := range []struct {
		width    float64
		lids     int
		measured bool
		mean, sd float64
	}{
		{52.5, 12, false, 0.19, 0.28}, {52.5, 24, false, 0.27, 0.22},
		{87.5, 3, false, 0.16, 0.29}, {87.5, 6, false, 0.21, 0.24}, {87.5, 12, false, 0.29, 0.19},
		{87.5, 24, false, 0.33, 0.14},
		{131.25, 12, false, 0.34, 0.12}, {131.25, 24, false, 0.36, 0.09},
		{87.5, 3, true, 0.25, 0.23}, {87.5, 12, true, 0.36, 0.14},
	} {
		rng := rand.New(rand.NewPCG(20, uint64(c.lids)))
		var mean, sd, squares float64
		for range groups {
			d := LearnDifferences(boardsOf(rng, 0.4, c.width, c.lids, c.measured)).Of(teapot)
			if d.Fits != c.lids {
				t.Fatalf("%d fits of %d lids", d.Fits, c.lids)
			}
			mean, sd, squares = mean+float64(d.Mean), sd+float64(d.SD), squares+float64(d.Mean*d.Mean)
		}
		n := float64(groups)
		mean, sd = mean/n, sd/n
		se := math.Sqrt(max(squares/n-mean*mean, 0) / n)
		what := fmt.Sprintf("%.0f mm fired, %d lids, measured %t", c.width, c.lids, c.measured)
		near(t, what+": mean", mean, c.mean, max(0.03, 3*se))
		near(t, what+": sd", sd, c.sd, 0.03)
		if (c.lids == 24 || c.measured && c.lids == 12) && c.width == 87.5 && (mean < 0.2 || mean > 0.5) {
			t.Errorf("%s: %.3f is not within 0.2 to 0.5", what, mean)
		}
		t.Logf("%s: %.3f ± %.3f (se %.3f)", what, mean, sd, se)
	}
}

func TestPartRangesHold(t *testing.T) {
	groups := soak(120, 400)
	low, high := 0.80, 0.98
	if groups == 400 {
		low, high = 0.85, 0.95
	}
	for _, c := range []struct {
		lids     int
		measured bool
	}{{3, false}, {12, false}, {24, false}, {12, true}} {
		rng := rand.New(rand.NewPCG(21, uint64(c.lids)))
		held := 0
		for range groups {
			delta := 0.4 * rng.NormFloat64()
			d := LearnDifferences(boardsOf(rng, delta, 87.5, c.lids, c.measured)).Of(teapot)
			if float64(d.Low) <= delta && delta <= float64(d.High) {
				held++
			}
		}
		share := float64(held) / float64(groups)
		if share < low || share > high {
			t.Errorf("%d lids, measured %t: 90 %% ranges hold %.3f", c.lids, c.measured, share)
		}
		t.Logf("%d lids, measured %t: 90 %% ranges hold %.3f of %d", c.lids, c.measured, share, groups)
	}
}

// The likelihood against brute force: the shared part integrated over a fine grid, every lid by
// integrating the density of its own play times the blurred limits.
func TestPartLikelihoodByBruteForce(t *testing.T) {
	b := ComparedResult{Group: teapot, Sat: Outcomes{TooBig: 1, Tight: 2, Good: 3, Loose: 1, DropsIn: 1},
		Plays: []tiles.Millimetre{1.1}, Play: 1.6, OwnSD: 0.4, SameSD: 0.25,
		Lid: 90, Ledge: 3.2, Limits: Limits{LeastPlay: 1, MostPlay: 2.5, Bearing: 1}}
	var grids [len(boardSDs)][]float64
	for k := range grids {
		grids[k] = make([]float64, partPoints)
	}
	b.addTo(&grids)
	density := func(x, sd float64) float64 { return math.Exp(-x*x/(2*sd*sd)) / (sd * math.Sqrt(2*math.Pi)) }
	edges := []float64{math.Inf(-1), 0, 1, 2.2, 3.2, math.Inf(1)}
	class := func(c int, m float64) float64 { // chance that a lid of mean play m has outcome c
		var p float64
		const h = 0.005
		for x := m - 3; x < m+3; x += h {
			p += h * density(x-m, 0.4) * (normalCDF((edges[c+1]-x)/0.15) - normalCDF((edges[c]-x)/0.15))
		}
		return p
	}
	brute := func(delta, sd float64) float64 {
		var p float64
		const h = 0.01
		for shared := -6 * sd; shared < 6*sd; shared += h {
			m := 1.6 + 0.9*delta + shared
			tight := class(1, m) // the play of 1.1 lies in good and takes one of the three
			all := class(0, m) * tight * tight * class(2, m) * class(2, m) * class(3, m) * class(4, m)
			for _, x := range b.Plays {
				all *= density(float64(x)-m, math.Hypot(0.4, 0.15))
			}
			p += h * density(shared, sd) * all
		}
		return p
	}
	for _, i := range []int{120, 140, 150, 160, 185} {
		for k, apart := range boardSDs { // 0.9 mm of play for a point
			near(t, fmt.Sprintf("log likelihood at %.2f, boards %.1f apart", partAt(i), apart.sd),
				grids[k][i], math.Log(brute(partAt(i), math.Hypot(0.25, 0.9*apart.sd))), 2e-3)
		}
	}
}

func TestPartsLeanOnEachOther(t *testing.T) {
	none := LearnDifferences(nil).Of(teapot)
	near(t, "mean before any lid", float64(none.Mean), 0, 1e-9)
	near(t, "sd before any lid", float64(none.SD), math.Hypot(0.35, 0.20), 1e-3) // 0.403
	near(t, "upper end before any lid", float64(none.High), 1.645*0.403, 5e-3)
	near(t, "no value of Parts at all", float64(Differences{}.Of(teapot).SD), 0.403, 1e-3)
	var boards []ComparedResult
	rng := rand.New(rand.NewPCG(4, 4))
	for i := range 5 {
		for _, b := range boardsOf(rng, 0.5, 120, 24, true) {
			b.Group.Form = fmt.Sprint("form ", i)
			boards = append(boards, b)
		}
	}
	all := LearnDifferences(boards)
	fresh := all.Of(DifferenceGroup{Form: "a new jar", Body: "tern", Lid: "tern"})
	if fresh.Mean < 0.3 || fresh.SD > 0.3 || fresh.Fits != 0 {
		t.Errorf("a new form beside five at 0.5: %.2f ± %.2f", fresh.Mean, fresh.SD)
	}
	known := all.Of(DifferenceGroup{Form: "form 2", Body: "tern", Lid: "tern"}) // maker not said: all makers
	if known.Fits != 24 || known.SD > 0.12 || math.Abs(float64(known.Mean)-0.5) > 0.3 {
		t.Errorf("a known form: %+v", known)
	}
	struck := LearnDifferences(boards[4:])
	if struck.Of(DifferenceGroup{Form: "form 0", Body: "tern", Lid: "tern"}).Fits != 0 {
		t.Error("struck boards still teach")
	}
}

// A board mostly not looked at is left out; an impossible outcome does not erase the rest.
func TestBiasedAndImpossibleBoards(t *testing.T) {
	b := ComparedResult{Group: teapot, Sat: Outcomes{TooBig: 2, NotLookedAt: 4}, Play: 1.75, OwnSD: 0.35,
		SameSD: 0.1, Lid: 90, Ledge: nan, Limits: Limits{LeastPlay: 1, MostPlay: 2.5}}
	p := LearnDifferences([]ComparedResult{b})
	if p.LeftOut() != 1 || p.Of(teapot).Fits != 0 || math.Abs(float64(p.Of(teapot).Mean)) > 1e-9 {
		t.Errorf("a board with 2 of 6 looked at taught %+v", p.Of(teapot))
	}
	good := b
	good.Sat = Outcomes{Good: 30}
	good.Play = 0.9 // good all the same: the lids must be smaller than told
	before := LearnDifferences([]ComparedResult{good, good}).Of(teapot)
	odd := b
	odd.Sat, odd.Play = Outcomes{TooBig: 1}, 15
	after := LearnDifferences([]ComparedResult{good, good, odd}).Of(teapot)
	if math.IsNaN(float64(after.Mean)) || math.Abs(float64(after.Mean-before.Mean)) > 0.05 {
		t.Errorf("%.3f, with an impossible outcome %.3f", before.Mean, after.Mean)
	}
}

// A board with its pots: what the fit expected of it.
func TestExpect(t *testing.T) {
	d := UsualDefaults()
	pot := func(collar, lid tiles.Millimetre) Question {
		return Question{Collar: []tiles.Millimetre{collar}, Opening: collar - 12, Lid: lid,
			Body: tiles.BatchRef{Clay: "tern", Batch: "B"}}
	}
	first := pot(104.5, 102.5)
	known, err := checked(first, d).Know(tern{nu: math.Inf(1), rate: 0.5}, Firing{}, shrinkage.SoFar{})
	if err != nil {
		t.Fatal(err)
	}
	v := Result{Form: "teapot 0.9 l", Maker: "KT", Seat: "inset",
		Body: tiles.BatchRef{Clay: "tern", Batch: "B"}, Lid: tiles.BatchRef{Clay: "tern", Batch: "B"},
		Sat: Outcomes{Good: 4}}
	b, err := v.Expect([]ComparedPot{{*checked(pot(104.5, 102.5), d), known, true},
		{*checked(pot(105.5, 103.5), d), known, true}})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "play", float64(b.Play), 2*0.876, 1e-6)
	near(t, "lid", float64(b.Lid), 103*0.876, 1e-6)
	near(t, "ledge", float64(b.Ledge), 6*0.876, 1e-6)
	near(t, "own", float64(b.OwnSD), math.Sqrt(square(0.876*0.3)+square(0.876*0.5)+
		0.04e-4*(square(105*0.876)+square(103*0.876))), 1e-3)
	near(t, "same: body and lid are one clay, whose rate takes itself out", float64(b.SameSD), 0, 1e-9)
	near(t, "rate", float64(b.RateSD), 0, 1e-9)
	two := known
	two.Pair.Rate, two.Pair.Batch, two.Pair.Load = both(0.25, 0), both(0.16, 0.06), both(0.09, 0.09)
	apart, err := v.Expect([]ComparedPot{{*checked(pot(104.5, 102.5), d), two, true}})
	if err != nil {
		t.Fatal(err)
	}
	// 2*0.25 and 2*(0.16 - 0.06)
	near(t, "rate of two clays", float64(apart.RateSD), math.Sqrt(rateStays*(0.5+0.2)), 1e-9)
	near(t, "same of two clays", float64(apart.SameSD), math.Sqrt((1-rateStays)*0.7)*102.5*0.876/100, 0.02)
	if b.Group != teapot || b.Limits != (Limits{1, 2.5, 1}) {
		t.Errorf("%+v", b)
	}
	v.Limits = &Limits{0.8, 2.2, 1.2}
	if b, _ = v.Expect([]ComparedPot{{*checked(first, d), known, false}}); b.Limits != *v.Limits {
		t.Errorf("limits %+v, kept with the board %+v", b.Limits, *v.Limits)
	}
	if _, err := v.Expect(nil); err == nil {
		t.Error("a board without any pot")
	}
}

// Goal: 1,000 lids learned anew within 200 ms.
func BenchmarkLearnThousandLids(b *testing.B) {
	rng := rand.New(rand.NewPCG(1, 1))
	var boards []ComparedResult
	for g := range 20 {
		for _, one := range boardsOf(rng, 0.3, 90, 50, false) {
			one.Group.Form = fmt.Sprint("form ", g)
			boards = append(boards, one)
		}
	}
	b.ResetTimer()
	for b.Loop() {
		LearnDifferences(boards).Of(boards[0].Group)
	}
}

// The same, every lid a board of its own.
func BenchmarkLearnThousandBoards(b *testing.B) {
	rng := rand.New(rand.NewPCG(1, 1))
	var boards []ComparedResult
	for range 1000 {
		boards = append(boards, boardsOf(rng, 0.3, 90, 1, false)...)
	}
	b.ResetTimer()
	for b.Loop() {
		LearnDifferences(boards).Of(teapot)
	}
}

// Where the width of each lid comes from: said with the board one by one, as their mean, from the
// card as measured, or as told; a pot without any teaches nothing.
func TestLidFor(t *testing.T) {
	card := PotCard{Seat: Flange, Collar: []tiles.Millimetre{80}, Opening: 70, Stage: tiles.Wet,
		Set: 78, Measured: 78.3}
	v := Result{Form: "jar", Maker: "KT", Body: tiles.BatchRef{Clay: "tern", Batch: "B"},
		Pots: []string{"a", "b"}}
	for _, c := range []struct {
		thrown []tiles.Millimetre
		card   PotCard
		lid    tiles.Millimetre
		told   bool
	}{
		{[]tiles.Millimetre{77, 79}, card, 79, false}, {[]tiles.Millimetre{77, 78, 82}, card, 79, false},
		{nil, card, 78.3, false},
		{nil, PotCard{Seat: Flange, Collar: []tiles.Millimetre{80}, Set: 78}, 78, true},
		{nil, PotCard{Collar: []tiles.Millimetre{80}}, 0, true},
	} {
		v.Thrown = c.thrown
		q, asTold := v.LidFor(1, c.card)
		near(t, "lid", float64(q.Lid), float64(c.lid), 1e-9)
		if asTold != c.told || q.Opening != 0 {
			t.Errorf("%+v: %+v %t", c, q, asTold)
		}
	}
}

func TestMoreToldThanThereWere(t *testing.T) {
	v := Result{Sat: Outcomes{Good: 10, Tight: 2}, Losses: Losses{Rocks: 1}}
	if err := v.OutOf(12); err == nil {
		t.Error("13 told of 12")
	}
	if err := v.OutOf(18); err != nil || v.Sat.NotLookedAt != 5 || v.Sat.Lids() != 17 {
		t.Errorf("%v %+v", err, v.Sat)
	}
	v = Result{Sat: Outcomes{Good: 2}, Plays: []tiles.Millimetre{1.2, 5}}
	if err := v.CheckPlays(3.5); err == nil {
		t.Error("a play of 5 on a ledge of 3.5, and nothing dropped in")
	}
	if err := v.CheckPlays(nan); err != nil {
		t.Error(err)
	}
	v.Sat.DropsIn = 1
	if err := v.CheckPlays(3.5); err != nil {
		t.Error(err)
	}
}

// What boards taught takes the place of the doubt of the rates between lid and body, as far as they saw it;
// what both share stays. By hand: sums of Rate and Batch are 0.41 and 0.06 off the diagonal, between the two
// 2*(0.41 - 0.06) = 0.70; half of it learned leaves 0.35, and the mean of the two keeps (0.41 + 0.06)/2.
func TestRateIsNotCountedTwice(t *testing.T) {
	f := Clearance{Part: Difference{RateSD: tiles.LogPercent(math.Sqrt(0.35))}}
	f.Pair.Rate, f.Pair.Batch = both(0.25, 0), both(0.16, 0.06)
	f.rateLearned()
	near(t, "between lid and body", f.rateBetween(), 0.35, 1e-12)
	sum := f.Pair.Rate
	near(t, "what both share", (sum[0][0]+sum[1][1]+2*sum[0][1])/4, 0.235, 1e-12)
	f = Clearance{Part: Difference{RateSD: 3}}
	f.Pair.Rate = both(0.25, 0)
	f.rateLearned()
	near(t, "all of it learned", f.rateBetween(), 0, 1e-12)
}

// What a board moved is the difference of what its group says with the boards up to it and with those before
// it.
func TestMoves(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 7))
	boards := boardsOf(rng, 0.4, 90, 36, true)
	other := boardsOf(rng, -0.3, 90, 12, false)
	for i := range other {
		other[i].Group.Form = "jar"
	}
	boards = append(append(boards[:3:3], other...), boards[3:]...)
	// tells nothing
	boards = append(boards, ComparedResult{Group: teapot, Sat: Outcomes{Tight: 1, NotLookedAt: 5}})
	moves := Moves(boards, teapot.Form, 4)
	if len(moves) != 4 {
		t.Fatalf("%d moves, not 4: %v", len(moves), moves)
	}
	for i, m := range moves {
		before, after := LearnDifferences(boards[:i]).Of(teapot).Mean, LearnDifferences(boards[:i+
			1]).Of(teapot).Mean
		if boards[i].Group != teapot || math.Abs(float64(m.Before-before)) > 1e-9 ||
			math.Abs(float64(m.After-after)) > 1e-9 {
			t.Errorf("board %d: %+v, not from %v to %v", i, m, before, after)
		}
	}
	if last := moves[len(boards)-1]; last.Before != last.After {
		t.Errorf("a board of which one lid was looked at moved %+v", last)
	}
}
