package usecase

import (
	"cmp"
	"context"
	"fmt"
	"maps"
	"net/url"
	"slices"

	"lidwright/api/wire"
	"lidwright/kiln/message"
	"lidwright/tiles"
	"lidwright/tiles/lid"
)

// LidResults gathers how lids sat, for the API and the page.
func (s Lids) LidResults(ctx context.Context, w lid.ResultFilter) (wire.LidResults, error) {
	j := wire.LidResults{Items: []wire.LidResult{}, Tally: []wire.Tally{}, Makers: []wire.Accuracy{}}
	limit := w.Limit
	w.Limit++ // to see whether more come after them
	boards, err := s.Archive.LidResults(ctx, w)
	if err != nil {
		return j, err
	}
	if len(boards) > limit {
		boards = boards[:limit]
		j.Next = Text(boards[limit-1].ID)
	}
	tallies, err := s.Archive.Tallies(ctx)
	if err != nil {
		return j, err
	}
	l, err := s.Learned(ctx)
	if err != nil {
		return j, err
	}
	for _, b := range boards {
		j.Items = append(j.Items, s.lidResultJSON(b, l.boards[b.ID]))
	}
	for _, t := range tallies {
		if w.Form != "" && t.Form != w.Form || w.Clay != "" && t.Body != w.Clay && t.Lid != w.Clay {
			continue
		}
		j.Tally = append(j.Tally, wire.Tally{Form: t.Form, Body: string(t.Body),
			Lid: string(t.Lid), Maker: t.Maker,
			Boards: t.Boards, Counts: wire.Sat(t.Sat), Losses: wire.Losses(t.Losses),
			LidDifference: lidDifference(l.parts.Of(t.DifferenceGroup))})
	}
	for _, maker := range slices.Sorted(maps.Keys(l.makers)) {
		a := l.makers[maker]
		j.Makers = append(j.Makers, wire.Accuracy{Maker: maker, Lids: a.Lids, ThrowSD: LengthMM(a.ThrowSD),
			MeasureSD: LengthMM(a.MeasureSD), Readings: a.Readings, BiasMM: LengthMM(a.Bias)})
	}
	j.Held, j.HeldOf, j.LeftOut = l.Held.Held, l.Held.Of, l.left
	return j, nil
}

func lidDifference(d lid.Difference) wire.LidDifference {
	r := func(l tiles.LogPercent) *float64 { return Rounded(float64(l)/100, 4) }
	return wire.LidDifference{Value: r(d.Mean), Likely: []*float64{r(d.Low), r(d.High)}, Fits: d.Fits}
}

func (s Lids) lidResultJSON(v lid.Result, t taughtBoard) wire.LidResult {
	j := wire.LidResult{ID: v.ID, At: s.Moment(v.At), ClockTrusted: v.Trusted, Teaches: t.Why.IsZero(),
		TeachesWhy: t.why(),
		LidResultBody: wire.LidResultBody{Load: v.Load, Pots: v.Pots, Lids: v.Sat.Lids() + v.Losses.Lids(),
			Form: v.Form, Maker: v.Maker, Seat: string(v.Seat), SeatGlazed: v.SeatGlazed,
			Body: v.Body.String(), Lid: v.Lid.String(), Counts: wire.Sat(v.Sat),
			Losses: wire.Losses(v.Losses),
			Plays:  Millimetres(v.Plays), Thrown: Millimetres(v.Thrown), By: v.By}}
	if j.Counted = j.Teaches; !j.Counted {
		j.WhyNot = &wire.WhyNot{Code: t.code, Text: message.Sentence(t.Why), Fix: t.fix(v)}
	}
	if a := v.Struck; a != nil {
		j.Struck = &wire.Act{By: a.By, Why: a.Why, At: s.Moment(a.At)}
	}
	if m := v.Limits; m != nil {
		j.LeastPlayMM, j.MostPlayMM, j.BearingMM =
			LengthMM(m.LeastPlay), LengthMM(m.MostPlay), LengthMM(m.Bearing)
	}
	if t.Sat.Lid != 0 {
		j.ExpectedMM = LengthMM(t.Sat.Play)
	}
	return j
}

// why is why a board teaches nothing, else what to know of it.
func (t taughtBoard) why() message.Message {
	if t.Why.IsZero() {
		return t.Caveat
	}
	return t.Why
}

