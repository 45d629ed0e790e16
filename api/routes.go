package api

import (
	"context"
	"net/http"
	"slices"
	"strings"

	"github.com/danielgtaylor/huma/v2"

	"lidwright/api/auth"
	"lidwright/api/tables"
	"lidwright/api/usecase"
	"lidwright/api/web"
	"lidwright/kiln/delimited"
)

// The routes by their noun: each decodes what was asked, calls a use case and writes the answer.
type (
	firingRoutes  struct{ *Server } // firings, as the API and the pages tell and take them
	checkRoutes   struct{ *Server } // what is ticked off before and after a firing
	kilnRoutes    struct{ *Server } // kilns: what they do now, probes, shelves, the door sheet
	barRoutes     struct{ *Server } // bars, their readings, tables in and out
	clayRoutes    struct{ *Server } // clays, batches, rates, the class
	loadRoutes    struct{ *Server } // loads and packing lists
	measureRoutes struct{ *Server } // the pages on which many bars are measured
	lidRoutes     struct{ *Server } // lids, boards and sizes
	resultRoutes  struct{ *Server } // pot cards, and how lids sat
	studioRoutes  struct{ *Server } // the record itself: changes, notices, copies, settings
	homeRoutes    struct{ *Server } // the first page, a kiln's own, the cautions
	sessionRoutes struct{ *Server } // passcodes, language and units of a browser
)

// entry is one route: what is asked, whose passcode it takes, what it is among the routes, and what
// answers it.
type entry struct {
	pattern string // method and path, as net/http has it
	who     auth.Who
	class   class
	answers answering
}

// class is what the routes of one kind have in common.
type class struct {
	traffic string      // by which the metrics count it
	takes   web.Payload // of a request that changes something
	keeps   int         // which answers are kept ready (see answers): one of the constants below
}

const (
	keepsNone  = iota
	keepsNow   // a quarter of a second
	keepsClay  // as long as the record, the fit and the minute stand
	keepsCurve // the same, with room for curves
)

var (
	aForm = web.Payload{Kind: "application/x-www-form-urlencoded", Limit: 64 << 10}
	aJSON = web.Payload{Kind: "application/json", Limit: 64 << 10}
)

var (
	other      = class{traffic: "other", takes: aForm}
	webPage    = class{traffic: "page", takes: aForm}
	webForm    = webPage
	webFile    = class{traffic: "page", takes: aFile}
	read       = class{traffic: "api_read", takes: aJSON}
	readNow    = class{traffic: "api_read", takes: aJSON, keeps: keepsNow}
	readClay   = class{traffic: "api_read", takes: aJSON, keeps: keepsClay}
	readCurve  = class{traffic: "api_read", takes: aJSON, keeps: keepsCurve}
	streamed   = class{traffic: "stream", takes: aJSON}
	write      = class{traffic: "api_write", takes: aJSON}
	writeTable = class{traffic: "api_write", takes: web.Payload{Kind: "text/csv", Limit: delimited.MostBytes}}
)

// answering puts what answers a route in its place.
type answering func(s *Server, m *routes, a huma.API, e entry)

// op is an operation of the API under the house's own rules. Parameters are those that it reads itself.
func op[I, O any](id string, f func(context.Context, *I) (*O, error), summary string,
	parameters ...*huma.Param) answering {
	return func(s *Server, _ *routes, a huma.API, e entry) {
		method, path, _ := strings.Cut(e.pattern, " ")
		operation(a, s, method, path, id, summary, f, parameters...)
	}
}

// documented is an operation that describes itself.
func documented[I, O any](described huma.Operation, f func(context.Context, *I) (*O, error)) answering {
	return func(s *Server, _ *routes, a huma.API, _ entry) {
		huma.Register(a, described, problems(&s.troubles, f))
	}
}

