package daemon

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/url"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/chromedp"
	"github.com/google/uuid"
)

// away takes the page's network away, or gives it back.
func (p *tab) away(offline bool) {
	p.Helper()
	p.do(chromedp.Func(func(ctx context.Context, t *chromedp.Target) error {
		_, err := cdp.Call(ctx, t, network.EmulateNetworkConditionsByRule,
			network.EmulateNetworkConditionsByRuleParams{MatchedNetworkConditions: []*network.Conditions{
				{Offline: offline, DownloadThroughput: -1, UploadThroughput: -1}}})
		return err
	}))
}

func (s *studio) get(path string, into any) {
	s.t.Helper()
	r, err := http.Get(s.site + path)
	if err != nil {
		s.t.Fatal(err)
	}
	defer r.Body.Close()
	if err := json.NewDecoder(r.Body).Decode(into); err != nil {
		s.t.Fatalf("GET %s: %v", path, err)
	}
}

// send sends a body with a method and gives the status.
func (s *studio) send(method, path string, body any) (int, string) {
	s.t.Helper()
	return s.sendBy(http.DefaultClient, method, path, body)
}

func (s *studio) sendBy(client *http.Client, method, path string, body any) (int, string) {
	s.t.Helper()
	b, _ := json.Marshal(body)
	req, _ := http.NewRequest(method, s.site+path, bytes.NewReader(b))
	req.Header.Set("Content-Type", "application/json")
	r, err := client.Do(req)
	if err != nil {
		s.t.Error(err)
		return 0, ""
	}
	defer r.Body.Close()
	answer, _ := io.ReadAll(r.Body)
	return r.StatusCode, string(answer)
}

type barAnswer struct {
	Bar      string
	Readings []readingAnswer
}

type readingAnswer struct {
	ID, Stage string
	AsTyped   string `json:"as_typed"`
	Unusual   bool
	Struck    *struct{}
}

// readingsOf is how many lengths of some bars are kept.
func (s *studio) readingsOf(codes []string) (n int) {
	s.t.Helper()
	for _, code := range codes {
		var b barAnswer
		s.get("/v1/bars/"+code, &b)
		n += len(b.Readings)
	}
	return n
}

// sevenBars makes seven bars and packs them for a bisque, on the pages.
func (p *tab) sevenBars(s *studio) (codes []string) {
	p.Helper()
	p.open("/clay/wren?make=yes")
	p.do(chromedp.SetValue(`form[action$="/bars"] [name=count]`, "7"))
	p.press(`form[action$="/bars"] button`)
	var bars struct{ Items []barAnswer }
	s.get("/v1/bars?clay=wren&limit=500", &bars)
	for _, b := range bars.Items {
		if len(b.Readings) == 0 {
			codes = append(codes, b.Bar)
		}
	}
	if len(codes) != 7 {
		p.Fatalf("bars made: %v", codes)
	}
	p.open("/bars")
	p.do(chromedp.Click("#pack summary"), chromedp.SetValue("#bars", strings.Join(codes, " ")),
		chromedp.Click("[name=kind][value=bisque]"))
	p.press(`form[action="/loads"] button`)
	return codes
}

// atHand is the code of the bar whose length is typed now.
func (p *tab) atHand() string {
	p.Helper()
	p.until("a bar at hand", `!!document.querySelector(".four .chip[aria-current]")`)
	return evaluated[string](p, `document.querySelector(".four .chip[aria-current]").dataset.bar`)
}

// keys presses the keys of the pad, a tap each, and gives how many taps it took.
func (p *tab) keys(text string) (taps int) {
	p.Helper()
	for _, key := range text {
		p.do(chromedp.Click(fmt.Sprintf(`.pad [data-key=%q]`, string(key))))
		taps++
	}
	return taps
}

func (p *tab) save() { p.Helper(); p.do(chromedp.Click(".pad .save")) }

