package codec_test

import (
	"fmt"

	"lidwright/daemon/store/codec"
)

// A temperature is stored as a whole number of small steps, and comes back as it was.
func ExampleCountOf() {
	fmt.Println(codec.CelsiusOf(codec.CountOf(1222.5)))
	// Output: 1222.5
}
