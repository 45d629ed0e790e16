// Package api answers over HTTP: the JSON routes under /v1, the pages, the metrics. A
// handler loads what it needs, calls one function of the trade, and writes the answer.
//
// It holds no arithmetic of the trade and no SQL, and it never writes to a kiln.
package api

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/http"
	"reflect"
	"slices"
	"strings"
	"sync/atomic"
	"time"

	"github.com/danielgtaylor/huma/v2"
	"github.com/danielgtaylor/huma/v2/adapters/humago"

	"lidwright/api/caution"
	"lidwright/api/pages"
	"lidwright/api/usecase"
	"lidwright/api/wire"
	"lidwright/tiles"
)

// Server is the whole of what is answered over HTTP. New fills in nothing by itself: the
// daemon hands everything over.
type Server struct {
	*usecase.Studio
	Access   Access
	door     *door
	patterns []string     // of every route, as they were registered
	streams  atomic.Int32 // open now

	streamTakes time.Duration              // how long a reader of a stream may take over one event
	routeOf     func(*http.Request) string // the pattern that a request takes
	pages       *pages.Set
	gleaning    gleaning
	traffic     traffic
	references  references
}

// routes is a mux that remembers what was put into it.
type routes struct {
	*http.ServeMux
	patterns []string
}

func (m *routes) HandleFunc(pattern string, f func(http.ResponseWriter, *http.Request)) {
	m.Handle(pattern, http.HandlerFunc(f))
}

func (m *routes) Handle(pattern string, h http.Handler) {
	m.patterns = append(m.patterns, pattern)
	m.ServeMux.Handle(pattern, h)
}

// pattern is the route that a request would take, "" if none.
func (m *routes) pattern(r *http.Request) string {
	_, pattern := m.ServeMux.Handler(r)
	return pattern
}

// route adds one operation to the API under the house's own rules.
func route[I, O any](a huma.API, method, path, id, summary string, f func(context.Context, *I) (*O, error)) {
	answers := map[string]*huma.Response{}
	if method == http.MethodGet {
		answers["304"] = &huma.Response{Description: "The asker has this answer already (If-None-Match)"}
	}
	huma.Register(a, huma.Operation{
		OperationID: id, Method: method, Path: path, Summary: summary, Responses: answers,
		MaxBodyBytes: 64 << 10, RejectUnknownQueryParameters: true, Errors: []int{400, 401, 403, 404, 409, 412, 413, 415, 421, 422, 429, 500, 503},
	}, func(ctx context.Context, in *I) (*O, error) {
		out, err := f(ctx, in)
		var refused *usecase.Refusal
		if errors.As(err, &refused) {
			return nil, problem(refused.Kind, refused.Says, refused.Fields...)
		}
		return out, err
	})
	if op := a.OpenAPI().Paths[path].Put; op != nil && method == http.MethodPut {
		made := *op.Responses["200"]
		made.Description = "Kept now; 200 where the same was said before"
		op.Responses["201"] = &made
	}
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
				"application/json": {Schema: a.OpenAPI().Components.Schemas.Schema(reflect.TypeFor[T](), true, op.OperationID)},
				text:               {Schema: &huma.Schema{Type: "string"}},
			}
			delete(op.Responses["200"].Headers, "Content-Type") // said already
		}
	}
}

// Routes are the patterns of every route, as they were registered; none before Handler.
func (s *Server) Routes() []string { return slices.Clone(s.patterns) }

