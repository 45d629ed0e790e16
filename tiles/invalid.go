package tiles

import "strings"

// Types of a fault in what somebody entered. Each is a page of the program,
// /problems/{type}.
const (
	Missing          = "missing"
	LengthUnreadable = "length-unreadable"
	UnitUnclear      = "unit-unclear"
	OutOfRange       = "out-of-range"
	UnknownValue     = "unknown-value"
	GivenTwice       = "given-twice"
)

// Invalid is one thing that the person at the form can put right.
type Invalid struct {
	Field string // as it is called in the form and in JSON: opening_mm
	Why   string // one line for a reader with wet hands: "larger than collar_mm"
	Type  string // kind of fault, one of the constants above or a problem type of the API
}

func (e *Invalid) Error() string {
	if e.Field == "" {
		return e.Why
	}
	return e.Field + ": " + e.Why
}

// InvalidFields are several faults of one form, told all at once. It is never empty.
type InvalidFields []*Invalid

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

// faults gathers what is wrong with a form.
type faults struct{ all InvalidFields }

func (f *faults) add(kind, field, why string) {
	f.all = append(f.all, &Invalid{Field: field, Why: why, Type: kind})
}

// take adds the faults of err, which a check of one field gave.
func (f *faults) take(err error) {
	switch e := err.(type) {
	case *Invalid:
		f.all = append(f.all, e)
	case InvalidFields:
		f.all = append(f.all, e...)
	}
}

func (f *faults) err() error {
	if len(f.all) == 0 {
		return nil
	}
	return f.all
}
