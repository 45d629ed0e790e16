package daemon

import (
	"context"
	"fmt"
	"net/http"
	"os"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"
	"github.com/google/uuid"
)

// jobs are what a potter does, and how many taps that takes at most, on every screen, with a script or
// without. Each begins on Home unless from says otherwise. Signs that are typed and steps of counters are
// counted apart.
var jobs = []struct {
	name, from    string
	taps, screens int // at most; screens 0: as many as taps
	do            func(h *hand)
}{
	{"what a kiln does, and when it is below the temperature that it is kept shut above", "/", 0, 0,
		(*hand).looksAtKiln},
	{"a firing of a gas kiln is logged, its bars attached", "/by-hand", 9, 1, (*hand).logsFiring},
	{"seven fired bars", "/", 1, 0, (*hand).measuresSeven},
	{"a reading is corrected", "/", 3, 0, (*hand).corrects},
	{"a reading is corrected on the page of its bar", "/bar/BQP", 2, 0, (*hand).correctsOnBar},
	{"a lid for a wet gallery", "/", 1, 0, (*hand).sizesLid},
	{"a replacement from a pot card", "/", 3, 0, (*hand).replacesLid},
	{"a board of twelve", "/", 2, 0, (*hand).sizesBoard},
	{"how the lids of a board sat", "/", 2, 0, (*hand).tellsBoard},
	{"a new bag", "/", 2, 0, (*hand).opensBag},
	{"cards of a board of six pots", "/pots?new=yes", 1, 0, (*hand).writesCards},
}

// firstJobs are those of somebody who has nothing in the record yet.
var firstJobs = []struct {
	name string
	taps int
	do   func(h *hand)
}{
	{"a first lid, with rates that are known", 1, (*hand).firstLid},
	{"a first kiln, logged by hand", 2, (*hand).firstKiln},
}

// aKey is how long a key or a tap takes a person who is in no hurry.
const aKey = 250 * time.Millisecond

// manner is how somebody looks at pages.
type manner struct {
	name       string
	wide, high int64
	german     bool
	scheme     string
	noScript   bool
}

// hand does a job on a page as a hand does: it counts the taps, the signs typed, the steps of counters and
// the pages.
type hand struct {
	*tab
	manner
	s                          *studio
	taps, keys, steps, screens int
	codes                      []string // of bars that the firing of the gas kiln brought
}

// tap presses something, and waits for the page that follows where there is one.
func (h *hand) tap(selector string, follows bool) {
	h.Helper()
	h.taps++
	if follows {
		h.screens++
		h.press(selector)
		return
	}
	h.do(chromedp.Click(selector))
}

// choose takes one of a list: it is opened, and one is tapped.
func (h *hand) choose(selector, value string) {
	h.Helper()
	h.taps += 2
	h.do(chromedp.SetValue(selector, value))
}

func (h *hand) types(selector, text string) {
	h.Helper()
	h.keys += len(text)
	h.do(chromedp.SendKeys(selector, text))
}

// enter types into a field and presses Enter where no script answers what is typed. Then a page follows.
func (h *hand) enter(selector, text string) {
	h.Helper()
	if !h.noScript {
		h.types(selector, text)
		return
	}
	h.keys += len(text) + 1
	h.screens++
	h.follow("enter "+text, chromedp.SendKeys(selector, text+"\r"))
}

// onPad types on the number pad of the page and saves; without a script into its field.
func (h *hand) onPad(text string) {
	h.Helper()
	if h.noScript {
		h.types(".reading", text)
		h.keys++
		h.press(".pad .save")
		return
	}
	h.keys += h.tab.keys(text) + 1
	h.save()
}

// says is what stands there in the language of the pages.
func (h *hand) says(english, german string) string {
	if h.german {
		return german
	}
	return english
}

// number is a figure as the language writes it.
func (h *hand) number(text string) string {
	if h.german {
		return strings.ReplaceAll(text, ".", ",")
	}
	return text
}

