package api

import (
	"cmp"
	"context"
	"math"
	"net/url"
	"strings"

	"lidwright/api/usecase"
	"lidwright/api/web"
	"lidwright/api/wire"
	"lidwright/kiln"
	"lidwright/kiln/heatwork"
	"lidwright/kiln/message"
	"lidwright/tiles"
	"lidwright/tiles/lid"
	"lidwright/tiles/shrinkage"
)

func seatWords() []string {
	var w []string
	for _, s := range lid.Seats() {
		w = append(w, string(s))
	}
	return w
}

func stageWords() []string {
	var w []string
	for _, s := range tiles.Stages() {
		w = append(w, string(s))
	}
	return w
}

// StatedLid answers a lid question that names no clay: it needs no daemon and no store.
func StatedLid(values url.Values, unit tiles.LengthUnit, d lid.Defaults) ([]byte, error) {
	q, err := readLid(values, unit)
	if err != nil {
		return nil, err
	}
	a, err := usecase.SizeStatedLid(q.Question, d)
	if err != nil {
		return nil, err
	}
	return web.EncodeJSON(lidAnswer(a, usecase.NoFiring().Firing, "", q.unit)), nil
}

// NamesClay reports whether a question names a clay, so that only a daemon can answer it.
func NamesClay(values url.Values) bool {
	return values.Get("clay") != "" || values.Get("lid_clay") != ""
}

type lidInput struct {
	Query
	Accept string `header:"Accept" doc:"text/plain gives the bare number"`
}

func (s lidRoutes) getLid(ctx context.Context, in *lidInput) (*either, error) {
	if pot := in.values.Get("pot"); pot != "" {
		return nil, s.askByItsCard(ctx, pot)
	}
	a, j, err := s.askLid(ctx, in.values)
	if err != nil {
		return nil, err
	}
	if wantsText(in.Accept) {
		v := a.Set
		if a.Question == lid.AskGap {
			v = a.Fired.Play
		}
		unit := asUnit(in.values, s.Unit())
		if math.IsNaN(float64(v)) {
			noWidth := a.HeldBack
			if noWidth.IsZero() {
				noWidth = message.New("There is no single width.")
			}
			return nil, web.NewProblem("no-width",
				message.Stopped(noWidth))
		}
		return inText(bare(unit.Format(v)) + "\n"), nil
	}
	return inJSON(j), nil
}

// askByItsCard says what to ask about a pot in place of its id: what stands on its card, as the page leads
// there.
func (s lidRoutes) askByItsCard(ctx context.Context, pot string) error {
	card, err := s.Archive.Pot(ctx, pot)
	if err != nil {
		return err
	}
	q := url.Values{"seat": {string(card.Seat)}, "clay": {string(card.Body.Clay)},
		"batch": {string(card.Body.Batch)}}
	for _, w := range card.Collar {
		q.Add("collar", inMM(w))
	}
	if card.Opening != 0 {
		q.Set("opening", inMM(card.Opening))
	}
	says := message.New("a lid is asked for by what stands on its card: {1}", "/v1/lid?"+q.Encode())
	return web.NewProblem("unknown-parameter", message.Stopped(says), wire.Field{Name: "pot", Says: says})
}

// askLid answers a lid question from its parameters, for the API and for the page.
func (s lidRoutes) askLid(ctx context.Context, values url.Values) (lid.Answer, wire.Lid, error) {
	q, err := readLid(values, s.Unit())
	if err != nil {
		return lid.Answer{}, wire.Lid{}, err
	}
	answer, firing, err := s.Lids().SizeLid(ctx, q.Question, q.cards(), q.at)
	if err != nil {
		return lid.Answer{}, wire.Lid{}, err
	}
	j := lidAnswer(answer, firing.Firing, firing.Atmosphere, q.unit)
	s.metrics.LidAnswered(j.Trust)
	j.AnswersHeld, j.AnswersHeldOf = usecase.Rounded(firing.Held.Ratio(), 4), firing.Held.Of
	if c := cmp.Or(string(answer.Asked.Body.Clay), string(answer.Asked.LidClay.Clay)); c != "" {
		j.LeftOut = s.Clays().Wild(s.Bars().LastFit(), tiles.ClayID(c))
		j.For, j.Asked.Kiln = firing.For(), usecase.Text(string(firing.Kiln))
		batch := answer.Asked.Body.Batch
		if answer.Asked.Body.Clay == "" {
			batch = answer.Asked.LidClay.Batch
		}
		link := "/v1/clays/" + c + "/shrinkage?" +
			url.Values{"batch": {string(batch)}, "kind": {string(answer.Asked.Kind)}}.Encode()
		j.Shrinkage = &link
		j.AsOf, j.Model = s.Moment(firing.AsOf), firing.Model
	}
	return answer, j, nil
}

