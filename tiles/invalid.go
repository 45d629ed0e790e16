package tiles

import (
	"strings"

	"lidwright/kiln/message"
)

// Types of a fault in what somebody entered. Each is a page of the program,
// /problems/{type}.
const (
	Missing          = "missing"
	LengthUnreadable = "length-unreadable"
	UnitUnclear      = "unit-unclear"
	OutOfRange       = "out-of-range"
	UnknownValue     = "unknown-value"
	GivenTwice       = "given-twice"
	LeatherOver      = "leather-over-drying"
	GoesBackwards    = "stage-goes-backwards"
	RateMissing      = "rate-missing"
)

// Invalid is one thing that the person at the form can put right.
type Invalid struct {
	Field string          // as it is called in the form and in JSON: opening_mm
	Why   message.Message // one line for a reader with wet hands: "larger than collar_mm"
	Type  string          // kind of fault, one of the constants above or a problem type of the API
}

// Error is the field and what is wrong with it, in English.
func (e *Invalid) Error() string {
	if e.Field == "" {
		return e.Why.String()
	}
	return e.Field + ": " + e.Why.String()
}

// InvalidFields are several faults of one form, told all at once. It is never empty.
type InvalidFields []*Invalid

// Error is all of them in English.
func (e InvalidFields) Error() string {
	says := make([]string, len(e))
	for i, one := range e {
		says[i] = one.Error()
	}
	return strings.Join(says, "; ")
}

// Unwrap lets errors.As find the first *Invalid.
func (e InvalidFields) Unwrap() []error {
	all := make([]error, len(e))
	for i, one := range e {
		all[i] = one
	}
	return all
}
