package collectorpages

import (
	"strings"
	"testing"
)

// A page of a studio is shown under the address of its copy: links lead there, nothing can be entered, and a
// heading goes with the form that it headed.
func TestMoved(t *testing.T) {
	const page = `<html><head><script src="/app.js" defer></script></head><body><a href="/">Studio</a><main id="main">` +
		`<h2>Bars</h2><p><a href="/bar/BQ7?a=1&amp;b=2">BQ7</a> <a href="//elsewhere/x">x</a> <img src="/x.svg"></p>` +
		"<h2>New clay</h2>\n" + `<form action="/clays" method="post"><input name="x"><button>Keep</button></form>` +
		`<h3>Show</h3><form method="get" action="/clays"><input name="q"></form><p>5 &lt; 6</p></main></body></html>`
	var out strings.Builder
	if err := moved(&out, strings.NewReader(page), "/studios/S", "<p>banner</p>"); err != nil {
		t.Fatal(err)
	}
	const want = `<html><head></head><body><a href="/studios/S">Studio</a><main id="main"><p>banner</p>` +
		`<h2>Bars</h2><p><a href="/studios/S/record/bar/BQ7?a=1&amp;b=2">BQ7</a> <a href="//elsewhere/x">x</a> <img src="/studios/S/record/x.svg"></p>` +
		`<h3>Show</h3><form method="get" action="/studios/S/record/clays"><input name="q"></form><p>5 &lt; 6</p></main></body></html>`
	if out.String() != want {
		t.Errorf("it becomes\n%s\nnot\n%s", out.String(), want)
	}
}