// fix is what makes a board count that teaches nothing.
func (t taughtBoard) fix(v lid.Result) *wire.Fix {
	switch {
	case t.code == noSizes && len(v.Pots) > 0:
		return &wire.Fix{Text: message.New("Complete its pot card"),
			Link: "/pot/" + url.PathEscape(v.Pots[0])}
	case t.code == noSizes:
		return &wire.Fix{Text: message.New("Enter it anew with its pot cards"), Link: "/lid-results"}
	}
	return &wire.Fix{Text: message.New("Enter it anew"), Link: "/lid-results/board"}
}

// Millimetres are lengths as the API tells them, to 0.01 mm; none may be NaN.
func Millimetres(list []tiles.Millimetre) []float64 {
	var out []float64
	for _, l := range list {
		out = append(out, *Rounded(float64(l), 2))
	}
	return out
}

// FromMillimetres are lengths as the API took them.
func FromMillimetres(list []float64) []tiles.Millimetre {
	var out []tiles.Millimetre
	for _, l := range list {
		out = append(out, tiles.Millimetre(l))
	}
	return out
}

// KeepLidResult keeps how one board sat, with the limits that are in force now.
func (s Lids) KeepLidResult(ctx context.Context, id string, b wire.LidResultBody) (tiles.PutResult,
	wire.LidResultKept, error) {
	var none wire.LidResultKept
	v, err := s.boardOf(ctx, id, b)
	if err != nil {
		return tiles.PutResult{}, none, err
	}
	if err := v.Validate(); err != nil {
		return tiles.PutResult{}, none, err
	}
	l, err := s.Learned(ctx)
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
	k, err := s.Archive.PutLidResult(ctx, v, s.Now())
	if err != nil {
		return k, none, err
	}
	j, err := s.LidResultKept(ctx, v.ID)
	return k, j, err
}

// LidResultKept is a board of lids with what it changed: whether it teaches, and the lid difference of
// its group as it is now.
func (s Lids) LidResultKept(ctx context.Context, id string) (wire.LidResultKept, error) {
	var j wire.LidResultKept
	v, err := s.Archive.LidResult(ctx, id)
	if err != nil {
		return j, err
	}
	l, err := s.Learned(ctx)
	if err != nil {
		return j, err
	}
	t := l.boards[id]
	j = wire.LidResultKept{LidResult: s.lidResultJSON(v, t), Says: []message.Message{}, Cautions: []string{},
		LidDifference: lidDifference(l.parts.Of(lid.DifferenceGroup{Form: v.Form, Body: v.Body.Clay,
			Lid: v.Lid.Clay, Maker: v.Maker}))}
	for _, says := range []message.Message{t.Why, t.Caveat} {
		if !says.IsZero() {
			j.Says = append(j.Says, says)
		}
	}
	if len(v.Plays) == 0 && v.Sat.Looked() > 0 {
		j.Says = append(j.Says, message.New("one measured play of this board would teach as much as several results"))
	}
	if v.Sat.Tight+v.Sat.TooBig+v.Losses.Glued > 0 {
		j.Cautions = append(j.Cautions, lid.WetGrinding, lid.EyeProtection)
	}
	return j, nil
}

// boardOf fills in from the first pot card what b leaves out.
func (s Lids) boardOf(ctx context.Context, id string, b wire.LidResultBody) (lid.Result, error) {
	if b.Pot != "" {
		if len(b.Pots) > 0 {
			return lid.Result{}, &tiles.Invalid{Field: "pot", Type: tiles.GivenTwice,
				Why: message.New("and pots: name the cards once")}
		}
		b.Pots = []string{b.Pot}
	}
	v := lid.Result{ID: id, Load: b.Load, Pots: b.Pots, Form: b.Form, Maker: b.Maker, Seat: lid.Seat(b.Seat),
		SeatGlazed: b.SeatGlazed,
		Sat:        lid.Outcomes(b.Counts), Losses: lid.Losses(b.Losses), Plays: FromMillimetres(b.Plays),
		Thrown: FromMillimetres(b.Thrown), By: b.By}
	var err error
	if v.Body, err = s.batchRef(ctx, "body", b.Body); err != nil {
		return v, err
	}
	if v.Lid, err = s.batchRef(ctx, "lid", b.Lid); err != nil {
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
		v.Form, v.Maker = cmp.Or(v.Form, card.Form), cmp.Or(v.Maker, card.Mark)
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
func (s Lids) expect(ctx context.Context, l *learned, v lid.Result) (taughtBoard, error) {
	e := expecting{s: s.Studio, fit: l.fit, pots: map[string]lid.PotCard{}, makers: l.makers,
		known: map[knownKey]lid.Known{}, usual: map[tiles.ClayID]lid.Firing{}}
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
