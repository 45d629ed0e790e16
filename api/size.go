package api

import (
	"context"
	"math"
	"net/url"
	"reflect"

	"lidwright/kiln"
	"lidwright/tiles"
	"lidwright/tiles/lid"
	"lidwright/tiles/shrinkage"
)

type sizeJSON struct {
	Asked       sizeAskedJSON   `json:"asked"`
	FiredMM     *float64        `json:"fired_mm,omitempty" doc:"The fired length, where the unfired one was given"`
	WetMM       *float64        `json:"wet_mm,omitempty" doc:"The length at the asked stage, to the step"`
	UnroundedMM *float64        `json:"unrounded_mm,omitempty"`
	LikelyMM    []*float64      `json:"likely_mm,omitempty" doc:"90 % range"`
	FiredML     *float64        `json:"fired_ml,omitempty"`
	WetML       *float64        `json:"wet_ml,omitempty"`
	LikelyML    []*float64      `json:"likely_ml,omitempty"`
	Ratio       *float64        `json:"ratio" doc:"Fired length over that at the asked stage"`
	VolumeRatio *float64        `json:"volume_ratio" doc:"Its cube"`
	Stages      []sizeStageJSON `json:"stages" doc:"The same piece at every stage whose shrink is known"`
	Trust       string          `json:"trust"`
	TrustWhy    string          `json:"trust_why"`
	Cautions    []string        `json:"cautions"`
	AsOf        *string         `json:"as_of"`
	Model       string          `json:"model"`
}

type sizeAskedJSON struct {
	FiredMM *float64 `json:"fired_mm,omitempty"`
	WetMM   *float64 `json:"wet_mm,omitempty"`
	FiredML *float64 `json:"fired_ml,omitempty"`
	WetML   *float64 `json:"wet_ml,omitempty"`
	Part    string   `json:"part"`
	PlayMM  *float64 `json:"play_mm,omitempty"`
	Stage   string   `json:"stage"`
	Clay    *string  `json:"clay"`
	Rates   string   `json:"rates" enum:"clay,stated"`
	StepMM  *float64 `json:"step_mm"`
}

type sizeStageJSON struct {
	Stage string   `json:"stage"`
	MM    *float64 `json:"mm,omitempty"`
	ML    *float64 `json:"ml,omitempty"`
}

type sizeInput struct {
	Query
	Accept string `header:"Accept" doc:"text/plain gives the bare number"`
	SizeParams
}

// SizeParams names every parameter of the size question for the API document and the command.
type SizeParams struct {
	Fired        string `query:"fired" doc:"Fired length wanted: 62, 62mm, 2 1/2 in"`
	FiredMm      string `query:"fired_mm" doc:"The same in mm, a number with a point alone"`
	FiredMl      string `query:"fired_ml" doc:"Fired capacity wanted, to the fill line, ml"`
	Wet          string `query:"wet" doc:"Unfired length, at stage"`
	WetMm        string `query:"wet_mm" doc:"The same in mm, a number with a point alone"`
	WetMl        string `query:"wet_ml" doc:"Unfired capacity, ml"`
	Part         string `query:"part" doc:"plain; hole: a bought part of the fired size given goes into it; plug: it goes into a bought part"`
	Play         string `query:"play" doc:"Between ours and the bought part, fired, across"`
	PlayMm       string `query:"play_mm"`
	Stage        string `query:"stage" doc:"Of the unfired side: wet (if not said), soft, leather, dry, bisque"`
	Clay         string `query:"clay"`
	Batch        string `query:"batch" doc:"Newest open batch if not named"`
	Kind         string `query:"kind" doc:"bisque, glaze, once, other; glaze if not said"`
	Atmosphere   string `query:"atmosphere" doc:"oxidation, reduction, unknown"`
	HeatWorkC    string `query:"heat_work_c" doc:"°C, 550 to 1400; the usual firing if not said"`
	Cone         string `query:"cone" doc:"022 to 14, tenths allowed: 6+0.1"`
	Kiln         string `query:"kiln" doc:"Whose usual firing"`
	DryingRatio  string `query:"drying_ratio" doc:"Stated in place of a clay: share of the wet length, 0.06 or 6%"`
	LeatherRatio string `query:"leather_ratio" doc:"Shrink gone at leather-hard, share of the wet length"`
	BisqueRatio  string `query:"bisque_ratio" doc:"Share of the dry length"`
	FiringRatio  string `query:"firing_ratio" doc:"Share of the dry length"`
	DoubtRatio   string `query:"doubt_ratio" doc:"Doubt of each stated rate; 0.006 if not said"`
	Step         string `query:"step" doc:"What the maker can set; 0: do not round"`
	StepMm       string `query:"step_mm"`
	Unit         string `query:"unit" doc:"mm, cm, in, 32nds: of bare lengths"`
}

