package lid

import (
	"math"
	"math/rand/v2"
	"testing"

	"lidwright/tiles"
	"lidwright/tiles/shrinkage"
)

// The width to throw and the one to trim to, held against draws that go the straight way: a pot and a lid of
// true widths dry, are read, the lid is trimmed where it is larger, and both are fired. 10^6 draws with
// LIDWRIGHT_SOAK: the chance within 0.004, of which 0.0005 is the draws' standard error; the short form has
// 10^5 and asks 0.008.
func TestTrimAgainstDraws(t *testing.T) {
	n, give := soak(1e5, 1e6), 0.008
	if n == 1e6 {
		give = 0.004
	}
	whole := shrinkage.Pair{R: [2]tiles.LogPercent{13.24, 13.24}, Rate: both(0.3, 0.3),
		Load: both(0.12, 0.12), Position: both(0.03, 0), Piece: both(0.04, 0), Nu: math.Inf(1)}
	fired := shrinkage.Pair{R: [2]tiles.LogPercent{0, 13.24}, Rate: shrinkage.Spread2{{0, 0}, {0, 0.05}},
		Load: shrinkage.Spread2{{0, 0}, {0, 0.08}}, Position: shrinkage.Spread2{{0, 0}, {0, 0.03}},
		Piece: shrinkage.Spread2{{0, 0}, {0, 0.04}}, Nu: math.Inf(1)}
	for name, c := range map[string]struct {
		pair        shrinkage.Pair
		throw, read float64
		stage       tiles.Stage
		collar      tiles.Millimetre
	}{
		"thrown roughly, read well, fresh pair":      {whole, 0.8, 0.1, tiles.Wet, 104.5},
		"as usual, fresh pair":                       {whole, 0.5, 0.3, tiles.Wet, 104.5},
		"thrown roughly, read well, for a fired pot": {fired, 0.8, 0.1, tiles.Fired, 100},
		"with care, for a fired pot":                 {fired, 0.15, 0.15, tiles.Fired, 100},
	} {
		t.Run(name, func(t *testing.T) {
			d := UsualDefaults()
			d.MeasureSD, d.ThrowSD, d.Step = tiles.Millimetre(c.read), tiles.Millimetre(c.throw), 0.1
			q := Question{Collar: []tiles.Millimetre{c.collar}, CollarStage: c.stage, LeastPlay: mm(0.5),
				MostPlay: mm(2), Trim: true, TrimMost: mm(4), Body: tiles.BatchRef{Clay: "tern", Batch: "B"}}
			rest := c.pair
			for i := range rest.R { // 3.6 gone of 13.24, known to 0.9
				if rest.R[i] > 0 {
					rest.R[i] -= 3.6
					rest.Gone[i][i] = square(0.9)
				}
			}
			known := Known{Pair: c.pair, Leather: &rest}
			plain := q
			plain.Trim = false
			b, err := Size(*checked(plain, d), known)
			if err != nil {
				t.Fatal(err)
			}
			a, err := Size(*checked(q, d), known)
			if err != nil {
				t.Fatal(err)
			}
			rng := rand.New(rand.NewPCG(31, 4))
			fits := 0
			for range n {
				if p := trimDraw(rng, a, rest, c.pair, c.throw, c.read, c.stage); p >= 0.5 && p <= 2 {
					fits++
				}
			}
			came := float64(fits) / float64(n)
			t.Logf("throw %.1f, trim to %.1f (%.1f off; %.3f too small): said %.4f, drawn %.4f; untrimmed %.4f", a.Trim.Throw, a.Trim.To, a.Trim.Off, a.Trim.TooSmall, a.FitChance, came, b.FitChance)
			if math.Abs(came-a.FitChance) > give {
				t.Errorf("said %.4f, came true %.4f", a.FitChance, came)
			}
		})
	}
}

// trimDraw throws a lid, lets it dry beside its pot, reads both at leather-hard, asks how far to trim and
// does so.
func trimDraw(rng *rand.Rand, a Answer, rest, pair shrinkage.Pair, throw, read float64,
	stage tiles.Stage) float64 {
	normal := func(mean, sd float64) float64 { return mean + sd*rng.NormFloat64() }
	left := func(r float64) float64 { return math.Exp(-r / 100) }
	var r [2]float64
	r[0], r[1] = float64(pair.R[0]), float64(pair.R[1])
	for _, s := range []shrinkage.Spread2{pair.Rate, pair.Load, pair.Position, pair.Piece} {
		x := normal(0, math.Sqrt(s[0][0]))
		slope := 0.0
		if s[0][0] > 0 {
			slope = s[0][1] / s[0][0]
		}
		r[0], r[1] = r[0]+x, r[1]+slope*x+normal(0, math.Sqrt(max(s[1][1]-slope*s[0][1], 0)))
	}
	gone := normal(3.6, 0.9)
	wet := normal(float64(a.Trim.Throw), throw)
	q := a.Asked
	var pot float64
	if stage == tiles.Wet {
		collar := normal(float64(q.Collar[0]), read)
		q.CollarNow = []tiles.Millimetre{tiles.Millimetre(normal(collar*left(gone), read))}
		gone += normal(0, shrinkage.CompanionSD) // from here on the lid's
		pot = collar * left(r[0])
	} else {
		pot = normal(float64(q.Collar[0]), 0.05) // read with the callipers' own error on fired ware
	}
	now := wet * left(gone)
	q.LidWet, q.LidNow = tiles.Millimetre(normal(wet, read)), tiles.Millimetre(normal(now, read))
	var to float64 // as the answer at leather-hard says it: the wet width aimed at, less what went
	d := UsualDefaults()
	d.MeasureSD = tiles.Millimetre(read)
	sees := checked(q, d).drying(pair, rest)
	aim := float64(a.Trim.To) * math.Exp(3.6/100)
	if sees.pot {
		aim *= math.Exp(sees.mean[0] / 100)
	}
	if to = aim * left(sees.mean[1]); float64(q.LidNow) > to {
		now = normal(to, read)
	}
	return pot - now*left(r[1]-gone)
}

