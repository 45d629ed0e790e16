package usecase

import (
	"context"
	"strings"

	"lidwright/api/wire"
	"lidwright/kiln/message"
	"lidwright/tiles"
	"lidwright/tiles/shrinkage"
)

const worthMM = 0.05 // less nobody can measure on a lid

// Wild are the readings of a clay that fit, which may be nil, leaves out because they are far from the
// others.
func (s Clays) Wild(fit *shrinkage.Fit, clay tiles.ClayID) (out []wire.Left) {
	if fit == nil {
		return nil
	}
	for _, l := range fit.LeftOf(clay) {
		if l.Slip {
			out = append(out, leftJSON(l))
		}
	}
	return out
}

func leftJSON(l shrinkage.LeftOut) wire.Left {
	one := wire.Left{Bar: string(l.Bar), Stage: string(l.Stage), Reading: l.Reading, Why: l.Why,
		Distrusted: l.Slip}
	if l.Slip {
		one.OffMM = LengthMM(l.Off)
	}
	return one
}

// Why explains the rate that was asked about.
func (s Clays) Why(ctx context.Context, fit *shrinkage.Fit, a RateAsked) (wire.Why, error) {
	sh, err := fit.Rate(a.Ask, tiles.Fired)
	if err != nil {
		return wire.Why{}, err
	}
	j := wire.Why{Clay: string(a.Clay), Batch: string(sh.At.Batch), Items: []wire.Move{},
		RestsOn: s.basisJSON(sh.Basis), LeftOut: []wire.Left{}, NextBars: []wire.Gain{},
		Batches: []wire.Against{}, Probes: []wire.Witness{}, Source: string(shrinkage.SourceOf(fit, a.Clay)),
		OtherStudios: otherStudios(fit, a.Clay), WorthMM: worthMM, OnLidMM: float64(shrinkage.TellingLid),
		Model: shrinkage.Model}
	moves, err := fit.RateHistory(a.Ask)
	if err != nil {
		return j, err
	}
	for _, m := range moves {
		j.Items = append(j.Items, s.moveJSON(ctx, m, a))
	}
	for _, l := range fit.LeftOf(a.Clay) {
		j.LeftOut = append(j.LeftOut, leftJSON(l))
	}
	gains, err := fit.NextBar(a.Ask)
	if err != nil {
		return j, err
	}
	var shelves []shrinkage.ShelfHeat
	if spread, ok := fit.Shelves(a.Firing.Kiln); ok {
		shelves = spread.Shelves
	}
	planned, err := fit.PlannedBars(a.Ask, shelves)
	if err != nil {
		return j, err
	}
	for _, g := range append(planned, gains...) {
		one := wire.Gain{Bar: string(g.Bar), Shelf: g.Shelf, Bars: g.Bars, Loads: g.Loads,
			GainMM: LengthMM(g.Gain), Says: g.Says()}
		for _, st := range g.Stages {
			one.Stages = append(one.Stages, string(st))
		}
		j.NextBars = append(j.NextBars, one)
		j.Sharpens = j.Sharpens || g.Gain >= worthMM
	}
	for _, ref := range fit.Fired(a.Clay) {
		if ref.Batch == sh.At.Batch {
			continue
		}
		other := a.Ask
		other.BatchRef = ref
		d, err := fit.Compare(a.Ask, other)
		if err != nil {
			return j, err
		}
		per := shrinkage.TellingLid / 100
		one := wire.Against{Batch: string(ref.Batch), MoreMM: LengthMM(d.OnLid),
			LowMM:  LengthMM(per * tiles.Millimetre(d.Low)),
			HighMM: LengthMM(per * tiles.Millimetre(d.High)), Differs: d.Differ, Shared: d.Shared}
		if d.Pack != nil {
			one.Advice = Said(d.Pack.Says(sh.At.Batch, ref.Batch))
		}
		j.Batches = append(j.Batches, one)
	}
	for _, w := range fit.LoadHeats() {
		j.Probes = append(j.Probes, wire.Witness{Probe: w.Probe, Loads: len(w.Loads),
			DriftC:   Rounded(w.Drift, 1),
			DriftSDC: Rounded(w.DriftSD, 1), ShiftC: Rounded(w.Shift, 1), ShiftSDC: Rounded(w.ShiftSD, 1),
			Disagree: w.Disagree})
	}
	sd := fit.Sources()
	j.Scatter = wire.Scatter{ReadingMM: Rounded(float64(sd.Reading), 3), Piece: Rounded(sd.Piece/100, 5),
		PositionC: Rounded(sd.Position, 1), BatchDrying: Rounded(sd.BatchDrying/100, 5),
		BatchFiring: Rounded(sd.BatchFiring/100, 5), LoadC: Rounded(sd.Load, 1)}
	return j, nil
}

func (s Clays) moveJSON(ctx context.Context, m shrinkage.RateChange, a RateAsked) wire.Move {
	j := wire.Move{At: s.Moment(m.At), Batch: string(m.Batch.Batch), Kind: string(a.Firing.Kind),
		Was: Ratio4(m.Was), Now: Ratio4(m.Now), Bars: []string{}, Load: Text(m.Load)}
	for _, b := range m.Bars {
		j.Bars = append(j.Bars, string(b))
	}
	if len(m.Bars) == 1 {
		j.Because = []message.Message{message.New("bar {1}", j.Bars[0])}
		return j
	}
	name := message.New("load {1}", m.Load)
	if l, err := s.Archive.Load(ctx, m.Load); err == nil {
		name = NameOf(l.Load)
	}
	j.Because = []message.Message{message.New("{1} (bars {2})", name, strings.Join(j.Bars, ", "))}
	return j
}
