package chart_test

import (
	"encoding/xml"
	"fmt"
	"io"
	"math"
	"regexp"
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

// TestCurveIsToScale reads the picture's own frame and holds the last point against it: by hand, 8 h at
// 100 K/h from 20 °C end at 820 °C.
func TestCurveIsToScale(t *testing.T) {
	svg := chart.Curve{Lines: []kiln.Envelope{steady(8)}, Zone: time.UTC, Title: "A & B"}.SVG()
	wellFormed(t, svg)
	m := regexp.MustCompile(`data-frame="([^"]*)"`).FindStringSubmatch(svg)
	var f [6]float64 // left, top, width, height, hours, °C
	for i, s := range strings.Fields(m[1]) {
		f[i], _ = strconv.ParseFloat(s, 64)
	}
	path := heatPath(t, svg)
	last := strings.Fields(strings.NewReplacer("M", " ", "L", " ").Replace(path))
	x, _ := strconv.ParseFloat(last[len(last)-2], 64)
	y, _ := strconv.ParseFloat(last[len(last)-1], 64)
	if hours := (x - f[0]) / f[2] * f[4]; math.Abs(hours-8) > 0.02 {
		t.Errorf("the line ends at %.2f h", hours)
	}
	if c := (f[1] + f[3] - y) / f[3] * f[5]; math.Abs(c-820) > 1 {
		t.Errorf("the line ends at %.0f °C", c)
	}
	if !strings.Contains(svg, "820 °C after 8 h 00") || !strings.Contains(svg, "<title>A &amp; B</title>") {
		t.Error("no peak or no title")
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
	if !strings.Contains(svg, "gap of unknown length") {
		t.Error("a gap of unknown length is not told")
	}
}

func TestFallDrawsTheHighestFirst(t *testing.T) {
	e := kiln.Envelope{Step: time.Minute, After: []time.Duration{0, time.Minute}, Low: []kiln.Celsius{90, 40},
		High: []kiln.Celsius{100, 60}}
	path := heatPath(t, chart.Curve{Lines: []kiln.Envelope{e}, Zone: time.UTC}.SVG())
	m := regexp.MustCompile(`^M\S+ (\S+)V(\S+?)L\S+ (\S+)V(\S+)$`).FindStringSubmatch(path)
	if m == nil {
		t.Fatal(path)
	}
	var y [4]float64 // downwards on the page
	for i := range y {
		y[i], _ = strconv.ParseFloat(m[i+1], 64)
	}
	if !(y[0] > y[1] && y[2] < y[3]) {
		t.Errorf("90, 100, 60, 40 °C are drawn at %v", y)
	}
}

func TestShrinkageSolidWhereTested(t *testing.T) {
	d := chart.Shrinkage{Clay: "<dry>", From: tiles.Wet, To: tiles.Fired, Asked: kiln.NoTemperature(),
		Dots: []shrinkage.CurveDot{{Bar: "BQ7", Work: 1225, Total: 0.12, Weight: 1}}}
	for i := range 5 {
		total := tiles.Ratio(0.10 + 0.01*float64(i))
		d.Points = append(d.Points, shrinkage.CurvePoint{Work: kiln.Celsius(1150 + 25*i), Total: total,
			Likely: shrinkage.Range{Low: total - 0.005, High: total + 0.005}, Tested: i >= 2})
	}
	svg := d.SVG()
	wellFormed(t, svg)
	for class, want := range map[string]int{"heat": 1, "dotted": 1, "band": 1} {
		if n := strings.Count(svg, `class="`+class+`"`); n != want {
			t.Errorf("%d of %s, want %d", n, class, want)
		}
	}
	if !strings.Contains(d.Says(), "between about 1200 and 1250 °C") {
		t.Error(d.Says())
	}
	if (chart.Shrinkage{}).SVG() != "" {
		t.Error("a picture of nothing")
	}
}

func TestSectionOfNothing(t *testing.T) {
	if s := chart.Section(lid.Section{}); s != "" {
		t.Error(s)
	}
}
