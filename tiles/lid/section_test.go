package lid

import (
	"math"
	"slices"
	"strings"
	"testing"

	"lidwright/tiles"
)

// Every seat: the widths drawn are the fired ones, the halves mirror each other, the outlines lie in
// the box and no lid overlaps its pot.
func TestSections(t *testing.T) {
	for name, q := range map[string]Question{
		"inset":          {Collar: []tiles.Millimetre{104.5}, Opening: 92.5},
		"no ledge given": {Collar: []tiles.Millimetre{104.5}},
		"oval":           {Collar: []tiles.Millimetre{104.5, 105.5}, Opening: 92.5},
		"drop in":        {Seat: DropIn, Collar: []tiles.Millimetre{104.5}, Opening: 92.5},
		"flange":         {Seat: Flange, Collar: []tiles.Millimetre{105}},
		"stopper":        {Seat: Stopper, Collar: []tiles.Millimetre{40}},
		"cap":            {Seat: Cap, Collar: []tiles.Millimetre{80}},
		"over":           {Seat: Over, Collar: []tiles.Millimetre{80}, Opening: 68},
		"gallery":        {Lid: 103},
		"gap":            {Collar: []tiles.Millimetre{104.5}, Opening: 92.5, Lid: 102},
	} {
		t.Run(name, func(t *testing.T) {
			a := asked(t, q)
			s := a.Section(tiles.MM)
			width := map[string]float64{}
			for _, m := range s.Measures {
				width[m.Name] = m.To.X - m.From.X
				if m.Text == "" || m.From.Y != m.To.Y || !strings.Contains(strings.ToLower(s.Says), strings.ToLower(m.Text)) {
					t.Errorf("%+v, said %q", m, s.Says)
				}
			}
			near(t, "collar", width["collar"], float64(a.Fired.Collar), 1e-9)
			near(t, "lid", width["lid"], float64(a.Fired.Lid), 1e-9)
			near(t, "play, both sides", 2*width["play"], float64(a.Fired.Play), 1e-9)
			parts := map[string]int{}
			for _, shape := range s.Shapes {
				parts[shape.Part]++
				for _, p := range shape.Outline {
					if math.IsNaN(p.X) || math.IsNaN(p.Y) || p.X < s.Low.X || p.X > s.High.X || p.Y < s.Low.Y || p.Y > s.High.Y {
						t.Errorf("%s: point %v outside %v to %v", shape.Part, p, s.Low, s.High)
					}
					if !slices.ContainsFunc(s.Shapes, func(o Shape) bool { return slices.Contains(o.Outline, Point{-p.X, p.Y}) }) {
						t.Errorf("%s: %v has no mirror", shape.Part, p)
					}
				}
			}
			if parts["pot"] != 2 || parts["lid"] != 1 {
				t.Errorf("shapes %v", parts)
			}
			for _, pot := range s.Shapes[:2] {
				for _, p := range s.Shapes[2].Outline {
					if inside(p, pot.Outline) {
						t.Errorf("the lid's point %v lies in the pot", p)
					}
				}
				for _, p := range pot.Outline {
					if inside(p, s.Shapes[2].Outline) {
						t.Errorf("the pot's point %v lies in the lid", p)
					}
				}
			}
		})
	}
	if got := asked(t, Question{Collar: []tiles.Millimetre{104.5}, Opening: 92.5}).Section(tiles.MM).Says; got !=
		"Cross-section, widths to scale as fired. Gallery, wall to wall 104.5 mm wet, 91.54 mm fired; lid 102.5 mm wet, 89.79 mm fired; ledge opening 92.5 mm wet, 81.03 mm fired; play 1.75 mm fired, across; bearing 3.5 mm when pushed to one side." {
		t.Error(got)
	}
}

// inside reports whether p lies well within an outline (even-odd rule; an edge does not count).
func inside(p Point, outline []Point) bool {
	in := false
	for i, a := range outline {
		b := outline[(i+1)%len(outline)]
		if d := math.Abs((b.X-a.X)*(p.Y-a.Y)-(b.Y-a.Y)*(p.X-a.X)) / math.Hypot(b.X-a.X, b.Y-a.Y); d < 1e-9 &&
			p.X >= min(a.X, b.X)-1e-9 && p.X <= max(a.X, b.X)+1e-9 && p.Y >= min(a.Y, b.Y)-1e-9 && p.Y <= max(a.Y, b.Y)+1e-9 {
			return false
		}
		if (a.Y > p.Y) != (b.Y > p.Y) && p.X < a.X+(p.Y-a.Y)*(b.X-a.X)/(b.Y-a.Y) {
			in = !in
		}
	}
	return in
}
