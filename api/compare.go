package api

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"

	"lidwright/api/chart"
	"lidwright/api/pages"
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
		return nil, err
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

// comparePage lays firings over one another. A form sends the firing of each ticked box.
func (s firingRoutes) comparePage(w http.ResponseWriter, r *http.Request) error {
	q := r.URL.Query()
	l := s.localeOf(r.Context())
	field := "at_c" // of a form in the reader's degrees
	if q.Has("at_f") {
		field = "at_f"
	}
	at, text := kiln.NoTemperature(), strings.Replace(strings.TrimSpace(q.Get(field)), ",", ".", 1)
	data := pages.ComparePage{Frame: s.page(r.Context(), "kiln").Frame,
		At: pages.Form{Values: url.Values{"at": {q.Get(field)}}}}
	for _, id := range q["firing"] {
		data.IDs = append(data.IDs, pages.Hidden{Name: "firing", Value: id})
	}
	if text != "" {
		v, err := strconv.ParseFloat(text, 64)
		if field == "at_f" {
			v = (v - 32) / 1.8
		}
		if err == nil && v >= 20 && v <= 1500 {
			at = kiln.Celsius(v)
			data.AtSays = l.Heat(v)
			if (field == "at_f") != l.Fahrenheit { // by a link, in the other degrees
				data.At.Values.Set("at", l.Degrees(v))
			}
		} else {
			p, _ := s.again(w, r, web.NewProblem("out-of-range",
				message.New("{1}: a temperature from {2} to {3}.", field,
					kiln.Celsius(20), kiln.Celsius(1500)),
				wire.Field{Name: "at", Says: message.New("from {1} to {2}",
					kiln.Celsius(20), kiln.Celsius(1500))}))
			data.At.Problem = p
		}
	}
	all, err := s.Firings().Compared(r.Context(), q["firing"], at)
	if err != nil {
		p, ok := s.again(w, r, err)
		if !ok {
			return err
		}
		data.Trouble = p.Detail
		return s.show(w, data)
	}
	var lines []kiln.Envelope
	first := time.Duration(0) // the age that stands at the left edge
	for _, c := range all {
		first = max(first, c.Shift)
	}
	for i, c := range all {
		j := s.Firings().Firing(c.Firing, detect.Expected{})
		row := figuresOf(l, j.ID, j.Name, j.StartedAt, [4]*float64{j.PeakC, j.HoursToTop, j.CoolingHours,
			j.HeatWorkC})
		row.Cone, row.Stroke = j.ConeWords, chart.Stroke(i)
		if i > 0 {
			row.Says = analysis.Difference(c, all[0])
		}
		data.Firings = append(data.Firings, row)
		e := c.Curve.Points(400)
		e.Channel = kiln.ChannelID(fmt.Sprint(c.Firing.Number))
		e.After = slices.Clone(e.After)
		for n := range e.After {
			e.After[n] += first - c.Shift
		}
		lines = append(lines, e)
	}
	if slices.ContainsFunc(lines, func(e kiln.Envelope) bool { return len(e.After) > 0 }) {
		d := chart.Curve{Lines: lines, Plain: true, Zone: s.Site.Zone, Fahrenheit: l.Fahrenheit, Say: l.Say,
			Title: l.T("Firings laid over one another, {1} over hours", l.Degree())}
		data.Phone = pages.Drawn(d.SVG())
		d.Width, d.Height = 724, 380
		data.Desk = pages.Drawn(d.SVG())
	}
	return s.show(w, data)
}

// figuresOf are the figures of one firing: peak, hours to it, hours of cooling, heat work.
func figuresOf(l pages.Locale, id, name string, began *string, v [4]*float64) pages.FiringFigures {
	hours := func(h *float64) string {
		if h == nil {
			return "–"
		}
		return l.Decimal(*h, 1)
	}
	f := pages.FiringFigures{ID: id, Name: name, Peak: l.Heat(v[0]), ToPeak: hours(v[1]),
		Cooling:  hours(v[2]),
		HeatWork: l.Heat(v[3])}
	if began != nil {
		if at, err := time.Parse(time.RFC3339, *began); err == nil {
			f.Day = l.Day(at)
		}
	}
	return f
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
		return nil, err
	}
	return &body[wire.Trend]{out}, nil
}

