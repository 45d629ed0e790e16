package store

import (
	"errors"
	"slices"
	"testing"
	"time"

	"lidwright/api/usecase"
	"lidwright/kiln"
	"lidwright/tiles"
)

// What people see of a firing, or write beside it, comes back as it was told; said again it
// changes nothing; crossed out it stays to be seen.
func TestConesAreKept(t *testing.T) {
	s, ctx := openStore(t), t.Context()
	first := tiles.ConeSeen{ID: uuid('c', 1), Firing: "f", Cone: "06", Series: "large_self_supporting",
		Shelf: "middle", Seen: "leaning", Tilt: 45, Tilted: true, By: "KT"}
	second := tiles.ConeSeen{ID: uuid('c', 2), Firing: "f", Cone: "05", Series: "small", Seen: "upright"}
	other := tiles.ConeSeen{ID: uuid('c', 3), Firing: "g", Cone: "6",
		Series: "large_self_supporting", Seen: "down", By: "KT"}
	for i, c := range []tiles.ConeSeen{first, second, other} {
		at := later(time.Duration(i) * time.Minute)
		kept := must[tiles.PutResult](t)(s.PutCone(ctx, c, at))
		again := must[tiles.PutResult](t)(s.PutCone(ctx, c, later(time.Hour)))
		if !kept.New || again.New || again.Revision != kept.Revision {
			t.Errorf("cone %s kept as %+v, then %+v", c.Cone, kept, again)
		}
	}
	changed := first
	changed.Tilt = 60
	if _, err := s.PutCone(ctx, changed, when); !errors.Is(err, tiles.ErrIDUsed) {
		t.Errorf("another cone under an id that is taken: %v", err)
	}
	if err := s.StrikeCone(ctx, second.ID, "RM", "read the wrong shelf", later(time.Hour)); err != nil {
		t.Fatal(err)
	}
	if err := s.StrikeCone(ctx, second.ID, "XX", "again", later(2*time.Hour)); err != nil {
		t.Errorf("struck twice: %v", err)
	}
	if err := s.StrikeCone(ctx, uuid('c', 9), "", "none", when); !errors.Is(err, tiles.ErrNoCone) {
		t.Errorf("a cone that is not there: %v", err)
	}
	got := must[[]tiles.ConeSeen](t)(s.Cones(ctx, "f"))
	if len(got) != 2 {
		t.Fatalf("%d cones of f, want 2", len(got))
	}
	want := first
	want.At, want.Trusted = when.Wall, true
	if got[0] != want {
		t.Errorf("came back as %+v, want %+v", got[0], want)
	}
	if c := got[1]; c.Tilted || c.Series != "small" || c.Struck == nil || c.Struck.By != "RM" ||
		c.Struck.Why != "read the wrong shelf" || !c.Struck.At.Equal(later(time.Hour).Wall) {
		t.Errorf("the struck one came back as %+v, %+v", c, c.Struck)
	}
	if all := must[[]tiles.ConeSeen](t)(s.Cones(ctx, "")); len(all) != 3 || all[2].Firing != "g" {
		t.Errorf("all cones: %+v", all)
	}
	if n := must[int](t)(s.ForgetMaker(ctx, "KT", when)); n != 2 {
		t.Errorf("KT stood on %d facts, want 2", n)
	}
	for _, c := range must[[]tiles.ConeSeen](t)(s.Cones(ctx, "")) {
		if c.By == "KT" {
			t.Errorf("KT still stands on %+v", c)
		}
	}
}

// Makers who entered nothing for long are found by the newest of all they did, not by the oldest.
func TestMakersOfLongAgo(t *testing.T) {
	s, ctx := openStore(t), t.Context()
	day := func(n int) kiln.Stamp { return later(time.Duration(n) * 24 * time.Hour) }
	unsure := day(-2000)
	unsure.Trusted, unsure.Boot = false, "another"
	for i, c := range []struct {
		by string
		at kiln.Stamp
	}{{"OLD", day(0)}, {"OLD", day(10)}, {"KT", day(0)}, {"KT", day(300)}, {"??", unsure}, {"", day(0)}} {
		must[tiles.PutResult](t)(s.PutCone(ctx,
			tiles.ConeSeen{ID: uuid('c', i), Firing: "f", Cone: "06", Series: "large_self_supporting",
				Seen: "leaning", By: c.by}, c.at))
	}
	for days, want := range map[int][]string{10: nil, 11: {"OLD"}, 300: {"OLD"}, 301: {"KT", "OLD"}} {
		if got := must[[]string](t)(s.MakersBefore(ctx, day(days).Wall)); !slices.Equal(got, want) {
			t.Errorf("before day %d: %v, want %v", days, got, want)
		}
	}
	must[int](t)(s.ForgetMaker(ctx, "OLD", day(400)))
	if got := must[[]string](t)(s.MakersBefore(ctx, day(300).Wall)); len(got) != 0 {
		t.Errorf("once forgotten: %v", got)
	}
}

