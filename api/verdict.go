package api

import (
	"context"
	"fmt"
	"maps"
	"slices"

	"lidwright/tiles"
	"lidwright/tiles/lid"
)

type VerdictBody struct {
	Load       string     `json:"load,omitempty" doc:"Id of the load; without one the usual firing's heat is taken"`
	Pot        string     `json:"pot,omitempty" doc:"The pot card, where the board has one pot; in place of pots"`
	Pots       []string   `json:"pots,omitempty" maxItems:"500" doc:"Ids of the pot cards of this board; without any the board is kept and teaches nothing"`
	Lids       int        `json:"lids,omitempty" minimum:"0" maximum:"500" doc:"Lids on the board; those not told of count as not looked at. One a pot if not said"`
	Form       string     `json:"form,omitempty" maxLength:"60" doc:"As on the pot card if not said"`
	Maker      string     `json:"maker,omitempty" maxLength:"8" doc:"Mark of who threw the lids; as on the pot card if not said"`
	Seat       string     `json:"seat,omitempty" enum:"inset,flange,cap,drop_in,over,stopper"`
	SeatGlazed bool       `json:"seat_glazed,omitempty"`
	Body       string     `json:"body,omitempty" doc:"Clay and batch of the pots: tern/B"`
	Lid        string     `json:"lid,omitempty" doc:"Of the lids; as the pots if not said"`
	Counts     satJSON    `json:"counts"`
	Losses     lossesJSON `json:"losses,omitempty"`
	Plays      []float64  `json:"plays_mm,omitempty" maxItems:"500" doc:"Plays measured on fired pairs, across, mm; each stands in place of one verdict. With one for every pot, in the order of pots, they tell how true the maker reads too"`
	Thrown     []float64  `json:"thrown_mm,omitempty" maxItems:"500" doc:"Widths as thrown, mm, one a pot or some; as on the cards if not said"`
	By         string     `json:"by,omitempty" maxLength:"8"`
}

type satJSON struct {
	TooBig      int `json:"too_big,omitempty" minimum:"0" doc:"Set it on: it won't go in"`
	Tight       int `json:"tight,omitempty" minimum:"0" doc:"Turn it full circle: it binds one way"`
	Good        int `json:"good,omitempty" minimum:"0" doc:"It sits"`
	Loose       int `json:"loose,omitempty" minimum:"0" doc:"Let go: it rattles"`
	DropsIn     int `json:"drops_in,omitempty" minimum:"0" doc:"Push it to one side: it slips past the ledge"`
	NotLookedAt int `json:"not_looked_at,omitempty" minimum:"0"`
}

type lossesJSON struct {
	Glued   int `json:"glued,omitempty" minimum:"0" doc:"Held by glaze"`
	Rocks   int `json:"rocks,omitempty" minimum:"0" doc:"Warped"`
	Chipped int `json:"chipped,omitempty" minimum:"0" doc:"Broken at the edge"`
	Dropped int `json:"dropped,omitempty" minimum:"0" doc:"Fell"`
}

type VerdictJSON struct {
	ID string `json:"id"`
	VerdictBody
	LeastPlayMM  *float64 `json:"least_play_mm" doc:"Limit in force when it was judged"`
	MostPlayMM   *float64 `json:"most_play_mm"`
	BearingMM    *float64 `json:"bearing_mm"`
	At           *string  `json:"at"`
	ClockTrusted bool     `json:"clock_trusted"`
	Struck       *actJSON `json:"struck"`
	Teaches      bool     `json:"teaches" doc:"It is part of the learning"`
	TeachesWhy   string   `json:"teaches_why,omitempty" doc:"Why it teaches nothing, or what to know"`
	ExpectedMM   *float64 `json:"expected_play_mm" doc:"Mean play that the rates alone let expect, without a part difference"`
}

type verdictsJSON struct {
	Items   []VerdictJSON  `json:"items"`
	Tally   []tallyJSON    `json:"tally"`
	Makers  []accuracyJSON `json:"makers"`
	Held    int            `json:"answers_held" doc:"Measured plays that lay in the range that was likely before"`
	HeldOf  int            `json:"answers_held_of"`
	LeftOut int            `json:"left_out" doc:"Boards shown and not learned from, since most of their lids were not looked at"`
	Next    *string        `json:"next"`
}

