package api

import (
	"context"
	"fmt"
	"html"
	"image/color"
	"math"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/boombuler/barcode/qr"

	"lidwright/api/caution"
	"lidwright/api/chart"
	"lidwright/api/pages"
	"lidwright/api/web"
	"lidwright/api/wire"
	"lidwright/kiln"
	"lidwright/kiln/message"
	"lidwright/tiles"
	"lidwright/tiles/lid"
	"lidwright/tiles/shrinkage"
)

// Prints to scale are drawn in millimetres on a sheet of A4 laid across: one unit of the drawing
// is one millimetre of the paper. Each carries a square of 50 mm to hold a rule against.
const (
	sheetWide  = 297.0
	sheetHigh  = 210.0
	sheetEdge  = 12.0 // that no printer need reach
	checkMM    = 50.0
	widestTrue = sheetWide - 2*sheetEdge
)

// sheet is one print to scale under the pen.
type sheet struct {
	strings.Builder
	l pages.Locale // of whoever prints it
}

func newSheet(l pages.Locale, says string) *sheet {
	s := &sheet{l: l}
	fmt.Fprintf(s, `<svg xmlns="http://www.w3.org/2000/svg" class="true" width="%gmm" height="%gmm" viewBox="0 0 %g %g" role="img" aria-label="%s" font-family="Roboto, Arial, sans-serif" font-size="4">`,
		sheetWide, sheetHigh, sheetWide, sheetHigh, html.EscapeString(says))
	return s
}

// line draws an outline or a line; closed ones are for cutting out.
func (s *sheet) line(d string) {
	fmt.Fprintf(s, `<path d="%s" fill="none" stroke="#000" stroke-width="0.25"/>`, d)
}

func (s *sheet) write(x, y float64, anchor, text string) {
	fmt.Fprintf(s, `<text x="%.3f" y="%.3f" text-anchor="%s">%s</text>`, x, y, anchor,
		html.EscapeString(text))
}

// check draws the square of 50 mm, and what to do with it.
func (s *sheet) check(x, y float64) {
	fmt.Fprintf(s, `<rect class="check" x="%g" y="%g" width="%g" height="%g" fill="none" stroke="#000" stroke-width="0.25"/>`, x, y, checkMM, checkMM)
	s.write(x+checkMM/2, y+checkMM/2-2, "middle", s.l.T("50 mm each way"))
	for i, text := range []string{s.l.T("Hold a rule against this square first. If it is not 50 mm each way,"),
		s.l.T("print again at 100 %, \"actual size\", without fitting to the page.")} {
		s.write(x+checkMM+5, y+checkMM-8+6*float64(i), "start", text)
	}
}

// foot closes the sheet with what it is, and what our numbers are not.
func (s *sheet) foot(says string) {
	lines := chart.Wrapped(says, 4, widestTrue)
	for i, line := range lines {
		s.write(sheetEdge, sheetHigh-sheetEdge-6*float64(len(lines)-i), "start", line)
	}
	// Small, or it is wider than the sheet.
	fmt.Fprintf(s, `<text class="foot" x="%g" y="%g" font-size="3">%s</text>`, sheetEdge, sheetHigh-sheetEdge,
		html.EscapeString(s.l.Tell(caution.Text(caution.NotFoodSafe))))
}

func (s *sheet) end() string {
	s.WriteString(`</svg>`)
	return s.String()
}

// gauge is what a throwing gauge is cut to: widths at the stage thrown, mm. An opening of 0 leaves
// its step out, a lid of 0 the fork.
type gauge struct {
	Title, Foot          string
	Collar, Opening, Lid float64
}

