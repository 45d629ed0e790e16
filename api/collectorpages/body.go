package collectorpages

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"time"

	"lidwright/api/pages"
	"lidwright/api/wire"
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
	Curve         []BodyRate
}

// BodyRate is what studios lose of one body at one heat, wet to fired.
type BodyRate struct{ HeatC, Ratio, Low, High float64 }

// Pools is what of bodies is kept.
type Pools interface {
	Bodies(ctx context.Context) ([]Body, error)
	PutSummary(ctx context.Context, site, body string, s wire.PoolSummary) error
	DropSummary(ctx context.Context, site, body string) error
	Pool(ctx context.Context, site, body, model string) (wire.PoolAnswer, error)
	Told(ctx context.Context, body string) (prior []byte, err error)
}

// poolRoutes are those by which studios ask for bodies, say what their bars tell of one, and are told what others do.
func (s *Server) poolRoutes() []route {
	return []route{
		{"GET /v1/studios/{site}/bodies", "list-bodies", "The catalogue of bodies", nil, wire.Catalogue{}, s.known(s.bodies)},
		{"PUT /v1/studios/{site}/bodies/{body}", "put-summary", "Say what the studio's own bars tell of a body, in numbers alone", wire.PoolSummary{}, nil, s.known(s.putSummary)},
		{"DELETE /v1/studios/{site}/bodies/{body}", "drop-summary", "Take it back", nil, nil, s.known(s.dropSummary)},
		{"GET /v1/studios/{site}/bodies/{body}/pool", "get-pool", "What the other studios tell of a body", nil, wire.PoolAnswer{}, s.known(s.pool)},
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
	if in.Model == "" || len(in.Model) > 20 || in.Bars < 1 || in.Bars > 100_000 {
		return in, fmt.Errorf("%w: model %.40q, %d bars", ErrWrong, in.Model, in.Bars)
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
	for _, b := range all {
		one := pages.CollectorBody{ID: b.ID, Name: b.Name, Supplier: b.Supplier, Number: b.Number,
			Cone: b.Cone, Studios: fmt.Sprint(b.Studios),
			Bars: fmt.Sprint(b.Bars), Merged: b.Became != ""}
		if !b.Made.IsZero() {
			one.Made = b.Made.In(s.Zone).Format(time.DateOnly)
			told, err := s.Pools.Told(r.Context(), b.ID)
			if err != nil {
				s.trouble(w, r, err)
				return
			}
			for _, at := range s.Rates(told, b.MaturesC) {
				one.Curve = append(one.Curve, pages.CollectorBodyRate{Heat: fmt.Sprintf("%.0f", at.HeatC),
					Rate: fmt.Sprintf("%.1f", 100*at.Ratio),
					Low:  fmt.Sprintf("%.1f", 100*at.Low), High: fmt.Sprintf("%.1f", 100*at.High)})
			}
		}
		d.Bodies = append(d.Bodies, one)
	}
	s.show(w, r, d)
}
