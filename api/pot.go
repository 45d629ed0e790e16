package api

import (
	"context"
	"net/url"
	"strconv"

	"lidwright/api/usecase"
	"lidwright/api/wire"
	"lidwright/tiles"
	"lidwright/tiles/lid"
)

func potOf(p lid.PotCard) wire.Pot {
	j := wire.Pot{ID: p.ID, LidQuestion: "/v1/lid?" + lidQuery(p).Encode(),
		PotBody: wire.PotBody{Mark: p.Mark, Number: p.Number, Form: p.Form, Seat: string(p.Seat),
			SeatGlazed: p.SeatGlazed, Together: string(p.Together),
			Collar: usecase.Millimetres(p.Collar), Opening: some(p.Opening), Stage: string(p.Stage),
			Body: p.Body.String(), Set: some(p.Set), Measured: some(p.Measured),
			Bowl: some(p.Bowl), TrimMost: some(p.TrimMost), Fired: usecase.Millimetres(p.Fired),
			MadeOn: p.MadeOn, Note: p.Note}}
	if p.Lid.Clay != "" {
		j.Lid = p.Lid.String()
	}
	return j
}

// lidQuery is the lid question that starts from a pot card, as its parameters.
func lidQuery(p lid.PotCard) url.Values {
	c := p.Question()
	q := url.Values{"seat": {string(c.Seat)}, "collar_stage": {string(c.CollarStage)},
		"clay": {string(c.Body.Clay)}, "form": {c.Form}}
	for _, l := range c.Collar {
		q.Add("collar", inMM(l))
	}
	for name, v := range map[string]string{"batch": string(c.Body.Batch), "maker": c.Maker,
		"together": string(c.Together)} {
		if v != "" {
			q.Set(name, v)
		}
	}
	// said, or the newest card of the form would tell
	q.Set("seat_glazed", map[bool]string{true: "yes", false: "no"}[c.SeatGlazed])
	if c.Opening != 0 {
		q.Set("opening", inMM(c.Opening))
	}
	if c.Trim {
		q.Set("trim", "yes")
		q.Set("trim_most", inMM(*c.TrimMost))
	}
	if c.LidClay.Clay != "" && c.LidClay != c.Body {
		q.Set("lid_clay", string(c.LidClay.Clay))
		q.Set("lid_batch", string(c.LidClay.Batch))
	}
	return q
}

func inMM(l tiles.Millimetre) string { return strconv.FormatFloat(float64(l), 'f', -1, 64) + "mm" }

type potsInput struct {
	Find  string `query:"find" doc:"Words, each of which stands in the mark, number, form or date"`
	After string `query:"after" doc:"The next of the answer before"`
	Limit int    `query:"limit" default:"50" minimum:"1" maximum:"500"`
}

func (s resultRoutes) getPots(ctx context.Context, in *potsInput) (*body[wire.List[wire.Pot]], error) {
	all, err := s.Archive.Pots(ctx, lid.PotFilter{Find: in.Find, After: in.After, Limit: in.Limit + 1})
	if err != nil {
		return nil, err
	}
	return listOf(all, in.Limit, func(p lid.KeptPot) string { return p.ID },
		func(p lid.KeptPot) wire.Pot { return potOf(p.PotCard) }), nil
}

func (s resultRoutes) getPot(ctx context.Context, in *wire.PotPath) (*thing[wire.Pot], error) {
	p, err := s.Archive.Pot(ctx, in.ID)
	if err != nil {
		return nil, err
	}
	return &thing[wire.Pot]{revision(p.Revision), potOf(p.PotCard)}, nil
}

type putPotInput struct {
	wire.PotPath
	Body wire.PotBody
}

func (s resultRoutes) putPot(ctx context.Context, in *putPotInput) (*edited[wire.Pot], error) {
	k, err := s.Lids().KeepPot(ctx, in.ID, in.Body)
	if err != nil {
		return nil, err
	}
	p, err := s.Archive.Pot(ctx, in.ID)
	if err != nil {
		return nil, err
	}
	return &edited[wire.Pot]{status(k), revision(p.Revision), potOf(p.PotCard)}, nil
}

type lidResultsInput struct {
	Form  string `query:"form"`
	Clay  string `query:"clay" doc:"Of body or lid"`
	Load  string `query:"load"`
	After string `query:"after" doc:"The next of the answer before"`
	Limit int    `query:"limit" default:"50" minimum:"1" maximum:"500"`
}

func (s resultRoutes) getLidResults(ctx context.Context, in *lidResultsInput) (*body[wire.LidResults],
	error) {
	j, err := s.Lids().LidResults(ctx, lid.ResultFilter{Form: in.Form, Clay: tiles.ClayID(in.Clay),
		Load: in.Load, After: in.After, Limit: in.Limit})
	if err == nil && len(j.Items) == 0 {
		err = s.Clays().Known(ctx, tiles.ClayID(in.Clay))
	}
	if err != nil {
		return nil, err
	}
	return &body[wire.LidResults]{j}, nil
}

type putLidResultInput struct {
	wire.LidResultPath
	Body wire.LidResultBody
}

func (s resultRoutes) putLidResult(ctx context.Context, in *putLidResultInput) (*kept[wire.LidResultKept],
	error) {
	k, j, err := s.Lids().KeepLidResult(ctx, in.ID, in.Body)
	if err != nil {
		return nil, err
	}
	return &kept[wire.LidResultKept]{status(k), j}, nil
}

type strikeLidResultInput struct {
	wire.LidResultPath
	Body struct {
		Why string `json:"why" minLength:"1"`
		By  string `json:"by,omitempty"`
	}
}

func (s resultRoutes) strikeLidResult(ctx context.Context,
	in *strikeLidResultInput) (*body[wire.LidResultKept], error) {
	if err := s.Archive.StrikeLidResult(ctx, in.ID, in.Body.By, in.Body.Why, s.Now()); err != nil {
		return nil, err
	}
	return answer(s.Lids().LidResultKept(ctx, in.ID))
}
