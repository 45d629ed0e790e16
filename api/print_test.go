package api

import (
	"encoding/xml"
	"fmt"
	"html"
	"math"
	"net/url"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"lidwright/api/pages"
	"lidwright/api/wire"
)

// drawing is as much of an SVG as the tests hold a rule against.
type drawing struct {
	Width   string `xml:"width,attr"`
	Height  string `xml:"height,attr"`
	ViewBox string `xml:"viewBox,attr"`
	Rects   []struct {
		Class  string  `xml:"class,attr"`
		Width  float64 `xml:"width,attr"`
		Height float64 `xml:"height,attr"`
	} `xml:"rect"`
	Paths []struct {
		Class string `xml:"class,attr"`
		D     string `xml:"d,attr"`
	} `xml:"path"`
	Texts []string `xml:"text"`
}

func drawn(t *testing.T, svg string) drawing {
	t.Helper()
	var d drawing
	if err := xml.Unmarshal([]byte(svg), &d); err != nil {
		t.Fatalf("%v\n%s", err, svg)
	}
	return d
}

// millimetresPerUnit is the scale of a drawing across and down: its size on paper over its viewBox.
func (d drawing) millimetresPerUnit(t *testing.T) (x, y float64) {
	t.Helper()
	var box [4]float64
	if _, err := fmt.Sscan(d.ViewBox, &box[0], &box[1], &box[2], &box[3]); err != nil {
		t.Fatal(err)
	}
	mm := func(s string) float64 {
		v, err := strconv.ParseFloat(strings.TrimSuffix(s, "mm"), 64)
		if err != nil || !strings.HasSuffix(s, "mm") {
			t.Fatalf("%q is no length in mm", s)
		}
		return v
	}
	return mm(d.Width) / box[2], mm(d.Height) / box[3]
}

var horizontal = regexp.MustCompile(`[MH](-?[0-9.]+)`)

// across are the places, left to right as drawn, that a path goes through.
func across(d string) []float64 {
	var out []float64
	for _, m := range horizontal.FindAllStringSubmatch(d, -1) {
		v, _ := strconv.ParseFloat(m[1], 64)
		out = append(out, v)
	}
	return out
}

// The check square is 50.0 mm each way on paper, and so are the widths of the gauge what they say.
func TestPrintsAreToScale(t *testing.T) {
	for _, g := range []gauge{{Title: "teapot", Collar: 104.5, Opening: 92.5, Lid: 102.5},
		{Title: "jar", Collar: 240}, {Title: "casserole", Collar: 300, Opening: 284, Lid: 296}} {
		d := drawn(t, g.SVG(pages.Locale{}))
		x, y := d.millimetresPerUnit(t)
		if len(d.Rects) != 1 || math.Abs(d.Rects[0].Width*x-50) > 1e-9 ||
			math.Abs(d.Rects[0].Height*y-50) > 1e-9 {
			t.Errorf("%s: a check square of %+v, scale %g %g", g.Title, d.Rects, x, y)
		}
		share := 1.0
		if strings.Contains(strings.Join(d.Texts, " "), "Half of each") {
			share = 2
		}
		plug := across(d.Paths[0].D)
		if got := share * (plug[1] - plug[0]) * x; math.Abs(got-g.Collar) > 0.01 {
			t.Errorf("%s: gallery %.3f mm", g.Title, got)
		}
		if g.Opening > 0 {
			right, left := plug[2], plug[3]
			if got := share * (right - left) * x; math.Abs(got-g.Opening) > 0.01 {
				t.Errorf("%s: opening %.3f mm", g.Title, got)
			}
		}
		if g.Lid > 0 {
			fork := across(d.Paths[1].D)
			if got := share * (fork[2] - fork[3]) * x; math.Abs(got-g.Lid) > 0.01 {
				t.Errorf("%s: lid %.3f mm", g.Title, got)
			}
		}
		for _, p := range d.Paths {
			for _, v := range across(p.D) {
				if v*x < sheetEdge-1e-9 || v*x > sheetWide-sheetEdge+1e-9 {
					t.Errorf("%s: drawn to %.1f, off the sheet", g.Title, v*x)
				}
			}
		}
	}
}