// TestSevenBars measures seven bars on a phone: their wet marks in a row; then those of a load, in another
// order, with the network gone from the third bar on, a slip that is asked about in the display's place, one
// that only the server can refuse, and a page that is opened anew before the network is back.
func TestSevenBars(t *testing.T) {
	t.Parallel()
	s := openStudio(t, "", true)
	p := s.tab(t, openBrowser(t), 390, 844)
	codes := p.sevenBars(s)
	load := evaluated[string](p, "location.pathname") + "?measure=yes"
	p.measureWet(s, codes)

	p.open(load)
	p.do(chromedp.Click(fmt.Sprintf(`.four [data-bar=%q]`, codes[4]))) // bars come out in any order
	if at := p.atHand(); at != codes[4] {
		t.Fatalf("%s was tapped, and %s is at hand", codes[4], at)
	}
	p.show("walk-bars", false)
	typed := map[string]string{}
	began := time.Now()
	for i := range codes {
		if i == 2 {
			waitFor(t, "the first two to arrive", func() bool { return s.readingsOf(codes) == len(codes)+2 })
			p.until("an empty queue", `document.querySelector(".waiting").hidden`)
			p.away(true)
		}
		code := p.atHand()
		if typed[code] != "" {
			t.Fatalf("%s is at hand again", code)
		}
		length := fmt.Sprintf("93.%d", 66+i)
		switch i {
		case 3: // ten times too small: asked in place of the display, and typed again there
			p.keys("9.37")
			p.save()
			p.until("the question", `document.querySelector(".question").checkVisibility() && document.querySelector(".question").innerText.includes("expected")`)
			if p.atHand() != code {
				t.Errorf("the question is about %s, and %s is at hand", code, p.atHand())
			}
			if low := evaluated[float64](p,
				`document.querySelector(".question").getBoundingClientRect().bottom`); low > 844-60 {
				t.Errorf("the question ends at %.0f px, below the first view", low)
			}
			p.show("walk-bars-question", false)
			p.do(chromedp.Click("[data-again]"))
		case 6: // not to be read as a length: the server refuses it
			length = "94..2"
		}
		p.keys(length)
		p.save()
		typed[code] = length
		if i < 6 {
			p.until("the next bar", fmt.Sprintf(`document.querySelector(".four .chip[aria-current]").dataset.bar !== %q`, code))
		}
	}
	t.Logf("seven bars typed in %s", time.Since(began).Round(time.Millisecond))
	p.until("five that wait", `document.querySelector(".waiting").innerText.includes("5 waiting") && document.querySelector(".waiting").innerText.includes("keep this page open")`)
	for _, wrong := range evaluated[[]string](p, auditScript) {
		t.Errorf("with readings waiting: %s", wrong)
	}
	p.show("walk-bars-offline", false)
	if _, err := chromedp.Run(p.ctx, chromedp.Navigate(s.site+"/")); err == nil { // the open page is lost
		t.Error("a page comes without a network")
	}
	p.away(false)
	p.open(load) // all but the script's own store is gone
	p.until("one that is refused", `document.querySelector(".question").innerText.includes("cannot read")`)
	p.until("nothing that waits", `document.querySelector(".waiting").hidden`)
	p.show("walk-bars-refused", false)
	refused := ""
	for _, code := range codes {
		var b barAnswer
		s.get("/v1/bars/"+code, &b)
		switch kept := b.Readings[1:]; {
		case typed[code] == "94..2":
			refused = code
			if len(kept) != 0 {
				t.Errorf("%s: %+v", code, kept)
			}
		case len(kept) != 1 || kept[0].AsTyped != typed[code]:
			t.Errorf("%s was typed as %s; kept are %+v", code, typed[code], kept)
		}
	}
	if at := p.atHand(); at != refused {
		t.Errorf("refused was %s, and %s is at hand", refused, at)
	}
	p.do(chromedp.Click("[data-again]"))
	p.keys("93.7")
	p.save()
	p.until("all measured", `document.querySelector("main").innerText.includes("All bars of this load are measured")`)
	p.show("walk-bars-done", true)
	p.correctOne(s, codes[0])
}

// measureWet types the wet marks of a row of new bars on one page.
func (p *tab) measureWet(s *studio, codes []string) {
	p.Helper()
	p.open("/bars/measure?" + url.Values{"codes": {strings.Join(codes, " ")}, "stage": {"wet"}}.Encode())
	for range codes {
		code := p.atHand()
		p.keys("100")
		p.save()
		p.until(code+" to be ticked", fmt.Sprintf(`!document.querySelector(".four") || document.querySelector('.four [data-bar=%q]').classList.contains("done")`, code))
	}
	p.until("all wet marks", `document.querySelector("main").innerText.includes("All of these are measured")`)
	for _, code := range codes {
		var b barAnswer
		if s.get("/v1/bars/"+code, &b); len(b.Readings) != 1 || b.Readings[0].Stage != "wet" {
			p.Errorf("%s: %+v", code, b.Readings)
		}
	}
}