// seen holds that something lies in the first view of a phone, over the navigation, with nobody scrolling.
func (h *hand) seen(what, selector string) {
	h.Helper()
	h.until(what+" in the first view", fmt.Sprintf(`(() => { const e = document.querySelector(%q), r = e?.getBoundingClientRect();
		return scrollY === 0 && !!e && e.checkVisibility() && r.height > 0 && r.top >= 0 && r.bottom <= innerHeight - 60; })()`, selector))
}

// audited holds the page as it is against the audit.
func (h *hand) audited(name string) {
	h.Helper()
	for _, wrong := range evaluated[[]string](h.tab, auditScript) {
		h.Errorf("%s: %s", name, wrong)
	}
	h.show("job-"+name+"-"+h.manner.name, false)
}

// inManner opens a tab in which pages look so.
func (s *studio) inManner(t testing.TB, browser context.Context, m manner) *hand {
	t.Helper()
	h := &hand{tab: s.tab(t, browser, m.wide, m.high), manner: m, s: s}
	h.media(m.scheme, "no-preference")
	h.speaks(m.german)
	if m.noScript {
		h.do(chromedp.Func(func(ctx context.Context, t *chromedp.Target) error {
			_, err := cdp.Call(ctx, t, emulation.SetScriptExecutionDisabled,
				emulation.SetScriptExecutionDisabledParams{Value: true})
			return err
		}))
	}
	return h
}

// speaks has the browser read German, or English.
func (p *tab) speaks(german bool) {
	p.Helper()
	p.open("/speak")
	p.do(chromedp.Click(fmt.Sprintf("[name=language][value=%s]", map[bool]string{true: "de",
		false: "en"}[german])))
	p.press("main button.go")
}

// manners are those in which every job is done: with LIDWRIGHT_SOAK the two between them too.
func manners() []manner {
	all := []manner{{"phone", 390, 844, false, "light", false}, {"desk-de", 1280, 900, true, "dark", true}}
	if os.Getenv("LIDWRIGHT_SOAK") != "" {
		all = append(all, manner{"phone-de", 390, 844, true, "dark", false},
			manner{"desk", 1280, 900, false, "light", false},
			manner{"phone-plain", 390, 844, false, "light", true})
	}
	return all
}

// TestJobs counts the taps of every job of the two tables, in each manner. What the pages weigh and how many
// sheets the prints fill is counted after that, for the studio is open.
func TestJobs(t *testing.T) {
	t.Parallel()
	s, browser := openWholeStudio(t, fastClock()), openBrowser(t)
	for _, m := range manners() {
		t.Run(m.name, func(t *testing.T) {
			h := s.inManner(t, browser, m)
			for _, j := range jobs {
				h.open(j.from)
				h.taps, h.keys, h.steps, h.screens = 0, 0, 0, 0
				j.do(h)
				t.Logf("%s: %d taps of %d, %d signs, %d steps, %d pages", j.name, h.taps, j.taps,
					h.keys, h.steps, h.screens)
				if h.taps > j.taps || j.screens > 0 && h.screens > j.screens {
					t.Errorf("%s takes %d taps and %d pages, at most %d and %d", j.name, h.taps,
						h.screens, j.taps, j.screens)
				}
			}
		})
	}
	for _, path := range pagesAsked {
		if n := len(fetch(t, http.DefaultClient, s.site+path)); n > 25_000 {
			t.Errorf("%s is %d bytes over the line, at most 25000", path, n)
		}
	}
	t.Run("prints", func(t *testing.T) { s.printsFit(t, browser) })
	for _, m := range manners() {
		t.Run("first-"+m.name, func(t *testing.T) {
			empty := openStudio(t, "", false)
			h := empty.inManner(t, browser, m)
			for _, j := range firstJobs {
				h.open("/")
				h.taps, h.keys = 0, 0
				j.do(h)
				t.Logf("%s: %d taps of %d, %d signs", j.name, h.taps, j.taps, h.keys)
				if h.taps > j.taps {
					t.Errorf("%s takes %d taps, at most %d", j.name, h.taps, j.taps)
				}
			}
		})
	}
}

