// Package api answers over HTTP: the JSON routes under /v1, the pages, the metrics.
//
// In flow a request, matched by the one table of routes.go, which says whose passcode it takes and what it is
// among the routes; out flow JSON of api/wire, a page of api/pages, a table or a problem (RFC 9457). A
// handler decodes, calls one use case and encodes; the parameters of questions about lids are read by the
// table of lidparameters.go, which makes the document, flags and forms too.
//
// It holds no arithmetic of the trade and no SQL, and it never writes to a kiln.
package api

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"maps"
	"net"
	"net/http"
	"reflect"
	"slices"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"github.com/danielgtaylor/huma/v2"
	"github.com/danielgtaylor/huma/v2/adapters/humago"
	"golang.org/x/sync/errgroup"

	"lidwright/api/auth"
	"lidwright/api/caution"
	"lidwright/api/metrics"
	"lidwright/api/pages"
	"lidwright/api/usecase"
	"lidwright/api/web"
	"lidwright/api/wire"
	"lidwright/kiln/message"
	"lidwright/tiles"
)

// Server is the whole of what is answered over HTTP. New fills in nothing by itself: the
// daemon hands everything over.
type Server struct {
	*usecase.Studio
	Access   auth.Access
	gate     *auth.Gate
	patterns []string     // of every route, as they were registered
	streams  atomic.Int32 // open now
	turn     sync.Mutex   // held by the form that changes something while it is answered

	streamTakes time.Duration // how long a reader of a stream may take over one event
	mux         *http.ServeMux
	table       map[string]*entry // every route by its pattern
	pages       *pages.Set
	home        usecase.Memo[onHome]
	metrics     *metrics.Metrics
	troubles    web.Troubles
	refusals    map[string]*huma.Response // of every operation, in the document
}

// routes is a mux that remembers what was put into it.
type routes struct {
	*http.ServeMux
	patterns []string
}

// HandleFunc is Handle for a function.
func (m *routes) HandleFunc(pattern string, f func(http.ResponseWriter, *http.Request)) {
	m.Handle(pattern, http.HandlerFunc(f))
}

// Handle puts a handler at a pattern of http.ServeMux.
func (m *routes) Handle(pattern string, h http.Handler) {
	m.patterns = append(m.patterns, pattern)
	m.ServeMux.Handle(pattern, h)
}

// problems has every error of a handler of the API be a problem.
func problems[I, O any](troubles *web.Troubles, f func(context.Context, *I) (*O,
	error)) func(context.Context, *I) (*O, error) {
	return func(ctx context.Context, in *I) (*O, error) {
		out, err := f(ctx, in)
		if err != nil {
			return nil, troubles.Problem(ctx, err)
		}
		return out, nil
	}
}

// operation adds one operation to the API under the house's own rules.
func operation[I, O any](a huma.API, s *Server, method, path, id, summary string,
	f func(context.Context, *I) (*O, error), parameters ...*huma.Param) {
	answers := maps.Clone(s.refusals)
	if method != http.MethodGet {
		delete(answers, "304")
	}
	huma.Register(a, huma.Operation{
		OperationID: id, Method: method, Path: path, Summary: summary, Responses: answers,
		MaxBodyBytes: 64 << 10, Parameters: parameters, RejectUnknownQueryParameters: len(parameters) == 0,
	}, problems(&s.troubles, f))
	if op := a.OpenAPI().Paths[path].Put; op != nil && method == http.MethodPut {
		made := *op.Responses["200"]
		made.Description = "Kept now; 200 where the same was said before"
		op.Responses["201"] = &made
	}
}

// refusalsOf is what any operation may answer but what was asked for, by its status: one for all of them,
// where huma would make a dozen for each, half a megabyte that stays.
func refusalsOf(a huma.API) map[string]*huma.Response {
	problem := a.OpenAPI().Components.Schemas.Schema(reflect.TypeFor[web.Problem](), true, "")
	content := map[string]*huma.MediaType{"application/problem+json": {Schema: problem}}
	all := map[string]*huma.Response{"304": {Description: "The asker has this answer already (If-None-Match)"}}
	for _, code := range []int{400, 401, 403, 404, 409, 412, 413, 415, 421, 422, 429, 500, 503} {
		all[strconv.Itoa(code)] = &huma.Response{Description: http.StatusText(code), Content: content}
	}
	return all
}

// orText says in the document that a route answers with a T, or with text to whoever accepts
// only that.
func orText[T any](a huma.API, path string) { or[T](a, path, "text/plain") }