// shown is a page; what goes wrong is a page too.
func shown(f func(http.ResponseWriter, *http.Request) error) answering {
	return func(s *Server, m *routes, _ huma.API, e entry) {
		m.HandleFunc(e.pattern, func(w http.ResponseWriter, r *http.Request) {
			err := s.refusedForms(w, r, f)
			switch accept := r.Header.Get("Accept"); {
			case err == nil:
			case strings.Contains(accept, "text/csv") && !strings.Contains(accept, "text/html"): // no browser
				web.WriteProblem(w, r, s.troubles.Problem(r.Context(), err))
			default:
				s.problemPage(w, r, s.troubles.Problem(r.Context(), err))
			}
		})
	}
}

// plain is a handler that does all by itself.
func plain(h http.HandlerFunc) answering {
	return func(_ *Server, m *routes, _ huma.API, e entry) { m.Handle(e.pattern, h) }
}

// Whose passcode a route takes.
const (
	Anyone = auth.Anyone
	Bench  = auth.Bench
	Owner  = auth.Owner
	// reads stands for what reading needs: no passcode or the bench's, as the settings say.
	reads auth.Who = -1
)

// needed is whose passcode a route asks for.
func (e *entry) needed(readingOpen bool) auth.Who {
	switch {
	case e.who != reads:
		return e.who
	case readingOpen:
		return Anyone
	}
	return Bench
}

type routeKey struct{}

// asked finds the route that a request takes, for all that stands before it.
func (s *Server) asked(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		e := s.routeAt(r)
		next.ServeHTTP(w, r.WithContext(context.WithValue(r.Context(), routeKey{}, e)))
	})
}

func (s *Server) routeAt(r *http.Request) *entry {
	_, pattern := s.mux.Handler(r)
	if e, ok := s.table[pattern]; ok {
		return e
	}
	e := nowhere(r)
	if strings.Contains(pattern, " ") { // a route that the table forgot is the owner's alone
		e.pattern, e.who = pattern, Owner
	}
	return &e
}

// nowhere is what a request takes for which there is no route: what answers it says so and keeps nothing.
func nowhere(r *http.Request) entry {
	e := entry{who: Anyone, class: webPage}
	if web.IsAPI(r.URL.Path) {
		e.class = map[bool]class{false: read, true: write}[web.Unsafe(r.Method)]
	}
	return e
}

// routeOf is the route that a request takes.
func routeOf(r *http.Request) *entry { return r.Context().Value(routeKey{}).(*entry) }

// already answers in its place by itself.
func already(*Server, *routes, huma.API, entry) {}

// routes is every route but the one of what no route takes.
func (s *Server) routes() []entry {
	return slices.Concat(s.apiTable(), s.kilnTable(), s.loadTable(), peopleTable(s), s.pageTable())
}

