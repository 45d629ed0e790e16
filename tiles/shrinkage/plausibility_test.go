package shrinkage

import (
	"lidwright/tiles"
	"testing"
)

// The slips that people make: inches read as mm, ten times, a tenth. A usual length is not asked
// about. (Shares lost by stage: common practice, no source.)
func TestBelieve(t *testing.T) {
	bar := tiles.Bar{MarkLength: 100, Readings: []tiles.Reading{{Stage: tiles.Wet, Length: 100, Mark: 1}}}
	usual := map[tiles.Stage]tiles.Millimetre{tiles.Soft: 98.3, tiles.Leather: 96.5, tiles.Dry: 94.2, tiles.Biscuit: 93.7, tiles.Fired: 88.0}
	for stage, l := range usual {
		r := tiles.Reading{Stage: stage, Length: l}
		e, _ := Judge(bar, &r, nil)
		if r.Unusual || r.Outside || r.EntryError != "" || r.Question != "" || !(e.Low < l && l < e.High) {
			t.Errorf("%s %v: %+v, believed %+v", stage, l, r, e)
		}
		for _, factor := range []tiles.Millimetre{25.4, 10, 0.1, 1 / 25.4} {
			slip := tiles.Reading{Stage: stage, Length: l * factor}
			if Judge(bar, &slip, nil); !slip.Unusual || !slip.Outside || slip.Question == "" || slip.Counts() {
				t.Errorf("%s times %v is not asked about: %+v", stage, factor, slip)
			}
		}
	}
	grown := tiles.Reading{Stage: tiles.Dry, Length: 100.5} // longer than wet, and within 1.01: asked, and the bench may confirm
	if Judge(bar, &grown, nil); !grown.Unusual || grown.Outside {
		t.Errorf("grown while drying: %+v", grown)
	}
	grown.Confirmed = &tiles.Act{}
	if !grown.Counts() {
		t.Error("a confirmed reading does not count")
	}
	wet := tiles.Reading{Stage: tiles.Wet, Length: 102} // marks cut a little wide
	if Judge(tiles.Bar{MarkLength: 100}, &wet, nil); wet.Unusual {
		t.Errorf("marks cut wide: %+v", wet)
	}
	if _, ok := Plausible(bar, tiles.Reading{Mass: &tiles.Mass{}}, nil); ok {
		t.Error("masses were judged by length")
	}
}

// TestSlipsByName: each slip gets its name and what was meant, in the form in which it is typed.
func TestSlipsByName(t *testing.T) {
	bar := tiles.Bar{BatchRef: tiles.BatchRef{Clay: "tern", Batch: "A"}, MarkLength: 200, Marks: 1, Readings: []tiles.Reading{
		{ID: "w", Stage: tiles.Wet, Length: 200, Mark: 1}, {ID: "d", Stage: tiles.Dry, Length: 188.4, Mark: 1}}}
	for _, c := range []struct {
		typed, unit string
		stage       tiles.Stage
		slip        tiles.EntryError
		meant       string
		needs       string
	}{
		{"7.3", "mm", tiles.Biscuit, tiles.InchAsMM, "7.3 in", "count"},
		{"186.8", "in", tiles.Biscuit, tiles.MMAsInch, "186.8 mm", "count"},
		{"1868", "mm", tiles.Biscuit, tiles.TenTimes, "186.8 mm", "count"},
		{"18.68", "mm", tiles.Biscuit, tiles.Tenth, "186.8 mm", "count"},
		{"168.8", "mm", tiles.Biscuit, tiles.DigitsSwapped, "186.8 mm", "confirm"},
		{"190.2", "mm", tiles.Biscuit, tiles.LongerThanBefore, "", "confirm"},
		{"175.3", "mm", tiles.Biscuit, tiles.FarFromUsual, "", "confirm"},
		{"186.8", "mm", tiles.Biscuit, "", "", ""},
		{"7 11/32", "in", tiles.Biscuit, "", "", ""},
	} {
		l, err := tiles.ParseLength("length", c.typed, tiles.LengthUnit(c.unit))
		if err != nil {
			t.Fatal(err)
		}
		r := tiles.Reading{ID: "new", Stage: c.stage, Length: l.Millimetre(), AsTyped: l.Typed, Unit: string(l.Unit), Mark: 1}
		_, meant := Judge(bar, &r, nil)
		if r.EntryError != c.slip || meant != c.meant || r.Needs() != c.needs {
			t.Errorf("%s %s: %q, meant %q, needs %q: %s", c.typed, c.unit, r.EntryError, meant, r.Needs(), r.Question)
		}
		if (r.Question == "") != (c.slip == "") {
			t.Errorf("%s %s: asked %q", c.typed, c.unit, r.Question)
		}
	}
}
