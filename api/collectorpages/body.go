package collectorpages

import (
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"net/http"
	"slices"
	"time"

	"lidwright/api/chart"
	"lidwright/api/pages"
	"lidwright/api/wire"
	"lidwright/kiln"
	"lidwright/tiles"
)

// Errors of bodies.
var (
	ErrNoBody = errors.New("no such body in this collector's catalogue")
	ErrTooFew = errors.New("too few studios have told of it yet, or of the same model")
)

// Body is a clay body that several studios may buy, in the operator's catalogue.
type Body struct {
	wire.CatalogueBody
	Studios, Bars int       // that sent a summary
	Made          time.Time // of the pool that is told now; zero: none
}

// BodyYear is what a body loses where it matures by the studios whose newest bag arrived in one year:
// log-percent, and the sd of that mean.
type BodyYear struct {
	Year, Studios int
	Mean, SD      float64
}

// Pools is what of bodies is kept.
type Pools interface {
	Bodies(ctx context.Context) ([]Body, error)
	PutSummary(ctx context.Context, site, body string, s wire.PoolSummary) error
	DropSummary(ctx context.Context, site, body string) error
	Pool(ctx context.Context, site, body, model string) (wire.PoolAnswer, error)
	// Told is the newest pool in one of these models, and what each year's studios say; nil: none.
	Told(ctx context.Context, body string, models []string) (prior []byte, years []BodyYear, err error)
}

// poolRoutes are those by which studios ask for bodies, say what their bars tell of one, and are told what
// others do.
func (s *Server) poolRoutes() []route {
	return []route{
		{"GET /v1/studios/{site}/bodies", "list-bodies", "The catalogue of bodies", nil,
			wire.Catalogue{}, s.known(s.bodies)},
		{"PUT /v1/studios/{site}/bodies/{body}", "put-summary",
			"Say what the studio's own bars tell of a body, in numbers alone", wire.PoolSummary{},
			nil, s.known(s.putSummary)},
		{"DELETE /v1/studios/{site}/bodies/{body}", "drop-summary", "Take it back", nil, nil,
			s.known(s.dropSummary)},
		{"GET /v1/studios/{site}/bodies/{body}/pool", "get-pool", "What the other studios tell of a body",
			nil, wire.PoolAnswer{}, s.known(s.pool)},
		{"GET /bodies", "", "", nil, nil, s.owners(s.bodiesPage)},
	}
}

func (s *Server) bodies(w http.ResponseWriter, r *http.Request) {
	all, err := s.Pools.Bodies(r.Context())
	if err != nil {
		s.refusal(w, r, err)
		return
	}
	c := wire.Catalogue{Items: []wire.CatalogueBody{}}
	for _, b := range all {
		c.Items = append(c.Items, b.CatalogueBody)
	}
	writeJSON(w, http.StatusOK, c)
}

// bodyOf is the body in the path.
func bodyOf(r *http.Request) (string, error) {
	if id := r.PathValue("body"); isID(id) {
		return id, nil
	}
	return "", ErrNoBody
}

func (s *Server) putSummary(w http.ResponseWriter, r *http.Request) {
	body, err := bodyOf(r)
	var in wire.PoolSummary
	if err == nil {
		in, err = readSummary(w, r)
	}
	if err == nil {
		err = s.CheckSummary(in.Info)
		if err != nil {
			err = fmt.Errorf("%w: %w", ErrWrong, err)
		}
	}
	if err == nil {
		err = s.Pools.PutSummary(r.Context(), r.PathValue("site"), body, in)
	}
	s.done(w, r, err)
}

const mostSummary = 8 << 10 // bytes of a body: 832 in base64, and little else

func readSummary(w http.ResponseWriter, r *http.Request) (in wire.PoolSummary, err error) {
	text, err := io.ReadAll(http.MaxBytesReader(w, r.Body, mostSummary))
	if err != nil {
		return in, err
	}
	if err := json.Unmarshal(text, &in); err != nil {
		return in, fmt.Errorf("%w: %w", ErrWrong, err)
	}
	if in.Model == "" || len(in.Model) > 20 || in.Bars < 1 || in.Bars > 100_000 ||
		in.Year < 0 || in.Year > 9999 {
		return in, fmt.Errorf("%w: model %.40q, %d bars, year %d", ErrWrong, in.Model, in.Bars, in.Year)
	}
	return in, nil
}

func (s *Server) dropSummary(w http.ResponseWriter, r *http.Request) {
	body, err := bodyOf(r)
	if err == nil {
		err = s.Pools.DropSummary(r.Context(), r.PathValue("site"), body)
	}
	s.done(w, r, err)
}

func (s *Server) done(w http.ResponseWriter, r *http.Request, err error) {
	if err != nil {
		s.refusal(w, r, err)
		return
	}
	w.WriteHeader(http.StatusNoContent)
}