// SVG draws a plug for the gallery, its step for the ledge opening, and a fork for the lid. What is
// wider than the sheet is drawn as one half from its middle line.
func (g gauge) SVG(l pages.Locale) string {
	s := newSheet(l, g.Title)
	s.write(sheetEdge, sheetEdge+4, "start", g.Title)
	half := math.Max(g.Collar, g.Lid+30) > widestTrue
	middle := sheetWide / 2
	if half {
		middle = sheetEdge
		s.write(sheetEdge, sheetEdge+10, "start", l.T("Half of each: the left edge is the middle line."))
	}
	left := func(w float64) float64 {
		if half {
			return middle
		}
		return middle - w/2
	}
	right := func(w float64) float64 { return middle + w/2 }
	const top, collarHigh, stepHigh = 28.0, 16.0, 14.0
	if g.Opening > 0 {
		s.line(fmt.Sprintf("M%.3f %.3fH%.3fV%.3fH%.3fV%.3fH%.3fV%.3fH%.3fZ", left(g.Collar), top,
			right(g.Collar), top+collarHigh, right(g.Opening), top+collarHigh+stepHigh,
			left(g.Opening), top+collarHigh, left(g.Collar)))
		s.write(left(g.Opening)+4, top+collarHigh+stepHigh-4, "start",
			l.T("ledge opening {1} mm", l.Decimal(g.Opening, 1)))
	} else {
		s.line(fmt.Sprintf("M%.3f %.3fH%.3fV%.3fH%.3fZ", left(g.Collar), top, right(g.Collar),
			top+collarHigh, left(g.Collar)))
	}
	s.write(left(g.Collar)+4, top+6, "start", l.T("gallery {1} mm", l.Decimal(g.Collar, 1)))
	if g.Lid > 0 {
		const fork, back, jaw, arm = 72.0, 16.0, 20.0, 15.0
		outer := g.Lid + 2*arm
		if half {
			s.line(fmt.Sprintf("M%.3f %.3fH%.3fV%.3fH%.3fV%.3fH%.3fZ", middle, fork, right(outer),
				fork+back+jaw, right(g.Lid), fork+back, middle))
		} else {
			s.line(fmt.Sprintf("M%.3f %.3fH%.3fV%.3fH%.3fV%.3fH%.3fV%.3fH%.3fZ", left(outer), fork,
				right(outer), fork+back+jaw, right(g.Lid), fork+back, left(g.Lid),
				fork+back+jaw, left(outer)))
		}
		s.write(left(g.Lid)+4, fork+back-5, "start", l.T("lid {1} mm between the jaws", l.Decimal(g.Lid, 1)))
	}
	s.check(sheetEdge, sheetHigh-sheetEdge-checkMM-14)
	s.foot(g.Foot)
	return s.end()
}

// shrinkRule is a rule that reads fired millimetres on unfired clay.
type shrinkRule struct {
	Title, Foot string
	Times       float64 // unfired length of a fired length of 1
}

// SVG draws it as long as the sheet allows, a stroke a fired millimetre.
func (r shrinkRule) SVG(l pages.Locale) string {
	s := newSheet(l, r.Title)
	s.write(sheetEdge, sheetEdge+4, "start", r.Title)
	const top, high = 40.0, 30.0
	longest := math.Floor((widestTrue - 4) / r.Times / 10)
	x := func(fired float64) float64 { return sheetEdge + 2 + fired*r.Times }
	s.line(fmt.Sprintf("M%.3f %.3fH%.3fV%.3fH%.3fZ", sheetEdge, top, x(10*longest)+2, top+high, sheetEdge))
	var strokes strings.Builder
	for n := 0; float64(n) <= 10*longest; n++ {
		length := 5.0
		switch {
		case n%10 == 0:
			length = 12
		case n%5 == 0:
			length = 8
		}
		fmt.Fprintf(&strokes, "M%.3f %.3fv%g", x(float64(n)), top, length)
		if n%10 == 0 {
			s.write(x(float64(n)), top+17, "middle", fmt.Sprint(n))
		}
	}
	fmt.Fprintf(s, `<path class="strokes" d="%s" fill="none" stroke="#000" stroke-width="0.2"/>`,
		strokes.String())
	s.write(sheetEdge+4, top+high-4, "start", l.T("fired mm, read on the wet clay"))
	s.check(sheetEdge, sheetHigh-sheetEdge-checkMM-14)
	s.foot(r.Foot)
	return s.end()
}

