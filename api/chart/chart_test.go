package chart_test

import (
	"cmp"
	"encoding/xml"
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"lidwright/api/chart"
	"lidwright/kiln"
	"lidwright/tiles"
	"lidwright/tiles/lid"
	"lidwright/tiles/shrinkage"
)

func ExampleHoursMinutes() {
	fmt.Println(chart.HoursMinutes(7*time.Hour + 5*time.Minute + 40*time.Second))
	// Output: 7 h 05
}

// steady climbs by 100 K each hour from 20 °C, a value each quarter of an hour.
func steady(hours int) kiln.Envelope {
	e := kiln.Envelope{Channel: "top", Step: 15 * time.Minute}
	for i := 0; i <= 4*hours; i++ {
		t := kiln.Celsius(20 + 25*i)
		e.After = append(e.After, time.Duration(i)*15*time.Minute)
		e.Low, e.High = append(e.Low, t), append(e.High, t)
	}
	return e
}

func wellFormed(t *testing.T, svg string) {
	t.Helper()
	d := xml.NewDecoder(strings.NewReader(svg))
	for {
		if _, err := d.Token(); err == io.EOF {
			return
		} else if err != nil {
			t.Fatalf("%v in %s", err, svg)
		}
	}
}

// heatPath is the drawn line of the control probe.
func heatPath(t *testing.T, svg string) string {
	t.Helper()
	m := regexp.MustCompile(`<path class="heat" d="([^"]*)"`).FindStringSubmatch(svg)
	if m == nil {
		t.Fatalf("no line in %s", svg)
	}
	return m[1]
}

// frame is a drawing's own scale: left, top, right, bottom in px; from, to in s; low, high in °C; the end in
// s.
func frame(t *testing.T, svg string) (f [9]float64) {
	t.Helper()
	m := regexp.MustCompile(`data-frame="([^"]*)"`).FindStringSubmatch(svg)
	if m == nil {
		t.Fatalf("no frame in %s", svg)
	}
	for i, s := range strings.Fields(m[1]) {
		f[i], _ = strconv.ParseFloat(s, 64)
	}
	return f
}

// TestCurveIsToScale reads the picture's own frame and holds the last point against it: by hand, 8 h at
// 100 K/h from 20 °C end at 820 °C. A point is drawn at the middle of its step of a quarter of an hour.
func TestCurveIsToScale(t *testing.T) {
	for _, part := range [][2]time.Duration{{}, {4 * time.Hour, 9 * time.Hour}} {
		svg := chart.Curve{Lines: []kiln.Envelope{steady(8)}, Zone: time.UTC, Title: "A & B", From: part[0],
			To: part[1]}.SVG()
		wellFormed(t, svg)
		f := frame(t, svg)
		x, y := 0.0, 0.0 // the place of the first point, and the way from each to the next
		for i, n := range regexp.MustCompile(`-?[0-9.]+`).FindAllString(heatPath(t, svg), -1) {
			v, err := strconv.ParseFloat(n, 64)
			if err != nil {
				t.Fatal(err)
			}
			if i%2 == 0 {
				x += v
			} else {
				y += v
			}
		}
		if hours := (f[4] + (x-f[0])/(f[2]-f[0])*(f[5]-f[4])) / 3600; math.Abs(hours-8.125) > 0.02 {
			t.Errorf("the line ends at %.2f h", hours)
		}
		if c := f[6] + (f[3]-y)/(f[3]-f[1])*(f[7]-f[6]); math.Abs(c-820) > 2 {
			t.Errorf("the line ends at %.0f °C", c)
		}
		if !strings.Contains(svg, ">820 °C<") || !strings.Contains(svg, ">after 8 h 00<") ||
			!strings.Contains(svg,
				"<title>A &amp; B</title>") {
			t.Error("no peak or no title")
		}
	}
}