// Handler builds every route. It is made once.
func (s *Server) Handler() (http.Handler, error) {
	set, err := pages.Load(s.Site.Zone, func(unit string, mm float64) string { return tiles.LengthUnit(unit).Format(tiles.Millimetre(mm)) })
	if err != nil {
		return nil, err
	}
	s.pages = set
	mux := &routes{ServeMux: http.NewServeMux()}
	a := humago.New(mux, s.humaConfig())
	a.UseMiddleware(preconditions)
	s.door, s.streamTakes, s.traffic = s.newDoor(), streamTakes, newTraffic()

	const get, put = http.MethodGet, http.MethodPut
	bars, clays, firings, kilns, lids, loads, results, studio := s.barRoutes(), s.clayRoutes(), s.firingRoutes(), s.kilnRoutes(), s.lidRoutes(), s.loadRoutes(), s.resultRoutes(), s.studioRoutes()
	session := s.sessionRoutes()
	// What the kilns do, and what they did.
	route(a, get, "/v1/now", "now", "What every kiln does now", kilns.getNow)
	route(a, get, "/v1/now/{kiln}", "kiln-now", "What one kiln does now", kilns.getKilnNow)
	route(a, get, "/v1/lines", "lines", "What the serial lines heard in the last minute, in words and figures", kilns.getLines)
	route(a, get, "/v1/firings", "list-firings", "Firings, newest first", firings.getFirings)
	route(a, get, "/v1/firings/{id}", "get-firing", "One firing", firings.getFiring)
	route(a, get, "/v1/firings/{id}/curve", "get-curve", "Its curve: lowest and highest of each step", firings.getCurve)
	route(a, put, "/v1/firings/{id}", "put-firing", "Say kind, atmosphere, status or note of a firing; or keep one by hand", firings.putFiring)
	route(a, put, "/v1/firings/{id}/cones/{cone}", "put-cone", "A witness cone as it stood at unloading", firings.putCone)
	route(a, put, "/v1/firings/{id}/cones/{cone}/strike", "strike-cone", "Cross a cone out; it stays to be seen", firings.strikeCone)
	route(a, put, "/v1/firings/{id}/notes/{note}", "put-note", "A note or an incident of a firing", firings.putNote)
	route(a, put, "/v1/firings/{id}/notes/{note}/strike", "strike-note", "Cross a note out; it stays to be seen", firings.strikeNote)
	route(a, get, "/v1/kilns", "list-kilns", "Every kiln of the settings, by name", kilns.getKilns)
	route(a, get, "/v1/kilns/{kiln}", "get-kiln", "A kiln with its probes, what the cones told of them, and what is usual", kilns.getKiln)
	route(a, get, "/v1/kilns/{kiln}/shelves", "kiln-shelves", "How much the shelves of a kiln differ, by the bars, and where to pack a pot and its lid", kilns.getShelves)
	route(a, put, "/v1/kilns/{kiln}/probes/{probe}", "put-probe", "The life of a thermocouple: a new one has nothing of what the cones told of the old one", kilns.putProbe)
	route(a, put, "/v1/kilns/{kiln}/keep-shut", "put-keep-shut", "Keep the kiln shut above a temperature of the site's own, with its reason", kilns.putKeepShut)
	or[wire.Curve](a, "/v1/firings/{id}/curve", "text/csv")
	route(a, put, "/v1/firings/{id}/begin", "begin-firing", "Begin a firing at once: recording alone, nothing is sent to a kiln", firings.beginFiring)
	route(a, put, "/v1/firings/{id}/stop", "stop-firing", "Stop recording a firing: recording alone, the kiln goes on as it will", firings.stopFiring)
	route(a, get, "/v1/compare", "compare", "Up to four firings laid over one another, and how they differ in a sentence", firings.getCompare)
	route(a, get, "/v1/trend", "trend", "How the firings of a kiln changed over the year", firings.getTrend)
	// Clays, and the loads that bars go through.
	route(a, get, "/v1/clays", "list-clays", "Clays with their batches", clays.getClays)
	route(a, get, "/v1/clays/{clay}", "get-clay", "One clay", clays.getClay)
	route(a, put, "/v1/clays/{clay}", "put-clay", "Keep a clay; a new one gets batch A", clays.putClay)
	route(a, put, "/v1/clays/{clay}/batches/{batch}", "put-batch", "Keep a batch of a clay", clays.putBatch)
	route(a, get, "/v1/loads", "list-loads", "Loads, newest first", loads.getLoads)
	route(a, get, "/v1/loads/{id}", "get-load", "One load", loads.getLoad)
	route(a, put, "/v1/loads/{id}", "put-load", "Keep a load: what is packed into a kiln", loads.putLoad)
	route(a, put, "/v1/loads/{id}/close", "close-load", "Say that a load was unpacked", loads.closeLoad)
	route(a, get, "/v1/loads/{id}/ticks", "load-ticks", "The check list at the start of its firing", firings.getLoadTicks)
	route(a, put, "/v1/loads/{id}/ticks/{tick}", "tick-load", "Tick a line of the check list, or take the tick back", firings.putLoadTick)
	route(a, get, "/v1/firings/{id}/ticks", "firing-ticks", "The check list of a firing, with what was ticked on its load", firings.getFiringTicks)
	route(a, put, "/v1/firings/{id}/ticks/{tick}", "tick-firing", "Tick a line of the check list of a firing, or take the tick back", firings.putFiringTick)
	route(a, put, "/v1/makers/{mark}/forget", "forget-maker", "Blank a maker's mark everywhere; what was measured stays", studio.forgetMaker)
	// Bars and what was measured on them.
	route(a, get, "/v1/bars", "list-bars", "Bars by code", bars.getBars)
	route(a, get, "/v1/bars/free-codes", "free-codes", "Codes to scratch into new bars", bars.getFreeCodes)
	route(a, get, "/v1/bars/{bar}", "get-bar", "One bar with its readings, struck ones too", bars.getBar)
	route(a, get, "/v1/bars/{bar}/story", "bar-story", "All that happened to a bar, in order: who read and struck what, loads, firings, and what it did to the rate", bars.getStory)
	route(a, put, "/v1/bars/{bar}", "put-bar", "Keep a bar", bars.putBar)
	route(a, put, "/v1/bars/{bar}/readings/{id}", "put-reading", "Keep a reading for good; it confirms an earlier one of the same bar, stage and marks that is not confirmed, if both agree within 2 sds of one reading (0.4 mm by calliper, 1 mm by rule)", bars.putReading)
	route(a, put, "/v1/bars/{bar}/readings/{id}/strike", "strike-reading", "Cross a reading out; it stays to be seen",
		bars.readingAct(func(a usecase.Storage) act { return a.StrikeReading }, true))
	route(a, put, "/v1/bars/{bar}/readings/{id}/confirm", "confirm-reading", "Confirm a reading in a word, without a second reading",
		bars.readingAct(func(a usecase.Storage) act { return a.ConfirmReading }, false))
	route(a, put, "/v1/bars/{bar}/readings/{id}/count", "count-reading", "Let a reading outside 0.72 to 1.01 into the fit",
		bars.readingAct(func(a usecase.Storage) act { return a.CountReading }, true))
	// Pots, and how their lids sat.
	route(a, get, "/v1/pots", "list-pots", "Pot cards found by mark, number, form or date, newest first", results.getPots)
	route(a, get, "/v1/pots/{id}", "get-pot", "One pot card", results.getPot)
	route(a, put, "/v1/pots/{id}", "put-pot", "Keep a pot card: the sizes of one pot, made at the wheel", results.putPot)
	route(a, get, "/v1/verdicts", "list-verdicts", "How lids sat: boards, tally, and what they taught", results.getVerdicts)
	route(a, put, "/v1/verdicts/{id}", "put-verdict", "Keep how the lids of one board sat", results.putVerdict)
	route(a, put, "/v1/verdicts/{id}/strike", "strike-verdict", "Cross a board out; it stays to be seen", results.strikeVerdict)
	// The answers.
	route(a, get, "/v1/clays/{clay}/shrinkage", "shrinkage", "How much a clay shrinks, and how sure that is", clays.getShrinkage)
	route(a, get, "/v1/clays/{clay}/moves", "moves", "What moved a clay's rate, what it rests on, and what would sharpen it", clays.getMoves)
	route(a, get, "/v1/size", "size", "Any fired length or capacity to wet, and back", lids.getSize)
	route(a, get, "/v1/size/nest", "size-nest", "How pots that stand in one another come out, the worst of it too", lids.getNest)
	route(a, get, "/v1/size/shared", "size-shared", "One lid for several pots: the play on the widest and the narrowest", lids.getShared)
	route(a, get, "/v1/size/scale", "size-scale", "A whole form made larger or smaller, by its capacity", lids.getScale)
	route(a, get, "/v1/lid", "lid", "How wide to throw a lid so that it fits its fired gallery", lids.getLid)
	route(a, get, "/v1/lids/board", "board", "Lids for a whole board: sizes and counts, or which measured lid goes with which pot", lids.getBoard)
	route(a, http.MethodPost, "/v1/lids/board", "ask-board", "The same asked with a JSON body; keeps nothing", lids.postBoard)

	for _, path := range []string{"/v1/clays/{clay}", "/v1/clays/{clay}/batches/{batch}", "/v1/loads/{id}", "/v1/bars/{bar}", "/v1/pots/{id}", "/v1/kilns/{kiln}/probes/{probe}"} {
		edits(a, path)
	}
	orText[wire.Now](a, "/v1/now")
	orText[wire.KilnNow](a, "/v1/now/{kiln}")
	orText[wire.Lid](a, "/v1/lid")
	orText[wire.Board](a, "/v1/lids/board")
	// What was said, in order, for whoever follows.
	route(a, get, "/v1/site", "site", "The record: its name, its life, its newest change", studio.getSite)
	route(a, get, "/v1/changes", "changes", "What was said after a number; waits for something new where asked to", studio.getChanges)
	huma.Register(a, streamOperation, studio.getStream)
	// Copies of everything.
	route(a, get, "/v1/copies", "list-copies", "Copies of the store, newest first", studio.getCopies)
	route(a, http.MethodPost, "/v1/copies", "make-copy", "Make a copy now, unless the newest has everything", studio.postCopy)
	route(a, http.MethodPost, "/v1/copies/renew", "renew-copies", "Take the marks of forgotten makers out of the copies that still have them", studio.renewCopies)
	// Messages to people.
	route(a, get, "/v1/notices", "list-notices", "The newest notices and what came of them", studio.getNotices)
	route(a, http.MethodPost, "/v1/notices/test", "test-notice", "Send a test notice to every receiver", studio.testNotice)
	// Who may do it.
	route(a, http.MethodPost, "/v1/session", "open-session", "Show the code once; a cookie stands for it from then on", session.postSession)
	route(a, http.MethodDelete, "/v1/session", "end-session", "Forget the code in this browser", session.deleteSession)

	sayImport(a)
	sayAll(a)
	dropAccept(a)

	mux.HandleFunc("POST /v1/import", bars.postImport)
	mux.HandleFunc("POST /v1/firings/{id}/curve", firings.postOldLog)

	mux.HandleFunc("GET /healthz", studio.healthz)
	mux.HandleFunc("GET /readyz", studio.readyz)
	mux.Handle("GET /metrics", s.gleaner().metrics())
	s.pageRoutes(mux)
	mux.HandleFunc("/", s.nothingHere(mux.ServeMux))
	s.patterns, s.routeOf = mux.patterns, mux.pattern
	return s.traffic.timed(s.guarded(s.spoken(s.door.kept(mux.pattern, tagged(signed(mux), s.remembers()))))), nil
}

