// Package collectorpages answers for a collector over HTTP: what studios send, the owner's pages, the
// metrics. In flow requests, out flow calls of the record and answers.
//
// It holds no SQL, and nothing of it can ask or set anything on a studio's own machine: studios call, and are
// told how far they are.
package collectorpages

import (
	"context"
	"encoding/json"
	"errors"
	"log/slog"
	"net"
	"net/http"
	"strconv"
	"time"

	"lidwright/api/pages"
	"lidwright/api/web"
	"lidwright/api/wire"
	"lidwright/kiln"
	"lidwright/tiles/shrinkage"
)

// Server is the whole of what a collector answers. The collector's wiring fills it in.
type Server struct {
	Record  Record
	Shown   Shown
	Pools   Pools
	Name    string // of the collector, as its pages and the studios that join are told
	Zone    *time.Location
	Tongue  string // of the pages where a browser asks for none that we speak
	Version string
	Form    int // newest form of messages that it takes; it takes the one before too
	Now     func() time.Time
	// Owner tells whether a passcode is the owner's, and the mark of what is kept of it. Nil: there is none,
	// and the pages are for this machine alone.
	Owner     func(code string) (fits bool, mark string, err error)
	OwnerMark func() (mark string, err error)
	// Draw reads the curve of a firing as it was sent: lowest and highest of at most so many steps.
	Draw func(k string, data []byte, points int) ([]kiln.Envelope, error)
	// Mirror answers for a studio as its own program does, out of what it sent; release lets it go. Nil: its
	// pages are not to be had.
	Mirror func(ctx context.Context, site string) (answers http.Handler, release func(), err error)
	// Summary reads what a firing came to.
	Summary func(data []byte) (kiln.Firing, error)

	// CheckSummary refuses what no studio's bars say of a body; Rates reads what all say, about its maturing
	// point.
	CheckSummary func(info []byte) error
	Rates        func(prior []byte, matures float64) []shrinkage.CurvePoint
	Models       []string // of shrinkage, that Rates knows

	pages   *pages.Set
	counts  counts
	guesses guesses
	drawn   drawn
	at      chan struct{} // a place for each push that is worked on
}

const (
	mostAtOnce   = 16       // pushes and curves that are worked on
	mostSent     = 1 << 20  // bytes of a body as it comes
	mostUnfolded = 4 << 20  // bytes of one that came compressed: 900 kB of facts, 20,000 marks of firings
	mostCurve    = 16 << 20 // bytes of a curve: a week of three probes at one a second takes 1 MB
	readPatience = 30 * time.Second
)

// route is one route of the collector; the document of the API is made from the same table.
type route struct {
	pattern string
	id      string // of the operation; "": no part of the API
	summary string
	takes   any // what the body is; nil: none
	gives   any // what the answer is; nil: none
	answers http.HandlerFunc
}

func (s *Server) routes() []route {
	return append(s.poolRoutes(), []route{
		{"POST /v1/join", "join", "Change a code for the key of a studio", wire.JoinAsk{},
			wire.JoinTaken{}, s.join},
		{"POST /v1/studios/{site}/push", "push", "Send a part of a studio's record", wire.Push{},
			wire.PushTaken{}, s.known(s.push)},
		{"PUT /v1/studios/{site}/firings/{firing}/curve", "put-curve",
			"Send the curve of a firing: its sealed blocks, the length before each", []byte{},
			nil, s.known(s.putCurve)},
		{"PUT /v1/studios/{site}/live", "put-live", "Say what the kilns do now", wire.LivePush{},
			nil, s.known(s.putLive)},
		{"DELETE /v1/studios/{site}", "forget", "Delete everything of the studio", nil,
			nil, s.known(s.forget)},
		{"GET /v1/openapi.json", "", "", nil, nil, s.document},
		{"GET /healthz", "", "", nil, nil, s.healthz},
		{"GET /readyz", "", "", nil, nil, s.readyz},
		{"GET /metrics", "", "", nil, nil, s.owners(metrics(s))},
		{"GET /metrics/sites", "", "", nil, nil, s.owners(siteMetrics(s))},
		{"GET /{$}", "", "", nil, nil, s.owners(page(s.kilnsPage))},
		{"GET /studios", "", "", nil, nil, s.owners(page(s.studiosPage))},
		{"GET /studios/{site}", "", "", nil, nil, s.owners(page(s.studioPage))},
		{"GET /studios/{site}/firings/{firing}", "", "", nil, nil, s.owners(page(s.firingPage))},
		{"GET /studios/{site}/record/{path...}", "", "", nil, nil, s.owners(s.recordPage)},
		{"GET /passcode", "", "", nil, nil, s.passcodePage},
		{"POST /passcode", "", "", nil, nil, s.postPasscode},
		{"GET /style.css", "", "", nil, nil,
			page(s.pages.ServeAsset("style.css", "text/css; charset=utf-8"))},
		{"GET /app.js", "", "", nil, nil, page(s.pages.ServeAsset("app.js",
			"text/javascript; charset=utf-8"))},
	}...)
}

// page sends what people look at compressed.
func page(answers http.HandlerFunc) http.HandlerFunc {
	return web.Tagged(answers, func(*http.Request) *web.Cache { return nil }).ServeHTTP
}

