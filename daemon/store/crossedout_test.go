package store

import (
	"errors"
	"testing"
	"time"

	"lidwright/tiles"
)

// What was crossed out is listed, newest first and from a moment on, until it is restored; restored it stands
// as before.
func TestCrossedOutAndRestored(t *testing.T) {
	s, ctx := openStore(t), t.Context()
	for i, cone := range []string{"06", "05"} {
		c := tiles.ConeSeen{ID: uuid('c', i+1), Firing: "f", Cone: cone, Series: "small", Seen: "down"}
		must[tiles.PutResult](t)(s.PutCone(ctx, c, when))
		if err := s.StrikeCone(ctx, c.ID, "RM", "wrong shelf",
			later(time.Duration(i+1)*time.Hour)); err != nil {
			t.Fatal(err)
		}
	}
	listed := func(since time.Duration) (ids string) {
		for _, f := range must[[]tiles.StruckFact](t)(s.CrossedOut(ctx, later(since).Wall)) {
			if f.Kind != "cone" || f.Of != "f" || f.By != "RM" || f.Why != "wrong shelf" {
				t.Errorf("listed as %+v", f)
			}
			ids += f.ID[len(f.ID)-1:]
		}
		return ids
	}
	if all, late, none := listed(0), listed(2*time.Hour), listed(3*time.Hour); all != "21" || late != "2" ||
		none != "" {
		t.Errorf("crossed out: %s, of the last hour %s, since %s", all, late, none)
	}
	for range 2 { // said twice it changes nothing
		of, err := s.Restore(ctx, "cone", uuid('c', 1), "KT", later(4*time.Hour))
		if of != "f" || err != nil {
			t.Errorf("restored of %q, %v", of, err)
		}
	}
	if got := listed(0); got != "2" {
		t.Errorf("still crossed out: %s", got)
	}
	for _, c := range must[[]tiles.ConeSeen](t)(s.Cones(ctx, "f")) {
		if (c.Struck == nil) != (c.ID == uuid('c', 1)) {
			t.Errorf("cone %s: struck %+v", c.Cone, c.Struck)
		}
	}
	said := 0
	for _, c := range must[[]kindOp](t)(changesOf(ctx, s)) {
		if c.what == "cone restore" {
			said++
		}
	}
	if said != 1 {
		t.Errorf("the record tells %d times that it was restored", said)
	}
	if _, err := s.Restore(ctx, "cone", uuid('c', 9), "KT", later(time.Hour)); !errors.Is(err,
		tiles.ErrNoCone) {
		t.Errorf("a cone that is not there: %v", err)
	}
	if _, err := s.Restore(ctx, "clay", "tern", "KT", later(time.Hour)); !errors.Is(err,
		tiles.ErrNotCrossedOut) {
		t.Errorf("what cannot be crossed out: %v", err)
	}
}
