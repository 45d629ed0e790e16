package api

import (
	"context"
	"errors"
	"fmt"
	"maps"
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
	"lidwright/kiln"
	"lidwright/kiln/message"
	"lidwright/tiles"
)

// curvePart is the part of a curve that was asked for, since the first rise; To 0: all of it.
type curvePart struct{ From, To time.Duration }

// partOf reads the part from a page's address: from and to in seconds. What makes no part shows all.
func partOf(q url.Values) curvePart {
	from, err1 := strconv.ParseFloat(q.Get("from"), 64)
	to, err2 := strconv.ParseFloat(q.Get("to"), 64)
	const most = 1e7 // s, over a hundred days
	if err1 != nil && q.Get("from") != "" || err2 != nil || !(from >= 0 && to > from && to < most) {
		return curvePart{}
	}
	return curvePart{time.Duration(from) * time.Second, time.Duration(to) * time.Second}
}

// Sizes of the two drawings, px: below 600 px of screen the first is seen.
var curveSizes = [2][2]float64{{358, 330}, {724, 420}}

// drawFiring draws a firing over what lies beneath it for each width, and gives the same in figures. q is the
// query of the page, whose from and to say which part.
func (s *Server) drawFiring(ctx context.Context, f kiln.Firing, under beneath,
	q url.Values) (pages.CurveView, error) {
	d, end, err := s.curveOf(ctx, f, under, partOf(q))
	if err != nil || len(d.Lines) == 0 {
		return pages.CurveView{}, err
	}
	v := pages.CurveView{Table: tableOf(d.Lines)}
	d.Width, d.Height = curveSizes[0][0], curveSizes[0][1]
	v.Phone = pages.Drawn(d.SVG())
	d.Width, d.Height = curveSizes[1][0], curveSizes[1][1]
	v.Desk = pages.Drawn(d.SVG())
	zoom(&v, q, curvePart{d.From, d.To}, end)
	return v, nil
}

// zoom makes the queries of what lies before, after and within the part shown.
func zoom(v *pages.CurveView, q url.Values, part curvePart, end time.Duration) {
	v.Zoomed = part.To > 0
	if !v.Zoomed {
		part.To = end
	}
	length := part.To - part.From
	query := func(from, to time.Duration) string {
		next := maps.Clone(q)
		next.Set("from", fmt.Sprintf("%.0f", from.Seconds()))
		next.Set("to", fmt.Sprintf("%.0f", to.Seconds()))
		return "?" + next.Encode() + "#curve"
	}
	if length > 10*time.Minute {
		v.In = query(part.From+length/4, part.To-length/4)
	}
	if !v.Zoomed {
		return
	}
	if part.From > 0 {
		from := max(0, part.From-length/2)
		v.Earlier = query(from, from+length)
	}
	if part.To < end {
		to := min(end, part.To+length/2)
		v.Later = query(to-length, to)
	}
	all := maps.Clone(q)
	all.Del("from")
	all.Del("to")
	v.All = "?" + all.Encode() + "#curve"
}

// stepFor is the step at which a part is read: so fine that about 300 of them are seen, and no finer than the
// readings are.
func stepFor(part curvePart) time.Duration {
	if part.To == 0 {
		return 0
	}
	for _, step := range []time.Duration{10 * time.Second, 30 * time.Second, time.Minute, 2 * time.Minute,
		5 * time.Minute} {
		if (part.To-part.From)/step <= 360 {
			return step
		}
	}
	return 0
}

// curveOf is what is drawn of a firing, and the age at which it ends. Without a line there is no curve.
func (s *Server) curveOf(ctx context.Context, f kiln.Firing, under beneath, part curvePart) (chart.Curve,
	time.Duration, error) {
	step, points := stepFor(part), 0
	if step == 0 {
		points = 300
	}
	lines, gaps, err := s.Firings().Envelopes(ctx, f, nil, points, step)
	if errors.Is(err, kiln.ErrNoFiring) { // it began a moment ago
		return chart.Curve{}, 0, nil
	}
	if err != nil || len(lines) == 0 || len(lines[0].After) == 0 {
		return chart.Curve{}, 0, err
	}
	control := s.Firings().ProbeOf(f)
	slices.SortStableFunc(lines, func(a, b kiln.Envelope) int {
		return map[bool]int{true: 0, false: 1}[a.Channel == control] - map[bool]int{true: 0,
			false: 1}[b.Channel == control]
	})
	l := s.localeOf(ctx)
	d := chart.Curve{From: part.From, To: part.To, Lines: lines, Gaps: gaps, Band: under.Band,
		Model: under.Model, Under: l.Tell(under.Label), Zone: s.Site.Zone,
		Fahrenheit: l.Fahrenheit, Twelve: l.Twelve, Say: l.Say, KeepShut: kiln.NoTemperature(),
		Limit: kiln.NoTemperature(), HeatWork: kiln.NoTemperature(),
		Title: l.T("Temperature of {1} over time", string(f.Kiln))}
	if f.Began.Trusted {
		d.Began = f.Began.Wall
	}
	if w, ok := f.Work(control); ok {
		d.HeatWork = w.C
	}
	end := lines[0].After[len(lines[0].After)-1] + lines[0].Step
	if n := len(under.Band); n > 0 && len(under.Band[0].After) > 0 {
		end = max(end, under.Band[0].After[len(under.Band[0].After)-1])
	}
	if f.Status == kiln.Running {
		s.foreseen(ctx, &d, f)
	} else if peak := usecase.Celsius(f.Peak); peak != nil {
		d.Top = kiln.Celsius(*peak)
	}
	return d, end, nil
}