func readSize(values url.Values, unit tiles.LengthUnit) (q lid.PieceQuestion, at firingAsk, err error) {
	r := newReader(values, unit)
	if u := r.word("unit", "mm", "cm", "in", "32nds"); u != "" {
		r.unit = tiles.LengthUnit(u)
	}
	q.FiredMM, q.WetMM, q.Play, q.Step = r.length("fired"), r.length("wet"), r.length("play"), r.length("step")
	for name, to := range map[string]**float64{"fired_ml": &q.FiredML, "wet_ml": &q.WetML} {
		if v, ok := r.number(name, math.Inf(-1), math.Inf(1)); ok { // the trade tells its range
			*to = &v
		}
	}
	q.Part = lid.PiecePart(r.word("part", "plain", "hole", "plug"))
	q.Stage = tiles.Stage(r.word("stage", "wet", "soft", "leather", "dry", "bisque"))
	clay, _ := r.text("clay")
	batch, _ := r.text("batch")
	q.Clay = tiles.BatchRef{Clay: tiles.ClayID(clay), Batch: tiles.BatchID(batch)}
	ratio := func(name string, low, high float64) *tiles.Ratio {
		if v, ok := r.ratio(name, low, high); ok {
			return &v
		}
		return nil
	}
	q.Rates = shrinkage.StatedRates{Drying: ratio("drying_ratio", 0, 0.20), Leather: ratio("leather_ratio", 0, 0.20), Bisque: ratio("bisque_ratio", -0.05, 0.15), Firing: ratio("firing_ratio", -0.05, 0.30)}
	q.Doubt = ratio("doubt_ratio", 0, 0.05)
	at = r.firing()
	q.Kind = at.Kind
	return q, at, r.err()
}

func (s *Server) getSize(ctx context.Context, in *sizeInput) (*lidOutput, error) {
	a, j, err := s.askSize(ctx, in.values)
	if err != nil {
		return nil, s.problemFrom(ctx, err)
	}
	if wantsText(in.Accept) {
		if !math.IsNaN(a.Millilitre) {
			return &lidOutput{ContentType: "text/plain; charset=utf-8", Body: []byte(trim(*rounded(a.Millilitre, 1)) + "\n")}, nil
		}
		unit := s.unit()
		if u := in.values.Get("unit"); u != "" {
			unit = tiles.LengthUnit(u)
		}
		return &lidOutput{ContentType: "text/plain; charset=utf-8", Body: []byte(bare(unit.Format(a.Millimetre)) + "\n")}, nil
	}
	return &lidOutput{ContentType: "application/json", Body: j}, nil
}

// askSize answers a size question from its parameters, for the API and for the page.
func (s *Server) askSize(ctx context.Context, values url.Values) (lid.PieceAnswer, sizeJSON, error) {
	q, at, err := readSize(values, s.unit())
	if err != nil {
		return lid.PieceAnswer{}, sizeJSON{}, err
	}
	if q.Clay.Clay == "" {
		return sizeOf(q, s.Lids, nil, firingMeant{Firing: lid.Firing{Work: kiln.NoTemperature()}})
	}
	if err := q.Validate(s.Lids); err != nil {
		return lid.PieceAnswer{}, sizeJSON{}, err
	}
	fit, m, err := s.heated(ctx, &q.Clay, at)
	if err != nil {
		return lid.PieceAnswer{}, sizeJSON{}, err
	}
	a, j, err := sizeOf(q, s.Lids, fit, m)
	j.AsOf, j.Model = s.moment(m.AsOf), m.Model
	return a, j, err
}

// heated finds a clay's batch, the fit, and the firing that a question is about.
func (s *Server) heated(ctx context.Context, ref *tiles.BatchRef, at firingAsk) (*shrinkage.Fit, firingMeant, error) {
	clay, err := s.clay(ctx, ref)
	if err != nil {
		return nil, firingMeant{}, err
	}
	fit, asOf, err := s.Shrink.Fit(ctx)
	if err != nil {
		return nil, firingMeant{}, err
	}
	m, err := s.meant(ctx, at, clay)
	m.AsOf, m.Model = asOf, shrinkage.Model
	return fit, m, err
}

