package lid

import (
	"math"
	"math/rand/v2"
	"testing"

	"lidwright/tiles"
)

// The score of our own ranges in made-up studios: the difference drawn from the prior, boards of
// six with one play measured each, scored from the boards before. 90 % ranges must hold 85 to 95 %.
func TestOurRangesHold(t *testing.T) {
	studios := soak(60, 400)
	var all Coverage
	for i := range studios {
		rng := rand.New(rand.NewPCG(22, uint64(i)))
		boards := boardsOf(rng, 0.4*rng.NormFloat64(), 87.5, 60, true)
		for j := range boards {
			boards[j].Plays = boards[j].Plays[:1]
		}
		h := ScoreCoverage(boards)
		if h.Of != len(boards) {
			t.Fatalf("%d scored of %d measured", h.Of, len(boards))
		}
		all.Held, all.Of = all.Held+h.Held, all.Of+h.Of
	}
	if r := all.Ratio(); r < 0.85 || r > 0.95 {
		t.Errorf("held %d of %d", all.Held, all.Of)
	}
	t.Logf("held %d of %d, %.3f", all.Held, all.Of, all.Ratio())
}

// A play far off is missed, one not looked at enough is not scored, and only so many count.
func TestScoreCounts(t *testing.T) {
	b := ComparedResult{Group: teapot, Sat: Outcomes{Good: 1}, Play: 1.25, OwnSD: 0.35, SameSD: 0.1,
		Lid: 87.5, Ledge: nan, Limits: Limits{0.5, 2, 1}, Plays: []tiles.Millimetre{1.3}}
	far := b
	far.Plays = []tiles.Millimetre{6}
	few := b
	few.Sat = Outcomes{Good: 1, NotLookedAt: 5}
	if h := ScoreCoverage([]ComparedResult{b, far, few}); h != (Coverage{1, 2}) {
		t.Errorf("%+v", h)
	}
	if !math.IsNaN(ScoreCoverage(nil).Ratio()) {
		t.Error("a share of nothing")
	}
	if h := ScoreCoverage(make2(b, scoredBoards+15)); h.Of != scoredBoards {
		t.Errorf("%d scored", h.Of)
	}
}

func make2(b ComparedResult, n int) []ComparedResult {
	var out []ComparedResult
	for range n {
		out = append(out, b)
	}
	return out
}
