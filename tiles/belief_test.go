package tiles

import "testing"

// The slips that people make: inches read as mm, ten times, a tenth. A usual length is not asked
// about. (Shares lost by stage: common practice, no source.)
func TestBelieve(t *testing.T) {
	bar := Bar{MarkLength: 100, Readings: []Reading{{Stage: Wet, Length: 100, Mark: 1}}}
	usual := map[Stage]Millimetre{Soft: 98.3, Leather: 96.5, Dry: 94.2, Biscuit: 93.7, Fired: 88.0}
	for stage, l := range usual {
		r := Reading{Stage: stage, Length: l}
		e, _ := Judge(bar, &r, nil)
		if r.Unusual || r.Outside || r.Slip != "" || r.Question != "" || !(e.Low < l && l < e.High) {
			t.Errorf("%s %v: %+v, believed %+v", stage, l, r, e)
		}
		for _, factor := range []Millimetre{25.4, 10, 0.1, 1 / 25.4} {
			slip := Reading{Stage: stage, Length: l * factor}
			if Judge(bar, &slip, nil); !slip.Unusual || !slip.Outside || slip.Question == "" || slip.Counts() {
				t.Errorf("%s times %v is not asked about: %+v", stage, factor, slip)
			}
		}
	}
	grown := Reading{Stage: Dry, Length: 100.5} // longer than wet, and within 1.01: asked, and the bench may confirm
	if Judge(bar, &grown, nil); !grown.Unusual || grown.Outside {
		t.Errorf("grown while drying: %+v", grown)
	}
	grown.Confirmed = &Act{}
	if !grown.Counts() {
		t.Error("a confirmed reading does not count")
	}
	wet := Reading{Stage: Wet, Length: 102} // marks cut a little wide
	if Judge(Bar{MarkLength: 100}, &wet, nil); wet.Unusual {
		t.Errorf("marks cut wide: %+v", wet)
	}
	if _, ok := Believe(bar, Reading{Mass: &Mass{}}, nil); ok {
		t.Error("masses were judged by length")
	}
}

// TestSlipsByName: each slip gets its name and what was meant, in the form in which it is typed.
func TestSlipsByName(t *testing.T) {
	bar := Bar{BatchRef: BatchRef{Clay: "tern", Batch: "A"}, MarkLength: 200, Marks: 1, Readings: []Reading{
		{ID: "w", Stage: Wet, Length: 200, Mark: 1}, {ID: "d", Stage: Dry, Length: 188.4, Mark: 1}}}
	for _, c := range []struct {
		typed, unit string
		stage       Stage
		slip        Slip
		meant       string
		needs       string
	}{
		{"7.3", "mm", Biscuit, InchAsMM, "7.3 in", "count"},
		{"186.8", "in", Biscuit, MMAsInch, "186.8 mm", "count"},
		{"1868", "mm", Biscuit, TenTimes, "186.8 mm", "count"},
		{"18.68", "mm", Biscuit, Tenth, "186.8 mm", "count"},
		{"168.8", "mm", Biscuit, DigitsSwapped, "186.8 mm", "confirm"},
		{"190.2", "mm", Biscuit, LongerThanBefore, "", "confirm"},
		{"175.3", "mm", Biscuit, FarFromUsual, "", "confirm"},
		{"186.8", "mm", Biscuit, "", "", ""},
		{"7 11/32", "in", Biscuit, "", "", ""},
	} {
		l, err := ParseLength("length", c.typed, LengthUnit(c.unit))
		if err != nil {
			t.Fatal(err)
		}
		r := Reading{ID: "new", Stage: c.stage, Length: l.Millimetre(), AsTyped: l.Typed, Unit: string(l.Unit), Mark: 1}
		_, meant := Judge(bar, &r, nil)
		if r.Slip != c.slip || meant != c.meant || r.Needs() != c.needs {
			t.Errorf("%s %s: %q, meant %q, needs %q: %s", c.typed, c.unit, r.Slip, meant, r.Needs(), r.Question)
		}
		if (r.Question == "") != (c.slip == "") {
			t.Errorf("%s %s: asked %q", c.typed, c.unit, r.Question)
		}
	}
}