// or says in the document that a route answers with a T, or with text of a type to whoever accepts
// only that.
func or[T any](a huma.API, path, text string) {
	item := a.OpenAPI().Paths[path]
	for _, op := range []*huma.Operation{item.Get, item.Post} {
		if op != nil {
			op.Responses["200"].Content = map[string]*huma.MediaType{
				"application/json": {Schema: a.OpenAPI().Components.Schemas.Schema(reflect.TypeFor[T](), true,
					op.OperationID)},
				text: {Schema: &huma.Schema{Type: "string"}},
			}
			delete(op.Responses["200"].Headers, "Content-Type") // said already
		}
	}
}

// Routes are the patterns of every route, as they were registered; none before Handler.
func (s *Server) Routes() []string { return slices.Clone(s.patterns) }

// Handler builds every route. It is made once.
func (s *Server) Handler() (http.Handler, error) {
	set, err := pages.Load(s.Site.Zone, func(unit string, mm float64) string {
		return tiles.LengthUnit(unit).Shown(tiles.Millimetre(mm))
	})
	if err != nil {
		return nil, err
	}
	s.pages, s.troubles.Since = set, func() time.Duration { return s.Now().Since }
	mux := &routes{ServeMux: http.NewServeMux()}
	a := humago.New(mux, s.humaConfig())
	a.UseMiddleware(web.Preconditions)
	s.refusals = refusalsOf(a)
	s.gate, s.streamTakes, s.metrics = s.newGate(), streamTakes, metrics.New(s.Studio)

	s.table = map[string]*entry{}
	for _, e := range s.routes() {
		s.table[e.pattern] = &e
		e.answers(s, mux, a, e)
	}
	or[wire.Curve](a, "/v1/firings/{id}/curve", "text/csv")
	for _, path := range []string{"/v1/clays/{clay}", "/v1/clays/{clay}/batches/{batch}", "/v1/loads/{id}",
		"/v1/bars/{bar}", "/v1/pots/{id}", "/v1/kilns/{kiln}/probes/{probe}"} {
		web.Edits(a, path)
	}
	orText[wire.Now](a, "/v1/now")
	orText[wire.KilnNow](a, "/v1/now/{kiln}")
	orText[wire.Lid](a, "/v1/lid")
	orText[wire.Board](a, "/v1/lids/board")
	sayImport(a)
	sayAll(a)
	dropAccept(a)
	lists := sayLists(a)
	openAnswers(a)
	sayLimits(a)
	sayUse(a)
	mux.HandleFunc("/", s.nothingHere(mux.ServeMux))
	s.patterns, s.mux = mux.patterns, mux.ServeMux
	tables := lists.Handler(auth.Signed(mux), func(r *http.Request) string { return routeOf(r).pattern })
	tagged := web.Tagged(tables, s.cacheOf())
	classOf := func(r *http.Request) string { return routeOf(r).class.traffic }
	return s.asked(s.metrics.Timed(web.CrossOrigin(s.Site.Origins,
		s.guarded(s.spoken(s.gate.Handler(tagged)))), classOf)), nil
}

func (s *Server) humaConfig() huma.Config {
	huma.NewError = web.HumaError // the only hook that huma has for problem types of one's own
	huma.ValidateStrictCasing = true
	c := huma.DefaultConfig("lidwright", apiVersion)
	c.Info.Description = "Shrink rates and lid sizes from a studio's own bars and firings. A logger: nothing here controls a kiln. " + caution.StandingLine
	c.OpenAPIPath, c.DocsPath, c.SchemasPath = "/v1/openapi", "", ""
	c.CreateHooks = nil
	c.Transformers = append(c.Transformers, s.troubles.Where)
	c.DefaultFormat = "application/json"
	c.NoFormatFallback = false
	f := huma.Format{Marshal: huma.DefaultJSONFormat.Marshal, Unmarshal: web.StrictJSON}
	c.Formats = map[string]huma.Format{"application/json": f, "json": f}
	return c
}

func (s studioRoutes) healthz(w http.ResponseWriter, _ *http.Request) {
	s.tellHealth(w, "alive")
}

func (s studioRoutes) readyz(w http.ResponseWriter, r *http.Request) {
	if err := s.Ready(); err != nil {
		var reasons []message.Message
		for _, why := range strings.Split(err.Error(), "\n") {
			reasons = append(reasons, message.Stopped(message.Plain(why)))
		}
		web.WriteProblem(w, r, web.NewProblem("not-ready",
			message.Join(" ", append(reasons, s.StoreTrouble(s.Store())...)...)))
		return
	}
	s.tellHealth(w, "ready")
}