// apiTable is every other route for other programs.
func (s *Server) apiTable() []entry {
	bars, clays, firings, kilns := barRoutes{s}, clayRoutes{s}, firingRoutes{s}, kilnRoutes{s}
	lids, results, studio := lidRoutes{s}, resultRoutes{s}, studioRoutes{s}
	session := sessionRoutes{s}
	return []entry{
		// What the kilns do, and what they did.
		{"GET /v1/now", reads, readNow, op("now", kilns.getNow,
			"What every kiln does now")},
		{"GET /v1/now/{kiln}", reads, readNow, op("kiln-now", kilns.getKilnNow,
			"What one kiln does now")},
		{"GET /v1/lines", reads, read, op("lines", kilns.getLines,
			"What the serial lines received in the last minute, in words and figures")},
		{"GET /v1/firings", reads, read, op("list-firings", firings.getFirings,
			"Firings, newest first")},
		{"GET /v1/firings/{id}", reads, read, op("get-firing", firings.getFiring,
			"One firing")},
		{"GET /v1/firings/{id}/curve", reads, readCurve, op("get-curve", firings.getCurve,
			"Its curve: lowest and highest of each step")},
		{"PUT /v1/firings/{id}", Bench, write, op("put-firing", firings.putFiring,
			"Say kind, atmosphere, status or note of a firing; or keep one by hand")},
		{"PUT /v1/firings/{id}/cones/{cone}", Bench, write, op("put-cone", firings.putCone,
			"A witness cone as it stood at unloading")},
		{"PUT /v1/firings/{id}/cones/{cone}/strike", Bench, write, op("strike-cone", firings.strikeCone,
			"Cross a cone out; it stays to be seen")},
		{"PUT /v1/firings/{id}/notes/{note}", Bench, write, op("put-note", firings.putNote,
			"A note or an incident of a firing")},
		{"PUT /v1/firings/{id}/notes/{note}/strike", Bench, write, op("strike-note", firings.strikeNote,
			"Cross a note out; it stays to be seen")},
		{"PUT /v1/firings/{id}/begin", Bench, write, op("begin-firing", firings.beginFiring,
			"Begin a firing at once: recording alone, nothing is sent to a kiln")},
		{"PUT /v1/firings/{id}/stop", Bench, write, op("stop-firing", firings.stopFiring,
			"Stop recording a firing: recording alone, the kiln goes on as it will")},
		{"DELETE /v1/firings/{id}/stop", Bench, write, op("go-on-firing", firings.goOn,
			"Within ten minutes: take back that its record was stopped; it goes on as if it never had been")},
		{"GET /v1/compare", reads, read, op("compare", firings.getCompare,
			"Up to four firings laid over one another, and how they differ in a sentence")},
		{"GET /v1/trend", reads, read, op("trend", firings.getTrend,
			"How the firings of a kiln changed over the year")},
		// Clays.
		{"GET /v1/clays", reads, read, op("list-clays", clays.getClays,
			"Clays with their batches")},
		{"GET /v1/clays/{clay}", reads, read, op("get-clay", clays.getClay,
			"One clay")},
		{"PUT /v1/clays/{clay}", Owner, write, op("put-clay", clays.putClay,
			"Keep a clay; a new one gets batch A")},
		{"PUT /v1/clays/{clay}/batches/{batch}", Owner, write, op("put-batch", clays.putBatch,
			"Keep a batch of a clay")},
		{"GET /v1/firings/{id}/ticks", reads, read, op("firing-ticks", checkRoutes{s}.getFiringTicks,
			"The check list of a firing, with what was ticked on its load")},
		{"PUT /v1/firings/{id}/ticks/{tick}", Bench, write, op("tick-firing", checkRoutes{s}.putFiringTick,
			"Tick a line of the check list of a firing, or take the tick back")},
		{"PUT /v1/makers/{mark}/forget", Owner, write, op("forget-maker", studio.forgetMaker,
			"Blank a maker's mark everywhere; what was measured stays")},
		// Bars and what was measured on them.
		{"GET /v1/bars", reads, read, op("list-bars", bars.getBars,
			"Bars by code")},
		{"GET /v1/bars/free-codes", reads, read, op("free-codes", bars.getFreeCodes,
			"Codes to scratch into new bars")},
		{"GET /v1/bars/{bar}", reads, read, op("get-bar", bars.getBar,
			"One bar with its readings, struck ones too")},
		{"GET /v1/bars/{bar}/story", reads, read, op("bar-story", bars.getStory,
			"All that happened to a bar, in order: who read and struck what, loads, firings, and what it did to the rate")},
		{"PUT /v1/bars/{bar}", Bench, write, op("put-bar", bars.putBar,
			"Keep a bar")},
		{"PUT /v1/bars/{bar}/flags", Bench, write, op("flag-bar", bars.putFlags,
			"Say all that is wrong with a bar: a flagged one is in no rate and is not waited for; an empty list lets it count again")},
		{"PUT /v1/bars/{bar}/readings/{id}", Bench, write, op("put-reading", bars.putReading,
			"Keep a reading for good; it confirms an earlier one of the same bar, stage and marks that is not confirmed, if both agree within 2 sds of one reading (0.4 mm by calliper, 1 mm by rule)")},
		{"PUT /v1/bars/{bar}/readings/{id}/firing", Bench, write, op("tell-firing", bars.putWhich,
			"Say which firing a bisque or fired length came out of, or what cone that reached; said again, the last answer stands")},
		{"PUT /v1/bars/{bar}/readings/{id}/strike", Bench, write,
			op("strike-reading", bars.readingAct(func(a usecase.Storage) act { return a.StrikeReading },
				true),
				"Cross a reading out; it stays to be seen")},
		{"PUT /v1/bars/{bar}/readings/{id}/confirm", Owner, write,
			op("confirm-reading", bars.readingAct(func(a usecase.Storage) act { return a.ConfirmReading },
				false),
				"Confirm a reading in a word, without a second reading")},
		{"PUT /v1/bars/{bar}/readings/{id}/count", Owner, write,
			op("count-reading", bars.readingAct(func(a usecase.Storage) act { return a.CountReading }, true),
				"Let a reading outside 0.72 to 1.01 into the fit")},
		// Pots, and how their lids sat.
		{"GET /v1/pots", reads, read, op("list-pots", results.getPots,
			"Pot cards found by mark, number, form or date, newest first")},
		{"GET /v1/pots/{id}", reads, read, op("get-pot", results.getPot,
			"One pot card")},
		{"PUT /v1/pots/{id}", Bench, write, op("put-pot", results.putPot,
			"Keep a pot card: the sizes of one pot, made at the wheel")},
		{"GET /v1/lid-results", reads, read, op("list-lid-results", results.getLidResults,
			"How lids sat: boards, tally, and what they taught")},
		{"PUT /v1/lid-results/{id}", Bench, write, op("put-lid-result", results.putLidResult,
			"Keep how the lids of one board sat")},
		{"PUT /v1/lid-results/{id}/strike", Bench, write, op("strike-lid-result", results.strikeLidResult,
			"Cross a board out; it stays to be seen")},
		// The answers.
		{"GET /v1/clays/{clay}/shrinkage", reads, readClay, op("shrinkage", clays.getShrinkage,
			"How much a clay shrinks, and how sure that is")},
		{"GET /v1/clays/{clay}/moves", reads, readClay, op("moves", clays.getMoves,
			"What moved a clay's rate, what it rests on, and what would sharpen it")},
		{"GET /v1/size", reads, read, op("size", lids.getSize,
			"Any fired length or capacity to wet, and back")},
		{"GET /v1/size/nest", reads, read, op("size-nest", lids.getNest,
			"How pots that stand in one another come out, the worst of it too")},
		{"GET /v1/size/shared", reads, read, op("size-shared", lids.getShared,
			"One lid for several pots: the play on the widest and the narrowest")},
		{"GET /v1/size/scale", reads, read, op("size-scale", lids.getScale,
			"A whole form made larger or smaller, by its capacity")},
		{"GET /v1/lid", reads, readClay, op("lid", lids.getLid,
			"How wide to throw a lid so that it fits its fired gallery", inDocument(ofLid)...)},
		{"GET /v1/lids/board", reads, readClay, op("board", lids.getBoard,
			"Lids for a whole board: sizes and counts, or which measured lid goes with which pot",
			inDocument(ofBoard)...)},
		{"POST /v1/lids/board", reads, write, op("ask-board", lids.postBoard,
			"The same asked with a JSON body; keeps nothing")},
		// What was crossed out, and back.
		{"GET /v1/crossed-out", reads, read, op("list-crossed-out", studio.getCrossedOut,
			"What was crossed out lately and nobody restored, newest first")},
		{"POST /v1/crossed-out/{kind}/{id}/restore", Bench, write,
			op("restore-crossed-out", studio.postRestore,
				"Restore a thing that was crossed out: it counts as before")},
		// What was said, in order, for whoever follows.
		{"GET /v1/site", reads, read, op("site", studio.getSite,
			"The record: its name, its life, its newest change")},
		{"GET /v1/changes", reads, streamed, op("changes", studio.getChanges,
			"What was said after a number; waits for something new where asked to")},
		{"GET /v1/stream", reads, streamed, documented(streamOperation, studio.getStream)},
		// Copies of everything.
		{"GET /v1/copies", reads, read, op("list-copies", studio.getCopies,
			"Copies of the store, newest first")},
		{"POST /v1/copies", Owner, write, op("make-copy", studio.postCopy,
			"Make a copy now, unless the newest has everything")},
		{"POST /v1/copies/renew", Owner, write, op("renew-copies", studio.renewCopies,
			"Take the marks of forgotten makers out of the copies that still have them")},
		{"GET /v1/collector", Owner, read, op("collector", studio.getCollector,
			"How this studio stands to a collector")},
		{"POST /v1/collector", Owner, write, op("join-collector", studio.postCollector,
			"Join a collector by a code; nothing is sent yet")},
		{"POST /v1/collector/purposes", Owner, write, op("set-collector-purposes", studio.postPurposes,
			"Say what may be sent to it")},
		{"POST /v1/collector/leave", Owner, write, op("leave-collector", studio.leaveCollector,
			"Leave it")},
		{"GET /v1/collector/bodies", Owner, read, op("list-bodies", studio.getBodies,
			"Clay bodies that the collector lists, asked of it now")},
		{"GET /v1/collector/clays", Owner, read, op("list-collector-clays", studio.getCollectorClays,
			"Which body each clay is, whether it may be told of, what was sent last, and what other studios tell")},
		{"PUT /v1/collector/clays/{clay}", Owner, write, op("put-collector-clay", studio.putCollectorClay,
			"Say which body a clay is, and whether what its bars tell may be sent")},
		// Messages to people.
		{"GET /v1/notices", reads, read, op("list-notices", studio.getNotices,
			"The newest notices and what came of them")},
		{"POST /v1/notices/test", Owner, write, op("test-notice", studio.testNotice,
			"Send a test notice to every receiver")},
		// Who may do it.
		{"POST /v1/session", Anyone, write, op("open-session", session.postSession,
			"Show the code once; a cookie stands for it from then on")},
		{"DELETE /v1/session", Anyone, write, op("end-session", session.deleteSession,
			"Forget the code in this browser")},
		{"POST /v1/import", Owner, writeTable, plain(bars.postImport)},
		{"POST /v1/firings/{id}/curve", Owner, writeTable, plain(firings.postOldLog)},
		// The document of all these, which huma answers.
		{"GET /v1/openapi.json", reads, read, already},
		{"GET /v1/openapi-3.0.json", reads, read, already},
		{"GET /v1/openapi.yaml", reads, read, already},
		{"GET /v1/openapi-3.0.yaml", reads, read, already},
		// For whoever watches over the daemon.
		{"GET /healthz", Anyone, other, plain(studio.healthz)},
		{"GET /readyz", Anyone, other, plain(studio.readyz)},
		{"GET /metrics", reads, other, plain(s.metrics.Handler().ServeHTTP)},
	}
}