// foreseen adds to a firing under way what it is kept shut above, its limit, and what its usual ones foresee.
func (s *Server) foreseen(ctx context.Context, d *chart.Curve, f kiln.Firing) {
	l := s.localeOf(ctx)
	for _, k := range s.Kilns().KilnsNow(ctx) {
		if k.Kiln != string(f.Kiln) {
			continue
		}
		if k.KeepShutAboveC != nil {
			d.KeepShut = kiln.Celsius(*k.KeepShutAboveC)
		}
		if k.LimitC != nil {
			d.Limit = kiln.Celsius(*k.LimitC)
		}
		if k.HeatWorkC != nil {
			d.HeatWork = kiln.Celsius(*k.HeatWorkC)
		}
		now := s.Now().Wall
		at := func(v *string) time.Duration {
			t, err := time.Parse(time.RFC3339, *v)
			if err != nil {
				return 0
			}
			return time.Duration(hoursOr0(k.Hours)*float64(time.Hour)) + t.Sub(now)
		}
		usual, err := s.Firings().Usual(ctx, f)
		if err == nil && k.PeakAt != nil && usual.Top.Known() && usual.Top > 0 {
			d.Peak = chart.Foreseen{C: usual.Top, After: at(k.PeakAt), Says: [2]string{l.T("peak about {1}",
				l.Soon(k.PeakAt)), l.Heat(float64(usual.Top))}}
		}
		if k.BelowKeepShutAt != nil && d.KeepShut.Known() {
			d.Cool = chart.Foreseen{C: d.KeepShut, After: at(k.BelowKeepShutAt),
				Says: [2]string{l.T("below {1}",
					l.Heat(k.KeepShutAboveC)), l.T("about {1}", l.Soon(k.BelowKeepShutAt))}}
		}
	}
}

// localeOf says texts as whoever asked reads them.
func (s *Server) localeOf(ctx context.Context) pages.Locale {
	f := s.page(ctx, "").Frame
	l := s.pages.Locale(f.Speak)
	l.Now = f.Now
	return l
}

// firingCurveSVG draws a firing, or a part of it, at a width that is asked for.
func (s firingRoutes) firingCurveSVG(w http.ResponseWriter, r *http.Request) error {
	f, err := s.Archive.Firing(r.Context(), kiln.FiringID(r.PathValue("id")))
	if err != nil {
		return err
	}
	q := r.URL.Query()
	width, err := strconv.ParseFloat(q.Get("w"), 64)
	if q.Get("w") == "" {
		width, err = curveSizes[1][0], nil
	}
	if err != nil || !(width >= 280 && width <= 2400) {
		return &tiles.Invalid{Field: "w", Why: message.New("is a width in pixels, 280 to 2400")}
	}
	past, err := s.Archive.Firings(r.Context(), kiln.FiringFilter{Kiln: f.Kiln, Limit: 40})
	if err != nil {
		return err
	}
	under, err := s.beneath(r.Context(), f, past, "")
	if err != nil {
		return err
	}
	d, _, err := s.curveOf(r.Context(), f, under, partOf(q))
	if err != nil {
		return err
	}
	if len(d.Lines) == 0 {
		return fmt.Errorf("no curve was kept of firing %s: %w", f.ID, kiln.ErrNoFiring)
	}
	d.Width, d.Height = width, math.Min(math.Max(width*0.58, 300), 900)
	w.Header().Set("Content-Type", "image/svg+xml; charset=utf-8")
	_, err = w.Write([]byte(standAlone(d.SVG())))
	return err
}

// standAlone makes a drawing readable without the pages' style sheet.
func standAlone(svg string) string {
	const style = `<style>text{font:14px sans-serif;fill:#2b2420}.t2{fill:#5c5148}.tb{font-weight:700}.grid,.axis,.hair,.day,.shut,.limit,.rung,.gap{fill:none;stroke:#857660}` +
		`.grid{stroke:#d9cebd}.shut,.limit{stroke:#2b2420;stroke-dasharray:7 4}.day{stroke-dasharray:1 3}.rung.in{stroke:#2b2420;stroke-width:2.5}.ghost,.soak{fill:#e3d9c8}` +
		`.heat{fill:none;stroke:#a33a0c;stroke-width:3}.spread{fill:#a33a0c;opacity:.35}.dotted,.dashed,.broken,.model{fill:none;stroke:#2b2420;stroke-width:1.5}.dotted{stroke-dasharray:2 4}.dashed,.model{stroke-dasharray:8 4}.broken{stroke-dasharray:8 3 2 3}` +
		`.gap{stroke-dasharray:3 5}.mark,.dot{fill:#a33a0c}.hole{fill:#fff;stroke:#a33a0c;stroke-width:2}</style>`
	head, rest, _ := strings.Cut(svg, ">")
	return `<svg xmlns="http://www.w3.org/2000/svg"` + strings.TrimPrefix(head, "<svg") + ">" + style + rest
}