type tallyJSON struct {
	Form           string             `json:"form"`
	Body           string             `json:"body"`
	Lid            string             `json:"lid"`
	Maker          string             `json:"maker"`
	Boards         int                `json:"boards"`
	Counts         satJSON            `json:"counts"`
	Losses         lossesJSON         `json:"losses"`
	PartDifference partDifferenceJSON `json:"part_difference_ratio" doc:"Lid's total shrink minus the body's"`
}

type accuracyJSON struct {
	Maker     string   `json:"maker"`
	Lids      int      `json:"lids" doc:"Lids measured once after throwing"`
	ThrowSD   *float64 `json:"throw_sd_mm"`
	MeasureSD *float64 `json:"measure_sd_mm"`
	Readings  int      `json:"readings" doc:"Repeats of a length, and measured plays of named lids, that told of measuring alone"`
	BiasMM    *float64 `json:"bias_mm" doc:"Mean of measured less told; the part difference takes it up"`
}

type verdictsInput struct {
	Form  string `query:"form"`
	Clay  string `query:"clay" doc:"Of body or lid"`
	Load  string `query:"load"`
	After string `query:"after" doc:"The next of the answer before"`
	Limit int    `query:"limit" default:"50" minimum:"1" maximum:"500"`
}

func (s *Server) getVerdicts(ctx context.Context, in *verdictsInput) (*body[verdictsJSON], error) {
	j, err := s.verdicts(ctx, lid.ResultFilter{Form: in.Form, Clay: tiles.ClayID(in.Clay), Load: in.Load, After: in.After, Limit: in.Limit})
	if err != nil {
		return nil, s.problemFrom(ctx, err)
	}
	return &body[verdictsJSON]{j}, nil
}

// verdicts gathers how lids sat, for the API and the page.
func (s *Server) verdicts(ctx context.Context, w lid.ResultFilter) (verdictsJSON, error) {
	j := verdictsJSON{Items: []VerdictJSON{}, Tally: []tallyJSON{}, Makers: []accuracyJSON{}}
	limit := w.Limit
	w.Limit++ // to see whether more come after them
	boards, err := s.Archive.Verdicts(ctx, w)
	if err != nil {
		return j, err
	}
	if len(boards) > limit {
		boards = boards[:limit]
		j.Next = text(boards[limit-1].ID)
	}
	tallies, err := s.Archive.Tallies(ctx)
	if err != nil {
		return j, err
	}
	l, err := s.learned(ctx)
	if err != nil {
		return j, err
	}
	for _, b := range boards {
		j.Items = append(j.Items, s.verdictJSON(b, l.boards[b.ID]))
	}
	for _, t := range tallies {
		if w.Form != "" && t.Form != w.Form || w.Clay != "" && t.Body != w.Clay && t.Lid != w.Clay {
			continue
		}
		j.Tally = append(j.Tally, tallyJSON{t.Form, string(t.Body), string(t.Lid), t.Maker, t.Boards, satJSON(t.Sat), lossesJSON(t.Losses), partDifference(l.parts.Of(t.DifferenceGroup))})
	}
	for _, maker := range slices.Sorted(maps.Keys(l.makers)) {
		a := l.makers[maker]
		j.Makers = append(j.Makers, accuracyJSON{maker, a.Lids, lengthMM(a.ThrowSD), lengthMM(a.MeasureSD), a.Readings, lengthMM(a.Bias)})
	}
	j.Held, j.HeldOf, j.LeftOut = l.held.Held, l.held.Of, l.left
	return j, nil
}

func partDifference(d lid.Difference) partDifferenceJSON {
	r := func(l tiles.LogPercent) *float64 { return rounded(float64(l)/100, 4) }
	return partDifferenceJSON{Value: r(d.Mean), Likely: []*float64{r(d.Low), r(d.High)}, Fits: d.Fits}
}