// kilnTable is every route about kilns themselves: which there are, their probes, what is usual, for other
// programs and as pages.
func (s *Server) kilnTable() []entry {
	kilns := kilnRoutes{s}
	return []entry{
		{"GET /v1/kilns", reads, read, op("list-kilns", kilns.getKilns,
			"Every kiln of the settings or added by hand, by name; and those of the record that are neither")},
		{"GET /v1/kilns/{kiln}", reads, read, op("get-kiln", kilns.getKiln,
			"A kiln with its probes, what the cones told of them, and what is usual")},
		{"PUT /v1/kilns/{kiln}", Owner, write, op("put-kiln", kilns.putKiln,
			"Add a kiln without a line; one that the settings name too stays as they have it, field by field")},
		{"POST /v1/kilns/{kiln}/rename", Owner, write, op("rename-kiln", kilns.renameKiln,
			"Say which name a kiln has now that the settings no longer have: all that was recorded of it goes along")},
		{"PUT /v1/kilns/{kiln}/usual/{usual}", Owner, write, op("say-usual", kilns.putUsual,
			"Pin a usual firing by hand, release it, or say whether the last firings are a new usual or a second one")},
		{"GET /v1/kilns/{kiln}/shelves", reads, read, op("kiln-shelves", kilns.getShelves,
			"How much the shelves of a kiln differ, by the bars, and where to pack a pot and its lid")},
		{"PUT /v1/kilns/{kiln}/probes/{probe}", Owner, write, op("put-probe", kilns.putProbe,
			"The life of a thermocouple: a new one has nothing of what the cones told of the old one")},
		{"PUT /v1/kilns/{kiln}/keep-shut", Owner, write, op("put-keep-shut", kilns.putKeepShut,
			"Keep the kiln shut above a temperature of the site's own, with its reason")},
		{"GET /kilns", reads, webPage, shown(kilns.kilnsPage)},
		{"POST /kilns", Owner, webForm, shown(kilns.postKiln)},
		{"POST /kilns/{kiln}/rename", Owner, webForm, shown(kilns.postRename)},
		{"POST /kilns/{kiln}/usual", Owner, webForm, shown(kilns.postUsual)},
		{"GET /door/{kiln}", reads, webPage, shown(kilns.doorPage)},
		{"POST /settings/{kiln}/mark", Owner, webForm, shown(kilns.postKeepShut)},
		{"POST /settings/{kiln}/probes", Owner, webForm, shown(kilns.postProbe)},
	}
}

