package shrinkage_test

import (
	"math"
	"testing"

	"lidwright/kiln"
	"lidwright/tiles"
	"lidwright/tiles/shrinkage"
	"lidwright/tiles/tilestest"
)

// oneClay is a made-up studio's bars of one clay, with a maturing point and no supplier's figure.
func oneClay(n uint64) shrinkage.Studio {
	m := tilestest.Make(27, n, tilestest.Options{})
	s := m.Studio
	s.Clays = []tiles.Clay{{ID: tilestest.ClayName(0), Matures: 1222}}
	var batches []tiles.Batch
	for _, b := range s.Batches {
		if b.Clay == s.Clays[0].ID {
			b.Kind = tiles.Bought
			batches = append(batches, b)
		}
	}
	var bars []tiles.Bar
	for _, b := range s.Bars {
		if b.Clay == s.Clays[0].ID {
			bars = append(bars, b)
		}
	}
	s.Batches, s.Bars = batches, bars
	return s
}

// TestSummaryOfBars: what a studio sends of a clay says the same of its rate as its own fit does, at the sds
// that it is on average in, and is as sure as its own ranges, which come by another way; bars of a learner,
// of a mixed batch, struck and flagged ones are not in it.
func TestSummaryOfBars(t *testing.T) {
	for n := range uint64(6) {
		s := oneClay(n)
		f, err := s.Fit(t.Context(), nil)
		if err != nil {
			t.Fatal(err)
		}
		sum, bars, err := shrinkage.Summarise(t.Context(), f, s.Clays[0].ID, 1222)
		if err != nil || bars == 0 {
			t.Fatalf("%d bars: %v", bars, err)
		}
		back, err := shrinkage.ReadSummary(sum.Bytes())
		if err != nil {
			t.Fatal(err)
		}
		alone, err := back.Alone()
		if err != nil {
			t.Fatal(err)
		}
		average, err := f.OnAverage(s)
		if err != nil {
			t.Fatal(err)
		}
		for _, h := range []float64{1180, 1222, 1250} {
			mean, sd := alone.Total(h, 1222)
			want, wantSD, err := average.ClayRate(s.Clays[0].ID, h)
			if err != nil {
				t.Fatal(err)
			}
			if math.Abs(mean-want) > 1e-6 || math.Abs(sd-wantSD) > 1e-6 {
				t.Errorf("studio %d at %.0f °C: %.4f, sd %.4f; at these sds its fit says %.4f, %.4f", n, h,
					mean,
					sd, want, wantSD)
			}
			told, _, toldSD, _, err := f.ClayRange(s.Clays[0].ID, h)
			if err != nil {
				t.Fatal(err)
			}
			if math.Abs(mean-told) > 0.3*toldSD || math.Abs(sd/toldSD-1) > 0.05 {
				t.Errorf("studio %d at %.0f °C: %.4f, sd %.4f; its fit tells %.4f, %.4f", n,
					h, mean, sd, told, toldSD)
			}
		}
		more := s
		more.Bars = append([]tiles.Bar(nil), s.Bars...)
		more.Batches = append(append([]tiles.Batch(nil), s.Batches...),
			tiles.Batch{BatchRef: tiles.BatchRef{Clay: s.Clays[0].ID, Batch: "Z"}, Kind: tiles.Reclaim})
		for i, b := range s.Bars[:3] {
			b.ID, b.Code = b.ID+"x", b.Code+"X"
			switch i {
			case 0:
				b.Practice = true
			case 1:
				b.Flags = []tiles.Flag{"bent"}
			case 2:
				b.BatchRef.Batch = "Z"
			}
			more.Bars = append(more.Bars, b)
		}
		again, _, err := shrinkage.Summarise(t.Context(), sameSds(t, f, more), s.Clays[0].ID, 1222)
		if err != nil {
			t.Fatal(err)
		}
		if again != sum {
			t.Errorf("studio %d: bars that are not to be sent change what is sent", n)
		}
	}
}

