package api

import (
	"context"
	"math"

	"lidwright/api/wire"
	"lidwright/tiles"
	"lidwright/tiles/board"
	"lidwright/tiles/lid"
)

// sizeBoard loads what the question rests on, and computes.
func (s *Studio) sizeBoard(ctx context.Context, q board.Question, at firingAsk) (board.Answer, firingMeant, error) {
	checked := q // the maker's own accuracy is yet to come into q
	if err := checked.Validate(s.Lids); err != nil {
		return board.Answer{}, firingMeant{}, err
	}
	on, err := s.restsOn(ctx, &q.Common, at)
	if err != nil {
		return board.Answer{}, on.at, err
	}
	a, err := sizeBoard(q, s.Lids.Learned(on.maker), on)
	return a, on.at, err
}

func sizeBoard(q board.Question, d lid.Defaults, on rest) (board.Answer, error) {
	known, err := q.Know(on.rates, d, on.at.Firing, on.gone)
	if err != nil {
		return board.Answer{}, err
	}
	return board.Size(q, d, known.Learned(on.part))
}

func (s *Studio) boardJSON(q board.Question, a board.Answer, m firingMeant, unit tiles.LengthUnit) wire.Board {
	j := wire.Board{Galleries: a.Galleries, Lids: a.Lids, AllPairChance: rounded(a.AllPairChance, 4), ExpectedPairs: rounded(a.ExpectedPairs, 2),
		OneToOneChance: rounded(a.OneToOneChance, 4), Says: a.Says(unit), Trust: string(a.Trust), TrustWhy: a.TrustWhy, HeldBack: text(a.HeldBack),
		Cautions: a.Cautions, Unusual: a.Unusual, AsOf: s.moment(m.AsOf), Model: m.Model}
	for _, size := range a.Sizes {
		j.Sizes = append(j.Sizes, wire.BoardSize{SizeMM: rounded(float64(size.Size), 2), Count: size.Count})
	}
	for _, p := range a.Pairs {
		pot := ""
		if p.Gallery < len(q.Galleries) {
			pot = q.Galleries[p.Gallery].Pot
		}
		j.Pairs = append(j.Pairs, wire.BoardPair{Gallery: p.Gallery, Pot: text(pot), Lid: text(p.Lid), FitChance: rounded(p.FitChance, 4), SetMM: rounded(float64(p.Set), 2)})
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