// loadTable is every route about the loads that bars go through, for other programs and as pages.
func (s *Server) loadTable() []entry {
	loads, bars, checks := loadRoutes{s}, barRoutes{s}, checkRoutes{s}
	return []entry{
		{"GET /v1/loads", reads, read, op("list-loads", loads.getLoads,
			"Loads, newest first")},
		{"GET /v1/loads/{id}", reads, read, op("get-load", loads.getLoad,
			"One load")},
		{"PUT /v1/loads/{id}", Bench, write, op("put-load", loads.putLoad,
			"Keep a load: what is packed into a kiln")},
		{"POST /v1/loads/{id}/unpacked", Bench, write, op("unpack-load", loads.postUnpacked,
			"Say that a load is out of its kiln; asked back where the kiln is hot")},
		{"DELETE /v1/loads/{id}/unpacked", Bench, write, op("put-load-back", loads.deleteUnpacked,
			"Take back that a load was unpacked, or called off")},
		{"POST /v1/loads/{id}/called-off", Bench, write, op("call-load-off", loads.postCalledOff,
			"Say that nobody fired a load, and nobody will")},
		{"PUT /v1/loads/{id}/firings/{firing}", Bench, write, op("attach-load", loads.putLoadFiring,
			"Say that a load went, or goes, through a firing")},
		{"DELETE /v1/loads/{id}/firings/{firing}", Bench, write, op("detach-load", loads.deleteLoadFiring,
			"Say that a load did not go through a firing")},
		{"POST /v1/loads/{id}/move", Bench, write, op("move-bars", loads.postMove,
			"Move bars of a load into another, or into a new one; all of them: join the two")},
		{"GET /v1/loads/{id}/ticks", reads, read, op("load-ticks", checks.getLoadTicks,
			"The check list at the start of its firing")},
		{"PUT /v1/loads/{id}/ticks/{tick}", Bench, write, op("tick-load", checks.putLoadTick,
			"Tick a line of the check list, or take the tick back")},
		{"GET /load/{load}", reads, webPage, shown(loads.loadPage)},
		{"GET /bars/measure", reads, webPage, shown(measureRoutes{s}.measureRowPage)},
		{"GET /loads", reads, webPage, shown(loads.loadsPage)},
		{"POST /loads", Bench, webForm, shown(bars.postLoad)},
		{"POST /load/{load}/life", Bench, webForm, shown(loads.postLife)},
		{"POST /load/{load}/ticks", Bench, webForm, shown(checks.postTicks)},
		{"GET /load/{load}/packing", reads, webPage, shown(loads.packingPage)},
	}
}

