package lid

import (
	"math"
	"math/rand/v2"
	"testing"

	"lidwright/tiles"
	"lidwright/tiles/shrinkage"
)

// Made-up makers of known hands: 40 lids measured once after throwing, 12 lengths read twice, and
// five boards of eight named lids whose plays were measured. Over 200 makers of each hand what is
// learned lies within a tenth of what the same numbers pool to with what is usual (weight 8), and
// is nearer to the truth than that.
func TestMakersOfKnownHands(t *testing.T) {
	for _, hand := range []struct{ throw, measure float64 }{{0.2, 0.1}, {0.5, 0.3}, {0.8, 0.2}, {0.4, 0.4}} {
		rng := rand.New(rand.NewPCG(11, uint64(100*hand.throw)))
		var throws, measures float64
		const makers = 200
		for range makers {
			a := madeAccuracy(t, rng, hand.throw, hand.measure)
			throws += square(float64(a.ThrowSD)) / makers
			measures += square(float64(a.MeasureSD)) / makers
		}
		pooled := func(own, usual, n float64) float64 {
			return math.Sqrt((n*square(own) + handbookWeight*square(usual)) / (n + handbookWeight))
		}
		both := pooled(math.Hypot(hand.throw, hand.measure), math.Hypot(handbookThrowSD, handbookMeasureSD),
			40)
		measure := pooled(hand.measure, handbookMeasureSD, 12+5*7)
		throw := math.Sqrt(max(square(both)-square(measure), square(leastSD)))
		gotThrow, gotMeasure := math.Sqrt(throws), math.Sqrt(measures)
		t.Logf("throws %.2f measures %.2f: learned %.3f (pooled %.3f) and %.3f (pooled %.3f)", hand.throw,
			hand.measure, gotThrow, throw, gotMeasure, measure)
		if math.Abs(gotThrow/throw-1) > 0.1 || math.Abs(gotMeasure/measure-1) > 0.1 {
			t.Errorf("throws %.2f measures %.2f: learned %.3f and %.3f, want %.3f and %.3f within a tenth",
				hand.throw, hand.measure, gotThrow, gotMeasure, throw, measure)
		}
		// What it is for: nearer to the truth than the usual hand that every answer starts from.
		if off, usual := math.Abs(math.Log(gotMeasure/hand.measure)),
			math.Abs(math.Log(handbookMeasureSD/hand.measure)); off > max(usual, 0.1) {
			t.Errorf("measures %.2f: %.3f is further off than what is usual", hand.measure, gotMeasure)
		}
	}
}

func madeAccuracy(t *testing.T, rng *rand.Rand, throw, measure float64) Accuracy {
	t.Helper()
	var lids []Told
	for range 40 {
		really := 102.5 + throw*rng.NormFloat64()
		lids = append(lids, Told{102.5, tiles.Millimetre(really + measure*rng.NormFloat64())})
	}
	var misread shrinkage.Misread
	for range 12 {
		misread = misread.With(shrinkage.Repeated([]tiles.Millimetre{tiles.Millimetre(100 +
			measure*rng.NormFloat64()), tiles.Millimetre(100 + measure*rng.NormFloat64())}))
	}
	d := UsualDefaults()
	for range 5 {
		v := Result{Form: "jar", Body: tiles.BatchRef{Clay: "tern", Batch: "A"},
			Lid: tiles.BatchRef{Clay: "tern", Batch: "A"}}
		var pots []ComparedPot
		shared := 0.3 * rng.NormFloat64() // of one board: the lid difference and the load
		for range 8 {
			gallery, lid := 104.5+rng.NormFloat64(), 102.5+throw*rng.NormFloat64()
			told := Question{Collar: []tiles.Millimetre{tiles.Millimetre(gallery +
				measure*rng.NormFloat64())}, Lid: tiles.Millimetre(lid + measure*rng.NormFloat64()),
				BodyRates: rates(0.06, 0.07)}
			q, err := told.Check(d)
			if err != nil {
				t.Fatal(err)
			}
			known, err := q.Know(nil, Firing{}, shrinkage.SoFar{})
			if err != nil {
				t.Fatal(err)
			}
			f := NewClearance(q, known)
			c := f.causesAt(float64(q.Lid) * f.Left[1])
			pieces := math.Sqrt(c.piece + c.position + square(outcomeSD))
			v.Pots, v.Plays = append(v.Pots, "pot"), append(v.Plays,
				tiles.Millimetre(gallery*f.Left[0]-lid*f.Left[1]+shared+pieces*rng.NormFloat64()))
			pots = append(pots, ComparedPot{Question: q, Known: known})
		}
		one := v.Misread(pots)
		if one.Number != 7 {
			t.Fatalf("%d differences of a board of eight", one.Number)
		}
		misread = misread.With(one)
	}
	return LearnAccuracy(lids, misread)
}
