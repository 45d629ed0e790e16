package api

import (
	"context"
	"fmt"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"time"

	"lidwright/api/chart"
	"lidwright/api/usecase"
	"lidwright/api/web"
	"lidwright/api/wire"
	"lidwright/kiln"
	"lidwright/kiln/analysis"
	"lidwright/kiln/detect"
	"lidwright/kiln/message"
)

type compareInput struct {
	Firings string  `query:"firings" required:"true" doc:"One to four ids with commas between; the others are held against the first"`
	AtC     float64 `query:"at_c" doc:"Lay them over one another where each first reached this temperature; at the first rise if not said"`
	Points  int     `query:"points" minimum:"1" maximum:"800" default:"400"`
}

func (s firingRoutes) getCompare(ctx context.Context, in *compareInput) (*body[wire.Compare], error) {
	at := kiln.NoTemperature()
	if in.AtC != 0 {
		at = kiln.Celsius(in.AtC)
	}
	all, err := s.Firings().Compared(ctx, strings.Split(in.Firings, ","), at)
	if err != nil {
		return nil, s.troubles.Problem(ctx, err)
	}
	out := wire.Compare{AlignedAtC: usecase.Celsius(at), Items: []wire.Compared{}}
	for i, c := range all {
		j := wire.Compared{Firing: s.Firings().Firing(c.Firing, detect.Expected{}),
			ShiftS: usecase.Seconds(c.Shift), Columns: curveColumns,
			Rows: curveRows(c.Curve.Points(in.Points))}
		if i > 0 {
			j.Says = analysis.Difference(c, all[0])
		}
		out.Items = append(out.Items, j)
	}
	return &body[wire.Compare]{out}, nil
}

type comparedRow struct {
	Firing wire.Firing
	Says   message.Message
}

// comparePage lays firings over one another. A form sends the firing of each ticked box.
func (s firingRoutes) comparePage(w http.ResponseWriter, r *http.Request) error {
	q := r.URL.Query()
	at, text := kiln.NoTemperature(), strings.Replace(strings.TrimSpace(q.Get("at_c")), ",", ".", 1)
	if text != "" {
		v, err := strconv.ParseFloat(text, 64)
		if err != nil || !(v >= 20 && v <= 1500) {
			return web.NewProblem("out-of-range", message.New("at_c: a temperature from 20 to 1500 °C."),
				wire.Field{Name: "at_c",
					Says: message.New("from 20 to 1500")})
		}
		at = kiln.Celsius(v)
	}
	all, err := s.Firings().Compared(r.Context(), q["firing"], at)
	if err != nil {
		return err
	}
	var rows []comparedRow
	var lines []kiln.Envelope
	first := time.Duration(0) // the age that stands at the left edge
	for _, c := range all {
		first = max(first, c.Shift)
	}
	for i, c := range all {
		row := comparedRow{Firing: s.Firings().Firing(c.Firing, detect.Expected{})}
		if i > 0 {
			row.Says = analysis.Difference(c, all[0])
		}
		rows = append(rows, row)
		e := c.Curve.Points(400)
		e.Channel = kiln.ChannelID(fmt.Sprint(c.Firing.Number))
		e.After = slices.Clone(e.After)
		for n := range e.After {
			e.After[n] += first - c.Shift
		}
		lines = append(lines, e)
	}
	drawing := ""
	if slices.ContainsFunc(lines, func(e kiln.Envelope) bool { return len(e.After) > 0 }) {
		l := s.localeOf(r.Context())
		drawing = chart.Curve{Lines: lines, Zone: s.Site.Zone, Say: l.Say,
			Title: l.T("Firings laid over one another, °C over hours")}.SVG()
	}
	return s.render(w, "compare", struct {
		page
		Rows    []comparedRow
		IDs     []string
		At      string
		Drawing string
	}{s.page(r.Context(), "kiln"), rows, q["firing"], text, drawing})
}

type trendInput struct {
	Kiln       string `query:"kiln" required:"true"`
	Kind       string `query:"kind" enum:"bisque,glaze,once,other" doc:"That of the newest firing if not said"`
	Atmosphere string `query:"atmosphere" enum:"oxidation,reduction,unknown" doc:"That of the newest firing of the kind if not said"`
	Years      int    `query:"years" default:"1" minimum:"1" maximum:"20"`
}

func (s firingRoutes) getTrend(ctx context.Context, in *trendInput) (*body[wire.Trend], error) {
	out, err := s.Firings().Trend(ctx, kiln.KilnID(in.Kiln), kiln.Kind(in.Kind),
		kiln.Atmosphere(in.Atmosphere),
		in.Years)
	if err != nil {
		return nil, s.troubles.Problem(ctx, err)
	}
	return &body[wire.Trend]{out}, nil
}

func (s firingRoutes) trendPage(w http.ResponseWriter, r *http.Request) error {
	q := r.URL.Query()
	t, err := s.Firings().Trend(r.Context(), kiln.KilnID(r.PathValue("kiln")), kiln.Kind(q.Get("kind")),
		kiln.Atmosphere(q.Get("atmosphere")), 1)
	if err != nil {
		return err
	}
	return s.render(w, "trend", struct {
		page
		Trend wire.Trend
		Kinds []kiln.Kind
	}{s.page(r.Context(), "kiln"), t, []kiln.Kind{kiln.Bisque, kiln.Glaze, kiln.Once, kiln.Other}})
}