func (s *Server) humaConfig() huma.Config {
	huma.NewError = humaError // the only hook that huma has for problem types of one's own
	huma.ValidateStrictCasing = true
	c := huma.DefaultConfig("lidwright", s.Site.Version)
	c.Info.Description = "Shrink rates and lid sizes from a studio's own bars and firings. A logger: nothing here controls a kiln. " + caution.StandingLine
	c.OpenAPIPath, c.DocsPath, c.SchemasPath = "/v1/openapi", "", ""
	c.CreateHooks = nil
	c.Transformers = append(c.Transformers, s.sayWhere)
	c.DefaultFormat = "application/json"
	c.NoFormatFallback = false
	f := huma.Format{Marshal: huma.DefaultJSONFormat.Marshal, Unmarshal: strictJSON}
	c.Formats = map[string]huma.Format{"application/json": f, "json": f}
	return c
}

func (s studioRoutes) healthz(w http.ResponseWriter, _ *http.Request) {
	s.tellHealth(w, "alive")
}

func (s studioRoutes) readyz(w http.ResponseWriter, r *http.Request) {
	if err := s.Ready(); err != nil {
		var reasons []string
		for _, why := range strings.Split(err.Error(), "\n") {
			reasons = append(reasons, usecase.Sentence(why))
		}
		writeProblem(w, r, problem("not-ready", strings.Join(append(reasons, s.StoreTrouble(s.Store())...), " ")))
		return
	}
	s.tellHealth(w, "ready")
}