func (s *Server) verdictJSON(v lid.Result, t taughtBoard) VerdictJSON {
	j := VerdictJSON{ID: v.ID, At: s.moment(v.At), ClockTrusted: v.Trusted, Teaches: t.Why == "", TeachesWhy: first(t.Why, t.Caveat),
		VerdictBody: VerdictBody{Load: v.Load, Pots: v.Pots, Lids: v.Sat.Lids() + v.Losses.Lids(), Form: v.Form, Maker: v.Maker, Seat: string(v.Seat), SeatGlazed: v.SeatGlazed,
			Body: v.Body.String(), Lid: v.Lid.String(), Counts: satJSON(v.Sat), Losses: lossesJSON(v.Losses), Plays: millimetres(v.Plays), Thrown: millimetres(v.Thrown), By: v.By}}
	if a := v.Struck; a != nil {
		j.Struck = &actJSON{a.By, a.Why, s.moment(a.At)}
	}
	if m := v.Limits; m != nil {
		j.LeastPlayMM, j.MostPlayMM, j.BearingMM = lengthMM(m.LeastPlay), lengthMM(m.MostPlay), lengthMM(m.Bearing)
	}
	if t.Sat.Lid != 0 {
		j.ExpectedMM = lengthMM(t.Sat.Play)
	}
	return j
}

func millimetres(list []tiles.Millimetre) []float64 {
	var out []float64
	for _, l := range list {
		out = append(out, *rounded(float64(l), 2))
	}
	return out
}

func fromMillimetres(list []float64) []tiles.Millimetre {
	var out []tiles.Millimetre
	for _, l := range list {
		out = append(out, tiles.Millimetre(l))
	}
	return out
}

type VerdictPath struct {
	ID string `path:"id"`
}

type putVerdictInput struct {
	VerdictPath
	Body VerdictBody
}

// verdictKeptJSON is what a board of verdicts changed.
type verdictKeptJSON struct {
	VerdictJSON
	PartDifference partDifferenceJSON `json:"part_difference_ratio" doc:"As it is now for the form, its clays and the maker"`
	Says           []string           `json:"says" doc:"What to know about it, in words"`
	Cautions       []string           `json:"cautions"`
}

func (s *Server) putVerdict(ctx context.Context, in *putVerdictInput) (*kept[verdictKeptJSON], error) {
	k, j, err := s.keepVerdict(ctx, in.ID, in.Body)
	if err != nil {
		return nil, s.problemFrom(ctx, err)
	}
	return &kept[verdictKeptJSON]{status(k), j}, nil
}

// keepVerdict keeps how one board sat, with the limits that are in force now.
func (s *Server) keepVerdict(ctx context.Context, id string, b VerdictBody) (tiles.PutResult, verdictKeptJSON, error) {
	var none verdictKeptJSON
	v, err := s.boardOf(ctx, id, b)
	if err != nil {
		return tiles.PutResult{}, none, err
	}
	if err := v.Validate(); err != nil {
		return tiles.PutResult{}, none, err
	}
	l, err := s.learned(ctx)
	if err != nil {
		return tiles.PutResult{}, none, err
	}
	if _, known := l.boards[v.ID]; !known { // said again it is answered as it was
		expected, err := s.expect(ctx, l, v)
		if err != nil {
			return tiles.PutResult{}, none, err
		}
		if expected.Sat.Lid != 0 {
			if err := v.CheckPlays(expected.Sat.Ledge); err != nil {
				return tiles.PutResult{}, none, err
			}
			v.Limits = &expected.Sat.Limits
		}
	}
	k, err := s.Archive.PutVerdict(ctx, v, s.Now())
	if err != nil {
		return k, none, err
	}
	j, err := s.verdictKept(ctx, v.ID)
	return k, j, err
}

func (s *Server) verdictKept(ctx context.Context, id string) (verdictKeptJSON, error) {
	var j verdictKeptJSON
	v, err := s.Archive.Verdict(ctx, id)
	if err != nil {
		return j, err
	}
	l, err := s.learned(ctx)
	if err != nil {
		return j, err
	}
	t := l.boards[id]
	j = verdictKeptJSON{VerdictJSON: s.verdictJSON(v, t), Says: []string{}, Cautions: []string{},
		PartDifference: partDifference(l.parts.Of(lid.DifferenceGroup{Form: v.Form, Body: v.Body.Clay, Lid: v.Lid.Clay, Maker: v.Maker}))}
	for _, says := range []string{t.Why, t.Caveat} {
		if says != "" {
			j.Says = append(j.Says, says)
		}
	}
	if len(v.Plays) == 0 && v.Sat.Looked() > 0 {
		j.Says = append(j.Says, "one measured play of this board would teach as much as several verdicts")
	}
	if v.Sat.Tight+v.Sat.TooBig+v.Losses.Glued > 0 {
		j.Cautions = append(j.Cautions, lid.WetGrinding, lid.EyeProtection)
	}
	return j, nil
}