// correctOne taps a measured bar and types what stands there now; then takes that back too.
func (p *tab) correctOne(s *studio, code string) {
	p.Helper()
	p.do(chromedp.Click(fmt.Sprintf(`.four [data-bar=%q]`, code)))
	p.until("the pad", `!!document.querySelector(".pad .save")`)
	p.keys("93.65")
	p.save()
	var b barAnswer
	p.until("the correction", `(document.querySelector("[data-last]") || {innerText: ""}).innerText.includes("93.65")`)
	s.get("/v1/bars/"+code, &b)
	if n := len(b.Readings); n != 3 || b.Readings[1].Struck == nil || b.Readings[2].AsTyped != "93.65" {
		p.Errorf("after the correction: %+v", b.Readings)
	}
	p.press(`[data-last] form button`)
	if at := p.atHand(); at != code {
		p.Errorf("%s was taken back, and %s is at hand", code, at)
	}
	s.get("/v1/bars/"+code, &b)
	if b.Readings[2].Struck == nil {
		p.Errorf("nothing was taken back: %+v", b.Readings)
	}
}

// TestOneBarWithoutScript enters a reading in a browser that runs no script.
func TestOneBarWithoutScript(t *testing.T) {
	t.Parallel()
	s := openStudio(t, "", true)
	var bars struct{ Items []barAnswer }
	s.get("/v1/bars?clay=wren&limit=1", &bars)
	code := bars.Items[0].Bar
	before := len(bars.Items[0].Readings)
	page, err := http.Get(s.site + "/bar/" + code)
	if err != nil {
		t.Fatal(err)
	}
	b, _ := io.ReadAll(page.Body)
	page.Body.Close()
	_, after, found := strings.Cut(string(b), `name="id" value="`)
	if !found {
		t.Fatal("no form with an id of its own")
	}
	form := url.Values{"id": {after[:36]}, "stage": {"fired"}, "length": {"87.6"},
		"unit": {"mm"}, "keep": {"yes"}}
	for range 2 { // sent twice, as an impatient thumb does
		r, err := http.PostForm(s.site+"/bar/"+code, form)
		if err != nil {
			t.Fatal(err)
		}
		said, _ := io.ReadAll(r.Body)
		r.Body.Close()
		if r.StatusCode != 200 || !bytes.Contains(said, []byte("Kept:")) {
			t.Errorf("%d: %.300s", r.StatusCode, said)
		}
	}
	var one barAnswer
	if s.get("/v1/bars/"+code, &one); len(one.Readings) != before+1 {
		t.Errorf("%d readings before, %d now", before, len(one.Readings))
	}
}

// phoneOf is a client with an address of its own, as each phone in a studio has: entries are
// rationed by address.
func phoneOf(t *testing.T, number int) *http.Client {
	from := &net.TCPAddr{IP: net.IPv4(127, 0, 1, byte(number+1))}
	tr := &http.Transport{DialContext: (&net.Dialer{LocalAddr: from}).DialContext}
	t.Cleanup(tr.CloseIdleConnections)
	return &http.Client{Transport: tr}
}

// TestTwelvePhones has twelve phones send seven readings each at once, every one of them twice, as
// queues do that did not hear the answer.
func TestTwelvePhones(t *testing.T) {
	t.Parallel()
	s := openStudio(t, "", false)
	s.send(http.MethodPut, "/v1/clays/reed", map[string]any{"name": "Reed stoneware"})
	var free struct{ Items []string }
	s.get("/v1/bars/free-codes?count=84", &free)
	var phones sync.WaitGroup
	for number := range 12 {
		client := phoneOf(t, number)
		phones.Go(func() {
			for _, code := range free.Items[7*number : 7*number+7] {
				if got, said := s.sendBy(client, http.MethodPut, "/v1/bars/"+code,
					map[string]any{"id": uuid.Must(uuid.NewV7()).String(), "clay": "reed"}); got != 201 {
					t.Errorf("bar %s: %d %s", code, got, said)
				}
				id, length := uuid.Must(uuid.NewV7()).String(), map[string]any{"stage": "wet",
					"length": fmt.Sprintf("100,%d", number%10), "queued_s": 40}
				var twice sync.WaitGroup
				for range 2 {
					twice.Go(func() {
						if got, said := s.sendBy(client, http.MethodPut, "/v1/bars/"+code+"/readings/"+id,
							length); got != 200 && got != 201 {
							t.Errorf("reading of %s: %d %s", code, got, said)
						}
					})
				}
				twice.Wait()
			}
		})
	}
	phones.Wait()
	var bars struct{ Items []barAnswer }
	s.get("/v1/bars?limit=500", &bars)
	if len(bars.Items) != 84 {
		t.Errorf("%d bars, want 84", len(bars.Items))
	}
	for _, b := range bars.Items {
		if len(b.Readings) != 1 {
			t.Errorf("%s has %d readings", b.Bar, len(b.Readings))
		}
	}
}