// A stroke of the rule for each fired millimetre: of a clay that loses 12.4 % they stand 1/0.876 =
// 1.14155 mm apart (worked by hand).
func TestShrinkRuleReadsFiredSize(t *testing.T) {
	d := drawn(t, shrinkRule{Title: "tern", Times: 1 / 0.876}.SVG(pages.Locale{}))
	x, _ := d.millimetresPerUnit(t)
	var strokes []float64
	for _, p := range d.Paths {
		if p.Class == "strokes" {
			strokes = across(p.D)
		}
	}
	if len(strokes) != 231 { // 230 fired mm are 262.6 wet; ten more would leave the sheet
		t.Fatalf("%d strokes", len(strokes))
	}
	for n := range strokes {
		if got := (strokes[n] - strokes[0]) * x; math.Abs(got-float64(n)/0.876) > 0.002 {
			t.Fatalf("stroke %d stands at %.4f mm", n, got)
		}
	}
	if math.Abs(d.Rects[0].Width*x-50) > 1e-9 {
		t.Error("check square")
	}
}

// The prints over HTTP: the drawing alone, the page around it, the clay's own rate in the rule, the
// sheet of a form, the year.
func TestPrintPages(t *testing.T) {
	s := testStudio(t)
	alone := drawn(t, s.get("/gauge.svg?collar=104.5&opening=92.5&lid=102.5&title=teapot+%3Cb%3E", 200, nil))
	if alone.Width != "297mm" || !strings.Contains(strings.Join(alone.Texts, " "), "teapot <b>") {
		t.Errorf("%+v", alone)
	}
	var rate wire.Shrinkage
	s.get("/v1/clays/tern/shrinkage?batch=B", 200, &rate)
	rule := drawn(t, s.get("/rule.svg?clay=tern&batch=B", 200, nil))
	for _, p := range rule.Paths {
		if at := across(p.D); p.Class == "strokes" &&
			math.Abs((at[100]-at[0])/100-*rate.MultiplyFiredBy) > 1e-4 {
			t.Errorf("the rule's strokes stand %.4f apart, the clay says %.4f",
				(at[100]-at[0])/100, *rate.MultiplyFiredBy)
		}
	}
	pot := s.pots(1, 1, 104.5, 92.5, 0, 0)[0]
	sheet := s.get("/pot/"+pot+"/sheet", 200, nil)
	for _, want := range []string{"104.5", "ledge opening", "leather", "bisque", "not over",
		"/gauge?", "Throw a spare"} {
		if !strings.Contains(sheet, want) {
			t.Errorf("the wet sheet lacks %q", want)
		}
	}
	_, gauge, _ := strings.Cut(sheet, `href="/gauge?`)
	gauge, _, _ = strings.Cut(gauge, `"`)
	page := s.get("/gauge?"+html.UnescapeString(gauge), 200, nil)
	if !strings.Contains(page, `width="297mm"`) || !strings.Contains(page, "50 mm each way") ||
		!strings.Contains(page, "/gauge.svg?") {
		t.Error("the page of the gauge lacks its drawing")
	}
	s.form("/lid-results", url.Values{"id": {s.id("v", 1)}, "pot": {pot}, "glued": {"1"}}, 303)
	year := s.get("/year?year=2026", 200, nil)
	for _, want := range []string{"1 glaze", "1 boards, 1 lids", "Lost by other causes: 1 glued",
		"No kiln in the settings"} {
		if !strings.Contains(year, want) {
			t.Errorf("the year sheet lacks %q", want)
		}
	}
	for path, status := range map[string]int{"/gauge": 422, "/gauge?collar=900": 422,
		"/gauge?collar=90&opening=95": 422, "/gauge?collar=90&colour=red": 422,
		"/rule?clay=wren": 404, "/rule": 422,
		"/year?year=26": 422, "/year?year=next": 422, "/pot/" + s.id("p", 9) + "/sheet": 404} {
		s.get(path, status, nil)
	}
}