// With a lid at hand the answer says what to trim it to, by what it and its gallery lost, or to leave it.
func TestTrimThisLid(t *testing.T) {
	pair := shrinkage.Pair{R: [2]tiles.LogPercent{13.24, 13.24}, Rate: both(0.3, 0.3),
		Piece: both(0.04, 0), Nu: math.Inf(1)}
	rest := pair
	rest.R, rest.Gone = [2]tiles.LogPercent{9.64, 9.64}, both(0.81, 0)
	d := UsualDefaults()
	d.MeasureSD = 0.05
	ask := func(wet, now tiles.Millimetre, collarNow ...tiles.Millimetre) Answer {
		t.Helper()
		q := Question{Collar: []tiles.Millimetre{104.5}, Body: tiles.BatchRef{Clay: "tern", Batch: "B"},
			Trim: true, LidWet: wet, LidNow: now, CollarNow: collarNow}
		a, err := Size(*checked(q, d), Known{Pair: pair, Leather: &rest})
		if err != nil {
			t.Fatal(err)
		}
		return a
	}
	// Lid and gallery both lost 4 %: trimmed to the wet width aimed at, 102.5 ± 0.2, less 4 %.
	a := ask(104, 104*0.96, 104.5*0.96)
	if want := 102.5 * 0.96; math.Abs(float64(a.Trim.To)-want) > 0.3 ||
		a.Trim.Off <= 0 || a.Set != a.Trim.To {
		t.Errorf("trim to %.2f, %.2f off; want about %.2f", a.Trim.To, a.Trim.Off, want)
	}
	if a := ask(100, 96, 104.5*0.96); a.Trim.Off != 0 || a.FitChance > 0.5 || a.Trim.TooSmall != 1 {
		t.Errorf("a lid too small: %+v, chance %.2f", a.Trim, a.FitChance)
	}
	for _, q := range []Question{
		{Collar: []tiles.Millimetre{104.5}, Lid: 102, Trim: true, Body: tiles.BatchRef{Clay: "tern"}},
		{Collar: []tiles.Millimetre{104.5}, Trim: true, BodyRates: rates(0.06, 0.07)},
		{Seat: Cap, Collar: []tiles.Millimetre{84.5}, Trim: true, Body: tiles.BatchRef{Clay: "tern"}},
		{Collar: []tiles.Millimetre{104.5}, LidWet: 103, Body: tiles.BatchRef{Clay: "tern"}},
		{Collar: []tiles.Millimetre{104.5}, CollarNow: []tiles.Millimetre{100},
			Body: tiles.BatchRef{Clay: "tern"}},
		{Collar: []tiles.Millimetre{104.5}, WasCollar: []tiles.Millimetre{110},
			Body: tiles.BatchRef{Clay: "tern"}},
	} {
		if _, err := q.Check(d); err == nil {
			t.Errorf("%+v: no fault", q)
		}
	}
}

// By hand: pairs 96 → 102.5 and 94 → 100.6 grow by 6.551 and 6.786 log-percent, mean 6.669; the squares of
// the two beside 4 of 1 are 4.0276, over 5, times 1.5: sd 1.099. A width of 102.5 wants a bowl of 95.89: 96
// on the half millimetre, which comes to 102.62.
func TestRim(t *testing.T) {
	if b := LearnRim(nil).bowlFor(102.5, 0.5); b != nil {
		t.Errorf("without a pair: %+v", b)
	}
	r := LearnRim([]TurnedRim{{96, 102.5}, {94, 100.6}})
	if math.Abs(float64(r.Grows)-6.6686) > 0.001 || math.Abs(float64(r.SD)-1.0992) > 0.001 {
		t.Errorf("grows %.4f, sd %.4f", r.Grows, r.SD)
	}
	b := r.bowlFor(102.5, 0.5)
	if b.Before != 96 || math.Abs(float64(b.Comes)-102.62) > 0.01 || b.Likely[0] > 101 || b.Likely[1] < 104 {
		t.Errorf("%+v", b)
	}
	many := make([]TurnedRim, 30)
	rng := rand.New(rand.NewPCG(5, 5))
	for i := range many {
		many[i] = TurnedRim{96, tiles.Millimetre(96 * math.Exp((6.5+0.4*rng.NormFloat64())/100))}
	}
	if sd := LearnRim(many).SD; sd < 0.35 || sd > 0.65 {
		t.Errorf("after 30 pairs with a sd of 0.4: %.2f", sd)
	}
	q := Question{Collar: []tiles.Millimetre{104.5}, BodyRates: rates(0.06, 0.07)}
	d := UsualDefaults()
	known, err := checked(q, d).Know(nil, Firing{}, shrinkage.SoFar{})
	if err != nil {
		t.Fatal(err)
	}
	known.Rim = r
	corrected, err := Size(*checked(q, d), known)
	if err != nil {
		t.Fatal(err)
	}
	q.RimAsIs = true
	asIs, err := Size(*checked(q, d), known)
	if err != nil {
		t.Fatal(err)
	}
	if corrected.Bowl == nil || asIs.Doubt.Throwing <= corrected.Doubt.Throwing ||
		asIs.FitChance >= corrected.FitChance {
		t.Errorf("a rim that nobody checks: throwing %.2f beside %.2f", asIs.Doubt.Throwing,
			corrected.Doubt.Throwing)
	}
}
