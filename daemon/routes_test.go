package daemon

import (
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"net/http/httputil"
	"net/url"
	"slices"
	"strings"
	"testing"

	"lidwright/api/apitest"
	"lidwright/kiln"
)

const (
	readingOf  = "/v1/bars/BQ7/readings/0193c0c1-0000-7000-8000-00000000000"
	aPot       = "0193c0c1-0000-7000-8000-0000000000a1"
	aLidResult = "0193c0c1-0000-7000-8000-0000000000a2"
	aLoad      = "0193c0c1-0000-7000-8000-0000000000a3"
	byHand     = "0193c0c1-0000-7000-8000-0000000000a4"
	begun      = "0193c0c1-0000-7000-8000-0000000000a5"
	rates      = "body_drying_ratio=0.06&body_firing_ratio=0.07"
)

// everyRoute is a request for each route, in an order in which each is answered well. F stands for
// a firing that a line heard.
var everyRoute = []struct{ method, address, body string }{
	// What is said.
	{"PUT", "/v1/clays/tern", `{"name":"Tern stoneware","matures_cone":"6"}`},
	{"PUT", "/v1/clays/tern/batches/B", `{"kind":"bought","open":true}`},
	{"PUT", "/v1/bars/BQ7", `{"id":"0193c0c1-0000-7000-8000-0000000000b7","clay":"tern","batch":"B","mark_length_mm":100,"marks":1}`},
	{"PUT", "/v1/bars/BQ4", `{"id":"0193c0c1-0000-7000-8000-0000000000b4","clay":"tern","batch":"B","mark_length_mm":100,"marks":1}`},
	{"PUT", "/v1/loads/" + aLoad, `{"kiln":"little-red","kind":"glaze","heat_work_c":1222,"bars":[{"bar":"BQ7","shelf":"top"}]}`},
	{"PUT", readingOf + "1", `{"stage":"wet","length":"100"}`},
	{"PUT", readingOf + "2", `{"stage":"dry","length":"64"}`},
	{"PUT", readingOf + "2/confirm", `{}`},
	{"PUT", readingOf + "2/count", `{"why":"it bloated"}`},
	{"PUT", readingOf + "2/strike", `{"why":"another bar"}`},
	{"PUT", readingOf + "3", `{"stage":"dry","length":"94.2"}`},
	{"PUT", readingOf + "4", `{"stage":"fired","length":"87.5"}`},
	{"POST", "/v1/loads/" + aLoad + "/unpacked", `{}`},
	{"DELETE", "/v1/loads/" + aLoad + "/unpacked", ``},
	{"POST", "/v1/loads/" + aLoad + "/move", `{"bars":["BQ7"]}`},
	{"PUT", readingOf + "4/firing", `{"cone":"6"}`},
	{"PUT", "/v1/loads/0193c0c1-0000-7000-8000-0000000000d7", `{"kiln":"big-blue","kind":"glaze"}`},
	{"PUT", "/v1/loads/0193c0c1-0000-7000-8000-0000000000d7/firings/F", `{}`},
	{"DELETE", "/v1/loads/0193c0c1-0000-7000-8000-0000000000d7/firings/F", ``},
	{"POST", "/v1/loads/0193c0c1-0000-7000-8000-0000000000d7/called-off", `{}`},
	{"PUT", "/v1/bars/BQ4/flags", `{"flags":["bent"]}`},
	{"PUT", "/v1/pots/" + aPot, `{"form":"teapot","number":"212","collar_mm":[104.5],"opening_mm":92.5,"body":"tern/B","set_mm":102.5}`},
	{"PUT", "/v1/lid-results/" + aLidResult,
		`{"load":"` + aLoad + `","form":"teapot","body":"tern/B","counts":{"good":3,"tight":1}}`},
	{"PUT", "/v1/lid-results/" + aLidResult + "/strike", `{"why":"another board"}`},
	{"GET", "/v1/crossed-out", ""}, {"POST", "/v1/crossed-out/lid_result/" + aLidResult + "/restore",
		`{"by":"KT"}`},
	{"PUT", "/v1/firings/F", `{"note":"a windy day"}`},
	{"PUT", "/v1/firings/" + byHand, `{"source":"hand","kiln":"little-red","kind":"glaze","intended_cone":"6"}`},
	{"PUT", "/v1/firings/F/cones/0193c0c1-0000-7000-8000-0000000000c1",
		`{"cone":"6","shelf":"middle","tilt_deg":45}`},
	{"PUT", "/v1/firings/F/cones/0193c0c1-0000-7000-8000-0000000000c1/strike", `{"why":"it was a 5"}`},
	{"PUT", "/v1/firings/F/notes/0193c0c1-0000-7000-8000-0000000000d1", `{"text":"the damper stuck"}`},
	{"PUT", "/v1/firings/F/notes/0193c0c1-0000-7000-8000-0000000000d1/strike", `{"why":"the other kiln"}`},
	{"PUT", "/v1/kilns/big-blue/probes/0193c0c1-0000-7000-8000-0000000000e1",
		`{"type":"S","fitted_on":"2026-01-12"}`},
	{"PUT", "/v1/firings/" + begun + "/begin", `{"kiln":"big-blue","sure":true}`},
	{"PUT", "/v1/firings/" + begun + "/stop", `{"sure":true}`},
	{"DELETE", "/v1/firings/" + begun + "/stop", ``},
	{"POST", "/v1/lids/board", `{"galleries":[{"collar_mm":[100]},{"collar_mm":[101]},{"collar_mm":[102]},{"collar_mm":[103]},{"collar_mm":[104]},{"collar_mm":[105]},{"collar_mm":[106]},{"collar_mm":[107]}],"body_drying_ratio":0.06,"body_firing_ratio":0.07}`},
	{"POST", "/v1/collector", `{"url":"http://127.0.0.1:1","code":"KQ7T"}`},
	{"POST", "/v1/collector/purposes", `{"keep":true,"makers":false}`},
	{"POST", "/v1/collector/leave", `{"forget":false}`}, {"GET", "/v1/collector", ""},
	{"GET", "/v1/collector/clays", ""}, {"GET", "/v1/collector/bodies", ""},
	{"PUT", "/v1/collector/clays/tern", `{"body":"","send":false}`},
	{"POST", "/settings/collector", "do=leave"}, {"GET", "/settings/collector", ""},
	{"POST", "/v1/copies", `{}`}, {"POST", "/v1/copies/renew", `{}`},
	{"POST", "/v1/notices/test", ``},
	{"POST", "/v1/session", `{"code":""}`},
	{"DELETE", "/v1/session", ``},
	{"POST", "/v1/import?dry_run=true", "code,clay,batch,forming,unit,wet\nBQ3,tern,B,thrown_ring,mm,100\n"},
	{"PUT", "/v1/loads/" + aLoad + "/ticks/0193c0c1-0000-7000-8000-0000000000b1",
		`{"item":"caution-36","done":true}`},
	{"PUT", "/v1/firings/F/ticks/0193c0c1-0000-7000-8000-0000000000b2", `{"item":"caution-2","done":true}`},
	{"PUT", "/v1/makers/XY/forget", `{}`},
	{"POST", "/v1/firings/0193c0c1-0000-7000-8000-0000000000b3/curve?dry_run=true&kiln=little-red&kind=glaze&began_at=2026-01-13T18:00:00Z", "hours,temperature_c\n0,20\n1,100\n2,180\n3,260\n"},
	// Forms without script.
	{"POST", "/load/" + aLoad + "/ticks", "id=0193c0c1-0000-7000-8000-0000000000b5&caution-36=yes"},
	{"POST", "/load/" + aLoad + "/life", "do=unpacked&sure=yes"},
	{"POST", "/clays", "name=Wren+porcelain&matures_cone=6"},
	{"POST", "/clay/tern/bag", "batch=D&bars=0"},
	{"POST", "/clay/tern/bars", "batch=B&count=2&mark_length=100&forming=thrown_ring"},
	{"POST", "/loads", "id=0193c0c1-0000-7000-8000-0000000000a6&kiln=big-blue&kind=bisque&bars=BQ4&shelf=top"},
	{"POST", "/bar/BQ4", "id=0193c0c1-0000-7000-8000-0000000000f1&stage=wet&length=100"},
	{"POST", "/bar/BQ4", "id=0193c0c1-0000-7000-8000-0000000000f2&stage=dry&length=64&keep=yes"},
	{"POST", "/bar/BQ4/confirm", "reading=0193c0c1-0000-7000-8000-0000000000f2"},
	{"POST", "/bar/BQ4/count", "reading=0193c0c1-0000-7000-8000-0000000000f2&why=it+bloated"},
	{"POST", "/bar/BQ4/firing", "reading=0193c0c1-0000-7000-8000-0000000000f2&which=usual"},
	{"POST", "/bar/BQ4/flags", ""},
	{"POST", "/bar/BQ4/strike", "reading=0193c0c1-0000-7000-8000-0000000000f2&why=another+bar"},
	{"POST", "/import", "--x\nContent-Disposition: form-data; name=\"table\"\n\ncode,clay,batch,forming,unit,wet\nBQ3,tern,B,thrown_ring,mm,100\n--x--\n"},
	{"POST", "/firing/F/cones", "id=0193c0c1-0000-7000-8000-0000000000c2&cone=6&shelf=middle&stood=45"},
	{"POST", "/firing/F/cones/strike", "cone=0193c0c1-0000-7000-8000-0000000000c2&why=it+was+a+5"},
	{"POST", "/firing/F/notes", "id=0193c0c1-0000-7000-8000-0000000000d2&text=cold+night"},
	{"POST", "/firing/F/said", "kind=glaze"},
	{"POST", "/by-hand", "id=0193c0c1-0000-7000-8000-0000000000a7&kiln=little-red&kind=glaze&intended_cone=6"},
	{"POST", "/kiln/big-blue/begin", "sure=yes&id=0193c0c1-0000-7000-8000-0000000000a8"},
	{"POST", "/kiln/big-blue/stop", "sure=yes&firing=0193c0c1-0000-7000-8000-0000000000a8"},
	{"POST", "/pots", "id=0193c0c1-0000-7000-8000-0000000000a9&form=teapot&body=tern/B&seat=inset&galleries=104.5"},
	{"POST", "/pot/" + aPot + "/lid", "lid_mm=102.4"},
	{"POST", "/lid-results", "id=0193c0c1-0000-7000-8000-0000000000aa&load=" + aLoad +
		"&form=teapot&body=tern/B&good=3"},
	{"POST", "/lid-results/0193c0c1-0000-7000-8000-0000000000aa/strike", "why=another+board"},
	{"PUT", "/v1/kilns/shed", `{"fuel":"gas"}`}, {"POST", "/v1/kilns/shed/rename", `{"to":"barn"}`},
	{"PUT", "/v1/kilns/big-blue/usual/0193c0c1-0000-7000-8000-0000000000e7",
		`{"kind":"glaze","what":"pin","cone":"6"}`},
	{"POST", "/kilns/big-blue/usual", "id=0193c0c1-0000-7000-8000-0000000000e8&kind=glaze&what=release"},
	{"PUT", "/v1/kilns/big-blue/keep-shut",
		`{"id":"0193c0c1-0000-7000-8000-0000000000e2","keep_shut_above_c":80,"keep_shut_reason":"its maker's manual"}`},
	{"POST", "/settings/big-blue/mark", "id=0193c0c1-0000-7000-8000-0000000000e3&keep_shut_above_c=45"},
	{"POST", "/settings/big-blue/probes", "id=0193c0c1-0000-7000-8000-0000000000e4&channel=1&type=K&class=1&fitted_on=2026-01-13"},
	{"POST", "/kilns", "kiln=hut&fuel=wood"}, {"POST", "/kilns/hut/rename", "to=cabin"},
	{"POST", "/class/bars", "marks=KT+RO&clay=tern&practice=yes"},
	{"POST", "/class", "bar=BQ4&practice=yes"},
	{"POST", "/class/restore", "kind=lid_result&id=" + aLidResult},
	{"POST", "/session", "code="},
	{"POST", "/speak", "language=de&unit=32nds&clock=12"},
	{"POST", "/settings/test", ""}, {"GET", "/people", ""}, {"POST", "/people/forget", "mark=QX"},
	{"POST", "/people/renew", ""},
	// What is asked.
	{"GET", "/v1/now", ""}, {"GET", "/v1/now/big-blue", ""}, {"GET", "/v1/lines", ""},
	{"GET", "/v1/firings", ""}, {"GET", "/v1/firings/F", ""}, {"GET", "/v1/firings/F/curve", ""},
	{"GET", "/v1/compare?firings=F", ""}, {"GET", "/v1/trend?kiln=big-blue", ""}, {"GET", "/v1/kilns", ""},
	{"GET", "/v1/kilns/big-blue", ""}, {"GET", "/v1/kilns/big-blue/shelves", ""},
	{"GET", "/v1/clays", ""}, {"GET", "/v1/clays/tern", ""}, {"GET", "/v1/clays/tern/shrinkage", ""},
	{"GET", "/v1/clays/tern/moves", ""},
	{"GET", "/v1/loads", ""}, {"GET", "/v1/loads/" + aLoad, ""}, {"GET", "/v1/loads/" + aLoad + "/ticks", ""},
	{"GET", "/v1/firings/F/ticks", ""}, {"GET", "/load/" + aLoad + "/packing", ""}, {"GET", "/v1/bars", ""},
	{"GET", "/v1/bars/BQ7", ""}, {"GET", "/v1/bars/BQ7/story", ""}, {"GET", "/v1/bars/free-codes", ""},
	{"GET", "/v1/pots", ""}, {"GET", "/v1/pots/" + aPot, ""}, {"GET", "/v1/lid-results", ""},
	{"GET", "/v1/size?fired=100mm&drying_ratio=0.06&firing_ratio=0.07", ""},
	{"GET", "/v1/size/nest?outside=58&inside=54&outside=70&inside=65&clay=tern", ""},
	{"GET", "/v1/size/shared?collar=104&collar=105&lid=102&clay=tern", ""},
	{"GET", "/v1/size/scale?length=100&was_ml=900&fired_ml=1200", ""},
	{"GET", "/v1/lid?collar=104.5&" + rates, ""},
	{"GET", "/v1/lids/board?galleries=100%0A101%0A102%0A103%0A104%0A105%0A106%0A107&" + rates, ""},
	{"GET", "/v1/changes", ""}, {"GET", "/v1/site", ""}, {"GET", "/v1/stream", ""}, {"GET", "/v1/copies", ""},
	{"GET", "/v1/notices", ""}, {"GET", "/v1/openapi.json", ""}, {"GET", "/v1/openapi.yaml", ""},
	{"GET", "/v1/openapi-3.0.json", ""}, {"GET", "/v1/openapi-3.0.yaml", ""},
	{"GET", "/healthz", ""}, {"GET", "/readyz", ""}, {"GET", "/metrics", ""},
	{"GET", "/", ""}, {"GET", "/kiln", ""}, {"GET", "/kiln/big-blue", ""}, {"GET", "/wall", ""},
	{"GET", "/wall/big-blue", ""}, {"GET", "/firing/F/curve.svg?w=400&from=0&to=3600", ""},
	{"GET", "/firing/F", ""}, {"GET", "/by-hand", ""}, {"GET", "/compare?firing=F", ""},
	{"GET", "/trend/big-blue", ""},
	{"GET", "/kilns", ""}, {"GET", "/loads", ""}, {"GET", "/bars", ""},
	{"GET", "/bars/measure?codes=BQ7&stage=wet", ""}, {"GET", "/load/" + aLoad, ""}, {"GET", "/bars/all", ""},
	{"GET", "/import", ""}, {"GET", "/bars/sheet", ""}, {"GET", "/bars.csv", ""},
	{"GET", "/readings.csv", ""},
	{"GET", "/batches.csv", ""}, {"GET", "/clays.csv", ""}, {"GET", "/cones.csv", ""},
	{"GET", "/dips.csv", ""}, {"GET", "/firings.csv", ""}, {"GET", "/gaps.csv", ""},
	{"GET", "/load_bars.csv", ""}, {"GET", "/keep_shut.csv", ""}, {"GET", "/loads.csv", ""},
	{"GET", "/notes.csv", ""}, {"GET", "/pots.csv", ""}, {"GET", "/probes.csv", ""},
	{"GET", "/lid_results.csv", ""},
	{"GET", "/bar/BQ7", ""}, {"GET", "/bar/BQ7/story", ""},
	{"GET", "/clays", ""}, {"GET", "/clay/tern", ""}, {"GET", "/clay/tern/bag", ""},
	{"GET", "/lid?collar=104.5mm&" + rates, ""}, {"GET", "/lid/board", ""}, {"GET", "/lid-results", ""},
	{"GET", "/lid-results/board?load=" + aLoad, ""},
	{"GET", "/pots", ""}, {"GET", "/pot/" + aPot, ""}, {"GET", "/pot/" + aPot + "/sheet", ""},
	{"GET", "/sizes", ""}, {"GET", "/gauge?collar=104.5&opening=92.5&lid=102.5", ""},
	{"GET", "/gauge.svg?collar=104.5&opening=92.5&lid=102.5", ""},
	{"GET", "/rule?clay=tern", ""}, {"GET", "/rule.svg?clay=tern", ""}, {"GET", "/year", ""},
	{"GET", "/class?all=yes", ""}, {"GET", "/door/big-blue", ""}, {"GET", "/more", ""},
	{"GET", "/changed", ""}, {"GET", "/notices", ""}, {"GET", "/session", ""}, {"GET", "/speak", ""},
	{"GET", "/settings", ""},
	{"GET", "/help", ""}, {"GET", "/help/safety", ""}, {"GET", "/help/words", ""},
	{"GET", "/problems/out-of-range", ""}, {"GET", "/style.css", ""}, {"GET", "/app.js", ""},
	{"GET", "/icon.svg", ""},
}

