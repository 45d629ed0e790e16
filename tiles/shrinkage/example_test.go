package shrinkage_test

import (
	"fmt"

	"lidwright/tiles"
	"lidwright/tiles/shrinkage"
)

// ASTM C326: drying and total shrinkage are shares of the wet length, firing shrinkage of the dry one. 100 mm
// that are 94 mm dry and 88 mm fired shrank by 6.0 % in drying, 6/94 = 6.4 % in firing and 12.0 % in all.
func ExampleDerive() {
	b := tiles.Bar{Code: "BQ7", Marks: 1, MarkLength: 100}
	for stage, l := range map[tiles.Stage]tiles.Millimetre{tiles.Wet: 100, tiles.Dry: 94, tiles.Fired: 88} {
		b.Readings = append(b.Readings, tiles.Reading{ID: string(stage), Stage: stage, Mark: 1, Length: l})
	}
	d := shrinkage.Derive(b)
	fmt.Printf("%.1f %.1f %.1f %%\n", 100*d.Drying.Value, 100*d.Firing.Value, 100*d.Total.Value)
	// Output: 6.0 6.4 12.0 %
}

// Worked by hand: of 4 % that have gone -100 ln 0.96 = 4.08 log per cent are left behind.
func ExampleSoFarByRatio() {
	fmt.Printf("%.2f\n", float64(shrinkage.SoFarByRatio(0.04).H))
	// Output: 4.08
}

// Worked by hand: 1000 g that are 950 g lost 5 % of their mass as water, 5 × 1.95 = 9.75 % of their volume
// and a third of that in length.
func ExampleSoFarByMass() {
	fmt.Printf("%.2f\n", float64(shrinkage.SoFarByMass(1000, 950).H))
	// Output: 3.25
}

// Worked by hand: 100 mm that are 96 mm now lost -100 ln 0.96 = 4.08 log per cent. A piece cut from the same
// wall tells more than another bar.
func ExampleSoFarByBar() {
	ring := shrinkage.SoFarByBar(100, 96, 0.1, tiles.ThrownRing)
	wall := shrinkage.SoFarByBar(100, 96, 0.1, tiles.CutWall)
	fmt.Printf("%.2f ± %.2f, %.2f ± %.2f\n", float64(ring.H), float64(ring.SD), float64(wall.H),
		float64(wall.SD))
	// Output: 4.08 ± 0.38, 4.08 ± 0.28
}

func ExampleReliability_Words() {
	fmt.Println(shrinkage.MadeOrFiredDifferently.Words())
	// Output: made or fired differently
}
