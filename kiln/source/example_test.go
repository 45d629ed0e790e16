package source_test

import (
	"fmt"

	"lidwright/kiln/source"
)

// The four orders in which devices send the bytes of a 32-bit register pair; abcd is that of the standard
// (MODBUS Application Protocol Specification V1.1b3, 4.2: big-endian).
func ExampleOrders() {
	fmt.Println(source.Orders())
	// Output: [abcd badc cdab dcba]
}

// The service may open serial devices alone.
func ExampleServiceMayOpen() {
	fmt.Println(source.ServiceMayOpen("/dev/ttyUSB0"), source.ServiceMayOpen("/dev/sda"))
	// Output: true false
}
