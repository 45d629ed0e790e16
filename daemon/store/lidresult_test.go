package store

import (
	"context"
	"database/sql"
	"errors"
	"reflect"
	"slices"
	"testing"
	"time"

	"lidwright/api/usecase"
	"lidwright/api/wire"
	"lidwright/kiln"
	"lidwright/tiles"
	"lidwright/tiles/lid"
)

func lidBoard(n int) lid.Result {
	b := tiles.BatchRef{Clay: "tern", Batch: "B"}
	return lid.Result{ID: uuid('v', n), Load: uuid('l', 1), Pots: []string{uuid('p', 1), uuid('p', 2)},
		Form: "teapot 0.9 l", Maker: "KT", Seat: lid.Inset, SeatGlazed: true, Body: b, Lid: b,
		Sat:    lid.Outcomes{TooBig: 1, Tight: 2, Good: 13, Loose: 3, DropsIn: 1, NotLookedAt: 4},
		Losses: lid.Losses{Glued: 1, Rocks: 2, Chipped: 3, Dropped: 4},
		Plays:  []tiles.Millimetre{1.3, -0.2}, Thrown: []tiles.Millimetre{102.5},
		Limits: &lid.Limits{LeastPlay: 1, MostPlay: 2.5, Bearing: 1}, By: "AB"}
}

func boardStore(t *testing.T) *Store {
	s := openStore(t)
	furnish(t, s)
	load := tiles.Load{ID: uuid('l', 1), Kiln: "big-blue", Kind: kiln.Glaze,
		Atmosphere: kiln.Oxidation, PackedBy: "KT"}
	must[tiles.PutResult](t)(s.PutLoad(context.Background(), load, usecase.Precondition{}, when))
	return s
}

// A board comes back as it was said; said again it is the same; other limits in force by then
// change neither it nor what it was judged by.
func TestLidResultIsKept(t *testing.T) {
	ctx, s := context.Background(), boardStore(t)
	v := lidBoard(1)
	first := must[tiles.PutResult](t)(s.PutLidResult(ctx, v, when))
	if !first.New {
		t.Error("not new")
	}
	v.Limits = &lid.Limits{LeastPlay: 0.5, MostPlay: 2, Bearing: 2}
	again := must[tiles.PutResult](t)(s.PutLidResult(ctx, v, later(time.Hour)))
	if again.New || again.Revision != first.Revision {
		t.Errorf("said again: %+v, first %+v", again, first)
	}
	got := must[lid.Result](t)(s.LidResult(ctx, v.ID))
	want := lidBoard(1)
	want.At, want.Trusted = when.Wall, true
	if !got.At.Equal(want.At) {
		t.Errorf("at %s", got.At)
	}
	got.At = want.At
	if !reflect.DeepEqual(got, want) {
		t.Errorf("\n%+v\n%+v", got, want)
	}
	v.Sat.Good++
	if _, err := s.PutLidResult(ctx, v, when); !errors.Is(err, tiles.ErrIDUsed) {
		t.Errorf("another board under its id: %v", err)
	}
}

func TestLidResultOfWhatIsNotThere(t *testing.T) {
	ctx, s := context.Background(), boardStore(t)
	for name, c := range map[string]struct {
		change func(*lid.Result)
		err    error
	}{
		"load":  {func(v *lid.Result) { v.Load = uuid('l', 9) }, tiles.ErrNoLoad},
		"clay":  {func(v *lid.Result) { v.Lid.Clay = "wren" }, tiles.ErrNoClay},
		"batch": {func(v *lid.Result) { v.Body.Batch = "Q" }, tiles.ErrNoBatch},
		"pot":   {func(v *lid.Result) {}, nil}, // a card may come later, or was made on another phone
	} {
		v := lidBoard(2)
		v.ID = uuid('v', 20+len(name))
		c.change(&v)
		if _, err := s.PutLidResult(ctx, v, when); !errors.Is(err, c.err) {
			t.Errorf("%s: %v", name, err)
		}
	}
	if _, err := s.LidResult(ctx, uuid('v', 99)); !errors.Is(err, lid.ErrNoResult) {
		t.Error(err)
	}
	if err := s.StrikeLidResult(ctx, uuid('v', 99), "KT", "no", when); !errors.Is(err, lid.ErrNoResult) {
		t.Error(err)
	}
	v := lidBoard(3)
	v.Load = ""
	must[tiles.PutResult](t)(s.PutLidResult(ctx, v, when))
}

