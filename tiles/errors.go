package tiles

import "errors"

// Errors of facts that cannot be kept as they were said, and of things that are not there.
var (
	ErrIDUsed    = errors.New("this id already stands for something else")
	ErrCodeTaken = errors.New("this code already stands on another bar")
	ErrChanged   = errors.New("it was changed meanwhile")

	ErrNoClay    = errors.New("no such clay")
	ErrNoBatch   = errors.New("no such batch")
	ErrNoBar     = errors.New("no such bar")
	ErrNoReading = errors.New("no such reading")
	ErrNoLoad    = errors.New("no such load")
	ErrNoCone    = errors.New("no such cone")
	ErrNoNote    = errors.New("no such note")
)
