package kilntest

import (
	"cmp"
	"fmt"
	"html"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
)

// Said is one cell of a simulation: the share that was said to come true, the share that did, of how many.
type Said struct {
	// of the cell, told by a pointer on it
	Name string
	// shares, 0 to 1
	Said, True float64
	// how many trials
	Of int
}

// Calibration draws what was said against what came true, a cell with two standard errors to either side, as
// <name>.svg in the folder that LIDWRIGHT_CALIBRATION names (make calibration); without it nothing. Cells of
// which one thing was said, as of ranges, lie below one another from the lowest to the highest, the others in
// a square. The drawing has no words but what a pointer is told: it is shown on pages of any language.
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

// How wide a drawing is: in a card on a phone it is shown as it is drawn.
const wide = 326.0

// page begins a drawing. The classes are those of the pages, the attributes what it looks like without them.
func page(title string, high float64) string {
	return fmt.Sprintf(`<svg xmlns="http://www.w3.org/2000/svg" class="true" width="%.0f" height="%.0f" viewBox="0 0 %.0f %.0f" role="img" font-family="sans-serif" font-size="14">
<title>%s</title>
`, wide, high, wide, high, html.EscapeString(title))
}

// label is a share in per cent on an axis.
func label(x, y float64, anchor string, share float64) string {
	return fmt.Sprintf(`<text class="t2" x="%.1f" y="%.1f" text-anchor="%s">%.0f %%</text>`, x, y,
		anchor, 100*share)
}

// bar is what came of a cell: a dot, and a stroke over two standard errors to either side.
func (c Said) bar(x, y, dx, dy, radius float64) string {
	return fmt.Sprintf(`<g><title>%s</title><path class="hair" d="M%.1f %.1fl%.1f %.1f" stroke="#5c5148"/><circle class="inkdot" cx="%.1f" cy="%.1f" r="%g" fill="#2b2420"/></g>`+"\n",
		c.tells(), x-dx, y-dy, 2*dx, 2*dy, x, y, radius)
}

// lines puts each cell on a line of its own under a scale in per cent, what was said as a stroke down its
// lines.
func lines(title string, cells []Said, low float64) string {
	const top, row, left, right = 24.0, 6.0, 20.0, wide - 24.0
	cells = slices.SortedFunc(slices.Values(cells), func(a, b Said) int {
		return cmp.Or(cmp.Compare(a.Said, b.Said), cmp.Compare(a.True, b.True))
	})
	low = math.Floor(low*20) / 20
	x := func(v float64) float64 { return left + (right-left)*(v-low)/(1-low) }
	bottom := top + row*float64(len(cells)) + 4
	var b strings.Builder
	b.WriteString(page(title, bottom+4))
	step := 0.05
	if low < 0.75 {
		step = 0.1
	}
	for v := 1.0; v > low-0.001; v -= step {
		fmt.Fprintf(&b, `%s<path class="grid" d="M%.1f %.1fV%.1f" stroke="#d9cebd"/>`+"\n",
			label(x(v), top-8, "middle", v), x(v), top, bottom)
	}
	for i, c := range cells {
		fmt.Fprintf(&b, `<path class="predict" d="M%.1f %.1fv%g" stroke="#a33a0c" stroke-width="3"/>`,
			x(c.Said), top+2+row*float64(i), row)
	}
	for i, c := range cells {
		b.WriteString(c.bar(x(c.True), top+2+row*(float64(i)+0.5), x(2*c.error())-x(0), 0, 2.5))
	}
	b.WriteString("</svg>\n")
	return b.String()
}

// square puts what was said across and what came true up.
func square(title string, cells []Said, low float64) string {
	const left, top, side = 58.0, 12.0, wide - 58.0 - 24.0
	low = math.Floor(low*10) / 10
	x := func(v float64) float64 { return left + side*(v-low)/(1-low) }
	y := func(v float64) float64 { return top + side - side*(v-low)/(1-low) }
	var b strings.Builder
	b.WriteString(page(title, top+side+26))
	for v := 1.0; v > low-0.001; v -= 0.2 {
		fmt.Fprintf(&b, `<path class="grid" d="M%.1f %.1fH%.1fM%.1f %.1fV%.1f" fill="none" stroke="#d9cebd"/>%s%s`+"\n",
			left, y(v), left+side, x(v), top, top+side, label(left-8, y(v)+5, "end", v),
			label(x(v), top+side+20, "middle", v))
	}
	fmt.Fprintf(&b, `<path class="predict" d="M%.1f %.1fL%.1f %.1f" stroke="#a33a0c" stroke-width="2"/>`+"\n",
		x(low), y(low), x(1), y(1))
	for _, c := range cells {
		b.WriteString(c.bar(x(c.Said), y(c.True), 0, y(0)-y(2*c.error()), 3.5))
	}
	b.WriteString("</svg>\n")
	return b.String()
}
