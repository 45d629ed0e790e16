package tiles

import (
	"errors"
	"fmt"
	"math"
	"math/big"
	"strconv"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

func ExampleParseLength() {
	// 1 in is 25.4 mm exactly (international yard and pound agreement, 1959), so
	// 3 23/32 in is 119/32 x 25.4 = 94.45625 mm.
	l, _ := ParseLength("length", "3 23/32", MM)
	fmt.Println(l.Unit, float64(l.Millimetre()))
	fmt.Println(MM.Format(l.Millimetre()), "=", Inch32nd.Format(l.Millimetre()))
	// Output:
	// in 94.45625
	// 94.46 mm = 3 23/32 in
}

func TestParseLength(t *testing.T) {
	for _, c := range []struct {
		text string
		unit LengthUnit
		mm   string // exact, as a fraction
		read LengthUnit
	}{
		{"104.5", MM, "209/2", MM},
		{"104,5", MM, "209/2", MM},
		{"104.5", "", "209/2", MM},
		{"10,45", CM, "209/2", CM},
		{"3.75", Inch, "381/4", Inch}, // 3.75 x 25.4 = 95.25
		{"3.75in", MM, "381/4", Inch},
		{"3 3/4 in", MM, "381/4", Inch},
		{`3 3/4"`, MM, "381/4", Inch},
		{"3 3/4”", MM, "381/4", Inch},
		{"3¾", MM, "381/4", Inch},
		{"3 ¾ IN", CM, "381/4", Inch},
		{"3-23/32", MM, "15113/160", Inch}, // 119/32 x 127/5
		{"3 23/32", Inch32nd, "15113/160", Inch32nd},
		{"23/32", MM, "2921/160", Inch},
		{"1/2 cm", MM, "5", CM},
		{"104.5mm", Inch, "209/2", MM},
		{" 104.5\u00a0MM ", Inch, "209/2", MM},
		{"4", Inch32nd, "508/5", Inch32nd}, // a bare 4 is 4 in, as on the rule
		{"0", MM, "0", MM},
		{"007", MM, "7", MM},
	} {
		got, err := ParseLength("length", c.text, c.unit)
		if err != nil {
			t.Errorf("ParseLength(%q, %s): %v", c.text, c.unit, err)
			continue
		}
		want, _ := new(big.Rat).SetString(c.mm)
		if got.exact.Cmp(want) != 0 || got.Unit != c.read || got.Typed != strings.TrimSpace(c.text) {
			t.Errorf("ParseLength(%q, %s) = %s mm read as %s, typed %q; want %s mm as %s",
				c.text, c.unit, got.exact, got.Unit, got.Typed, want, c.read)
		}
	}
}

func TestParseLengthRefuses(t *testing.T) {
	for _, c := range []struct{ text, kind string }{
		{"", Missing}, {"  ", Missing},
		{"1.234,5", LengthUnreadable}, {"1,234.5", LengthUnreadable}, {"1 234", LengthUnreadable},
		{"1e3", LengthUnreadable}, {"0x10", LengthUnreadable}, {".5", LengthUnreadable},
		{"5.", LengthUnreadable},
		{"3 35/32", LengthUnreadable}, {"3/1", LengthUnreadable}, {"3/65", LengthUnreadable},
		{"3/0", LengthUnreadable},
		{"0/32", LengthUnreadable}, {"3.5 1/2", LengthUnreadable}, {"3 1/2/2", LengthUnreadable},
		{"94.35 m", LengthUnreadable},
		{"mm", LengthUnreadable}, {"94.35mmmm", LengthUnreadable}, {"٣", LengthUnreadable},
		{"--5", LengthUnreadable},
		{strings.Repeat("9", 400), LengthUnreadable}, {strings.Repeat("9", 30), LengthUnreadable},
		{"-3.5", OutOfRange}, {"NaN", OutOfRange}, {"inf", OutOfRange}, {"-inf", OutOfRange},
		{"Infinity", OutOfRange},
	} {
		_, err := ParseLength("opening", c.text, MM)
		var bad *Invalid
		if !errors.As(err, &bad) || bad.Type != c.kind || bad.Field != "opening" || bad.Why.String() == "" {
			t.Errorf("ParseLength(%q) gave %#v, want an Invalid of type %s", c.text, err, c.kind)
		}
	}
	for _, text := range []string{"4.99", "3.72", "2001", "2396.49", "0"} {
		_, err := ParsePiece("length", text, MM)
		var bad *Invalid
		if !errors.As(err, &bad) || bad.Type != UnitUnclear {
			t.Errorf("ParsePiece(%q) gave %v, want unit-unclear", text, err)
		}
	}
	for _, text := range []string{"5", "2000", "94.35"} {
		if _, err := ParsePiece("length", text, MM); err != nil {
			t.Errorf("ParsePiece(%q): %v", text, err)
		}
	}
}

// What somebody writes in decimals is exactly what the digits say, in every unit.
func TestLengthDecimalIsExact(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		whole := rapid.IntRange(0, 9999).Draw(t, "whole")
		tail := rapid.StringMatching(`[0-9]{1,6}`).Draw(t, "tail")
		mark := rapid.SampledFrom([]string{".", ","}).Draw(t, "mark")
		unit := rapid.SampledFrom(lengthUnits[:]).Draw(t, "unit")
		suffix := ""
		if unit != Inch32nd {
			suffix = rapid.SampledFrom([]string{"", " ", " "}).Draw(t, "blank") +
				rapid.SampledFrom([]string{"", string(unit)}).Draw(t, "suffix")
		}
		text := strconv.Itoa(whole) + mark + tail + suffix
		l, err := ParseLength("length", text, unit)
		if err != nil {
			t.Fatalf("%q: %v", text, err)
		}
		want, _ := new(big.Rat).SetString(strconv.Itoa(whole) + "." + tail)
		size := map[LengthUnit]*big.Rat{MM: big.NewRat(1, 1), CM: big.NewRat(10, 1), Inch: big.NewRat(127, 5),
			Inch32nd: big.NewRat(127, 5)}
		if want.Mul(want, size[unit]); l.exact.Cmp(want) != 0 {
			t.Fatalf("%q in %s is %s mm, want %s", text, unit, l.exact, want)
		}
		if f, _ := want.Float64(); float64(l.Millimetre()) != f {
			t.Fatalf("%q: %v mm, want the nearest float %v", text, l.Millimetre(), f)
		}
	})
}

