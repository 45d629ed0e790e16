package heatwork_test

import (
	"fmt"

	"lidwright/kiln/heatwork"
)

// The published end point of cone 6, large and self-supporting, at 60 °C/h is 1222 °C (the table of this
// package and its source stand in cones.md); one scale through all of them puts it within 2 °C of that.
func ExampleConeScale_Parse() {
	c, err := heatwork.MainConeScale().Parse("6")
	fmt.Println(c > 1220 && c < 1224, err)
	// Output: true <nil>
}

// At 150 °C/h the same cone needs a higher end point: less time, more heat.
func ExampleConeScale_EndPoint() {
	scale := heatwork.MainConeScale()
	six, _ := scale.Cone("6")
	fmt.Println(scale.EndPoint(six, 60) < scale.EndPoint(six, 150))
	// Output: true
}

// 06 is not 6: a nought in front counts downwards, so that cone 06 is about 223 °C cooler.
func ExampleConeScale_Cone() {
	scale := heatwork.MainConeScale()
	soft, _ := scale.Parse("06")
	hard, _ := scale.Parse("6")
	fmt.Println(soft < 1000, hard > 1200)
	// Output: true true
}

// A third of the way from cone 7 to 8 is a place on the scale, not a third of a bend.
func ExampleConeScale_Text() {
	scale := heatwork.MainConeScale()
	seven, _ := scale.Parse("7")
	eight, _ := scale.Parse("8")
	fmt.Println(scale.Text(scale.Position(seven + (eight-seven)*3/10)))
	// Output: 7+0.3
}

// A cone that leans by 45 degrees is on its way; at 5 it stands, and level with its base (90) it is at its
// end point.
func ExampleSeenAt() {
	fmt.Println(heatwork.SeenAt(5), heatwork.SeenAt(45), heatwork.SeenAt(90))
	// Output: upright leaning leaning
}

func ExampleProbeName() {
	fmt.Println(heatwork.ProbeName("big-blue", "1", "2026-01-06"), "/", heatwork.ProbeName("little-red", "1",
		""))
	// Output: big-blue/1 of 2026-01-06 / little-red/1
}