// asUnit is the unit that a question wants to be answered in.
func asUnit(values url.Values, usual tiles.LengthUnit) tiles.LengthUnit {
	if u := values.Get("unit"); u != "" {
		return tiles.LengthUnit(u)
	}
	return usual
}

// bare is a length without its unit.
func bare(text string) string {
	if i := strings.LastIndexByte(text, ' '); i > 0 {
		return text[:i]
	}
	return text
}

func wantsText(accept string) bool {
	return len(accept) >= 10 && accept[:10] == "text/plain"
}

// lidAnswer is an answer as the API tells it, its figures rounded and its words in the unit of the asker.
func lidAnswer(a lid.Answer, at lid.Firing, atmosphere kiln.Atmosphere, unit tiles.LengthUnit) wire.Lid {
	q := a.Asked
	mm2 := func(l tiles.Millimetre) *float64 { return usecase.Rounded(float64(l), 2) }
	chance := func(c float64) *float64 { return usecase.Rounded(c, 4) }
	j := wire.Lid{
		Asked: wire.LidAsked{
			Question: string(a.Question), Seat: string(q.Seat), SeatGlazed: q.SeatGlazed,
			CollarStage: string(q.CollarStage), LidStage: string(q.LidStage),
			CollarMM: []*float64{}, OpeningMM: some(q.Opening), LidMM: some(q.Lid), Kind: string(q.Kind),
			Form: usecase.Text(q.Form), Together: string(q.Together),
			PlayMM: pointed(q.Play), LeastPlayMM: mm2(a.LeastPlay), MostPlayMM: mm2(a.MostPlay),
			BearingMM: pointed(q.Bearing), GlazeMM: pointed(q.Glaze),
			MeasureSDMM: mm2(a.MeasureSD), ThrowSDMM: pointed(q.ThrowSD), AccuracyFrom: q.Accuracy,
			StepMM: pointed(q.Step), Rates: ratesWord(q),
			Body: ref(q.Body), Lid: ref(q.ClayOfLid()), Atmosphere: usecase.Text(string(atmosphere)),
		},
		SetMM: usecase.Rounded(float64(a.Set), 2), UnroundedMM: lengthMM4(a.Unrounded),
		NotOverMM: mm2(a.NotOver), NotUnderMM: mm2(a.NotUnder), FitChance: chance(a.FitChance),
		Outcomes: outcomes(a.Chances), Says: a.Says(unit),
		Fired: wire.LidFired{CollarMM: mm2(a.Fired.Collar), LidMM: mm2(a.Fired.Lid),
			PlayMM: mm2(a.Fired.Play), PlayUnroundedMM: lengthMM4(a.Fired.Play),
			PlayLikelyMM:   []*float64{mm2(a.Fired.Likely[0]), mm2(a.Fired.Likely[1])},
			LeastBearingMM: mm2(a.Fired.LeastBearing)},
		OutOfRoundMM: mm2(a.OutOfRound), Also: []wire.LidAlso{},
		LidDifference: wire.LidDifference{Value: usecase.Rounded(float64(a.LidDifference.Mean)/100, 4),
			Likely: []*float64{usecase.Rounded(float64(a.LidDifference.Low)/100, 4),
				usecase.Rounded(float64(a.LidDifference.High)/100, 4)}, Fits: a.LidDifference.Fits},
		LimitsFrom: wire.LidLimits{Over: a.LimitsBy[1].In(unit), Under: a.LimitsBy[0].In(unit)},
		DoubtMM: wire.LidDoubt{Piece: mm2(a.Doubt.Piece), Position: mm2(a.Doubt.Position),
			Reading: mm2(a.Doubt.Reading), Throwing: mm2(a.Doubt.Throwing),
			LidDifference: mm2(a.Doubt.LidDifference), Rate: mm2(a.Doubt.Rate), Gone: mm2(a.Doubt.Gone)},
		Sharpest: a.Doubt.Largest(), Sharpen: []wire.LidSharper{}, LikelyLevel: a.LikelyLevel,
		Trust: string(a.Trust), TrustWhy: a.TrustWhy, HeldBack: usecase.Said(a.HeldBack),
		Cautions: a.Cautions, Unusual: a.Unusual,
	}
	if j.Unusual == nil {
		j.Unusual = []string{}
	}
	if at.Work.Known() && j.Asked.Rates != "stated" && j.Asked.Rates != "none" {
		j.Asked.HeatWorkC = usecase.Celsius(at.Work)
		l := heatwork.MainConeScale()
		j.Asked.Cone = usecase.Text(l.Text(l.Position(at.Work)))
	}
	for _, c := range q.Collar {
		j.Asked.CollarMM = append(j.Asked.CollarMM, mm2(c))
	}
	for _, sp := range a.Spread {
		out := wire.LidSpread{Lids: sp.Lids, FitChance: chance(sp.FitChance)}
		for _, size := range sp.Sizes {
			out.SizesMM = append(out.SizesMM, mm2(size))
		}
		j.Spread = append(j.Spread, out)
	}
	for _, sh := range a.Sharpen {
		j.Sharpen = append(j.Sharpen, wire.LidSharper{Cause: sh.Cause, Does: sh.Does,
			FitChance: chance(sh.FitChance)})
	}
	for _, p := range a.Also {
		j.Also = append(j.Also, wire.LidAlso{Part: p.Part, NotOverMM: mm2(p.NotOver),
			NotUnderMM: mm2(p.NotUnder)})
	}
	steps(&j, a, unit)
	if w := a.WhatIf; w != nil {
		j.WhatIf = &wire.LidWhatIf{WidthMM: mm2(w.Width), Outcomes: outcomes(w.Chances), PlayMM: mm2(w.Play)}
	}
	if c := a.AtCheck; c != nil {
		j.AtCheck = &wire.LidCheck{Stage: string(c.Stage), PlayMM: mm2(c.Play),
			Likely: []*float64{mm2(c.Likely[0]), mm2(c.Likely[1])}, TellsLittle: c.Wide}
	}
	return j
}

