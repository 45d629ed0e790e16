package api

import (
	"context"
	"html/template"
	"net/http"
	"net/url"

	"lidwright/api/usecase"
	"lidwright/api/wire"
	"lidwright/tiles"
)

// clayPage shows the rate of a clay, for any pair of stages, heat and batch, with its curve and
// what it rests on.
func (s clayRoutes) clayPage(w http.ResponseWriter, r *http.Request) error {
	id := tiles.ClayID(r.PathValue("clay"))
	c, err := s.Clays().OneClay(r.Context(), id)
	if err != nil {
		return err
	}
	bars, err := s.Archive.Bars(r.Context(), tiles.BarFilter{Clay: id}, s.Channel)
	if err != nil {
		return err
	}
	data := clayPageData{page: s.page(r.Context(), "clays"), Clay: c, Asked: r.URL.Query(), Query: template.URL(r.URL.RawQuery), Stages: stageWords()}
	for _, f := range tiles.Formings() {
		data.Formings = append(data.Formings, string(f))
	}
	for _, k := range []string{"bisque", "glaze", "once", "other"} {
		data.Kinds = append(data.Kinds, k)
	}
	if err := s.explain(r.Context(), id, &data); err != nil {
		data.Wrong = s.problemFrom(r.Context(), err).Detail
	}
	for _, b := range bars {
		data.Bars = append(data.Bars, s.Bars().BarJSON(b.Bar))
	}
	data.NotCounted = usecase.NotCounted(data.Bars)
	return s.render(w, "clay", data)
}

type clayPageData struct {
	page
	Clay                    wire.ClayJSON
	Asked                   url.Values
	Query                   template.URL
	Stages, Kinds, Formings []string
	Rate                    *wire.Shrinkage
	Why                     *wire.Why
	Curve                   string
	Rows                    []curveRow
	Wrong                   string
	Bars                    []wire.BarJSON
	NotCounted              []usecase.NotCountedGroup
}

// curveRow is one line of the table behind the curve.
type curveRow struct {
	WorkC            *float64
	Total, Low, High *float64
	Tested           bool
}

// explain fills in the rate, its curve and the reasons, as far as they can be had.
func (s clayRoutes) explain(ctx context.Context, id tiles.ClayID, data *clayPageData) error {
	fit, asOf, err := s.Shrink.Fit(ctx)
	if err != nil {
		return err
	}
	q, err := readRate(id, data.Asked, s.Unit())
	if err != nil {
		return err
	}
	j, _, err := s.Clays().ShrinkageOf(ctx, fit, asOf, q)
	if err != nil {
		return err
	}
	data.Rate = &j
	a, err := s.Clays().AskRate(ctx, q)
	if err != nil {
		return err
	}
	if a.To == tiles.Biscuit || a.To == tiles.Fired {
		d, err := s.curveOf(fit, a)
		if err != nil {
			return err
		}
		data.Curve = d.SVG()
		for i := 0; i < len(d.Points); i += curvePoints / 10 {
			p := d.Points[i]
			data.Rows = append(data.Rows, curveRow{usecase.Celsius(p.Work), usecase.Ratio4(p.Total), usecase.Ratio4(p.Likely.Low), usecase.Ratio4(p.Likely.High), p.Tested})
		}
	}
	why, err := s.Clays().Why(ctx, fit, a)
	if err != nil {
		return err
	}
	data.Why = &why
	return nil
}
