package api

import (
	"context"
	"fmt"
	"strings"

	"lidwright/tiles"
	"lidwright/tiles/shrinkage"
)

// whyJSON is everything that explains a rate.
type whyJSON struct {
	Clay     string        `json:"clay"`
	Batch    string        `json:"batch"`
	Items    []moveJSON    `json:"items" doc:"What moved the rate by 0.05 points or more, newest first, at most ten"`
	Next     *string       `json:"next"`
	RestsOn  basisJSON     `json:"rests_on"`
	LeftOut  []leftJSON    `json:"left_out" doc:"Readings of this clay without a say"`
	NextBars []gainJSON    `json:"next_bars" doc:"What more bars of this batch would bring, one bar first, the best first"`
	Batches  []againstJSON `json:"batches" doc:"This batch against the clay's other fired ones"`
	Probes   []witnessJSON `json:"probes" doc:"What the bars of all clays say about the probes"`
	Scatter  scatterJSON   `json:"scatter" doc:"One sd of each source of scatter, as the bars of this site tell it"`
	Sharpens bool          `json:"sharpens" doc:"One of next_bars is worth 0.05 mm or more"`
	WorthMM  float64       `json:"-"`
	OnLidMM  float64       `json:"on_lid_mm" doc:"The lid that gains and differences are told on"`
	AsOf     *string       `json:"as_of"`
	Model    string        `json:"model"`
}

type moveJSON struct {
	At      *string  `json:"at"`
	Batch   string   `json:"batch"`
	Kind    string   `json:"kind"`
	Was     *float64 `json:"was_ratio"`
	Now     *float64 `json:"now_ratio"`
	Because []string `json:"because"`
	Bars    []string `json:"bars"`
	Load    *string  `json:"load"`
}

type leftJSON struct {
	Bar        string   `json:"bar"`
	Stage      string   `json:"stage"`
	Reading    string   `json:"reading"`
	Why        string   `json:"why"`
	Distrusted bool     `json:"distrusted" doc:"By the fit itself: the reading is far from what the others say"`
	OffMM      *float64 `json:"off_mm" doc:"Of a distrusted one: how much longer than the others say"`
}

type gainJSON struct {
	Bars   int      `json:"bars"`
	Loads  int      `json:"loads"`
	Stages []string `json:"stages"`
	GainMM *float64 `json:"gain_mm" doc:"How much nearer a lid of 150 mm comes, one sd"`
	Says   string   `json:"says"`
}

type againstJSON struct {
	Batch   string   `json:"batch"`
	MoreMM  *float64 `json:"more_mm" doc:"How much more the batch asked about loses on 150 mm"`
	LowMM   *float64 `json:"likely_low_mm"`
	HighMM  *float64 `json:"likely_high_mm"`
	Differs bool     `json:"differs" doc:"The 90 % range does not hold zero"`
}

type witnessJSON struct {
	Probe    string   `json:"probe"`
	Loads    int      `json:"loads" doc:"The last ones, four at most"`
	DriftC   *float64 `json:"drift_c" doc:"How much hotter they were than recorded, against the loads before"`
	DriftSDC *float64 `json:"drift_sd_c"`
	ShiftC   *float64 `json:"shift_c" doc:"The whole probe life against the others"`
	ShiftSDC *float64 `json:"shift_sd_c"`
	Disagree bool     `json:"disagree" doc:"Over 8 °C and over 2 sd"`
}

type scatterJSON struct {
	ReadingMM   *float64 `json:"reading_mm"`
	Piece       *float64 `json:"piece_ratio"`
	PositionC   *float64 `json:"position_c"`
	BatchDrying *float64 `json:"batch_drying_ratio"`
	BatchFiring *float64 `json:"batch_firing_ratio"`
	LoadC       *float64 `json:"load_c"`
}

const worthMM = 0.05 // less nobody can measure on a lid

func (s *Server) getMoves(ctx context.Context, in *RateQuery) (*body[whyJSON], error) {
	fit, asOf, err := s.Shrink.Fit(ctx)
	if err != nil {
		return nil, s.problemFrom(ctx, err)
	}
	a, err := s.rateAsked(ctx, tiles.ClayID(in.Clay), in.values)
	if err != nil {
		return nil, s.problemFrom(ctx, err)
	}
	j, err := s.why(ctx, fit, a)
	if err != nil {
		return nil, s.problemFrom(ctx, err)
	}
	j.AsOf = s.moment(asOf)
	return &body[whyJSON]{j}, nil
}

