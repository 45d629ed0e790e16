package api

import (
	"cmp"
	"context"
	"net/url"

	"lidwright/api/usecase"
	"lidwright/api/wire"
	"lidwright/tiles"
	"lidwright/tiles/shrinkage"
)

// RateQuery is what is asked of the rate of a clay, whatever is told of it.
type RateQuery struct {
	Query
	Clay       string `path:"clay" pattern:"^[a-z0-9-]{1,32}$"`
	Batch      string `query:"batch" doc:"Newest open batch if not named"`
	Kind       string `query:"kind" enum:"bisque,glaze,once,other" doc:"glaze if not said"`
	Atmosphere string `query:"atmosphere" enum:"oxidation,reduction,unknown"`
	HeatWorkC  string `query:"heat_work_c" doc:"°C, 550 to 1400; the usual firing if not said"`
	Cone       string `query:"cone" doc:"022 to 14, tenths allowed: 6+0.1"`
	Kiln       string `query:"kiln"`
	From       string `query:"from" doc:"Stage; wet if not said"`
	Forming    string `query:"forming" doc:"thrown_ring if not said"`
}

type shrinkageInput struct {
	RateQuery
	To string `query:"to" doc:"A later stage; fired if not said"`
}

type body[T any] struct{ Body T }

func (s clayRoutes) getShrinkage(ctx context.Context, in *shrinkageInput) (*body[wire.Shrinkage], error) {
	j, _, err := s.askShrinkage(ctx, tiles.ClayID(in.Clay), in.values)
	if err != nil {
		return nil, s.problemFrom(ctx, err)
	}
	return &body[wire.Shrinkage]{j}, nil
}

// askShrinkage answers the question of a rate, for the API and for the Clay page.
func (s clayRoutes) askShrinkage(ctx context.Context, id tiles.ClayID, values url.Values) (wire.Shrinkage, shrinkage.Rate, error) {
	fit, asOf, err := s.Shrink.Fit(ctx)
	if err != nil {
		return wire.Shrinkage{}, shrinkage.Rate{}, err
	}
	q, err := readRate(id, values, s.Unit())
	if err != nil {
		return wire.Shrinkage{}, shrinkage.Rate{}, err
	}
	return s.Clays().ShrinkageOf(ctx, fit, asOf, q)
}

// readRate reads the question of a rate.
func readRate(id tiles.ClayID, values url.Values, unit tiles.LengthUnit) (usecase.RateQuestion, error) {
	r := newReader(values, unit)
	batch, _ := r.text("batch")
	q := usecase.UsualRate(tiles.BatchRef{Clay: id, Batch: tiles.BatchID(batch)})
	q.Firing = r.firing()
	q.From = cmp.Or(tiles.Stage(r.word("from", stageWords()...)), q.From)
	q.To = cmp.Or(tiles.Stage(r.word("to", stageWords()...)), q.To)
	var words []string
	for _, f := range tiles.Formings() {
		words = append(words, string(f))
	}
	q.Forming = cmp.Or(tiles.Forming(r.word("forming", words...)), q.Forming)
	return q, r.err()
}
