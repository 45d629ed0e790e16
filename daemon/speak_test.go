package daemon

import (
	"encoding/json"
	"fmt"
	"os"
	"strings"
	"testing"
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
		if line != "" && line[0] != '#' && line[0] != '=' && !strings.ContainsAny(line, "{<") &&
			!german[strings.ToLower(line)] {
			left = append(left, line)
		}
	}
	list, err := json.Marshal(left)
	if err != nil {
		t.Fatal(err)
	}
	return string(list)
}

// inEnglish is a script that tells what is left in English on a German page, but for a topic of the help that
// says so.
func inEnglish(t *testing.T) string {
	return `(list => { const english = new Set(list), left = [], walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT),
		told = document.querySelector("article.topic + p")?.textContent === "Diesen Text gibt es nur auf Englisch.";
		for (let n = walk.nextNode(); n; n = walk.nextNode()) { const e = n.parentElement, text = n.textContent.trim();
			if (english.has(text) && !e.closest("script,code,pre") && !(e.closest("article.topic[lang=en]") && told) && !e.closest("[translate=no]") && e.checkVisibility()) left.push("in English: " + text); }
		return left; })(` + englishOnly(t) + `)`
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