func (h *hand) looksAtKiln() {
	const card = `.kiln[data-kiln="big-blue"] `
	for _, part := range []string{"[data-live=state]", "[data-live=temperature]", ".sentence"} {
		h.seen(part, card+part)
	}
	if said := h.text(card + ".sentence"); !strings.Contains(said, h.says("below 50 °C about",
		"unter 50 °C gegen")) {
		h.Errorf("when it is cool: %q", said)
	}
	h.audited("home")
}

// logsFiring logs a glaze firing of a kiln that nobody hears, with seven bars that nobody packed into a load.
func (h *hand) logsFiring() {
	if got, said := h.s.send(http.MethodPut, "/v1/kilns/gas-kiln", map[string]any{}); got >= 300 {
		h.Fatalf("a kiln without a line: %d %s", got, said)
	}
	var free struct{ Items []string }
	h.s.get("/v1/bars/free-codes?count=7", &free)
	h.codes = free.Items
	for _, code := range h.codes {
		got, said := h.s.send(http.MethodPut, "/v1/bars/"+code, map[string]any{"id": uuid.NewString(),
			"clay": "tern", "batch": "D", "forming": "thrown_ring"})
		if got == 201 {
			got, said = h.s.send(http.MethodPut, "/v1/bars/"+code+"/readings/"+uuid.NewString(),
				map[string]any{"stage": "wet", "length": "100.0"})
		}
		if got != 201 {
			h.Fatalf("bar %s: %d %s", code, got, said)
		}
	}
	h.open("/by-hand")
	h.choose("[name=kiln]", "gas-kiln")
	h.choose("[name=atmosphere]", "reduction")
	h.types("#bars", strings.Join(h.codes, " "))
	h.types("#intended_cone", "7")
	h.types("#cone_1", "7")
	h.choose("#stood_1", "60")
	h.audited("log-firing")
	h.tap(`form[action="/by-hand"] button`, true)
	for _, code := range h.codes {
		var b struct{ Firings []struct{ Kiln string } }
		if h.s.get("/v1/bars/"+code, &b); len(b.Firings) != 1 || b.Firings[0].Kiln != "gas-kiln" {
			h.Errorf("%s went through %+v", code, b.Firings)
		}
	}
}

// measuresSeven measures the bars that came out of the gas kiln, each as it lies at hand.
func (h *hand) measuresSeven() {
	h.tap(fmt.Sprintf(`:is(section, li):has(> .five > .chip[href$="#%s"]) a.btn`, h.codes[0]), true)
	h.seen("Save", ".pad .save")
	for i := range h.codes {
		code := h.atHand()
		h.onPad(h.number(fmt.Sprintf("87.%d", 61+i)))
		h.until(code+" to be ticked", fmt.Sprintf(`!document.querySelector(".four") || document.querySelector('.four [data-bar=%q]').classList.contains("done")`, code))
	}
	h.until("all measured", `document.querySelector("main").innerText.includes("`+
		h.says("All bars of this load are measured", "Alle Stäbe dieser Ladung sind gemessen")+`")`)
	if n := h.s.readingsOf(h.codes); n != 14 {
		h.Errorf("%d lengths are kept of seven bars, want 14", n)
	}
	if takes := time.Duration(h.taps+h.keys) * aKey; takes > 45*time.Second {
		h.Errorf("at %s a key seven bars take %s, 45 s at most", aKey, takes)
	} else {
		h.Logf("seven bars at %s a key: %s", aKey, takes)
	}
}

// corrects types a length of a load that is being measured once more.
func (h *hand) corrects() {
	load := evaluated[string](h.tab, `document.querySelector('.kiln[data-kiln="little-red"] a.btn.wide').getAttribute("href")`)
	h.open(load)
	code := h.atHand()
	length := h.number(evaluated[string](h.tab, `parseFloat(document.querySelector(".four .chip[aria-current]").
		dataset.expected.replace(",", ".")).toFixed(1)`))
	h.onPad(length)
	h.until(code+" to be ticked", fmt.Sprintf(`document.querySelector('.four [data-bar=%q]').classList.contains("done")`, code))
	h.open("/")
	h.taps, h.keys, h.screens = 0, 0, 0
	h.tap(fmt.Sprintf(`a.btn[href=%q]`, load), true)
	h.tap(fmt.Sprintf(`.four [data-bar=%q]`, code), h.noScript)
	length += "5" // a twentieth of a millimetre more
	if h.noScript {
		h.types(".reading", length)
	} else {
		h.keys += h.tab.keys(length)
	}
	h.tap(".pad .save", h.noScript)
	h.until("the correction", fmt.Sprintf(`(document.querySelector("[data-last]") || {textContent: ""}).
		textContent.includes(%q)`, length))
	h.corrected(code, length)
}

