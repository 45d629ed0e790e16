package daemon

import (
	"context"
	_ "embed"
	"fmt"
	"net/http"
	"net/url"
	"os"
	"regexp"
	"slices"
	"strings"
	"sync"
	"testing"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/log"
	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/cdproto/runtime"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
)

// axeScript is axe-core 4.14.1 by Deque Systems, MPL-2.0: axe.min.js of the npm package axe-core as it is.
//
//go:embed testdata/axe.min.js
var axeScript string

//go:embed testdata/audit.js
var auditScript string

// fitsScript tells what does not fit at the width at which a page is shown.
//
//go:embed testdata/fits.js
var fitsScript string

// reader is somebody who looks at pages.
type reader struct {
	width, height int64
	language      string
	scheme        string // of colours at the load
	script        bool
}

func (r reader) String() string {
	return fmt.Sprintf("%d px, %s, %s, script %v", r.width, r.language, r.scheme, r.script)
}

// reading is a tab of a reader, who chose the language, and what the browser complained of since the last
// page.
type reading struct {
	*tab
	reader
	guard      sync.Mutex
	complaints []string
}

// read opens a tab for a reader with settings of its own.
func (s *studio) read(t testing.TB, browser context.Context, as reader) *reading {
	t.Helper()
	ctx, cancel := chromedp.NewContext(browser, chromedp.WithNewBrowserContext())
	t.Cleanup(cancel)
	p := &reading{tab: &tab{t, ctx, s.site}, reader: as}
	if err := chromedp.Do(ctx); err != nil {
		t.Fatalf("open a tab: %v", err)
	}
	p.do(chromedp.EmulateViewport(as.width, as.height))
	// as on a phone, where they lie over the page
	call(p.tab, emulation.SetScrollbarsHidden, emulation.SetScrollbarsHiddenParams{Hidden: true})
	p.media(as.scheme, "no-preference")
	unit, clock := "mm", "24"
	if as.language == "de" {
		unit, clock = "32nds", "12"
	}
	p.tab.open("/speak")
	for _, choice := range [][2]string{{"language", as.language}, {"unit", unit}, {"clock", clock}} {
		p.do(chromedp.Click(fmt.Sprintf("[name=%s][value='%s']", choice[0], choice[1])))
	}
	p.press("main button.go")
	if err := chromedp.Listen(ctx, p.hear); err != nil {
		t.Fatal(err)
	}
	return p
}

// open loads a page with its script or without.
func (p *reading) open(path string) {
	p.Helper()
	call(p.tab, emulation.SetScriptExecutionDisabled,
		emulation.SetScriptExecutionDisabledParams{Value: !p.script})
	p.tab.open(path)
}

// other is the scheme of colours that the page was not loaded in.
func (p *reading) other() string {
	return map[string]string{"light": "dark", "dark": "light"}[p.scheme]
}

// call gives the browser a command about the page.
func call[P, R any](p *tab, command cdp.Command[P, R], with P) {
	p.Helper()
	p.do(chromedp.Func(func(ctx context.Context, t *chromedp.Target) error {
		_, err := cdp.Call(ctx, t, command, with)
		return err
	}))
}

// hear keeps what the browser complains of: errors and warnings of scripts, what could not be loaded, what
// the content security policy (CSP Level 3) refused. A stream that ends with its page is no complaint.
func (p *reading) hear(event any) {
	wrong := ""
	switch e := event.(type) {
	case *runtime.EventExceptionThrown:
		wrong = "an exception: " + e.ExceptionDetails.Text
		if x := e.ExceptionDetails.Exception; x != nil {
			wrong += " " + x.Description
		}
	case *runtime.EventConsoleAPICalled:
		if e.Type == runtime.ConsoleAPICalledTypeError || e.Type == runtime.ConsoleAPICalledTypeWarning {
			wrong = fmt.Sprintf("the console: %s", e.Type)
			for _, a := range e.Args {
				wrong += fmt.Sprintf(" %s%s", a.Value, a.Description)
			}
		}
	case *log.EventEntryAdded:
		if e.Entry.Level == log.EntryLevelError || e.Entry.Level == log.EntryLevelWarning {
			wrong = fmt.Sprintf("the log: %s %s %s", e.Entry.Source, e.Entry.Text, e.Entry.URL)
		}
	case *network.EventLoadingFailed:
		if !e.Canceled {
			wrong = fmt.Sprintf("a %s could not be loaded: %s %s", e.Type, e.ErrorText, e.BlockedReason)
		}
	}
	if wrong != "" {
		p.guard.Lock()
		p.complaints = append(p.complaints, wrong)
		p.guard.Unlock()
	}
}

// complained gives the complaints and forgets them. That a page which is not there, or cannot be answered,
// comes with the status that says so is right.
func (p *reading) complained(path string) []string {
	p.guard.Lock()
	defer p.guard.Unlock()
	all := p.complaints
	p.complaints = nil
	return slices.DeleteFunc(all, func(c string) bool {
		return strings.Contains(c, "responded with a status of 4") && strings.HasSuffix(c, p.site+path)
	})
}

