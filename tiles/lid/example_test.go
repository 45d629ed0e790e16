package lid_test

import (
	"fmt"

	"lidwright/tiles"
	"lidwright/tiles/lid"
)

// Worked by hand: twice the capacity is every length times the cube root of 2, 1.2599.
func ExampleScale() {
	all, err := lid.Scale([]tiles.Millimetre{100, 80}, 500, 1000)
	fmt.Printf("%.1f %v\n", all, err)
	// Output: [126.0 100.8] <nil>
}

func ExampleSeats() {
	fmt.Println(lid.Seats())
	// Output: [inset flange cap drop_in over stopper]
}

// Each seat has its own name for the width that a lid goes into.
func ExampleSeat_CollarName() {
	fmt.Println(lid.Flange.CollarName(), "/", lid.Cap.CollarName())
	// Output: mouth / neck
}