func TestNotesAreKept(t *testing.T) {
	s, ctx := openStore(t), t.Context()
	note := tiles.Note{ID: uuid('n', 1), Firing: "f", Text: "vent off for 5 min",
		Happened: "2026-01-09T19:00:00+01:00", By: "KT"}
	incident := tiles.Note{ID: uuid('n', 2), Firing: "f", Text: "the door seal glowed", Incident: true}
	for _, n := range []tiles.Note{note, incident} {
		if kept := must[tiles.PutResult](t)(s.PutNote(ctx, n, when)); !kept.New {
			t.Errorf("%q was there already", n.Text)
		}
	}
	if kept := must[tiles.PutResult](t)(s.PutNote(ctx, note, later(time.Hour))); kept.New {
		t.Error("said twice it was kept twice")
	}
	other := note
	other.Text = "vent off for 6 min"
	if _, err := s.PutNote(ctx, other, when); !errors.Is(err, tiles.ErrIDUsed) {
		t.Errorf("another note under an id that is taken: %v", err)
	}
	if err := s.StrikeNote(ctx, note.ID, "KT", "another firing", later(time.Hour)); err != nil {
		t.Fatal(err)
	}
	if err := s.StrikeNote(ctx, uuid('n', 9), "", "none", when); !errors.Is(err, tiles.ErrNoNote) {
		t.Errorf("a note that is not there: %v", err)
	}
	got := must[[]tiles.Note](t)(s.Notes(ctx, "f"))
	if len(got) != 2 || got[0].Text != note.Text || got[0].Happened != note.Happened ||
		got[0].Struck == nil || got[0].Struck.Why != "another firing" ||
		!got[1].Incident || got[1].Struck != nil || !got[1].At.Equal(when.Wall) || !got[1].Trusted {
		t.Errorf("came back as %+v", got)
	}
	if n := len(must[[]tiles.Note](t)(s.Notes(ctx, "g"))); n != 0 {
		t.Errorf("%d notes of another firing", n)
	}
}

func TestProbesAreKept(t *testing.T) {
	s, ctx := openStore(t), t.Context()
	old := tiles.ProbeLife{ID: uuid('p', 1), Kiln: "big-blue", Channel: "1", Type: "K",
		Class: 2, Fitted: "2024-03-01"}
	kept := must[tiles.PutResult](t)(s.PutProbe(ctx, old, usecase.Precondition{}, when))
	if again := must[tiles.PutResult](t)(s.PutProbe(ctx, old, usecase.Precondition{}, when)); again.New {
		t.Error("said twice it was kept twice")
	}
	removed := old
	removed.Removed, removed.Note = "2026-01-08", "the sheath was thin"
	if _, err := s.PutProbe(ctx, removed, usecase.Precondition{Revision: kept.Revision + 7},
		when); !errors.Is(err, tiles.ErrChanged) {
		t.Errorf("over a revision that is not there: %v", err)
	}
	must[tiles.PutResult](t)(s.PutProbe(ctx, removed, usecase.Precondition{Revision: kept.Revision}, when))
	fresh := tiles.ProbeLife{ID: uuid('p', 2), Kiln: "big-blue", Channel: "1", Type: "N",
		Class: 1, Fitted: "2026-01-08"}
	must[tiles.PutResult](t)(s.PutProbe(ctx, fresh, usecase.Precondition{New: true}, when))
	must[tiles.PutResult](t)(s.PutProbe(ctx,
		tiles.ProbeLife{ID: uuid('p', 3), Kiln: "little-red", Channel: "1", Type: "S", Class: 2,
			Fitted: "2025-01-01"}, usecase.Precondition{}, when))
	got := must[[]tiles.KeptProbe](t)(s.Probes(ctx, "big-blue"))
	if len(got) != 2 || got[0].ProbeLife != removed || got[1].ProbeLife != fresh ||
		got[0].Revision <= kept.Revision {
		t.Errorf("came back as %+v", got)
	}
	if n := len(must[[]tiles.KeptProbe](t)(s.Probes(ctx, ""))); n != 3 {
		t.Errorf("%d probes in all, want 3", n)
	}
}

func TestKeepShutsAndTicksAreKept(t *testing.T) {
	s, ctx := openStore(t), t.Context()
	for i, c := range []kiln.Celsius{50, 95} {
		m := tiles.KeepShut{ID: uuid('m', i), Kiln: "big-blue", Mark: c,
			Reason: "the maker's manual", By: "KT"}
		must[tiles.PutResult](t)(s.PutKeepShut(ctx, m, later(time.Duration(i)*time.Hour)))
	}
	if got := must[[]tiles.KeepShut](t)(s.KeepShuts(ctx, "big-blue")); len(got) != 2 || got[0].Mark != 95 ||
		got[0].Reason == "" || got[1].Mark != 50 {
		t.Errorf("marks: %+v", got)
	}
	for i, done := range []bool{true, false, true} {
		must[tiles.PutResult](t)(s.PutTick(ctx,
			tiles.Tick{ID: uuid('t', i), Subject: "f", Item: []string{"caution-1", "caution-1",
				"caution-2"}[i], Done: done}, when))
	}
	if got := must[[]tiles.Tick](t)(s.Ticks(ctx, "f")); len(got) != 2 || got[0].Done || !got[1].Done {
		t.Errorf("ticks: %+v", got)
	}
}