// printed is a print to scale, as a page or, at an address that ends in .svg, as the drawing alone
// for whoever cuts it.
func (s lidRoutes) printed(draw func(*http.Request) (title, svg string,
	err error)) func(http.ResponseWriter, *http.Request) error {
	return func(w http.ResponseWriter, r *http.Request) error {
		title, svg, err := draw(r)
		if err != nil {
			return err
		}
		if path := r.URL.Path; len(path) > 4 && path[len(path)-4:] == ".svg" {
			w.Header().Set("Content-Type", "image/svg+xml")
			_, err := w.Write([]byte(svg))
			return err
		}
		return s.show(w, pages.PrintPage{Frame: s.page(r.Context(), "more").Frame, Name: title,
			Drawing: pages.Drawn(svg), Alone: r.URL.Path + ".svg?" + r.URL.RawQuery,
			Cautions: pages.Cautions(caution.Texts(caution.ShrinkVaries, caution.NotFoodSafe))})
	}
}

// today is the day on a print.
func (s *Server) today() message.Time {
	return message.Time{At: s.Now().Wall.In(s.Site.Zone), Day: "2 Jan 2006", Quiet: true}
}

// drawGauge draws the throwing gauge of the widths in the question.
func (s lidRoutes) drawGauge(r *http.Request) (title, svg string, err error) {
	rd := newReader(r.URL.Query(), s.Unit())
	if u := rd.word("unit", "mm", "cm", "in", "32nds"); u != "" {
		rd.unit = tiles.LengthUnit(u)
	}
	title, _ = rd.text("title")
	l := s.localeOf(r.Context())
	g := gauge{Title: l.T("Throwing gauge {1}", title), Foot: l.T("{1}, {2}. {3}", s.Site.Name, s.today(),
		caution.Text(caution.ShrinkVaries))}
	for _, one := range []struct {
		name   string
		to     *float64
		needed bool
	}{{"collar", &g.Collar, true}, {"opening", &g.Opening, false}, {"lid", &g.Lid, false}} {
		width := rd.length(one.name)
		switch {
		case width == nil && one.needed:
			rd.fault(one.name, tiles.Missing, "is needed: the gallery's width")
		case width == nil:
		case *width < tiles.ShortestPiece || *width > tiles.Millimetre(2*widestTrue-40):
			rd.fault(one.name, tiles.OutOfRange, "{1} does not go on a sheet; 5 to {2} mm do",
				tiles.MM.Format(*width), message.Number{Value: 2*widestTrue - 40})
		default:
			*one.to = float64(*width)
		}
	}
	if g.Opening >= g.Collar && g.Collar > 0 {
		rd.fault("opening", lid.OpeningWider, "not smaller than collar: were they swapped?")
	}
	return g.Title, g.SVG(l), rd.err()
}

// drawRule draws the shrink rule of a clay from its own rate, from the asked stage to fired.
func (s lidRoutes) drawRule(r *http.Request) (title, svg string, err error) {
	q := r.URL.Query()
	clay := q.Get("clay")
	if clay == "" {
		return "", "", web.NewProblem("missing", message.New("Say which clay."),
			wire.Field{Name: "clay", Says: message.New("is needed")})
	}
	q.Del("clay")
	j, _, err := clayRoutes(s).askShrinkage(r.Context(), tiles.ClayID(clay), q)
	if err != nil {
		return "", "", err
	}
	if j.MultiplyFiredBy == nil {
		if j.Untested {
			return "", "", web.NewProblem("no-usual-firing", message.New("There is no number: {1}.",
				j.TrustWhy))
		}
		return "", "", web.NewProblem("no-usual-firing", message.New("There is no firing to go by."))
	}
	l := s.localeOf(r.Context())
	title = l.T("Shrink rule: {1}, {2} clay, {3} % to {4}", j.Clay+"/"+j.Batch, message.Word(j.From),
		message.Percent(*j.TotalRatio, 1), message.Word(j.To))
	rule := shrinkRule{Title: title, Times: *j.MultiplyFiredBy, Foot: l.T("{1}, {2}. {3}: {4}. {5}",
		s.Site.Name,
		s.today(), message.Word(shrinkage.Reliability(j.Trust).Words()), j.TrustWhy,
		caution.Text(caution.ShrinkVaries))}
	return title, rule.SVG(l), nil
}

