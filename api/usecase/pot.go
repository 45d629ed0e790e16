package usecase

import (
	"cmp"
	"context"
	"errors"
	"strconv"
	"strings"
	"time"

	"lidwright/api/wire"
	"lidwright/tiles"
	"lidwright/tiles/lid"
	"lidwright/tiles/shrinkage"
)

// KeepPot keeps a pot card; what follows from its pot and form is filled in.
func (s Lids) KeepPot(ctx context.Context, id string, b wire.PotBody) (tiles.PutResult, error) {
	p, err := s.PotCard(ctx, id, b)
	if err != nil {
		return tiles.PutResult{}, err
	}
	if err := s.fillCard(ctx, &p); err != nil {
		return tiles.PutResult{}, err
	}
	return s.Archive.PutPot(ctx, p, PreconditionOf(ctx), s.Now())
}

// fillCard gives a card the day and the number that it does not say: those that it has, else today and the
// next number of its maker, so that it can be found by them.
func (s Lids) fillCard(ctx context.Context, p *lid.PotCard) error {
	if p.MadeOn != "" && p.Number != "" {
		return nil
	}
	if was, err := s.Archive.Pot(ctx, p.ID); err == nil {
		p.MadeOn, p.Number = cmp.Or(p.MadeOn, was.MadeOn), cmp.Or(p.Number, was.Number)
	} else if !errors.Is(err, lid.ErrNoPot) {
		return err
	}
	p.MadeOn = cmp.Or(p.MadeOn, s.Now().Wall.In(s.Site.Zone).Format(time.DateOnly))
	if p.Number == "" {
		next, err := s.NextNumber(ctx, p.Mark)
		if err != nil {
			return err
		}
		p.Number = strconv.Itoa(next)
	}
	return nil
}

// NextNumber is the number after the highest that a maker's pot cards have.
func (s Lids) NextNumber(ctx context.Context, mark string) (int, error) {
	cards, err := s.Archive.Pots(ctx, lid.PotFilter{})
	if err != nil {
		return 0, err
	}
	highest := 0
	for _, c := range cards {
		if n, err := strconv.Atoi(c.Number); err == nil && c.Mark == mark {
			highest = max(highest, n)
		}
	}
	return highest + 1, nil
}

// PotCard is b as a card that may be kept.
func (s Lids) PotCard(ctx context.Context, id string, b wire.PotBody) (lid.PotCard, error) {
	of := func(v *float64) tiles.Millimetre {
		if v == nil {
			return 0
		}
		return tiles.Millimetre(*v)
	}
	p := lid.PotCard{ID: id, Mark: b.Mark, Number: b.Number, Form: b.Form,
		Seat: lid.Seat(cmp.Or(b.Seat, "inset")), SeatGlazed: b.SeatGlazed,
		Together: shrinkage.Together(b.Together),
		Collar:   FromMillimetres(b.Collar), Opening: of(b.Opening),
		Stage: tiles.Stage(cmp.Or(b.Stage, "wet")),
		Set:   of(b.Set), Measured: of(b.Measured),
		Bowl: of(b.Bowl), TrimMost: of(b.TrimMost), Fired: FromMillimetres(b.Fired),
		MadeOn: b.MadeOn, Note: b.Note}
	var err error
	if p.Body, err = s.batchRef(ctx, "body", b.Body); err != nil {
		return p, err
	}
	if p.Lid, err = s.batchRef(ctx, "lid", b.Lid); err != nil {
		return p, err
	}
	return p, p.Validate()
}

// batchRef reads tern/B, or tern for its newest open batch. Empty text gives the empty reference.
func (s Lids) batchRef(ctx context.Context, field, text string) (tiles.BatchRef, error) {
	if clay := strings.TrimSpace(text); clay != "" && !strings.Contains(clay, "/") {
		ref := tiles.BatchRef{Clay: tiles.ClayID(clay)}
		_, err := s.clay(ctx, &ref)
		return ref, err
	}
	return tiles.ParseBatchRef(field, text)
}
