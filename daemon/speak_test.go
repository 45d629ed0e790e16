package daemon

import (
	"context"
	"encoding/json"
	"fmt"
	"os"
	"strings"
	"testing"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"
)

// englishOnly are the texts that are another in German: none may be left on a German page.
func englishOnly(t *testing.T) string {
	t.Helper()
	file, err := os.ReadFile("../api/pages/words.de.txt")
	if err != nil {
		t.Fatal(err)
	}
	german, left := map[string]bool{}, []string{}
	lines := strings.Split(string(file), "\n")
	for _, line := range lines {
		if own, ok := strings.CutPrefix(line, "= "); ok {
			german[strings.ToLower(own)] = true
		}
	}
	for _, line := range lines {
		if line != "" && line[0] != '#' && line[0] != '=' && !strings.ContainsAny(line, "{<") && !german[strings.ToLower(line)] {
			left = append(left, line)
		}
	}
	list, err := json.Marshal(left)
	if err != nil {
		t.Fatal(err)
	}
	return string(list)
}

// TestPagesInGerman is shown how to speak on its own page, and then walks over all others on a phone
// in German with lengths in 32nds and a clock of twelve hours: they pass the audit, nothing is left
// in English but a topic of the help that is marked so and says it in German, and no long word makes
// a page wider than the phone. Printed on A4 they are black on white with nothing to press, and no
// table or text is cut off at the edge of the paper.
func TestPagesInGerman(t *testing.T) {
	t.Parallel()
	s := openStudio(t, "", true)
	browser := openBrowser(t)
	phone := s.tab(t, browser, 360, 740)
	const wide = 718 // 190 mm of A4 at 96 dots to the inch
	paper := s.tab(t, browser, wide, 1000)
	paper.onPaper()
	phone.open("/speak")
	phone.do(chromedp.Click("[name=language][value=de]"), chromedp.Click("[name=unit][value='32nds']"), chromedp.Click("[name=clock][value='12']"))
	phone.press("main button.go")
	if lang := evaluated[string](phone, `document.documentElement.lang`); lang != "de" {
		t.Fatalf("after choosing German the page is in %q", lang)
	}
	inEnglish := `(list => { const english = new Set(list), left = [], walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT),
		told = document.querySelector("article.topic + p")?.textContent === "Diesen Text gibt es nur auf Englisch.";
		for (let n = walk.nextNode(); n; n = walk.nextNode()) { const e = n.parentElement, text = n.textContent.trim();
			if (english.has(text) && !e.closest("script,code,pre") && !(e.closest("article.topic[lang=en]") && told) && e.checkVisibility()) left.push(text); }
		return left; })(` + englishOnly(t) + `)`
	pages := phone.walk(func(path, name string) {
		for _, wrong := range evaluated[[]string](phone, auditScript) {
			t.Errorf("%s in German on a phone: %s", path, wrong)
		}
		for _, text := range evaluated[[]string](phone, inEnglish) {
			t.Errorf("%s is in German, but for %q", path, text)
		}
		phone.show(name+"-phone-de", true)
		paper.open(path)
		for _, wrong := range evaluated[[]string](paper, wrongOnPaper(wide)) {
			t.Errorf("%s on paper: %s", path, wrong)
		}
		paper.show(name+"-paper", true)
	})
	t.Logf("%d pages in German", pages)

	phone.open("/lid?collar=104.5mm&opening=92.5mm&clay=tern")
	if said := phone.text(".answer"); !strings.Contains(said, "/32") && !strings.Contains(said, "/16") && !strings.Contains(said, "/8") || !strings.Contains(said, "Messschieber") {
		t.Errorf("a lid in 32nds and German: %s", said)
	}
	phone.open("/clay/tern")
	before := phone.text("main")
	if !strings.Contains(before, "schwindet") {
		t.Errorf("the clay in German: %.300s", before)
	}
}

// wrongOnPaper is a script that tells what is wrong with a page on paper of a width.
func wrongOnPaper(wide int) string {
	return fmt.Sprintf(`(() => { const wrong = [], shown = e => e.checkVisibility() && e.getClientRects().length > 0;
		for (const e of document.querySelectorAll("button,.key,nav,.skip,.pad")) if (shown(e)) wrong.push("to press: " + e.outerHTML.slice(0, 100));
		if (document.querySelector(".true-size")) return wrong; // laid across, and to scale
		for (const e of document.querySelectorAll("main *")) {
			if (!shown(e)) continue;
			const s = getComputedStyle(e), c = (s.color.match(/[\d.]+/g) || []).slice(0, 3).map(Number);
			if (e.childNodes.length && !e.closest("svg") && Math.max(...c) > 120) wrong.push("not black: " + e.outerHTML.slice(0, 100));
			if (e.getBoundingClientRect().right > %d + 1) { wrong.push("cut: " + e.outerHTML.slice(0, 140)); break; }
		}
		return wrong; })()`, wide)
}

// onPaper shows pages as they are printed.
func (p *tab) onPaper() {
	p.Helper()
	p.do(chromedp.Func(func(ctx context.Context, t *chromedp.Target) error {
		_, err := cdp.Call(ctx, t, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Media: "print"})
		return err
	}))
}