// TestLidAndLidResults answers how wide to throw a lid and keeps how a board of lids sat, on a phone
// and on a desk.
func TestLidAndLidResults(t *testing.T) {
	t.Parallel()
	s := openStudio(t, "", true)
	browser := openBrowser(t)
	for _, size := range [][2]int64{{360, 740}, {1280, 800}} {
		p := s.tab(t, browser, size[0], size[1])
		p.open("/")
		p.press(`a[href="/lid"].btn`)
		p.do(chromedp.SendKeys("#collar", "104,5"))
		p.follow("enter", chromedp.SendKeys("#opening", "92.5\r"))
		p.until("an answer", `/^10\d\.\d/.test((document.querySelector(".answer .f7") || {innerText: ""}).innerText)`)
		p.until("the number in the first view",
			`document.readyState === "complete" && document.querySelector(".answer .f7")?.getBoundingClientRect().bottom <= innerHeight`)
		width := p.text(".answer .f7")
		p.show(fmt.Sprintf("walk-lid-%d", size[0]), false)
		p.press(`a[href*="just=1"]`)
		if said := p.text(".just .big"); !strings.HasPrefix(width, said) || said == "" {
			t.Errorf("just the number says %q, the answer %q", said, width)
		}
		p.show(fmt.Sprintf("walk-just-%d", size[0]), false)

		p.open("/lid-results/board")
		p.do(chromedp.SetValue("[name=good]", "7"), chromedp.SetValue("[name=tight]", "1"),
			chromedp.SetValue("#form", "teapot"), chromedp.SetValue("#of", "tern/A"))
		p.press("form[action='/lid-results'] button.go")
		p.until("the board kept", `document.querySelector("#boards li").innerText.includes("7 good")`)
		if said := evaluated[string](p, `document.querySelector("main").textContent`); !strings.Contains(said,
			"wet grinding") || !strings.Contains(said, "Eye protection") {
			t.Errorf("after a tight lid the cautions of grinding are not there: %.400s", said)
		}
		p.show(fmt.Sprintf("walk-lid-results-%d", size[0]), false)
	}
	// Prints: what is for the screen alone is not on paper.
	p := s.tab(t, browser, 1280, 800)
	for _, path := range []string{"/rule?clay=tern", "/lid?collar=104.5&opening=92.5&clay=tern",
		"/bars/sheet?clay=tern"} {
		p.open(path)
		if b := did(p, chromedp.PrintToPDF()); !bytes.HasPrefix(b, []byte("%PDF")) || len(b) < 3000 {
			t.Errorf("%s prints as %d bytes", path, len(b))
		}
	}
}

