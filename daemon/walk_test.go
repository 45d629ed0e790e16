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
		_, err := cdp.Call(ctx, t, network.EmulateNetworkConditionsByRule, network.EmulateNetworkConditionsByRuleParams{MatchedNetworkConditions: []*network.Conditions{
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
	Readings []struct {
		ID, Stage string
		AsTyped   string `json:"as_typed"`
		Unusual   bool
		Struck    *struct{}
	}
}

// sevenBars makes seven bars and packs them, on the pages.
func (p *tab) sevenBars(s *studio) (codes []string) {
	p.Helper()
	p.open("/clay/wren")
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
	p.open("/unpack")
	p.do(chromedp.SetValue("#bars", strings.Join(codes, " ")))
	p.press(`form[action="/loads"] button`)
	return codes
}

// TestSevenBars types a load of seven bars on a phone, with the network gone from the third bar to
// after the last, a slip that is asked about, one entry that is refused, and a page that is opened
// anew before the network is back.
func TestSevenBars(t *testing.T) {
	s := openStudio(t, "", true)
	p := s.tab(t, openBrowser(t), 360, 740)
	codes := p.sevenBars(s)
	var load string
	p.until("the page of the load", `location.pathname.startsWith("/unpack/") && document.querySelectorAll("form[data-reading]").length === 7`)
	load = evaluated[string](p, "location.pathname")
	if n := evaluated[int](p, `[...document.querySelectorAll("form[data-reading]")].filter(f => f.checkVisibility()).length`); n != 1 {
		t.Errorf("%d bars on the screen, want one", n)
	}
	p.show("walk-unpack-one-bar", false)
	typed := map[string]string{}
	began := time.Now()
	for i := range codes {
		if i == 2 {
			p.away(true)
		}
		code := evaluated[string](p, `[...document.querySelectorAll("form[data-reading]")].find(f => f.checkVisibility()).dataset.reading`)
		field := fmt.Sprintf(`form[data-reading=%q] [name=length]`, code)
		length := fmt.Sprintf("9%d,2", 3+i%3)
		switch i {
		case 3: // ten times too small: asked in the same place, and mended there
			p.do(chromedp.SendKeys(field, "9.4\r"))
			p.until("the question", `[...document.querySelectorAll("[data-ask]")].some(e => e.checkVisibility() && e.textContent.includes("expected"))`)
			p.show("walk-unpack-question", false)
			evaluated[string](p, fmt.Sprintf("document.querySelector(%q).value = ''", field))
		case 6: // not to be read as a length: the server will refuse it
			length = "94..2"
		}
		p.do(chromedp.SendKeys(field, length+"\r"))
		typed[code] = length
	}
	t.Logf("seven bars typed in %s", time.Since(began).Round(time.Millisecond))
	p.until("five that wait", `document.querySelector(".waiting").innerText.includes("5 waiting") && document.querySelector(".waiting").innerText.includes("keep this page open")`)
	for _, wrong := range evaluated[[]string](p, auditScript) {
		t.Errorf("with readings waiting: %s", wrong)
	}
	p.show("walk-unpack-offline", false)
	if _, err := chromedp.Run(p.ctx, chromedp.Navigate(s.site+"/")); err == nil { // the open page is lost
		t.Error("a page comes without a network")
	}
	p.away(false)
	p.open(load) // all but the script's own store is gone
	p.until("one that is refused", `document.querySelector(".waiting").innerText.includes("Look at these")`)
	p.until("nothing that waits", `!/\d waiting/.test(document.querySelector(".waiting").innerText)`)
	p.show("walk-unpack-refused", false)
	refused := ""
	for _, code := range codes {
		var b barAnswer
		s.get("/v1/bars/"+code, &b)
		switch {
		case typed[code] == "94..2":
			refused = code
			if len(b.Readings) != 0 {
				t.Errorf("%s: %+v", code, b.Readings)
			}
		case len(b.Readings) != 1 || b.Readings[0].AsTyped != typed[code]:
			t.Errorf("%s was typed as %s; kept are %+v", code, typed[code], b.Readings)
		}
	}
	if said := p.text(".waiting"); !strings.Contains(said, refused) {
		t.Errorf("the refused bar %s is not named: %s", refused, said)
	}
	p.do(chromedp.Click(".waiting button"))
	p.until("a list that is empty", `document.querySelector(".waiting").hidden`)
	p.open(load)
	field := fmt.Sprintf(`form[data-reading=%q] [name=length]`, refused)
	p.do(chromedp.SendKeys(field, "94,2\r"))
	p.until("the last one kept", `document.querySelector(".waiting").hidden && document.querySelector("[data-over]").checkVisibility()`)
	p.open(load)
	p.until("all measured", `document.querySelector("main").innerText.includes("All bars of this load are measured")`)
	p.show("walk-unpack-done", true)
}

// TestOneBarWithoutScript enters a reading in a browser that runs no script.
func TestOneBarWithoutScript(t *testing.T) {
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
	form := url.Values{"id": {after[:36]}, "stage": {"fired"}, "length": {"87.6"}, "unit": {"mm"}, "keep": {"yes"}}
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
	s := openStudio(t, "", false)
	s.send(http.MethodPut, "/v1/clays/reed", map[string]any{"name": "Reed stoneware"})
	var free struct{ Items []string }
	s.get("/v1/bars/free-codes?count=84", &free)
	var phones sync.WaitGroup
	for number := range 12 {
		client := phoneOf(t, number)
		phones.Go(func() {
			for _, code := range free.Items[7*number : 7*number+7] {
				if got, said := s.sendBy(client, http.MethodPut, "/v1/bars/"+code, map[string]any{"id": uuid.Must(uuid.NewV7()).String(), "clay": "reed"}); got != 201 {
					t.Errorf("bar %s: %d %s", code, got, said)
				}
				id, length := uuid.Must(uuid.NewV7()).String(), map[string]any{"stage": "wet", "length": fmt.Sprintf("100,%d", number%10), "queued_s": 40}
				var twice sync.WaitGroup
				for range 2 {
					twice.Go(func() {
						if got, said := s.sendBy(client, http.MethodPut, "/v1/bars/"+code+"/readings/"+id, length); got != 200 && got != 201 {
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

// TestLidAndVerdicts answers how wide to throw a lid and keeps how a board of lids sat, on a phone
// and on a desk.
func TestLidAndVerdicts(t *testing.T) {
	s := openStudio(t, "", true)
	browser := openBrowser(t)
	for _, size := range [][2]int64{{360, 740}, {1280, 800}} {
		p := s.tab(t, browser, size[0], size[1])
		p.open("/")
		p.press(`a[href="/lid"].btn`)
		p.do(chromedp.SendKeys("#collar", "104,5"), chromedp.SendKeys("#opening", "92.5\r"))
		p.until("an answer", `/^10\d\.\d/.test((document.querySelector(".set .big") || {innerText: ""}).innerText)`)
		if evaluated[float64](p, `document.querySelector(".set .big").getBoundingClientRect().bottom`) > float64(size[1]) {
			t.Errorf("at %d the number is not in the first view", size[0])
		}
		width := p.text(".set .big")
		p.show(fmt.Sprintf("walk-lid-%d", size[0]), false)
		p.press(`a[href*="just=1"]`)
		if said := p.text(".just .big"); !strings.HasPrefix(width, said) || said == "" {
			t.Errorf("just the number says %q, the answer %q", said, width)
		}
		p.show(fmt.Sprintf("walk-just-%d", size[0]), false)

		p.open("/verdicts/board")
		p.do(chromedp.SetValue("[name=good]", "7"), chromedp.SetValue("[name=tight]", "1"), chromedp.SetValue("#form", "teapot"), chromedp.SetValue("#body", "tern/A"))
		p.press("form[action='/verdicts'] button.go")
		p.until("the board kept", `document.querySelector("#boards + .tile").innerText.includes("7 good")`)
		if said := p.text("main"); !strings.Contains(said, "wet grinding") || !strings.Contains(said, "Eye protection") {
			t.Errorf("after a tight lid the cautions of grinding are not there: %.400s", said)
		}
		p.show(fmt.Sprintf("walk-verdicts-%d", size[0]), false)
	}
	// Prints: what is for the screen alone is not on paper.
	p := s.tab(t, browser, 1280, 800)
	for _, path := range []string{"/rule?clay=tern", "/lid?collar=104.5&opening=92.5&clay=tern", "/bars/sheet?clay=tern"} {
		p.open(path)
		if b := did(p, chromedp.PrintToPDF()); !bytes.HasPrefix(b, []byte("%PDF")) || len(b) < 3000 {
			t.Errorf("%s prints as %d bytes", path, len(b))
		}
	}
}

// TestHostileNames shows what people may type as text, whatever it is; and a studio without kiln,
// clay or bars says what to do next.
func TestHostileNames(t *testing.T) {
	s := openStudio(t, "", false)
	p := s.tab(t, openBrowser(t), 360, 740)
	for path, next := range map[string]string{"/": "lidwright.toml", "/clays": "Take the bag", "/unpack": "Make some on a clay", "/kiln": "No kiln", "/lid": "I know my rates", "/verdicts": "Pot cards made at the wheel", "/pots": "Make them at the wheel"} {
		p.open(path)
		if said := p.text("main"); !strings.Contains(said, next) {
			t.Errorf("%s, with nothing there yet, does not say %q: %.200s", path, next, said)
		}
	}
	p.open("/")
	p.show("empty-wareboard", false)
	const hostile = `<img src=x onerror=document.title='taken'>"'&{{.}}</script>`
	if got, said := s.send(http.MethodPut, "/v1/clays/reed", map[string]any{"name": hostile[:min(len(hostile), 60)]}); got != 201 {
		t.Fatalf("%d %s", got, said)
	}
	if got, said := s.send(http.MethodPut, "/v1/bars/BQ7", map[string]any{"id": uuid.NewString(), "clay": "reed", "note": hostile, "by": `"><b>x`}); got != 201 {
		t.Fatalf("%d %s", got, said)
	}
	reading := uuid.NewString()
	s.send(http.MethodPut, "/v1/bars/BQ7/readings/"+reading, map[string]any{"stage": "wet", "length": "100.0", "by": `"><i>y`})
	s.send(http.MethodPut, "/v1/bars/BQ7/readings/"+reading+"/strike", map[string]any{"why": hostile})
	for _, path := range []string{"/", "/clays", "/clay/reed", "/lid", "/lid/board", "/sizes", "/bar/BQ7", "/unpack", "/bars", "/clay/reed?batch=" + url.QueryEscape(hostile), "/lid?collar=" + url.QueryEscape(hostile), "/unpack/" + url.PathEscape(hostile)} {
		p.open(path)
		title := evaluated[string](p, "document.title")
		if n := evaluated[int](p, `document.querySelectorAll("main img, main b, main i, main script").length`); n != 0 || title == "taken" {
			t.Errorf("%s: %d elements that nobody of ours wrote, title %q", path, n, title)
		}
	}
	p.open("/clays")
	if !strings.Contains(p.text("main"), "<img src=x") {
		t.Error("the name is not shown as it was typed")
	}
}
