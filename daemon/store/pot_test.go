package store

import (
	"context"
	"errors"
	"fmt"
	"reflect"
	"testing"
	"time"

	"lidwright/api/usecase"
	"lidwright/tiles"
	"lidwright/tiles/lid"
	"lidwright/tiles/shrinkage"
)

func potCard(n int) lid.PotCard {
	b := tiles.BatchRef{Clay: "tern", Batch: "B"}
	return lid.PotCard{ID: uuid('p', n), Mark: "KT", Number: fmt.Sprint(200 + n), Form: "Teapot 0.9 l",
		Seat: lid.Inset, SeatGlazed: true, Together: shrinkage.InPlace,
		Collar: []tiles.Millimetre{104.5, 104.8}, Opening: 92.5, Stage: tiles.Wet, Body: b, Lid: b,
		Set: 102.5, Measured: 102.4, Bowl: 96, TrimMost: 3, Fired: []tiles.Millimetre{91.5, 91.7},
		MadeOn: "2026-01-15", Note: "spout left"}
}

// A card comes back as it was made, with and without what may be missing, and is edited.
func TestPotIsKept(t *testing.T) {
	ctx, s := context.Background(), openStore(t)
	furnish(t, s)
	for n, p := range []lid.PotCard{potCard(0), {ID: uuid('p', 1), Form: "jar", Seat: lid.Stopper,
		Collar: []tiles.Millimetre{30}, Stage: tiles.Leather,
		Body: tiles.BatchRef{Clay: "tern", Batch: "B"}}} {
		kept := must[tiles.PutResult](t)(s.PutPot(ctx, p, usecase.Precondition{}, when))
		got := must[lid.KeptPot](t)(s.Pot(ctx, p.ID))
		if !reflect.DeepEqual(got, lid.KeptPot{PotCard: p, Revision: kept.Revision}) {
			t.Errorf("%d:\n%+v\n%+v", n, got, p)
		}
	}
	p := potCard(0)
	p.Measured = 102.1
	first := must[lid.KeptPot](t)(s.Pot(ctx, p.ID))
	if _, err := s.PutPot(ctx, p, usecase.Precondition{Revision: first.Revision - 1}, when); !errors.Is(err,
		tiles.ErrChanged) {
		t.Errorf("of a revision that is gone: %v", err)
	}
	kept := must[tiles.PutResult](t)(s.PutPot(ctx, p, usecase.Precondition{Revision: first.Revision},
		later(time.Hour)))
	again := must[tiles.PutResult](t)(s.PutPot(ctx, p, usecase.Precondition{Revision: first.Revision},
		later(time.Hour)))
	if !kept.New || again.New || kept.Revision != again.Revision {
		t.Errorf("%+v %+v", kept, again)
	}
	p.Lid.Clay = "wren"
	if _, err := s.PutPot(ctx, p, usecase.Precondition{}, when); !errors.Is(err, tiles.ErrNoClay) {
		t.Error(err)
	}
	if _, err := s.Pot(ctx, uuid('p', 77)); !errors.Is(err, lid.ErrNoPot) {
		t.Error(err)
	}
}

// Found by mark, number, form or date, in any case and order, each word of it.
func TestFindPot(t *testing.T) {
	ctx, s := context.Background(), openStore(t)
	furnish(t, s)
	for n := range 12 {
		p := potCard(n)
		if n == 7 {
			p.Mark, p.Form, p.MadeOn = "ÄB", "Butter Dish", "2026-03-02"
		}
		must[tiles.PutResult](t)(s.PutPot(ctx, p, usecase.Precondition{},
			later(time.Duration(n)*time.Minute)))
	}
	for find, want := range map[string]int{"": 12, "kt": 11, "205": 1, "KT 205": 1, "205 kt teapot": 1,
		"butter": 1, "dish butter äb": 1, "2026-03": 1, "2026-01-15 teapot": 11, "207 kt": 0,
		"teapot 0.9 l kt 203": 1, "%": 0, "' OR 1": 0} {
		got := must[[]lid.KeptPot](t)(s.Pots(ctx, lid.PotFilter{Find: find}))
		if len(got) != want {
			t.Errorf("%q: %d, want %d", find, len(got), want)
		}
		for i := 1; i < len(got); i++ {
			if got[i].Revision > got[i-1].Revision {
				t.Errorf("%q: not newest first", find)
			}
		}
	}
	if got := must[[]lid.KeptPot](t)(s.Pots(ctx, lid.PotFilter{Limit: 5})); len(got) != 5 {
		t.Errorf("%d of 5", len(got))
	}
}