// A part is drawn anew: its scale is its own, and its figures are as large as before.
func TestPartHasAScaleOfItsOwn(t *testing.T) {
	svg := chart.Curve{Lines: []kiln.Envelope{steady(8)}, Zone: time.UTC, From: 4 * time.Hour,
		To: 5 * time.Hour}.SVG()
	if f := frame(t, svg); f[4] != 4*3600 || f[5] != 5*3600 || f[6] < 350 || f[7] > 600 {
		t.Errorf("the frame of 420 to 520 °C is %v", f)
	}
	if n := strings.Count(svg, `text-anchor="end" class="t2"`); n < 4 {
		t.Errorf("%d temperatures at the left", n)
	}
}

// The peak of a firing that is over is told by the drawing as by its summary, and where a part without it is
// shown, the highest of that part.
func TestPeakAsItsSummaryTellsIt(t *testing.T) {
	c := chart.Curve{Lines: []kiln.Envelope{steady(8)}, Zone: time.UTC, Top: 819.4}
	if svg := c.SVG(); !strings.Contains(svg, ">819 °C<") {
		t.Errorf("the peak is not told as 819: %s", svg)
	}
	c.Top = 1200
	if svg := c.SVG(); !strings.Contains(svg, ">820 °C<") {
		t.Errorf("the highest is not told as 820: %s", svg)
	}
}

// The leader of a line across is upright: it meets the line over or under its label.
func TestLeaderOfALineAcross(t *testing.T) {
	across := regexp.MustCompile(`class="(?:shut|limit)" d="M[\d.]+ ([\d.]+)H`)
	leader := regexp.MustCompile(`class="hair" d="M([\d.]+) ([\d.]+)L([\d.]+) `)
	found := 0
	for seed := range uint64(200) {
		d := randomFiring(rand.New(rand.NewPCG(seed, 7)))
		d.Width, d.Height = 358, 330
		svg := d.SVG()
		for _, line := range across.FindAllStringSubmatch(svg, -1) {
			for _, m := range leader.FindAllStringSubmatch(svg, -1) {
				if m[2] != line[1] || strings.Contains(svg, `cx="`+m[1]+`"`) { // that of a dot on the line
					continue
				}
				if found++; m[1] != m[3] {
					t.Errorf("seed %d: a leader from %s to %s", seed, m[1], m[3])
				}
			}
		}
	}
	if found == 0 {
		t.Error("no leader was drawn")
	}
}

// In °F the lines across stand at whole tens: 32 and 212 by definition.
func TestCurveInFahrenheit(t *testing.T) {
	svg := chart.Curve{Lines: []kiln.Envelope{steady(8)}, Zone: time.UTC, Fahrenheit: true}.SVG()
	if !strings.Contains(svg, ">1508 °F<") { // 820 · 1.8 + 32
		t.Errorf("no peak in °F: %s", svg)
	}
	for _, m := range regexp.MustCompile(`text-anchor="end" class="t2">(\d+)<`).FindAllStringSubmatch(svg,
		-1) {
		if v, _ := strconv.Atoi(m[1]); v%10 != 0 {
			t.Errorf("a line across at %d °F", v)
		}
	}
}

