package api

import (
	"cmp"
	"context"
	"fmt"
	"net/url"

	"lidwright/api/usecase"
	"lidwright/api/wire"
	"lidwright/kiln/message"
	"lidwright/tiles"
	"lidwright/tiles/lid"
	"lidwright/tiles/shrinkage"
)

// SetParams say what a set of pots is made of; they are read by readSet.
type SetParams struct {
	Stage string `query:"stage" doc:"When they were measured: wet (if not said), soft, leather, dry, bisque"`
	wire.ShrinkParams
	Unit string `query:"unit" doc:"mm, cm, in, 32nds: of bare lengths"`
}

// setOf takes the parameters that are not of the set's own out of values, and finds the shrink.
func (s lidRoutes) setOf(ctx context.Context, values url.Values, own ...string) (p shrinkage.Pair,
	rest url.Values, unit tiles.LengthUnit, err error) {
	rest, shared := url.Values{}, url.Values{"wet_mm": {"100"}} // the shrink of any length is the same
	unit = s.Unit()
	for name, v := range values {
		mine := false
		for _, o := range own {
			mine = mine || name == o || name == o+"_mm"
		}
		switch {
		case mine:
			rest[name] = v
		case name == "unit" && len(v) == 1:
			if unit, err = tiles.ParseLengthUnit("unit", v[0], unit); err != nil {
				return p, rest, unit, err
			}
		default:
			shared[name] = v
		}
	}
	q, at, err := readSize(shared, unit, s.LidDefaults)
	if err != nil {
		return p, rest, unit, err
	}
	m := usecase.NoFiring()
	var fit *shrinkage.Fit
	var rates shrinkage.Rates
	if q.Clay.Clay != "" {
		if fit, m, err = s.Lids().Heated(ctx, &q.Clay, at); err != nil {
			return p, rest, unit, err
		}
		rates = fit
	}
	p, err = q.KnowSet(rates, m.Firing)
	return p, rest, unit, err
}

type nestInput struct {
	Query
	Outside []string `query:"outside,explode" doc:"Largest outside of each pot, the smallest pot first"`
	Inside  []string `query:"inside,explode" doc:"Inside of each where the smaller one stands"`
	SetParams
}

const mostSet = 12 // pots of one set

func (s lidRoutes) getNest(ctx context.Context, in *nestInput) (*body[wire.Nest], error) {
	return answer(s.askNest(ctx, in.values))
}

func (s lidRoutes) askNest(ctx context.Context, values url.Values) (wire.Nest, error) {
	p, rest, unit, err := s.setOf(ctx, values, "outside", "inside")
	if err != nil {
		return wire.Nest{}, err
	}
	r := newReader(rest, unit)
	outside, inside := r.lengths("outside", mostSet), r.lengths("inside", mostSet)
	if len(r.wrong) == 0 && len(outside) != len(inside) {
		r.fault("inside", tiles.Missing, "{1} outsides, {2} insides: each pot has both", len(outside),
			len(inside))
	}
	if err := r.err(); err != nil {
		return wire.Nest{}, err
	}
	var set []lid.Nested
	for i := range outside {
		set = append(set, lid.Nested{Outside: outside[i], Inside: inside[i]})
	}
	gaps, err := lid.Nest(set, p, s.LidDefaults.MeasureSD)
	if err != nil {
		return wire.Nest{}, err
	}
	j := wire.Nest{Trust: string(p.Standing[0].Trust), Cautions: []string{lid.ShrinkVaries}}
	worst := gaps[0]
	for _, g := range gaps {
		j.Gaps = append(j.Gaps, wire.NestGap{Inner: g.Inner + 1, Outer: g.Outer + 1,
			PlayMM: usecase.LengthMM(g.Play), WorstMM: usecase.LengthMM(g.Worst),
			FitChance: usecase.Rounded(g.Fits, 4)})
		if g.Worst < worst.Worst {
			worst = g
		}
	}
	j.Says = message.New("Tightest: pot {1} in pot {2}, {3} of room when fired, {4} in the worst case.",
		worst.Inner+1,
		worst.Outer+1, s.Unit().Of(worst.Play), s.Unit().Of(worst.Worst))
	return j, nil
}