// axe runs rules of axe-core on the page: WCAG 2.2 A and AA and best practice, or one rule alone. The script
// is handed in by the debugger: the page's own policy for scripts stays as it is.
func (p *tab) axe(only string) []string {
	p.Helper()
	which := `{type: "tag", values: ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]}`
	if only != "" {
		which = fmt.Sprintf(`{type: "rule", values: [%q]}`, only)
	}
	if !evaluated[bool](p, `"axe" in window`) {
		evaluated[bool](p, axeScript+"; true")
	}
	return did(p, chromedp.Evaluate[[]string](fmt.Sprintf(`
		axe.run(document, {runOnly: %s, rules: {"target-size": {enabled: true}}, resultTypes: ["violations"]}).then(found => found.violations.flatMap(v =>
			v.nodes.map(n => v.id + ": " + n.html.replace(/\s+/g, " ").slice(0, 140) + ": " + (n.failureSummary || v.help).replace(/\s+/g, " "))))`,
		which), chromedp.EvalAwaitPromise))
}

// moved is how far the page moved while it was loaded (Layout Instability, WICG), up to a time, and what
// moved.
const moved = `new Promise(done => new PerformanceObserver(list => done(list.getEntries().filter(e => !e.hadRecentInput && e.startTime < %v).map(e =>
	"the page moved by " + e.value.toFixed(4) + ": " + e.sources.map(s => s.node?.outerHTML?.slice(0, 100)).join(", ")))).observe({type: "layout-shift", buffered: true}) || setTimeout(done, 50, []))`

// weighed is what a page, and what it and all that belongs to it, are over the line, bytes.
const weighed = `(() => { const [page] = performance.getEntriesByType("navigation"), parts = performance.getEntriesByType("resource").filter(e => !new URL(e.name).pathname.startsWith("/v1/"));
	return [page.encodedBodySize, parts.reduce((sum, e) => sum + e.encodedBodySize, page.encodedBodySize)]; })()`

// inOrder goes through the stops that were made by the key: each is after the one before it in the document,
// but for the first after the last.
const inOrder = `stops.flatMap((e, i) => i && e !== document.body && !e.matches(".skip") && !(stops[i - 1].compareDocumentPosition(e) & Node.DOCUMENT_POSITION_FOLLOWING) ? ["by keyboard out of order: " + e.outerHTML.slice(0, 100)] : [])`

// saveAtHand holds that the length of a bar is typed and kept without scrolling, over the navigation of a
// phone.
const saveAtHand = `[...document.querySelectorAll("form[data-bar] button.go")].filter(e => e.checkVisibility() && e.getBoundingClientRect().bottom + scrollY > innerHeight - 60).map(e => "Save lies at " + Math.round(e.getBoundingClientRect().bottom + scrollY))`

const onPaper = 718 // px: 190 mm of A4 at 96 dots to the inch

// examine asks everything at once of a page: it gives what is wrong, and in which of its looks.
func (p *reading) examine(path, english string) (wrong map[string][]string) {
	p.Helper()
	wrong = map[string][]string{}
	found := func(look string, all []string) {
		for _, w := range all {
			wrong[w] = append(wrong[w], strings.TrimSpace(p.language+" "+look))
		}
	}
	p.open(path)
	if b := evaluated[[]int](p.tab, weighed); b[0] > 25_000 || b[1] > 100_000 {
		found("", []string{fmt.Sprintf("page and first view weigh %d bytes, at most 25000 and 100000", b)})
	}
	if p.language == "de" {
		found("", evaluated[[]string](p.tab, english))
	}
	for _, contrast := range []string{"more", "no-preference"} {
		for _, scheme := range []string{p.other(), p.scheme} {
			p.media(scheme, contrast)
			found(scheme+", contrast "+contrast, evaluated[[]string](p.tab, auditScript))
		}
	}
	loaded := evaluated[float64](p.tab, "performance.now()")
	for _, width := range []int64{p.width, 390, 320, 195} {
		p.do(chromedp.EmulateViewport(width, p.height))
		found(fmt.Sprintf("at %d px", width), evaluated[[]string](p.tab, fitsScript))
	}
	if strings.HasPrefix(path, "/wall") {
		p.do(chromedp.EmulateViewport(1280, 720))
		found("at 1280 by 720", evaluated[[]string](p.tab,
			`document.documentElement.scrollHeight > innerHeight ? ["a wall that scrolls by " + (document.documentElement.scrollHeight - innerHeight)] : []`))
	}
	p.do(chromedp.EmulateViewport(p.width, p.height))
	found("", evaluated[[]string](p.tab, saveAtHand))
	// what follows needs time to pass
	call(p.tab, emulation.SetScriptExecutionDisabled, emulation.SetScriptExecutionDisabledParams{})
	found("", did(p.tab, chromedp.Evaluate[[]string](fmt.Sprintf(moved, loaded), chromedp.EvalAwaitPromise)))
	found(p.scheme, p.axe(""))
	if p.script { // colours are the same without one
		p.media(p.other(), "no-preference")
		found(p.other(), p.axe("color-contrast"))
		evaluated[bool](p.tab, `(document.activeElement.blur(), window.stops = [], true)`)
		for range 6 {
			p.do(chromedp.KeyEvent(kb.Tab))
			evaluated[bool](p.tab, `(stops.push(document.activeElement), true)`)
		}
		found("", evaluated[[]string](p.tab, inOrder))
	} else {
		p.do(chromedp.EmulateViewport(onPaper, p.height))
		call(p.tab, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Media: "print"})
		found("on paper", evaluated[[]string](p.tab, wrongOnPaper(onPaper)))
		p.do(chromedp.EmulateViewport(p.width, p.height))
	}
	p.media(p.scheme, "no-preference")
	found("", p.complained(path))
	return wrong
}