// A struck board stays to be seen and leaves the tally.
func TestStrikeAndTally(t *testing.T) {
	ctx, s := context.Background(), boardStore(t)
	for n := 1; n <= 3; n++ {
		v := lidBoard(n)
		if n == 3 {
			v.Form, v.Load = "jar", ""
		}
		must[tiles.PutResult](t)(s.PutLidResult(ctx, v, later(time.Duration(n)*time.Minute)))
	}
	for range 2 {
		if err := s.StrikeLidResult(ctx, uuid('v', 2), "KT", "wrong board", later(time.Hour)); err != nil {
			t.Fatal(err)
		}
	}
	all := must[[]lid.Result](t)(s.LidResults(ctx, lid.ResultFilter{}))
	if len(all) != 3 || all[0].Form != "jar" || all[1].Struck == nil ||
		all[1].Struck.Why != "wrong board" || all[0].Struck != nil {
		t.Errorf("%+v", all)
	}
	if n := count(t, s, `SELECT count(*) FROM act WHERE kind = 'lid_result'`); n != 1 {
		t.Errorf("%d strikes", n)
	}
	for w, n := range map[lid.ResultFilter]int{{Form: "jar"}: 1, {Clay: "tern"}: 3, {Clay: "wren"}: 0,
		{Load: uuid('l', 1)}: 2, {Limit: 1}: 1} {
		if got := must[[]lid.Result](t)(s.LidResults(ctx, w)); len(got) != n {
			t.Errorf("%+v: %d", w, len(got))
		}
	}
	tally := must[[]lid.GroupCount](t)(s.Tallies(ctx))
	one := lid.GroupCount{DifferenceGroup: lid.DifferenceGroup{Form: "jar", Body: "tern", Lid: "tern",
		Maker: "KT"}, Boards: 1, Sat: lidBoard(1).Sat, Losses: lidBoard(1).Losses}
	two := one
	two.Form = "teapot 0.9 l"
	if !reflect.DeepEqual(tally, []lid.GroupCount{one, two}) {
		t.Errorf("%+v", tally)
	}
}

// A board that a studio sent under its older name, and that was crossed out, is made again as a lid result.
func TestOlderNameOfALidResult(t *testing.T) {
	ctx, from, s := context.Background(), boardStore(t), openStore(t)
	must[tiles.PutResult](t)(from.PutLidResult(ctx, lidBoard(1), when))
	if err := from.StrikeLidResult(ctx, uuid('v', 1), "KT", "wrong board", later(time.Hour)); err != nil {
		t.Fatal(err)
	}
	rows := must[*sql.Rows](t)(from.read.Query(`SELECT seq, kind, op, id, at_ms, trusted, boot, body FROM change ORDER BY seq`))
	renamed := 0
	facts := must[[]wire.PushFact](t)(collect(rows, "facts", func(f *wire.PushFact) error {
		var at int64
		var body string
		err := rows.Scan(&f.Seq, &f.Kind, &f.Op, &f.ID, &at, &f.ClockTrusted, &f.Boot, &body)
		if f.At, f.Body = fromMilli(at), []byte(body); f.Kind == "lid_result" {
			f.Kind = "verdict"
			renamed++
		}
		return err
	}))
	sent := Sent{Site: uuid('s', 1), Life: uuid('s', 2),
		Facts: func(_ context.Context, after int64) ([]wire.PushFact, error) {
			return slices.DeleteFunc(slices.Clone(facts),
				func(f wire.PushFact) bool { return f.Seq <= after }), nil
		}}
	again := must[Replayed](t)(Replay(ctx, s, sent))
	if renamed != 2 || len(again.Left) > 0 || again.Facts != len(facts) {
		t.Errorf("%d of an older name, %+v of %d", renamed, again, len(facts))
	}
	want, got := must[lid.Result](t)(from.LidResult(ctx, uuid('v', 1))), must[lid.Result](t)(s.LidResult(ctx,
		uuid('v', 1)))
	if want.Limits = nil; got.Struck == nil || !reflect.DeepEqual(got, want) { // limits are found, not said
		t.Errorf("\n%+v\n%+v", got, want)
	}
	if n := count(t, s, `SELECT count(*) FROM change WHERE kind = 'lid_result'`); n != 2 {
		t.Errorf("%d changes of lid results", n)
	}
}
