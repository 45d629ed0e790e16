package pages

import (
	"strings"
	"testing"
)

// A figure and its unit are never parted by the end of a line; what was typed stays as it is.
func TestFiguresStayWithTheirUnits(t *testing.T) {
	for page, want := range map[string]string{
		"<p>peak 1222 °C about 5 h 40</p>":                      "<p>peak 1222~°C about 5~h 40</p>",
		"<b>1222</b> <small>°C</small>, 104.5 mm: 12 %.":        "<b>1222</b> <small>°C</small>, 104.5~mm: 12~%.",
		"<b>1222</b><small> °C</small>":                         "<b>1222</b><small>~°C</small>",
		"4 1/8 in, 4 in 3 loads, 3 15/16":                       "4~1/8~in, 4~in 3 loads, 3~15/16",
		"5 minutes, 3 hours, 12 males, 7 &lt;b":                 "5 minutes, 3 hours, 12 males, 7 &lt;b",
		`<input value="104.5 mm"> 3 mm`:                         `<input value="104.5 mm"> 3~mm`,
		"<textarea rows=2>104.5 mm; 92 mm</textarea> 5 mm":      "<textarea rows=2>104.5 mm; 92 mm</textarea> 5~mm",
		"<pre>12 mm</pre><code>3 mm</code><option>2 g</option>": "<pre>12 mm</pre><code>3 mm</code><option>2 g</option>",
		"7 ": "7 ", "": "", "a < 5 mm": "a < 5 mm",
	} {
		if got := strings.ReplaceAll(string(together([]byte(page))), "\u00a0", "~"); got != want {
			t.Errorf("%q: %q, want %q", page, got, want)
		}
	}
}