type sharedInput struct {
	Query
	Collar []string `query:"collar,explode" doc:"Gallery of each pot, wall to wall"`
	Lid    string   `query:"lid" doc:"Width of the one lid"`
	LidMm  string   `query:"lid_mm"`
	Seat   string   `query:"seat"`
	SetParams
}

func (s lidRoutes) getShared(ctx context.Context, in *sharedInput) (*body[wire.Shared], error) {
	return answer(s.askShared(ctx, in.values))
}

func (s lidRoutes) askShared(ctx context.Context, values url.Values) (wire.Shared, error) {
	p, rest, unit, err := s.setOf(ctx, values, "collar", "lid", "seat")
	if err != nil {
		return wire.Shared{}, err
	}
	r := newReader(rest, unit)
	collars, width := r.lengths("collar", 30), r.length("lid")
	seat := lid.Seat(cmp.Or(r.word("seat", seatWords()...), string(lid.Inset)))
	if len(r.wrong) == 0 && len(collars) == 0 {
		r.fault("collar", tiles.Missing, "is needed, once for each pot")
	}
	if len(r.wrong) == 0 && (width == nil || *width < tiles.ShortestPiece) {
		r.fault("lid", tiles.Missing, "is needed: the width of the one lid")
	}
	if err := r.err(); err != nil {
		return wire.Shared{}, err
	}
	a := lid.ShareLid(seat, collars, *width, p, s.LidDefaults)
	return wire.Shared{LeastPlayMM: usecase.LengthMM(a.Least), MostPlayMM: usecase.LengthMM(a.Most),
		WindowLeast: usecase.LengthMM(a.Window[0]), WindowMost: usecase.LengthMM(a.Window[1]), Fits: a.Fits(),
		SpreadMostMM: usecase.LengthMM(a.Spread), Says: a.Says(s.Unit()),
		Trust: string(p.Standing[0].Trust), Cautions: []string{lid.ShrinkVaries}}, nil
}

type scaleInput struct {
	Query
	Pot     string   `query:"pot" doc:"Id of the pot card that is scaled; or give lengths"`
	Length  []string `query:"length,explode" doc:"Any lengths of the form"`
	WasMl   string   `query:"was_ml" doc:"Its capacity now, ml"`
	FiredMl string   `query:"fired_ml" doc:"The capacity wanted, ml"`
	Unit    string   `query:"unit"`
}

func (s lidRoutes) getScale(ctx context.Context, in *scaleInput) (*body[wire.Scale], error) {
	return answer(s.askScale(ctx, in.values))
}

func (s lidRoutes) askScale(ctx context.Context, values url.Values) (wire.Scale, error) {
	r := newReader(values, s.Unit())
	if u := r.word("unit", "mm", "cm", "in", "32nds"); u != "" {
		r.unit = tiles.LengthUnit(u)
	}
	pot, _ := r.text("pot")
	lengths := r.lengths("length", 30)
	names := make([]string, len(lengths))
	for i := range names {
		names[i] = fmt.Sprintf("length %d", i+1)
	}
	was, _ := r.number("was_ml", 0, 1e7)
	wanted, _ := r.number("fired_ml", 0, 1e7)
	if err := r.err(); err != nil {
		return wire.Scale{}, err
	}
	if pot != "" {
		card, err := s.Archive.Pot(ctx, pot)
		if err != nil {
			return wire.Scale{}, err
		}
		for _, c := range card.Collar {
			names, lengths = append(names, "gallery"), append(lengths, c)
		}
		for name, l := range map[string]tiles.Millimetre{"ledge opening": card.Opening} {
			if l != 0 {
				names, lengths = append(names, name), append(lengths, l)
			}
		}
	}
	if len(lengths) == 0 {
		return wire.Scale{}, &tiles.Invalid{Field: "length", Type: tiles.Missing,
			Why: message.New("is needed, or a pot card")}
	}
	scaled, err := lid.Scale(lengths, was, wanted)
	if err != nil {
		return wire.Scale{}, err
	}
	j := wire.Scale{Times: usecase.Rounded(float64(scaled[0]/lengths[0]), 4),
		Says: message.New("Lengths at the stage they had; the play of a lid does not scale: " +
			"ask the lid question anew with the new gallery.")}
	for i, l := range scaled {
		j.Lengths = append(j.Lengths, wire.ScaledOne{Name: names[i], WasMM: usecase.LengthMM(lengths[i]),
			MM: usecase.LengthMM(l)})
	}
	return j, nil
}
