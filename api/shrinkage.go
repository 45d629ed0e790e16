package api

import (
	"cmp"
	"context"
	"net/url"
	"time"

	"lidwright/api/wire"
	"lidwright/kiln"
	"lidwright/kiln/heatwork"
	"lidwright/tiles"
	"lidwright/tiles/lid"
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

func (s *Server) getShrinkage(ctx context.Context, in *shrinkageInput) (*body[wire.Shrinkage], error) {
	j, _, err := s.askShrinkage(ctx, tiles.ClayID(in.Clay), in.values)
	if err != nil {
		return nil, s.problemFrom(ctx, err)
	}
	return &body[wire.Shrinkage]{j}, nil
}

// askShrinkage answers the question of a rate, for the API and for the Clay page.
func (s *Server) askShrinkage(ctx context.Context, id tiles.ClayID, values url.Values) (wire.Shrinkage, shrinkage.Rate, error) {
	fit, asOf, err := s.Shrink.Fit(ctx)
	if err != nil {
		return wire.Shrinkage{}, shrinkage.Rate{}, err
	}
	q, err := readRate(id, values, s.unit())
	if err != nil {
		return wire.Shrinkage{}, shrinkage.Rate{}, err
	}
	return s.shrinkageOf(ctx, fit, asOf, q)
}

// rateAsked is a question about a rate: of what, to which stage, at which firing.
type rateAsked struct {
	shrinkage.Ask
	To     tiles.Stage
	Firing firingMeant
}

// rateQuestion is what the rate of a clay is asked for: from one stage to another, in a firing.
type rateQuestion struct {
	Ref      tiles.BatchRef // an empty batch: the newest open one
	From, To tiles.Stage
	Forming  tiles.Forming
	Firing   firingAsk
}

// usualRate asks what is usual: from wet to fired, thrown, in the usual glaze firing.
func usualRate(ref tiles.BatchRef) rateQuestion {
	return rateQuestion{Ref: ref, From: tiles.Wet, To: tiles.Fired, Forming: tiles.ThrownRing,
		Firing: firingAsk{Kind: kiln.Glaze, Heat: kiln.NoTemperature()}}
}

// readRate reads the question of a rate.
func readRate(id tiles.ClayID, values url.Values, unit tiles.LengthUnit) (rateQuestion, error) {
	r := newReader(values, unit)
	batch, _ := r.text("batch")
	q := usualRate(tiles.BatchRef{Clay: id, Batch: tiles.BatchID(batch)})
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

// askRate finds out what a question of a rate rests on.
func (s *Server) askRate(ctx context.Context, q rateQuestion) (rateAsked, error) {
	if !q.From.Before(q.To) {
		return rateAsked{}, &tiles.Invalid{Field: "to", Type: "stage-goes-backwards", Why: "must come after from"}
	}
	clay, err := s.clay(ctx, &q.Ref)
	if err != nil {
		return rateAsked{}, err
	}
	m, err := s.meant(ctx, q.Firing, clay)
	if err != nil {
		return rateAsked{}, err
	}
	return rateAsked{shrinkage.Ask{BatchRef: q.Ref, Forming: q.Forming, Stage: q.From, Work: m.Work, WorkSD: m.WorkSD,
		BisqueWork: m.BisqueWork, Kind: m.Kind, Probe: m.Probe, On: m.On}, q.To, m}, nil
}

// shrinkageOf answers it from a fit at hand.
func (s *Server) shrinkageOf(ctx context.Context, fit *shrinkage.Fit, asOf time.Time, q rateQuestion) (wire.Shrinkage, shrinkage.Rate, error) {
	a, err := s.askRate(ctx, q)
	if err != nil {
		return wire.Shrinkage{}, shrinkage.Rate{}, err
	}
	sh, err := fit.Rate(a.Ask, a.To)
	if err != nil {
		return wire.Shrinkage{}, sh, err
	}
	m := a.Firing
	l := heatwork.MainConeScale()
	j := wire.Shrinkage{
		Clay: string(a.Clay), Batch: string(a.Batch), From: string(a.Stage), To: string(a.To),
		At:         wire.HeatAt{From: m.From, Kind: string(m.Kind), Atmosphere: text(string(m.Atmosphere)), Kiln: text(string(m.Kiln)), UsualOf: m.Of},
		TotalRatio: ratio4(sh.Total), LikelyLow: ratio4(sh.Likely.Low), LikelyHigh: ratio4(sh.Likely.High), LikelyLevel: tiles.LikelyLevel,
		NextLow: ratio4(sh.NextPiece.Low), NextHigh: ratio4(sh.NextPiece.High), MultiplyFiredBy: rounded(sh.Multiply, 4), Forming: string(a.Forming),
		Parts: wire.Parts{Drying: ratio4(sh.Parts.Drying), FiringOnDry: ratio4(sh.Parts.FiringOnDry), FiringOnWet: ratio4(sh.Parts.FiringOnWet),
			Leather: ratio4(sh.Parts.Leather), LeatherFrom: sh.Parts.LeatherFrom, BisqueOnDry: ratio4(sh.Parts.BisqueOnDry)},
		Trust: string(sh.Standing.Trust), TrustWhy: sh.Standing.Why, Untested: sh.Standing.Untested, NearestTestedC: celsius(sh.Standing.NearestTested),
		Basis: s.basisJSON(sh.Basis), Cautions: []string{}, AsOf: s.moment(asOf), Model: shrinkage.Model,
	}
	if m.Work.Known() {
		p := l.Position(m.Work)
		j.At.HeatWorkC, j.At.Cone, j.At.ConeWords = celsius(m.Work), text(l.Text(p)), text(l.Words(p))
	}
	if sh.SeenLow.Known() {
		j.HeatWorkSeen = &wire.HeatSeen{Low: celsius(sh.SeenLow), High: celsius(sh.SeenHigh)}
	}
	if m.FromBag {
		j.Cautions = append(j.Cautions, lid.NoUsualYet)
	}
	return j, sh, nil
}

func (s *Server) basisJSON(b shrinkage.Basis) wire.Basis {
	return wire.Basis{Bars: b.Bars, Loads: b.Loads, Struck: b.Struck, LastReadingAt: s.moment(b.LastReading)}
}