// kindsOfPage folds addresses that differ only in what they are of.
var kindsOfPage = regexp.MustCompile(`[0-9a-f]{8}-[0-9a-f-]{27}|(/bar/|/clay/)[A-Za-z347]+\b`)

func pageKind(path string) string {
	u, err := url.Parse(path)
	if err != nil {
		return path
	}
	kind := kindsOfPage.ReplaceAllString(u.Path, "${1}one")
	if strings.Contains(u.RawQuery, "just=1") || strings.Contains(u.RawQuery, "collar") ||
		strings.Contains(u.RawQuery, "galleries") {
		kind += "?" + regexp.MustCompile(`=[^&]*`).ReplaceAllString(u.RawQuery, "")
	}
	return kind
}

// walk has every kind of page looked at that can be reached from Home, and some that are asked for. It gives
// how many there were.
func (p *reading) walk(asked []string, look func(path string)) (pages int) {
	p.Helper()
	seen := map[string]bool{}
	for waiting := asked; len(waiting) > 0; waiting = waiting[1:] {
		path := waiting[0]
		if kind := pageKind(path); !seen[kind] {
			seen[kind] = true
			look(path)
			waiting = append(waiting, evaluated[[]string](p.tab,
				`[...document.querySelectorAll("a[href]")].filter(a => a.origin === location.origin && !a.download && !/^\/(v1\/|metrics)|\.csv|\.svg$/.test(a.pathname)).map(a => a.pathname + a.search)`)...)
		}
	}
	return len(seen)
}

// TestEveryPage has every page read on a phone in English and on a desk in German, in 32nds and without a
// script, and asks everything at once of it; in the soak by readers of all eight kinds.
func TestEveryPage(t *testing.T) {
	t.Parallel()
	s, browser := openWholeStudio(t, fastClock()), openBrowser(t)
	phone, german := reader{390, 844, "en", "light", true}, reader{1280, 900, "de", "dark", false}
	readers := []*reading{s.read(t, browser, phone), s.read(t, browser, german)}
	if os.Getenv("LIDWRIGHT_SOAK") != "" {
		for _, r := range []reader{{390, 844, "de", "light", true}, {390, 844, "en", "dark", false},
			{390, 844, "de", "dark", false},
			{1280, 900, "en", "light", true}, {1280, 900, "de", "light", true},
			{1280, 900, "en", "dark", false}} {
			readers = append(readers, s.read(t, browser, r))
		}
	}
	find, left := http.NewServeMux(), map[string]bool{}
	for _, pattern := range s.d.server.Routes() {
		page, get := strings.CutPrefix(pattern, "GET ")
		if get && !strings.HasPrefix(page, "/v1/") && !strings.Contains(page, ".") &&
			!slices.Contains([]string{"/metrics", "/healthz", "/readyz"}, page) {
			find.Handle(pattern, http.NotFoundHandler())
			left[pattern] = true
		}
	}
	var fired struct{ Items []struct{ ID string } }
	s.get("/v1/firings?limit=3", &fired)
	english := inEnglish(t)
	pages := readers[0].walk([]string{"/", "/lid?collar=104.5&opening=92.5&clay=tern",
		"/lid?collar=104.5&opening=92.5&clay=tern&just=1", "/lid?collar=xx&clay=tern",
		"/wall", "/bars?kiln=big-blue",
		"/compare?firing=" + fired.Items[1].ID + "&firing=" + fired.Items[2].ID, "/session", "/nothing-here",
		"/problems/no-such-page"}, func(path string) {
		r, _ := http.NewRequest("GET", path, nil)
		_, pattern := find.Handler(r)
		delete(left, pattern)
		for _, p := range readers {
			for w, looks := range p.examine(path, english) {
				t.Errorf("%s (%d px, %s: %s): %s", path, p.width, p.scheme,
					strings.Join(slices.Compact(looks), "; "), w)
			}
		}
	})
	for pattern := range left {
		t.Errorf("no page of %s was read", pattern)
	}
	t.Logf("%d pages, %d readers", pages, len(readers))
}