// nothingHere answers what no route takes, as a problem under /v1 and as a page elsewhere;
// it tells a wrong method from a wrong address.
func (s *Server) nothingHere(mux *http.ServeMux) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		p := web.NewProblem("no-such-page", message.New("No page has this address."))
		var allowed []string
		for _, m := range []string{http.MethodGet, http.MethodPut, http.MethodPost, http.MethodDelete} {
			q := r.Clone(r.Context())
			q.Method = m
			if _, pattern := mux.Handler(q); pattern != "" && pattern != "/" {
				allowed = append(allowed, m)
			}
		}
		if len(allowed) > 0 {
			p = web.NewProblem("wrong-method",
				message.New("This address takes other methods; see the Allow header."))
			p.Header = http.Header{"Allow": allowed}
		}
		if web.IsAPI(r.URL.Path) {
			web.WriteProblem(w, r, p)
			return
		}
		s.problemPage(w, r, p)
	}
}

// Serve answers on l until ctx ends, then gives what is under way a second to finish. Its goroutines are the
// HTTP server's, the one that ends it, and the one that works old metrics out; all are over when it returns.
func (s *Server) Serve(ctx context.Context, h http.Handler, l net.Listener) error {
	srv := s.httpServer(h)
	group, ctx := errgroup.WithContext(ctx)
	srv.BaseContext = func(net.Listener) context.Context { return ctx }
	group.Go(func() error {
		if err := srv.Serve(l); !errors.Is(err, http.ErrServerClosed) {
			return fmt.Errorf("answer on %s: %w", l.Addr(), err)
		}
		return nil
	})
	group.Go(func() error { return s.metrics.Run(ctx) })
	group.Go(func() error {
		<-ctx.Done()
		last, cancel := context.WithTimeout(context.WithoutCancel(ctx), time.Second)
		defer cancel()
		if err := srv.Shutdown(last); err != nil {
			slog.Info("closed connections that would not end", "err", err)
			srv.Close()
		}
		return nil
	})
	return group.Wait()
}

// guarded puts the checks around the routes that every request passes.
func (s *Server) guarded(next http.Handler) http.Handler {
	takes := func(r *http.Request) web.Payload { return routeOf(r).class.takes }
	return web.Guard{Hosts: s.Site.Hosts, Takes: takes, Troubles: &s.troubles}.Handler(next)
}

func (s *Server) newGate() *auth.Gate {
	return auth.NewGate(s.Access, &s.Archive, s.Now, auth.Rules{
		Needs:    func(r *http.Request) auth.Who { return routeOf(r).needed(s.Access.ReadingOpen) },
		Refuse:   s.refuse,
		Troubles: &s.troubles,
	})
}

// refuse says no: to a tool as a problem, to a person with a place to type the passcode.
func (s *Server) refuse(w http.ResponseWriter, r *http.Request, p *web.Problem) {
	weak := p.Status == http.StatusForbidden && strings.HasSuffix(p.Type, "code-too-weak")
	switch {
	case web.IsAPI(r.URL.Path) || r.URL.Path == "/metrics":
		web.WriteProblem(w, r, p)
	case p.Status == http.StatusUnauthorized || weak:
		sessionRoutes{s}.askCode(w, r, p)
	default:
		s.problemPage(w, r, p)
	}
}

// httpServer holds the times that a connection has for each part of a request.
func (s *Server) httpServer(h http.Handler) *http.Server {
	return &http.Server{
		Handler:           h,
		ReadHeaderTimeout: 10 * time.Second,
		ReadTimeout:       30 * time.Second,
		WriteTimeout:      30 * time.Second,
		IdleTimeout:       60 * time.Second,
		MaxHeaderBytes:    16 << 10,
		ErrorLog:          nil,
	}
}

// tellHealth answers the two probes: word, and what is wrong with the store, a line each. A store
// in trouble is no reason to stop a daemon that records.
func (s studioRoutes) tellHealth(w http.ResponseWriter, word string) {
	w.Header().Set("Content-Type", "text/plain; charset=utf-8")
	fmt.Fprintln(w, word)
	for _, says := range s.StoreTrouble(s.Store()) {
		fmt.Fprintln(w, says)
	}
}

// cacheOf says what keeps the answers of a route, by its class: questions of clay rest on the store, the fit
// and the day, curves on the store; what the kilns do now is good for a quarter of a second, and not beyond
// what was told since: who stops a record and asks at once hears that it is stopped. An answer that says
// itself how it may be kept is not.
func (s *Server) cacheOf() func(*http.Request) *web.Cache {
	if s.Revision == nil {
		return func(*http.Request) *web.Cache { return nil }
	}
	minute := func() uint64 { return s.Revision() + uint64(s.Now().Wall.Unix()/60) }
	quarter := func() uint64 {
		return uint64(s.Now().Since/(250*time.Millisecond)) + s.Recorder.Heeded() + s.Revision()
	}
	by := [...]*web.Cache{
		keepsNow:   {Most: 64 << 10, Revision: quarter},
		keepsClay:  {Most: 1 << 20, Revision: minute},
		keepsCurve: {Most: 8 << 20, Revision: minute},
	}
	return func(r *http.Request) *web.Cache { return by[routeOf(r).class.keeps] }
}