// In 200 firings at random, in two languages, at two sizes, whole and in parts, no label covers another or
// a line that is drawn.
func TestLabelsCoverNothing(t *testing.T) {
	german := map[string]string{"keep shut": "geschlossen halten", "above {1}": "über {1}", "limit": "Grenze",
		"no reading": "kein Messwert", "cone": "Kegel", "usual": "üblich",
		"gap of unknown length": "Lücke unbekannter Länge"}
	placed, left := 0, 0
	for seed := range uint64(200) {
		d := randomFiring(rand.New(rand.NewPCG(seed, 7)))
		for _, size := range [][2]float64{{358, 330}, {724, 420}} {
			for _, say := range []func(string) string{nil,
				func(s string) string { return cmp.Or(german[s], s) }} {
				d.Width, d.Height, d.Say = size[0], size[1], say
				svg := d.SVG()
				wellFormed(t, svg)
				boxes := textBoxes(svg)
				for i, a := range boxes {
					for _, b := range boxes[:i] {
						if a.left < b.right-1 && b.left < a.right-1 &&
							a.top < b.bottom-1 && b.top < a.bottom-1 {
							t.Fatalf("seed %d, %v: %q covers %q", seed, size, a.text, b.text)
						}
					}
					if a.class != "tb" && a.class != "t2" || a.right > size[0]+1 || a.left < -1 {
						t.Fatalf("seed %d, %v: %q stands at %.0f to %.0f", seed, size,
							a.text, a.left, a.right)
					}
				}
				if d.Peak.After > 0 && d.To == 0 {
					if placed++; !strings.Contains(svg, d.Peak.Says[1]) {
						left++
					}
				}
			}
		}
	}
	t.Logf("%d of %d peaks to come found no room for their words", left, placed)
	if left*20 > placed {
		t.Errorf("%d of %d peaks are not named", left, placed)
	}
}

func TestGapStaysAGap(t *testing.T) {
	e := steady(8)
	whole := strings.Count(heatPath(t, chart.Curve{Lines: []kiln.Envelope{e}, Zone: time.UTC}.SVG()), "M")
	gaps := []kiln.Gap{{After: 2 * time.Hour, For: 10 * time.Minute, Known: true}, {After: 4 * time.Hour}}
	svg := chart.Curve{Lines: []kiln.Envelope{e}, Gaps: gaps, Zone: time.UTC}.SVG()
	if n := strings.Count(heatPath(t, svg), "M"); whole != 1 || n != 3 {
		t.Errorf("%d strokes without a gap, %d with two", whole, n)
	}
	if !strings.Contains(svg, ">unknown length<") {
		t.Error("a gap of unknown length is not told")
	}
}

// A kiln that switches on and off within a step is drawn from its lowest to its highest.
func TestSpreadOfAStep(t *testing.T) {
	e := steady(8)
	if svg := (chart.Curve{Lines: []kiln.Envelope{e}, Zone: time.UTC}).SVG(); strings.Contains(svg,
		`class="spread"`) {
		t.Error("a steady climb has a spread")
	}
	for i := range e.High {
		e.High[i] += 40
	}
	if svg := (chart.Curve{Lines: []kiln.Envelope{e}, Zone: time.UTC}).SVG(); !strings.Contains(svg,
		`class="spread" d="M`) {
		t.Error("steps of 40 K have no spread")
	}
}

func TestShrinkageSolidWhereTested(t *testing.T) {
	d := chart.Shrinkage{Asked: 1230, AskedSays: []string{"your usual glaze", "Big Blue <7>"},
		DotsSay: "1 bar", LeftOut: "left out",
		HeatSays: "heat work, °C", ConeSays: "cone", Title: "what it <shows>",
		Dots: []shrinkage.CurveDot{{Bar: "BQ7", Work: 1225, Total: 0.12, Weight: 1},
			{Bar: "BQX", Work: 1225, Total: 0.3, Weight: 0.01}}}
	for i := range 5 {
		total := tiles.Ratio(0.10 + 0.01*float64(i))
		d.Points = append(d.Points, shrinkage.CurvePoint{Work: kiln.Celsius(1150 + 25*i), Total: total,
			Likely: shrinkage.Range{Low: total - 0.005, High: total + 0.005}, Tested: i >= 2})
	}
	for _, size := range [][2]float64{{358, 300}, {576, 400}} {
		d.Width, d.Height = size[0], size[1]
		svg := d.SVG()
		wellFormed(t, svg)
		for class, want := range map[string]int{"solid": 1, "dots": 1, "expected": 1, "inkdot": 1, "ring": 1,
			"dim rust": 1} {
			if n := strings.Count(svg, `class="`+class+`"`); n != want {
				t.Errorf("%d of %s, want %d", n, class, want)
			}
		}
		for _, says := range []string{"BQX", "left out", "1 bar", "your usual glaze", `class="tb"`} {
			if !strings.Contains(svg, says) {
				t.Errorf("%g wide: nothing says %s", d.Width, says)
			}
		}
	}
	if d.Fahrenheit = true; !strings.Contains(d.SVG(), ">2200<") {
		t.Error("no 2200 on an axis in °F")
	}
	if (chart.Shrinkage{}).SVG() != "" {
		t.Error("a picture of nothing")
	}
}

