package api

import (
	"context"
	"maps"
	"math"
	"net/http"
	"net/url"
	"reflect"
	"slices"
	"strconv"
	"strings"

	"lidwright/api/caution"
	"lidwright/api/pages"
	"lidwright/api/usecase"
	"lidwright/api/web"
	"lidwright/api/wire"
	"lidwright/tiles"
	"lidwright/tiles/lid"
	"lidwright/tiles/shrinkage"
)

type sizeInput struct {
	Query
	Accept string `header:"Accept" doc:"text/plain gives the bare number"`
	wire.SizeParams
}

// readSize reads a size question, and checks it.
func readSize(values url.Values, unit tiles.LengthUnit, d lid.Defaults) (asked lid.CheckedPiece,
	at usecase.FiringAsk, err error) {
	var q lid.PieceQuestion
	r := newReader(values, unit)
	if u := r.word("unit", "mm", "cm", "in", "32nds"); u != "" {
		r.unit = tiles.LengthUnit(u)
	}
	q.FiredMM, q.WetMM, q.Play, q.Step = r.length("fired"), r.length("wet"),
		r.length("play"), r.length("step")
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
	ratio := func(name string) *tiles.Ratio {
		l, _ := tiles.LimitOf(name)
		if v, ok := r.ratio(name, l.Least, l.Most); ok {
			return &v
		}
		return nil
	}
	q.Rates = shrinkage.StatedRates{Drying: ratio("drying_ratio"), Leather: ratio("leather_ratio"),
		Bisque: ratio("bisque_ratio"), Firing: ratio("firing_ratio")}
	q.Doubt = ratio("doubt_ratio")
	at = r.firing()
	q.Kind = at.Kind
	if err = r.err(); err == nil {
		asked, err = q.Check(d)
	}
	return asked, at, err
}

func (s lidRoutes) getSize(ctx context.Context, in *sizeInput) (*either, error) {
	a, j, err := s.askSize(ctx, in.values)
	if err != nil {
		return nil, err
	}
	if wantsText(in.Accept) {
		if !math.IsNaN(a.Millilitre) {
			return inText(trim(*usecase.Rounded(a.Millilitre, 1)) + "\n"), nil
		}
		unit := s.Unit()
		if u := in.values.Get("unit"); u != "" {
			unit = tiles.LengthUnit(u)
		}
		return inText(bare(unit.Format(a.Millimetre)) + "\n"), nil
	}
	return inJSON(j), nil
}

// askSize answers a size question from its parameters, for the API and for the page.
func (s lidRoutes) askSize(ctx context.Context, values url.Values) (lid.PieceAnswer, wire.Size, error) {
	q, at, err := readSize(values, s.Unit(), s.LidDefaults)
	if err != nil {
		return lid.PieceAnswer{}, wire.Size{}, err
	}
	if q.Clay.Clay == "" {
		return sizeOf(q, s.LidDefaults, nil, usecase.NoFiring())
	}
	fit, m, err := s.Lids().Heated(ctx, &q.Clay, at)
	if err != nil {
		return lid.PieceAnswer{}, wire.Size{}, err
	}
	a, j, err := sizeOf(q, s.LidDefaults, fit, m)
	j.AsOf, j.Model = s.Moment(m.AsOf), m.Model
	return a, j, err
}

// StatedSize answers a size question that names no clay: it needs no daemon and no store.
func StatedSize(values url.Values, unit tiles.LengthUnit, d lid.Defaults) ([]byte, error) {
	q, _, err := readSize(values, unit, d)
	if err != nil {
		return nil, err
	}
	_, j, err := sizeOf(q, d, nil, usecase.NoFiring())
	if err != nil {
		return nil, err
	}
	return web.EncodeJSON(j), nil
}

