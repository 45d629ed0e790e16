package detect_test

import (
	"fmt"

	"lidwright/kiln/detect"
)

// Without any usual firing 1000 °C was a bisque and 1222 °C a glaze (common practice, no source).
func ExampleGuessKind() {
	fmt.Println(detect.GuessKind(1000, detect.Past{}), detect.GuessKind(1222, detect.Past{}),
		detect.GuessKind(600, detect.Past{}))
	// Output: bisque glaze other
}

// A fall is looked at as it passes these temperatures, the highest first.
func ExampleFallLevels() {
	levels := detect.FallLevels()
	fmt.Println(len(levels) > 3, levels[0] > levels[len(levels)-1])
	// Output: true true
}
