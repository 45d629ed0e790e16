package tiles_test

import (
	"fmt"
	"math"

	"lidwright/kiln"
	"lidwright/tiles"
)

// Worked by hand: 100 mm that are 88 mm fired shrank by -100 ln 0.88 = 12.783 log per cent, which is 12 %.
func ExampleLogPercent_Ratio() {
	fmt.Printf("%.4f\n", tiles.LogPercent(-100*math.Log(0.88)).Ratio())
	// Output: 0.1200
}

// Worked by hand: 3 23/32 in are 3.71875 × 25.4 mm = 94.45625 mm.
func ExampleLengthUnit_Format() {
	fmt.Println(tiles.Inch32nd.Format(94.45625), "/", tiles.MM.Format(94.45625))
	// Output: 3 23/32 in / 94.46 mm
}

// The inch is 25.4 mm exactly (NIST Special Publication 811, appendix B.8).
func ExampleLength_Millimetre() {
	l, _ := tiles.ParseLength("length", "4 in", tiles.MM)
	fmt.Println(l.Millimetre(), l.Unit)
	// Output: 101.6 in
}

// A bar of 3 mm is none; 3 in were probably meant, which is asked.
func ExampleParsePiece() {
	_, err := tiles.ParsePiece("length", "3", tiles.MM)
	fmt.Println(err != nil)
	l, _ := tiles.ParsePiece("length", "3 15/16 in", tiles.MM)
	fmt.Println(l.Millimetre())
	// Output:
	// true
	// 100.0125
}

// Small letters do; signs that look like others are not in the alphabet.
func ExampleAlphabet_Parse() {
	a := tiles.Alphabet("ABCDEFGHJKLNPQRTVWXY347")
	code, err := a.Parse("bar", "bq7")
	fmt.Println(code, err)
	_, err = a.Parse("bar", "BO7")
	fmt.Println(err != nil)
	// Output:
	// BQ7 <nil>
	// true
}

func ExampleParseBatchRef() {
	ref, err := tiles.ParseBatchRef("body", "tern/B")
	fmt.Println(ref.Clay, ref.Batch, ref, err)
	// Output: tern B tern/B <nil>
}

// Two parts of one and one of another are two thirds and one third.
func ExampleParseParents() {
	parents, shares, err := tiles.ParseParents("parents", []string{"tern/A=2", "wren/A=1"})
	fmt.Printf("%v %.3f %v\n", parents, shares, err)
	// Output: [tern/A wren/A] [0.667 0.333] <nil>
}

func ExampleStage_Before() {
	fmt.Println(tiles.Leather.Before(tiles.Dry), tiles.Fired.Before(tiles.Wet))
	// Output: true false
}

// A cell that a spreadsheet would run as a formula gets an apostrophe (OWASP, CSV Injection).
func ExampleSafeCell() {
	fmt.Println(tiles.SafeCell("=1+1"), tiles.SafeCell("BQ7"))
	fmt.Println(tiles.PlainCell(tiles.SafeCell("=1+1")))
	// Output:
	// '=1+1 BQ7
	// =1+1
}

// A number in a table has a point and no zeros that nobody measured.
func ExampleDecimal() {
	fmt.Println(tiles.Decimal(87.6), tiles.Decimal(100))
	// Output: 87.6 100
}

// Bars of a bisque are measured bisque, those of every other firing fired.
func ExampleMeasures() {
	fmt.Println(tiles.Measures(kiln.Bisque), tiles.Measures(kiln.Glaze))
	// Output: bisque fired
}

// Everything at fault is told at once, each beside its field.
func ExampleFaults() {
	var f tiles.Faults
	f.Add(tiles.Missing, "clay", "is needed")
	f.Number("mass_wet_g", -1, 1, 20000)
	fmt.Println(f.Err())
	// Output: clay: is needed; mass_wet_g: is -1, must be 1 to 20000
}
