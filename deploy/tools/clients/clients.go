// Package clients names what clients need that generators make of our document, so that go.mod has it: a test
// makes, compiles and runs them.
package clients

import (
	_ "github.com/oapi-codegen/runtime"
	_ "github.com/ogen-go/ogen/http"
)