// correctsOnBar does the same on the page of the bar, from one correction to the next.
func (h *hand) correctsOnBar() {
	var before barAnswer
	h.s.get("/v1/bars/BQP", &before)
	wet := slices.IndexFunc(before.Readings, func(r readingAnswer) bool {
		return r.Stage == "wet" && r.Struck == nil
	})
	h.tap(fmt.Sprintf(`a[href*="correct=%s"]`, before.Readings[wet].ID), true)
	length := h.number(fmt.Sprintf("100.%d", 1+len(before.Readings)%2))
	h.types("form[data-bar] [name=length]", length)
	h.tap("form[data-bar] button.go", true)
	h.corrected("BQP", length)
}

// corrected holds that the newest length of a bar is this one, and that it stands in the place of another.
func (h *hand) corrected(code, length string) {
	h.Helper()
	var b barAnswer
	h.s.get("/v1/bars/"+code, &b)
	struck := false // the one that stood before it
	for _, r := range b.Readings {
		struck = struck || r.Struck != nil
	}
	if last := b.Readings[len(b.Readings)-1]; last.AsTyped != length || last.Struck != nil || !struck {
		h.Errorf("after the correction to %s: %+v", length, b.Readings)
	}
}

func (h *hand) sizesLid() {
	h.tap(`nav a[href="/lid"]`, true)
	h.types("#collar", h.number("104.5"))
	h.enter("#opening", h.number("92.5"))
	h.until("an answer", `/^\d+[.,]\d/.test((document.querySelector(".answer .f7") || {innerText: ""}).innerText)`)
	for _, part := range []string{".answer .f7", ".answer .lim", ".answer .threel"} {
		h.seen(part, part)
	}
	h.audited("lid")
}

func (h *hand) replacesLid() {
	h.tap(`nav a[href="/pots"]`, true)
	h.tap(`[data-part=cards] li:first-child a`, true)
	h.seen("the gallery's field", "#collar")
	h.types("#collar", h.number("91.3"))
	h.tap(`form[action="/lid"] button`, true)
	h.seen("the width", ".answer .fig")
	h.audited("replacement")
}

func (h *hand) sizesBoard() {
	h.tap(`a.btn[href="/lid/board"]`, true)
	h.types("#opening", h.number("92.5"))
	var lines []string
	for i := range 12 {
		lines = append(lines, h.number(fmt.Sprintf("104.%d", i%7)))
	}
	if h.noScript {
		h.types("#galleries", strings.Join(lines, "\n"))
	} else {
		for i, line := range lines {
			h.keys += h.tab.keys(line)
			if i < 11 {
				h.do(chromedp.Click(".pad.lines .save"))
				h.keys++
			}
		}
		h.until("twelve pots", fmt.Sprintf(`document.querySelector("[data-lines]").innerText === %q`,
			h.says("12 pots", "12 Töpfe")))
	}
	h.tap("form.board button.go", true)
	if said := h.text("main"); !strings.Contains(said, h.says(" lids for 12 pots", " Deckel für 12 Töpfe")) {
		h.Errorf("the board: %.300s", said)
	}
	h.audited("board")
}