// nothingHere answers what no route takes, as a problem under /v1 and as a page elsewhere;
// it tells a wrong method from a wrong address.
func (s *Server) nothingHere(mux *http.ServeMux) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		p := problem("no-such-page", "No page has this address.")
		var allowed []string
		for _, m := range []string{http.MethodGet, http.MethodPut, http.MethodPost, http.MethodDelete} {
			q := r.Clone(r.Context())
			q.Method = m
			if _, pattern := mux.Handler(q); pattern != "" && pattern != "/" {
				allowed = append(allowed, m)
			}
		}
		if len(allowed) > 0 {
			p = problem("wrong-method", "This address takes other methods; see the Allow header.")
			p.header = http.Header{"Allow": allowed}
		}
		if isAPI(r.URL.Path) {
			writeProblem(w, r, p)
			return
		}
		s.problemPage(w, r, p)
	}
}

func isAPI(path string) bool { return len(path) >= 4 && path[:4] == "/v1/" || path == "/v1" }

// Serve answers on l until ctx ends, then gives what is under way a second to finish.
func (s *Server) Serve(ctx context.Context, h http.Handler, l net.Listener) error {
	srv := s.httpServer(h)
	srv.BaseContext = func(net.Listener) context.Context { return ctx }
	done := make(chan error, 1)
	go func() { done <- srv.Serve(l) }()
	select {
	case err := <-done:
		return fmt.Errorf("answer on %s: %w", l.Addr(), err)
	case <-ctx.Done():
	}
	last, cancel := context.WithTimeout(context.WithoutCancel(ctx), time.Second)
	defer cancel()
	if err := srv.Shutdown(last); err != nil {
		slog.Info("closed connections that would not end", "err", err)
		srv.Close()
	}
	<-done
	return nil
}