func (s *Server) pool(w http.ResponseWriter, r *http.Request) {
	body, err := bodyOf(r)
	var a wire.PoolAnswer
	if err == nil {
		a, err = s.Pools.Pool(r.Context(), r.PathValue("site"), body, r.URL.Query().Get("model"))
	}
	if err != nil {
		s.refusal(w, r, err)
		return
	}
	writeJSON(w, http.StatusOK, a)
}

// bodiesPage shows what studios told of each body, and no studio's name.
func (s *Server) bodiesPage(w http.ResponseWriter, r *http.Request) {
	all, err := s.Pools.Bodies(r.Context())
	if err != nil {
		s.trouble(w, r, err)
		return
	}
	d := pages.CollectorBodiesPage{Frame: s.frame(r, "bodies")}
	name := map[string]string{}
	for _, b := range all {
		name[b.ID] = b.Name
	}
	// Those that something is told of first, merged ones last; the sort keeps what is alike as it came.
	slices.SortStableFunc(all, func(a, b Body) int { return cmp.Compare(a.place(), b.place()) })
	for _, b := range all {
		one := pages.CollectorBody{ID: b.ID, Name: b.Name, Supplier: b.Supplier, Number: b.Number,
			Cone: b.Cone, Studios: fmt.Sprint(b.Studios),
			Bars: fmt.Sprint(b.Bars), Into: name[b.Became]}
		if !b.Made.IsZero() {
			if err := tellBody(r.Context(), s, s.pages.Locale(d.Frame.Speak), b, &one); err != nil {
				s.trouble(w, r, err)
				return
			}
		}
		d.Bodies = append(d.Bodies, one)
	}
	s.show(w, r, d)
}

// place is where a body stands on the page.
func (b Body) place() int {
	switch {
	case b.Became != "":
		return 2
	case b.Made.IsZero():
		return 1
	}
	return 0
}

// tellBody puts on one what the pool of b says, where it is of a model that this program knows.
func tellBody(ctx context.Context, s *Server, l pages.Locale, b Body, one *pages.CollectorBody) error {
	prior, years, err := s.Pools.Told(ctx, b.ID, s.Models)
	if err != nil || prior == nil {
		return err
	}
	points := s.Rates(prior, b.MaturesC)
	if len(points) == 0 {
		return nil
	}
	one.Made = b.Made.In(s.Zone).Format(time.DateOnly)
	nearest := 0
	percent := func(r tiles.Ratio) string { return l.Decimal(100*float64(r), 1) }
	for i, at := range points {
		row := pages.CollectorBodyRate{Heat: fmt.Sprintf("%.0f", at.Work), Rate: percent(at.Total),
			Low: percent(at.Likely.Low), High: percent(at.Likely.High)}
		if math.Abs(float64(at.Work)-b.MaturesC) <= math.Abs(float64(points[nearest].Work)-b.MaturesC) {
			nearest, one.Matures = i, row
		}
		if math.Mod(float64(at.Work-points[0].Work), 30) == 0 {
			one.Curve = append(one.Curve, row)
		}
	}
	first, last := points[0], points[len(points)-1]
	draw := func(width, height float64) pages.Drawn {
		return pages.Drawn(chart.Shrinkage{Width: width, Height: height, Points: points,
			Asked:     kiln.Celsius(b.MaturesC),
			AskedSays: []string{l.T("cone {1}", b.Cone)}, HeatSays: l.T("heat work, {1}", "°C"),
			ConeSays: l.T("cone"),
			Title: l.T("Shrink of {1} against heat work: {2} % at {3}, {4} % at {5}. The same in figures stands below.",
				b.Name, percent(first.Total), fmt.Sprintf("%.0f °C", first.Work), percent(last.Total),
				fmt.Sprintf("%.0f °C", last.Work))}.SVG())
	}
	one.Phone, one.Desk = draw(326, 280), draw(540, 320)
	one.Years = yearsTold(years, percent)
	return nil
}

// apart is by how many sds two years must differ to be told of.
const apart = 3

// yearsTold is what the bags of each year do, and the newest year before it from which one differs.
func yearsTold(years []BodyYear, percent func(tiles.Ratio) string) (out []pages.CollectorBodyYear) {
	const z90 = 1.6449
	for i, y := range years {
		rate := tiles.LogPercent(y.Mean).Ratio()
		one := pages.CollectorBodyYear{Year: y.Year, Studios: y.Studios, Rate: percent(rate),
			Doubt: percent(tiles.LogPercent(y.Mean+z90*y.SD).Ratio() - rate)}
		for _, before := range slices.Backward(years[:i]) {
			if math.Abs(y.Mean-before.Mean) > apart*math.Hypot(y.SD, before.SD) {
				one.Than, one.More = before.Year, 100*float64(rate-tiles.LogPercent(before.Mean).Ratio())
				break
			}
		}
		out = append(out, one)
	}
	return out
}
