package thermocouple_test

import (
	"fmt"

	"lidwright/kiln/thermocouple"
)

func ExampleParseType() {
	k, err := thermocouple.ParseType("k")
	fmt.Println(k, err)
	_, err = thermocouple.ParseType("X")
	fmt.Println(err)
	// Output:
	// K <nil>
	// "X" is no thermocouple type; the types are K, S, R, N, B, J, E and T
}

// NIST Standard Reference Database 60: the reference function of type K ends at 1372 °C, that of S at 1768.1
// °C.
func ExampleType_Range() {
	_, k := thermocouple.K.Range()
	_, s := thermocouple.S.Range()
	fmt.Println(k, s)
	// Output: 1372 1768.1
}

// IEC 60584-1: eight letters.
func ExampleTypes() {
	fmt.Println(thermocouple.Types())
	// Output: [K S R N B J E T]
}
