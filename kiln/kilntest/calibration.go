package kilntest

import (
	"fmt"
	"html"
	"math"
	"os"
	"path/filepath"
	"strings"
)

// Said is one cell of a simulation: the share that was said to come true, the share that did, of how many.
type Said struct {
	Name       string
	Said, True float64
	Of         int
}

// Calibration draws what was said against what came true, a point a cell with two standard errors to either
// side, as <name>.svg in the folder that LIDWRIGHT_CALIBRATION names (make calibration); without it nothing.
func Calibration(name, title string, cells []Said) error {
	dir := os.Getenv("LIDWRIGHT_CALIBRATION")
	if dir == "" || len(cells) == 0 {
		return nil
	}
	const side, margin = 400.0, 50.0
	low := 1.0
	for _, c := range cells {
		low = min(low, c.Said, c.True)
	}
	low = max(0, math.Floor(low*10-0.5)/10)
	x := func(v float64) float64 { return margin + side*(v-low)/(1-low) }
	y := func(v float64) float64 { return margin + side - side*(v-low)/(1-low) }
	var b strings.Builder
	fmt.Fprintf(&b, `<svg xmlns="http://www.w3.org/2000/svg" width="500" height="500" viewBox="0 0 500 500" role="img" lang="en" font-family="sans-serif" font-size="12">
<title>%s</title><text x="50" y="25" font-size="15">%s</text>
<path d="M50 50V450H450" fill="none" stroke="#444"/><path d="M%.1f %.1fL%.1f %.1f" stroke="#999" stroke-dasharray="4 4"/>
`, html.EscapeString(title), html.EscapeString(title), x(low), y(low), x(1), y(1))
	for v := low; v < 1.01; v += 0.1 {
		fmt.Fprintf(&b, `<text x="%.1f" y="466" text-anchor="middle">%.0f</text><text x="44" y="%.1f" text-anchor="end">%.0f</text>`+"\n", x(v), 100*v, y(v)+4, 100*v)
	}
	fmt.Fprintln(&b, `<text x="250" y="488" text-anchor="middle">said, %</text><text x="8" y="38">came true, %</text>`)
	for _, c := range cells {
		se := math.Sqrt(c.True * (1 - c.True) / float64(max(c.Of, 1)))
		fmt.Fprintf(&b, `<g><title>%s: said %.3f, came true %.3f ± %.3f of %d</title><path d="M%.1f %.1fV%.1f" stroke="#1a5fb4"/><circle cx="%.1f" cy="%.1f" r="4" fill="#1a5fb4"/></g>`+"\n",
			html.EscapeString(c.Name), c.Said, c.True, se, c.Of, x(c.Said), y(max(c.True-2*se, low)), y(min(c.True+2*se, 1)), x(c.Said), y(c.True))
	}
	b.WriteString("</svg>\n")
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return err
	}
	return os.WriteFile(filepath.Join(dir, name+".svg"), []byte(b.String()), 0o644)
}
