package lid

import (
	"math"
	"math/rand/v2"
	"testing"

	"lidwright/tiles"
	"lidwright/tiles/shrinkage"
)

// What has gone of a leather-hard piece, by hand.
func TestGone(t *testing.T) {
	r := shrinkage.SoFarByRatio(0.035) // -100 ln 0.965
	near(t, "by ratio", float64(r.H), 3.5627, 1e-4)
	m := shrinkage.SoFarByMass(100, 92) // 8 g of 100 x 1.95 / 3
	near(t, "by mass", float64(m.H), 5.2, 1e-9)
	b := shrinkage.SoFarByBar(100, 96.5, 0.15, tiles.ThrownRing)
	near(t, "by a companion bar", float64(b.H), 3.5627, 1e-4)
	near(t, "its sd", float64(b.SD), math.Sqrt(2*0.15*0.15+0.35*0.35), 1e-9)
	near(t, "sd of a piece of the wall", float64(shrinkage.SoFarByBar(100, 96.5, 0.15, tiles.CutWall).SD),
		math.Sqrt(2*0.15*0.15+0.24*0.24), 1e-9)
	if !r.Known || !m.Known || !b.Known {
		t.Error("not known")
	}
}

// asks keeps what a fit was asked.
type asks struct {
	tern
	body, lid *shrinkage.Ask
	together  *shrinkage.Together
}

func (a asks) Pair(body, lid shrinkage.Ask, together shrinkage.Together) (shrinkage.Pair, error) {
	*a.body, *a.lid, *a.together = body, lid, together
	return a.tern.Pair(body, lid, together)
}

// Each part goes to the fit or to its stated rates, never to both.
func TestKnow(t *testing.T) {
	var body, lid shrinkage.Ask
	var together shrinkage.Together
	fit := asks{tern{nu: 10, rate: 0.5}, &body, &lid, &together}
	d := UsualDefaults()
	q := Question{Collar: []tiles.Millimetre{100}, CollarStage: tiles.Leather,
		Body: tiles.BatchRef{Clay: "tern", Batch: "B"}, LidClay: tiles.BatchRef{Clay: "knot", Batch: "A"},
		MassWet: 100, MassNow: 92, Together: shrinkage.InPlace}
	if _, err := checked(q, d).Know(fit, Firing{Work: 1222, WorkSD: 6, BisqueWork: 1000},
		shrinkage.SoFar{}); err != nil {
		t.Fatal(err)
	}
	if body.Clay != "tern" || body.Stage != tiles.Leather || !body.Gone.Known || lid.Clay != "knot" ||
		lid.Stage != tiles.Wet || lid.Gone.Known || together != shrinkage.InPlace || lid.Work != 1222 {
		t.Errorf("asked %+v and %+v, %s", body, lid, together)
	}
	mixed := Question{Collar: []tiles.Millimetre{100}, Body: tiles.BatchRef{Clay: "tern", Batch: "B"},
		LidRates: rates(0.072, 0.095)}
	known, err := checked(mixed, d).Know(fit, Firing{}, shrinkage.SoFar{})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "body from the fit", float64(known.Pair.R[0]), -100*math.Log(0.876), 1e-9)
	near(t, "lid as stated", float64(known.Pair.R[1]), -100*math.Log(0.928*0.905), 1e-9)
	near(t, "doubt of the body", known.Pair.Rate[0][0], 0.25, 1e-9)
	near(t, "doubt of the lid", known.Pair.Rate[1][1], 2*0.36, 1e-9)
	if known.Pair.Rate[0][1] != 0 || known.Pair.Standing[0].Trust != shrinkage.WellTested ||
		known.Pair.Standing[1].Trust != shrinkage.NoBars {
		t.Errorf("%+v", known.Pair)
	}
	a, err := Size(*checked(mixed, d), known)
	if err != nil || a.Trust != shrinkage.NoBars || !a.HeldBack.IsZero() {
		t.Errorf("trust %s, held back %q, %v", a.Trust, a.HeldBack, err)
	}
	// A fired gallery needs nothing of its body.
	fired := Question{Collar: []tiles.Millimetre{100}, CollarStage: tiles.Fired,
		LidClay: tiles.BatchRef{Clay: "tern", Batch: "B"}}
	if known, err = checked(fired, d).Know(fit, Firing{FromBag: true}, shrinkage.SoFar{}); err != nil ||
		!known.FromBag {
		t.Fatal(known.FromBag, err)
	}
	near(t, "fired body", float64(known.Pair.R[0]), 0, 0)
	near(t, "its lid", float64(known.Pair.R[1]), -100*math.Log(0.876), 1e-9)
}