// sameSds is a fit of other bars that ended at the sds of f.
func sameSds(t *testing.T, f *shrinkage.Fit, s shrinkage.Studio) *shrinkage.Fit {
	t.Helper()
	g, err := f.Of(s)
	if err != nil {
		t.Fatal(err)
	}
	return g
}

// TestPooledBeforeTheFirstBar: a studio without a bar of a body is told what the others say, before the
// supplier's figure; its own bars narrow it.
func TestPooledBeforeTheFirstBar(t *testing.T) {
	var all []shrinkage.Summary
	for n := range uint64(8) {
		s := oneClay(n)
		f, err := s.Fit(t.Context(), nil)
		if err != nil {
			t.Fatal(err)
		}
		sum, _, err := shrinkage.Summarise(t.Context(), f, s.Clays[0].ID, 1222)
		if err != nil {
			t.Fatal(err)
		}
		all = append(all, sum)
	}
	prior := priorOf(t, all)
	want, wantSD := prior.Total(1222, 1222)
	fresh := shrinkage.Studio{Clays: []tiles.Clay{{ID: "tern", Matures: kiln.NoTemperature(), Stated: 0.3}},
		Batches: []tiles.Batch{{BatchRef: tiles.BatchRef{Clay: "tern", Batch: "A"},
			Kind: tiles.Bought, Open: true}},
		Pools: map[tiles.ClayID]shrinkage.Pooled{"tern": {Prior: prior, Matures: 1222}}}
	f, err := fresh.Fit(t.Context(), nil)
	if err != nil {
		t.Fatal(err)
	}
	mean, sd, err := f.ClayRate("tern", 1222)
	if err != nil || math.Abs(mean-want) > 1e-9 || math.Abs(sd-wantSD) > 1e-9 {
		t.Errorf("told %.4f, sd %.4f; the others say %.4f, %.4f: %v", mean, sd, want, wantSD, err)
	}
	own := oneClay(3)
	own.Pools = map[tiles.ClayID]shrinkage.Pooled{own.Clays[0].ID: {Prior: prior, Matures: 1222}}
	if f, err = own.Fit(t.Context(), nil); err != nil {
		t.Fatal(err)
	}
	if _, narrower, err := f.ClayRate(own.Clays[0].ID, 1222); err != nil || narrower >= sd {
		t.Errorf("with bars of its own the sd is %.4f, %.4f before: %v", narrower, sd, err)
	}
}

// TestDoubtOfAFiringReachesTheFit: what a firing's own heat work is in doubt by, as 7.5 °C after a hold of an
// hour, leaves a clay's rate in more doubt at the same sds.
func TestDoubtOfAFiringReachesTheFit(t *testing.T) {
	for n := range uint64(4) {
		s := oneClay(n)
		sure := fitted(t, s, nil)
		held := s
		held.Bars = append([]tiles.Bar(nil), s.Bars...)
		for i := range held.Bars {
			b := &held.Bars[i]
			b.Firings = append([]tiles.Heat(nil), b.Firings...)
			for j := range b.Firings {
				b.Firings[j].ExtraSD = 7.5
			}
		}
		_, before, err := sameSds(t, sure, s).ClayRate(s.Clays[0].ID, 1200)
		if err != nil {
			t.Fatal(err)
		}
		_, after, err := sameSds(t, sure, held).ClayRate(s.Clays[0].ID, 1200)
		if err != nil || after < 1.01*before {
			t.Errorf("studio %d: sd %.4f with the holds' doubt, %.4f without: %v", n, after, before, err)
		}
	}
}

// priorOf is what studios tell a newcomer who is none of them.
func priorOf(t *testing.T, told []shrinkage.Summary) shrinkage.Prior {
	t.Helper()
	pool, err := shrinkage.PoolOf(t.Context(), told)
	if err != nil {
		t.Fatal(err)
	}
	prior, err := pool.For(-1)
	if err != nil {
		t.Fatal(err)
	}
	return prior
}
