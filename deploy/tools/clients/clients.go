// Package clients names what clients need that generators make of our document, so that go.mod has it: a test
// makes, compiles and runs them.
//
// In flows nothing and out flows nothing: it holds imports alone, each of a library that generated code
// calls. Without it the go command would take them out of go.mod, and the test could not compile what was
// generated.
//
// It is in no program.
package clients

import (
	_ "github.com/oapi-codegen/runtime"
	_ "github.com/ogen-go/ogen/http"
)
