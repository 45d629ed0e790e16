package practice_test

import (
	"fmt"

	"lidwright/kiln/practice"
)

// A programme that makes no sense is refused with what is wrong with it.
func ExampleParse() {
	_, err := practice.Parse("as hot as you like")
	fmt.Println(err != nil)
	// Output: true
}
