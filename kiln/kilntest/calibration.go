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

// Calibration draws what was said against what came true, a cell with two standard errors to either side, as
// <name>.svg in the folder that LIDWRIGHT_CALIBRATION names (make calibration); without it nothing. Cells of
// which one thing was said, as of ranges, lie below one another with their names, the others in a square.
func Calibration(name, title string, cells []Said) error {
	dir := os.Getenv("LIDWRIGHT_CALIBRATION")
	if dir == "" || len(cells) == 0 {
		return nil
	}
	low, said := 1.0, map[float64]bool{}
	for _, c := range cells {
		low = min(low, c.Said, c.True-2*c.error())
		said[c.Said] = true
	}
	drawn := square(title, cells, low)
	if len(said) <= 2 {
		drawn = lines(title, cells, low)
	}
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return err
	}
	return os.WriteFile(filepath.Join(dir, name+".svg"), []byte(drawn), 0o644)
}

// error is the standard error of what came true.
func (c Said) error() float64 { return math.Sqrt(c.True * (1 - c.True) / float64(max(c.Of, 1))) }

// tells is what a pointer on the cell is told.
func (c Said) tells() string {
	return html.EscapeString(fmt.Sprintf("%s: said %.3f, came true %.3f ± %.3f of %d", c.Name, c.Said, c.True,
		c.error(), c.Of))
}

// page begins a drawing.
func page(title string, wide, high float64) string {
	return fmt.Sprintf(`<svg xmlns="http://www.w3.org/2000/svg" width="%.0f" height="%.0f" viewBox="0 0 %.0f %.0f" role="img" lang="en" font-family="sans-serif" font-size="12">
<title>%s</title><rect width="100%%" height="100%%" fill="#fff"/><text x="16" y="25" font-size="15">%s</text>
`, wide, high, wide, high, html.EscapeString(title), html.EscapeString(title))
}

// lines puts each cell on a line of its own under a scale in per cent, what was said as a stroke across.
func lines(title string, cells []Said, low float64) string {
	const top, row, wide = 66.0, 17.0, 360.0
	longest := 0
	for _, c := range cells {
		longest = max(longest, len([]rune(c.Name)))
	}
	left := 24 + 6.2*float64(longest)
	low = math.Floor(low*20) / 20
	bottom := top + row*float64(len(cells))
	x := func(v float64) float64 { return left + wide*(max(v, low)-low)/(1-low) }
	var b strings.Builder
	b.WriteString(page(title, left+wide+90, bottom+16))
	fmt.Fprintf(&b, `<text x="%.1f" y="44" fill="#444">came true, %%; the stroke is what was said; bars are two standard errors</text>`+"\n", 16.0)
	for v := low; v < 1.001; v += 0.05 {
		fmt.Fprintf(&b, `<text x="%.1f" y="%.1f" text-anchor="middle">%.0f</text><path d="M%.1f %.1fV%.1f" stroke="#ddd"/>`+"\n", x(v), top-6, 100*v, x(v), top, bottom)
	}
	for i, c := range cells {
		y := top + row*(float64(i)+0.5)
		fmt.Fprintf(&b, `<g><title>%s</title><text x="%.1f" y="%.1f" text-anchor="end">%s</text><path d="M%.1f %.1fv%.0f" stroke="#c01c28" stroke-width="2"/>`,
			c.tells(), left-10, y+4, html.EscapeString(c.Name), x(c.Said), y-row/2, row)
		fmt.Fprintf(&b, `<path d="M%.1f %.1fH%.1f" stroke="#1a5fb4"/><circle cx="%.1f" cy="%.1f" r="4" fill="#1a5fb4"/><text x="%.1f" y="%.1f" fill="#444">%.1f</text></g>`+"\n",
			x(c.True-2*c.error()), y, x(min(c.True+2*c.error(), 1)), x(c.True), y, left+wide+14, y+4,
			100*c.True)
	}
	b.WriteString("</svg>\n")
	return b.String()
}

// square puts what was said across and what came true up.
func square(title string, cells []Said, low float64) string {
	const side, margin = 400.0, 50.0
	low = math.Floor(low*10) / 10
	x := func(v float64) float64 { return margin + side*(v-low)/(1-low) }
	y := func(v float64) float64 { return margin + side - side*(max(v, low)-low)/(1-low) }
	var b strings.Builder
	b.WriteString(page(title, 500, 500))
	fmt.Fprintf(&b, `<path d="M50 50V450H450" fill="none" stroke="#444"/><path d="M%.1f %.1fL%.1f %.1f" stroke="#999" stroke-dasharray="4 4"/>`+"\n", x(low), y(low), x(1), y(1))
	for v := low; v < 1.01; v += 0.1 {
		fmt.Fprintf(&b, `<text x="%.1f" y="466" text-anchor="middle">%.0f</text><text x="44" y="%.1f" text-anchor="end">%.0f</text>`+"\n", x(v), 100*v, y(v)+4, 100*v)
	}
	fmt.Fprintln(&b, `<text x="250" y="488" text-anchor="middle">said, %</text><text x="8" y="42">came true, %</text>`)
	for _, c := range cells {
		fmt.Fprintf(&b, `<g><title>%s</title><path d="M%.1f %.1fV%.1f" stroke="#1a5fb4"/><circle cx="%.1f" cy="%.1f" r="4" fill="#1a5fb4"/></g>`+"\n",
			c.tells(), x(c.Said), y(c.True-2*c.error()), y(min(c.True+2*c.error(), 1)), x(c.Said), y(c.True))
	}
	b.WriteString("</svg>\n")
	return b.String()
}