// why explains the rate that was asked about.
func (s *Server) why(ctx context.Context, fit *shrinkage.Fit, a rateAsked) (whyJSON, error) {
	sh, err := fit.Rate(a.Ask, tiles.Fired)
	if err != nil {
		return whyJSON{}, err
	}
	j := whyJSON{Clay: string(a.Clay), Batch: string(sh.At.Batch), Items: []moveJSON{}, RestsOn: s.basisJSON(sh.Basis), LeftOut: []leftJSON{}, NextBars: []gainJSON{},
		Batches: []againstJSON{}, Probes: []witnessJSON{}, WorthMM: worthMM, OnLidMM: float64(shrinkage.TellingLid), Model: shrinkage.Model}
	moves, err := fit.RateHistory(a.Ask)
	if err != nil {
		return j, err
	}
	for _, m := range moves {
		j.Items = append(j.Items, s.moveJSON(ctx, m, a))
	}
	for _, l := range fit.LeftOf(a.Clay) {
		one := leftJSON{Bar: string(l.Bar), Stage: string(l.Stage), Reading: l.Reading, Why: l.Why, Distrusted: l.Slip}
		if l.Slip {
			one.OffMM = lengthMM(l.Off)
		}
		j.LeftOut = append(j.LeftOut, one)
	}
	gains, err := fit.NextBar(a.Ask)
	if err != nil {
		return j, err
	}
	for _, g := range gains {
		one := gainJSON{Bars: g.Bars, Loads: g.Loads, GainMM: lengthMM(g.Gain), Says: g.Says()}
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
		j.Batches = append(j.Batches, againstJSON{string(ref.Batch), lengthMM(d.OnLid), lengthMM(per * tiles.Millimetre(d.Low)), lengthMM(per * tiles.Millimetre(d.High)), d.Differ})
	}
	for _, w := range fit.LoadHeats() {
		j.Probes = append(j.Probes, witnessJSON{w.Probe, len(w.Loads), rounded(w.Drift, 1), rounded(w.DriftSD, 1), rounded(w.Shift, 1), rounded(w.ShiftSD, 1), w.Disagree})
	}
	sd := fit.Sources()
	j.Scatter = scatterJSON{rounded(float64(sd.Reading), 3), rounded(sd.Piece/100, 5), rounded(sd.Position, 1), rounded(sd.BatchDrying/100, 5), rounded(sd.BatchFiring/100, 5), rounded(sd.Load, 1)}
	return j, nil
}

func (s *Server) moveJSON(ctx context.Context, m shrinkage.RateChange, a rateAsked) moveJSON {
	j := moveJSON{At: s.moment(m.At), Batch: string(m.Batch.Batch), Kind: string(a.Firing.Kind), Was: ratio4(m.Was), Now: ratio4(m.Now), Bars: []string{}, Load: text(m.Load)}
	for _, b := range m.Bars {
		j.Bars = append(j.Bars, string(b))
	}
	if len(m.Bars) == 1 {
		j.Because = []string{"bar " + j.Bars[0]}
		return j
	}
	name := "load " + m.Load
	if l, err := s.Archive.Load(ctx, m.Load); err == nil {
		name = fmt.Sprintf("load %d", l.Number)
	}
	j.Because = []string{fmt.Sprintf("%s (bars %s)", name, strings.Join(j.Bars, ", "))}
	return j
}

// curveOf draws the shrink that was asked about over heat work.
func (s *Server) curveOf(fit *shrinkage.Fit, a rateAsked) (shrinkDrawing, error) {
	d := shrinkDrawing{Clay: string(a.Clay), From: a.Stage, To: a.To, Asked: a.Work}
	if a.To == tiles.Biscuit {
		d.Asked = a.BisqueWork
	}
	low, high := fit.Span(a.Clay, d.Asked)
	var err error
	d.Points, d.Dots, err = fit.Curve(a.Ask, a.To, low, high, curvePoints)
	return d, err
}

const curvePoints = 61
