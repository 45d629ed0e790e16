package tiles

import "lidwright/kiln/message"

// Errors of facts that cannot be kept as they were said, and of things that are not there.
var (
	ErrIDUsed    = message.NewError("this id already stands for something else")
	ErrCodeTaken = message.NewError("this code already stands on another bar")
	ErrChanged   = message.NewError("it was changed meanwhile")
	ErrReplaced  = message.NewError("another reading took its place: cross that one out first")

	ErrNotCrossedOut = message.NewError("a thing of that kind is never crossed out")

	ErrNoClay    = message.NewError("no such clay")
	ErrNoBatch   = message.NewError("no such batch")
	ErrNoBar     = message.NewError("no such bar")
	ErrNoReading = message.NewError("no such reading")
	ErrNoLoad    = message.NewError("no such load")
	ErrNoCone    = message.NewError("no such cone")
	ErrNoNote    = message.NewError("no such note")
)