func TestRangesOnOneScale(t *testing.T) {
	d := chart.Ranges{Width: 358, Title: "bags", Figure: func(v float64, places int) string {
		return strconv.FormatFloat(v, 'f', places, 64)
	},
		Rows: []chart.RangeRow{{Name: "bag <A>", At: 87.3, Low: 87.1, High: 87.5},
			{Name: "bag B", At: 87.6, Low: 87.3, High: 87.9, Here: true}}}
	svg := d.SVG()
	wellFormed(t, svg)
	if strings.Count(svg, `class="solid"`) != 2 || !strings.Contains(svg, ">87.5<") {
		t.Error(svg)
	}
	if d.Rows = nil; d.SVG() != "" {
		t.Error("a picture of nothing")
	}
}

// Every seat: the drawing is well formed, says what it shows, keeps within its frame, has a height for each
// figure that the seat has, and draws widths to scale: a lid of 102.5 on a gallery of 104.5 is that much
// narrower.
func TestSeats(t *testing.T) {
	numbers := regexp.MustCompile(`-?\d+(?:\.\d+)?`)
	for _, seat := range lid.Seats() {
		d := chart.Seat{Seat: seat, Collar: 104.5, Opening: 92.5, Lid: 102.5, Says: "what it shows <here>"}
		if seat == lid.Cap || seat == lid.Over {
			d.Lid = 106.5
		}
		for _, d := range []chart.Seat{d, {Seat: seat}, {Seat: seat, Collar: 100, Opening: 5, Lid: 400}} {
			svg := d.SVG()
			wellFormed(t, svg)
			if strings.Contains(svg, "NaN") {
				t.Errorf("%s: %s", seat, svg)
			}
			drawn := regexp.MustCompile(`<svg[^>]*>|transform="[^"]*"`).ReplaceAllString(svg, "")
			for _, n := range numbers.FindAllString(drawn, -1) {
				if v, _ := strconv.ParseFloat(n, 64); v > chart.SeatWidth {
					t.Errorf("%s: %s lies outside", seat, n)
				}
			}
		}
		if !strings.Contains(d.SVG(), `aria-label="what it shows &lt;here&gt;"`) {
			t.Errorf("%s does not say what it shows", seat)
		}
		if _, ledged := map[lid.Seat]bool{lid.Inset: true, lid.DropIn: true,
			lid.Over: true}[seat]; d.At("collar") == 0 || d.At("lid") == 0 ||
			(d.At("opening") > 0) != ledged {
			t.Errorf("%s: figures at %d, %d, %d", seat, d.At("collar"), d.At("opening"), d.At("lid"))
		}
	}
	svg := chart.Seat{Seat: lid.Inset, Collar: 104.5, Opening: 92.5, Lid: 102.5}.SVG()
	ends := regexp.MustCompile(`class="(dim|dim rust)" d="M([\d.]+) (\d+)H`).FindAllStringSubmatch(svg, -1)
	width := map[string]float64{}
	for _, e := range ends {
		x, _ := strconv.ParseFloat(e[2], 64)
		width[e[3]] = 2 * math.Abs(x-chart.SeatWidth/2)
	}
	for y, mm := range map[string]float64{"78": 102.5, "194": 92.5} {
		if got := width[y] / width["26"]; math.Abs(got-mm/104.5) > 0.001 {
			t.Errorf("at %s: %.4f of the gallery, want %.4f", y, got, mm/104.5)
		}
	}
}