// outcomes are nil where nothing is known of them.
func outcomes(o lid.Chances) *wire.LidOutcomes {
	if o == (lid.Chances{}) {
		return nil
	}
	return &wire.LidOutcomes{TooTight: usecase.Rounded(o.TooTight, 4), Fits: usecase.Rounded(o.Fits, 4),
		Rattles: usecase.Rounded(o.Rattles, 4)}
}

// steps are what to do beside throwing to the width.
func steps(j *wire.Lid, a lid.Answer, unit tiles.LengthUnit) {
	mm2 := func(l tiles.Millimetre) *float64 { return usecase.Rounded(float64(l), 2) }
	chance := func(c float64) *float64 { return usecase.Rounded(c, 4) }
	if w := a.Cheapest; len(w.Sizes) > 0 {
		j.Cheapest = &wire.LidWay{Does: append([]message.Message{}, w.Does...), SizesMM: []*float64{},
			Trimmed: w.Trimmed, Minutes: w.Minutes, FitChance: chance(w.FitChance), Reaches: w.Reaches,
			Says: message.Join(" ", w.Says(unit)...)}
		for _, size := range w.Sizes {
			j.Cheapest.SizesMM = append(j.Cheapest.SizesMM, mm2(size))
		}
	}
	if t := a.Trim; t != nil {
		j.Trim = &wire.LidTrim{ThrowMM: mm2(t.Throw), NotOverMM: mm2(t.NotOver), ToMM: mm2(t.To),
			OffMM: mm2(t.Off), FitChance: chance(t.FitChance),
			TooSmallChance: chance(t.TooSmall), Says: t.Says(unit)}
	}
	if b := a.Bowl; b != nil {
		j.Bowl = &wire.LidBowl{BeforeMM: mm2(b.Before), ComesMM: mm2(b.Comes),
			LikelyMM: []*float64{mm2(b.Likely[0]), mm2(b.Likely[1])}, Pairs: b.Pairs, Says: b.Says(unit)}
	}
}

func ratesWord(q lid.Question) string {
	stated := q.BodyRates != (shrinkage.StatedRates{}) || q.LidRates != (shrinkage.StatedRates{})
	clay := q.Body.Clay != "" || q.LidClay.Clay != ""
	switch {
	case stated && clay:
		return "mixed"
	case stated:
		return "stated"
	case clay:
		return "clay"
	}
	return "none"
}

func ref(r tiles.BatchRef) *string {
	if r.Clay == "" {
		return nil
	}
	v := string(r.Clay)
	if r.Batch != "" {
		v = r.String()
	}
	return &v
}

func some(l tiles.Millimetre) *float64 {
	if l == 0 {
		return nil
	}
	return usecase.Rounded(float64(l), 2)
}

func pointed(l *tiles.Millimetre) *float64 {
	if l == nil {
		return nil
	}
	return usecase.Rounded(float64(*l), 2)
}
