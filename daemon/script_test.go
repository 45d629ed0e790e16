package daemon

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
)

// TestBarWaitsForTheNetwork types one bar on its own page with the network away, opens the page anew,
// and finds the reading kept once when the network is back.
func TestBarWaitsForTheNetwork(t *testing.T) {
	t.Parallel()
	s := openStudio(t, "", true)
	p := s.tab(t, openBrowser(t), 360, 740)
	codes := p.sevenBars(s)
	page := "/bar/" + codes[0]
	p.open(page)
	p.away(true)
	p.do(chromedp.SendKeys("form[data-bar] [name=length]", "99,8"),
		chromedp.Click(`form[data-bar] [name=stage][value=wet]`), chromedp.Click("form[data-bar] button.go"))
	p.until("the reading to wait", `document.querySelector(".waiting").innerText.includes("1 waiting")`)
	p.until("an empty field for the next",
		`document.querySelector("form[data-bar] [name=length]").value === ""`)
	p.show("state-offline-bar", false)
	p.away(false)
	p.open(page)
	p.until("the reading to be sent", `document.querySelector(".waiting").hidden`)
	var bar barAnswer
	s.get("/v1"+strings.Replace(page, "/bar/", "/bars/", 1), &bar)
	if len(bar.Readings) != 1 || bar.Readings[0].AsTyped != "99,8" || bar.Readings[0].Stage != "wet" {
		t.Errorf("kept: %+v", bar.Readings)
	}
	// With the network there the plain form goes out, and the server asks about what it does not believe.
	p.open(page)
	p.do(chromedp.SendKeys("form[data-bar] [name=length]", "9.4"),
		chromedp.Click(`form[data-bar] [name=stage][value=dry]`))
	p.press("form[data-bar] button.go")
	p.until("the question", `document.querySelector("main").innerText.includes("Nothing is kept yet")`)
}

// TestKeypad types a length with the big keys, and numbers that cannot be.
func TestKeypad(t *testing.T) {
	t.Parallel()
	s := openStudio(t, "", true)
	p := s.tab(t, openBrowser(t), 360, 740)
	p.open("/bar/BRD")
	p.do(chromedp.Click("button.quiet-key"))
	for _, key := range []string{"9", "4", "decimal point", "3", "7", "one back", "5"} {
		p.do(chromedp.Click(fmt.Sprintf(`.pad button[aria-label=%q]`, key)))
	}
	if typed := evaluated[string](p, `document.querySelector("input.length").value`); typed != "94.35" {
		t.Errorf("the keys typed %q", typed)
	}
	if low := evaluated[float64](p, `Math.min(...[...document.querySelectorAll(".pad button")].map(b => Math.min(b.offsetWidth, b.offsetHeight)))`); low < 56 {
		t.Errorf("a key is only %.0f px", low)
	}
	p.show("walk-keypad", false)
	p.checksNumbers()
}

// checksNumbers types numbers that cannot be into fields of a bar and of a lid, and leaves them.
func (p *tab) checksNumbers() {
	p.Helper()
	for _, c := range []struct{ page, field, typed, says string }{
		{"/bar/BRD", "dry_g", "20001", "Must lie from 0 to 20000"},
		{"/bar/BRD", "dry_g", "100,5", ""},
		{"/lid", "play", "20,5", "Must lie from 0 to 20"},
		{"/lid", "play", "0,5", ""},
		{"/lid", "play", "1/16 in", ""}, // the server's to read
		{"/lid", "body_drying_ratio", "31%", "Must lie from 0 % to 20 %"},
		{"/lid", "body_drying_ratio", "6", ""},
		{"/lid", "mass_wet_g", "0", "Must lie from 1 to 20000"},
	} {
		p.open(c.page)
		says := evaluated[string](p, fmt.Sprintf(`(() => {
			const i = document.querySelector("input[name=%s][data-most]");
			i.value = %q;
			i.dispatchEvent(new Event("change", {bubbles: true}));
			const says = document.getElementById(i.getAttribute("aria-describedby"));
			return says && !says.hidden && i.ariaInvalid === "true" ? says.textContent : "";
		})()`, c.field, c.typed))
		if says = asRead(says); says != c.says {
			p.Errorf("%s in %s: %q, want %q", c.typed, c.field, says, c.says)
		}
	}
}