// sizeOf answers q, and tells the piece's size at every stage whose shrink is known, to the step of the
// answer; the length that was asked about stands there as it was typed.
func sizeOf(q lid.CheckedPiece, d lid.Defaults, rates shrinkage.Rates,
	m usecase.FiringMeant) (lid.PieceAnswer, wire.Size, error) {
	p, err := q.Know(rates, m.Firing)
	if err != nil {
		return lid.PieceAnswer{}, wire.Size{}, err
	}
	a := lid.SizePiece(q, p, m.FromBag)
	j := sizeAnswer(a)
	fired, volume := a.Fired()
	for _, stage := range []tiles.Stage{tiles.Wet, tiles.Leather, tiles.Dry, tiles.Biscuit} {
		piece := lid.PieceQuestion{Stage: stage, Clay: q.Clay, Kind: q.Kind, Rates: q.Rates,
			Step: q.Step}
		if !math.IsNaN(volume) {
			piece.FiredML = &volume
		} else {
			piece.FiredMM = &fired
		}
		other, err := piece.Check(d)
		if err != nil {
			continue // its rate was not stated, or the piece is beyond all sizes there
		}
		pp, err := other.Know(rates, m.Firing)
		if err != nil {
			continue
		}
		b := lid.SizePiece(other, pp, m.FromBag)
		mm := usecase.LengthMM(b.Millimetre)
		if q.ToFired() && stage == q.Stage && q.WetMM != nil {
			mm = usecase.LengthMM(*q.WetMM)
		}
		j.Stages = append(j.Stages, wire.SizeStage{Stage: string(stage), MM: mm,
			ML: usecase.Rounded(b.Millilitre, 1)})
	}
	last := wire.SizeStage{Stage: string(tiles.Fired), MM: usecase.LengthMM(fired),
		ML: usecase.Rounded(volume, 1)}
	if j.FiredMM != nil {
		last.MM = j.FiredMM
	}
	j.Stages = append(j.Stages, last)
	return a, j, nil
}

func sizeAnswer(a lid.PieceAnswer) wire.Size {
	q := a.Asked
	j := wire.Size{Asked: wire.SizeAsked{FiredMM: pointed(q.FiredMM), WetMM: pointed(q.WetMM),
		FiredML: q.FiredML, WetML: q.WetML, Part: string(q.Part),
		PlayMM: pointed(q.Play), Stage: string(q.Stage),
		Clay: ref(q.Clay), Rates: "stated", StepMM: pointed(q.Step)},
		Ratio: usecase.Ratio4(a.Ratio), VolumeRatio: usecase.Ratio4(a.VolumeRatio),
		Stages: []wire.SizeStage{}, Trust: string(a.Trust), TrustWhy: a.TrustWhy, Cautions: a.Cautions}
	if q.Clay.Clay != "" {
		j.Asked.Rates = "clay"
	}
	mm, ml := usecase.LengthMM(a.Millimetre), usecase.Rounded(a.Millilitre, 1)
	if q.ToFired() {
		j.FiredMM, j.FiredML = mm, ml
	} else {
		j.WetMM, j.WetML = mm, ml
	}
	if mm != nil {
		j.UnroundedMM, j.LikelyMM = lengthMM4(a.Unrounded), []*float64{usecase.Rounded(float64(a.Likely[0]),
			1), usecase.Rounded(float64(a.Likely[1]), 1)}
	} else {
		j.LikelyML = []*float64{usecase.Rounded(a.LikelyML[0], 1), usecase.Rounded(a.LikelyML[1], 1)}
	}
	return j
}

// SizeParameters are the names of a size question that a command line makes flags of, each with
// its help.
func SizeParameters() (names []string, help map[string]string) {
	return parametersIn[wire.SizeParams]()
}

// SetParameters are those of the questions about a set of pots, but for its own sizes.
func SetParameters() (names []string, help map[string]string) { return parametersIn[SetParams]() }

func parametersIn[T any]() (names []string, help map[string]string) {
	help = map[string]string{}
	for _, f := range reflect.VisibleFields(reflect.TypeFor[T]()) {
		if n, _, _ := strings.Cut(f.Tag.Get("query"), ","); n != "" {
			names = append(names, n)
			help[n] = f.Tag.Get("doc")
		}
	}
	return names, help
}