// Whatever is asked, the answer holds together: the set size is a step inside its limits wherever one
// lies there, chances are chances, more lids are never worse, limits and ranges stand the right way.
func TestAnyQuestionHoldsTogether(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 14))
	d := UsualDefaults()
	answered := 0
	for range soak(300, 20000) {
		between := func(low, high float64) tiles.Millimetre {
			return tiles.Millimetre(low + (high-low)*rng.Float64())
		}
		q := Question{Seat: Seats()[rng.IntN(6)], CollarStage: tiles.Stages()[rng.IntN(6)],
			LidStage: tiles.Stages()[rng.IntN(4)], SeatGlazed: rng.IntN(4) == 0,
			Together: []shrinkage.Together{"", shrinkage.InPlace, shrinkage.SameLoad,
				shrinkage.Apart}[rng.IntN(4)], Lids: 1 + rng.IntN(3)}
		c := between(8, 400)
		for range 1 + rng.IntN(3) {
			q.Collar = append(q.Collar, c+between(-1, 1))
		}
		if may, needs := q.Seat.opens(); needs || may && rng.IntN(2) == 0 {
			q.Opening = c * between(0.5, 0.99)
		}
		switch rng.IntN(5) {
		case 0:
			q.Play = mm(4 * rng.Float64())
		case 1:
			q.Lid = c * between(0.9, 1.1)
		case 2:
			q.Lid, q.Collar, q.Opening, q.CollarStage = c, nil, 0, tiles.Wet
		}
		for _, v := range []**tiles.Millimetre{&q.Step, &q.MeasureSD, &q.ThrowSD, &q.Bearing, &q.Glaze} {
			if rng.IntN(4) == 0 {
				*v = mm(float64(rng.IntN(11)) / 10)
			}
		}
		r := shrinkage.StatedRates{Drying: share(0.1 * rng.Float64()), Leather: share(0),
			Bisque: share(0.02 * rng.Float64()), Firing: share(0.2 * rng.Float64())}
		q.BodyRates, q.LidRates = r, r
		asked, err := q.Check(d)
		if err != nil {
			continue
		}
		known, err := asked.Know(nil, Firing{}, shrinkage.SoFar{})
		if err != nil {
			t.Fatal(err)
		}
		known.Pair.Nu = 1 + 20*rng.Float64()
		a, err := Size(asked, known)
		if err != nil {
			continue
		}
		answered++
		bad := func(why string) { t.Fatalf("%s: %+v", why, a) }
		if !(a.FitChance >= -1e-9 && a.FitChance <= 1+1e-6) {
			bad("no chance")
		}
		if !(a.Fired.Likely[0] <= a.Fired.Play && a.Fired.Play <= a.Fired.Likely[1]) {
			bad("play outside its range")
		}
		if a.Question == AskGap {
			continue
		}
		if step := float64(*asked.Step); step > 0 && a.Limits[0] <= a.Limits[1] {
			some := math.Ceil(float64(a.Limits[0])/step-1e-6) <= math.Floor(float64(a.Limits[1])/step+1e-6)
			if some && q.Play == nil && (a.Set < a.NotUnder-1e-6 || a.Set > a.NotOver+1e-6) {
				bad("set outside its limits")
			}
			if some && (a.NotUnder < a.Limits[0]-1e-6 || a.NotOver > a.Limits[1]+1e-6) {
				bad("limits rounded outwards")
			}
		}
		for i := 1; i < len(a.Spread); i++ {
			if a.Spread[i].FitChance < a.Spread[i-1].FitChance-0.01 {
				bad("more lids are worse")
			}
		}
		says := a.SectionSays(tiles.MM).String()
		if says == "" || says[len(says)-1] != 46 {
			bad("no section")
		}
	}
	if answered < 50 {
		t.Errorf("only %d questions were answered", answered)
	}
}