// TestReadOut reads the curve by keys and by the finger, and goes closer.
func TestReadOut(t *testing.T) {
	t.Parallel()
	s := openStudio(t, "", true)
	p := s.tab(t, openBrowser(t), 1280, 800)
	p.open("/kiln/big-blue")
	said := func() (hours, celsius float64) {
		text := strings.Map(func(r rune) rune {
			return map[bool]rune{true: ' ', false: r}[r == '\u00a0' ||
				r == '\u202f']
		}, p.text("output.read-out"))
		var h, m int
		if _, err := fmt.Sscanf(text, "%d h %d %f °C", &h, &m, &celsius); err != nil {
			t.Fatalf("the read-out says %q: %v", text, err)
		}
		return float64(h) + float64(m)/60, celsius
	}
	// the live figure stands alone
	if hint := p.text("output.read-out"); hint != "Point at the curve to read it" {
		t.Errorf("before anybody points at the curve: %q", hint)
	}
	// Two hours along the frame by the finger: the figure that the table has for that time.
	const svg = ".desk svg[data-frame]"
	frame := func() []string {
		return strings.Fields(evaluated[string](p, fmt.Sprintf(`document.querySelector(%q).dataset.frame`,
			svg)))
	}
	end, err := strconv.ParseFloat(frame()[8], 64) // s
	if err != nil {
		t.Fatal(err)
	}
	hours := end / 3600
	p.do(chromedp.ScrollIntoView(svg))
	evaluated[bool](p, fmt.Sprintf(`(() => { const s = document.querySelector(%q), [left, top, right, bottom, from, to] = s.dataset.frame.split(" ").map(Number);
		const at = new DOMPoint(left + (right - left) * (7200 - from) / (to - from), (top + bottom) / 2).matrixTransform(s.getScreenCTM());
		return s.dispatchEvent(new PointerEvent("pointermove", {clientX: at.x, clientY: at.y, bubbles: true})); })()`, svg))
	h2, c2 := said()
	if math.Abs(h2-2) > hours/50 {
		t.Errorf("two hours along: %.2f h", h2)
	}
	table := evaluated[[]string](p, `[...document.querySelectorAll("details table tr")].map(r => [...r.cells].map(c => c.textContent).join(" "))`)
	near := false
	for _, row := range table {
		f := strings.Fields(row)
		if len(f) < 3 {
			continue
		}
		at, err := strconv.ParseFloat(f[0], 64)
		high, err2 := strconv.ParseFloat(f[2], 64)
		near = near || err == nil && err2 == nil && math.Abs(at-h2) < 0.3 && math.Abs(high-c2) < 60
	}
	if !near {
		t.Errorf("at %.2f h the read-out says %.0f °C, the table nothing like it", h2, c2)
	}
	// At 150 °C/h to 600 and no slower to 1120, over the ten minutes before.
	var rate float64
	if _, after, found := strings.Cut(p.text("output.read-out"), "+"); !found {
		t.Errorf("no rate: %q", p.text("output.read-out"))
	} else if _, err := fmt.Sscan(after, &rate); err != nil || math.Abs(rate-150) > 15 {
		t.Errorf("two hours along it climbs by %.0f °C/h, want 150: %v", rate, err)
	}
	p.do(chromedp.SendKeys(svg, kb.ArrowLeft))
	if h3, _ := said(); h3 >= h2 {
		t.Errorf("one step earlier than %.2f h: %.2f h", h2, h3)
	}
	// A part is drawn anew, the way back by the browser and by its button shows all again.
	whole := strings.Join(frame(), " ")
	shows := func(what, frame string, same bool) {
		p.until(what, fmt.Sprintf(`(document.querySelector(%q).dataset.frame === %q) === %v`, svg, frame,
			same))
	}
	p.do(chromedp.Click(`[data-zoom="in"]`))
	shows("a part of the curve", whole, false)
	part := frame()
	if from, _ := strconv.ParseFloat(part[4], 64); from <= 0 || part[8] != strings.Fields(whole)[8] {
		t.Errorf("the frame of a part is %v, of all %s", part, whole)
	}
	p.show("walk-kiln-closer", false)
	p.do(chromedp.Click(`[data-zoom="all"]`))
	shows("all of the curve", whole, true)
	p.do(chromedp.NavigateBack())
	shows("the part again", whole, false)
}