// peopleTable is who may write, and whose marks the record has.
func peopleTable(s *Server) []entry {
	studio := studioRoutes{s}
	return []entry{
		{"GET /people", Owner, webPage, shown(studio.peoplePage)},
		{"POST /people/forget", Owner, webForm, shown(studio.postForget)},
		{"POST /people/renew", Owner, webForm, shown(studio.postRenew)},
	}
}

// pageTable is every other page, what its forms post, and the tables for a spreadsheet.
func (s *Server) pageTable() []entry {
	home, session := homeRoutes{s}, sessionRoutes{s}
	bars, clays, firings := barRoutes{s}, clayRoutes{s}, firingRoutes{s}
	lids, results, studio := lidRoutes{s}, resultRoutes{s}, studioRoutes{s}
	all := []entry{
		{"GET /{$}", reads, webPage, shown(home.homePage)},
		{"GET /kiln", reads, webPage, shown(home.kilnPage)},
		{"GET /wall", reads, webPage, shown(home.wallPage)},
		{"GET /wall/{kiln}", reads, webPage, shown(home.wallPage)},
		{"GET /kiln/{kiln}", reads, webPage, shown(home.kilnPage)},
		{"POST /kiln/{kiln}/begin", Bench, webForm, shown(firings.postBegin)},
		{"POST /kiln/{kiln}/stop", Bench, webForm, shown(firings.postStop)},
		{"GET /firing/{id}", reads, webPage, shown(firings.firingPage)},
		{"GET /firing/{id}/curve.svg", reads, webPage, shown(firings.firingCurveSVG)},
		{"POST /firing/{id}/cones", Bench, webForm, shown(firings.postCone)},
		{"POST /firing/{id}/cones/strike", Bench, webForm, shown(firings.firingForm(firings.formStrikeCone))},
		{"POST /firing/{id}/notes", Bench, webForm, shown(firings.firingForm(firings.formNote))},
		{"POST /firing/{id}/said", Bench, webForm, shown(firings.firingForm(firings.formSaid))},
		{"GET /by-hand", reads, webPage, shown(firings.byHandPage)},
		{"POST /by-hand", Bench, webForm, shown(firings.postByHand)},
		{"GET /compare", reads, webPage, shown(firings.comparePage)},
		{"GET /trend/{kiln}", reads, webPage, shown(firings.trendPage)},
		{"GET /bars", reads, webPage, shown(bars.barsPage)},
		{"GET /bars/all", reads, webPage, shown(bars.allBarsPage)},
		{"GET /import", Owner, webPage, shown(bars.importPage)},
		{"POST /import", Owner, webFile, shown(bars.postImportPage)},
		{"GET /bars/sheet", reads, webPage, shown(bars.barSheetPage)},
		{"GET /bars.csv", reads, webPage, shown(bars.barsCSV)},
		{"GET /readings.csv", reads, webPage, shown(bars.readingsCSV)},
		{"GET /bar/{bar}", reads, webPage, shown(bars.barPage)},
		{"GET /bar/{bar}/story", reads, webPage, shown(bars.storyPage)},
		{"POST /bar/{bar}", Bench, webForm, shown(bars.postReading)},
		{"POST /bar/{bar}/flags", Bench, webForm, shown(bars.postFlags)},
		{"POST /bar/{bar}/firing", Bench, webForm, shown(bars.postWhich)},
		{"POST /bar/{bar}/strike", Bench, webForm, shown(bars.postStrike)},
		{"POST /bar/{bar}/confirm", Owner, webForm, shown(bars.postConfirm)},
		{"POST /bar/{bar}/count", Owner, webForm, shown(bars.postCount)},
		{"GET /clays", reads, webPage, shown(bars.claysPage)},
		{"POST /clays", Owner, webForm, shown(bars.postClay)},
		{"GET /clay/{clay}/bag", reads, webPage, shown(clays.bagPage)},
		{"POST /clay/{clay}/bag", Owner, webForm, shown(clays.postBag)},
		{"GET /clay/{clay}", reads, webPage, shown(clays.clayPage)},
		{"POST /clay/{clay}/bars", Bench, webForm, shown(bars.postBars)},
		{"GET /lid", reads, webPage, shown(lids.lidPage)},
		{"GET /lid/board", reads, webPage, shown(lids.boardPage)},
		{"GET /class", Owner, webPage, shown(clays.classPage)},
		{"POST /class", Owner, webForm, shown(clays.postClass)},
		{"POST /class/restore", Owner, webForm, shown(clays.postClassRestore)},
		{"POST /class/bars", Owner, webForm, shown(clays.postClassBars)},
		{"GET /lid-results", reads, webPage, shown(results.lidResultsPage)},
		{"GET /lid-results/board", reads, webPage, shown(results.lidResultBoardPage)},
		{"POST /lid-results", Bench, webForm, shown(results.postLidResult)},
		{"POST /lid-results/{id}/strike", Bench, webForm, shown(results.postLidResultStrike)},
		{"GET /pots", reads, webPage, shown(results.potsPage)},
		{"POST /pots", Bench, webForm, shown(results.postPots)},
		{"GET /pot/{pot}", reads, webPage, shown(results.potPage)},
		{"POST /pot/{pot}/lid", Bench, webForm, shown(results.postPotLid)},
		{"GET /pot/{pot}/sheet", reads, webPage, shown(lids.sheetPage)},
		{"GET /sizes", reads, webPage, shown(lids.sizesPage)},
		{"GET /gauge", reads, webPage, shown(lids.printed(lids.drawGauge))},
		{"GET /gauge.svg", reads, webPage, shown(lids.printed(lids.drawGauge))},
		{"GET /rule", reads, webPage, shown(lids.printed(lids.drawRule))},
		{"GET /rule.svg", reads, webPage, shown(lids.printed(lids.drawRule))},
		{"GET /year", reads, webPage, shown(lids.yearPage)},
		{"GET /more", reads, webPage, shown(home.morePage)},
		{"GET /changed", reads, webPage, shown(home.changedPage)},
		{"GET /notices", reads, webPage, shown(studio.noticesPage)},
		{"GET /session", Anyone, webPage, shown(session.sessionPage)},
		{"POST /session", Anyone, webForm, shown(session.postSessionPage)},
		{"GET /settings", Owner, webPage, shown(studio.settingsPage)},
		{"GET /settings/collector", Owner, webPage, shown(studio.collectorPage)},
		{"POST /settings/collector", Owner, webForm, shown(studio.postCollectorPage)},
		{"POST /settings/test", Owner, webForm, shown(studio.testNoticePage)},
		{"GET /speak", Anyone, webPage, shown(session.speakPage)},
		{"POST /speak", Anyone, webForm, shown(session.postSpeak)},
		{"GET /help/safety", Anyone, webPage, shown(home.safetyPage)},
		{"GET /help/{topic}", Anyone, webPage, shown(home.helpTopicPage)},
		{"GET /problems/{type}", Anyone, webPage, shown(home.problemTypePage)},
		{"GET /help", Anyone, webPage, shown(home.helpPage)},
		{"GET /style.css", Anyone, other, plain(s.pages.ServeAsset("style.css", "text/css; charset=utf-8"))},
		{"GET /icon.svg", Anyone, other, plain(s.pages.ServeAsset("icon.svg", "image/svg+xml"))},
		{"GET /app.js", Anyone, other, plain(s.pages.ServeAsset("app.js", "text/javascript; charset=utf-8"))},
	}
	for _, t := range tables.All {
		all = append(all, entry{"GET /" + t.Name + ".csv", reads, webPage, shown(bars.tableOf(t))})
	}
	return all
}
