package usecase

import (
	"context"
	"time"

	"lidwright/api/wire"
	"lidwright/kiln"
	"lidwright/kiln/heatwork"
	"lidwright/kiln/message"
	"lidwright/tiles"
	"lidwright/tiles/lid"
	"lidwright/tiles/shrinkage"
)

// RateAsked is a question about a rate: of what, to which stage, at which firing.
type RateAsked struct {
	shrinkage.Ask
	To     tiles.Stage
	Firing FiringMeant
}

// RateQuestion is what the rate of a clay is asked for: from one stage to another, in a firing.
type RateQuestion struct {
	Ref      tiles.BatchRef // an empty batch: the newest open one
	From, To tiles.Stage
	Forming  tiles.Forming
	Firing   FiringAsk
}

// UsualRate asks what is usual: from wet to fired, thrown, in the usual glaze firing.
func UsualRate(ref tiles.BatchRef) RateQuestion {
	return RateQuestion{Ref: ref, From: tiles.Wet, To: tiles.Fired, Forming: tiles.ThrownRing,
		Firing: FiringAsk{Kind: kiln.Glaze, Heat: kiln.NoTemperature()}}
}

// AskRate finds out what a question of a rate rests on.
func (s Clays) AskRate(ctx context.Context, q RateQuestion) (RateAsked, error) {
	if !q.From.Before(q.To) {
		return RateAsked{}, &tiles.Invalid{Field: "to", Type: "stage-goes-backwards",
			Why: message.New("must come after from")}
	}
	clay, err := s.clay(ctx, &q.Ref)
	if err != nil {
		return RateAsked{}, err
	}
	m, err := s.Lids().meant(ctx, q.Firing, clay)
	if err != nil {
		return RateAsked{}, err
	}
	return RateAsked{shrinkage.Ask{BatchRef: q.Ref, Forming: q.Forming, Stage: q.From, Work: m.Work,
		WorkSD:     m.WorkSD,
		BisqueWork: m.BisqueWork, Kind: m.Kind, Probe: m.Probe, On: m.On}, q.To, m}, nil
}

// ShrinkageOf answers it from a fit at hand.
func (s Clays) ShrinkageOf(ctx context.Context, fit *shrinkage.Fit, asOf time.Time,
	q RateQuestion) (wire.Shrinkage, shrinkage.Rate, error) {
	a, err := s.AskRate(ctx, q)
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
		At: wire.HeatAt{From: m.From, Kind: string(m.Kind), Atmosphere: Text(string(m.Atmosphere)),
			Kiln: Text(string(m.Kiln)), UsualOf: m.Of, For: m.For()},
		TotalRatio: Ratio4(sh.Total), LikelyLow: Ratio4(sh.Likely.Low), LikelyHigh: Ratio4(sh.Likely.High),
		LikelyLevel: tiles.LikelyLevel,
		NextLow:     Ratio4(sh.NextPiece.Low), NextHigh: Ratio4(sh.NextPiece.High),
		MultiplyFiredBy: Rounded(sh.Multiply, 4), Forming: string(a.Forming),
		Parts: wire.Parts{Drying: Ratio4(sh.Parts.Drying), FiringOnDry: Ratio4(sh.Parts.FiringOnDry),
			FiringOnWet: Ratio4(sh.Parts.FiringOnWet),
			Leather:     Ratio4(sh.Parts.Leather), LeatherFrom: sh.Parts.LeatherFrom,
			BisqueOnDry: Ratio4(sh.Parts.BisqueOnDry)},
		Source: string(shrinkage.SourceOf(fit, a.Clay)), OtherStudios: otherStudios(fit, a.Clay),
		Trust: string(sh.Standing.Trust), TrustWhy: sh.Standing.Why, Untested: sh.Standing.Untested,
		NearestTestedC: Celsius(sh.Standing.NearestTested),
		Basis:          s.basisJSON(sh.Basis), Cautions: []string{},
		AsOf: s.Moment(asOf), Model: shrinkage.Model,
	}
	if m.Work.Known() {
		p := l.Position(m.Work)
		j.At.HeatWorkC, j.At.Cone, j.At.ConeWords = Celsius(m.Work), Text(l.Text(p)), Said(l.Words(p))
	}
	if sh.SeenLow.Known() {
		j.HeatWorkSeen = &wire.HeatSeen{Low: Celsius(sh.SeenLow), High: Celsius(sh.SeenHigh)}
	}
	if m.FromBag {
		j.Cautions = append(j.Cautions, lid.NoUsualYet)
	}
	return j, sh, nil
}

func (s Clays) basisJSON(b shrinkage.Basis) wire.Basis {
	return wire.Basis{Bars: b.Bars, Assumed: b.Assumed, Loads: b.Loads, Struck: b.Struck,
		LastReadingAt: s.Moment(b.LastReading)}
}

// snapshot is an Archive and the probes of one moment for one look over many clays: what they all rest on is
// read once.
type snapshot struct {
	Storage
	Heat
	clays   map[tiles.ClayID]tiles.KeptClay
	batches []tiles.KeptBatch
	firings map[kiln.FiringFilter][]kiln.Firing
	lives   map[string]heatwork.ProbeLife
}

// Snapshot answers as s does, with a snapshot in place of its Archive and Heat. No request reaches it.
func (s Clays) Snapshot(ctx context.Context) (*Studio, error) {
	g := &snapshot{Storage: s.Archive, Heat: s.Heat, lives: map[string]heatwork.ProbeLife{},
		clays: map[tiles.ClayID]tiles.KeptClay{}, firings: map[kiln.FiringFilter][]kiln.Firing{}}
	clays, err := s.Archive.Clays(ctx)
	if err != nil {
		return nil, err
	}
	for _, c := range clays {
		g.clays[c.ID] = c
	}
	if g.batches, err = s.Archive.Batches(ctx); err != nil {
		return nil, err
	}
	site := s.Site
	site.MainKiln = s.MainKiln() // as it is with the settings and the order in which kilns were added
	return &Studio{Site: site, Archive: StorageOf(g), Heat: g, Kiln: s.AllKilns(), Shrink: s.Shrink,
		LidDefaults: s.LidDefaults, Codes: s.Codes, Now: s.Now}, nil
}

// Clay is that of the moment of the snapshot.
func (g *snapshot) Clay(_ context.Context, id tiles.ClayID) (tiles.KeptClay, error) {
	c, ok := g.clays[id]
	if !ok {
		return c, tiles.ErrNoClay
	}
	return c, nil
}

// Batches are those of the moment of the snapshot.
func (g *snapshot) Batches(context.Context) ([]tiles.KeptBatch, error) { return g.batches, nil }

// Firings are asked of the store once for each filter.
func (g *snapshot) Firings(ctx context.Context, w kiln.FiringFilter) ([]kiln.Firing, error) {
	if f, ok := g.firings[w]; ok {
		return f, nil
	}
	f, err := g.Storage.Firings(ctx, w)
	if err == nil {
		g.firings[w] = f
	}
	return f, err
}

// Life is asked once for each probe: a question has one moment.
func (g *snapshot) Life(ctx context.Context, k kiln.KilnID, c kiln.ChannelID,
	at time.Time) (heatwork.ProbeLife, error) {
	name := heatwork.ProbeName(k, c, "")
	if l, ok := g.lives[name]; ok {
		return l, nil
	}
	l, err := g.Heat.Life(ctx, k, c, at)
	if err == nil {
		g.lives[name] = l
	}
	return l, err
}
