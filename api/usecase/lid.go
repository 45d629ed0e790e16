package usecase

import (
	"context"
	"errors"
	"math"

	"lidwright/api/wire"
	"lidwright/tiles"
	"lidwright/tiles/board"
	"lidwright/tiles/lid"
	"lidwright/tiles/shrinkage"
)

// IsInvalid reports whether err is a form at fault, which the person can put right.
func IsInvalid(err error) bool {
	var many tiles.InvalidFields
	var one *tiles.Invalid
	return errors.As(err, &many) || errors.As(err, &one)
}

// SizeLid computes, from what the question rests on. A size outside what is believed is asked about first.
func SizeLid(q lid.Question, d lid.Defaults, on rest) (lid.Answer, error) {
	if err := q.Validate(d); err != nil {
		return lid.Answer{}, err
	}
	if err := q.Doubts(); err != nil {
		return lid.Answer{}, err
	}
	known, err := q.Know(on.rates, on.At.Firing, on.gone)
	if err != nil {
		return lid.Answer{}, err
	}
	known.Part, known.Tight, known.Rim = on.part, on.tight, on.rim
	return lid.Size(q, d, known)
}

func (s *Studio) Unit() tiles.LengthUnit {
	if s.Site.Units == "" {
		return tiles.MM
	}
	return tiles.LengthUnit(s.Site.Units)
}

// Heated finds a clay's batch, the fit, and the firing that a question is about.
func (s Lids) Heated(ctx context.Context, ref *tiles.BatchRef, at FiringAsk) (*shrinkage.Fit, FiringMeant, error) {
	clay, err := s.clay(ctx, ref)
	if err != nil {
		return nil, FiringMeant{}, err
	}
	fit, asOf, err := s.Shrink.Fit(ctx)
	if err != nil {
		return nil, FiringMeant{}, err
	}
	m, err := s.meant(ctx, at, clay)
	m.AsOf, m.Model = asOf, shrinkage.Model
	return fit, m, err
}

// SizeBoard is SizeLid of a board.
func (s Lids) SizeBoard(ctx context.Context, q board.Question, open FromCards, at FiringAsk) (board.Answer, FiringMeant, error) {
	if err := s.asForm(ctx, &q.Common, open); err != nil {
		return board.Answer{}, FiringMeant{}, err
	}
	checked := q // the maker's own accuracy is yet to come into q
	if err := checked.Validate(s.LidDefaults); err != nil {
		return board.Answer{}, FiringMeant{}, err
	}
	on, err := s.restsOn(ctx, &q.Common, at)
	if err != nil {
		return board.Answer{}, on.At, err
	}
	a, err := SizeBoard(q, s.LidDefaults.Learned(on.maker), on)
	return a, on.At, err
}

func SizeBoard(q board.Question, d lid.Defaults, on rest) (board.Answer, error) {
	known, err := q.Know(on.rates, d, on.At.Firing, on.gone)
	if err != nil {
		return board.Answer{}, err
	}
	if err := q.Doubts(d); err != nil {
		return board.Answer{}, err
	}
	return board.Size(q, d, known.Learned(on.part))
}

func (s Lids) BoardJSON(q board.Question, a board.Answer, m FiringMeant, unit tiles.LengthUnit) wire.Board {
	j := wire.Board{Galleries: a.Galleries, Lids: a.Lids, AllPairChance: Rounded(a.AllPairChance, 4), ExpectedPairs: Rounded(a.ExpectedPairs, 2),
		OneToOneChance: Rounded(a.OneToOneChance, 4), Says: a.Says(unit), For: m.For(),
		Trust: string(a.Trust), TrustWhy: a.TrustWhy, HeldBack: Said(a.HeldBack),
		Cautions: a.Cautions, Unusual: a.Unusual, AsOf: s.Moment(m.AsOf), Model: m.Model}
	for _, size := range a.Sizes {
		j.Sizes = append(j.Sizes, wire.BoardSize{SizeMM: Rounded(float64(size.Size), 2), Count: size.Count})
	}
	for _, p := range a.Pairs {
		pot := ""
		if p.Gallery < len(q.Galleries) {
			pot = q.Galleries[p.Gallery].Pot
		}
		j.Pairs = append(j.Pairs, wire.BoardPair{Gallery: p.Gallery, Pot: Text(pot), Lid: Text(p.Lid), FitChance: Rounded(p.FitChance, 4), SetMM: Rounded(float64(p.Set), 2)})
	}
	if j.Cautions == nil {
		j.Cautions = []string{}
	}
	if j.Unusual == nil {
		j.Unusual = []string{}
	}
	if math.IsNaN(a.AllPairChance) { // lids measured at different stages
		j.AllPairChance = nil
	}
	return j
}