// sizesPage asks the questions of /v1/size and of sets, with their own parameters; what says which.
func (s lidRoutes) sizesPage(w http.ResponseWriter, r *http.Request) error {
	q := r.URL.Query()
	data := pages.SizesPage{Frame: s.page(r.Context(), "more").Frame, What: sizeAsked(q),
		Unit: pages.Word(s.unitOf(r.Context())), Stages: []string{"wet", "soft", "leather", "dry", "bisque"},
		Seats: seatWords(), Cautions: pages.Cautions(caution.Texts(caution.ShrinkVaries,
			caution.NotFoodSafe))}
	if q.Del("what"); data.What == "part" && q.Get("part") == "" {
		q.Set("part", "hole")
	}
	data.Form.Values = ratesShown(q)
	clays, err := s.Clays().List(r.Context())
	if err != nil {
		return err
	}
	for _, c := range clays {
		data.Clays = append(data.Clays, pages.LidClay{ID: c.Clay, Name: c.Name})
	}
	if asksSize(q) {
		data.Unit = pages.Word(s.fieldUnit(r.Context(), q))
		if err := s.answerSize(r.Context(), asPercent(q), &data); err != nil {
			p := s.troubles.Problem(r.Context(), err)
			data.Form.Problem = onPage(p)
			w.WriteHeader(p.Status)
		}
	}
	return s.show(w, data)
}

// sizeAsked is which of the questions of the page is asked.
func sizeAsked(q url.Values) pages.Word {
	switch what := q.Get("what"); {
	case slices.Contains([]string{"length", "holds", "part", "nest", "shared", "scale"}, what):
		return pages.Word(what)
	case q.Get("part") == "hole" || q.Get("part") == "plug":
		return "part"
	case q.Has("fired_ml") || q.Has("wet_ml"):
		return "holds"
	}
	return "length"
}

// asksSize reports whether a measure is given that can be answered.
func asksSize(q url.Values) bool {
	for name, all := range q {
		name = strings.TrimSuffix(name, "_mm")
		if slices.Contains([]string{"fired", "wet", "fired_ml", "wet_ml", "outside", "inside",
			"collar", "lid", "was_ml",
			"length"}, name) && slices.ContainsFunc(all,
			func(v string) bool { return strings.TrimSpace(v) != "" }) {
			return true
		}
	}
	return false
}

// asPercent has bare numbers of the rates be per cent, as the page writes behind their fields, and leaves out
// what is empty.
func asPercent(q url.Values) url.Values {
	out := url.Values{}
	for name, all := range q {
		for _, v := range all {
			if v = strings.TrimSpace(v); v == "" {
				continue
			}
			if rate := name == "drying_ratio" || name == "firing_ratio"; rate &&
				!strings.ContainsAny(v, "%") {
				if n, err := strconv.ParseFloat(strings.Replace(v, ",", ".", 1), 64); err == nil &&
					math.Abs(n) >= 0.5 {
					v += "%"
				}
			}
			out.Add(name, v)
		}
	}
	return out
}

// ratesShown has rates that a link gives as shares stand in the fields as per cent.
func ratesShown(q url.Values) url.Values {
	out := maps.Clone(q)
	for _, name := range []string{"drying_ratio", "firing_ratio"} {
		v := strings.TrimSuffix(strings.TrimSpace(q.Get(name)), "%")
		if n, err := strconv.ParseFloat(v, 64); err == nil &&
			v == strings.TrimSpace(q.Get(name)) && math.Abs(n) < 0.5 {
			v = strconv.FormatFloat(100*n, 'g', 6, 64)
		}
		if q.Has(name) {
			out.Set(name, strings.TrimSpace(v))
		}
	}
	return out
}

// answerSize puts the answer on the page.
func (s lidRoutes) answerSize(ctx context.Context, q url.Values, d *pages.SizesPage) error {
	switch d.What {
	case "nest":
		j, err := s.askNest(ctx, q)
		if err != nil {
			return err
		}
		d.Nest = &j
	case "shared":
		j, err := s.askShared(ctx, q)
		if err != nil {
			return err
		}
		d.Shared = &j
	case "scale":
		q.Del("clay")
		j, err := s.askScale(ctx, q)
		if err != nil {
			return err
		}
		d.Scale = &j
	default:
		_, j, err := s.askSize(ctx, q)
		if err != nil {
			return err
		}
		d.Size = &j
	}
	return nil
}