func (s firingRoutes) trendPage(w http.ResponseWriter, r *http.Request) error {
	q, l := r.URL.Query(), s.localeOf(r.Context())
	t, err := s.Firings().Trend(r.Context(), kiln.KilnID(r.PathValue("kiln")), kiln.Kind(q.Get("kind")),
		kiln.Atmosphere(q.Get("atmosphere")), 1)
	if err != nil {
		return err
	}
	data := pages.TrendPage{Frame: s.page(r.Context(), "kiln").Frame, Kiln: t.Kiln, Kind: t.Kind,
		Atmosphere: t.Atmosphere,
		Kinds:      []string{string(kiln.Bisque), string(kiln.Glaze), string(kiln.Once), string(kiln.Other)}}
	for _, row := range t.Rows {
		data.Firings = append(data.Firings, figuresOf(l, row.Firing, row.Name, row.StartedAt,
			[4]*float64{row.PeakC,
				row.HoursToTop, row.CoolingHours, row.HeatWorkC}))
	}
	data.Pictures = trendPictures(l, t)
	return s.show(w, data)
}

// trendPictures are the quantities of a kiln's firings as small pictures, with the same times across.
func trendPictures(l pages.Locale, t wire.Trend) (all []pages.SmallPicture) {
	says := map[string]string{}
	for _, i := range t.Items {
		says[i.Quantity] = l.Tell(i.Says)
	}
	hours := func(v float64) string { return l.Decimal(v, 1) + " h" }
	degrees := func(v float64) string { return l.Heat(v) }
	for _, one := range []struct {
		name, quantity string
		of             func(wire.TrendRow) *float64
		least          float64
		figure         func(float64) string
	}{
		{l.T("Peak"), "peak_c", func(r wire.TrendRow) *float64 { return r.PeakC }, 20, degrees},
		{l.T("Heat work"), "heat_work_c", func(r wire.TrendRow) *float64 { return r.HeatWorkC }, 20, degrees},
		{l.T("Hours to peak"), "hours_to_top", func(r wire.TrendRow) *float64 { return r.HoursToTop }, 2,
			hours},
		{l.T("Hours of cooling"), "cooling_hours", func(r wire.TrendRow) *float64 { return r.CoolingHours },
			2, hours},
		{l.T("Probe reads low by"), "", func(r wire.TrendRow) *float64 { return r.CorrectionC }, 10,
			func(v float64) string {
				return strings.Trim(strings.TrimSuffix(l.Rate(v), "/h"), "+")
			}},
	} {
		values, times := make([]float64, len(t.Rows)), make([]time.Time, len(t.Rows))
		for i, r := range t.Rows {
			values[i] = math.NaN()
			at, err := time.Parse(time.RFC3339, *cmp.Or(r.StartedAt, new(string)))
			if v := one.of(r); v != nil && err == nil {
				values[i], times[i] = *v, at
			}
		}
		p := pages.SmallPicture{Name: one.name, Says: says[one.quantity]}
		switch one.quantity {
		case "hours_to_top":
			p.Says += " " + l.T("Elements that age make it longer.")
		case "":
			p.Says = l.T("By the witness cones of each firing; nothing where none stood.")
		}
		d := chart.Firings{At: times, Values: values, Least: one.least, Figure: one.figure,
			Title: one.name + ": " + p.Says, Zero: one.quantity == ""}
		p.Drawing = drawFirings(l, d, true)
		all = append(all, p)
	}
	return all
}

// drawFirings draws a small picture from the first firing to the last, with their middle where they are
// alike.
func drawFirings(l pages.Locale, d chart.Firings, alike bool) pages.Drawn {
	var known []float64
	for i, v := range d.Values {
		if math.IsNaN(v) {
			continue
		}
		known = append(known, v)
		if d.From.IsZero() || d.At[i].Before(d.From) {
			d.From = d.At[i]
		}
		if d.At[i].After(d.To) {
			d.To = d.At[i]
		}
	}
	if len(known) == 0 {
		return ""
	}
	slices.Sort(known)
	if d.Middle = math.NaN(); alike {
		d.Middle = (known[(len(known)-1)/2] + known[len(known)/2]) / 2
	}
	d.Ends = [2]string{l.Day(d.From), l.Day(d.To)}
	return pages.Drawn(d.SVG())
}
