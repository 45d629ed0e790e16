package store

import (
	"testing"
	"time"

	"lidwright/api/usecase"
	"lidwright/kiln"
	"lidwright/tiles"
)

// TestFiredReadingCountsFromThePeakOn: a bar measured after the peak and before the record's end counts at
// that firing, with the doubt of its own heat work, as of holds, one measured while it heated does not; and a
// load of stated heat work that is called unpacked after its bars were measured drops none of them.
func TestFiredReadingCountsFromThePeakOn(t *testing.T) {
	s := must[*Store](t)(Open(t.Context(), t.TempDir()))
	defer s.Close()
	ctx, channel := t.Context(), func(kiln.KilnID, string) kiln.ChannelID { return "1" }
	m := firingOf(t, glaze, 0.1, 1)
	f := m.whole(kiln.FiringID(uuid('a', 2)), "big-blue", beginning(1))
	f.HeatWork = map[kiln.ChannelID]kiln.HeatWork{"1": {C: 1222, From: kiln.FromCurve,
		Model: kiln.HeatWorkModel, OwnSD: 7.5}}
	play(t, s, f, m.samples(f.Kiln, f.Began, 0, f.PeakAfter+time.Hour), 600)
	if f.PeakAfter <= 0 || !f.Over.Wall.After(f.Began.Wall.Add(f.PeakAfter)) {
		t.Fatalf("peak after %v of %v: no time between peak and end", f.PeakAfter, f.Length)
	}
	must[tiles.PutResult](t)(s.PutClay(ctx, tern, usecase.Precondition{}, when))
	must[tiles.PutResult](t)(s.PutBatch(ctx, batchB(), usecase.Precondition{}, when))
	must[tiles.PutResult](t)(s.PutBar(ctx, bar("BQ7", 1), usecase.Precondition{}, when))
	l := tiles.Load{ID: uuid('a', 30), Kiln: "big-blue", Kind: kiln.Glaze, Atmosphere: kiln.Oxidation,
		Firing: f.ID, Bars: []tiles.Placed{{Bar: "BQ7"}}}
	must[tiles.PutResult](t)(s.PutLoad(ctx, l, usecase.Precondition{}, when))
	of := func(code tiles.Code, at time.Time, stage tiles.Stage) (tiles.Heat, bool) {
		return must[tiles.KeptBar](t)(s.Bar(ctx, code, channel)).Hottest(tiles.Reading{Stage: stage, At: at})
	}
	peak := f.Began.Wall.Add(f.PeakAfter)
	if h, ok := of("BQ7", peak.Add(time.Minute), tiles.Fired); !ok || h.Work != 1222 || h.ExtraSD != 7.5 {
		t.Errorf("measured between peak and end: %v %v", h, ok)
	}
	if h, ok := of("BQ7", peak.Add(-time.Minute), tiles.Fired); ok {
		t.Errorf("measured while it heated: %v", h)
	}

	must[tiles.PutResult](t)(s.PutBar(ctx, bar("BQ4", 2), usecase.Precondition{}, when))
	l = tiles.Load{ID: uuid('a', 31), Kiln: "annex", Kind: kiln.Bisque, Atmosphere: kiln.Oxidation,
		Stated: 1000, Bars: []tiles.Placed{{Bar: "BQ4"}}}
	must[tiles.PutResult](t)(s.PutLoad(ctx, l, usecase.Precondition{}, when))
	measured := later(time.Hour).Wall
	for _, state := range []string{"open", "unpacked"} {
		if h, ok := of("BQ4", measured, tiles.Biscuit); !ok || h.Work != 1000 {
			t.Errorf("%s: %v %v", state, h, ok)
		}
		if err := s.CloseLoad(ctx, l.ID, later(24*time.Hour).Wall, "KT", later(24*time.Hour)); err != nil {
			t.Fatal(err)
		}
	}
}