// sheetPage is the wet sheet of a form: each size of a card at every stage, and the limits of its lid.
func (s lidRoutes) sheetPage(w http.ResponseWriter, r *http.Request) error {
	p, err := s.Archive.Pot(r.Context(), r.PathValue("pot"))
	if err != nil {
		return err
	}
	data := pages.WetSheetPage{Frame: s.page(r.Context(), "pots").Frame, Pot: potOf(p.PotCard),
		Cautions: pages.Cautions(caution.Texts(caution.ShrinkVaries, caution.NotFoodSafe))}
	a, lid, lidErr := s.askLid(r.Context(), lidQuery(p.PotCard))
	gauge := url.Values{"title": {p.Form}}
	add := func(name message.Message, l tiles.Millimetre, stage tiles.Stage, ref tiles.BatchRef) error {
		q := url.Values{"clay": {string(ref.Clay)}, "batch": {string(ref.Batch)}, "step": {"0"}}
		if stage == tiles.Fired {
			q.Set("fired", inMM(l))
		} else {
			q.Set("wet", inMM(l))
			q.Set("stage", string(stage))
		}
		_, j, err := s.askSize(r.Context(), q)
		if err != nil {
			return err
		}
		data.Trust, data.TrustWhy = j.Trust, j.TrustWhy
		data.Rows = append(data.Rows, pages.WetRow{Name: name, Stages: j.Stages})
		return nil
	}
	for i, c := range p.Collar {
		if err := add(widthName(p.Seat, i), c, p.Stage, p.Body); err != nil {
			return err
		}
	}
	if p.Opening != 0 {
		if err := add(message.New("ledge opening"), p.Opening, p.Stage, p.Body); err != nil {
			return err
		}
	}
	if lidErr == nil {
		data.Lid = &lid
		unit := s.unitOf(r.Context())
		seat := labelledSeat(a, p.PotCard, unit)
		seat.Says = s.localeOf(r.Context()).Tell(a.SectionSays(unit))
		data.Drawing, data.Written = pages.Drawn(seat.SVG()), seat.Says
		if !math.IsNaN(float64(a.Set)) {
			if err := add(message.New("lid"), a.Set, tiles.Wet, a.Asked.ClayOfLid()); err != nil {
				return err
			}
			gauge.Set("lid", inMM(a.Set))
		}
	} else {
		data.LidWhy = s.troubles.Problem(r.Context(), lidErr).Detail
	}
	for _, st := range data.Rows[0].Stages {
		data.Stages = append(data.Stages, st.Stage)
	}
	if p.Stage == tiles.Wet {
		gauge.Set("collar", inMM(p.Collar[0]))
		if p.Opening != 0 {
			gauge.Set("opening", inMM(p.Opening))
		}
		data.Gauge = "/gauge?" + gauge.Encode()
	}
	return s.show(w, data)
}

// widthName is what the width of a pot is called in the n-th direction, counted from 0.
func widthName(seat lid.Seat, n int) message.Message {
	name := message.New("{1}", message.Word(seat.CollarName()))
	if n > 0 {
		name = message.New("{1}, another way round", name)
	}
	return name
}