// TestEveryRoute asks every route of a whole daemon for something that it answers well, holds the
// answers under /v1 against the document, and sees that everything that is read has an ETag, with
// which it is not sent twice. A route that is not in the table fails.
func TestEveryRoute(t *testing.T) {
	t.Parallel()
	b := newHeatBench(t)
	fired := string(b.fire(5, "20>600@150 >1120@180 >1222@60 h10 off", kiln.Glaze))
	b.d.handler()                       // done with the settings
	b.d.server.Access.WritesASecond = 0 // the table is longer than one address may write at once
	b.d.handler = b.d.server.Handler
	b.run()
	// begun by the button below
	b.d.samples <- kiln.Sample{Kiln: "big-blue", At: b.d.Now(), Values: []kiln.Value{{Channel: "1", T: 30}}}
	site, err := url.Parse(b.site)
	if err != nil {
		t.Fatal(err)
	}
	whole := httputil.NewSingleHostReverseProxy(site)
	document, err := apitest.Load(whole)
	if err != nil {
		t.Fatal(err)
	}
	held := document.Hold(t, whole)
	left, find := map[string]bool{}, http.NewServeMux()
	for _, pattern := range b.d.server.Routes() {
		if pattern != "/" {
			find.Handle(pattern, http.NotFoundHandler())
			left[pattern] = true
		}
	}
	routes, before := len(left), apitest.Answers.Load()
	for _, c := range everyRoute {
		send := func(method string, header ...string) (*http.Response, string) {
			r := httptest.NewRequest(method,
				"http://localhost"+strings.ReplaceAll(c.address, "F?", fired+"?"), strings.NewReader(c.body))
			r.URL.Path = strings.ReplaceAll(r.URL.Path, "/F", "/"+fired)
			r.URL.RawQuery = strings.ReplaceAll(r.URL.RawQuery, "=F", "="+fired)
			switch {
			case c.body == "":
			case c.address == "/import":
				r.Header.Set("Content-Type", "multipart/form-data; boundary=x")
			case strings.HasPrefix(c.address, "/v1/import"),
				c.method == "POST" && strings.Contains(c.address, "/curve"):
				r.Header.Set("Content-Type", "text/csv")
			case strings.HasPrefix(c.address, "/v1/"):
				r.Header.Set("Content-Type", "application/json")
			default:
				r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
			}
			for i := 0; i < len(header); i += 2 {
				r.Header.Set(header[i], header[i+1])
			}
			_, pattern := find.Handler(r)
			delete(left, pattern)
			w := httptest.NewRecorder()
			held.ServeHTTP(w, r)
			text, _ := io.ReadAll(w.Result().Body)
			return w.Result(), string(text)
		}
		if c.address == "/v1/stream" {
			if err := b.firstEvent(); err != nil {
				t.Error(err)
			}
			delete(left, "GET /v1/stream")
			continue
		}
		a, text := send(c.method)
		if want, is := refused[c.method+" "+c.address]; is && a.StatusCode == want {
			continue
		}
		if a.StatusCode >= 400 {
			t.Errorf("%s %s: %d %.300s", c.method, c.address, a.StatusCode, text)
			continue
		}
		if c.method != "GET" || a.StatusCode >= 300 {
			continue
		}
		tag := a.Header.Get("ETag")
		if tag == "" || a.Header.Get("Cache-Control") == "" {
			t.Errorf("%s: ETag %q, Cache-Control %q", c.address, tag, a.Header.Get("Cache-Control"))
		}
		if h, text := send("HEAD"); h.StatusCode != 200 || text != "" {
			t.Errorf("HEAD %s: %d, %d bytes", c.address, h.StatusCode, len(text))
		}
		if slices.Contains(neverTwiceTheSame, strings.Split(c.address, "?")[0]) {
			continue
		}
		for _, header := range []string{tag, `"x", W/` + strings.TrimPrefix(tag, "W/")} {
			n, text := send("GET", "If-None-Match", header)
			if n.StatusCode != 304 || n.Header.Get("ETag") != tag || text != "" ||
				n.Header.Get("Content-Type") != "" {
				t.Errorf("%s with If-None-Match: %d, ETag %q for %q, type %q, %d bytes", c.address,
					n.StatusCode, n.Header.Get("ETag"), tag, n.Header.Get("Content-Type"), len(text))
			}
		}
	}
	for pattern := range left {
		t.Errorf("no test asks %s: add it to the table", pattern)
	}
	t.Logf("%d of %d routes answered, %d answers held against the document's %d operations", routes-len(left),
		routes, apitest.Answers.Load()-before, document.Operations())
}