// tellsBoard tells how the lids of the board that waits sat: one tight, put right once, the rest good;
// without a script both are typed. It crosses that out in the end, so that the board waits for the next.
func (h *hand) tellsBoard() {
	h.tap(`a[href^="/lid-results/board?card="]`, true)
	h.audited("lid-results")
	h.seen("Save", "form button.go")
	all := evaluated[int](h.tab, `+document.querySelector("form[data-counts]").dataset.counts`)
	if h.noScript {
		h.types(".counts [name=tight]", "1")
		h.types(".counts [name=good]", fmt.Sprint(all-1))
	} else {
		for _, step := range []string{"1", "1", "-1"} {
			h.do(chromedp.Click(fmt.Sprintf(`.counts li:has([name=tight]) [data-step=%q]`, step)))
			h.steps++
		}
		h.until("the rest", fmt.Sprintf(`document.querySelector("[data-left]").innerText === %q`,
			h.says(fmt.Sprintf("%d of %d left", all-1, all), fmt.Sprintf("noch %d von %d", all-1, all))))
		h.do(chromedp.Click(`[data-rest]`))
		h.steps++
		h.until("all told", fmt.Sprintf(`document.querySelector("[data-left]").innerText === %q`,
			h.says("all told", "alle gezählt")))
	}
	h.tap("form button.go", true)
	if said := h.text("[role=status]"); !strings.Contains(said, fmt.Sprintf(h.says("1 tight, %d good",
		"1 eng, %d gut"), all-1)) {
		h.Errorf("kept as %q", said)
	}
	h.audited("lid-results-saved")
	var results struct{ Items []struct{ ID string } }
	h.s.get("/v1/lid-results?limit=1", &results)
	if got, said := h.s.send(http.MethodPut, "/v1/lid-results/"+results.Items[0].ID+"/strike",
		map[string]any{"why": "told again"}); got != 200 {
		h.Fatalf("crossed out: %d %s", got, said)
	}
}

func (h *hand) opensBag() {
	type bags struct {
		Batches []struct {
			Batch string
			Open  bool
		}
	}
	var before, after bags
	h.s.get("/v1/clays/tern", &before)
	h.tap(`a.btn[href$="/bag"]`, true)
	h.seen("Save", `form[action$="/bag"] button`)
	h.audited("new-bag")
	h.tap(`form[action$="/bag"] button`, true)
	h.s.get("/v1/clays/tern", &after)
	if n := len(after.Batches); n != len(before.Batches)+1 || !after.Batches[n-1].Open {
		h.Errorf("the bags of the clay that is used: %+v", after.Batches)
	}
}

// writesCards writes a card for each of six pots, as they stand at the wheel: numbers count on by themselves.
// What is typed then finds them without a tap.
func (h *hand) writesCards() {
	form := "bowl of " + h.manner.name
	h.types("#form", form)
	h.types("#collar", "84,5")
	h.types("#opening", "75")
	h.types("#count", "6")
	h.tap("#new form > p:last-child button", true)
	if said := h.text("[role=status]"); !strings.Contains(said, h.says("6 cards saved",
		"6 Karten gespeichert")) {
		h.Errorf("after saving: %q", said)
	}
	h.audited("pots")
	h.enter("#find", form)
	h.until("the cards of one form", `[...document.querySelectorAll("[data-part=cards] li")].length === 6`)
}

func (h *hand) firstLid() {
	h.seen("what this is", "#welcome")
	h.tap(`a.btn[href^="/lid"]`, true)
	h.types("#collar", h.number("104.5"))
	h.types("#opening", h.number("92.5"))
	h.types("#body_drying_ratio", "6")
	h.enter("#body_firing_ratio", "7")
	h.until("an answer", `/^\d+[.,]\d/.test((document.querySelector(".answer .f7") || {innerText: ""}).innerText)`)
	h.audited("first-lid")
}

func (h *hand) firstKiln() {
	h.tap(`a.btn[href="/kilns#add"]`, true)
	h.types("#kiln", "gas-kiln")
	h.tap("#add button", true)
	var kilns struct{ Items []struct{ Kiln string } }
	if h.s.get("/v1/kilns", &kilns); len(kilns.Items) != 1 {
		h.Errorf("kilns: %+v", kilns.Items)
	}
	h.open("/")
	if said := h.text("main"); !strings.Contains(said, h.says("There is one", "Einer ist da")) {
		h.Errorf("Home does not say that there is a kiln: %.300s", said)
	}
	h.audited("first-kiln")
}