// boardOf fills in from the first pot card what b leaves out.
func (s *Server) boardOf(ctx context.Context, id string, b VerdictBody) (lid.Result, error) {
	if b.Pot != "" {
		if len(b.Pots) > 0 {
			return lid.Result{}, &tiles.Invalid{Field: "pot", Type: tiles.GivenTwice, Why: "and pots: name the cards once"}
		}
		b.Pots = []string{b.Pot}
	}
	v := lid.Result{ID: id, Load: b.Load, Pots: b.Pots, Form: b.Form, Maker: b.Maker, Seat: lid.Seat(b.Seat), SeatGlazed: b.SeatGlazed,
		Sat: lid.Outcomes(b.Counts), Losses: lid.Losses(b.Losses), Plays: fromMillimetres(b.Plays), Thrown: fromMillimetres(b.Thrown), By: b.By}
	var err error
	if v.Body, err = tiles.ParseBatchRef("body", b.Body); err != nil {
		return v, err
	}
	if v.Lid, err = tiles.ParseBatchRef("lid", b.Lid); err != nil {
		return v, err
	}
	for i, pot := range b.Pots {
		card, err := s.Archive.Pot(ctx, pot)
		if err != nil {
			return v, err
		}
		if i > 0 {
			continue
		}
		v.Form, v.Maker = first(v.Form, card.Form), first(v.Maker, card.Mark)
		if v.Seat == "" {
			v.Seat, v.SeatGlazed = card.Seat, card.SeatGlazed
		}
		if v.Body.Clay == "" {
			v.Body = card.Body
		}
		if v.Lid.Clay == "" {
			v.Lid = card.Lid
		}
	}
	if v.Seat == "" {
		v.Seat = lid.Inset
	}
	if v.Lid.Clay == "" {
		v.Lid = v.Body
	}
	lids := b.Lids
	if lids == 0 {
		lids = len(b.Pots)
	}
	if lids > 0 {
		err = v.OutOf(lids)
	}
	return v, err
}

// expect is what the fit expects of a board that is about to be kept.
func (s *Server) expect(ctx context.Context, l *learned, v lid.Result) (taughtBoard, error) {
	e := expecting{s: s, fit: l.fit, pots: map[string]lid.PotCard{}, makers: l.makers, known: map[knownKey]lid.Known{}, usual: map[tiles.ClayID]lid.Firing{}}
	for _, id := range v.Pots {
		card, err := s.Archive.Pot(ctx, id)
		if err != nil {
			return taughtBoard{}, err
		}
		e.pots[id] = card.PotCard
	}
	if err := e.load(ctx); err != nil {
		return taughtBoard{}, err
	}
	if _, there := e.loads[v.Load]; v.Load != "" && !there {
		return taughtBoard{}, fmt.Errorf("%s: %w", v.Load, tiles.ErrNoLoad)
	}
	return e.board(ctx, v)
}

type strikeVerdictInput struct {
	VerdictPath
	Body struct {
		Why string `json:"why" minLength:"1" maxLength:"500"`
		By  string `json:"by,omitempty" maxLength:"8"`
	}
}

func (s *Server) strikeVerdict(ctx context.Context, in *strikeVerdictInput) (*body[verdictKeptJSON], error) {
	if err := s.Archive.StrikeVerdict(ctx, in.ID, in.Body.By, in.Body.Why, s.Now()); err != nil {
		return nil, s.problemFrom(ctx, err)
	}
	j, err := s.verdictKept(ctx, in.ID)
	if err != nil {
		return nil, s.problemFrom(ctx, err)
	}
	return &body[verdictKeptJSON]{j}, nil
}