// neverTwiceTheSame are codes by chance, ids that a form makes for whoever fills it in, and what is
// measured at the moment of asking.
var neverTwiceTheSame = []string{"/v1/bars/free-codes", "/metrics", "/v1/copies",
	"/kiln", "/kiln/big-blue", "/firing/F", "/by-hand", "/bars", "/bars/measure", "/bar/BQ7",
	"/lid-results/board", "/pots", "/bars/sheet", "/settings"}

// refused are the requests of the table that this daemon, without codes and receivers, cannot answer
// well; TestSessions and TestNotices do.
var refused = map[string]int{"POST /v1/session": 401, "POST /v1/notices/test": 422,
	"POST /settings/test": 422, "POST /v1/collector": 422, "POST /v1/collector/purposes": 422,
	"GET /v1/collector/bodies": 422}

// firstEvent waits for the first line of the stream, which has no end.
func (b *heatBench) firstEvent() error {
	r, err := http.Get(b.site + "/v1/stream")
	if err != nil {
		return err
	}
	defer r.Body.Close()
	one := make([]byte, 1)
	if _, err := r.Body.Read(one); err != nil ||
		!strings.HasPrefix(r.Header.Get("Content-Type"), "text/event-stream") {
		return fmt.Errorf("the stream: %v, %s", err, r.Header.Get("Content-Type"))
	}
	return nil
}