// Handler builds every route. It is made once.
func (s *Server) Handler() (http.Handler, error) {
	length := func(_ string, mm float64) string { return strconv.FormatFloat(mm, 'f', 1, 64) + " mm" }
	set, err := pages.Load(s.Zone, length)
	if err != nil {
		return nil, err
	}
	s.pages, s.at = set, make(chan struct{}, mostAtOnce)
	mux := http.NewServeMux()
	for _, r := range s.routes() {
		mux.HandleFunc(r.pattern, r.answers)
	}
	mux.HandleFunc("/", nothingHere)
	return s.guarded(mux), nil
}

// guarded says on every answer what a browser may do with it.
func (s *Server) guarded(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		h := w.Header()
		h.Set("X-Content-Type-Options", "nosniff")
		h.Set("Referrer-Policy", "no-referrer")
		h.Set("X-Frame-Options", "DENY")
		h.Set("Content-Security-Policy", "default-src 'none'; img-src 'self'; style-src 'self' 'unsafe-inline'; script-src 'self'; connect-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'")
		h.Set("Cache-Control", "no-store")
		if s.Owner == nil && !loopback(r.Host) { // a page elsewhere must not read ours by a name of its own
			http.Error(w, "This collector has no passcode and answers to this machine alone.",
				http.StatusMisdirectedRequest)
			return
		}
		next.ServeHTTP(w, r)
	})
}

func loopback(host string) bool {
	if h, _, err := net.SplitHostPort(host); err == nil {
		host = h
	}
	ip := net.ParseIP(host)
	return host == "localhost" || ip != nil && ip.IsLoopback()
}

func (s *Server) healthz(w http.ResponseWriter, _ *http.Request) {
	writeJSON(w, http.StatusOK, map[string]string{"status": "alive", "version": s.Version})
}

func (s *Server) readyz(w http.ResponseWriter, r *http.Request) {
	if err := s.Record.Ready(r.Context()); err != nil {
		writeJSON(w, http.StatusServiceUnavailable,
			map[string]string{"status": "not ready", "why": err.Error()})
		return
	}
	writeJSON(w, http.StatusOK, map[string]string{"status": "ready", "version": s.Version})
}

func nothingHere(w http.ResponseWriter, r *http.Request) {
	if len(r.URL.Path) >= 4 && r.URL.Path[:4] == "/v1/" {
		refuse(w, http.StatusNotFound, wire.PushRefused{Why: "wrong", Says: "Nothing is at this address."})
		return
	}
	http.Error(w, "Nothing is at this address.", http.StatusNotFound)
}

func writeJSON(w http.ResponseWriter, status int, v any) {
	w.Header().Set("Content-Type", "application/json")
	w.WriteHeader(status)
	json.NewEncoder(w).Encode(v)
}

func refuse(w http.ResponseWriter, status int, why wire.PushRefused) { writeJSON(w, status, why) }

// refusal answers a studio of which nothing was taken.
func (s *Server) refusal(w http.ResponseWriter, r *http.Request, err error) {
	says := err.Error() + "."
	no := func(status int, why string) { refuse(w, status, wire.PushRefused{Why: why, Says: says}) }
	var gap Gap
	var tooLarge *http.MaxBytesError
	switch {
	case errors.As(err, &gap):
		s.counts.gaps.Add(1)
		refuse(w, http.StatusConflict, wire.PushRefused{Why: "gap", Have: gap.Have, Says: says})
	case errors.Is(err, ErrFork):
		s.counts.forks.Add(1)
		no(http.StatusConflict, "fork")
	case errors.Is(err, ErrLater):
		no(http.StatusConflict, "later")
	case errors.Is(err, ErrForgotten):
		no(http.StatusGone, "forgotten")
	case errors.Is(err, ErrNoKey), errors.Is(err, ErrNoCode):
		w.Header().Set("Www-Authenticate", "Bearer")
		no(http.StatusUnauthorized, "token")
	case errors.Is(err, ErrElsewhere), errors.Is(err, ErrNoSite):
		no(http.StatusNotFound, "token")
	case errors.Is(err, ErrTooFew):
		no(http.StatusNotFound, "too-few")
	case errors.Is(err, ErrNoBody):
		no(http.StatusNotFound, "wrong")
	case errors.Is(err, ErrThere):
		no(http.StatusConflict, "wrong")
	case errors.As(err, &tooLarge), errors.Is(err, errUnfolds):
		no(http.StatusRequestEntityTooLarge, "wrong")
	case errors.Is(err, ErrWrong):
		no(http.StatusUnprocessableEntity, "wrong")
	case errors.Is(err, ErrBusy), errors.Is(err, context.DeadlineExceeded), errors.Is(err, context.Canceled):
		slog.Warn("nothing is taken now", "site", r.PathValue("site"), "err", err)
		w.Header().Set("Retry-After", "5")
		says = "The collector cannot keep anything now; it is to be sent again."
		no(http.StatusServiceUnavailable, "busy")
	default:
		slog.Error("a request failed", "path", r.URL.Path, "err", err)
		w.Header().Set("Retry-After", "60")
		says = "Something went wrong at the collector; its log has the details."
		no(http.StatusServiceUnavailable, "busy")
	}
}