// TestLidIsAnsweredAsItIsTyped has the lid sized by what is typed into the drawing, without a button: the
// figure and the drawing change, the field keeps the finger. A step aside shows how likely it is too tight,
// fits or rattles; a size that cannot be is asked about, and a tap takes what was meant.
func TestLidIsAnsweredAsItIsTyped(t *testing.T) {
	t.Parallel()
	s := openStudio(t, "", true)
	p := s.tab(t, openBrowser(t), 360, 740)
	p.open("/lid?clay=tern")
	p.do(chromedp.SendKeys("#collar", "104,5"))
	p.until("the answer to the whole length",
		`location.search.includes("collar=104%2C5") && /^10\d/.test((document.querySelector(".answer .f7") || {innerText: ""}).innerText)`)
	if at := evaluated[string](p, `document.activeElement.id + " " + location.search`); !strings.HasPrefix(at,
		"collar ") || !strings.Contains(at, "104") {
		t.Errorf("typed on at %q", at)
	}
	chances := func() (tight, fits, rattles int) {
		said := strings.Join(strings.Fields(p.text(".threel")), " ")
		if _, err := fmt.Sscanf(said, "too tight %d %% fits %d %% rattles %d %%", &tight, &fits,
			&rattles); err != nil || tight+fits+rattles != 100 {
			t.Fatalf("the bar says %q: %v", said, err)
		}
		return
	}
	tight, fits, _ := chances()
	width := p.text(".answer .f7")
	p.do(chromedp.Click("#try-more"))
	p.until("another width", fmt.Sprintf(`document.querySelector(".answer .f7").innerText !== %q`, width))
	if more, less, _ := chances(); more <= tight || less > fits {
		t.Errorf("a step wider is too tight by %d %%, fits by %d %%; before %d and %d", more, less, tight,
			fits)
	}
	if focus := evaluated[string](p, `document.activeElement.id`); focus != "try-more" {
		t.Errorf("the finger is at %q", focus)
	}
	p.do(chromedp.Click(`label:has([name=seat][value=cap])`))
	p.until("a cap", `!document.querySelector("#opening") && document.querySelector("#collar").value === "104,5" && /skirt/.test(document.querySelector(".lidfig").innerText)`)
	p.do(chromedp.Click(`label:has([name=seat][value=inset])`))
	p.until("an inset lid", `!!document.querySelector("#opening")`)
	evaluated[bool](p, `(() => { const c = document.querySelector("#collar"); c.value = ""; c.focus(); return true; })()`)
	p.do(chromedp.SendKeys("#collar", "1045"))
	p.until("the question", `document.querySelector("[role=alert]")?.innerText.includes("104.5\u00a0mm was meant") && !document.querySelector(".answer")`)
	p.press("[role=alert] .btn.go")
	p.until("the answer", fmt.Sprintf(`document.querySelector(".answer .f7")?.innerText === %q`, width))
	p.open("/lid?collar=&clay=tern")
	if said := p.text("[role=alert]"); !strings.Contains(said, "is needed") {
		t.Errorf("nothing typed: %q", said)
	}
}

// TestHostileNames shows what people may type as text, whatever it is; and a studio without kiln,
// clay or bars says what to do next.
func TestHostileNames(t *testing.T) {
	t.Parallel()
	s := openStudio(t, "", false)
	p := s.tab(t, openBrowser(t), 360, 740)
	for path, next := range map[string]string{"/": "Name your clay", "/clays": "Take the bag",
		"/bars": "Make some on a clay", "/kiln": "Connect a kiln", "/help/connecting": "lidwright.toml",
		"/lid":         "I know my rates",
		"/lid-results": "Make a card for each pot at the wheel", "/pots": "Make them at the wheel"} {
		p.open(path)
		if said := p.text("main"); !strings.Contains(said, next) {
			t.Errorf("%s, with nothing there yet, does not say %q: %.200s", path, next, said)
		}
	}
	p.open("/")
	p.show("empty-wareboard", false)
	const hostile = `<img src=x onerror=document.title='taken'>"'&{{.}}</script>`
	if got, said := s.send(http.MethodPut, "/v1/clays/reed",
		map[string]any{"name": hostile[:min(len(hostile), 60)]}); got != 201 {
		t.Fatalf("%d %s", got, said)
	}
	if got, said := s.send(http.MethodPut, "/v1/bars/BQ7", map[string]any{"id": uuid.NewString(),
		"clay": "reed", "note": hostile, "by": `"><tt>x`}); got != 201 {
		t.Fatalf("%d %s", got, said)
	}
	p.open("/") // with a bar, and still no kiln
	if said := p.text("main"); !strings.Contains(said, "No kiln yet") || !strings.Contains(said,
		"lidwright.toml") {
		t.Errorf("without a kiln it is not said where one is named: %.200s", said)
	}
	reading := uuid.NewString()
	s.send(http.MethodPut, "/v1/bars/BQ7/readings/"+reading, map[string]any{"stage": "wet", "length": "100.0",
		"by": `"><tt>y`})
	s.send(http.MethodPut, "/v1/bars/BQ7/readings/"+reading+"/strike", map[string]any{"why": hostile})
	for _, path := range []string{"/", "/clays", "/clay/reed", "/lid", "/lid/board", "/sizes", "/bar/BQ7",
		"/bars", "/bars/all", "/clay/reed?batch=" + url.QueryEscape(hostile),
		"/lid?collar=" + url.QueryEscape(hostile), "/load/" + url.PathEscape(hostile)} {
		p.open(path)
		title := evaluated[string](p, "document.title")
		if n := evaluated[int](p, `document.querySelectorAll("main img, main tt, main script").length`); n != 0 || title == "taken" {
			t.Errorf("%s: %d elements that nobody of ours wrote, title %q", path, n, title)
		}
	}
	p.open("/clays")
	if !strings.Contains(p.text("main"), "<img src=x") {
		t.Error("the name is not shown as it was typed")
	}
}