// StatedSize answers a size question that names no clay: it needs no daemon and no store.
func StatedSize(values url.Values, unit tiles.LengthUnit, d lid.Defaults) ([]byte, error) {
	q, _, err := readSize(values, unit)
	if err != nil {
		return nil, err
	}
	_, j, err := sizeOf(q, d, nil, firingMeant{Firing: lid.Firing{Work: kiln.NoTemperature()}})
	if err != nil {
		return nil, err
	}
	return encodeJSON(j), nil
}

// sizeOf answers q, and tells the piece's size at every other stage whose shrink is known.
func sizeOf(q lid.PieceQuestion, d lid.Defaults, rates shrinkage.Rates, m firingMeant) (lid.PieceAnswer, sizeJSON, error) {
	if err := q.Validate(d); err != nil {
		return lid.PieceAnswer{}, sizeJSON{}, err
	}
	p, err := q.Know(rates, m.Firing)
	if err != nil {
		return lid.PieceAnswer{}, sizeJSON{}, err
	}
	a, err := lid.SizePiece(q, d, p, m.FromBag)
	if err != nil {
		return a, sizeJSON{}, err
	}
	j := sizeAnswer(a)
	fired, volume := a.Fired()
	for _, stage := range []tiles.Stage{tiles.Wet, tiles.Leather, tiles.Dry, tiles.Biscuit} {
		other := lid.PieceQuestion{Stage: stage, Clay: q.Clay, Kind: q.Kind, Rates: q.Rates}
		if !math.IsNaN(volume) {
			other.FiredML = &volume
		} else {
			other.FiredMM = &fired
		}
		if other.Validate(d) != nil {
			continue // its rate was not stated, or the piece is beyond all sizes there
		}
		pp, err := other.Know(rates, m.Firing)
		if err != nil {
			continue
		}
		b, err := lid.SizePiece(other, d, pp, m.FromBag)
		if err == nil {
			j.Stages = append(j.Stages, sizeStageJSON{string(stage), lengthMM(b.Unrounded), rounded(b.Millilitre, 1)})
		}
	}
	j.Stages = append(j.Stages, sizeStageJSON{string(tiles.Fired), lengthMM(fired), rounded(volume, 1)})
	return a, j, nil
}

func sizeAnswer(a lid.PieceAnswer) sizeJSON {
	q := a.Asked
	j := sizeJSON{Asked: sizeAskedJSON{FiredMM: pointed(q.FiredMM), WetMM: pointed(q.WetMM), FiredML: q.FiredML, WetML: q.WetML, Part: string(q.Part), PlayMM: pointed(q.Play), Stage: string(q.Stage),
		Clay: ref(q.Clay), Rates: "stated", StepMM: pointed(q.Step)},
		Ratio: ratio4(a.Ratio), VolumeRatio: ratio4(a.VolumeRatio), Stages: []sizeStageJSON{}, Trust: string(a.Trust), TrustWhy: a.TrustWhy, Cautions: a.Cautions}
	if q.Clay.Clay != "" {
		j.Asked.Rates = "clay"
	}
	mm, ml := lengthMM(a.Millimetre), rounded(a.Millilitre, 1)
	if q.ToFired() {
		j.FiredMM, j.FiredML = mm, ml
	} else {
		j.WetMM, j.WetML = mm, ml
	}
	if mm != nil {
		j.UnroundedMM, j.LikelyMM = lengthMM4(a.Unrounded), []*float64{rounded(float64(a.Likely[0]), 1), rounded(float64(a.Likely[1]), 1)}
	} else {
		j.LikelyML = []*float64{rounded(a.LikelyML[0], 1), rounded(a.LikelyML[1], 1)}
	}
	return j
}

// SizeParameters are the names of a size question that a command line makes flags of, each with
// its help.
func SizeParameters() (names []string, help map[string]string) {
	help = map[string]string{}
	for _, f := range reflect.VisibleFields(reflect.TypeFor[SizeParams]()) {
		if n, ok := parameter(f); ok {
			names = append(names, n)
			help[n] = f.Tag.Get("doc")
		}
	}
	return names, help
}