// labelledSeat is the drawing of an answer with the widths of its card on it.
func labelledSeat(a lid.Answer, p lid.PotCard, unit tiles.LengthUnit) chart.Seat {
	seat := seatOf(a)
	seat.Texts = map[string]string{"collar": unit.Format(p.Collar[0]), "lid": unit.Format(a.Set)}
	if p.Opening != 0 {
		seat.Texts["opening"] = unit.Format(p.Opening)
	}
	return seat
}

// yearAfter is the year after one; empty if it has not begun.
func (s lidRoutes) yearAfter(year int) string {
	if now := s.Now(); now.Trusted && year >= now.Wall.In(s.Site.Zone).Year() {
		return ""
	}
	return strconv.Itoa(year + 1)
}

// yearPage is the year sheet: loads, losses by cause, drift, hours of the probes.
func (s lidRoutes) yearPage(w http.ResponseWriter, r *http.Request) error {
	ctx := r.Context()
	year := s.Now().Wall.In(s.Site.Zone).Year()
	if v := r.URL.Query().Get("year"); v != "" {
		n, err := strconv.Atoi(v)
		if err != nil || n < 1990 || n > 2200 {
			return web.NewProblem("out-of-range", message.New("year: write it as 2026."),
				wire.Field{Name: "year", Says: message.New("must lie from 1990 to 2200")})
		}
		year = n
	}
	from := time.Date(year, 1, 1, 0, 0, 0, 0, s.Site.Zone)
	loads, err := s.Archive.Loads(ctx, tiles.LoadFilter{})
	if err != nil {
		return err
	}
	firings, err := s.Archive.Firings(ctx, kiln.FiringFilter{})
	if err != nil {
		return err
	}
	boards, err := s.Archive.LidResults(ctx, lid.ResultFilter{})
	if err != nil {
		return err
	}
	fit, _, err := s.Shrink.Fit(ctx)
	if err != nil {
		return err
	}
	y := lid.CountYear(from, from.AddDate(1, 0, 0), loads, firings,
		func(k kiln.KilnID) kiln.ChannelID { return s.Known(k).Control }, boards)
	data := pages.YearPage{Frame: s.page(r.Context(), "more").Frame, Year: strconv.Itoa(year),
		Before: strconv.Itoa(year - 1),
		After:  s.yearAfter(year), Cautions: pages.Cautions(caution.Texts(caution.ShrinkVaries,
			caution.NotFoodSafe))}
	l := s.localeOf(ctx)
	var kinds []string
	for _, k := range y.Loads {
		kinds = append(kinds, fmt.Sprint(k.Count)+" "+l.Say(string(k.Kind)))
	}
	data.Loads = strings.Join(kinds, ", ")
	lids := y.Sat.Lids() + y.Losses.Lids()
	data.Lids = l.T("{1} boards, {2} lids.", y.Boards, lids)
	for _, o := range []pages.YearCount{{Word: "too big", N: y.Sat.TooBig}, {Word: "tight", N: y.Sat.Tight},
		{Word: "good", N: y.Sat.Good}, {Word: "loose", N: y.Sat.Loose}, {Word: "drops in", N: y.Sat.DropsIn},
		{Word: "not looked at", N: y.Sat.NotLookedAt}} {
		if o.Percent = 100 * o.N / max(1, lids); o.N > 0 {
			data.Outcomes = append(data.Outcomes, o)
		}
	}
	if y.Losses.Lids() > 0 {
		data.Lost = satSays(l, wire.Sat{}, wire.Losses(y.Losses))
	}
	for _, d := range fit.LoadHeats() {
		data.Drift = append(data.Drift, driftSays(l, d))
	}
	if data.Kilns, err = s.kilnsOfYear(ctx, l, y, firings, from); err != nil {
		return err
	}
	if data.Bags, err = s.bagPictures(ctx, l); err != nil {
		return err
	}
	return s.show(w, data)
}