// A length is read as the very fraction that was written.
func TestFractionIsExact(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		whole := rapid.IntRange(0, 70).Draw(t, "whole")
		d := rapid.IntRange(2, 64).Draw(t, "below")
		n := rapid.IntRange(1, d-1).Draw(t, "above")
		sep := rapid.SampledFrom([]string{" ", "-", "  "}).Draw(t, "sep")
		text := fmt.Sprintf("%d%s%d/%d", whole, sep, n, d)
		l, err := ParseLength("length", text, MM)
		if err != nil {
			t.Fatalf("%q: %v", text, err)
		}
		want := new(big.Rat).Add(big.NewRat(int64(whole), 1), big.NewRat(int64(n), int64(d)))
		if want.Mul(want, big.NewRat(127, 5)); l.exact.Cmp(want) != 0 {
			t.Fatalf("%q is %s mm, want %s", text, l.exact, want)
		}
	})
}

// What a reader is shown is within half of its last place.
func TestFormat(t *testing.T) {
	half := map[LengthUnit]float64{MM: 0.005, CM: 0.005, Inch: 0.00005 * 25.4, Inch32nd: 25.4 / 64}
	rapid.Check(t, func(t *rapid.T) {
		mm := rapid.Float64Range(0, 2000).Draw(t, "mm")
		unit := rapid.SampledFrom(lengthUnits[:]).Draw(t, "unit")
		shown := unit.Format(Millimetre(mm))
		back, err := ParseLength("length", shown, unit)
		if err != nil {
			t.Fatalf("%v mm shown as %q: %v", mm, shown, err)
		}
		if off := math.Abs(float64(back.Millimetre()) - mm); off > half[unit]+1e-9 {
			t.Fatalf("%v mm shown as %q is off by %v mm", mm, shown, off)
		}
	})
	for _, c := range []struct {
		mm   Millimetre
		unit LengthUnit
		want string
	}{
		{94.35, MM, "94.35 mm"}, {100, MM, "100.0 mm"}, {108.5942, Inch, "4.2754 in"},
		{104.5, CM, "10.45 cm"},
		{102.5, Inch32nd, "4 1/32 in"}, // 129.13 thirty-seconds
		{101.6, Inch32nd, "4 in"}, {12.7, Inch32nd, "1/2 in"}, {-12.7, Inch32nd, "-1/2 in"},
		{Millimetre(math.NaN()), Inch32nd, "no length"}, {Millimetre(math.Inf(1)), MM, "no length"},
	} {
		if got := c.unit.Format(c.mm); got != c.want {
			t.Errorf("%s.Format(%v) = %q, want %q", c.unit, float64(c.mm), got, c.want)
		}
	}
}

func FuzzParseLength(f *testing.F) {
	for _, text := range []string{"104.5", "104,5", "3 23/32", "3-23/32\"", "½", "1.234,5", "NaN",
		"-1", "3½ cm", "∞", "9/2"} {
		f.Add(text, "mm")
	}
	f.Fuzz(func(t *testing.T, text, unit string) {
		l, err := ParseLength("length", text, LengthUnit(unit))
		if err != nil {
			var bad *Invalid
			if !errors.As(err, &bad) || bad.Field != "length" || bad.Type == "" {
				t.Fatalf("%q: %v is no Invalid", text, err)
			}
			return
		}
		if mm := l.Millimetre(); !(mm >= 0) || math.IsInf(float64(mm), 0) {
			t.Fatalf("%q is %v mm", text, mm)
		}
		again, err := ParseLength("length", l.Typed, l.Unit)
		if err != nil || again.exact.Cmp(l.exact) != 0 || again.Unit != l.Unit {
			t.Fatalf("%q kept as %q in %s reads as %v, %v", text, l.Typed, l.Unit, again, err)
		}
	})
}