// randomFiring is a firing with ramps, a hold, a cooling, gaps, a usual one beneath it and what is foreseen.
func randomFiring(r *rand.Rand) chart.Curve {
	e := kiln.Envelope{Channel: "top", Step: time.Duration(2+r.IntN(8)) * time.Minute}
	band := kiln.Envelope{Step: 5 * time.Minute}
	rate, peak, shift := 60+r.Float64()*200, 900+r.Float64()*400, r.Float64()*40-20
	up, hold := time.Duration(peak/rate*float64(time.Hour)), time.Duration(r.IntN(120))*time.Minute
	at := func(a time.Duration) float64 {
		switch {
		case a < up:
			return 20 + rate*a.Hours()
		case a < up+hold:
			return 20 + peak
		}
		return 20 + peak*math.Exp(-(a-up-hold).Hours()/(4+2*shift/20))
	}
	end := time.Duration(float64(up+hold) * (0.2 + 1.8*r.Float64()))
	for a := time.Duration(0); a < end; a += e.Step {
		t := kiln.Celsius(at(a))
		e.After, e.Low, e.High = append(e.After, a), append(e.Low, t-1), append(e.High, t+1)
	}
	for a := time.Duration(0); a < up+hold+16*time.Hour; a += band.Step {
		t := kiln.Celsius(at(a) + shift)
		band.After, band.Low, band.High = append(band.After, a), append(band.Low, t-8), append(band.High, t+8)
	}
	d := chart.Curve{Lines: []kiln.Envelope{e}, Zone: time.UTC, KeepShut: 50, Limit: 1290,
		HeatWork: kiln.Celsius(at(min(end, up)))}
	if r.IntN(3) > 0 {
		d.Band, d.Under = []kiln.Envelope{band}, "usual"
	}
	if r.IntN(2) == 0 {
		d.Began = time.Date(2026, 11, 29, r.IntN(24), r.IntN(60), 0, 0, time.UTC)
	}
	if end < up && len(d.Band) > 0 {
		d.Peak = chart.Foreseen{C: kiln.Celsius(20 + peak), After: up, Says: [2]string{"peak about 02:05",
			"1222 °C"}}
		d.Cool = chart.Foreseen{C: 50, After: up + hold + 15*time.Hour, Says: [2]string{"below 50 °C",
			"about Mon 20:40"}}
	}
	for range r.IntN(3) {
		d.Gaps = append(d.Gaps, kiln.Gap{After: time.Duration(r.Float64() * float64(end)),
			For: time.Duration(r.IntN(60)) * time.Minute, Known: r.IntN(3) > 0})
	}
	slices.SortFunc(d.Gaps, func(a, b kiln.Gap) int { return cmp.Compare(a.After, b.After) })
	if r.IntN(3) == 0 {
		d.From, d.To = end/4, end/2
	}
	return d
}

// textBox is a text of a drawing with the room that a common font takes for it, 7 px a character.
type textBox struct {
	text, class              string
	left, right, top, bottom float64
}

var aText = regexp.MustCompile(`<text x="([^"]*)" y="([^"]*)"(?: text-anchor="(\w+)")? class="(\w+)"[^>]*>([^<]*)</text>`)

func textBoxes(svg string) (all []textBox) {
	for _, m := range aText.FindAllStringSubmatch(svg, -1) {
		x, _ := strconv.ParseFloat(m[1], 64)
		y, _ := strconv.ParseFloat(m[2], 64)
		w := 7 * float64(len([]rune(m[5])))
		switch m[3] {
		case "middle":
			x -= w / 2
		case "end":
			x -= w
		}
		all = append(all, textBox{m[5], m[4], x, x + w, y - 11, y + 3})
	}
	return all
}
