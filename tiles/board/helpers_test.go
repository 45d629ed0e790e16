package board

import (
	"errors"
	"math"
	"os"
	"testing"

	"lidwright/kiln"
	"lidwright/kiln/message"
	"lidwright/tiles"
	"lidwright/tiles/lid"
	"lidwright/tiles/shrinkage"
)

func mm(v float64) *tiles.Millimetre { l := tiles.Millimetre(v); return &l }

// near fails unless got is want, give or take.
func near(t *testing.T, what string, got, want, give float64) {
	t.Helper()
	if !(math.Abs(got-want) <= give) {
		t.Errorf("%s: %.5f, want %.5f ± %g", what, got, want, give)
	}
}

// wants fails unless err names a fault of that kind in that field.
func wants(t *testing.T, err error, field, kind string) {
	t.Helper()
	var all tiles.InvalidFields
	if !errors.As(err, &all) {
		t.Errorf("want %s of %s, got %v", kind, field, err)
		return
	}
	for _, one := range all {
		if one.Field == field && one.Type == kind && one.Why.String() != "" {
			return
		}
	}
	t.Errorf("want %s of %s, got %v", kind, field, err)
}

// soak enlarges what is drawn at random when LIDWRIGHT_SOAK is set (make soak).
func soak(short, long int) int {
	if os.Getenv("LIDWRIGHT_SOAK") != "" {
		return long
	}
	return short
}

func orUsual(v *tiles.Millimetre, usual float64) *tiles.Millimetre {
	if v == nil {
		return mm(usual)
	}
	return v
}

func rates(drying, firing tiles.Ratio) shrinkage.StatedRates {
	return shrinkage.StatedRates{Drying: &drying, Firing: &firing}
}

func checked(q lid.Question) lid.Checked {
	c, err := q.Check(lid.UsualDefaults())
	if err != nil {
		panic(err)
	}
	return c
}

// spreadPair is a Pair with something in every part.
type spreadPair shrinkage.Pair

func (p spreadPair) Pair(body, lid shrinkage.Ask, together shrinkage.Together) (shrinkage.Pair, error) {
	return shrinkage.Pair(p), nil
}

// tern is the clay of the worked answers: 12.4 % whatever the heat, known without doubt; pieces
// differ by 0.20, places and loads not at all.
type tern struct{}

func (tern) Pair(body, lid shrinkage.Ask, together shrinkage.Together) (shrinkage.Pair, error) {
	p := shrinkage.Pair{Nu: math.Inf(1)}
	for i, a := range []shrinkage.Ask{body, lid} {
		p.Standing[i] = shrinkage.Standing{Trust: shrinkage.WellTested,
			Why: message.Plain("14 bars in 4 loads, last 6 days ago"), NearestTested: kiln.NoTemperature()}
		if a.Stage == tiles.Wet {
			p.R[i], p.Piece[i][i] = tiles.LogPercent(-100*math.Log(0.876)), 0.04
		}
	}
	return p, nil
}

func both(v, cov float64) shrinkage.Spread2 { return shrinkage.Spread2{{v, cov}, {cov, v}} }

// drawn are the lid questions that are played through by chance, the same as for one lid.
func drawn() map[string]struct {
	q    lid.Question
	pair shrinkage.Pair
	part float64 // sd of the lid difference
} {
	type drawCase = struct {
		q    lid.Question
		pair shrinkage.Pair
		part float64
	}
	one := shrinkage.Pair{R: [2]tiles.LogPercent{13.24, 13.24}, Rate: both(0.3, 0.3), Batch: both(0.1, 0.1),
		Load: both(0.12, 0.12), Position: both(0.03, 0), Piece: both(0.04, 0), Nu: 10}
	fired := shrinkage.Pair{R: [2]tiles.LogPercent{0, 13.24}, Nu: 6,
		Rate: shrinkage.Spread2{{0, 0}, {0, 0.15}}, Batch: shrinkage.Spread2{{0, 0}, {0, 0.1}},
		Load: shrinkage.Spread2{{0, 0}, {0, 0.1}}, Position: shrinkage.Spread2{{0, 0}, {0, 0.03}},
		Piece: shrinkage.Spread2{{0, 0}, {0, 0.04}}}
	two := shrinkage.Pair{R: [2]tiles.LogPercent{11.8, 17.4}, Nu: 4,
		Rate: shrinkage.Spread2{{0.12, 0.02}, {0.02, 0.2}},
		Load: shrinkage.Spread2{{0.1, 0.08}, {0.08, 0.09}}, Position: both(0.03, 0), Piece: both(0.04, 0)}
	leather := one
	leather.R[0], leather.Gone = 9.6, shrinkage.Spread2{{0.8, 0}, {0, 0}}
	exact := one
	exact.Nu = math.Inf(1)
	inPlace := one
	inPlace.Position = both(0.03, 0.03)
	return map[string]drawCase{
		"usual ledge, t of 10": {q: lid.Question{Collar: []tiles.Millimetre{104.5}, Opening: 92.5},
			pair: one, part: 0.26},
		"narrow ledge, normal": {q: lid.Question{Collar: []tiles.Millimetre{104.5}, Opening: 98,
			LeastPlay: mm(0.5), MostPlay: mm(2), Step: mm(0.1)}, pair: exact, part: 0.26},
		"narrow, careful, normal": {q: lid.Question{Collar: []tiles.Millimetre{104.5}, Opening: 98,
			LeastPlay: mm(0.5), MostPlay: mm(2), Step: mm(0.1), MeasureSD: mm(0.15), ThrowSD: mm(0.15)},
			pair: exact, part: 0.26},
		"careful, in place": {q: lid.Question{Collar: []tiles.Millimetre{104.5}, Opening: 92.5,
			Step: mm(0.1), MeasureSD: mm(0.15), ThrowSD: mm(0.15), Together: shrinkage.InPlace},
			pair: inPlace, part: 0.4},
		"three directions": {q: lid.Question{Collar: []tiles.Millimetre{104.5, 105.3, 104.1},
			CollarAgain: []tiles.Millimetre{104.7}, Opening: 98.2, LeastPlay: mm(0.5), MostPlay: mm(2.2),
			Step: mm(0.1)}, pair: one, part: 0.2},
		"cap, two directions": {q: lid.Question{Seat: lid.Cap, Collar: []tiles.Millimetre{80.2, 80.9}},
			pair: one, part: 0.3},
		"replacement": {q: lid.Question{Collar: []tiles.Millimetre{120}, CollarStage: tiles.Fired,
			Opening: 106}, pair: fired},
		"two clays, t of 4": {q: lid.Question{Collar: []tiles.Millimetre{110}, Opening: 95}, pair: two},
		"leather, guessed": {q: lid.Question{Collar: []tiles.Millimetre{100}, CollarStage: tiles.Leather},
			pair: leather, part: 0.26},
		"gallery for a lid": {q: lid.Question{Lid: 103, Step: mm(0.1)}, pair: one, part: 0.26},
		"thrown to a hair": {q: lid.Question{Collar: []tiles.Millimetre{150}, Opening: 141, ThrowSD: mm(0),
			MeasureSD: mm(0.1), Step: mm(0.1)}, pair: two},
	}
}
