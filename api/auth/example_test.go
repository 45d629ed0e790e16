package auth_test

import (
	"fmt"
	"strings"

	"lidwright/api/auth"
)

// A passcode is taken in small letters and without its hyphen too; what is kept of it cannot be turned back.
func ExamplePasscodeHash_Fits() {
	kept, err := auth.ParsePasscodeHash(auth.HashPasscode("KQ7T-3HVW").String())
	if err != nil {
		panic(err)
	}
	right, _ := kept.Fits("kq7t 3hvw")
	wrong, _ := kept.Fits("KQ7T-3HVX")
	fmt.Println(right, wrong, strings.Contains(kept.String(), "KQ7T"))
	// Output: true false false
}

// RFC 5737 sets 192.0.2.0/24 aside for examples; the port is no part of the address.
func ExampleAddressIn() {
	fmt.Println(auth.AddressIn("192.0.2.7:5000"))
	fmt.Println(auth.AddressIn("no address").IsValid())
	// Output:
	// 192.0.2.7
	// false
}

func ExampleWhoNamed() {
	for _, name := range []string{"bench", "owner", "potter"} {
		who, ok := auth.WhoNamed(name)
		fmt.Println(who, ok)
	}
	// Output:
	// bench true
	// owner true
	// anyone false
}