// driftSays is what the bars say of the record of one probe, without a sign.
func driftSays(l pages.Locale, d shrinkage.LoadHeat) pages.DriftOf {
	out := pages.DriftOf{Probe: d.Probe, Disagree: d.Disagree}
	if d.Probe == "" {
		out.Probe = l.T("no probe named")
	}
	degrees := func(v float64) string { return strings.Trim(strings.TrimSuffix(l.Rate(v), "/h"), "+") }
	size, doubt := degrees(math.Abs(d.Drift)), degrees(d.DriftSD)
	switch {
	case math.Abs(d.Drift) < d.DriftSD:
		out.Says = l.T("as it said, to {1}, {2} loads", doubt, len(d.Loads))
	case d.Drift > 0:
		out.Says = l.T("{1} hotter than it said, give or take {2}, {3} loads", size, doubt, len(d.Loads))
	default:
		out.Says = l.T("{1} cooler than it said, give or take {2}, {3} loads", size, doubt, len(d.Loads))
	}
	return out
}

// kilnsOfYear are the pictures and figures of each kiln in a year.
func (s lidRoutes) kilnsOfYear(ctx context.Context, l pages.Locale, y lid.Year,
	firings []kiln.Firing, from time.Time) (
	all []pages.KilnOfYear, err error) {
	probes := map[kiln.KilnID][]string{}
	for _, wired := range s.Wired {
		lives, err := s.Kilns().ProbeLives(ctx, wired)
		if err != nil {
			return nil, err
		}
		for _, p := range lives {
			says := l.T("Probe {1}, type {2}: {3} h over {4}", p.Channel, p.Type,
				l.Decimal(p.Hours, 1), kiln.ProbeHot)
			if p.Removed != "" { // which of two on one channel it was
				says += ", " + l.T("until {1}", l.Day(p.Removed))
			}
			probes[wired.Kiln] = append(probes[wired.Kiln], says)
		}
	}
	for _, k := range y.Firings {
		one := pages.KilnOfYear{Name: string(k.Kiln), Probes: probes[k.Kiln],
			Says: l.T("{1} firings, {2} h in all, hottest {3}.", k.Firings, l.Decimal(k.Hours, 0),
				l.Heat(float64(k.Hottest)))}
		if k.Incomplete > 0 {
			one.Says += " " + l.T("Not to the peak: {1}.", k.Incomplete)
		}
		peak := chart.Firings{Least: 20, Figure: func(v float64) string { return l.Heat(v) }}
		long := chart.Firings{Least: 2, Figure: func(v float64) string { return l.Decimal(v, 1) + " h" }}
		for _, f := range firings {
			if f.Kiln != k.Kiln || f.Began.Wall.Before(from) || !f.Began.Wall.Before(from.AddDate(1, 0, 0)) ||
				f.ToTop <= 0 {
				continue
			}
			peak.At, long.At = append(peak.At, f.Began.Wall), append(long.At, f.Began.Wall)
			peak.Values, long.Values = append(peak.Values, float64(f.Peak)), append(long.Values,
				f.ToTop.Hours())
		}
		for _, p := range []struct {
			name, says string
			of         chart.Firings
		}{{l.T("Peak"), l.T("Each firing of the year."), peak}, {l.T("Hours to peak"),
			l.T("Elements that age make it longer."), long}} {
			p.of.Title = p.name + ": " + p.says
			small := pages.SmallPicture{Name: p.name, Says: p.says}
			if small.Drawing = drawFirings(l, p.of, false); small.Drawing != "" {
				one.Pictures = append(one.Pictures, small)
			}
		}
		all = append(all, one)
	}
	for _, wired := range s.Wired {
		if !slices.ContainsFunc(all, func(k pages.KilnOfYear) bool { return k.Name == string(wired.Kiln) }) {
			all = append(all, pages.KilnOfYear{Name: string(wired.Kiln), Probes: probes[wired.Kiln],
				Says: l.T("No firing in this year.")})
		}
	}
	return all, nil
}

