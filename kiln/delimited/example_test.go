package delimited_test

import (
	"fmt"
	"time"

	"lidwright/kiln/delimited"
)

// ECMA-376, part 1, 18.17.4.1: in the 1900 date system day 45292 is 1 January 2024, and 0.75 of it is 18:00.
func ExampleSerialDay() {
	at, ok := delimited.SerialDay(45292.75, time.UTC)
	fmt.Println(at.Format("2006-01-02 15:04"), ok)
	// Output: 2024-01-01 18:00 true
}

// Cells that people leave for nothing.
func ExampleNothing() {
	fmt.Println(delimited.Nothing(""), delimited.Nothing("-"), delimited.Nothing("87.6"))
	// Output: true true false
}
