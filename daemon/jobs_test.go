package daemon

import (
	"fmt"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"
)

// hand does a job on a page as a hand does: it counts the taps, and the signs typed.
type hand struct {
	*tab
	taps, signs int
}

// tap presses something that is seen without scrolling, where top says so; it waits for the page that follows
// where there is one.
func (h *hand) tap(selector string, follows bool) {
	h.Helper()
	h.taps++
	if follows {
		h.press(selector)
		return
	}
	h.do(chromedp.Click(selector))
}

func (h *hand) types(selector, text string) {
	h.Helper()
	h.signs += len(text)
	h.do(chromedp.SendKeys(selector, text))
}

// seen reports whether all of an element lies in the first view of a phone, over the navigation.
func (h *hand) seen(selector string) bool {
	h.Helper()
	return evaluated[bool](h.tab, fmt.Sprintf(`(() => { const r = document.querySelector(%q).getBoundingClientRect(); return r.top >= 0 && r.bottom <= innerHeight - 60; })()`, selector))
}

func (h *hand) job(name string, most int) {
	h.Helper()
	h.Logf("%s: %d taps, %d signs", name, h.taps, h.signs)
	if h.taps > most {
		h.Errorf("%s takes %d taps, %d at most", name, h.taps, most)
	}
	h.taps, h.signs = 0, 0
}

// audited holds the page as it is against the audit.
func (h *hand) audited(name string) {
	h.Helper()
	for _, wrong := range evaluated[[]string](h.tab, auditScript) {
		h.Errorf("%s: %s", name, wrong)
	}
	h.show("job-"+name, false)
}

// TestJobsOfLids counts the taps of jobs about pots and lids on a phone: a new card, a lid for a fired pot,
// the lid results of a board.
func TestJobsOfLids(t *testing.T) {
	s := openStudio(t, "", true)
	h := &hand{tab: s.tab(t, openBrowser(t), 390, 844)}

	// A board of six, as it stands at the wheel: numbers count on by themselves.
	h.open("/pots?new=yes")
	h.types("#form", "sugar bowl")
	h.types("#collar", "84,5")
	h.types("#opening", "75")
	h.types("#count", "6")
	h.tap("#new form > p:last-child button", true)
	h.job("new cards", 1)
	if said := h.text("[role=status]"); !strings.Contains(said, "6 cards saved") {
		t.Errorf("after saving: %q", said)
	}
	h.audited("pots")
	// What is typed finds it, without a tap.
	h.types("#find", "sugar")
	h.until("the cards of one form", `[...document.querySelectorAll("[data-part=cards] li")].length === 6`)

	// A lid for a fired pot, from Home: Pots, the card, the gallery, the width.
	h.open("/")
	h.taps, h.signs = 0, 0
	h.tap(`nav a[href="/pots"]`, true)
	h.tap(`[data-part=cards] li:first-child a`, true)
	if !h.seen("#collar") {
		t.Error("the gallery's field is below the first view of a card")
	}
	h.audited("pot")
	h.types("#collar", "74.3")
	h.tap(`form[action="/lid"] button`, true)
	h.job("a lid for a fired pot", 3)
	if h.text(".answer .fig") == "" || !h.seen(".answer .fig") {
		t.Errorf("the width is not in the first view: %q", h.text("main"))
	}

	// How the lids of a board sat: the board that waits, its counters, Save.
	h.open("/lid-results")
	h.taps, h.signs = 0, 0
	h.tap(`a[href^="/lid-results/board?card="]`, true)
	h.audited("lid-results")
	if !h.seen("form button.go") {
		t.Error("Save is below the first view")
	}
	all := evaluated[int](h.tab, `+document.querySelector("form[data-counts]").dataset.counts`)
	steps := 0
	for range 2 {
		h.do(chromedp.Click(`.counts li:has([name=tight]) [data-step="1"]`))
		steps++
	}
	h.do(chromedp.Click(`.counts li:has([name=tight]) [data-step="-1"]`))
	steps++
	h.until("the rest", fmt.Sprintf(`document.querySelector("[data-left]").innerText === "%d of %d left"`,
		all-1, all))
	h.do(chromedp.Click(`[data-rest]`))
	steps++
	h.until("all told", `document.querySelector("[data-left]").innerText === "all told"`)
	h.tap("form button.go", true)
	t.Logf("%d steps", steps)
	h.job("lid results of a board", 2)
	if said := h.text("[role=status]"); !strings.Contains(said, fmt.Sprintf("1 tight, %d good", all-1)) {
		t.Errorf("kept as %q", said)
	}
	h.audited("lid-results-saved")
}