// bagPictures are what 100 mm wet become fired, a dot a bag, a picture a clay of which two bags were fired.
func (s lidRoutes) bagPictures(ctx context.Context, l pages.Locale) (all []pages.SmallPicture, err error) {
	clays, err := s.Clays().List(ctx)
	if err != nil {
		return nil, err
	}
	per, unit := l.PerMM()
	for _, c := range clays {
		d := chart.Strip{Width: 358, Figure: l.Decimal}
		var said []string
		for _, b := range c.Batches {
			j, _, err := clayRoutes(s).askShrinkage(ctx, tiles.ClayID(c.Clay), url.Values{"batch": {b.Batch}})
			if err != nil || j.TotalRatio == nil || j.Untested {
				continue // nothing is known of it yet
			}
			at := per * 100 * (1 - *j.TotalRatio)
			d.Dots = append(d.Dots, chart.StripDot{Name: b.Batch, At: at})
			said = append(said, b.Batch+" "+l.Decimal(at, 1))
		}
		if len(d.Dots) < 2 {
			continue
		}
		p := pages.SmallPicture{Name: l.T("Bags of {1}: {2} wet become", c.Name, l.Length(100)),
			Says: strings.Join(said, " · ") + " " + unit}
		d.Title = p.Name + ": " + p.Says
		p.Drawing = pages.Drawn(d.SVG())
		all = append(all, p)
	}
	return all, nil
}

// qrSVG draws a QR code that opens an address: black on white with the quiet zone of four modules
// that ISO/IEC 18004 asks for (from memory), at the lower of its two middle levels of correction.
func qrSVG(address, title string) (string, error) {
	code, err := qr.Encode(address, qr.M, qr.Auto)
	if err != nil {
		return "", fmt.Errorf("draw a QR code of %q: %w", address, err)
	}
	const quiet = 4
	size := code.Bounds().Dx()
	var b strings.Builder
	fmt.Fprintf(&b, `<svg class="qr" xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %d %d" role="img" aria-label="%s"><path fill="#fff" d="M0 0h%dv%dH0z"/><path fill="#000" d="`,
		size+2*quiet, size+2*quiet, title, size+2*quiet, size+2*quiet)
	for y := range size {
		for x := range size {
			if color.GrayModel.Convert(code.At(x, y)).(color.Gray).Y < 128 {
				fmt.Fprintf(&b, "M%d %dh1v1h-1z", x+quiet, y+quiet)
			}
		}
	}
	b.WriteString(`"/></svg>`)
	return b.String(), nil
}

// barSheetPage is for print: codes with a QR that opens the entry of each bar, and a table to write in.
// Bars are named by codes, by clay, or by load; of a load the table has its stage.
func (s barRoutes) barSheetPage(w http.ResponseWriter, r *http.Request) error {
	q := r.URL.Query()
	f := tiles.BarFilter{Clay: tiles.ClayID(q.Get("clay")), Load: q.Get("load"), Limit: 200}
	for _, c := range strings.FieldsFunc(q.Get("codes"), func(c rune) bool { return c == ' ' || c == ',' }) {
		code, err := s.Codes.Parse("codes", c)
		if err != nil {
			return err
		}
		f.Codes = append(f.Codes, code)
	}
	bars, err := s.Archive.Bars(r.Context(), f, s.Channel)
	if err != nil {
		return err
	}
	data := pages.BarSheetPage{Frame: s.page(r.Context(), "bars").Frame, Address: kilnRoutes(s).ownAddress(r)}
	for _, b := range bars {
		drawn, err := qrSVG(data.Address+"/bar/"+string(b.Code),
			s.localeOf(r.Context()).T("opens the entry of bar {1}", b.Code))
		if err != nil {
			return err
		}
		data.Bars = append(data.Bars, pages.SheetBar{BarJSON: s.Bars().BarJSON(b.Bar),
			Square: pages.Drawn(drawn)})
	}
	return s.show(w, data)
}
