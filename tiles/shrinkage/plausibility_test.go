package shrinkage

import (
	"testing"

	"lidwright/tiles"
)

// The slips that people make: inches read as mm, ten times, a tenth. A usual length is not asked
// about. (Shares lost by stage: common practice, no source.)
func TestBelieve(t *testing.T) {
	bar := tiles.Bar{MarkLength: 100, Readings: []tiles.Reading{{Stage: tiles.Wet, Length: 100, Mark: 1}}}
	usual := map[tiles.Stage]tiles.Millimetre{tiles.Soft: 98.3, tiles.Leather: 96.5, tiles.Dry: 94.2,
		tiles.Biscuit: 93.7, tiles.Fired: 88.0}
	for stage, l := range usual {
		r := tiles.Reading{Stage: stage, Length: l}
		e := Judge(bar, &r, nil).Belief
		if r.Unusual || r.Outside || r.EntryError != "" || !r.Question.IsZero() ||
			!(e.Low < l && l < e.High) {
			t.Errorf("%s %v: %+v, believed %+v", stage, l, r, e)
		}
		for _, factor := range []tiles.Millimetre{25.4, 10, 0.1, 1 / 25.4} {
			slip := tiles.Reading{Stage: stage, Length: l * factor}
			if Judge(bar, &slip, nil); !slip.Unusual || !slip.Outside ||
				slip.Question.IsZero() || slip.Counts() {
				t.Errorf("%s times %v is not asked about: %+v", stage, factor, slip)
			}
		}
	}
	// longer than wet, and within 1.01: asked, and the bench may confirm
	grown := tiles.Reading{Stage: tiles.Dry, Length: 100.5}
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
	// a first wet length is as far off as marks are laid out (sd 1 % of 100 mm), and no more
	for length, asks := range map[tiles.Millimetre]bool{97: false, 103: false, 95.5: true, 104.5: true} {
		wet := tiles.Reading{Stage: tiles.Wet, Length: length, Unit: "mm"}
		if Judge(tiles.Bar{MarkLength: 100}, &wet, nil); wet.Unusual != asks {
			t.Errorf("a first wet length of %v: asked %v", length, wet.Unusual)
		}
	}
	if _, ok := Plausible(bar, tiles.Reading{Mass: &tiles.Mass{}}, nil); ok {
		t.Error("masses were judged by length")
	}
}

// TestSecondReading: a reading that waits is confirmed by another of the same stage and marks within two
// sds of one reading, 0.2 mm by calliper and 0.5 by rule (common practice, no source), and by no other.
func TestSecondReading(t *testing.T) {
	waits := tiles.Reading{ID: "first", Stage: tiles.Dry, Mark: 1, Length: 100.9,
		Unusual: true, Instrument: "calliper"}
	second := func(change func(first, r *tiles.Reading)) (tiles.Bar, tiles.Reading) {
		first, r := waits, tiles.Reading{ID: "second", Stage: tiles.Dry, Mark: 1, Length: 100.5,
			Unusual: true, Instrument: "calliper"}
		change(&first, &r)
		return tiles.Bar{MarkLength: 100, Readings: []tiles.Reading{{ID: "wet", Stage: tiles.Wet, Mark: 1,
			Length: 100}, first}}, r
	}
	for name, c := range map[string]struct {
		change func(first, r *tiles.Reading)
		want   bool
	}{
		"0.4 mm apart":  {func(_, r *tiles.Reading) {}, true},
		"0.4 mm longer": {func(_, r *tiles.Reading) { r.Length = 101.3 }, true},
		"0.41 mm apart": {func(_, r *tiles.Reading) { r.Length = 100.49 }, false},
		"1 mm apart, one by rule": {func(_, r *tiles.Reading) { r.Length, r.Instrument = 99.9, "rule" },
			true},
		"1.1 mm apart, one by rule": {func(_, r *tiles.Reading) { r.Length, r.Instrument = 99.8, "rule" },
			false},
		"itself believed":         {func(_, r *tiles.Reading) { r.Unusual = false }, true},
		"another stage":           {func(_, r *tiles.Reading) { r.Stage = tiles.Biscuit }, false},
		"other marks":             {func(_, r *tiles.Reading) { r.Mark = 2 }, false},
		"said again":              {func(_, r *tiles.Reading) { r.ID = "first" }, false},
		"for the owner":           {func(_, r *tiles.Reading) { r.Outside = true }, false},
		"the first for the owner": {func(first, _ *tiles.Reading) { first.Outside = true }, false},
		"the first struck":        {func(first, _ *tiles.Reading) { first.Struck = &tiles.Act{} }, false},
		"the first confirmed": {func(first, _ *tiles.Reading) { first.Confirmed = &tiles.Act{} },
			false},
		"the first not asked about": {func(first, _ *tiles.Reading) { first.Unusual = false }, false},
		"masses":                    {func(_, r *tiles.Reading) { r.Mass = &tiles.Mass{Dry: 50} }, false},
	} {
		b, r := second(c.change)
		if first, ok := Confirms(b, r); ok != c.want || ok && first.ID != "first" {
			t.Errorf("%s: confirms %q %v, want %v", name, first.ID, ok, c.want)
		}
	}
}

// TestSlipsByName: each slip gets its name and what was meant, in the form in which it is typed.
func TestSlipsByName(t *testing.T) {
	bar := tiles.Bar{BatchRef: tiles.BatchRef{Clay: "tern", Batch: "A"}, MarkLength: 200, Marks: 1,
		Readings: []tiles.Reading{
			{ID: "w", Stage: tiles.Wet, Length: 200, Mark: 1},
			{ID: "d", Stage: tiles.Dry, Length: 188.4, Mark: 1}}}
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
		{"170.3", "mm", tiles.Biscuit, tiles.FarFromUsual, "", "confirm"},
		{"186.8", "mm", tiles.Biscuit, "", "", ""},
		{"7 11/32", "in", tiles.Biscuit, "", "", ""},
	} {
		l, err := tiles.ParseLength("length", c.typed, tiles.LengthUnit(c.unit))
		if err != nil {
			t.Fatal(err)
		}
		r := tiles.Reading{ID: "new", Stage: c.stage, Length: l.Millimetre(), AsTyped: l.Typed,
			Unit: string(l.Unit), Mark: 1}
		meant := Judge(bar, &r, nil).Fix
		if r.EntryError != c.slip || meant != c.meant || r.Needs() != c.needs {
			t.Errorf("%s %s: %q, meant %q, needs %q: %s", c.typed, c.unit, r.EntryError,
				meant, r.Needs(), r.Question)
		}
		if (r.Question.IsZero()) != (c.slip == "") {
			t.Errorf("%s %s: asked %q", c.typed, c.unit, r.Question)
		}
	}
}
